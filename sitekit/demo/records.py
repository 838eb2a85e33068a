"""The record of the farm station and the notes of bloom of Averlow Shelf."""

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.demo.climate import Climate, Spell, make_days

#: Two springs of which the valley still speaks, warm and then cold, and one late
#: night of frost.
AVERLOW = Climate(
    seed=51,
    mean=9.5,
    swing=8.6,
    coldest=7,
    spread=3.2,
    span=(5.0, 19.0),
    wind=1.6,
    spells={
        2003: Spell(
            "03-08", "04-16", 2.6, {"04-22": -2.6, "04-23": -4.0, "04-24": -3.1}
        ),
        2017: Spell("05-01", "05-05", 0.0, {"05-11": -1.4, "05-12": -0.6}),
        2024: Spell(
            "03-08", "04-12", 2.2, {"04-17": -5.1, "04-18": -3.9, "04-19": -2.8}
        ),
    },
)

#: Sum of warmth over 5 degC from 1 March at full bloom. [degC day] The trees of a
#: formula need one number each; common practice, no source.
BLOOM_SUMS = {
    "shelf pear": ("pear", 206.0),
    "shelf plum": ("plum", 186.0),
    "upper apple": ("apple", 262.0),
    "yard apple": ("apple", 270.0),
}
#: Share of that sum at green tip, white or pink bud, full bloom and petal fall.
STAGE_SHARES = {
    "green_tip": 0.33,
    "white_or_pink": 0.79,
    "full_bloom": 1.0,
    "petal_fall": 1.25,
}
NOTED_YEARS = range(2020, 2026)
BASE = 5.0


def make_station() -> pd.DataFrame:
    """Draw the thirty years of the farm station; see `make_days`."""
    return make_days(AVERLOW)


def write_station(path: Path, climate: Climate = AVERLOW) -> None:
    """Write a daily record as CSV.

    Parameters
    ----------
    path : Path
        File to write.
    climate : Climate
        What to draw from.
    """
    days = make_days(climate)
    days.to_csv(path, index=False, date_format="%Y-%m-%d", lineterminator="\n")


def make_bloom() -> pd.DataFrame:
    """Note the bloom of four known trees.

    Returns
    -------
    bloom : DataFrame
        ``tree``, ``fruit``, ``year`` and the date of each stage.
    """
    days = make_station()
    random = np.random.default_rng(41)
    rows = [
        _noted(days[days["date"].dt.year == year], tree, random)
        for year in NOTED_YEARS
        for tree in BLOOM_SUMS
    ]
    return pd.DataFrame(rows)


def write_bloom(path: Path) -> None:
    """Write when four known trees were in bloom, over six years.

    Parameters
    ----------
    path : Path
        File to write.
    """
    make_bloom().to_csv(path, index=False, lineterminator="\n")


def _noted(
    year: pd.DataFrame, tree: str, random: np.random.Generator
) -> dict[str, object]:
    """Note the stages of one tree in one year, a day off now and then."""
    fruit, full = BLOOM_SUMS[tree]
    dates = year["date"].to_numpy()[59:]
    sums = np.cumsum(degree_days(year["tmin"].to_numpy(), year["tmax"].to_numpy())[59:])
    row: dict[str, object] = {"tree": tree, "fruit": fruit}
    row["year"] = pd.Timestamp(dates[0]).year
    for stage, share in STAGE_SHARES.items():
        seen = int(np.searchsorted(sums, share * full)) + int(random.integers(-1, 2))
        row[stage] = str(dates[seen])[:10]
    return row


def degree_days(
    lowest: NDArray[np.float64], highest: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Warmth of days over 5 degC, from hourly steps of a sine.

    Parameters
    ----------
    lowest, highest : (day,) ndarray
        Minimum and maximum of each day. [degC]

    Returns
    -------
    warmth : (day,) ndarray
        [degC day]
    """
    phase = (np.arange(24) + 0.5) * 2 * np.pi / 24
    middle, half = (lowest + highest) / 2, (highest - lowest) / 2
    hours = middle[:, None] + half[:, None] * np.sin(phase)
    warmth: NDArray[np.float64] = np.maximum(hours - BASE, 0).mean(axis=1)
    return warmth
