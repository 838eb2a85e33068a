"""Membership curves: how well a value suits, from 0 to 1."""

import numpy as np
from numpy.typing import NDArray

#: Membership of the points of each curve.
HEIGHTS = {"rising": (0.0, 1.0), "falling": (1.0, 0.0), "hump": (0.0, 1.0, 1.0, 0.0)}


def membership(
    values: NDArray[np.floating],
    curve: str,
    points: tuple[float, ...],
    floor: float = 0.0,
) -> NDArray[np.float32]:
    """Tell how well each value suits.

    Parameters
    ----------
    values : ndarray
        Values of a layer; NaN stays NaN.
    curve : {"rising", "falling", "hump"}
        ``rising``: 0 up to the first point, 1 from the second. ``falling``: the
        other way. ``hump``: rises between the first two and falls between the
        last two.
    points : tuple of float
        Two or four values in rising order.
    floor : float
        Lowest membership.

    Returns
    -------
    membership : ndarray of float32
        From `floor` to 1.

    Examples
    --------
    >>> float(membership(np.array([0.5]), "falling", (0.0, 1.0), floor=0.2)[0])
    0.6000000238418579
    """
    shape = np.interp(values, points, HEIGHTS[curve])
    suits: NDArray[np.float32] = (floor + (1 - floor) * shape).astype(np.float32)
    return suits
