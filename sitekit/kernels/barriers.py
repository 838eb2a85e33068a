"""Hedges, walls and fences on the grid, without gaps between diagonal cells."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

#: A line this near to the side of a cell touches it. [cell]
TOUCH = 1e-9


@njit(cache=True)
def raise_barriers(
    segments: NDArray[np.float64],
    heights: NDArray[np.float32],
    barrier_height: NDArray[np.float32],
) -> None:
    """Write the height of barriers into every cell that their lines touch.

    A line through a corner, or along a side, touches the cells on all sides of
    it, so that no way over eight neighbours crosses it. Parts off the grid are
    left out.

    Parameters
    ----------
    segments : (segment, 4) ndarray
        Column and row of one end, column and row of the other, counted from the
        outer corner of the first cell. [cell]
    heights : (segment,) ndarray
        Height of each. [m]
    barrier_height : (row, column) ndarray
        Changed in place: the highest barrier that touches each cell. [m]
    """
    for segment in range(segments.shape[0]):
        x0, y0, x1, y1 = segments[segment]
        if y0 <= y1:
            _raise_line(x0, y0, x1, y1, heights[segment], barrier_height)
        else:
            _raise_line(x1, y1, x0, y0, heights[segment], barrier_height)


@njit(cache=True)
def _raise_line(
    x0: float,
    y0: float,
    x1: float,
    y1: float,
    height: float,
    barrier_height: NDArray[np.float32],
) -> None:
    """Raise the cells that touch one line, row by row; y0 is at most y1."""
    rows, columns = barrier_height.shape
    first = max(np.floor(y0 - TOUCH), 0)
    last = min(np.floor(y1 + TOUCH), rows - 1)
    for row in range(first, last + 1):
        # The part of the line that lies in this row of cells.
        x_in = _column_at(x0, y0, x1, y1, row)
        x_out = _column_at(x0, y0, x1, y1, row + 1) if y1 > y0 else x1
        left = max(np.floor(min(x_in, x_out) - TOUCH), 0)
        right = min(np.floor(max(x_in, x_out) + TOUCH), columns - 1)
        for column in range(left, right + 1):
            barrier_height[row, column] = max(barrier_height[row, column], height)


@njit(cache=True)
def _column_at(x0: float, y0: float, x1: float, y1: float, y: float) -> float:
    """Column of a line at a row, or of its end where it does not reach the row."""
    if y <= y0:
        return x0
    if y >= y1:
        return x1
    return x0 + (x1 - x0) * (y - y0) / (y1 - y0)
