"""Curves, scores and what the soil allows."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.fruit import parse_fruit, read_fruit
from sitekit.suitability.curves import membership
from sitekit.suitability.ground import (
    Cause,
    Ground,
    Soil,
    cells_within,
    judge,
    make_ground,
)
from sitekit.suitability.reasons import give_reason, path_words
from sitekit.suitability.score import NOT_JUDGED, score_fruit
from sitekit.words import CONDITIONS, GOOD, HARDY, REFUSED, TEST_FIRST

TWO = """
spacing_m = 3.0
row_spacing_m = 4.0
[[factor]]
layer = "pooling_depth"
curve = "falling"
points = [0.0, 1.0]
lack = "hardy kinds only"
say = "cold air lies {value} deep"
[[factor]]
layer = "sunshine_hours_ripening"
curve = "rising"
points = [4, 8]
floor = 0.2
lack = "with conditions"
say = "sun {value} a day"
"""
FRUIT = parse_fruit(TWO, "two.toml")
HERE = np.ones((1, 1), dtype=bool)


def score(depth, sun, judged=HERE):
    layers = {
        "pooling_depth": np.full((1, 1), depth, np.float32),
        "sunshine_hours_ripening": np.full((1, 1), sun, np.float32),
    }
    return score_fruit(FRUIT, layers, judged)


def ground(**changes):
    no = np.zeros((1, 1), dtype=bool)
    known = {
        "soil": np.zeros((1, 1), np.uint8),
        "standing_water": no,
        "old_yard": no,
        "blocked": no,
        "supported": no,
        "coarse": False,
    }
    return Ground(**{**known, **changes})


def soil_of(result):
    return np.full((1, 1), result, np.uint8)


YES = np.ones((1, 1), dtype=bool)
SLOPE = np.full((1, 1), 4.0, np.float32)


@pytest.mark.parametrize(
    ("curve", "points", "value", "expected"),
    [
        ("rising", (0, 10), -5, 0),
        ("rising", (0, 10), 2.5, 0.25),
        ("rising", (0, 10), 99, 1),
        ("falling", (0, 10), 2.5, 0.75),
        ("hump", (0, 10, 20, 40), 15, 1),
        ("hump", (0, 10, 20, 40), 30, 0.5),
    ],
)
def test_curves_join_their_points_by_straight_lines(curve, points, value, expected):
    assert membership(np.array([value]), curve, points)[0] == pytest.approx(expected)


@given(st.floats(-1e6, 1e6), st.floats(0, 0.99))
def test_membership_stays_between_its_floor_and_one(value, floor):
    found = membership(np.array([value]), "hump", (1.0, 2.0, 3.0, 4.0), floor)[0]
    assert np.float32(floor) <= found <= 1


@given(st.floats(0, 2), st.floats(0, 12))
def test_the_score_is_never_above_any_factor(depth, sun):
    found = score(depth, sun).score[0, 0]
    cold = 100 * membership(np.array([depth]), "falling", (0.0, 1.0))[0]
    light = 100 * membership(np.array([sun]), "rising", (4.0, 8.0), 0.2)[0]
    assert found == pytest.approx(min(cold, light), abs=1e-4)


@pytest.mark.parametrize(
    ("depth", "sun", "code", "limiting"),
    [
        (0.0, 9, GOOD, 0),
        (0.5, 9, HARDY, 0),
        (1.5, 9, REFUSED, 0),
        (0.0, 5, CONDITIONS, 1),
        (0.5, 2, HARDY, 1),  # the class is that of the strictest, the limit the lowest
    ],
)
def test_the_weakest_factor_decides_the_score_and_the_strictest_the_class(
    depth, sun, code, limiting
):
    found = score(depth, sun)
    assert (found.site_class[0, 0], found.limiting[0, 0]) == (code, limiting)


def test_the_cause_is_what_decides_the_class_though_another_factor_is_lower():
    # Cold air makes it hardy kinds only; the sun is worse, but a lesser matter.
    verdict = judge(score(0.4, 3), ground(), SLOPE)
    assert verdict.site_class[0, 0] == HARDY
    assert (verdict.limiting[0, 0], verdict.cause[0, 0]) == (1, 0)


def test_ground_outside_and_ground_without_a_value_is_not_judged():
    assert score(0.0, 9, ~HERE).site_class[0, 0] == NOT_JUDGED
    missing = score(np.nan, 9)
    assert missing.site_class[0, 0] == NOT_JUDGED
    assert np.isnan(missing.score[0, 0])


def test_a_factor_whose_layer_is_absent_is_passed_over():
    layers = {"pooling_depth": np.zeros((1, 1), np.float32)}
    assert score_fruit(FRUIT, layers, HERE).score[0, 0] == 100


@pytest.mark.parametrize(
    ("known", "slope", "code", "cause"),
    [
        (ground(), 4.0, CONDITIONS, Cause.NOT_TESTED),
        (ground(soil=soil_of(Soil.GOOD)), 4.0, GOOD, 0),
        (ground(soil=soil_of(Soil.SLOW)), 4.0, CONDITIONS, Cause.SLOW),
        (ground(soil=soil_of(Soil.HOLDS_WATER)), 4.0, REFUSED, Cause.HOLDS_WATER),
        (ground(), 0.4, TEST_FIRST, Cause.LEVEL),
        (ground(soil=soil_of(Soil.GOOD)), 0.4, GOOD, 0),
        (ground(standing_water=YES), 4.0, TEST_FIRST, Cause.STANDING_WATER),
        (ground(old_yard=YES), 4.0, TEST_FIRST, Cause.OLD_YARD),
        (ground(coarse=True), 4.0, TEST_FIRST, Cause.COARSE),
        (ground(coarse=True, supported=YES), 4.0, CONDITIONS, Cause.NOT_TESTED),
        (ground(blocked=YES), 4.0, REFUSED, Cause.BLOCKED),
    ],
)
def test_soil_and_elevation_hold_a_good_score_down(known, slope, code, cause):
    verdict = judge(score(0.0, 9), known, np.full((1, 1), slope, np.float32))
    assert (verdict.site_class[0, 0], verdict.cause[0, 0]) == (code, cause)


def test_refused_ground_scores_nothing_whatever_its_shape():
    verdict = judge(score(0.0, 9), ground(soil=soil_of(Soil.HOLDS_WATER)), SLOPE)
    assert verdict.score[0, 0] == 0
    assert verdict.suits[0, 0] == 1


def reason(cause, limiting=0, suits=0.4, *, hole=False, depth=0.6):
    return give_reason(
        FRUIT,
        cause,
        limiting,
        {"pooling_depth": depth, "sunshine_hours_ripening": 6.2, "land_slope": 0.3},
        suits,
        tested=hole,
        source_cell=30.0,
    )


def test_a_reason_names_the_deciding_factor_and_its_value():
    assert reason(0) == "Cold air lies 0.6\u00a0m deep; drainage not tested."
    assert reason(1, limiting=1) == "Sun 6\u00a0h a day; drainage not tested."


def test_a_reason_says_drainage_only_where_no_hole_was_dug():
    assert reason(0, hole=True) == "Cold air lies 0.6\u00a0m deep."


def test_a_reason_of_untested_ground_names_what_comes_nearest():
    text = reason(int(Cause.NOT_TESTED), suits=0.95)
    assert text.startswith(
        "Nothing in the shape of the land speaks against it (nearest: cold"
    )


def test_a_coarse_elevation_says_walk_and_measure_with_its_cell():
    assert (
        "cells of 30\u00a0m cannot carry a verdict" in reason(int(Cause.COARSE)).lower()
    )


@pytest.mark.parametrize("cause", list(Cause))
def test_every_cause_has_a_sentence(cause):
    text = reason(int(cause), hole=True)
    assert text.endswith(".")
    assert text[0].isupper()


def test_a_path_is_told_by_its_nearness():
    assert len({path_words(m) for m in (0.1, 0.7, 1.5)}) == 3


def test_a_test_hole_speaks_for_the_ground_around_it_and_no_farther(small_survey):
    site = small_survey.site
    tests = site.vectors["notes"].assign(result="good")
    site.vectors["ground_tests"] = tests
    site.vectors["cover"] = site.vectors["cover"].assign(kind=[])
    known = make_ground(site)
    tested_cells = int((known.soil == Soil.GOOD).sum())
    # A circle of 25 m on cells of 5 m, inside the field.
    assert tested_cells == pytest.approx(np.pi * 25**2 / 25, rel=0.1)


def test_points_and_lines_mark_at_least_the_cell_that_they_stand_in(small_survey):
    site = small_survey.site
    marked = cells_within(site, site.vectors["notes"], 0.0)
    assert 1 <= marked.sum() <= 4


def test_every_fruit_of_the_catalogue_can_be_good_somewhere():
    best = {
        "pooling_depth": 0.0,
        "path_margin": 9.0,
        "relative_height": 30.0,
        "slope": 4.0,
        "sunshine_hours_ripening": 9.0,
        "wetness_index": 5.0,
        "wind_exposure": 0.3,
    }
    layers = {n: np.full((1, 1), v, np.float32) for n, v in best.items()}
    for name in (
        "apple",
        "pear",
        "plum",
        "sweet_cherry",
        "sour_cherry",
        "blackcurrant",
    ):
        assert score_fruit(read_fruit(name), layers, HERE).site_class[0, 0] == GOOD
