"""A trend is told with its error, never carried on."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sitekit.climate.trend import find_trend, tell_trend

YEARS = np.arange(1996, 2026)


def test_the_slope_is_that_of_least_squares():
    values = np.random.default_rng(2).normal(120, 9, 30) - 0.3 * np.arange(30)
    found, expected = find_trend(YEARS, values), stats.linregress(YEARS, values)
    assert found.slope == pytest.approx(10 * expected.slope)
    assert found.error == pytest.approx(10 * expected.stderr)
    assert found.early == pytest.approx(values[:15].mean())
    assert found.late == pytest.approx(values[15:].mean())
    assert found.years == (1996, 2025)


def test_a_clear_trend_is_sure_and_noise_is_not():
    steady = 120 - 0.5 * np.arange(30) + np.tile([1.0, -1.0], 15)
    assert find_trend(YEARS, steady).sure
    assert not find_trend(YEARS, np.tile([1.0, -1.0, 0.5], 10)).sure


def test_noise_is_called_sure_about_one_time_in_ten():
    random = np.random.default_rng(8)
    sure = [find_trend(YEARS, random.normal(size=30)).sure for _ in range(600)]
    assert 0.06 <= np.mean(sure) <= 0.14


def test_years_without_a_date_are_left_out_and_few_years_tell_nothing():
    values = np.where(np.arange(30) % 3 == 0, np.nan, 100.0 + np.arange(30))
    assert find_trend(YEARS, values).slope == pytest.approx(10)
    assert find_trend(YEARS[:9], np.arange(9.0)) is None
    assert find_trend(YEARS, np.full(30, np.nan)) is None


def test_the_words_tell_both_halves_and_promise_nothing():
    steady = 120 - 0.5 * np.arange(30) + np.tile([1.0, -1], 15)
    ways = ("later", "earlier")
    text = tell_trend(find_trend(YEARS, steady), "last frost", "days", ways)
    assert text.startswith("Last frost, 1996 to 2025: 5.1 ± 0.2 days earlier in ten")
    assert "The second half of these years lies 7.6 days earlier" in text
    assert "Nothing is carried on" in text
    flat = find_trend(YEARS, np.tile([1.0, -1.0, 0.5], 10))
    assert "no sure trend" in tell_trend(flat, "x", "days", ways)


@given(st.floats(-5, 5), st.floats(-100, 100))
def test_a_line_is_found_exactly(slope, start):
    found = find_trend(YEARS, start + slope * np.arange(30))
    assert found.slope == pytest.approx(10 * slope, abs=1e-6)
