"""The time loop of the cold layer.

The rows are cut into bands, one for each thread. A step reads one state and
writes another, and bands tell each other nothing but minima and maxima: the
answer has the same bits for any number of bands. Within a band flux and update
follow each other a few rows at a time, so that what is worked on stays in the
cache.
"""

from math import sqrt
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
    flux_x_row,
    flux_y_row,
    update_row,
)
from sitekit.kernels.night_record import (
    Record,
    look_at_row,
    prepare_look,
    record_row,
)
from sitekit.kernels.night_threads import meet

#: Steps between two looks at how long a step may be.
STEPS_PER_LOOK = 10
#: Rows that are worked on together; what they need fits the cache.
ROWS_IN_WORK = 16
#: Longest step, and share of the time in which a wave crosses a cell. [s], [1]
LONGEST_STEP, COURANT = 10.0, 0.6
#: Time at the end over which depth and speed are averaged. [s]
LAST_HOUR = 3600.0
#: Inertia limit; keeps uniform flow steady at any slope.
INERTIA = 2.8
#: Weight of a face's own flux against its two neighbours.
OWN = 0.9
#: No flow where the air is thinner than this. [m]
THIN = 1e-4
#: Open water mixes as if at least this deep. [m]
SHALLOW = 0.3


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


class Plan(NamedTuple):
    """Times, and limits of the buoyancy.

    Parameters
    ----------
    cell_size : float
        Side of a cell. [m]
    seconds, begin, night : float
        Time to run, time since sunset at its beginning, and length of the
        night; a night of 0 makes cold air at a constant rate. [s]
    lightest, heaviest : float
        Least and greatest reduced gravity that can occur. [m s⁻²]
    """

    cell_size: float
    seconds: float
    begin: float
    night: float
    lightest: float
    heaviest: float


class Shared(NamedTuple):
    """What the threads tell each other.

    Parameters
    ----------
    counter : (1,) ndarray of int64
        Meetings, see `meet`.
    short : (2, band) ndarray
        Depth that was lacking in a band, for even and odd steps. [m]
    fastest : (band,) ndarray
        Fastest wave or flow of a band. [m s⁻¹]
    spare : (band, column) ndarray
        A line of faces for each band.
    left : (row, 2) ndarray
        Volume and buoyancy that left over the edges of each row, per length of
        a cell. [m²], [m³ s⁻²]
    """

    counter: NDArray[np.int64]
    short: NDArray[np.float64]
    fastest: NDArray[np.float64]
    spare: NDArray[Any]
    left: NDArray[np.float64]


@njit(cache=True, nogil=True)
def run_steps(
    band: int,
    first: Air,
    second: Air,
    world: World,
    record: Record,
    plan: Plan,
    shared: Shared,
) -> tuple[float, int]:
    """Run the night in one band while other threads run the others.

    The last state is in ``first`` after an even number of steps, otherwise in
    ``second``.

    Returns
    -------
    time : float
        Time run. [s]
    steps : int
        Steps taken.
    """
    old, new = first, second
    bands = len(shared.spare)
    time, looked, seconds, steps = 0.0, 0.0, 0.0, 0
    while time < plan.seconds:
        if steps % STEPS_PER_LOOK == 0:
            seconds = _look(band, old, world, record, plan, (looked, time), shared)
            looked = time
        seconds = min(seconds, plan.seconds - time)
        step = _prepare(seconds, time, old.depth, plan)
        short = shared.short[steps % 2]
        short[band] = _advance(band, old, new, world, step, shared.spare)
        meet(shared.counter, bands)
        if short.min() < 0.0:
            _advance_limited(band, old, new, world.ground, step, shared)
        _book_edges(band, old, new, world.edges, step, shared)
        old, new = new, old
        time += seconds
        steps += 1
    _look(band, old, world, record, plan, (looked, time), shared)
    return time, steps


@njit(cache=True)
def _prepare(seconds: float, time: float, like: NDArray[Any], plan: Plan) -> Step:
    """Turn the numbers of a step into the type of the state."""
    kind = like.dtype.type
    pace = 1.0
    if plan.night > 0.0:
        # Cooling goes with the root of time, so its rate with one over it.
        since = plan.begin + time + 0.5 * seconds
        pace = min(0.5 * sqrt(plan.night / since), 4.0)
    return Step(
        seconds=kind(seconds),
        rate=kind(seconds / plan.cell_size),
        pace=kind(seconds * pace),
        zero=kind(0.0),
        quarter=kind(0.25),
        half=kind(0.5),
        one=kind(1.0),
        thin=kind(THIN),
        push=kind(0.5 * seconds / plan.cell_size),
        hold=kind(0.5 * seconds),
        inertia=kind(2.0 * INERTIA),
        own=kind(OWN),
        lent=kind(0.5 * (1.0 - OWN)),
        tiny=kind(1e-12),
        lightest=kind(plan.lightest),
        heaviest=kind(plan.heaviest),
    )


@njit(cache=True)
def _bounds(band: int, bands: int, rows: int) -> tuple[int, int]:
    """Find the first row of a band and the row after its last."""
    return 1 + band * rows // bands, 1 + (band + 1) * rows // bands


