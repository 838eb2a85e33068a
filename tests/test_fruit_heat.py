"""Warmth of days by a single sine."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.fruit.heat import degree_days

temperatures = st.floats(-30, 40)


# Source: method of Baskerville & Emin 1969, Ecology 50:514; values are numeric
# integrals of the sine.
@pytest.mark.parametrize(
    ("highest", "lowest", "base", "expected"),
    [
        (20, 4, 10, 3.6265),
        (15, 5, 10, 1.5915),
        (18, 2, 5, 5.5623),
        (12, -3, 5, 2.1426),
        (26, 12, 10, 9.0),
        (8, 1, 10, 0),
        (80, 50, 55, 10.8816),
        (80, 40, 50, 12.18),
        (14, -2, 6, 2.5465),
    ],
)
def test_the_published_cases_come_out(
    highest: float, lowest: float, base: float, expected: float
) -> None:
    assert degree_days(lowest, highest, base) == pytest.approx(expected, abs=1e-4)


@given(temperatures, temperatures, st.floats(0, 15))
def test_it_is_the_integral_of_the_sine(one: float, other: float, base: float) -> None:
    lowest, highest = min(one, other), max(one, other)
    phase = (np.arange(20_000) + 0.5) * 2 * np.pi / 20_000
    sine = (lowest + highest) / 2 + (highest - lowest) / 2 * np.sin(phase)
    expected = np.maximum(sine - base, 0).mean()
    assert degree_days(lowest, highest, base) == pytest.approx(expected, abs=1e-4)


@given(temperatures, temperatures, st.floats(0, 3))
def test_a_warmer_day_is_never_worth_less(
    one: float, other: float, more: float
) -> None:
    lowest, highest = min(one, other), max(one, other)
    before = degree_days(lowest, highest, 5.0)
    assert degree_days(lowest + more, highest + more, 5.0) >= before - 1e-9


def test_a_day_without_a_range_counts_its_mean() -> None:
    assert degree_days(8.0, 8.0, 5.0) == pytest.approx(3.0)
    assert degree_days(5.0, 5.0, 5.0) == 0.0
    assert degree_days(2.0, 2.0, 5.0) == 0.0


def test_missing_days_stay_missing() -> None:
    warmth = degree_days(np.array([np.nan, 4.0, 4.0]), np.array([9, np.nan, 20.0]), 5.0)
    assert np.isnan(warmth).tolist() == [True, True, False]


def test_single_precision_stays_single() -> None:
    cold, warm = np.float32([[1, 2]]), np.float32([[9], [12], [20]])
    warmth = degree_days(cold, warm, 5.0)
    assert warmth.dtype == np.float32
    assert warmth.shape == (3, 2)
