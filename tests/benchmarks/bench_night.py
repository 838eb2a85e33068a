"""The moving air: steps of cells a second, beside the rate at which this machine copies.

Copies and runs take turns, so that other work on the machine slows both.
"""

from time import perf_counter

import numpy as np
from ground import make_ground
from telling import memory_of, say

from sitekit.kernels.night import NightGround, run_night
from sitekit.layers.cover import COVERS, SHORT_GRASS
from sitekit.layers.faces import PIECE
from sitekit.layers.flow import standard_night

SIDES = (500, 1000, 2000)
THREADS = (1, 2)
TURNS, COPIED = 5, 16_777_216
#: Cell steps of one timed run, so that each takes about a second.
CELL_STEPS = 4e8
NIGHT, FIRST, BEGIN = 32_400.0, 600.0, 20_000.0
GRASS = COVERS[SHORT_GRASS]


def make_field(side, cell=4.0):
    """Rough open ground on which the air and its deficit both differ."""
    bed = make_ground(side)
    one = np.ones_like(bed)
    random = np.random.default_rng(3)
    return NightGround(
        bed=bed,
        production=one * np.float32(2 / 3600),
        deficit=(4 + random.random(bed.shape)).astype(np.float32),
        drag=one * np.float32(GRASS.drag),
        decay=one * np.float32(1 / 5400),
        cell_size=cell,
    )


def timed(call):
    """Time one call. [s]"""
    start = perf_counter()
    found = call()
    return perf_counter() - start, found


def say_rates(side):
    """Print the rates of one size, and the bytes that a run takes."""
    field = make_field(side)
    cells = field.bed.size
    source = np.ones(COPIED, np.float32)
    target = np.empty_like(source)
    start = run_night(field, FIRST, night=NIGHT, begin=BEGIN, threads=2)
    seconds = FIRST * CELL_STEPS / (start.steps * cells)
    copied, rates = 0.0, dict.fromkeys(THREADS, 0.0)
    bits = set()
    for _ in range(TURNS):
        for threads in THREADS:
            took, _ = timed(lambda: np.copyto(target, source))
            copied = max(copied, COPIED / took)
            took, state = timed(
                lambda threads=threads: run_night(
                    field,
                    seconds,
                    night=NIGHT,
                    begin=BEGIN,
                    start=start,
                    threads=threads,
                )
            )
            rates[threads] = max(rates[threads], state.steps * cells / took)
            bits.add(state.depth.tobytes() + state.buoyancy.tobytes())
    told = ", ".join(
        f"{threads} thread{'s' * (threads > 1)} {rate / 1e6:.0f} M cell-steps/s "
        f"({100 * rate / copied:.1f} % of the copy rate)"
        for threads, rate in rates.items()
    )
    same = "the same bits" if len(bits) == 1 else "NOT the same bits"
    say(f"{cells / 1e6:.2f} M cells: copy {copied / 1e6:.0f} Mcell/s; {told}; {same}")


def say_standard_night(side=1000, cell=5.0):
    """Print the time of a whole standard night with its coarse start."""
    field = make_field(side, cell)
    sources = np.stack([field.production, field.deficit, field.drag, field.decay])
    took, _ = timed(
        lambda: standard_night(
            field.bed,
            sources,
            np.zeros(field.bed.shape, bool),
            np.empty((0, len(PIECE))),
            9.0,
            cell_size=cell,
            factor=1,
        )
    )
    say(
        f"standard night of 9 h, {side**2 / 1e6:.0f} M cells of {cell:g} m: {took:.1f} s"
    )


def say_memory(side=1000):
    """Print what a run holds beyond the ground that it is given."""
    field = make_field(side)
    held = memory_of(lambda: run_night(field, 60.0, night=NIGHT, begin=BEGIN))
    say(f"a run holds {held / side**2:.0f} bytes a cell beyond its ground")


def run():
    """Print memory, the standard night, and the rates for each size."""
    run_night(make_field(60), 60.0, threads=2)
    say_memory()
    say_standard_night()
    for side in SIDES:
        say_rates(side)


if __name__ == "__main__":
    run()
