"""Weather drawn by a seeded generator: days that hang together, of no real place."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]

#: Days that a spell of weather lasts, as the correlation from one day to the next.
PERSISTENCE = 0.78
YEAR = 365.25
DIGITS = {"tmin": 1, "tmax": 1, "wind_night": 1, "cloud_night": 2, "rain": 1}


@dataclass(frozen=True)
class Spell:
    """Weather that people remember: a warm spring, then nights of frost.

    Parameters
    ----------
    warm_from, warm_to : str
        Month and day between which it is warmer than usual. [MM-DD]
    warmer : float
        By how much. [degC]
    nights : mapping of str to float
        Minimum of each night of frost by its morning. [MM-DD, degC]
    """

    warm_from: str
    warm_to: str
    warmer: float
    nights: Mapping[str, float]


@dataclass(frozen=True)
class Climate:
    """What the generator draws from.

    Parameters
    ----------
    seed : int
        Seed; the same seed gives the same days.
    mean, swing : float
        Mean of the year, and half the difference of its warmest and coldest
        day. [degC]
    coldest : float
        Coldest day of the year.
    spread : float
        Standard deviation of the daily mean about its season. [degC]
    span : tuple of float
        Daily range under full cloud and under a clear sky in summer. [degC]
    wind : float
        Mean wind at night. [m/s]
    first, last : int
        First and last year.
    spells : mapping of int to Spell
        Remembered years.
    """

    seed: int
    mean: float
    swing: float
    coldest: float
    spread: float
    span: tuple[float, float]
    wind: float
    first: int = 1996
    last: int = 2025
    spells: Mapping[int, Spell] = field(default_factory=dict)


def make_days(climate: Climate) -> pd.DataFrame:
    """Draw a record of daily weather.

    Parameters
    ----------
    climate : Climate
        What to draw from.

    Returns
    -------
    days : DataFrame
        ``date``, ``tmin`` and ``tmax`` [degC], ``wind_night`` [m/s],
        ``cloud_night`` (share of the sky, 0 to 1), ``rain`` [mm]. The minimum is
        that of the morning, the night of a date ends on it.
    """
    dates = pd.date_range(f"{climate.first}-01-01", f"{climate.last}-12-31")
    random = np.random.default_rng(climate.seed)
    day = dates.day_of_year.to_numpy(dtype=np.float64)
    warmth = _season(climate, day)
    warmth += _spread(climate, day) * _weather(random, len(dates))
    cloud = _cloud(random, len(dates))
    span = _span(climate, cloud, day)
    wind = climate.wind * (0.3 + 1.1 * cloud) * random.gamma(4, 0.25, len(dates))
    rain = np.where(cloud > 0.6, random.gamma(0.8, 7.0, len(dates)), 0.0)
    days = pd.DataFrame(
        {
            "date": dates,
            "tmin": warmth - 0.55 * span,
            "tmax": warmth + 0.45 * span,
            "wind_night": wind,
            "cloud_night": cloud,
            "rain": rain,
        }
    )
    for year, spell in climate.spells.items():
        _remember(days, year, spell)
    days = days.round(DIGITS)
    days[list(DIGITS)] += 0.0  # no minus before a zero
    return days


def _winter(climate: Climate, day: Array) -> Array:
    """Swing from 1 on the coldest day of the year to -1 on the warmest."""
    winter: Array = np.cos(2 * np.pi * (day - climate.coldest) / YEAR)
    return winter


def _season(climate: Climate, day: Array) -> Array:
    """Mean temperature that belongs to a day of the year. [degC]."""
    return climate.mean - climate.swing * _winter(climate, day)


def _spread(climate: Climate, day: Array) -> Array:
    """Spread of the daily mean: widest before spring, least in late summer."""
    return climate.spread * (0.8 + 0.25 * _winter(climate, day - 60))


def _weather(random: np.random.Generator, count: int) -> Array:
    """Draw a chain of weather of unit spread that remembers the day before."""
    steps = random.normal(0, np.sqrt(1 - PERSISTENCE**2), count)
    chain = np.empty(count)
    before = 0.0
    for i, step in enumerate(steps):
        before = PERSISTENCE * before + step
        chain[i] = before
    return chain


def _cloud(random: np.random.Generator, count: int) -> Array:
    """Draw the share of the sky under cloud, often nearly clear or nearly full."""
    share: Array = ndtr(1.5 * _weather(random, count))
    return share


def _span(climate: Climate, cloud: Array, day: Array) -> Array:
    """Range from the minimum to the maximum of a day. [degC]."""
    dull, clear = climate.span
    sun = 0.85 - 0.15 * _winter(climate, day - 20)
    return dull + (clear - dull) * (1 - cloud) * sun


def _remember(days: pd.DataFrame, year: int, spell: Spell) -> None:
    """Put a remembered spring into the record."""
    dates = days["date"]
    warm = (dates >= f"{year}-{spell.warm_from}") & (dates <= f"{year}-{spell.warm_to}")
    days.loc[warm, ["tmin", "tmax"]] += spell.warmer
    for morning, minimum in spell.nights.items():
        night = dates == f"{year}-{morning}"
        days.loc[night, ["tmin", "tmax"]] = minimum, minimum + 12.5
        days.loc[night, ["wind_night", "cloud_night", "rain"]] = 0.4, 0.05, 0.0
