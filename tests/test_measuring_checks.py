"""Faults of loggers: each is caught, told, and mended or left out."""

import numpy as np
import pandas as pd
import pytest

from sitekit.measuring.checks import check_temperatures, drop_still, mend_clocks

LONGITUDE = 15.0
TIMES = pd.date_range("2025-04-01", periods=6 * 24 * 42, freq="10min", tz="UTC")


def weather(seed=1):
    """A spring of days that differ: warm at 14 h, cold at 5 h, fronts that pass."""
    random = np.random.default_rng(seed)
    hour = (TIMES.hour + TIMES.minute / 60 + LONGITUDE / 15).to_numpy()
    day = (np.arange(len(TIMES)) // 144).astype(int)
    swing = random.uniform(2, 8, day.max() + 1)[day]
    mean = np.repeat(random.normal(6, 3, day.max() + 1), 144)
    front = np.interp(
        np.arange(len(TIMES)),
        np.arange(0, len(TIMES), 36),
        random.normal(0, 1.5, len(TIMES) // 36),
    )
    return mean + swing * np.cos((hour - 14) * np.pi / 12) + front


def loggers(count=5, seed=1):
    random = np.random.default_rng(seed + 100)
    return {
        f"L{i}": pd.Series(
            weather(seed) + 0.5 * i + random.normal(0, 0.1, len(TIMES)), TIMES
        )
        for i in range(count)
    }


def no_tests(found):
    return pd.DataFrame(
        {"logger": list(found), "start_check_degc": np.nan, "end_check_degc": np.nan}
    )


def check(found, tests=None):
    return check_temperatures(
        found, no_tests(found) if tests is None else tests, LONGITUDE
    )


def told(remarks):
    return " | ".join(f"{r.about} {r.text}" for r in remarks)


@pytest.mark.parametrize("seed", range(5))
def test_sound_loggers_are_left_as_they_are(seed):
    found = loggers(seed=seed)
    kept, remarks = check(found)
    assert remarks == []
    assert all(kept[name].equals(found[name]) for name in found)


@pytest.mark.parametrize("hours", [1, -1, 2, 0.5])
def test_a_clock_that_is_off_is_set_right(hours):
    found = loggers()
    true = found["L3"].copy()
    found["L3"].index = found["L3"].index + pd.Timedelta(hours=hours)
    kept, remarks = check(found)
    assert len(remarks) == 1
    assert remarks[0].kind == "mended"
    assert remarks[0].about == "L3"
    assert "ahead" if hours > 0 else "behind" in remarks[0].text
    assert kept["L3"].index[0] == true.index[0]
    assert np.array_equal(kept["L3"].to_numpy(), true.to_numpy())


def test_a_clock_put_to_summer_time_on_the_way_is_set_right_from_that_day():
    found = loggers()
    day = pd.Timestamp("2025-04-20", tz="UTC")
    late = found["L2"].index >= day
    found["L2"].index = found["L2"].index + pd.to_timedelta(late * 1.0, unit="h")
    kept, remarks = check(found)
    assert "summer time" in remarks[0].text
    off = kept["L2"].reindex(TIMES) - found["L0"]
    assert off.groupby(off.index.floor("D")).std().median() < 0.3


def test_of_two_clocks_none_can_be_called_wrong():
    found = loggers(2)
    found["L1"].index = found["L1"].index + pd.Timedelta(hours=1)
    kept, remarks = check(found)
    assert [r.kind for r in remarks] == ["doubtful"]
    assert "an hour apart" in remarks[0].text
    assert kept["L1"].equals(found["L1"])


def test_a_sensor_in_the_sun_keeps_its_nights_only():
    found = loggers()
    hour = (found["L4"].index + pd.Timedelta(hours=1)).hour
    found["L4"] = found["L4"] + np.where((hour >= 9) & (hour < 17), 5.0, 0.0)
    kept, remarks = check(found)
    assert told(remarks).startswith("L4 hangs in the sun: 6 °C")
    local = (kept["L4"].index + pd.Timedelta(hours=1)).hour
    assert not ((local >= 9) & (local < 17)).any()
    assert len(kept["L0"]) == len(TIMES)


def test_a_sensor_that_stands_still_loses_those_readings():
    found = loggers()
    found["L1"].iloc[1000:1400] = 3.2
    kept, remarks = check(found)
    assert "L1 stood still at 3.2 °C for 2 days from 07 April" in told(remarks)
    assert len(kept["L1"]) == len(TIMES) - 400


def test_a_dead_sensor_is_left_out():
    found = loggers()
    found["L1"].iloc[200:] = 0.0
    kept, remarks = check(found)
    assert "L1" not in kept
    assert "fewer than 5 days" in told(remarks)


def test_a_short_calm_is_no_fault():
    remarks = []
    series = loggers()["L0"]
    series.iloc[10:100] = 1.0
    assert len(drop_still(series, "L0", remarks)) == len(series)
    assert remarks == []


def test_what_the_side_by_side_test_found_is_taken_off():
    found = loggers()
    tests = no_tests(found)
    tests.loc[1, ["start_check_degc", "end_check_degc"]] = [0.0, 0.6]
    tests.loc[2, "start_check_degc"] = 0.2
    kept, remarks = check(found, tests)
    assert "L1 off by +0.0 °C before and +0.6 °C after" in told(remarks)
    assert "L2" not in told(remarks)
    assert (found["L1"] - kept["L1"]).iloc[-1] == pytest.approx(0.6)
    assert (found["L1"] - kept["L1"]).iloc[0] == pytest.approx(0.0)
    assert (found["L2"] - kept["L2"]).iloc[77] == pytest.approx(0.2)


def test_a_sensor_that_drifted_far_is_left_out():
    found = loggers()
    tests = no_tests(found)
    tests.loc[1, ["start_check_degc", "end_check_degc"]] = [-0.4, 0.9]
    kept, remarks = check(found, tests)
    assert "L1" not in kept
    assert "drifted by +1.3 °C" in told(remarks)


def test_one_logger_alone_is_checked_by_itself():
    kept, remarks = check(loggers(1))
    assert list(kept) == ["L0"]
    assert remarks == []


def test_loggers_that_never_read_together_are_not_compared():
    found = loggers(2)
    found["L1"].index = found["L1"].index + pd.Timedelta(days=200)
    remarks = []
    assert mend_clocks(found, LONGITUDE, remarks)["L1"].equals(found["L1"])
    assert remarks == []
