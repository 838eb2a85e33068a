"""A fruit by its usual group, and the group that stands where the years refuse that."""

import numpy as np
import pytest

from sitekit.climate.crops import make_kind
from sitekit.climate.fruiting import (
    NOT_JUDGED,
    Limit,
    Shifts,
    assess_places,
    limit_class,
)
from sitekit.climate.kinds import USUAL, judge_fruit, tell_verdict
from sitekit.climate.springs import Springs
from sitekit.fruit import read_fruit
from sitekit.words import CONDITIONS, GOOD, HARDY, REFUSED, TEST_FIRST

APPLE, PLUM = read_fruit("apple"), read_fruit("plum")


def made_springs(mean, swing, years=8):
    random = np.random.default_rng(11)
    day = np.arange(366)
    middle = mean + swing * np.cos(2 * np.pi * (day - 200) / 365)
    daily = (middle + random.normal(0, 2, (years, 366))).astype(np.float32)
    return Springs(
        years=np.arange(2001, 2001 + years),
        lowest=daily - 5,
        highest=daily + 5,
        clear=np.full((years, 366), 0.5, np.float32),
        starts=np.array([f"{2001 + i}-01-01" for i in range(years)], "datetime64[D]"),
        first=np.full(years, 59),
        split=np.full(years, 204),
        season=np.tile([90, 304], (years, 1)),
        soft=np.zeros((years, 366), bool),
        winters=np.empty((0, 24)),
    )


#: A lake at 60 degrees north, too short for the usual plum.
NORTH = made_springs(4.6, 10.9)


def shifts_of(*warmth):
    warm = np.array(warmth, float)
    return Shifts(*(np.zeros(warm.shape) for _ in range(4)), warm)


def judged(fruit, *warmth, site_class=GOOD, springs=NORTH):
    ground = np.full(len(warmth), site_class, np.uint8)
    return judge_fruit(springs, fruit, ground, shifts_of(*warmth))


def test_where_the_usual_group_stands_its_class_is_that_of_the_fruit():
    verdict = judged(APPLE, 2.5, 4.0)
    found = assess_places(NORTH, make_kind(APPLE), shifts_of(2.5, 4.0))
    code, limit = limit_class(np.full(2, GOOD, np.uint8), found)
    np.testing.assert_array_equal(verdict.site_class, code)
    np.testing.assert_array_equal(verdict.limit, limit)
    assert (verdict.instead == USUAL).all()
    np.testing.assert_array_equal(verdict.usual.poor, found.poor)


def test_where_only_early_kinds_ripen_the_fruit_is_for_hardy_kinds_only():
    verdict = judged(APPLE, -1.2)
    assert verdict.usual.ripe[0] < 5
    assert verdict.site_class.tolist() == [HARDY]
    assert verdict.names[verdict.instead[0]] == "early"
    assert Limit(int(verdict.limit[0])) in (Limit.WARMTH, Limit.DAYS)
    text = tell_verdict(verdict, 0)
    assert text.startswith("ripens in")
    assert text.endswith("for autumn kinds, early kinds stand it")


def test_where_no_group_stands_the_fruit_is_refused():
    verdict = judged(PLUM, -4.0)
    assert verdict.site_class.tolist() == [REFUSED]
    assert verdict.instead.tolist() == [USUAL]
    assert "for" not in tell_verdict(verdict, 0).split()


@pytest.mark.parametrize(
    ("ground", "expected"),
    [
        (CONDITIONS, HARDY),
        (HARDY, HARDY),
        (TEST_FIRST, TEST_FIRST),
        (REFUSED, REFUSED),
        (NOT_JUDGED, NOT_JUDGED),
    ],
)
def test_another_group_is_no_better_than_the_ground(ground, expected):
    assert judged(APPLE, -1.2, site_class=ground).site_class.tolist() == [expected]


def test_nothing_is_said_where_the_years_hold_nothing_against_it():
    verdict = judged(APPLE, 3.0)
    assert verdict.site_class.tolist() == [GOOD]
    assert tell_verdict(verdict, 0) == ""


def test_cells_keep_their_shape_and_each_its_own_group():
    warmth = np.linspace(-5, 3, 400).reshape(20, 20)
    ground = np.full(warmth.shape, GOOD, np.uint8)
    shifts = Shifts(*(np.zeros(warmth.shape) for _ in range(4)), warmth)
    verdict = judge_fruit(NORTH, APPLE, ground, shifts)
    classes = verdict.site_class.ravel()
    assert verdict.site_class.shape == verdict.instead.shape == (20, 20)
    assert classes[0] == REFUSED
    assert classes[-1] == GOOD
    assert (np.diff(classes.astype(int)) >= 0).all()
    between = verdict.site_class == HARDY
    assert (verdict.instead[between] != USUAL).any()
    assert (verdict.instead[~between] == USUAL).all()
