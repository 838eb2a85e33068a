"""Slope and aspect of the ground.

The gradient is Horn's. A missing neighbour, off the grid or NaN, is continued
linearly through the centre, so that a plane keeps its slope up to its edge.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

#: Numbers of the formula, in float32 so that nothing is widened on the way.
EIGHT = np.float32(8)
TWO = np.float32(2)
ONE = np.float32(1)
ZERO = np.float32(0)
QUARTER = np.float32(np.pi / 2)
HALF = np.float32(np.pi)
FULL = np.float32(360)
DEGREES = np.float32(180 / np.pi)

#: Coefficients of the arctangent on 0 to 1, error at most 2e-8 (formula 4.4.49).
ARCTANGENT = tuple(
    np.float32(c)
    for c in (
        0.0028662257,
        -0.0161657367,
        0.0429096138,
        -0.0752896400,
        0.1065626393,
        -0.1420889944,
        0.1999355085,
        -0.3333314528,
    )
)


@njit(cache=True, error_model="numpy")
def slope(elevation: NDArray[np.float32], cell_size: float) -> NDArray[np.float32]:
    """Find how steep each cell is.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground, NaN where missing. [m]
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    slope : (row, column) ndarray
        Angle from horizontal, NaN where the height is missing. [degree]

    References
    ----------
    Horn, B. K. P., "Hill shading and the reflectance map", Proceedings of the
    IEEE, 69, pp. 14-47, 1981.
    """
    rows, columns = elevation.shape
    angle = np.empty((rows, columns), np.float32)
    east = np.empty(columns, np.float32)
    south = np.empty(columns, np.float32)
    for row in range(rows):
        _rise(elevation, row, cell_size, east, south)
        for column in range(columns):
            rise = np.sqrt(east[column] * east[column] + south[column] * south[column])
            angle[row, column] = _angle(rise, ONE) * DEGREES
    return angle


@njit(cache=True, error_model="numpy")
def aspect(elevation: NDArray[np.float32], cell_size: float) -> NDArray[np.float32]:
    """Find the direction that each cell falls to.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground, NaN where missing. [m]
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    aspect : (row, column) ndarray
        Bearing of the steepest descent, clockwise from grid north, 0 to below
        360; NaN where level or missing. [degree]

    References
    ----------
    Horn (1981), see `slope`.
    """
    rows, columns = elevation.shape
    bearing = np.empty((rows, columns), np.float32)
    east = np.empty(columns, np.float32)
    south = np.empty(columns, np.float32)
    for row in range(rows):
        _rise(elevation, row, cell_size, east, south)
        for column in range(columns):
            bearing[row, column] = _bearing(-east[column], south[column])
    return bearing


@njit(cache=True, error_model="numpy", inline="always")
def _angle(rise: np.float32, run: np.float32) -> np.float32:
    """Arctangent of rise over run, both at least 0; NaN for 0 over 0. [rad].

    A polynomial, because the compiler can make it run on many cells at once.
    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 4.4.49.
    """
    steep = rise > run
    ratio = run / rise if steep else rise / run
    square = ratio * ratio
    series = ZERO
    for coefficient in ARCTANGENT:
        series = (series + coefficient) * square
    angle = ratio * (series + ONE)
    return QUARTER - angle if steep else angle


@njit(cache=True, error_model="numpy", inline="always")
def _bearing(east: np.float32, north: np.float32) -> np.float32:
    """Bearing of a direction, clockwise from north; NaN where both are 0. [degree]."""
    angle = _angle(abs(east), abs(north))
    angle = HALF - angle if north < ZERO else angle
    degrees = angle * DEGREES
    degrees = FULL - degrees if east < ZERO else degrees
    return ZERO if degrees >= FULL else degrees


@njit(cache=True, error_model="numpy")
def _rise(
    elevation: NDArray[np.float32],
    row: int,
    cell_size: float,
    east: NDArray[np.float32],
    south: NDArray[np.float32],
) -> None:
    """Write the rise to the east and to the south of one row of cells."""
    rows, columns = elevation.shape
    scale = ONE / (EIGHT * np.float32(cell_size))
    if 0 < row < rows - 1:
        _rise_inside(
            elevation[row - 1], elevation[row], elevation[row + 1], scale, east, south
        )
    for column in range(columns):
        inside = 0 < row < rows - 1 and 0 < column < columns - 1
        if not inside or np.isnan(east[column] + south[column]):
            east[column], south[column] = _rise_continued(elevation, row, column, scale)


@njit(cache=True, error_model="numpy")
def _rise_inside(
    above: NDArray[np.float32],
    middle: NDArray[np.float32],
    below: NDArray[np.float32],
    scale: np.float32,
    east: NDArray[np.float32],
    south: NDArray[np.float32],
) -> None:
    """Write the rises of the cells that have all eight neighbours on the grid.

    The centre is taken off first: heights of some hundred metres, which differ by
    centimetres, then lose nothing in float32.
    """
    for column in range(1, middle.size - 1):
        centre = middle[column]
        north_west = above[column - 1] - centre
        north_east = above[column + 1] - centre
        south_west = below[column - 1] - centre
        south_east = below[column + 1] - centre
        sides = (middle[column + 1] - centre) - (middle[column - 1] - centre)
        ends = (below[column] - centre) - (above[column] - centre)
        rising = north_east - south_west
        falling = south_east - north_west
        east[column] = (rising + falling + TWO * sides) * scale
        south[column] = (falling - rising + TWO * ends) * scale


@njit(cache=True, error_model="numpy")
def _rise_continued(
    elevation: NDArray[np.float32], row: int, column: int, scale: np.float32
) -> tuple[np.float32, np.float32]:
    """Rises of a cell that lacks neighbours.

    Where both ends of a diagonal are missing, as in the corner of a grid, it
    follows from the sides; where both ends of a side are, it counts as level.
    """
    centre = elevation[row, column]
    sides = _across(elevation, row, column, 0, 1)
    ends = _across(elevation, row, column, 1, 0)
    sides = centre - centre if np.isnan(sides) else sides
    ends = centre - centre if np.isnan(ends) else ends
    rising = _across(elevation, row, column, -1, 1)
    falling = _across(elevation, row, column, 1, 1)
    rising = sides - ends if np.isnan(rising) else rising
    falling = sides + ends if np.isnan(falling) else falling
    return (
        (rising + falling + TWO * sides) * scale,
        (falling - rising + TWO * ends) * scale,
    )


@njit(cache=True, error_model="numpy")
def _across(
    elevation: NDArray[np.float32],
    row: int,
    column: int,
    row_step: int,
    column_step: int,
) -> np.float32:
    """Difference of two opposite neighbours; a missing one mirrors the other."""
    centre: np.float32 = elevation[row, column]
    ahead: np.float32 = _height(elevation, row + row_step, column + column_step)
    behind: np.float32 = _height(elevation, row - row_step, column - column_step)
    ahead, behind = ahead - centre, behind - centre
    if np.isnan(ahead):
        return -TWO * behind
    if np.isnan(behind):
        return TWO * ahead
    return ahead - behind


@njit(cache=True, error_model="numpy")
def _height(elevation: NDArray[np.float32], row: int, column: int) -> np.float32:
    """Height of a cell, NaN off the grid."""
    rows, columns = elevation.shape
    height = np.float32(np.nan)
    if 0 <= row < rows and 0 <= column < columns:
        height = elevation[row, column]
    return height
