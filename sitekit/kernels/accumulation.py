"""Where the cold air, or water, of each cell goes, and how much ground sends it.

A direction is a number from 0 to 7, clockwise from north: 0 north, 1 north-east,
2 east and so on, so that 45 times it is the bearing of the flow. `OUTLET` is a
cell that drains off the grid, `MISSING` one without a height.
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sitekit.kernels.fill import find_outlets

#: Rows and columns to the neighbour in each direction.
ROW_STEP = (-1, -1, 0, 1, 1, 1, 0, -1)
COLUMN_STEP = (0, 1, 1, 1, 0, -1, -1, -1)
#: A cell from which nothing flows on: it drains off the grid.
OUTLET = 8
#: A cell without a height.
MISSING = 255

#: Level ground that has no direction yet, and marks on the way to one.
LEVEL = 9
FOUND = 16

#: Straight neighbours come first, so that paths over level ground stay straight.
STRAIGHT_FIRST = (0, 2, 4, 6, 1, 3, 5, 7)
DIAGONAL = np.float32(np.sqrt(0.5))


@njit(cache=True)
def find_directions(filled: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Find the neighbour that each cell drains to, by steepest descent.

    The descent is the drop over the distance, diagonals a factor √2 longer.
    Level ground drains by the shortest way to where it is left, and ground that
    falls off the grid drains off it.

    Parameters
    ----------
    filled : (row, column) ndarray
        Height of ground without hollows, NaN where missing. [m]

    Returns
    -------
    direction : (row, column) ndarray of uint8
        0 to 7 clockwise from north, `OUTLET` or `MISSING`. Following it never
        leads in a circle. In a hollow that was not filled it ends at the pit,
        which is given as an outlet.

    References
    ----------
    O'Callaghan, J. F. and Mark, D. M., "The extraction of drainage networks from
    digital elevation data", Computer Vision, Graphics, and Image Processing, 28,
    pp. 323-344, 1984.
    """
    rows, columns = filled.shape
    direction = np.full((rows, columns), MISSING, np.uint8)
    for row in range(1, rows - 1):
        _descend_row(filled[row - 1], filled[row], filled[row + 1], direction[row])
    level = _drain_outlets(direction, filled, find_outlets(filled))
    _drain_level_ground(direction.ravel(), filled.ravel(), columns, level)
    return direction


@njit(cache=True)
def _descend_row(
    above: NDArray[np.float32],
    middle: NDArray[np.float32],
    below: NDArray[np.float32],
    direction: NDArray[np.uint8],
) -> None:
    """Write the directions of one row of inner cells, `LEVEL` where none falls."""
    for column in range(1, middle.size - 1):
        centre = middle[column]
        steepest, code = np.float32(0), np.uint8(LEVEL)
        drops = (
            centre - above[column],
            (centre - above[column + 1]) * DIAGONAL,
            centre - middle[column + 1],
            (centre - below[column + 1]) * DIAGONAL,
            centre - below[column],
            (centre - below[column - 1]) * DIAGONAL,
            centre - middle[column - 1],
            (centre - above[column - 1]) * DIAGONAL,
        )
        for way in range(8):
            if drops[way] > steepest:
                steepest, code = drops[way], np.uint8(way)
        direction[column] = np.uint8(MISSING) if np.isnan(centre) else code


@njit(cache=True)
def _drain_outlets(
    direction: NDArray[np.uint8],
    filled: NDArray[np.float32],
    outlets: NDArray[np.bool_],
) -> int:
    """Write the directions of outlets; count the other cells that are level."""
    level = 0
    for row in range(direction.shape[0]):
        for column in range(direction.shape[1]):
            if outlets[row, column]:
                direction[row, column] = _descend(filled, row, column)
            elif direction[row, column] == LEVEL:
                level += 1
    return level


@njit(cache=True)
def _descend(filled: NDArray[np.float32], row: int, column: int) -> int:
    """Direction of a cell that may drain out, `OUTLET` where it does.

    The ground beyond goes on as it comes: a missing cell on one side lies as far
    below as the one on the other side lies above. Without this the air would run
    along the edge of the grid.
    """
    centre = filled[row, column]
    steepest, code = np.float32(0), OUTLET
    for way in range(8):
        drop = centre - _height(filled, row, column, way)
        beyond = np.isnan(drop) and way % 2 == 0
        if beyond:
            drop = _height(filled, row, column, way + 4) - centre
        drop = drop * DIAGONAL if way % 2 else drop
        if drop > steepest:
            steepest, code = drop, OUTLET if beyond else way
    return code


@njit(cache=True)
def _height(filled: NDArray[np.float32], row: int, column: int, way: int) -> np.float32:
    """Height of the neighbour in a direction, NaN off the grid."""
    rows, columns = filled.shape
    r, c = row + ROW_STEP[way % 8], column + COLUMN_STEP[way % 8]
    height = np.float32(np.nan)
    if 0 <= r < rows and 0 <= c < columns:
        height = filled[r, c]
    return height


