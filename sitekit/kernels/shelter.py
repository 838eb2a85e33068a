"""The steepest line of sight from every cell to what stands upwind of it."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sitekit.kernels.rays import shifts, turn


def steepest_upwind(
    tops: NDArray[np.float32],
    bases: NDArray[np.float32],
    bearing: float,
    cell_size: float,
) -> NDArray[np.float32]:
    """Find the steepest line from every cell up to the tops along one direction.

    Only the tops on the upper hull of those already passed can be the steepest
    seen from any later cell, so one stack of them serves the whole line and the
    steepest is found in it by halving.

    Parameters
    ----------
    tops : (row, column) ndarray
        Height of what stands in the way; NaN where nothing does. [m]
    bases : (row, column) ndarray
        Height looked from. [m]
    bearing : float
        Direction looked in, clockwise from the top of the grid. [degree]
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    tangent : (row, column) ndarray of float32
        Tangent of the angle, negative where all tops lie lower, -inf where there
        is none. The cell itself is not looked at. [m m⁻¹]

    References
    ----------
    The angle is that of Winstral, A. & Marks, D. (2002). Simulating wind fields
    and snow redistribution using terrain-based parameters. Hydrological
    Processes 16, 3585-3603, here without a limit of distance.

    Examples
    --------
    >>> import numpy as np
    >>> tops = np.array([[np.nan, np.nan, 3.0]], np.float32)
    >>> steepest_upwind(tops, np.zeros((1, 3), np.float32), 90.0, 2.0)
    array([[0.75, 1.5 , -inf]], dtype=float32)
    """
    tangent = np.empty(tops.shape, np.float32)
    turned = np.ascontiguousarray(turn(tops, bearing), np.float32)
    shift, step = shifts(bearing, len(turned))
    seen = np.empty(turned.shape, np.float32)
    _sweep(
        turned,
        np.ascontiguousarray(turn(bases, bearing), np.float32),
        shift,
        step * cell_size,
        seen,
    )
    turn(tangent, bearing)[...] = seen
    return tangent


@njit(cache=True)
def _sweep(
    tops: NDArray[np.float32],
    bases: NDArray[np.float32],
    shift: NDArray[np.int64],
    step: float,
    seen: NDArray[np.float32],
) -> None:
    """Walk down every line with a stack of the tops on its upper hull."""
    rows, columns = tops.shape
    hull_rows = np.empty(rows, np.int64)
    hull_tops = np.empty(rows, np.float64)
    for line in range(columns + shift[-1]):
        count = 0
        for row in range(rows):
            column = line - shift[row]
            if column < 0 or column >= columns:
                continue
            seen[row, column] = _steepest(
                hull_rows, hull_tops, count, row, bases[row, column], step
            )
            top = tops[row, column]
            if not np.isnan(top):
                count = _push(hull_rows, hull_tops, count, row, top)


@njit(cache=True)
def _steepest(
    rows: NDArray[np.int64],
    tops: NDArray[np.float64],
    count: int,
    row: int,
    base: float,
    step: float,
) -> float:
    """Find the steepest top of the hull; along it the slopes rise, then fall."""
    if count == 0:
        return -np.inf
    low, high = 0, count - 1
    while low < high:
        middle = (low + high) // 2
        farther = (tops[middle] - base) * (row - rows[middle + 1])
        nearer = (tops[middle + 1] - base) * (row - rows[middle])
        if farther > nearer:
            high = middle
        else:
            low = middle + 1
    return float((tops[low] - base) / ((row - rows[low]) * step))


@njit(cache=True)
def _push(
    rows: NDArray[np.int64],
    tops: NDArray[np.float64],
    count: int,
    row: int,
    top: float,
) -> int:
    """Add a top to the hull and drop those that it hides."""
    while count > 1:
        run = rows[count - 1] - rows[count - 2]
        rise = tops[count - 1] - tops[count - 2]
        if rise * (row - rows[count - 2]) > (top - tops[count - 2]) * run:
            break
        count -= 1
    rows[count] = row
    tops[count] = top
    return count + 1
