"""The whole survey: time, memory a cell, and how both grow with the cells.

Each size runs in a process of its own, so that its peak is its own. Memory counts from
after a small survey, so that imports and compiled code are not in it.
"""

import json
import subprocess
import sys
import tempfile
from itertools import pairwise
from pathlib import Path
from threading import Thread
from time import perf_counter, sleep

from ground import write_site
from telling import copy_rate, resident, say

from sitekit.io.inputs import read_request
from sitekit.pipeline import survey

SIDES = (500, 1000, 2000, 4000)
SMALL = 330
MOST_STEPS = 8


class Watch:
    """Which step runs, how long each took, and in which the memory was highest."""

    def __init__(self):
        self.step, self.begun, self.seconds = "reading", perf_counter(), {}
        self.highest, self.at, self.running = 0, "", True
        self.thread = Thread(target=self._look, daemon=True)
        self.thread.start()

    def begin(self, step):
        now = perf_counter()
        self.seconds[self.step] = self.seconds.get(self.step, 0) + now - self.begun
        self.step, self.begun = step, now

    def end(self):
        self.begin("")
        self.running = False
        self.thread.join()

    def _look(self):
        while self.running:
            held = resident()
            if held > self.highest:
                self.highest, self.at = held, self.step
            sleep(0.003)


def measure(side, cell):
    """Survey one ground in this process, once compiled code is at hand."""
    with tempfile.TemporaryDirectory() as small:
        survey(read_request(write_site(Path(small), SMALL, cell)))
    with tempfile.TemporaryDirectory() as folder:
        request = write_site(Path(folder), side, cell)
        before = resident()
        copied = copy_rate()
        watch = Watch()
        survey(read_request(request), on_step=watch.begin)
        watch.end()
        copied = (copied + copy_rate()) / 2
    return {
        "cells": side * side,
        "seconds": sum(watch.seconds.values()),
        "bytes_a_cell": (watch.highest - before) / side**2,
        "highest_in": watch.at,
        "steps": watch.seconds,
        "copied": copied,
    }


def measure_apart(side, cell):
    """Measure in a process of its own."""
    told = subprocess.run(
        [sys.executable, __file__, str(side), str(cell)],
        capture_output=True,
        text=True,
        check=True,
    )
    return json.loads(told.stdout.splitlines()[-1])


def tell(found, cell):
    """Print one size."""
    say(
        f"survey {found['cells'] / 1e6:.2f} M cells of {cell:g} m: "
        f"{found['seconds']:.1f} s, {found['bytes_a_cell']:.0f} bytes a cell "
        f"(highest in {found['highest_in']}), beside copies at "
        f"{found['copied']:.0f} Mcell/s"
    )
    longest = sorted(found["steps"].items(), key=lambda s: -s[1])[:MOST_STEPS]
    say("  " + ", ".join(f"{name} {took:.1f} s" for name, took in longest))


def run():
    """Print time and memory for each size, then for other cells."""
    found = []
    for side in SIDES:
        found.append(measure_apart(side, 4.0))
        tell(found[-1], 4.0)
    for small, large in pairwise(found):
        more = large["cells"] / small["cells"]
        growth = large["seconds"] / small["seconds"]
        say(f"{more:.0f} times the cells take {growth:.1f} times the time")
    for cell in (2.0, 10.0):
        tell(measure_apart(1000, cell), cell)


if __name__ == "__main__":
    say(json.dumps(measure(int(sys.argv[1]), float(sys.argv[2]))))
