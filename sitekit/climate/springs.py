"""The years of a record as fruit meets them: spring, season, autumn and winter."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.climate.seasons import MOST_MISSING, Seasons
from sitekit.fruit import Varieties
from sitekit.fruit.bloom import Tuning, fill_days, sum_heat, tune_bloom
from sitekit.fruit.chill import hours_of_days

#: Latest years that count: a normal has thirty (WMO-No. 1203).
YEARS = 30
#: Days of a winter before and after the turn of a row: October to May, south April
#: to November.
BEFORE_TURN, AFTER_TURN = {False: 92, True: 91}, {False: 151, True: 153}


@dataclass(frozen=True)
class Springs:
    """The last complete years of a record, a row each.

    Parameters
    ----------
    years : (year,) ndarray of int
        Year in which the spring lies.
    lowest, highest : (year, day) ndarray of float32
        Minimum and maximum at the station; NaN where missing. [degC]
    clear : (year, day) ndarray of float32
        Weight of the night as a clear still one, 0 to 1.
    starts : (year,) ndarray of datetime64[D]
        First day of each row.
    first, split : (year,) ndarray of int
        Columns of 1 March and 24 July; south of 1 September and 24 January.
    season : (year, 2) ndarray of int
        Columns of 1 April and after 31 October; south six months later.
    soft : (year, day) ndarray of bool
        Days on which wood is not hardened: October to the middle of November, and
        from the middle of March to that of April; south six months later. Common
        practice, no source.
    winters : (winter, hour) ndarray
        Hours of the winters that lie whole within the record, for chill. [degC]
    """

    years: NDArray[np.int64]
    lowest: NDArray[np.float32]
    highest: NDArray[np.float32]
    clear: NDArray[np.float32]
    starts: NDArray[np.datetime64]
    first: NDArray[np.int64]
    split: NDArray[np.int64]
    season: NDArray[np.int64]
    soft: NDArray[np.bool_]
    winters: NDArray[np.floating]

    @property
    def count(self) -> int:
        """Number of years."""
        return len(self.years)

    @property
    def means(self) -> NDArray[np.float32]:
        """Daily mean at the station. [degC]."""
        means: NDArray[np.float32] = (self.lowest + self.highest) / np.float32(2)
        return means

    def nights(self, clear: float, windy: float) -> NDArray[np.float32]:
        """Night minima of a place.

        Parameters
        ----------
        clear, windy : float
            How much warmer the place is than the station on clear still nights, and
            on the others. [degC]

        Returns
        -------
        nights : (year, day) ndarray of float32
            [degC]
        """
        windy_part = np.float32(1) - self.clear
        shift = self.clear * np.float32(clear) + windy_part * np.float32(windy)
        nights: NDArray[np.float32] = self.lowest + shift
        return nights


def read_springs(seasons: Seasons) -> Springs:
    """Take the last complete years of a record.

    Parameters
    ----------
    seasons : Seasons
        The record by season.

    Returns
    -------
    springs : Springs
        At most 30 years; none where no year is complete.
    """
    kept = np.flatnonzero(seasons.complete)[-YEARS:]

    def column(month: int, day: int) -> NDArray[np.int64]:
        """Find the column of a day; months are those of the north."""
        month = (month + 5) % 12 + 1 if seasons.south else month
        found: NDArray[np.int64] = np.asarray(seasons.day_of(month, day))[kept]
        return found

    days = np.arange(seasons.tmin.shape[1])
    spans = ((column(10, 1), column(11, 15)), (column(3, 15), column(4, 15)))
    soft = [(days >= a[:, None]) & (days < b[:, None]) for a, b in spans]
    return Springs(
        years=seasons.years[kept],
        lowest=seasons.tmin[kept].astype(np.float32),
        highest=seasons.tmax[kept].astype(np.float32),
        clear=np.nan_to_num(seasons.clear[kept]).astype(np.float32),
        starts=seasons.starts[kept],
        first=column(3, 1),
        split=column(7, 24),
        season=np.stack([column(4, 1), column(11, 1)], axis=1),
        soft=soft[0] | soft[1],
        winters=_winters(seasons),
    )


def tune_fruit(
    springs: Springs,
    varieties: Varieties,
    notes: pd.DataFrame,
    warmer: Mapping[str, float] | None = None,
) -> Tuning:
    """Tune the bloom of a fruit on the grower's own notes.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    varieties : Varieties
        Groups of the fruit; notes are taken as of its usual group.
    notes : DataFrame
        Full bloom of this fruit: ``year``, ``day`` (datetime64), ``place``.
    warmer : mapping of str to float, optional
        How much warmer each noted place is than the station; 0 where not named.
        [degC]

    Returns
    -------
    tuning : Tuning
        One factor for all groups.
    """
    usual, warmer = varieties.group().bloom_sum, warmer or {}
    shifts = notes["place"].map(lambda place: warmer.get(place, 0.0)).to_numpy(float)
    sums = {s: sum_of(springs, s) for s in {0.0, *shifts.tolist()}}
    row = {int(year): place for place, year in enumerate(springs.years)}
    noted: list[tuple[int, float]] = []
    for (_, note), shift in zip(notes.iterrows(), shifts, strict=True):
        place = row.get(int(note["year"]))
        if place is None:
            continue
        start = springs.starts[place].astype("datetime64[D]")
        column = int((np.datetime64(note["day"], "D") - start).astype(int))
        if 0 < column < springs.lowest.shape[1]:
            # The stage comes within its day: half of the day's warmth counts.
            heat = sums[shift][place, column - 1 : column + 1].mean()
            noted.append((int(note["year"]), float(heat)))
    return tune_bloom(noted, usual)


def sum_of(springs: Springs, warmer: float) -> NDArray[np.float32]:
    """Sum the heat of each year at a place. [degC day].

    Parameters
    ----------
    springs : Springs
        Years of the record.
    warmer : float
        How much warmer the place is than the station. [degC]

    Returns
    -------
    sums : (year, day) ndarray of float32
        From the first day of spring.
    """
    return sum_heat(springs.lowest, springs.highest, springs.first, warmer)


def _winters(seasons: Seasons) -> NDArray[np.floating]:
    """Cut hours of the winters of which at most ten days are missing."""
    rows = np.flatnonzero(np.diff(seasons.years) == 1)
    before, after = BEFORE_TURN[seasons.south], AFTER_TURN[seasons.south]
    start = np.asarray(seasons.day_of(4 if seasons.south else 10, 1))
    parts = []
    for days in (seasons.tmin, seasons.tmax):
        tail = [days[r, start[r] : start[r] + before] for r in rows]
        head = [days[r + 1, :after] for r in rows]
        joined = [np.concatenate(pair) for pair in zip(tail, head, strict=True)]
        parts.append(np.reshape(joined, (len(rows), before + after)))
    missing = np.isnan(parts[0] + parts[1]).sum(axis=1)
    lowest, highest = (fill_days(p[missing <= MOST_MISSING][-YEARS:]) for p in parts)
    return hours_of_days(lowest, highest)
