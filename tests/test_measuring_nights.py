"""Night minima, clear still nights, and offsets against the reference."""

import numpy as np
import pandas as pd
import pytest

from sitekit.measuring.nights import (
    MEDIAN,
    choose_nights,
    find_minima,
    find_offsets,
    tell_apart,
)

NIGHTS = pd.date_range("2025-04-02", periods=40, freq="D")
OFFSETS = {"L1": 0.0, "L2": -2.5, "L3": 1.0}


def course(lows, swing, first="2025-04-01"):
    """Readings every half hour: lowest at 5 h by the sun, warmest at 15 h."""
    times = pd.date_range(first, periods=48 * (len(lows) + 1), freq="30min", tz="UTC")
    hours = np.arange(len(times)) / 2
    knots = np.ravel([(24 * i + 5 + 24, 24 * i + 15) for i in range(len(lows))])
    values = np.ravel([(low, low + s) for low, s in zip(lows, swing, strict=True)])
    order = np.argsort(knots)
    return pd.Series(np.interp(hours, knots[order], values[order]), times)


@pytest.fixture
def lows():
    random = np.random.default_rng(3)
    base = random.normal(0, 3, len(NIGHTS))
    clear = np.arange(len(NIGHTS)) % 2 == 0
    table = pd.DataFrame(
        {n: base + o * np.where(clear, 1.0, 0.2) for n, o in OFFSETS.items()}, NIGHTS
    )
    return table + random.normal(0, 0.1, table.shape), pd.Series(
        np.where(clear, 14.0, 5.0) + random.normal(0, 0.3, len(NIGHTS)), NIGHTS
    )


def test_the_minimum_belongs_to_the_morning():
    lows = np.arange(10.0)
    minima, ranges = find_minima({"L1": course(lows, np.full(10, 12.0))}, 0.0)
    assert minima["L1"].loc["2025-04-05"] == pytest.approx(3.0)
    assert ranges.loc["2025-04-05"] == pytest.approx(12.0)


def test_the_night_is_that_of_the_sun_wherever_the_place_lies():
    lows = np.arange(10.0)
    there = course(lows, np.full(10, 12.0))
    there.index = there.index - pd.Timedelta(hours=12)
    minima, _ = find_minima({"L1": there}, 180.0)
    assert minima["L1"].loc["2025-04-05"] == pytest.approx(3.0)


def test_a_night_with_a_gap_has_no_minimum():
    series = course(np.zeros(10), np.full(10, 12.0))
    gap = (series.index > "2025-04-05 00:00") & (series.index < "2025-04-05 07:00")
    minima, _ = find_minima({"L1": series[~gap]}, 0.0)
    assert pd.Timestamp("2025-04-05") not in minima["L1"].dropna().index
    assert pd.Timestamp("2025-04-06") in minima["L1"].dropna().index


def test_clear_nights_are_those_of_the_widest_range(lows):
    nights, how = choose_nights(lows[1])
    assert len(nights) == 16
    assert (lows[1][nights] > 10).all()
    assert "widest range" in how


def test_where_all_nights_are_cloudy_none_is_chosen():
    ranges = pd.Series(np.linspace(2, 7, 40), NIGHTS)
    assert len(choose_nights(ranges)[0]) == 0
    assert len(choose_nights(pd.Series(dtype=float, index=NIGHTS[:0]))[0]) == 0


def test_wind_and_cloud_decide_where_they_are_known(lows):
    days = pd.DataFrame(
        {"date": NIGHTS, "wind": np.linspace(0, 4, 40), "cloud": [0.0, 1.0] * 20}
    )
    nights, how = choose_nights(lows[1], days)
    # Source of the limit: 2.3 m/s breaks a strong inversion (Shaw 2001).
    assert list(nights) == list(NIGHTS[:23:2])
    assert "wind under 2.3" in how
    nights, how = choose_nights(lows[1], days.drop(columns="cloud"))
    assert set(nights) < set(NIGHTS[:23])


def test_offsets_are_medians_over_clear_nights(lows):
    found = find_offsets(*lows, 46.3, reference="L1")
    assert found.enough
    assert found.reference == "L1"
    for name, offset in OFFSETS.items():
        assert found.table.loc[name, "offset"] == pytest.approx(offset, abs=0.1)
    row = found.table.loc["L2"]
    assert row["low"] <= row["offset"] <= row["high"]
    assert row["error"] < 0.1


