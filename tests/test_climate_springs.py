"""The years of a record as fruit meets them, and bloom tuned on the demo's notes."""

import numpy as np
import pandas as pd
import pytest

from sitekit.climate.crops import make_kind
from sitekit.climate.describing import describe_years
from sitekit.climate.seasons import Seasons
from sitekit.climate.springs import read_springs, sum_of, tune_fruit
from sitekit.demo.records import BLOOM_SUMS, make_bloom, make_station
from sitekit.fruit import read_fruit
from sitekit.fruit.bloom import TUNED


def make_seasons(days, *, south=False, missing=()):
    """Seasons of a record, a row a year from 1 January, south from 1 July."""
    date = days["date"].to_numpy("datetime64[D]")
    years = np.unique(days["date"].dt.year)
    starts = np.array([f"{y}-{'07' if south else '01'}-01" for y in years], date.dtype)
    row = np.searchsorted(starts, date, side="right") - 1
    column = (date - starts[row]).astype(int)
    kept = (row >= 0) & (column < 366)
    lowest, highest, clear = np.full((3, len(years), 366), np.nan, np.float32)
    for values, name in ((lowest, "tmin"), (highest, "tmax"), (clear, "clear")):
        values[row[kept], column[kept]] = days[name].to_numpy()[kept]
    complete = np.isnan(lowest).sum(axis=1) <= 11
    complete[list(missing)] = False
    return Seasons(
        years=years,
        starts=starts,
        tmin=lowest,
        tmax=highest,
        clear=clear,
        complete=complete,
        south=south,
    )


@pytest.fixture(scope="module")
def station():
    days = make_station()
    return days.assign(clear=np.clip((0.6 - days["cloud_night"]) / 0.3, 0, 1))


@pytest.fixture(scope="module")
def springs(station):
    return read_springs(make_seasons(station))


def test_rows_begin_where_the_year_does_and_spring_on_the_first_of_march(springs):
    assert springs.count == 30
    leap = (springs.years % 4) == 0
    assert springs.first.tolist() == np.where(leap, 60, 59).tolist()
    assert springs.split.tolist() == np.where(leap, 205, 204).tolist()
    assert (np.diff(springs.season, axis=1) == 214).all()


def test_south_the_same_days_come_six_months_later(station):
    days = station.assign(date=station["date"] + pd.Timedelta(days=181))
    springs = read_springs(make_seasons(days, south=True))
    first = springs.starts + springs.first
    assert {str(d)[5:] for d in first} == {"09-01"}
    assert {str(d)[5:] for d in springs.starts + springs.split} == {"01-24"}
    assert {str(d)[5:] for d in springs.starts + springs.season[:, 0]} == {"10-01"}
    assert {str(d)[5:] for d in springs.starts + springs.season[:, 1]} == {"05-01"}


def test_both_hemispheres_give_the_same_crops_six_months_apart(station):
    # 184 days lie between 1 March and 1 September, and 24 July and 24 January.
    moved = station.assign(date=station["date"] + pd.Timedelta(days=184))
    north = read_springs(make_seasons(station))
    south = read_springs(make_seasons(moved, south=True))
    plum = make_kind(read_fruit("plum"))
    place = (-2.5, -0.3, 0.0)
    years = describe_years(north, plum, place)
    other = describe_years(south, plum, place)
    both = years.merge(other, on="year", suffixes=("", "_south"))
    assert len(both) >= 29
    later = both["full_bloom_south"] - both["full_bloom"]
    assert set(later.dt.days) <= {183, 184, 185}
    assert set(both["full_bloom_south"].dt.month) <= {10, 11}
    np.testing.assert_allclose(both["crop_south"], both["crop"], atol=0.1)
    assert both["crop"].min() < 0.5


def test_wood_is_soft_in_autumn_and_after_the_thaw(station):
    springs = read_springs(make_seasons(station))
    dates = springs.starts[5] + np.flatnonzero(springs.soft[5])
    months = {str(d)[5:7] for d in dates}
    assert months == {"10", "11", "03", "04"}
    assert springs.soft.sum(axis=1).tolist() == [45 + 31] * 30