@njit(cache=True)
def _drain_level_ground(
    direction: NDArray[np.uint8],
    heights: NDArray[np.float32],
    columns: int,
    level: int,
) -> None:
    """Lead level ground to where it is left, spreading from there.

    Level cells are never on the edge, so that all their neighbours are there.
    """
    waiting = np.empty(level, np.int64)
    count = 0
    for cell in range(direction.size):
        if direction[cell] == LEVEL:
            way = _find_way_out(direction, heights, columns, cell)
            if way < OUTLET:
                direction[cell] = FOUND + way
                waiting[count] = cell
                count += 1
    for place in range(count):
        direction[waiting[place]] -= FOUND
    done = 0
    while done < count:
        cell = waiting[done]
        done += 1
        for way in STRAIGHT_FIRST:
            other = cell + _step(way, columns)
            if direction[other] == LEVEL and heights[other] == heights[cell]:
                direction[other] = (way + 4) % 8
                waiting[count] = other
                count += 1
    if count < level:
        for cell in range(direction.size):
            direction[cell] = OUTLET if direction[cell] == LEVEL else direction[cell]


@njit(cache=True)
def _find_way_out(
    direction: NDArray[np.uint8],
    heights: NDArray[np.float32],
    columns: int,
    cell: int,
) -> int:
    """Direction of an equally high neighbour that drains already, or `OUTLET`."""
    for way in STRAIGHT_FIRST:
        other = cell + _step(way, columns)
        if direction[other] <= OUTLET and heights[other] == heights[cell]:
            return way
    return OUTLET


@njit(cache=True, inline="always")
def _step(way: int, columns: int) -> int:
    """Cells from one to the next in a direction, rows laid end to end."""
    return ROW_STEP[way] * columns + COLUMN_STEP[way]


@njit(cache=True)
def find_catchment_areas(
    direction: NDArray[np.uint8], cell_area: float
) -> NDArray[np.float32]:
    """Find the area that drains through each cell, its own included.

    Parameters
    ----------
    direction : (row, column) ndarray of uint8
        From `find_directions`.
    cell_area : float
        Area of a cell. [m²]

    Returns
    -------
    area : (row, column) ndarray
        Area that drains through the cell, NaN where missing. [m²]
    """
    columns = direction.shape[1]
    way = direction.ravel()
    cells = np.ones(way.size, np.int32)
    donors = _count_donors(way, columns)
    for start in range(way.size):
        cell = start
        # The last donor of a cell carries the walk on through it. A cell that
        # was passed has MISSING donors, so that no walk starts there again.
        while donors[cell] == 0:
            donors[cell] = MISSING
            if way[cell] >= OUTLET:
                break
            receiver = cell + _step(way[cell], columns)
            cells[receiver] += cells[cell]
            donors[receiver] -= 1
            cell = receiver
    area = np.empty(direction.shape, np.float32)
    flat = area.ravel()
    for cell in range(way.size):
        flat[cell] = np.nan if way[cell] == MISSING else cells[cell] * cell_area
    return area


@njit(cache=True)
def _count_donors(way: NDArray[np.uint8], columns: int) -> NDArray[np.uint8]:
    """Count the neighbours that drain into each cell."""
    donors = np.zeros(way.size, np.uint8)
    for cell in range(way.size):
        if way[cell] < OUTLET:
            donors[cell + _step(way[cell], columns)] += 1
    return donors


@njit(cache=True)
def trace_channels(
    direction: NDArray[np.uint8], area: NDArray[np.float32], threshold: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Trace the paths on which much ground drains, split where they meet.

    Parameters
    ----------
    direction : (row, column) ndarray of uint8
        From `find_directions`.
    area : (row, column) ndarray
        From `find_catchment_areas`, which grows downstream; less where no path
        is to be traced. [m²]
    threshold : float
        Area from which a cell belongs to a path. [m²]

    Returns
    -------
    cells : (cell,) ndarray
        Chains of cells one after the other, each from the top down, as
        ``row * columns + column``. A chain that meets another ends with the first
        cell of the one that they become.
    starts : (chain + 1,) ndarray
        Where each chain begins in `cells`; the last is their number.
    """
    columns = direction.shape[1]
    way = direction.ravel()
    size = area.ravel()
    donors, total = _count_large_donors(way, size, columns, threshold)
    # A chain repeats one cell of the next, and there are no more chains than cells.
    cells = np.empty(2 * total, np.int64)
    starts = np.zeros(total + 1, np.int64)
    count = chains = 0
    for start in range(way.size):
        if size[start] >= threshold and donors[start] != 1 and way[start] < OUTLET:
            count = _follow(way, donors, size, columns, start, cells, count)
            chains += 1
            starts[chains] = count
    return cells[:count], starts[: chains + 1]


@njit(cache=True)
def _follow(
    way: NDArray[np.uint8],
    donors: NDArray[np.uint8],
    size: NDArray[np.float32],
    columns: int,
    start: int,
    cells: NDArray[np.int64],
    count: int,
) -> int:
    """Write one chain of cells; return where the next one is to be written."""
    cell = start
    least = size[start]
    while True:
        cells[count] = cell
        count += 1
        if way[cell] >= OUTLET or (cell != start and donors[cell] > 1):
            return count
        cell += _step(way[cell], columns)
        # Ground that was taken out of `area`, such as water, ends the chain.
        if size[cell] < least:
            return count


@njit(cache=True)
def _count_large_donors(
    way: NDArray[np.uint8],
    size: NDArray[np.float32],
    columns: int,
    threshold: float,
) -> tuple[NDArray[np.uint8], int]:
    """Count the large neighbours that drain into each cell, and all large ones."""
    donors = np.zeros(way.size, np.uint8)
    total = 0
    for cell in range(way.size):
        if size[cell] >= threshold:
            total += 1
            if way[cell] < OUTLET:
                donors[cell + _step(way[cell], columns)] += 1
    return donors, total
