"""Winter chill: hours, Utah units, portions, and the one line told of it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.fruit.chill import (
    count_chill_hours,
    count_portions,
    describe_chill,
    hours_of_days,
    sum_utah,
    utah_units,
)

LIST = [-2, 0, 1.4, 1.5, 2.4, 2.5, 6, 9.1, 9.2, 12.4, 12.5, 15.9, 16, 18, 18.1, 25]
NEEDS = {"apple": 400.0, "blackcurrant": 800.0}
DAYS = np.arange(243)


def made_winter(mean, swing, half=5.0):
    """October to May of a sinusoidal year, as hours."""
    day = DAYS + 274
    middle = mean + swing * np.cos(2 * np.pi * (day - 200) / 365)
    return hours_of_days(middle[None] - half, middle[None] + half)


def test_utah_units_are_those_published():
    # Source: Richardson, Seeley & Walker 1974, HortScience 9:331; limits in degC.
    expected = [0, 0, 0, 0.5, 0.5, 1, 1, 1, 0.5, 0.5, 0, 0, -0.5, -0.5, -1, -1]
    assert utah_units(LIST).tolist() == expected
    assert utah_units(LIST).sum() == 2.0


def test_chill_hours_count_zero_to_seven_point_two():
    assert count_chill_hours(LIST) == 6
    assert count_chill_hours(LIST, frost=True) == 7


# Source: constants of Fishman, Erez & Couvillon 1987, J. Theor. Biol. 124:473, and Erez
# 1990; portions of 240 h at one temperature, computed from them.
@pytest.mark.parametrize(
    ("temperature", "portions"),
    [
        (-2, 0.031),
        (0, 0.774),
        (2, 5.709),
        (4, 6.582),
        (6, 7.821),
        (8, 8.133),
        (10, 7.095),
        (12, 6.000),
        (14, 0),
        (16, 0),
    ],
)
def test_portions_at_one_temperature_are_as_computed(temperature, portions):
    hours = np.full(240, float(temperature))
    assert count_portions(hours) == pytest.approx(portions, abs=0.01)


def test_a_thousand_hours_at_six_degrees():
    assert count_portions(np.full(1000, 6.0)) == pytest.approx(34.204, abs=0.01)


def test_winters_are_counted_side_by_side():
    hours = np.stack([np.full(500, 6.0), np.full(500, 14.0)])
    assert count_portions(hours)[0] == pytest.approx(count_portions(hours[0]))
    assert count_portions(hours)[1] == 0
    assert count_chill_hours(hours).tolist() == [500, 0]


def test_heat_undoes_what_is_not_yet_fixed():
    cool = np.full(20, 6.0)
    broken = np.concatenate([cool, np.full(8, 26.0), cool])
    assert count_portions(broken) < count_portions(np.full(48, 6.0))


def test_warm_weeks_before_and_after_the_winter_take_nothing_away():
    winter = np.full(1000, 6.0)
    warm = np.full(500, 22.0)
    assert sum_utah(np.concatenate([warm, winter, warm])) == 1000
    assert sum_utah(warm) == 0


def test_hours_of_a_day_span_its_minimum_and_maximum():
    hours = hours_of_days(np.array([2.0, -4.0]), np.array([12.0, 4.0]))
    assert hours.shape == (48,)
    assert hours[:24].min() == pytest.approx(2)
    assert hours[:24].max() == pytest.approx(12)
    assert hours[24:].mean() == pytest.approx(0, abs=1e-9)


def test_the_count_above_freezing_falls_towards_the_cold():
    # Made years of 60 and 63 degrees north, computed: 1864 and 1437 h of 0 to 7.2,
    # 4728 and 5137 h at or below 7.2, October to May.
    lake, inland = made_winter(5.52, 10.89), made_winter(3.06, 12.32)
    mild = [int(count_chill_hours(w)[0]) for w in (lake, inland)]
    counted = [int(count_chill_hours(w, frost=True)[0]) for w in (lake, inland)]
    assert mild == pytest.approx([1864, 1437], rel=0.07)
    assert counted == pytest.approx([4728, 5137], rel=0.07)


def test_cold_winters_are_not_called_short_of_chill():
    line = describe_chill(made_winter(-4.0, 16.0), {"currant": 2000.0})
    assert line.startswith("Winter chill is not limiting")


def test_a_warm_climate_makes_chill_the_limit():
    line = describe_chill(made_winter(20.0, 5.0), NEEDS)
    assert line.startswith("Winter chill is the limit for apple, blackcurrant")


def test_the_line_tells_all_three_counts():
    line = describe_chill(made_winter(9.0, 9.0), NEEDS)
    for word in ("hours of 0 to 7.2", "Utah units", "portions"):
        assert word in line


@given(st.floats(-10, 25), st.integers(1, 100))
def test_more_hours_never_count_less(temperature, more):
    short, long = np.full(100, temperature), np.full(100 + more, temperature)
    assert count_chill_hours(long) >= count_chill_hours(short)
    assert sum_utah(long) >= sum_utah(short)
    assert count_portions(long) >= count_portions(short) - 1e-12
