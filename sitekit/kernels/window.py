"""The lowest value in a circle, and the mean of a square, around every cell."""

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

#: Least share of a window that is known, so that nothing is divided by naught.
_LEAST_SHARE = np.float32(1e-6)
#: Slack for a radius that is a whole number of cells but for rounding. [cells]
_SLACK = 1e-6


def mean_of_known(values: NDArray[np.float32], size: int) -> NDArray[np.float32]:
    """Take the mean of what is known in a square around every cell.

    So a missing cell does not look like a wall. Beyond the edge the grid is mirrored.

    Parameters
    ----------
    values : (row, column) ndarray
        Any field; NaN where missing.
    size : int
        Side of the square, odd. [cells]

    Returns
    -------
    means : (row, column) ndarray of float32
        0 where the square holds no value at all.

    Examples
    --------
    >>> import numpy as np
    >>> mean_of_known(np.array([[1.0, np.nan, 3.0, 5.0]], np.float32), 3)[0, 1:3]
    array([2., 4.], dtype=float32)
    """
    known = np.isfinite(values)
    total = ndimage.uniform_filter(np.where(known, values, np.float32(0)), size)
    share = ndimage.uniform_filter(known.astype(np.float32), size)
    means: NDArray[np.float32] = total / np.maximum(share, _LEAST_SHARE)
    return means


def circular_minimum(values: NDArray[np.float32], radius: float) -> NDArray[np.float32]:
    """Find the lowest value within a circle around every cell.

    A cell belongs to the circle where its centre does. The circle is cut at the
    edge of the grid, and missing cells are passed over.

    Each row of the circle is a run of cells. The minimum of any run is the
    smaller of the minima of two runs whose length is a power of two, so that
    the work per cell grows with the radius and not with its square.

    Parameters
    ----------
    values : (row, column) ndarray
        Any field; NaN where missing.
    radius : float
        Radius of the circle. [cells]

    Returns
    -------
    lowest : (row, column) ndarray of float32
        NaN where the circle holds no value at all.

    Examples
    --------
    >>> import numpy as np
    >>> circular_minimum(np.array([[3.0, 1.0, 4.0, 5.0]], np.float32), 1.0)
    array([[1., 1., 1., 4.]], dtype=float32)
    """
    offsets = np.arange(int(radius + _SLACK) + 1)
    squares = np.maximum((radius + _SLACK) ** 2 - offsets**2, 0.0)
    half_widths = np.sqrt(squares).astype(np.int64)
    lowest = _circular_minimum(np.asarray(values, np.float32), half_widths)
    lowest[np.isinf(lowest)] = np.nan
    return lowest


@njit(cache=True)
def _circular_minimum(
    values: NDArray[np.float32], half_widths: NDArray[np.int64]
) -> NDArray[np.float32]:
    """Fold the runs of every row into the rows that its circle reaches."""
    rows, columns = values.shape
    reach = half_widths[0]
    lowest = np.full((rows, columns), np.float32(np.inf))
    levels = 1
    while 2**levels <= 2 * reach + 1:
        levels += 1
    runs = np.full((levels, columns + 2 * reach), np.float32(np.inf))
    lows = np.empty(columns, np.float32)
    for row in range(rows):
        _fill_runs(values[row], runs, reach)
        for offset in range(len(half_widths)):
            half = half_widths[offset]
            level = 0
            while 2 ** (level + 1) <= 2 * half + 1:
                level += 1
            left = runs[level, reach - half :]
            right = runs[level, reach + half + 1 - 2**level :]
            for column in range(columns):
                a, b = left[column], right[column]
                lows[column] = a if a < b else b
            if row >= offset:
                _lower(lowest[row - offset], lows)
            if offset > 0 and row + offset < rows:
                _lower(lowest[row + offset], lows)
    return lowest


@njit(cache=True)
def _fill_runs(
    values: NDArray[np.float32], runs: NDArray[np.float32], reach: int
) -> None:
    """Find the minima of all runs of 1, 2, 4, ... cells that begin at a cell."""
    for column in range(len(values)):
        value = values[column]
        runs[0, reach + column] = np.float32(np.inf) if np.isnan(value) else value
    for level in range(1, len(runs)):
        half = 2 ** (level - 1)
        shorter, longer = runs[level - 1], runs[level]
        for start in range(runs.shape[1] - half):
            a, b = shorter[start], shorter[start + half]
            longer[start] = a if a < b else b
        # Beyond the end there is nothing: the shorter run is the whole of it.
        for start in range(max(runs.shape[1] - half, 0), runs.shape[1]):
            longer[start] = shorter[start]


@njit(cache=True)
def _lower(lowest: NDArray[np.float32], values: NDArray[np.float32]) -> None:
    """Lower each value to the other where that is smaller."""
    for column in range(len(values)):
        a, b = lowest[column], values[column]
        lowest[column] = b if b < a else a