def test_without_a_reference_the_median_of_the_loggers_is_the_zero(lows):
    found = find_offsets(*lows, 46.3)
    assert found.reference == MEDIAN
    assert found.table["offset"].median() == pytest.approx(0.0, abs=1e-9)
    assert np.ptp(found.table["offset"]) == pytest.approx(3.5, abs=0.2)


def test_a_reference_that_never_read_with_the_others_leaves_nothing(lows):
    minima, ranges = lows
    minima.loc[minima.index[::2], "L1"] = np.nan
    found = find_offsets(minima, ranges, 46.3, reference="L1")
    assert not found.enough


def test_one_logger_alone_tells_nothing(lows):
    minima, ranges = lows
    assert not find_offsets(minima[["L2"]], ranges, 46.3).enough


def test_seven_nights_are_not_enough_and_eight_are(lows):
    minima, ranges = lows
    for count in (7, 8):
        clear = minima.index[::2][:count]
        days = pd.DataFrame({"date": clear, "wind": 0.5, "cloud": 0.0})
        found = find_offsets(minima, ranges, 46.3, reference="L1", days=days)
        assert found.enough == (count == 8)


def test_longer_nights_are_stronger_and_cloud_and_wind_weaken_them(lows):
    minima, ranges = lows
    spring = find_offsets(minima, ranges, 46.3, reference="L1").strength
    # 10 h at 46.3° N in late April: root of 10/9 (FAO 10, ch. 5).
    assert spring == pytest.approx(1.08, abs=0.04)
    days = pd.DataFrame({"date": NIGHTS, "wind": 1.7, "cloud": 0.0})
    windy = find_offsets(minima, ranges, 46.3, reference="L1", days=days).strength
    # Shaw 2001, as read: 1.7 m/s leaves about two thirds of an inversion.
    assert windy / spring == pytest.approx(0.66, abs=0.03)


def test_a_logger_with_few_shared_nights_is_left_out(lows):
    minima, ranges = lows
    minima.loc[minima.index[4:], "L3"] = np.nan
    assert list(find_offsets(minima, ranges, 46.3, reference="L1").table.index) == [
        "L1",
        "L2",
    ]


def test_few_nights_are_less_sure_than_their_spread_by_the_law_of_student():
    # Source: Student 1908, Biometrika 6; variance of t with n - 1 degrees.
    errors = {}
    for count in (5, 40):
        nights = pd.date_range("2025-05-01", periods=count)
        spread = np.tile([-1.0, 1.0], 20)[:count]
        minima = pd.DataFrame({"a": 0.0, "b": spread}, index=nights)
        ranges = pd.Series(np.linspace(12, 12.5, count), index=nights)
        days = pd.DataFrame({"date": nights, "wind": np.nan, "cloud": 0.0})
        table = find_offsets(minima, ranges, 47.0, reference="a", days=days).table
        plain = 1.25 * np.std(spread, ddof=1) / np.sqrt(count)
        errors[count] = table.loc["b", "error"] / plain
    assert errors[5] == pytest.approx(np.sqrt(4 / 2))
    assert errors[40] == pytest.approx(np.sqrt(39 / 37))


def test_a_logger_of_another_spring_is_said_to_read_at_another_time():
    nights = pd.date_range("2025-05-01", periods=20)
    minima = pd.DataFrame({"a": 0.0, "b": -1.0, "c": -2.0, "d": -3.0}, index=nights)
    minima.loc[nights[2:], "c"] = np.nan
    minima.loc[nights, "d"] = np.nan
    days = pd.DataFrame({"date": nights, "wind": np.nan, "cloud": 0.0})
    ranges = pd.Series(12.0, index=nights)
    for reference, whom in (("a", "the reference"), ("", "another logger")):
        offsets = find_offsets(minima, ranges, 47.0, reference=reference, days=days)
        said = {r.about: r.text for r in tell_apart(minima, offsets)}
        assert set(said) == {"c", "d"}
        assert said["c"].startswith(f"fewer than 4 clear still nights with {whom}")
        assert said["d"].startswith(f"no night in common with {whom}")