def test_only_complete_years_count_and_the_last_thirty(station):
    springs = read_springs(make_seasons(station, missing=(3, 4)))
    assert springs.count == 28
    assert 1999 not in springs.years
    more = pd.concat(
        [station.assign(date=station["date"] - pd.DateOffset(years=30)), station]
    ).drop_duplicates("date")
    springs = read_springs(make_seasons(more))
    assert springs.count == 30
    assert springs.years[0] == 1996


def test_a_record_without_a_complete_year_has_no_springs(station):
    assert read_springs(make_seasons(station, missing=range(30))).count == 0


def test_winters_run_from_october_to_may_between_years_that_follow(station):
    springs = read_springs(make_seasons(station))
    assert springs.winters.shape == (29, 243 * 24)
    year = station[station["date"].between("1996-10-01", "1997-05-31")]
    assert springs.winters[0].min() == pytest.approx(year["tmin"].min(), abs=1e-4)
    assert springs.winters[0].max() == pytest.approx(year["tmax"].max(), abs=1e-4)
    gap = station[~station["date"].between("2000-12-01", "2000-12-15")]
    assert read_springs(make_seasons(gap)).winters.shape[0] == 28
    short = station[~station["date"].between("2000-12-01", "2000-12-09")]
    assert read_springs(make_seasons(short)).winters.shape[0] == 29
    one = station[station["date"].dt.year == 2000]
    assert read_springs(make_seasons(one)).winters.shape == (0, 243 * 24)


def test_nights_shift_by_the_type_of_the_night(springs):
    here = springs.nights(0.0, 0.0)
    np.testing.assert_array_equal(here, springs.lowest)
    there = springs.nights(-3.0, -0.5)
    known = np.isfinite(here)
    expected = -0.5 - 2.5 * springs.clear
    np.testing.assert_allclose((there - here)[known], expected[known], atol=1e-4)
    assert known.sum() > 10_900


@pytest.mark.parametrize("fruit", ["apple", "pear", "plum"])
def test_the_planted_sums_come_back_from_the_notes(springs, fruit):
    notes = make_bloom()
    notes = notes[notes["fruit"] == fruit].assign(place="")
    notes["day"] = pd.to_datetime(notes["full_bloom"])
    tuning = tune_fruit(springs, read_fruit(fruit).varieties, notes)
    planted = np.mean([heat for kind, heat in BLOOM_SUMS.values() if kind == fruit])
    usual = read_fruit(fruit).varieties.group().bloom_sum
    # A note lies a day off now and then, of some nine degree days.
    assert tuning.factor * usual == pytest.approx(planted, abs=8)
    assert tuning.years == 6
    assert tuning.error == TUNED
    assert tuning.contradiction == ""


def test_notes_of_a_warmer_place_are_read_with_its_warmth(springs):
    apple = read_fruit("apple").varieties
    notes = pd.DataFrame(
        {"year": [2020], "day": [pd.Timestamp("2020-04-25")], "place": ["yard"]}
    )
    plain = tune_fruit(springs, apple, notes)
    warmer = tune_fruit(springs, apple, notes, {"yard": 1.0})
    assert warmer.factor > plain.factor
    row = list(springs.years).index(2020)
    column = (np.datetime64("2020-04-25") - springs.starts[row]).astype(int)
    expected = sum_of(springs, 1.0)[row, column - 1 : column + 1].mean()
    assert warmer.factor * apple.group().bloom_sum == pytest.approx(expected)


def test_notes_outside_the_record_are_passed_over(springs):
    notes = pd.DataFrame(
        {"year": [1950], "day": [pd.Timestamp("1950-05-01")], "place": [""]}
    )
    assert tune_fruit(springs, read_fruit("apple").varieties, notes).years == 0


def test_notes_of_the_wrong_season_contradict_the_record(springs):
    days = pd.to_datetime([f"{y}-07-10" for y in range(2018, 2023)])
    notes = pd.DataFrame({"year": days.year, "day": days, "place": ""})
    tuning = tune_fruit(springs, read_fruit("apple").varieties, notes)
    assert "contradict" in tuning.contradiction
    assert tuning.factor == 1
