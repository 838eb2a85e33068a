"""The time loop of the cold layer.

Between two looks at how long a step may be, the steps follow each other down the
rows: while one works on a row, the next works two rows above it, so that many
steps are taken on what the cache holds. The steps are dealt out in groups, one
group to a thread, and a group waits for the rows that it needs from the group
before it. Nothing depends on how they are dealt out: the answer has the same bits
for any number of threads.
"""

import os
from math import sqrt
from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sitekit.kernels.night_flux import Air, Step
from sitekit.kernels.night_record import (
    Record,
    look_at_row,
    prepare_look,
    record_row,
)
from sitekit.kernels.night_row import UNSURE, World, advance_rows
from sitekit.kernels.night_threads import meet, tell, wait_for

#: Steps between two looks at how long a step may be.
STEPS_PER_LOOK = 10
#: Rows by which a step stays behind the one before it.
BEHIND = UNSURE + 1
#: Rows that a step takes at a time: fewest, most, and share of all rows. Many spare
#: calls; few let the next thread begin soon.
FEWEST, MOST, SHARE = 4, 16, 32
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
#: Its multiples spread evenly between whole numbers.
GOLDEN = 0.5 * (sqrt(5.0) - 1.0)
#: Open water mixes as if at least this deep. [m]
SHALLOW = 0.3


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
    grain : float
        Difference of the heaviest air made to the next number that the state's
        type can hold. [m s⁻²]
    """

    cell_size: float
    seconds: float
    begin: float
    night: float
    lightest: float
    heaviest: float
    grain: float


class Shared(NamedTuple):
    """What the threads tell each other.

    Parameters
    ----------
    counter : (1,) ndarray of int64
        Meetings, see `meet`.
    done : (group, 8) ndarray of int64
        Rows finished by each group of steps since the beginning, in the first
        column; a line of the cache for each.
    fastest : (thread,) ndarray
        Fastest wave or flow in the rows of a thread. [m s⁻¹]
    left : (row, 2) ndarray
        Volume and buoyancy that left over the edges of each row, per length of
        a cell. [m²], [m³ s⁻²]
    """

    counter: NDArray[np.int64]
    done: NDArray[np.int64]
    fastest: NDArray[np.float64]
    left: NDArray[np.float64]


def share(bed: NDArray[Any], threads: int) -> Shared:
    """Lay out what the threads share; each looks at two rows at least.

    Parameters
    ----------
    bed : (row, column) ndarray
        Height of the ground, without halo.
    threads : int
        Threads asked for.

    Returns
    -------
    shared : Shared
        As many threads as are worth it.
    """
    rows = bed.shape[0]
    most = min(threads, os.cpu_count() or 1, rows // 2, STEPS_PER_LOOK)
    return Shared(
        counter=np.zeros(1, np.int64),
        done=np.zeros((STEPS_PER_LOOK, 8), np.int64),
        fastest=np.zeros(max(most, 1)),
        left=np.zeros((rows + 2, 2)),
    )


@njit(cache=True, nogil=True)
def run_steps(
    thread: int,
    first: Air,
    second: Air,
    world: World,
    record: Record,
    plan: Plan,
    shared: Shared,
) -> tuple[float, int]:
    """Run the night in one thread while others run it too.

    The last state is in ``first`` after an even number of steps, otherwise in
    ``second``.

    Returns
    -------
    time : float
        Time run. [s]
    steps : int
        Steps taken.
    """
    threads = len(shared.fastest)
    together = -(-STEPS_PER_LOOK // threads)
    spans = np.empty((STEPS_PER_LOOK, 2))
    time, looked, steps, looks = 0.0, 0.0, 0, 0
    while time < plan.seconds:
        seconds = _look(thread, first, world, record, plan, (looked, time), shared)
        looked, looks = time, looks + 1
        count = 0
        while count < STEPS_PER_LOOK and time < plan.seconds:
            spans[count] = time, min(seconds, plan.seconds - time)
            time += spans[count, 1]
            count += 1
        for group in range(thread, -(-count // together), threads):
            mine = group * together, min((group + 1) * together, count)
            states = first, second
            _run_group(group, looks, mine, states, world, plan, spans, shared)
        meet(shared.counter, threads)
        steps += count
    last = first if steps % 2 == 0 else second
    _look(thread, last, world, record, plan, (looked, time), shared)
    return time, steps


@njit(cache=True)
def _run_group(
    group: int,
    looks: int,
    mine: tuple[int, int],
    states: tuple[Air, Air],
    world: World,
    plan: Plan,
    spans: NDArray[np.float64],
    shared: Shared,
) -> None:
    """Take some steps together, each a little behind the one before it."""
    first, second = states
    rows = first.depth.shape[0] - 2
    earlier = (looks - 1) * rows
    work = min(max(rows // SHARE, FEWEST), MOST)
    late = BEHIND * (mine[1] - mine[0] - 1)
    for front in range(1, rows + 1 + late, work):
        if group > 0:
            needed = min(front + work + BEHIND - 1, rows)
            wait_for(shared.done[group - 1], earlier + needed)
        for number in range(mine[0], mine[1]):
            start = front - BEHIND * (number - mine[0])
            here = max(start, 1), min(start + work, rows + 1)
            old, new = (first, second) if number % 2 == 0 else (second, first)
            taken = (looks - 1) * STEPS_PER_LOOK + number
            step = _prepare(taken, spans[number], first.depth, plan)
            if here[0] < here[1]:
                advance_rows(here, old, new, world, step, shared.left)
        finished = min(front - late + work - 1, rows)
        if finished > 0:
            tell(shared.done[group], earlier + finished)


@njit(cache=True)
def _prepare(
    taken: int, span: NDArray[np.float64], like: NDArray[Any], plan: Plan
) -> Step:
    """Turn the numbers of a step into the type of the state."""
    kind = like.dtype.type
    time, seconds = span
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
        # A hair less, so that rounding brings no depth below zero.
        whole=kind(1.0 - 2.0**-20),
        thin=kind(THIN),
        push=kind(0.5 * seconds / plan.cell_size),
        hold=kind(0.5 * seconds),
        inertia=kind(2.0 * INERTIA),
        own=kind(OWN),
        lent=kind(0.5 * (1.0 - OWN)),
        tiny=kind(1e-12),
        lightest=kind(plan.lightest),
        heaviest=kind(plan.heaviest),
        # Rounded the same way at each step, what is too small to change a steady
        # field would be lost for good.
        nudge=kind(plan.grain * (taken * GOLDEN % 1.0 - 0.5)),
    )


@njit(cache=True)
def _bounds(thread: int, threads: int, rows: int) -> tuple[int, int]:
    """Find the first row that a thread looks at and the row after its last."""
    return 1 + thread * rows // threads, 1 + (thread + 1) * rows // threads


@njit(cache=True)
def _look(
    thread: int,
    air: Air,
    world: World,
    record: Record,
    plan: Plan,
    times: tuple[float, float],
    shared: Shared,
) -> float:
    """Add to the record, and find how long the next steps may be."""
    threads = len(shared.fastest)
    rows = _bounds(thread, threads, air.depth.shape[0] - 2)
    since, now = times
    last = min(now - plan.seconds + LAST_HOUR, now - since)
    look = prepare_look(now - since, last, air.depth)
    peak = np.zeros_like(air.depth[0])
    for row in range(rows[0], rows[1]):
        look_at_row(row, air, record.pool[row], peak, look)
        if look.last > 0:
            record_row(row, air, record, look)
    _mix_water(rows, air, world)
    shared.fastest[thread] = sqrt(peak.max())
    meet(shared.counter, threads)
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
