"""From flowers killed to the crop, to poor years, and to how sure their number is."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betainc, ndtri

#: A crop below this share of a full one is poor.
POOR = 0.5
#: Standard deviation of the limits of frost, one shift for all stages and years:
#: published limits differ by that much. Common practice, no source. [degC]
LIMIT_ERROR = 0.7
#: Probability that the printed interval holds.
LEVEL = 0.9
#: Draws of the errors, and the seed that makes them the same on every run.
DRAWS, SEED = 40, 20
#: Steps of the shares of years over which an interval is looked for.
STEPS = 2001


def crop_share(live: ArrayLike, need: float) -> NDArray[np.float64]:
    """Crop that live flowers carry, as a share of a full one.

    Parameters
    ----------
    live : ndarray
        Share of the flowers that lives.
    need : float
        Share that a full crop needs.

    Returns
    -------
    crop : ndarray
        0 to 1.

    Examples
    --------
    >>> crop_share([0.532, 0.283], 0.6).round(2)
    array([0.89, 0.47])
    """
    crop: NDArray[np.float64] = np.minimum(1, np.asarray(live) / need)
    return crop


def draw_errors(spreads: tuple[float, ...], draws: int = DRAWS) -> NDArray[np.float64]:
    """Draw errors that hold for a whole run of years.

    Parameters
    ----------
    spreads : tuple of float
        Standard deviation of each error.
    draws : int
        How many draws; each error takes equally likely values, in an order that is
        the same on every run.

    Returns
    -------
    errors : (error, draw) ndarray
    """
    random = np.random.default_rng(SEED)
    likely = ndtri((np.arange(draws) + 0.5) / draws)
    return np.stack([spread * random.permutation(likely) for spread in spreads])


def pooled_interval(
    counts: NDArray[np.integer], years: int, level: float = LEVEL
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Interval of a share of years from counts that differ by draws of errors.

    Parameters
    ----------
    counts : (..., draw) ndarray of int
        Years counted in each draw.
    years : int
        Years of the record.
    level : float
        Probability that it holds.

    Returns
    -------
    low, high : (...) ndarray
        Years in ten. Where no draw counts any year the low end is 0; where all
        count every year the high end is 10.

    References
    ----------
    Jeffreys interval, Beta(k + 1/2, n - k + 1/2): Brown, Cai & DasGupta 2001.
    Interval estimation for a binomial proportion. Statistical Science 16, 101-133.

    Examples
    --------
    >>> low, high = pooled_interval(np.array([3]), 10)
    >>> round(float(low), 2), round(float(high), 2)
    (1.17, 5.58)
    """
    possible = np.arange(years + 1)
    share = np.linspace(0, 1, STEPS)
    below = betainc(possible[:, None] + 0.5, years - possible[:, None] + 0.5, share)
    weights = (counts[..., None] == possible).mean(axis=-2)
    pooled = weights @ below
    tail = (1 - level) / 2
    low = np.where(weights[..., 0] == 1, 0.0, _quantile(pooled, share, tail))
    high = np.where(weights[..., -1] == 1, 1.0, _quantile(pooled, share, 1 - tail))
    return 10 * low, 10 * high


def _quantile(
    pooled: NDArray[np.float64], share: NDArray[np.float64], level: float
) -> NDArray[np.float64]:
    """Find where rising curves pass a level, on the line between two steps."""
    after = np.clip((pooled < level).sum(axis=-1), 1, share.size - 1)
    above = np.take_along_axis(pooled, after[..., None], -1)[..., 0]
    under = np.take_along_axis(pooled, after[..., None] - 1, -1)[..., 0]
    part = (level - under) / np.maximum(above - under, 1e-12)
    found: NDArray[np.float64] = share[after - 1] + np.clip(part, 0, 1) * share[1]
    return found
