"""Ripening: warmth or days may run out, each for itself."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.fruit import fruit_names, read_fruit
from sitekit.fruit.bloom import find_day, sum_heat
from sitekit.fruit.heat import degree_days
from sitekit.fruit.ripening import bloom_delay, end_of_season, find_ripening

DAYS = np.arange(366)
SPLIT, FIRST = np.array([204]), np.array([59])
APPLES = {g.name: g for g in read_fruit("apple").varieties.groups}
PEARS = {g.name: g for g in read_fruit("pear").varieties.groups}


def made_year(mean, swing, half=5.0):
    middle = mean + swing * np.cos(2 * np.pi * (DAYS + 1 - 200) / 365)
    return np.float32([middle - half]), np.float32([middle + half])


#: A made year of a lake at 60 and of an inland place at 63 degrees north, from their
#: means of May and June and their sums over 5 and 10 degC from April to October.
LAKE, INLAND = made_year(5.52, 10.89), made_year(3.06, 12.32)
#: A valley at 46 degrees north.
VALLEY = made_year(9.5, 9.9)


def season_sum(year, base=5.0):
    within = (DAYS >= 90) & (DAYS < 304)
    return (degree_days(*year, base) * within).sum(axis=1)


def ripen(group, year, warm=0.0, cold_nights=0.0):
    lowest, highest = year[0] + warm, year[1] + warm
    nights, means = lowest - cold_nights, (lowest + highest) / 2
    bloom = find_day(sum_heat(lowest, highest, FIRST), group.bloom_sum)
    gained = np.cumsum(np.maximum(means, 0), axis=1)
    return find_ripening(
        group,
        bloom,
        bloom_delay(nights, bloom),
        end_of_season(nights, means, SPLIT),
        season_sum((lowest, highest)),
        gained,
    )


@pytest.mark.parametrize(
    ("year", "five", "ten"), [(LAKE, 1429, 619), (INLAND, 1163, 458)]
)
def test_the_made_years_have_the_sums_that_they_are_made_for(year, five, ten):
    assert season_sum(year)[0] == pytest.approx(five, rel=0.01)
    assert season_sum(year, 10.0)[0] == pytest.approx(ten, rel=0.04)


@pytest.mark.parametrize("year", [LAKE, INLAND])
@pytest.mark.parametrize("group", [PEARS["storing"], APPLES["late keeper"]])
def test_northern_years_refuse_storing_pears_and_late_keepers(group, year):
    assert ripen(group, year).ripe < 1


def test_northern_years_ripen_early_apples():
    assert ripen(APPLES["early"], LAKE).ripe > 9


def test_a_valley_further_south_ripens_storing_apples():
    assert ripen(APPLES["storing"], VALLEY).ripe > 9


def test_it_is_refused_where_days_run_out_though_warmth_suffices():
    # A hot short summer: frost of early September ends it.
    hot = VALLEY[0].copy(), VALLEY[1] + 4
    hot[0][0, 243] = -3.0
    found = ripen(APPLES["late keeper"], hot)
    assert found.warm == 10
    assert found.long < 1
    assert found.ripe < 1
    assert found.spare < 0


def test_it_is_refused_where_warmth_runs_out_though_days_suffice():
    # A long cool summer by the sea.
    sea = made_year(9.0, 3.6, 3.0)
    found = ripen(APPLES["storing"], sea)
    assert season_sum(sea)[0] < APPLES["storing"].season_sum
    assert found.warm < 1
    assert found.long > 9
    assert found.ripe < 1


def test_pears_need_their_sum_from_bloom_to_picking():
    # Source: Lysiak 2022, Agriculture 12:1803: 2469 of daily means over 0, 140 days
    # at a mean of 17.6.
    assert PEARS["storing"].pick_sum == pytest.approx(140 * 17.6, rel=0.01)
    ample = find_ripening(
        PEARS["storing"],
        np.array([120.0]),
        np.zeros(1),
        np.array([280.0]),
        np.array([2000.0]),
        17.6 * DAYS[None],
    )
    scant = find_ripening(
        PEARS["storing"],
        np.array([120.0]),
        np.zeros(1),
        np.array([280.0]),
        np.array([2000.0]),
        14.0 * DAYS[None],
    )
    assert ample.ripe > 9
    assert scant.ripe < 0.1
    assert scant.long > 9


@pytest.mark.parametrize(
    ("name", "year"), [(n, y) for n in fruit_names() for y in (LAKE, INLAND, VALLEY)]
)
def test_a_later_ripening_group_is_never_ripe_in_more_years(name, year):
    groups = [
        g for g in read_fruit(name).varieties.groups if " " not in g.name.rstrip()
    ]
    groups = [g for g in groups if "-" not in g.name]
    groups.sort(key=lambda g: g.season_sum)
    ripe = [float(ripen(g, year).ripe) for g in groups]
    assert all(after <= before + 1e-9 for before, after in pairwise(ripe))


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 40), st.floats(0, 300), st.floats(-2, 3), st.floats(0, 3))
def test_longer_or_warmer_needs_never_ripen_oftener(days, warmth, warm, cold):
    group = APPLES["autumn"]
    later = replace(
        group,
        days=(group.days[0] + days, group.days[1] + days),
        season_sum=group.season_sum + warmth,
    )
    assert (
        ripen(later, VALLEY, warm, cold).ripe
        <= ripen(group, VALLEY, warm, cold).ripe + 1e-9
    )


def test_the_season_ends_with_the_first_night_of_two_degrees_of_frost():
    nights, means = np.full((1, 366), 8.0), np.full((1, 366), 14.0)
    nights[0, 150] = -5.0
    nights[0, 260] = -1.9
    nights[0, 270] = -2.0
    assert end_of_season(nights, means, SPLIT).tolist() == [270]


def test_it_ends_too_when_ten_days_are_below_seven_degrees():
    nights, means = np.full((1, 366), 3.0), np.full((1, 366), 14.0)
    means[0, 250:] = 6.0
    # Ten days hold four of 14 and six of 6 when their mean first is below 7: 250 + 8.
    [end] = end_of_season(nights, means, SPLIT)
    assert np.mean(means[0, int(end) - 9 : int(end) + 1]) < 7
    assert np.mean(means[0, int(end) - 10 : int(end)]) >= 7


def test_a_place_without_an_autumn_ripens_to_the_end():
    nights, means = np.full((1, 366), 18.0), np.full((1, 366), 22.0)
    assert end_of_season(nights, means, SPLIT).tolist() == [365]


def test_a_cool_fortnight_after_bloom_delays_picking():
    # Source: Virginia Tech fruit blog 2013: about a day for each 1 F that the mean
    # minimum of the 15 days after bloom is under 50 F: 1.8 d a degree under 10 degC.
    nights = np.full((1, 366), 6.0)
    assert bloom_delay(nights, np.array([130.0])).tolist() == [pytest.approx(7.2)]
    assert bloom_delay(nights + 9, np.array([130.0])).tolist() == [0]
    assert bloom_delay(nights - 12, np.array([130.0])).tolist() == [15]
    nights[0, 131] = np.nan
    assert bloom_delay(nights, np.array([130.0])).tolist() == [pytest.approx(7.2)]


def test_a_year_without_bloom_ripens_nothing():
    found = find_ripening(
        APPLES["early"],
        np.array([np.nan]),
        np.zeros(1),
        np.array([280.0]),
        np.array([2000.0]),
        17.6 * DAYS[None],
    )
    assert found.ripe == 0
