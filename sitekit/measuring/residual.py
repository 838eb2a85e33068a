"""What no term explains: how it hangs together, and how fits of it are mixed.

Ground is rough: two places a few metres apart differ already, so the residual falls
off by the exponential law and not by a smooth one. Its size and its range are not
known from a few readings; every pair that the readings allow is kept, each with its
share, and doubt comes from all of them together.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist
from scipy.special import ndtr

Array = NDArray[np.float64]

#: Usual standard deviation [degC] and range [m], the factor by which each may differ
#: (one standard deviation), and what is tried.
USUAL_RESIDUAL, USUAL_RANGE, FACTOR = 0.75, 80.0, 2.0
RESIDUALS = tuple(USUAL_RESIDUAL * FACTOR**k for k in (-2, -1, 0, 1, 2))
RANGES = tuple(USUAL_RANGE * FACTOR**k for k in (-2, 0, 2))
#: Share that an interval shall hold, and its half width in standard deviations.
HELD, HALF_WIDTH = 0.9, 1.645
#: Halvings by which the width of an interval is found.
HALVINGS = 20


def covariance(
    one: Array, other: Array, residual: float, reach: float, anchor: Array | None
) -> Array:
    """Relate the residual of places, each against that of the reference place.

    Parameters
    ----------
    one, other : (place, 2) ndarray
        Easting and northing. [m]
    residual, reach : float
        Standard deviation and range of the residual. [degC], [m]
    anchor : (2,) ndarray or None
        The reference place, where the residual is nought. [m]

    Returns
    -------
    covariance : (place, place) ndarray
        Of `one` with `other`. [degC²]

    References
    ----------
    Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, ch. 4.2.1
    (exponential covariance).

    Examples
    --------
    >>> import numpy as np
    >>> places = np.array([[0.0, 0.0], [80.0, 0.0]])
    >>> covariance(places, places, 1.0, 80.0, None).round(2).tolist()
    [[1.0, 0.37], [0.37, 1.0]]
    """

    def alike(a: Array, b: Array) -> Array:
        return np.asarray(residual**2 * np.exp(-cdist(a, b) / reach))

    made = alike(one, other)
    if anchor is not None:
        made = made - alike(one, anchor[None]) - alike(other, anchor[None]).T
        made += residual**2
    return made


def variance_of(
    points: Array, residual: float, reach: float, anchor: Array | None
) -> Array:
    """Tell the variance of the residual at places.

    Parameters
    ----------
    points, residual, reach, anchor
        As for `covariance`.

    Returns
    -------
    variance : (place,) ndarray
        Its diagonal. [degC²]
    """
    if anchor is None:
        return np.full(len(points), residual**2)
    near = np.exp(-cdist(points, anchor[None])[:, 0] / reach)
    return np.asarray(2 * residual**2 * (1 - near))


def prior_likelihood(residual: float, reach: float) -> float:
    """Tell how likely a size and a range are before any reading.

    Parameters
    ----------
    residual, reach : float
        Standard deviation and range. [degC], [m]

    Returns
    -------
    likelihood : float
        Its logarithm, but for a constant.
    """
    off = np.log([residual / USUAL_RESIDUAL, reach / USUAL_RANGE]) / np.log(FACTOR)
    return float(-0.5 * (off**2).sum())


def mix(means: Array, spreads: Array, shares: Array) -> tuple[Array, Array]:
    """Mix what several fits say, each with its share.

    The spread is that of the normal law whose 90 % interval is as wide as that of
    the mixture: fits that are not sure of their size have long tails, as the law of
    Student has for few readings.

    Parameters
    ----------
    means, spreads : (fit, place) ndarray
        What each fit says. [degC]
    shares : (fit,) ndarray
        Their shares; they add up to 1.

    Returns
    -------
    mean, spread : (place,) ndarray
        Of the mixture. [degC]

    Examples
    --------
    >>> import numpy as np
    >>> one = np.array([[1.0], [1.0]])
    >>> mean, spread = mix(one, one, np.array([0.5, 0.5]))
    >>> mean.item(), round(spread.item(), 2)
    (1.0, 1.0)
    """
    mean = shares @ means
    off = means - mean
    low = np.zeros_like(mean)
    high = (np.abs(off) + HALF_WIDTH * spreads).max(axis=0)
    for _ in range(HALVINGS):
        width = (low + high) / 2
        inside = ndtr((width - off) / spreads) - ndtr((-width - off) / spreads)
        enough = shares @ inside >= HELD
        low, high = np.where(enough, low, width), np.where(enough, width, high)
    return mean, high / HALF_WIDTH
