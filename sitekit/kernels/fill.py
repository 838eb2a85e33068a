"""Filling of hollows up to the level at which they spill.

Every cell belongs to the basin of the pit that it falls to. Basins touch at
passes; the lowest chain of passes out of each basin is its spill level, and the
filled height of a cell is the higher of its own and that level. The result is
the same, bit for bit, as that of a priority flood, without a heap of cells.

An outlet is a cell on the edge of the grid, or beside missing cells (NaN) that
reach the edge through missing cells. Missing cells inside are walls: nothing
drains into them and they are not filled.

References
----------
Barnes, R., "Parallel priority-flood depression filling for trillion cell digital
elevation models on desktops or clusters", Computers & Geosciences, 96, 2016.
Cordonnier, G., Bovy, B. and Braun, J., "A versatile, linear complexity algorithm
for flow routing in topographies with depressions", Earth Surface Dynamics, 7, 2019.
"""

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

#: In the array of basins a cell holds first the index of the cell that it falls
#: to, at least 0, and then the number of its basin with a minus sign.
OUTSIDE = 1
MISSING = 2
FIRST_BASIN = 3

#: Passes remembered to see that the next one joins the same two basins.
REMEMBERED = 4096


@njit(cache=True)
def fill(elevation: NDArray[np.float32]) -> NDArray[np.float32]:
    """Fill every hollow to its spill level, over eight neighbours.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground, NaN where missing. [m]

    Returns
    -------
    filled : (row, column) ndarray
        Height of the ground or of the level at which its hollow spills. Ground
        that missing cells cut off from every outlet is left as it is. [m]
    """
    basins = _find_lowest_neighbours(elevation, find_outlets(elevation))
    count = _name_basins(basins)
    pairs, heights = _find_passes(elevation.ravel(), basins, elevation.shape[1])
    levels = _find_spill_levels(pairs, heights, count)
    filled = elevation.copy()
    surface = filled.ravel()
    for cell in range(surface.size):
        level = levels[-basins[cell]]
        surface[cell] = level if level > surface[cell] else surface[cell]
    return filled


