"""Places assessed for a group, and what that leaves of their site class."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.climate.crops import count_poor_crops, make_kind
from sitekit.climate.fruiting import (
    NOT_JUDGED,
    Fruiting,
    Limit,
    Shifts,
    assess_places,
    limit_class,
    map_poor_crops,
    ripening_class,
)
from sitekit.climate.springs import Springs
from sitekit.climate.telling import UNKNOWN_WINTER
from sitekit.fruit import read_fruit
from sitekit.fruit.winter import BUDS, ROOTS, SOFT, STANDS, WOOD
from sitekit.words import CONDITIONS, GOOD, HARDY, REFUSED, TEST_FIRST

PLUM, APPLE = read_fruit("plum"), read_fruit("apple")


def made_springs(years=10):
    random = np.random.default_rng(11)
    day = np.arange(366)
    middle = 9.5 + 9.5 * np.cos(2 * np.pi * (day - 200) / 365)
    weather = random.normal(0, 1.2, (years, 372))
    mean = middle + sum(weather[:, i : i + 366] for i in range(7))
    clear = random.uniform(0, 1, (years, 366)).astype(np.float32)
    return Springs(
        years=np.arange(2001, 2001 + years),
        lowest=(mean - 4 - 5 * clear).astype(np.float32),
        highest=(mean + 4 + 5 * clear).astype(np.float32),
        clear=clear,
        starts=np.array([f"{2001 + i}-01-01" for i in range(years)], "datetime64[D]"),
        first=np.full(years, 59),
        split=np.full(years, 204),
        season=np.tile([90, 304], (years, 1)),
        soft=np.zeros((years, 366), bool),
        winters=np.empty((0, 24)),
    )


SPRINGS = made_springs()


def shifts_of(still, windy=0.0, warmth=0.0):
    still = np.asarray(still, np.float32)
    windy, warmth = (np.full(still.shape, v, np.float32) for v in (windy, warmth))
    return Shifts(still, still, still, windy, warmth)


def found_of(poor=0.0, ripe=10.0, warm=10.0, long=10.0, winter=STANDS):
    value = [np.array([v], np.float32) for v in (poor, ripe, warm, long)]
    return Fruiting(
        kind=make_kind(PLUM),
        poor=value[0],
        low=value[0],
        high=value[0],
        worst_night=value[0],
        ripe=value[1],
        warm=value[2],
        long=value[3],
        spare=value[0],
        winter=np.array([winter], np.uint8),
        coldest=np.array([-15.0], np.float32),
    )


def limited(site_class, **values):
    code, limit = limit_class(np.array([site_class], np.uint8), found_of(**values))
    return int(code[0]), Limit(int(limit[0]))


@pytest.mark.parametrize(
    ("values", "code", "limit"),
    [
        ({}, GOOD, Limit.NONE),
        ({"poor": 2.0}, GOOD, Limit.NONE),
        ({"poor": 3.0}, CONDITIONS, Limit.FROST),
        ({"poor": 4.0}, HARDY, Limit.FROST),
        ({"poor": 6.0}, REFUSED, Limit.FROST),
        ({"ripe": 6.0, "warm": 6.0}, CONDITIONS, Limit.WARMTH),
        ({"ripe": 2.0, "warm": 2.0}, REFUSED, Limit.WARMTH),
        ({"ripe": 2.0, "long": 2.0}, REFUSED, Limit.DAYS),
        ({"winter": BUDS}, CONDITIONS, Limit.WINTER),
        ({"winter": ROOTS}, CONDITIONS, Limit.WINTER),
        ({"winter": SOFT}, HARDY, Limit.WINTER),
        ({"winter": WOOD}, REFUSED, Limit.WINTER),
        ({"winter": UNKNOWN_WINTER}, GOOD, Limit.NONE),
        ({"poor": 3.0, "winter": WOOD}, REFUSED, Limit.WINTER),
        ({"poor": np.nan, "ripe": np.nan}, GOOD, Limit.NONE),
    ],
)
def test_good_ground_is_lowered_by_what_the_years_say(values, code, limit):
    assert limited(GOOD, **values) == (code, limit)


def test_it_is_refused_where_either_warmth_or_days_run_out():
    assert limited(GOOD, ripe=1.0, warm=1.0, long=10.0) == (REFUSED, Limit.WARMTH)
    assert limited(GOOD, ripe=1.0, warm=10.0, long=1.0) == (REFUSED, Limit.DAYS)


def test_the_ground_keeps_what_it_has_lost_already():
    assert limited(REFUSED) == (REFUSED, Limit.NONE)
    assert limited(REFUSED, poor=4.0) == (REFUSED, Limit.FROST)
    assert limited(TEST_FIRST, poor=3.0) == (TEST_FIRST, Limit.FROST)
    assert limited(TEST_FIRST, poor=7.0) == (REFUSED, Limit.FROST)
    assert limited(NOT_JUDGED, poor=7.0) == (NOT_JUDGED, Limit.NONE)


def test_what_speaks_against_a_group_besides_the_ground_is_named():
    assert limited(REFUSED, poor=8.0) == (REFUSED, Limit.FROST)
    assert limited(CONDITIONS, poor=3.0) == (CONDITIONS, Limit.FROST)
    assert limited(HARDY, ripe=6.0, warm=6.0) == (HARDY, Limit.WARMTH)


@given(
    st.integers(0, 4),
    st.floats(0, 10),
    st.floats(0, 10),
    st.integers(0, 4),
    st.floats(0, 5),
)
def test_years_never_raise_a_class_and_worse_years_never_help(
    site_class, poor, ripe, winter, more
):
    code, _ = limited(site_class, poor=poor, ripe=ripe, winter=winter)
    worse, _ = limited(site_class, poor=poor + more, ripe=ripe - more, winter=winter)
    assert worse <= code <= site_class


def test_the_plum_goes_to_the_shelf_and_not_to_the_meadow():
    found = assess_places(SPRINGS, make_kind(PLUM), shifts_of([1.5, -4.0]))
    code, limit = limit_class(np.full(2, GOOD, np.uint8), found)
    assert code[0] > code[1]
    assert Limit(int(limit[1])) is Limit.FROST
    assert found.poor[0] < found.poor[1]


def test_many_places_are_looked_up_and_few_computed_alike():
    still = np.linspace(-3, 1, 40)
    few = assess_places(SPRINGS, make_kind(PLUM), shifts_of(still))
    many = assess_places(SPRINGS, make_kind(PLUM), shifts_of(np.tile(still, (25, 1))))
    for name in ("poor", "low", "high", "ripe", "coldest"):
        one, all_ = getattr(few, name), getattr(many, name)
        assert all_.shape == (25, 40)
        np.testing.assert_allclose(all_[0], one, atol=1.1)
        assert np.abs(all_[0] - one).mean() < 0.25
    np.testing.assert_array_equal(many.winter[0], few.winter)


def test_the_cell_of_the_station_gives_back_the_count_of_the_record():
    kind = make_kind(PLUM)
    still = np.linspace(-2, 2, 201)
    layer = map_poor_crops(SPRINGS, kind, shifts_of(still))[0]
    record = count_poor_crops(SPRINGS, kind, tuple(np.zeros(1) for _ in range(3)))
    assert layer[100] == record[0, 0]


def test_colder_cells_have_no_fewer_poor_years_on_the_map():
    layer = map_poor_crops(SPRINGS, make_kind(PLUM), shifts_of(np.linspace(1, -4, 400)))
    for years in layer:
        assert (np.diff(years) >= -1e-4).all()
    assert (layer[1] <= layer[0]).all()
    assert (layer[0] <= layer[2]).all()


def test_cells_without_an_offset_have_no_answer():
    still = np.linspace(-2, 1, 300).reshape(20, 15)
    still[3, 4] = np.nan
    found = assess_places(SPRINGS, make_kind(PLUM), shifts_of(still))
    for values in (found.poor, found.low, found.ripe, found.coldest):
        assert np.isnan(values).sum() == 1
        assert np.isnan(values[3, 4])
    assert found.winter[3, 4] == UNKNOWN_WINTER
    code, limit = limit_class(np.full(still.shape, GOOD, np.uint8), found)
    assert (code[3, 4], limit[3, 4]) == (GOOD, Limit.NONE)


def test_a_layer_is_the_same_in_any_shape():
    still = np.linspace(-3, 1, 900)
    row = map_poor_crops(SPRINGS, make_kind(PLUM), shifts_of(still))[0]
    square = map_poor_crops(SPRINGS, make_kind(PLUM), shifts_of(still.reshape(30, 30)))[
        0
    ]
    np.testing.assert_array_equal(square.ravel(), row)


def test_layers_are_single_precision():
    found = assess_places(SPRINGS, make_kind(PLUM), shifts_of(np.zeros((30, 30))))
    assert found.poor.dtype == np.float32
    assert found.winter.dtype == np.uint8


def test_winters_and_autumns_take_their_own_offsets():
    shifts = shifts_of(np.zeros(1))
    colder = replace(shifts, winter=np.array([-30.0]))
    found = assess_places(SPRINGS, make_kind(PLUM), colder)
    usual = assess_places(SPRINGS, make_kind(PLUM), shifts)
    assert found.coldest < usual.coldest - 10
    assert found.winter[0] == WOOD
    assert found.poor == usual.poor
    early = replace(shifts, autumn=np.array([-15.0]))
    assert assess_places(SPRINGS, make_kind(PLUM), early).ripe < usual.ripe


def test_the_ripening_class_is_the_latest_group_that_ripens():
    groups = [g for g in APPLE.varieties.groups if "-" not in g.name]
    warm, cold = shifts_of(np.zeros(1), warmth=3.0), shifts_of(np.zeros(1), warmth=-9.0)
    found = [
        assess_places(SPRINGS, make_kind(APPLE, group=g.name), warm) for g in groups
    ]
    assert ripening_class(found).tolist() == ["late keeper"]
    found = [
        assess_places(SPRINGS, make_kind(APPLE, group=g.name), cold) for g in groups
    ]
    assert ripening_class(found).tolist() == ["too late"]
