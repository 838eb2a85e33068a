"""Years of a planting plan: seconds by the number of blocks and fruit."""

import numpy as np
from telling import quickest, say

from sitekit.planting.materials import Kind, make_lot
from sitekit.planting.mulch import Shape
from sitekit.planting.terms import Limits, Prices
from sitekit.planting.years import RESOURCES, plan_years

#: Trees in a block: 20 blocks make 2 000 plants.
TREES = 100
YEARS = 6
FRUITS = ("apple", "pear", "plum")


def make_lots(count):
    """Make lots of three fruits, each a little poorer than the one before."""
    kind = Kind(bush=False, fenced=False, shape=Shape("strip", 6.0, 8.0))
    limits, prices = Limits(), Prices()
    return [
        make_lot(
            number,
            FRUITS[number % 3],
            TREES,
            1 - 0.005 * number,
            kind,
            limits,
            prices,
        )
        for number in range(count)
    ]


def make_limits(count):
    """Let money and mulch reach for two thirds of the trees."""
    table = np.full((len(RESOURCES), YEARS), np.inf)
    table[0] = 52.0 * TREES * count / YEARS
    table[1] = 0.8 * TREES * count * 0.67
    return table


def run():
    """Time the search of the years."""
    for count in (5, 10, 20, 40):
        lots, limits = make_lots(count), make_limits(count)
        seconds = quickest(lambda lots=lots, limits=limits: plan_years(lots, limits))
        planted = plan_years(lots, limits).trees.sum()
        say(
            f"{count:3d} blocks, {count * TREES} plants, {planted} planted: "
            f"{seconds:6.2f} s"
        )
