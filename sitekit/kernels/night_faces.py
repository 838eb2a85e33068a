"""Faces that carry less than free flow: barriers, and the open edges of the grid."""

from math import sqrt
from typing import Any, NamedTuple

from numba import njit
from numpy.typing import NDArray

from sitekit.kernels.night_flux import FAST, Air, Ground, Step, free_flux

#: A bed higher than this is no ground: the halo, or a missing cell. [m]
WALL = 1e6
#: Discharge coefficients of flow under and over a barrier; handbook values of a
#: sluice and a broad-crested weir, from memory.
SLUICE, WEIR = 0.6, 0.385


class Blocked(NamedTuple):
    """Barrier faces of one direction, in order of their row.

    Parameters
    ----------
    begin : (row + 1,) ndarray of int
        First face of each row.
    row : (face,) ndarray of int
        Row of each face.
    column : (face,) ndarray of int
        Column of each face.
    height : (face,) ndarray
        Height above the higher bed. [m]
    foot : (face,) ndarray
        Height of the slot at the foot. [m]
    pores : (face,) ndarray
        Speed through the barrier for each unit of free speed.
    gap : (face,) ndarray
        Share of the face that stands open.
    stretch : (face,) ndarray
        Length of the line for each length of its staircase.
    """

    begin: NDArray[Any]
    row: NDArray[Any]
    column: NDArray[Any]
    height: NDArray[Any]
    foot: NDArray[Any]
    pores: NDArray[Any]
    gap: NDArray[Any]
    stretch: NDArray[Any]


class Edges(NamedTuple):
    """Which edges of the grid let air out, and the least fall over them.

    Parameters
    ----------
    west, east, north, south : bool
        Whether the edge is open.
    fall : float
        Least fall of the surface from cell to cell. [m]
    """

    west: bool
    east: bool
    north: bool
    south: bool
    fall: Any


@njit(cache=True, error_model="numpy")
def block_x(
    rows: tuple[int, int],
    old: Air,
    new: Air,
    ground: Ground,
    blocked: Blocked,
    step: Step,
) -> None:
    """Replace the flux through the barrier faces within some rows."""
    for i in range(blocked.begin[rows[0]], blocked.begin[rows[1]]):
        row, j = blocked.row[i], blocked.column[i]
        cells = (row, j - 1), (row, j)
        above, below = old.flux_y[row], old.flux_y[row + 1]
        aside = step.quarter * (above[j - 1] + above[j] + below[j - 1] + below[j])
        free, flux = _through(
            i, old.free_x[i], aside, cells, old, ground, blocked, step
        )
        new.free_x[i] = free
        new.flux_x[row, j] = flux


@njit(cache=True, error_model="numpy")
def block_y(
    rows: tuple[int, int],
    old: Air,
    new: Air,
    ground: Ground,
    blocked: Blocked,
    step: Step,
) -> None:
    """Replace the flux through the barrier faces above some rows."""
    for i in range(blocked.begin[rows[0]], blocked.begin[rows[1]]):
        row, j = blocked.row[i], blocked.column[i]
        cells = (row - 1, j), (row, j)
        above, below = old.flux_x[row - 1], old.flux_x[row]
        aside = step.quarter * (above[j] + above[j + 1] + below[j] + below[j + 1])
        free, flux = _through(
            i, old.free_y[i], aside, cells, old, ground, blocked, step
        )
        new.free_y[i] = free
        new.flux_y[row, j] = flux


@njit(cache=True, error_model="numpy")
def _through(
    face: int,
    free: Any,
    aside: Any,
    cells: tuple[tuple[int, int], tuple[int, int]],
    air: Air,
    ground: Ground,
    blocked: Blocked,
    step: Step,
) -> tuple[Any, Any]:
    """Find the free flux of a barrier face, and what the barrier lets pass."""
    before, after = cells
    bed = (ground.bed[before], ground.bed[after])
    depth = (air.depth[before], air.depth[after])
    gravity = (air.buoyancy[before], air.buoyancy[after])
    drag = (ground.drag[before], ground.drag[after])
    free = free_flux(free, free, aside, bed, depth, gravity, drag, step)
    sill = max(bed[0], bed[1])
    levels = (bed[0] + depth[0], bed[1] + depth[1])
    forth = levels[0] > levels[1]
    upper, lower = (levels[0], levels[1]) if forth else (levels[1], levels[0])
    over = upper - sill
    # Inertia may still carry air up the surface; a barrier stops that.
    if over <= step.thin or (free > step.zero) != forth:
        return free, step.zero
    flux = _passed(
        face,
        abs(free),
        over,
        upper - max(lower, sill),
        gravity[0] if forth else gravity[1],
        blocked,
    )
    return free, flux if forth else -flux


