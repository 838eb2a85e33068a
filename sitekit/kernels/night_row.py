"""One step of some rows of the cold layer: their faces, their limits, their cells."""

from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sitekit.kernels.night_faces import (
    Blocked,
    Edges,
    block_x,
    block_y,
    edge_x,
    edge_y,
)
from sitekit.kernels.night_flux import (
    Air,
    Ground,
    Step,
    flux_x_rows,
    flux_y_rows,
    update_rows,
)

#: Rows above one that is advanced which that may still change.
UNSURE = 4


class Water(NamedTuple):
    """Cells of open water, in order of their row.

    Parameters
    ----------
    begin : (row + 1,) ndarray of int
        First cell of each row.
    row, column : (cell,) ndarray of int
        Where each lies.
    mixing : (cell,) ndarray
        Velocity of mixing. [m s⁻¹]
    """

    begin: NDArray[Any]
    row: NDArray[Any]
    column: NDArray[Any]
    mixing: NDArray[Any]


class World(NamedTuple):
    """Everything that does not change during a night."""

    ground: Ground
    blocked_x: Blocked
    blocked_y: Blocked
    edges: Edges
    water: Water


@njit(cache=True)
def advance_rows(
    rows: tuple[int, int],
    old: Air,
    new: Air,
    world: World,
    step: Step,
    left: NDArray[np.float64],
) -> None:
    """Take one step in some rows; those above must have taken it.

    The last `UNSURE` of them may still change with the row below.
    """
    ground, edges = world.ground, world.edges
    first, end = rows
    last = old.depth.shape[0] - 2
    below = first + (first > 1), end + 1
    flux_x_rows(rows, old, ground, step, new.flux_x)
    flux_y_rows(below, old, ground, step, new.flux_y)
    block_x(rows, old, new, ground, world.blocked_x, step)
    block_y(below, old, new, ground, world.blocked_y, step)
    edge_x(rows, old, new, ground, edges, step)
    if first == 1:
        edge_y(first, old, new, ground, edges, step)
    if end == last + 1:
        edge_y(end, old, new, ground, edges, step)
    if update_rows(rows, old, new, ground, step) < 0:
        # Row by row: which rows are worked on together must not matter.
        for row in range(first, end):
            if update_rows((row, row + 1), old, new, ground, step) < 0:
                _limit(row, old, new, ground, step)
    sure = end if end == last + 1 else end - UNSURE
    _book_edges((max(first - UNSURE, 1), sure), old, new, edges, step, left)


@njit(cache=True)
def _limit(row: int, old: Air, new: Air, ground: Ground, step: Step) -> None:
    """Hold the cells of a row to what they have, and those that need their air.

    Those above the row before it keep what they were given; a depth that would
    still fall below zero there ends at zero.
    """
    first = max(row - UNSURE + 1, 1)
    again = True
    while again:
        again = False
        for each in range(first, row + 1):
            again = _limit_row(each, old, new, step) or again
    update_rows((max(first - 1, 1), row + 1), old, new, ground, step)


@njit(cache=True)
def _limit_row(row: int, old: Air, new: Air, step: Step) -> bool:
    """Scale what flows out of each cell that would be left with less than nothing."""
    depth = old.depth[row]
    flux, north, south = new.flux_x[row], new.flux_y[row], new.flux_y[row + 1]
    limited = False
    for j in range(1, len(depth) - 1):
        west, east = flux[j], flux[j + 1]
        if depth[j] + step.rate * (west - east + north[j] - south[j]) >= step.zero:
            continue
        out = max(-west, step.zero) + max(east, step.zero)
        out += max(-north[j], step.zero) + max(south[j], step.zero)
        if step.rate * out > depth[j]:
            share = step.whole * depth[j] / (step.rate * out)
            flux[j] *= share if west < 0 else step.one
            flux[j + 1] *= share if east > 0 else step.one
            north[j] *= share if north[j] < 0 else step.one
            south[j] *= share if south[j] > 0 else step.one
            limited = True
    return limited


@njit(cache=True)
def _book_edges(
    rows: tuple[int, int],
    old: Air,
    new: Air,
    edges: Edges,
    step: Step,
    left: NDArray[np.float64],
) -> None:
    """Add up what flows out over the edges of some rows."""
    last, columns = old.depth.shape[0] - 2, old.depth.shape[1] - 2
    for row in range(rows[0], rows[1]):
        gravity = old.buoyancy[row]
        if edges.west:
            _book(left[row], -new.flux_x[row, 1], gravity[1], step)
        if edges.east:
            _book(left[row], new.flux_x[row, columns + 1], gravity[columns], step)
    for row, face, sign, is_open in (
        (1, 1, -1, edges.north),
        (last, last + 1, 1, edges.south),
    ):
        if is_open and rows[0] <= row < rows[1]:
            for j in range(1, columns + 1):
                out = sign * new.flux_y[face, j]
                _book(left[row], out, old.buoyancy[row, j], step)


@njit(cache=True)
def _book(left: NDArray[np.float64], out: Any, gravity: Any, step: Step) -> None:
    """Add what one face let out."""
    volume = np.float64(step.seconds) * np.float64(out)
    left[0] += volume
    left[1] += volume * gravity
