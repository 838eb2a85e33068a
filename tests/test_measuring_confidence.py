"""The chance of a class, from the doubt of the night."""

import numpy as np
import pytest
from geopandas import GeoDataFrame
from pyproj import CRS
from scipy.stats import norm

from sitekit.fruit import read_fruit
from sitekit.grid import Grid
from sitekit.measuring.confidence import find_class_chance, tell_confidence
from sitekit.words import CONDITIONS, GOOD, HARDY, REFUSED

PEAR = read_fruit("pear", None)
#: Limits of the pear: falling from 1.5 to 2.8; 0.7 is left at 1.89. [degC]
FIRST, SEVERE = 2.8 - 0.7 * 1.3, 2.8


def chance(code, cold, spread):
    return float(
        find_class_chance(np.array([code]), np.array([cold]), np.array([spread]), PEAR)[
            0
        ]
    )


def test_far_from_every_limit_a_class_is_sure():
    assert chance(GOOD, 0.0, 0.3) > 0.99
    assert chance(REFUSED, 5.0, 0.5) > 0.99


def test_at_a_limit_it_is_as_likely_as_not():
    assert chance(GOOD, FIRST - 1e-6, 0.5) == pytest.approx(0.5, abs=0.01)
    assert chance(REFUSED, SEVERE + 1e-6, 0.5) == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("cold", [1.95, 2.3, 2.7])
@pytest.mark.parametrize("spread", [0.2, 0.6])
def test_between_two_limits_it_is_the_normal_probability(cold, spread):
    wanted = norm.cdf(SEVERE, cold, spread) - norm.cdf(FIRST, cold, spread)
    assert chance(HARDY, cold, spread) == pytest.approx(wanted, abs=1e-6)


def test_where_another_factor_decides_cold_must_only_not_lower_it():
    wanted = norm.cdf(FIRST, 1.2, 0.5)
    assert chance(CONDITIONS, 1.2, 0.5) == pytest.approx(wanted, abs=1e-6)
    assert chance(HARDY, 1.2, 0.5) == pytest.approx(
        norm.cdf(SEVERE, 1.2, 0.5), abs=1e-6
    )
    assert chance(REFUSED, 1.2, 0.5) == pytest.approx(1.0)


def spots(codes, confidence="fair", reason="drained"):
    grid = Grid(CRS.from_epsg(32633), 0.0, 100.0, 10.0, (10, 10))
    names = ["refused", "test first", "hardy kinds only", "with conditions", "good"]
    count = len(codes)
    frame = GeoDataFrame(
        {
            "fruit": ["pear"] * count,
            "site_class": [names[c] for c in codes],
            "confidence": [confidence] * count,
            "reason": [reason] * count,
            "easting_m": 10.0 * np.arange(count) + 5,
            "northing_m": 55.0,
        }
    )
    return grid, frame


def told(grid, frame, cold, spread):
    layers = {
        "night_cold": np.tile(np.resize(cold, 10), (10, 1)).astype(np.float32),
        "frost_night_offset_sd": np.full((10, 10), spread, np.float32),
    }
    return list(tell_confidence(frame, layers, grid, [PEAR])["confidence"])


def test_three_words_tell_the_chance():
    grid, frame = spots([GOOD, GOOD, GOOD])
    assert told(grid, frame, [0.5, FIRST - 0.6, FIRST - 0.1], 0.8) == [
        "good",
        "fair",
        "low",
    ]


def test_ground_that_nobody_has_tested_is_at_most_fair():
    grid, frame = spots([CONDITIONS], reason="good ground; drainage not tested")
    assert told(grid, frame, [0.0], 0.3) == ["fair"]


def test_what_was_low_for_another_reason_stays_low():
    grid, frame = spots([GOOD], confidence="low")
    assert told(grid, frame, [0.0], 0.3) == ["low"]