@njit(cache=True)
def _advance(
    band: int, old: Air, new: Air, world: World, step: Step, spare: NDArray[Any]
) -> float:
    """Take one step in one band, a few rows at a time."""
    first, end = _bounds(band, len(spare), old.depth.shape[0] - 2)
    ground = world.ground
    # The faces above a band belong to the band above: a copy, worked out twice,
    # spares waiting for it. It stands where the row above keeps its faces.
    flux_y_row(first, old, ground, step, spare[band])
    line = spare[band : band + 1]
    block_y((first, first + 1), old, new, line, ground, world.blocked_y, step)
    if band == 0:
        edge_y(first, old, spare[band], ground, world.edges, step)
        new.flux_y[first] = spare[band]
    short = 0.0
    for start in range(first, end, ROWS_IN_WORK):
        stop = min(start + ROWS_IN_WORK, end)
        for row in range(start, stop):
            flux_x_row(row, old, ground, step, new.flux_x[row])
        block_x((start, stop), old, new, ground, world.blocked_x, step)
        edge_x((start, stop), old, new, ground, world.edges, step)
        for row in range(start + 1, stop + 1):
            flux_y_row(row, old, ground, step, new.flux_y[row])
        below = (start + 1, stop + 1)
        line = new.flux_y[start + 1 : stop + 1]
        block_y(below, old, new, line, ground, world.blocked_y, step)
        if stop == old.depth.shape[0] - 1:
            edge_y(stop, old, new.flux_y[stop], ground, world.edges, step)
        if start == first:
            lines = (spare[band], new.flux_y[start + 1])
            short += update_row(start, old, new, lines, ground, step)
        for row in range(max(start, first + 1), stop):
            lines = (new.flux_y[row], new.flux_y[row + 1])
            short += update_row(row, old, new, lines, ground, step)
    return short


@njit(cache=True)
def _advance_limited(
    band: int, old: Air, new: Air, ground: Ground, step: Step, shared: Shared
) -> None:
    """Take the step again, no cell giving more than it holds."""
    bands = len(shared.spare)
    first, end = _bounds(band, bands, old.depth.shape[0] - 2)
    for row in range(first, end):
        _limit_row(row, old, new, step)
    meet(shared.counter, bands)
    for row in range(first, end):
        lines = (new.flux_y[row], new.flux_y[row + 1])
        update_row(row, old, new, lines, ground, step)
    meet(shared.counter, bands)


@njit(cache=True)
def _limit_row(row: int, old: Air, new: Air, step: Step) -> None:
    """Scale what flows out of each cell to what the cell holds."""
    west_east, north, south = new.flux_x[row], new.flux_y[row], new.flux_y[row + 1]
    # A hair less, so that rounding cannot bring the depth below zero again.
    whole = step.one - step.one / 2**20
    for j in range(1, len(west_east) - 1):
        out = max(-west_east[j], step.zero) + max(west_east[j + 1], step.zero)
        out += max(-north[j], step.zero) + max(south[j], step.zero)
        out *= step.rate
        if out > whole * old.depth[row, j]:
            share = whole * old.depth[row, j] / out
            west_east[j] *= share if west_east[j] < 0 else step.one
            west_east[j + 1] *= share if west_east[j + 1] > 0 else step.one
            north[j] *= share if north[j] < 0 else step.one
            south[j] *= share if south[j] > 0 else step.one


@njit(cache=True)
def _look(
    band: int,
    air: Air,
    world: World,
    record: Record,
    plan: Plan,
    times: tuple[float, float],
    shared: Shared,
) -> float:
    """Add to the record, and find how long the next steps may be."""
    bands = len(shared.spare)
    rows = _bounds(band, bands, air.depth.shape[0] - 2)
    since, now = times
    last = min(now - plan.seconds + LAST_HOUR, now - since)
    look = prepare_look(now - since, last, air.depth)
    peak = np.zeros_like(air.depth[0])
    for row in range(rows[0], rows[1]):
        look_at_row(row, air, record.pool[row], peak, look)
        if look.last > 0:
            record_row(row, air, record, look)
    _mix_water(rows, air, world)
    shared.fastest[band] = sqrt(peak.max())
    meet(shared.counter, bands)
    fastest = shared.fastest.max()
    seconds = LONGEST_STEP
    if fastest > 0.0:
        seconds = min(seconds, COURANT * plan.cell_size / fastest)
    # A step that the state's type can hold keeps what is made and what is
    # booked the same.
    return float(np.float32(seconds))


@njit(cache=True)
def _mix_water(rows: tuple[int, int], air: Air, world: World) -> None:
    """Let air over open water mix at a velocity over its depth."""
    water = world.water
    for i in range(water.begin[rows[0]], water.begin[rows[1]]):
        cell = water.row[i], water.column[i]
        world.ground.decay[cell] = water.mixing[i] / max(air.depth[cell], SHALLOW)


@njit(cache=True)
def _book_edges(
    band: int, old: Air, new: Air, edges: Edges, step: Step, shared: Shared
) -> None:
    """Add up what flows out over the edges of each row."""
    rows, columns = old.depth.shape[0] - 2, old.depth.shape[1] - 2
    first, end = _bounds(band, len(shared.spare), rows)
    for row in range(first, end):
        left = shared.left[row]
        gravity = old.buoyancy[row]
        if edges.west:
            _book(left, -new.flux_x[row, 1], gravity[1], step)
        if edges.east:
            _book(left, new.flux_x[row, columns + 1], gravity[columns], step)
        if edges.north and row == 1:
            for j in range(1, columns + 1):
                _book(left, -new.flux_y[row, j], gravity[j], step)
        if edges.south and row == rows:
            for j in range(1, columns + 1):
                _book(left, new.flux_y[row + 1, j], gravity[j], step)


@njit(cache=True)
def _book(left: NDArray[np.float64], out: Any, gravity: Any, step: Step) -> None:
    """Add what one face let out."""
    volume = np.float64(step.seconds) * np.float64(out)
    left[0] += volume
    left[1] += volume * gravity
