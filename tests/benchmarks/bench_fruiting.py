"""Thirty years over a million cells and six fruit: time, and memory beyond the layers."""

import tracemalloc

import numpy as np
import pandas as pd
from telling import quickest, say

from sitekit.climate.fruiting import Shifts
from sitekit.climate.kinds import judge_fruit
from sitekit.climate.seasons import make_seasons
from sitekit.climate.springs import read_springs
from sitekit.demo.records import make_station
from sitekit.fruit import fruit_names, read_fruit
from sitekit.site import Record
from sitekit.words import GOOD

SIDE = 1000


def read_record():
    """The demo's record, a row a year."""
    days = make_station().rename(columns={"wind_night": "wind", "cloud_night": "cloud"})
    record = Record("station_daily.csv", days, 0.0, 0.0, 737.0, 46.3, pd.DataFrame())
    return read_springs(make_seasons(record))


def make_shifts():
    """Shifts of a million cells: a valley side of 70 m with a pool at its foot."""
    random = np.random.default_rng(3)
    height = np.linspace(-30, 40, SIDE, dtype=np.float32)[:, None]
    rough = random.normal(0, 0.15, (SIDE, SIDE)).astype(np.float32)
    still = np.clip(height / 12, -3.5, 0.8) + rough
    windy = -0.0065 * height + 0.3 * rough
    warmth = -0.0065 * height + rough
    return Shifts(still, still + 0.2, still - 0.3, windy, warmth)


def survey(springs, shifts, ground):
    """Layers of six fruit: poor-crop years and site class."""
    kept = []
    for name in fruit_names():
        verdict = judge_fruit(springs, read_fruit(name), ground, shifts)
        kept.append((verdict.usual.poor, verdict.site_class))
    return kept


def run():
    """Print the time and the bytes a cell of six fruit."""
    springs, shifts = read_record(), make_shifts()
    ground = np.full((SIDE, SIDE), GOOD, np.uint8)
    took = quickest(lambda: survey(springs, shifts, ground))
    tracemalloc.start()
    kept = survey(springs, shifts, ground)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    layers = sum(poor.nbytes + site_class.nbytes for poor, site_class in kept)
    say(f"  {springs.count} years, {SIDE**2 / 1e6:.0f} M cells, {len(kept)} fruit:")
    say(
        f"  {took:.1f} s, {(peak - layers) / SIDE**2:.0f} bytes a cell beyond the layers"
    )


if __name__ == "__main__":
    run()
