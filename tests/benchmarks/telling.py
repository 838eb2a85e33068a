"""What the benchmarks share: time of a call, memory, and the copy rate beside it."""

import resource
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from time import perf_counter, sleep

import numpy as np

#: Calls of which the quickest counts.
CALLS = 3


def say(text):
    """Print a line at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def resident():
    """Memory that this process holds now. [byte]"""
    pages = int(Path("/proc/self/statm").read_text(encoding="utf-8").split()[1])
    return pages * resource.getpagesize()


def memory_of(call):
    """Most memory that a call holds beyond what was held before it. [byte]"""
    before = highest = resident()
    with ThreadPoolExecutor(1) as pool:
        running = pool.submit(call)
        while not running.done():
            highest = max(highest, resident())
            sleep(0.001)
        running.result()
    return highest - before


def quickest(call):
    """Time a call: the quickest of some, after one that compiles. [s]"""
    call()
    times = []
    for _ in range(CALLS):
        start = perf_counter()
        call()
        times.append(perf_counter() - start)
    return min(times)


def copy_rate(cells=16_777_216):
    """Rate at which this machine copies float32 on one thread. [Mcell s⁻¹]"""
    source = np.ones(cells, np.float32)
    target = np.empty_like(source)
    return cells / quickest(lambda: np.copyto(target, source)) / 1e6
