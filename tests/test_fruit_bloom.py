"""Bloom by heat sum: by year, by warmth, and tuned on own notes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.fruit import read_fruit
from sitekit.fruit.bloom import (
    TUNED,
    UNTUNED,
    fill_days,
    find_day,
    sum_heat,
    tune_bloom,
)
from sitekit.fruit.heat import degree_days

FIRST = np.array([59])
DAYS = np.arange(366)


def made_year(mean, swing):
    """A sinusoidal year with a daily range of 10 and its warmest day on 19 July."""
    middle = mean + swing * np.cos(2 * np.pi * (DAYS + 1 - 200) / 365)
    return (middle - 5)[None].astype(np.float32), (middle + 5)[None].astype(np.float32)


#: Made so that May and June have a mean of 10.2 and 14.8, and of 8.3 and 13.5 degC.
LAKE, INLAND = made_year(5.52, 10.89), made_year(3.06, 12.32)


@pytest.mark.parametrize(
    ("year", "tip", "bloom"), [(LAKE, 132, 158), (INLAND, 143, 168)]
)
def test_the_starting_set_agrees_with_the_published_ladder(year, tip, bloom):
    # Source: UMass Healthy Fruit 27 (2019), apple over 6.1 degC from 1 March: green tip
    # at 56-67, full bloom about 194-228; on these made years 12 May and 7 June, 23 May
    # and 17 June (computed).
    sums = sum_heat(*year, FIRST)
    apple = read_fruit("apple").varieties
    stages = {s.name: s.share * apple.group().bloom_sum for s in apple.stages}
    assert find_day(sums, stages["green tip"])[0] + 1 == pytest.approx(tip, abs=3)
    assert find_day(sums, stages["full bloom"])[0] + 1 == pytest.approx(bloom, abs=3)
    ladder = np.cumsum(degree_days(*year, 6.1)[0] * (DAYS >= 59))
    old = np.searchsorted(ladder, [61.5, 211.0])
    new = [find_day(sums, stages[s])[0] for s in ("green tip", "full bloom")]
    assert np.abs(old - new).max() <= 5


def test_currants_bloom_before_apples_where_winters_are_cold():
    # A sum from 1 January of mild winters put them after the apple.
    for year in (LAKE, INLAND):
        sums = sum_heat(*year, FIRST)
        days = [
            find_day(sums, read_fruit(n).varieties.group().bloom_sum)[0]
            for n in ("sweet_cherry", "blackcurrant", "plum", "sour_cherry", "apple")
        ]
        assert days == sorted(days)
        assert days[-1] - days[0] == pytest.approx(15, abs=4)


def test_bloom_differs_by_year_and_by_place():
    sums = sum_heat(
        np.vstack([LAKE[0], INLAND[0]]),
        np.vstack([LAKE[1], INLAND[1]]),
        np.array([59, 59]),
    )
    lake, inland = find_day(sums, 263.0)
    assert inland - lake > 7
    colder = find_day(sum_heat(*LAKE, FIRST, warmer=-0.5), 263.0)[0]
    assert 1 <= colder - lake <= 6


@settings(max_examples=40, deadline=None)
@given(st.floats(0.1, 3), st.floats(60, 320), st.floats(1, 60))
def test_a_colder_spring_brings_no_stage_earlier(colder, goal, more):
    usual, cold = sum_heat(*LAKE, FIRST), sum_heat(*LAKE, FIRST, warmer=-colder)
    assert np.all(cold <= usual)
    assert find_day(cold, goal)[0] >= find_day(usual, goal)[0]
    assert find_day(usual, goal + more)[0] >= find_day(usual, goal)[0]


def test_warmth_before_the_spring_does_not_count():
    lowest, highest = LAKE[0].copy(), LAKE[1].copy()
    lowest[:, :59] += 15
    highest[:, :59] += 15
    np.testing.assert_array_equal(
        sum_heat(lowest, highest, FIRST), sum_heat(*LAKE, FIRST)
    )


def test_a_year_that_never_warms_has_no_bloom():
    sums = sum_heat(LAKE[0] - 20, LAKE[1] - 20, FIRST)
    assert np.isnan(find_day(sums, 263.0)).all()


def test_missing_days_take_the_line_between_their_neighbours():
    gaps = LAKE[0].copy()
    gaps[0, 120:125] = np.nan
    np.testing.assert_allclose(fill_days(gaps), LAKE[0], atol=0.1)
    assert fill_days(np.array([[np.nan, 1.0, np.nan, 3.0]])).tolist() == [[1, 1, 2, 3]]
    assert fill_days(np.full((1, 3), np.nan)).tolist() == [[0, 0, 0]]


def test_own_notes_scale_all_stages_by_one_factor():
    tuning = tune_bloom([(2020, 242.0), (2021, 250.0), (2021, 242.0)], 263.0)
    assert tuning.factor == pytest.approx(0.5 * (242 + 246) / 263)
    assert tuning.years == 2
    assert tuning.error == UNTUNED


def test_four_own_years_narrow_the_error():
    noted = [(2020 + i, 263.0) for i in range(4)]
    assert tune_bloom(noted, 263.0).error == TUNED
    assert tune_bloom(noted[:3], 263.0).error == UNTUNED
    assert tune_bloom(noted[:3] * 2, 263.0).error == UNTUNED


@pytest.mark.parametrize("share", [0.7, 1.4])
def test_notes_that_contradict_the_record_tune_nothing_and_are_told(share):
    tuning = tune_bloom([(2020 + i, 263.0 * share) for i in range(5)], 263.0)
    assert tuning.factor == 1.0
    assert tuning.error == UNTUNED
    assert "contradict the record" in tuning.contradiction
    assert f"{share:.0%}" in tuning.contradiction


def test_no_notes_leave_the_starting_set():
    tuning = tune_bloom([], 263.0)
    assert (tuning.factor, tuning.years, tuning.contradiction) == (1.0, 0, "")
