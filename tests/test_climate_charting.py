"""Frames that the charts of years draw: recomputed from the days of a record."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sitekit.climate.charting import (
    tabulate_bloom,
    tabulate_last_frosts,
    tabulate_law,
    tabulate_nights,
    tell_place,
)
from sitekit.climate.crops import make_kind
from sitekit.climate.describing import describe_years
from sitekit.climate.seasons import make_seasons
from sitekit.climate.springs import read_springs
from sitekit.demo.records import make_station
from sitekit.fruit import read_fruit
from sitekit.site import Record

NO_NOTES = pd.DataFrame({"fruit": [], "year": [], "day": [], "place": []})


def make_record(days, latitude=46.3):
    return Record("station", days, 0.0, 0.0, 715.0, latitude, NO_NOTES)


@pytest.fixture(scope="module")
def days():
    made = make_station()
    return made.rename(columns={"wind_night": "wind", "cloud_night": "cloud"})


@pytest.fixture(scope="module")
def springs(days):
    return read_springs(make_seasons(make_record(days)))


@pytest.fixture(scope="module")
def southern(days):
    later = days.assign(date=days["date"] + pd.Timedelta(days=182))
    return read_springs(make_seasons(make_record(later, latitude=-45.4)))


@pytest.fixture(scope="module")
def frosts(springs):
    return tabulate_last_frosts(springs)


def made_frosts(day):
    day = np.asarray(day, float)
    return pd.DataFrame({"year": np.arange(day.size), "day": day, "later": np.nan})


# --- the last frost -------------------------------------------------------------


def test_the_last_frosts_are_those_that_the_days_themselves_have(days, frosts):
    # An independent computation: pandas alone, on the days.
    spring = days[(days["date"].dt.day_of_year < 205) & (days["tmin"] <= 0)]
    last = spring.groupby(spring["date"].dt.year)["date"].max()
    assert frosts["year"].tolist() == last.index.tolist()
    assert frosts["day"].tolist() == last.dt.day_of_year.tolist()


def test_the_latest_frost_of_thirty_years_is_exceeded_once_in_thirty_one(frosts):
    # Source: Makkonen 2006, J. Appl. Meteorol. Climatol. 45: rank m of n has the
    # plotting position m/(n + 1).
    latest = frosts.loc[frosts["day"].idxmax()]
    assert latest["later"] == pytest.approx(10 / 31)
    assert sorted(frosts["later"]) == pytest.approx(10 * np.arange(1, 31) / 31)
    assert frosts["later"].corr(frosts["day"], method="spearman") < -0.99


def test_a_year_without_frost_has_no_day_and_no_rank_but_counts(days):
    warm = days.copy()
    warm.loc[warm["date"].dt.year == 2001, "tmin"] += 60
    warm.loc[warm["date"].dt.year == 2001, "tmax"] += 60
    frosts = tabulate_last_frosts(read_springs(make_seasons(make_record(warm))))
    bare = frosts[frosts["year"] == 2001].iloc[0]
    assert np.isnan(bare["day"])
    assert np.isnan(bare["later"])
    assert frosts["later"].max() == pytest.approx(10 * 29 / 31)


def test_south_the_last_frosts_fall_in_the_second_half_of_the_year(frosts, southern):
    found = tabulate_last_frosts(southern)
    assert found["day"].between(200, 365).all()
    assert found["day"].mean() - frosts["day"].mean() == pytest.approx(182, abs=5)


def test_the_law_is_the_normal_of_the_dates(frosts):
    # Source: Thom & Shaw 1958, Mon. Weather Rev. 86: in years with frost its date is
    # normal; here every year has frost, so scipy's normal must come back.
    law = tabulate_law(frosts)
    normal = stats.norm(frosts["day"].mean(), frosts["day"].std())
    assert law["later"].to_numpy() == pytest.approx(10 * normal.sf(law["day"]))


def test_years_without_frost_lower_the_whole_law():
    day = [100.0, 110, 120, 130, np.nan, np.nan]
    law = tabulate_law(made_frosts(day)).set_index("day")
    # Two years of six have no frost: the law begins at two thirds.
    assert law["later"].iloc[0] < 10 * 4 / 6
    assert law["later"][115.0] == pytest.approx(10 * 4 / 6 / 2)


def test_the_band_is_that_of_jeffreys_for_so_many_years(frosts):
    # Source: Brown, Cai & DasGupta 2001, Stat. Sci. 16: the Jeffreys interval is
    # between the 5 % and 95 % points of Beta(x + 1/2, n - x + 1/2).
    row = tabulate_law(frosts).set_index("day").loc[110.0]
    count = 3 * row["later"]
    beta = stats.beta(count + 0.5, 30 - count + 0.5)
    assert [row["low"], row["high"]] == pytest.approx(10 * beta.ppf([0.05, 0.95]))


def test_fewer_years_leave_more_open(frosts):
    both = [tabulate_law(made_frosts(frosts["day"][::step])) for step in (1, 3)]
    widths = [(law["high"] - law["low"]).max() for law in both]
    assert widths[1] > 1.5 * widths[0]


@pytest.mark.parametrize(
    "day", [[], [np.nan] * 6, [120.0, np.nan], [120.0, 120.0, 120.0]]
)
def test_a_law_needs_two_dates_that_differ(day):
    law = tabulate_law(made_frosts(day))
    assert law.empty
    assert list(law.columns) == ["day", "later", "low", "high"]


def test_the_band_holds_the_truth_about_as_often_as_it_says():
    # Simulated: dates of a known law, ten years each time. The true share of years
    # with frost after day 110 is a half; the band must hold it in 90 % of records,
    # which 400 records tell to about 3 %.
    random = np.random.default_rng(4)
    held = []
    for day in np.rint(random.normal(110, 12, (400, 10))):
        law = tabulate_law(made_frosts(day)).set_index("day")
        held.append(law["low"][110.0] <= 5 <= law["high"][110.0])
    assert 0.86 <= np.mean(held) <= 0.99


@given(
    st.lists(
        st.one_of(st.integers(60, 160).map(float), st.just(float("nan"))),
        min_size=5,
        max_size=30,
    )
)
def test_a_law_falls_and_stays_inside_its_band(day):
    law = tabulate_law(made_frosts(day))
    assert (law["later"].diff().dropna() <= 1e-9).all()
    assert (law["low"] <= law["later"] + 1e-9).all()
    assert (law["later"] <= law["high"] + 1e-9).all()
    assert law[["low", "high"]].to_numpy().min(initial=0) >= 0
    assert law[["low", "high"]].to_numpy().max(initial=10) <= 10


# --- nights ---------------------------------------------------------------------


def test_the_nights_of_april_and_may_are_all_told_once(days, springs):
    table = tabulate_nights(springs)
    spring = days[days["date"].dt.month.isin([4, 5])]
    cold = spring[np.floor(spring["tmin"].astype(np.float32)) < 5]
    told = table[["clear", "other"]].to_numpy().sum()
    assert told * springs.count == pytest.approx(len(cold), rel=1e-6)
    frost = cold[(cold["tmin"] >= -1) & (cold["tmin"] < 0)]
    row = table.set_index("degc").loc[-1]
    assert (row["clear"] + row["other"]) * 30 == pytest.approx(len(frost), abs=1)


def test_the_colder_the_night_the_oftener_it_was_clear_and_still(springs):
    # The demo's weather cools most under a clear sky: so it was drawn.
    table = tabulate_nights(springs)
    share = table["clear"] / (table["clear"] + table["other"])
    cold, mild = share[table["degc"] < 0].mean(), share[table["degc"] >= 0].mean()
    assert cold > mild


def test_south_the_nights_are_those_of_october_and_november(days, southern):
    later = days["date"] + pd.Timedelta(days=182)
    spring = days[later.dt.month.isin([10, 11])]
    cold = (np.floor(spring["tmin"].astype(np.float32)) < 5).sum()
    told = tabulate_nights(southern)[["clear", "other"]].to_numpy().sum()
    # The record begins and ends within a southern year: those two do not count.
    assert told * southern.count == pytest.approx(cold, rel=0.1)


# --- bloom ----------------------------------------------------------------------


@pytest.fixture(scope="module")
def plum():
    return make_kind(read_fruit("plum"))


def test_days_of_the_year_are_those_of_the_dates(springs, plum):
    shift = (-1.0, 0.0, 0.0)
    told, dates = (f(springs, plum, shift) for f in (tabulate_bloom, describe_years))
    for name in ("opens", "full_bloom", "falls", "last_frost"):
        assert told[name].tolist() == dates[name].dt.day_of_year.tolist()
    assert (told["poor"] == (dates["crop"] < 0.5)).all()


def test_bloom_differs_by_year_and_by_place(springs, plum):
    here = tabulate_bloom(springs, plum, (0.0, 0.0, 0.0))
    cold = tabulate_bloom(springs, plum, (-3.0, 0.0, -1.0))
    assert here["full_bloom"].nunique() > 8
    assert (cold["full_bloom"] > here["full_bloom"]).all()


def test_at_the_same_bloom_a_colder_night_never_gives_fewer_poor_years(springs, plum):
    counts = [
        tell_place(tabulate_bloom(springs, plum, (still, 0.0, 0.0)))["poor"]
        for still in (1.0, -1.0, -2.0, -3.0, -4.5)
    ]
    assert counts == sorted(counts)
    assert counts[-1] > counts[0]


def test_a_place_is_told_by_its_middle_year_and_its_counts():
    bloom = pd.DataFrame(
        {
            "year": [2001, 2002, 2003, 2004],
            "crop": [1.0, 0.2, 0.0, 1.0],
            "poor": [False, True, True, False],
            "full_bloom": [110.0, 120.0, np.nan, 112.0],
            "last_frost": [100.0, 119.0, 140.0, np.nan],
        }
    )
    told = tell_place(bloom)
    assert (told["full_bloom"], told["last_frost"]) == (112, 119)
    assert (told["poor"], told["years"]) == (2, 4)
    assert "1 of 2 (2001 to 2002), 1 of 2 (2003 to 2004)" in told["halves"]
