"""The demo's weather hangs together, and its loggers read what was planted."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sitekit.demo.climate import PERSISTENCE, make_days
from sitekit.demo.readings import STEPS, night_strength, write_readings
from sitekit.demo.records import (
    AVERLOW,
    NOTED_YEARS,
    degree_days,
    make_bloom,
    make_station,
    write_station,
)
from sitekit.demo.truth import LOGGERS, PLANTED, Logger


@pytest.fixture(scope="module")
def days() -> pd.DataFrame:
    return make_station()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("readings")
    write_readings(path)
    return path


@pytest.fixture(scope="module")
def readings(folder: Path) -> pd.DataFrame:
    """One column a logger, by its own clock."""
    columns = {
        logger.name: pd.read_csv(folder / f"{logger.name}.csv").set_index("time")[
            "temperature_degc"
        ]
        for logger in LOGGERS
    }
    frame = pd.DataFrame(columns)
    frame.index = pd.to_datetime(frame.index)
    return frame


def named(fault: str) -> Logger:
    return next(logger for logger in LOGGERS if logger.fault == fault)


def clear_nights(days: pd.DataFrame) -> pd.Series:
    """Strength of each clear still night of the spring, by its morning."""
    strong = pd.Series(
        night_strength(days["cloud_night"].to_numpy(), days["wind_night"].to_numpy()),
        index=days["date"].dt.strftime("%Y-%m-%d"),
    )
    spring = strong["2025-03-01":"2025-05-31"]
    return spring[spring > 0.9]


def minima(readings: pd.DataFrame) -> pd.DataFrame:
    return readings.groupby(readings.index.strftime("%Y-%m-%d")).min()


def test_the_record_has_every_day_of_thirty_years(days: pd.DataFrame):
    expected = pd.date_range("1996-01-01", "2025-12-31")
    assert list(days["date"]) == list(expected)
    assert not days.isna().any().any()


def test_no_minimum_stands_above_its_maximum(days: pd.DataFrame):
    assert (days["tmin"] < days["tmax"]).all()
    assert days["cloud_night"].between(0, 1).all()
    assert (days[["wind_night", "rain"]] >= 0).all().all()


def test_the_year_has_its_course(days: pd.DataFrame):
    monthly = days.groupby(days["date"].dt.month)[["tmin", "tmax"]].mean().mean(axis=1)
    assert monthly.idxmin() == 1
    assert monthly.idxmax() == 7
    assert 15 < monthly.max() - monthly.min() < 20


def test_a_day_remembers_the_day_before(days: pd.DataFrame):
    middle = (days["tmin"] + days["tmax"]) / 2
    anomaly = middle - middle.groupby(days["date"].dt.day_of_year).transform("mean")
    assert anomaly.autocorr(1) == pytest.approx(PERSISTENCE, abs=0.06)


def test_clear_nights_have_the_wider_range(days: pd.DataFrame):
    span = days["tmax"] - days["tmin"]
    clear, dull = days["cloud_night"] < 0.2, days["cloud_night"] > 0.8
    assert span[clear].mean() > 1.8 * span[dull].mean()
    assert days["wind_night"][clear].mean() < days["wind_night"][dull].mean()


def test_the_last_frost_of_all_springs_is_on_12_may(days: pd.DataFrame):
    spring = days[(days["tmin"] <= 0) & (days["date"].dt.month < 7)]
    last = spring.groupby(spring["date"].dt.year)["date"].max()
    assert last.dt.strftime("%m-%d").max() == "05-12"
    assert len(last) == 30


@pytest.mark.parametrize(("year", "night"), [(2003, "04-23"), (2024, "04-17")])
def test_the_two_famous_years_bloom_early_and_freeze(
    days: pd.DataFrame, year: int, night: str
):
    row = days[days["date"] == f"{year}-{night}"].iloc[0]
    assert row["tmin"] <= -4
    assert row["cloud_night"] < 0.1
    warmth = days[days["date"].between(f"{year}-03-01", f"{year}-{night}")]
    sums = degree_days(warmth["tmin"].to_numpy(), warmth["tmax"].to_numpy())
    # Full bloom of plum at 190 degC day over 5 degC from 1 March; from memory.
    assert sums.sum() > 0.85 * 190


def test_plum_to_late_apple_bloom_from_about_18_april_to_6_may(days: pd.DataFrame):
    # Full bloom at 190 and 300 degC day over 5 degC from 1 March; from memory.
    found = {190: [], 300: []}
    for year in range(1996, 2026):
        spring = days[days["date"].between(f"{year}-03-01", f"{year}-06-15")]
        sums = np.cumsum(
            degree_days(spring["tmin"].to_numpy(), spring["tmax"].to_numpy())
        )
        for target, seen in found.items():
            when = spring["date"].iloc[int(np.searchsorted(sums, target))]
            seen.append(when.day_of_year)
    assert np.median(found[190]) == pytest.approx(108, abs=5)
    assert np.median(found[300]) == pytest.approx(126, abs=5)


def test_warmth_of_a_day_all_above_the_base_is_its_mean_less_the_base():
    assert degree_days(np.array([8.0]), np.array([20.0])) == pytest.approx([9.0])
    assert degree_days(np.array([-8.0]), np.array([4.0])) == pytest.approx([0.0])


def test_warmth_of_a_day_across_the_base_is_that_of_a_sine():
    # Source: Allen 1976, Environmental Entomology 5 (sine method); minimum 0,
    # maximum 10, base 5 gives half the range over pi.
    assert degree_days(np.array([0.0]), np.array([10.0])) == pytest.approx(
        [5 / np.pi], rel=0.01
    )


def test_bloom_is_noted_in_order_for_four_trees_over_six_years():
    bloom = make_bloom()
    assert len(bloom) == 4 * len(NOTED_YEARS) == 24
    stages = bloom[["green_tip", "white_or_pink", "full_bloom", "petal_fall"]]
    dates = stages.apply(pd.to_datetime)
    assert (dates.diff(axis=1).iloc[:, 1:] > pd.Timedelta(0)).all().all()
    full = pd.to_datetime(bloom["full_bloom"]).dt.day_of_year
    means = full.groupby(bloom["fruit"]).mean()
    assert means["plum"] < means["pear"] < means["apple"]


def test_another_seed_gives_other_weather():
    other = make_days(type(AVERLOW)(**{**vars(AVERLOW), "seed": 4}))
    assert not np.allclose(other["tmin"], make_station()["tmin"])


def test_the_record_reads_back_as_it_was_drawn(tmp_path: Path, days: pd.DataFrame):
    write_station(tmp_path / "station.csv")
    back = pd.read_csv(tmp_path / "station.csv", parse_dates=["date"])
    assert list(back.columns) == list(days.columns)
    assert np.allclose(back["tmin"], days["tmin"])
    assert "-0.0," not in (tmp_path / "station.csv").read_text(encoding="utf-8")


def test_every_logger_has_a_file_and_one_is_the_reference(folder: Path):
    table = pd.read_csv(folder / "loggers.csv")
    assert list(table["logger"]) == [f"L{i}" for i in range(1, 9)]
    assert list(table["reference"].dropna()) == ["yes"]
    assert table["easting"].between(500_000, 501_200).all()
    assert {path.stem for path in folder.glob("L*.csv")} == set(table["logger"])
    assert "fault" not in " ".join(table.columns)


def test_readings_come_every_ten_minutes_for_92_days(folder: Path):
    for logger in LOGGERS:
        text = (folder / f"{logger.name}.csv").read_text(encoding="utf-8")
        lines = text.splitlines()
        assert lines[0] == "time,temperature_degc"
        assert len(lines) - 1 == 92 * STEPS == 13_248
        times = pd.to_datetime([line.split(",")[0] for line in lines[1:]])
        assert set(np.diff(times)) == {np.timedelta64(10, "m")}
        assert str(times[0].utcoffset()) == "1:00:00"


@pytest.mark.parametrize("logger", LOGGERS[1:], ids=lambda logger: logger.part)
def test_clear_nights_show_the_planted_offset(
    logger: Logger, days: pd.DataFrame, readings: pd.DataFrame
):
    strength = clear_nights(days)
    lowest = minima(readings).loc[strength.index]
    assert len(lowest) >= 20
    full = ((lowest[logger.name] - lowest["L1"]) / strength).median()
    assert full == pytest.approx(PLANTED[logger.part].offset, abs=0.2)


def test_windy_and_cloudy_nights_show_little_of_it(
    days: pd.DataFrame, readings: pd.DataFrame
):
    spring = days[days["date"].between("2025-03-01", "2025-05-31")]
    weak = night_strength(
        spring["cloud_night"].to_numpy(), spring["wind_night"].to_numpy()
    )
    nights = spring["date"][weak < 0.25].dt.strftime("%Y-%m-%d")
    lowest = minima(readings).loc[list(nights)]
    assert abs((lowest["L2"] - lowest["L1"]).median()) < 1.0


def test_the_logger_in_the_sun_reads_too_warm_by_day_only(readings: pd.DataFrame):
    name = named("sun").name
    highest = readings.groupby(readings.index.date).max()
    excess = highest[name] - highest.drop(columns=name).median(axis=1)
    assert excess.quantile(0.75) > 4
    others = [logger.name for logger in LOGGERS if logger.fault != "sun"]
    for other in others:
        rest = highest.drop(columns=[name, other]).median(axis=1)
        assert (highest[other] - rest).quantile(0.75) < 1.5


def test_the_clock_of_one_logger_is_an_hour_ahead(readings: pd.DataFrame):
    def lead(name: str) -> int:
        """Steps by which its course lags behind the yard's."""
        hours = readings["L1"].iloc[200:2200]
        return max(
            range(-12, 13),
            key=lambda step: float(hours.corr(readings[name].iloc[:2400].shift(-step))),
        )

    assert lead(named("clock").name) == 6
    assert abs(lead("L6")) <= 1
    assert abs(lead("L2")) <= 1


def test_offset_of_a_night_is_full_when_clear_and_still_and_small_otherwise():
    cloud, wind = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 5.0])
    # Source: common practice, no source; printed in the page on the demo.
    assert night_strength(cloud, wind) == pytest.approx([1.0, 0.17, 0.025], abs=0.001)
