"""Straight lines across the grid in any compass direction.

A view of the grid is turned so that looking along the direction goes up the
rows, and the column grows by 0 to 1 cell with each row. The lines are then the
diagonals ``column + shift[row] = constant``: every cell lies on exactly one
line of a direction, at most half a cell beside the true ray.
"""

from math import cos, hypot, radians, sin
from typing import TypeVar

import numpy as np
from numba import njit
from numpy.typing import NDArray

Value = TypeVar("Value", bound=np.generic)


def turn(values: NDArray[Value], bearing: float) -> NDArray[Value]:
    """Turn a grid so that looking along a bearing goes up its rows.

    Parameters
    ----------
    values : (row, column) ndarray
        Any field; row 0 is the northernmost.
    bearing : float
        Direction looked in, clockwise from the top of the grid. [degree]

    Returns
    -------
    turned : ndarray
        A view of the same cells.
    """
    east, north = sin(radians(bearing)), cos(radians(bearing))
    if _sideways(bearing):
        # Looking east or west: columns become rows, the east at the top.
        values = values.T[::-1] if east > 0 else values.T
        return values[:, ::-1] if north > 0 else values
    values = values if north > 0 else values[::-1]
    return values if east >= 0 else values[:, ::-1]


def shifts(bearing: float, rows: int) -> tuple[NDArray[np.int64], float]:
    """Shift each row of a turned grid so that a ray becomes a column.

    Parameters
    ----------
    bearing : float
        Direction looked in. [degree]
    rows : int
        Rows of the turned grid.

    Returns
    -------
    shift : (row,) ndarray of int
        Columns to add.
    step : float
        Way along the ray from row to row. [cells]

    Examples
    --------
    >>> shift, step = shifts(45.0, 4)
    >>> shift.tolist(), round(step, 4)
    ([0, 1, 2, 3], 1.4142)
    """
    east, north = abs(sin(radians(bearing))), abs(cos(radians(bearing)))
    aside = min(east, north) / max(east, north)
    shift = np.floor(np.arange(rows) * aside + 0.5).astype(np.int64)
    return shift, hypot(1.0, aside)


def _sideways(bearing: float) -> bool:
    return abs(sin(radians(bearing))) > abs(cos(radians(bearing)))


def length_along_ray(
    mask: NDArray[np.bool_], bearing: float, reach: float
) -> NDArray[np.float32]:
    """Measure how much of a ray from every cell runs over marked cells.

    The ray begins at the centre of the cell and ends after ``reach`` or at the
    edge of the grid. What lies between marked cells does not interrupt it.

    Parameters
    ----------
    mask : (row, column) ndarray of bool
        Marked cells.
    bearing : float
        Direction of the ray, clockwise from the top of the grid. [degree]
    reach : float
        Length of the ray. [cells]

    Returns
    -------
    length : (row, column) ndarray of float32
        Marked length. [cells]

    Examples
    --------
    >>> import numpy as np
    >>> length_along_ray(np.array([[False, True, True, True]]), 90.0, 2.0)
    array([[1.5, 2. , 1.5, 0.5]], dtype=float32)
    """
    length = np.empty(mask.shape, np.float32)
    turned = np.ascontiguousarray(turn(mask, bearing))
    shift, step = shifts(bearing, len(turned))
    marked = np.zeros(turned.shape, np.float32)
    _measure(turned, shift, reach / step, marked)
    turn(length, bearing)[...] = marked * np.float32(step)
    return length


@njit(cache=True)
def _measure(
    mask: NDArray[np.bool_],
    shift: NDArray[np.int64],
    reach: float,
    marked: NDArray[np.float32],
) -> None:
    """Take differences of the running count of marked cells on each line."""
    rows, columns = mask.shape
    # Count of marked cells above and including each cell of its line.
    count = np.zeros((rows, columns), np.int32)
    for row in range(rows):
        aside = shift[row] - shift[row - 1] if row > 0 else 0
        for column in range(columns):
            above = 0
            if row > 0 and column + aside < columns:
                above = count[row - 1, column + aside]
            count[row, column] = above + mask[row, column]
    whole = int(reach + 0.5)
    part = np.float32(reach + 0.5 - whole)
    for row in range(rows):
        last = row - whole
        aside = shift[row] - shift[last] if last >= 0 else columns
        for column in range(columns):
            seen = count[row, column] - np.float32(0.5) * mask[row, column]
            if column + aside < columns:
                beyond = column + aside
                # The ray ends inside this cell: only a part of it counts.
                seen -= count[last, beyond] - part * mask[last, beyond]
            marked[row, column] = seen
