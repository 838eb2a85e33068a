"""Readings of eight loggers over one spring, made from the planted offsets.

Two were set up wrong, as happens: one hangs in the sun, the clock of another is an
hour ahead. Whoever reads them should find both.
"""

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.demo.records import make_station
from sitekit.demo.terrain import CELL, ROWS, SOUTH, WEST, make_terrain
from sitekit.demo.truth import LOGGERS, Logger

Array = NDArray[np.float64]

FIRST, LAST = "2025-03-01", "2025-05-31"
#: Readings in a day, one every ten minutes.
STEPS = 144
#: Hour of the greatest warmth; sunrise on the first and last day. [h, UTC+1]
WARMEST, SUNRISE = 15.0, (6.7, 4.2)
#: Fall of temperature with height in moving air. [degC/m]
LAPSE = -0.0065
#: Warming of a bare sensor by full sun. [degC]
SUN_ERROR = 9.0
ZONE = "+01:00"


def write_readings(folder: Path) -> None:
    """Write ``loggers.csv`` and one CSV for each logger.

    Parameters
    ----------
    folder : Path
        Where to; made if it is missing.
    """
    folder.mkdir(parents=True, exist_ok=True)
    table = pd.DataFrame([_described(logger) for logger in LOGGERS])
    table.to_csv(folder / "loggers.csv", index=False, lineterminator="\n")
    days, times = _spring(), make_times()
    for number, logger in enumerate(LOGGERS):
        random = np.random.default_rng([51, number])
        readings = make_readings(logger, days, random)
        shift = np.timedelta64(60 if logger.fault == "clock" else 0, "m")
        _write_one(folder / f"{logger.name}.csv", times + shift, readings)


def make_times() -> NDArray[np.datetime64]:
    """List the times of all readings, every ten minutes, UTC+1."""
    return np.arange(
        f"{FIRST}T00:00",
        np.datetime64(LAST) + np.timedelta64(1, "D"),
        np.timedelta64(10, "m"),
        dtype="datetime64[m]",
    )


def make_readings(
    logger: Logger, days: pd.DataFrame, random: np.random.Generator
) -> Array:
    """Draw what a logger reads.

    Parameters
    ----------
    logger : Logger
        Where it stood, its planted offset and its fault.
    days : DataFrame
        Record of the farm station, and one day more.
    random : numpy.random.Generator
        Source of the unevenness of nights and of readings.

    Returns
    -------
    temperature : (reading,) ndarray
        Every ten minutes from the first to the last day. [degC]
    """
    strength = night_strength(
        days["cloud_night"].to_numpy(), days["wind_night"].to_numpy()
    )
    lapse = LAPSE * (_height(logger) - _height(LOGGERS[0]))
    offsets = logger.offset * strength + lapse * (1 - strength)
    lows = days["tmin"].to_numpy() + offsets + random.normal(0, 0.25, len(days))
    highs = days["tmax"].to_numpy() + lapse + random.normal(0, 0.3, len(days))
    readings = _course(lows, np.maximum(highs, lows + 1)).ravel()
    if logger.fault == "sun":
        readings += _sun_error(days["cloud_night"].to_numpy()[:-1], random)
    return np.round(readings + random.normal(0, 0.06, readings.size), 1)


def night_strength(cloud: Array, wind: Array) -> Array:
    """How much of a clear still night's offset a night shows.

    Parameters
    ----------
    cloud : (night,) ndarray
        Share of the sky under cloud.
    wind : (night,) ndarray
        Wind at night. [m/s]

    Returns
    -------
    strength : (night,) ndarray
        1 on a clear still night, near 0 in wind; common practice, no source.
    """
    strength: Array = (1 - 0.83 * cloud**2) / (1 + (wind / 2) ** 4)
    return strength


def _spring() -> pd.DataFrame:
    """Days of the record that the loggers stood, and the morning after."""
    days = make_station()
    after = pd.Timestamp(LAST) + pd.Timedelta(days=1)
    return days[(days["date"] >= FIRST) & (days["date"] <= after)]


def _height(logger: Logger) -> float:
    """Height of the ground at a logger. [m]."""
    east, north = logger.at
    return float(make_terrain()[ROWS - 1 - int(north / CELL), int(east / CELL)])


def _course(lows: Array, highs: Array) -> Array:
    """Course of each day through its minimum, maximum and the next minimum."""
    hours = (np.arange(STEPS) * 24 / STEPS)[None, :]
    rise = np.linspace(*SUNRISE, len(lows) - 1)[:, None]
    before, low = np.concatenate([[lows[0] + 6], highs[:-2]])[:, None], lows[:-1, None]
    high, after = highs[:-1, None], lows[1:, None]
    night = 24 - WARMEST + rise
    morning = low + (before - low) * _cooling((hours + 24 - WARMEST) / night)
    day = low + (high - low) * np.sin(np.pi / 2 * (hours - rise) / (WARMEST - rise))
    evening = after + (high - after) * _cooling((hours - WARMEST) / night)
    course: Array = np.where(
        hours < rise, morning, np.where(hours < WARMEST, day, evening)
    )
    return course


def _cooling(passed: Array) -> Array:
    """Share of the warmth that is left when a share of the night has passed."""
    left: Array = (1 - np.clip(passed, 0, 1)) ** 2.2
    return left


def _sun_error(cloud: Array, random: np.random.Generator) -> Array:
    """Warming of a sensor that hangs in the sun between eight and five."""
    hours = (np.arange(STEPS) * 24 / STEPS)[None, :]
    height = np.clip(np.sin(np.pi * (hours - 8) / 9), 0, 1)
    gusts = random.uniform(0.5, 1.0, (len(cloud), STEPS))
    error: Array = SUN_ERROR * (1 - cloud[:, None]) * height * gusts
    return error.ravel()


def _described(logger: Logger) -> dict[str, object]:
    """Describe a logger as its owner would; the fault is not known to him."""
    east, north = logger.at
    return {
        "logger": logger.name,
        "easting": WEST + east,
        "northing": SOUTH + north,
        "height_m": 1.5,
        "shield": "white louvres",
        "reference": "yes" if logger.name == "L1" else "",
        "start_check_degc": 0.1 if logger.name in {"L3", "L8"} else 0.0,
        "place": logger.place,
    }


def _write_one(path: Path, times: NDArray[np.datetime64], readings: Array) -> None:
    """Write the readings of one logger."""
    lines = [
        f"{time}{ZONE},{reading:.1f}"
        for time, reading in zip(times.astype(str), readings, strict=True)
    ]
    path.write_text("\n".join(["time,temperature_degc", *lines, ""]), encoding="utf-8")