@njit(cache=True)
def find_outlets(elevation: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Find the cells at which the ground drains out of the grid.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground, NaN where missing. [m]

    Returns
    -------
    outlets : (row, column) ndarray of bool
        Cells with a height on the edge of the grid, or beside missing cells
        that reach the edge.
    """
    rows, columns = elevation.shape
    outlets = np.zeros((rows, columns), np.bool_)
    waiting = np.empty(_count_missing(elevation.ravel()), np.int64)
    count = 0
    # A missing cell that was reached is marked too, and unmarked at the end.
    for row in range(rows):
        step = 1 if row in (0, rows - 1) else max(columns - 1, 1)
        for column in range(0, columns, step):
            outlets[row, column] = True
            if np.isnan(elevation[row, column]):
                waiting[count] = row * columns + column
                count += 1
    reached = _spread_outside(elevation, outlets, waiting, count)
    marked = outlets.ravel()
    for place in range(reached):
        marked[waiting[place]] = False
    return outlets


@njit(cache=True)
def _count_missing(heights: NDArray[np.float32]) -> int:
    """Count the cells without a height."""
    count = 0
    for cell in range(heights.size):
        count += np.isnan(heights[cell])
    return count


@njit(cache=True)
def _spread_outside(
    elevation: NDArray[np.float32],
    outlets: NDArray[np.bool_],
    waiting: NDArray[np.int64],
    count: int,
) -> int:
    """Mark all that lies beside missing cells reached from the edge."""
    rows, columns = elevation.shape
    done = 0
    while done < count:
        row, column = waiting[done] // columns, waiting[done] % columns
        done += 1
        for r in range(max(row - 1, 0), min(row + 2, rows)):
            for c in range(max(column - 1, 0), min(column + 2, columns)):
                if outlets[r, c]:
                    continue
                outlets[r, c] = True
                if np.isnan(elevation[r, c]):
                    waiting[count] = r * columns + c
                    count += 1
    return count


@njit(cache=True)
def _find_lowest_neighbours(
    elevation: NDArray[np.float32], outlets: NDArray[np.bool_]
) -> NDArray[np.int32]:
    """Point every cell at its lowest neighbour, or at itself where it is a pit."""
    rows, columns = elevation.shape
    basins = np.full((rows, columns), -OUTSIDE, np.int32)
    for row in range(1, rows - 1):
        _point_row(
            elevation[row - 1], elevation[row], elevation[row + 1], row, basins[row]
        )
    lowest, heights, is_outlet = basins.ravel(), elevation.ravel(), outlets.ravel()
    for cell in range(lowest.size):
        lowest[cell] = -OUTSIDE if is_outlet[cell] else lowest[cell]
        lowest[cell] = -MISSING if np.isnan(heights[cell]) else lowest[cell]
    return lowest


@njit(cache=True)
def _point_row(
    above: NDArray[np.float32],
    middle: NDArray[np.float32],
    below: NDArray[np.float32],
    row: int,
    lowest: NDArray[np.int32],
) -> None:
    """Point one row of inner cells at their lowest neighbours.

    Of two equally low cells the earlier one counts as lower, so that level
    ground has no loops: hence <= for the cells before and < for those after.
    """
    columns = middle.size
    steps_before = (-1, 1 - columns, -columns, -columns - 1)
    steps_after = (1, columns - 1, columns, columns + 1)
    for column in range(1, columns - 1):
        left, right = column - 1, column + 1
        low, step = middle[column], 0
        before = (middle[left], above[right], above[column], above[left])
        after = (middle[right], below[left], below[column], below[right])
        for place in range(4):
            if before[place] <= low:
                low, step = before[place], steps_before[place]
        for place in range(4):
            if after[place] < low:
                low, step = after[place], steps_after[place]
        lowest[column] = row * columns + column + step


@njit(cache=True)
def _name_basins(basins: NDArray[np.int32]) -> int:
    """Replace where each cell falls to by the basin that it ends in."""
    count = FIRST_BASIN
    for start in range(basins.size):
        cell = start
        while basins[cell] >= 0 and basins[cell] != cell:
            cell = basins[cell]
        if basins[cell] == cell:
            basins[cell] = -count
            count += 1
        name = basins[cell]
        cell = start
        while basins[cell] >= 0:
            following = basins[cell]
            basins[cell] = name
            cell = following
    return count


@njit(cache=True)
def _find_passes(
    elevation: NDArray[np.float32], basins: NDArray[np.int32], columns: int
) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
    """List where basins touch, with the height of the crossing.

    Cells are taken as one long line, in which the last cell of a row lies beside
    the first of the next. That does no harm: both are on the edge, so they are
    outside or missing and make no pass.
    """
    recent = np.zeros(REMEMBERED, np.int64)
    lowest = np.empty(REMEMBERED, np.float32)
    pairs = np.empty(2 * REMEMBERED, np.int64)
    heights = np.empty(2 * REMEMBERED, np.float32)
    count = 0
    for cell in range(basins.size - columns - 1):
        own = np.int64(basins[cell])
        if own == -MISSING or (
            own == basins[cell + 1]
            and own == basins[cell + columns - 1]
            and own == basins[cell + columns]
            and own == basins[cell + columns + 1]
        ):
            continue
        if count + REMEMBERED + 4 > pairs.size:
            pairs, heights = _lengthen(pairs), _lengthen(heights)
        for step in (1, columns - 1, columns, columns + 1):
            other = np.int64(basins[cell + step])
            if other in (own, -MISSING):
                continue
            pair = min(-own, -other) << 32 | max(-own, -other)
            height = max(elevation[cell], elevation[cell + step])
            old, old_height = _remember(pair, height, recent, lowest)
            if old != 0:
                pairs[count], heights[count] = old, old_height
                count += 1
    for place in range(REMEMBERED):
        if recent[place] != 0:
            pairs[count], heights[count] = recent[place], lowest[place]
            count += 1
    return pairs[:count], heights[:count]


@njit(cache=True)
def _lengthen(values: NDArray[Any]) -> NDArray[Any]:
    """Double the length of an array."""
    longer = np.empty(2 * values.size, values.dtype)
    for place in range(values.size):
        longer[place] = values[place]
    return longer


@njit(cache=True)
def _remember(
    pair: np.int64,
    height: np.float32,
    recent: NDArray[np.int64],
    lowest: NDArray[np.float32],
) -> tuple[np.int64, np.float32]:
    """Keep the lowest pass of each pair; return the pair that had to go, or 0."""
    place = (pair ^ (pair >> 29)) % REMEMBERED
    old, old_height = recent[place], lowest[place]
    if old == pair:
        lowest[place] = min(old_height, height)
        return np.int64(0), height
    recent[place], lowest[place] = pair, height
    return old, old_height


@njit(cache=True)
def _find_spill_levels(
    pairs: NDArray[np.int64], heights: NDArray[np.float32], count: int
) -> NDArray[np.float32]:
    """Find the level at which each basin spills to the outside.

    Passes are opened from the lowest up. Where one joins basins to the outside,
    its height is the level of all of them.
    """
    levels = np.full(count, -np.inf, np.float32)
    leader = np.arange(count)
    following = np.full(count, -1)
    last = np.arange(count)
    for place in _order(heights):
        one = _find_leader(leader, pairs[place] >> 32)
        other = _find_leader(leader, pairs[place] & 0xFFFFFFFF)
        if one == other:
            continue
        if OUTSIDE in (one, other):
            member = max(one, other)
            while member >= 0:
                levels[member] = heights[place]
                leader[member] = OUTSIDE
                member = following[member]
        else:
            leader[other] = one
            following[last[one]] = other
            last[one] = last[other]
    return levels


@njit(cache=True)
def _order(heights: NDArray[np.float32]) -> NDArray[np.int64]:
    """Order heights from the lowest up, in time that grows as their number.

    The bits of a float sort as a number does, once those of negative ones are
    turned round; they are sorted by their lower half first, then by the upper.
    """
    bits = heights.view(np.uint32)
    order = np.arange(bits.size)
    ordered = np.empty_like(order)
    _order_by_half(bits, 0, order, ordered)
    _order_by_half(bits, 16, ordered, order)
    return order


@njit(cache=True)
def _order_by_half(
    bits: NDArray[np.uint32],
    shift: int,
    order: NDArray[np.int64],
    ordered: NDArray[np.int64],
) -> None:
    """Order again by one half of the bits, equal ones as they were."""
    begins = np.zeros(0x10001, np.int64)
    for place in range(bits.size):
        begins[_half(bits[place], shift) + 1] += 1
    for number in range(0x10000):
        begins[number + 1] += begins[number]
    for place in order:
        half = _half(bits[place], shift)
        ordered[begins[half]] = place
        begins[half] += 1


@njit(cache=True, inline="always")
def _half(bits: np.uint32, shift: int) -> np.int64:
    """Half of the bits of a float, in an order that sorts."""
    number = np.int64(bits)
    turned = number ^ (0xFFFFFFFF if number >> 31 else 0x80000000)
    return (turned >> shift) & 0xFFFF


@njit(cache=True)
def _find_leader(leader: NDArray[np.int64], basin: int) -> int:
    """Find the basin that stands for all that are joined to this one."""
    while leader[basin] != basin:
        leader[basin] = leader[leader[basin]]
        basin = leader[basin]
    return basin