@njit(cache=True, error_model="numpy", fastmath=FAST)
def _passed(
    face: int, free: Any, over: Any, drop: Any, gravity: Any, blocked: Blocked
) -> Any:
    """Add up the ways through a barrier: gap, foot, pores and over the top."""
    height, gap = blocked.height[face], blocked.gap[face]
    fast = blocked.stretch[face] * sqrt(2 * gravity * drop)
    each = free / over
    foot = min(over, blocked.foot[face])
    pores = max(min(over, height) - blocked.foot[face], 0 * over)
    crest = max(over - height, 0 * over)
    weir = blocked.stretch[face] * sqrt(2 * gravity * min(drop, crest))
    passed = _series(each * foot, foot * fast * SLUICE)
    passed += _series(each * pores, pores * fast * blocked.pores[face])
    passed += _series(each * crest, crest * weir * WEIR)
    return gap * _series(free, over * fast) + (1 - gap) * passed


@njit(cache=True, error_model="numpy", fastmath=FAST)
def _series(drag: Any, opening: Any) -> Any:
    """Join two resistances that the same flow meets one after the other."""
    both = drag * drag + opening * opening
    return drag * opening / sqrt(both) if both > 0 else both


@njit(cache=True, error_model="numpy")
def edge_x(
    rows: tuple[int, int], old: Air, new: Air, ground: Ground, edges: Edges, step: Step
) -> None:
    """Let air out over the western and eastern edge of some rows."""
    last = old.depth.shape[1] - 2
    for j, inner, face, sign, is_open in (
        (1, 2, 1, -1, edges.west),
        (last, last - 1, last + 1, 1, edges.east),
    ):
        if not is_open:
            continue
        for row in range(rows[0], rows[1]):
            aside = step.half * (old.flux_y[row, j] + old.flux_y[row + 1, j])
            flux = sign * old.flux_x[row, face]
            out = _outward(
                flux, aside, (row, j), (row, inner), old, ground, edges, step
            )
            new.flux_x[row, face] = sign * out


@njit(cache=True, error_model="numpy")
def edge_y(
    row: int, old: Air, new: Air, ground: Ground, edges: Edges, step: Step
) -> None:
    """Let air out over the northern or southern edge, where the row lies there."""
    last = old.depth.shape[0] - 2
    if row == 1 and edges.north:
        cell, inner, sign = 1, 2, -1
    elif row == last + 1 and edges.south:
        cell, inner, sign = last, last - 1, 1
    else:
        return
    line = new.flux_y[row]
    for j in range(1, len(line) - 1):
        aside = step.half * (old.flux_x[cell, j] + old.flux_x[cell, j + 1])
        flux = sign * old.flux_y[row, j]
        out = _outward(flux, aside, (cell, j), (inner, j), old, ground, edges, step)
        line[j] = sign * out


@njit(cache=True, error_model="numpy")
def _outward(
    flux: Any,
    aside: Any,
    cell: tuple[int, int],
    inner: tuple[int, int],
    air: Air,
    ground: Ground,
    edges: Edges,
    step: Step,
) -> Any:
    """Find the flux over an edge, as if the slope of the bed went on outside."""
    fall = ground.bed[inner] - ground.bed[cell]
    if fall < step.zero:
        return step.zero
    if fall < edges.fall or ground.bed[inner] >= WALL:
        fall = edges.fall
    depth, gravity, drag = air.depth[cell], air.buoyancy[cell], ground.drag[cell]
    out = free_flux(
        flux,
        flux,
        aside,
        (fall, step.zero),
        (depth, depth),
        (gravity, gravity),
        (drag, drag),
        step,
    )
    return max(out, step.zero)
