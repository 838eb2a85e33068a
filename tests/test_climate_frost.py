"""Last and first frost, their laws, and how little ten years say."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sitekit.climate.frost import (
    MixedDates,
    date_exceeded,
    date_interval,
    first_frost,
    fit_dates,
    frost_free_days,
    last_frost,
    years_in_ten,
)

#: A sample of ten dates, and a normal law of them: from memory, computed with scipy.
SAMPLE = np.array([128, 141, 135, 150, 132, 146, 138, 144, 129, 137.0])


def year(*cold, limit=-1.0, days=366):
    nights = np.full((1, days), 5.0)
    nights[0, list(cold)] = limit
    return nights


SPLIT = np.array([204])


def test_the_last_frost_is_the_last_before_the_split():
    assert last_frost(year(10, 130, 203, 204, 300), SPLIT) == [203]
    assert first_frost(year(10, 130, 203, 204, 300), SPLIT) == [204]


def test_a_night_at_the_limit_is_frost_and_one_over_it_is_none():
    assert last_frost(year(130, limit=0.0), SPLIT) == [130]
    assert np.isnan(last_frost(year(130, limit=0.1), SPLIT)).all()
    assert last_frost(year(130, limit=-1.9), SPLIT, -1.9) == [130]
    assert np.isnan(last_frost(year(130, limit=-1.9), SPLIT, -2.0)).all()


def test_a_missing_night_is_no_frost():
    nights = year(130)
    nights[0, 140] = np.nan
    assert last_frost(nights, SPLIT) == [130]


def test_years_are_told_apart_and_places_too():
    nights = np.concatenate([year(100), year(), year(150, 250)])
    split = np.array([204, 204, 204])
    np.testing.assert_equal(last_frost(nights, split), [100, np.nan, 150])
    places = np.stack([nights, nights - 10])
    assert last_frost(places, split).shape == (2, 3)
    np.testing.assert_equal(last_frost(places, split)[1], [203, 203, 203])


@given(st.floats(-10, 10), st.integers(0, 50))
def test_a_colder_place_never_has_its_last_frost_earlier(shift, seed):
    nights = np.random.default_rng(seed).normal(6, 5, (5, 366))
    split = np.full(5, 204)
    here = np.nan_to_num(last_frost(nights, split), nan=-1)
    colder = np.nan_to_num(last_frost(nights - abs(shift), split), nan=-1)
    assert (colder >= here).all()


# -- dates from their ranks ------------------------------------------------------------


def test_the_rank_is_m_over_n_and_one():
    # Makkonen 2006, J. Appl. Meteorol. Climatol. 45: 10 % of ten years at 149.6.
    assert date_exceeded(SAMPLE, 0.1) == pytest.approx(149.6)
    assert date_exceeded(SAMPLE, 0.5) == pytest.approx(137.5)


@pytest.mark.parametrize("share", [0.1, 0.2, 0.5, 0.8])
def test_the_rank_is_that_of_a_reference_library(share):
    expected = np.quantile(SAMPLE, 1 - share, method="weibull")
    assert date_exceeded(SAMPLE, share) == pytest.approx(expected)


def test_years_without_frost_are_earlier_than_all():
    dates = np.concatenate([SAMPLE, np.full(10, np.nan)])
    assert date_exceeded(dates, 0.1) == pytest.approx(
        np.sort(SAMPLE)[-2] + 0.9 * (np.sort(SAMPLE)[-1] - np.sort(SAMPLE)[-2]), abs=5
    )
    assert np.isnan(date_exceeded(dates, 0.9))
    assert np.isnan(date_exceeded(np.full(5, np.nan), 0.1))


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_the_interval_of_a_date_covers_as_often_as_it_says(share):
    random = np.random.default_rng(3)
    true = stats.norm(140, 10).ppf(1 - share)
    found = [date_interval(random.normal(140, 10, 30), share) for _ in range(600)]
    assert np.mean([low <= true <= high for low, high in found]) >= 0.88


def test_more_years_make_a_date_surer_and_missing_ones_are_early():
    random = np.random.default_rng(4)
    few, many = (
        np.mean(
            [np.ptp(date_interval(random.normal(140, 10, n), 0.5)) for _ in range(200)]
        )
        for n in (10, 40)
    )
    assert many < 0.7 * few
    low, high = date_interval(np.array([*SAMPLE, *[np.nan] * 10]), 0.5)
    assert np.isnan(low)
    assert np.isfinite(high)


@given(st.lists(st.integers(60, 200), min_size=3, max_size=40), st.integers(0, 10))
def test_a_rarer_date_is_never_earlier(dates, bare):
    sample = np.array([*dates, *[np.nan] * bare], float)
    found = [float(date_exceeded(sample, s)) for s in (0.9, 0.5, 0.2, 0.1)]
    known = [d for d in found if np.isfinite(d)]
    assert known == sorted(known)
    assert all(np.isnan(d) for d in found[: len(found) - len(known)])


# -- the mixed law ---------------------------------------------------------------------


def test_a_year_that_always_freezes_has_the_normal_law():
    # Normal quantiles 1.2816, 0.6745, 0: dates 152.82, 146.74, 140 for 140 and 10.
    law = MixedDates(1.0, 140.0, 10.0)
    assert law.exceeded(0.1) == pytest.approx(152.82, abs=0.01)
    assert law.exceeded(0.25) == pytest.approx(146.74, abs=0.01)
    assert law.exceeded(0.5) == pytest.approx(140.0)
    assert law.exceeded(0.9) == pytest.approx(127.18, abs=0.01)


def test_the_mixed_law_of_thom_and_shaw():
    # Thom & Shaw 1958, Mon. Weather Rev. 86: q (1 - Phi); numbers computed for q = 0.8.
    law = MixedDates(0.8, 140.0, 10.0)
    assert law.later_than(150) == pytest.approx(0.126924, abs=1e-5)
    for share, date in ((0.5, 136.81), (0.25, 144.89), (0.2, 146.74), (0.1, 151.50)):
        assert law.exceeded(share) == pytest.approx(date, abs=0.01)
    assert np.isnan(law.exceeded(0.8))
    assert np.isnan(law.exceeded(0.9))


def test_the_law_is_fitted_to_the_years_with_frost():
    law = fit_dates(np.concatenate([SAMPLE, [np.nan] * 10]))
    assert (law.share, law.mean) == (0.5, 138.0)
    assert law.sd == pytest.approx(7.30297, abs=1e-5)
    full = fit_dates(SAMPLE)
    assert full.exceeded(0.1) == pytest.approx(147.36, abs=0.01)
    with pytest.raises(ValueError, match="two years with frost"):
        fit_dates(np.array([130.0, np.nan]))


@given(st.floats(0.3, 1.0), st.floats(0.02, 0.25))
def test_date_and_share_lead_back_to_each_other(share, wanted):
    law = MixedDates(share, 140.0, 9.0)
    assert law.later_than(law.exceeded(wanted)) == pytest.approx(wanted)


# -- years in ten ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "years", "low", "high"),
    [
        # Jeffreys interval, Brown, Cai & DasGupta 2001, Statistical Science 16.
        (3, 10, 1.17, 5.58),
        (9, 30, 1.80, 4.48),
        (0, 10, 0.0, 1.7),
        (0, 30, 0.0, 0.6),
    ],
)
def test_the_interval_is_that_of_jeffreys(count, years, low, high):
    told, lower, upper = years_in_ten(count, years)
    assert told == pytest.approx(10 * count / years)
    assert lower == pytest.approx(low, abs=0.01)
    assert upper == pytest.approx(high, abs=0.06)


def test_it_mirrors_and_ends_at_ten():
    _, low, high = years_in_ten(10, 10)
    assert high == 10
    assert low == pytest.approx(10 - years_in_ten(0, 10)[2])


def test_more_years_tell_more():
    widths = [np.diff(years_in_ten(0.3 * n, n)[1:])[0] for n in (10, 30, 100)]
    assert widths[0] > widths[1] > widths[2]


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5])
def test_the_interval_covers_as_often_as_it_says(share):
    # Brown et al. 2001: the mean coverage of Jeffreys lies near the nominal 90 %.
    counts = stats.binom(30, share).rvs(4000, random_state=5)
    found = [years_in_ten(int(k), 30)[1:] for k in range(31)]
    covered = np.mean([found[k][0] <= 10 * share <= found[k][1] for k in counts])
    assert 0.85 <= covered <= 0.96


# -- the season between ----------------------------------------------------------------


def test_the_season_lies_between_the_frosts():
    assert frost_free_days(np.array([140.0]), np.array([268.0]), 366) == [127]
    assert frost_free_days(np.array([np.nan]), np.array([268.0]), 366) == [268]
    assert frost_free_days(np.array([140.0]), np.array([np.nan]), 366) == [225]
    assert frost_free_days(np.array([np.nan]), np.array([np.nan]), 366) == [366]
