"""A record cut into seasons: one row a year, from one middle of winter to the next."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.climate.nights import clear_weight
from sitekit.site import Record

#: Columns of a row; the last is missing but in leap years.
DAYS = 366
#: Missing days up to which a season counts. Moller & Gillies 2007, Utah climate
#: center, freeze tables.
MOST_MISSING = 10
#: Months of the season that counts: March to October, south September to April.
SEASON = (3, 11)


@dataclass(frozen=True)
class Seasons:
    """A record by season.

    Parameters
    ----------
    years : (year,) ndarray of int
        Calendar year in which the spring lies.
    starts : (year,) ndarray of datetime64[D]
        First day of each row: 1 January; south of the equator 1 July.
    tmin, tmax : (year, 366) ndarray
        Minimum and maximum; NaN where missing or no such day. [degC]
    clear : (year, 366) ndarray
        Weight of the night before as a clear still one, 0 to 1.
    complete : (year,) ndarray of bool
        Seasons of which at most ten days are missing.
    south : bool
        Whether the rows begin in July.
    """

    years: NDArray[np.int64]
    starts: NDArray[np.datetime64]
    tmin: NDArray[np.float64]
    tmax: NDArray[np.float64]
    clear: NDArray[np.float64]
    complete: NDArray[np.bool_]
    south: bool

    def day_of(self, month: int, day: int) -> NDArray[np.int64]:
        """Find the column of a date in each row.

        Parameters
        ----------
        month, day : int
            The date; south of the equator January to June are of the next year.

        Returns
        -------
        column : (year,) ndarray of int
        """
        year = self.starts.astype("datetime64[Y]")
        if self.south and month < 7:
            year = year + np.timedelta64(1, "Y")
        months = year.astype("datetime64[M]") + np.timedelta64(month - 1, "M")
        dates = months.astype("datetime64[D]") + np.timedelta64(day - 1, "D")
        first = self.starts.astype("datetime64[D]").astype(np.int64)
        columns: NDArray[np.int64] = dates.astype(np.int64) - first
        return columns


def make_seasons(record: Record) -> Seasons:
    """Cut a record into seasons.

    Parameters
    ----------
    record : Record
        Days in order, none twice.

    Returns
    -------
    seasons : Seasons
        Every season that the record touches.
    """
    days, south = record.days, record.latitude < 0
    dates = pd.DatetimeIndex(days["date"])
    shifted = dates - pd.DateOffset(months=6) if south else dates
    years = np.unique(shifted.year.to_numpy()).astype(np.int64)
    first = "07-01" if south else "01-01"
    starts = np.array([f"{y:04d}-{first}" for y in years], dtype="datetime64[D]")
    day = dates.to_numpy().astype("datetime64[D]")
    row = np.searchsorted(starts, day, side="right") - 1
    column = (day - starts[row]).astype(np.int64)
    clear = clear_weight(days)

    def lay(values: NDArray[np.float64]) -> NDArray[np.float64]:
        table = np.full((years.size, DAYS), np.nan)
        table[row, column] = values
        return table

    tmin, tmax = (lay(days[name].to_numpy(np.float64)) for name in ("tmin", "tmax"))
    seasons = Seasons(
        years, starts, tmin, tmax, lay(clear), np.ones(years.size, np.bool_), south
    )
    return replace(seasons, complete=_complete(seasons))


def _complete(seasons: Seasons) -> NDArray[np.bool_]:
    """Tell which seasons miss at most ten of the days that count."""
    begin, end = SEASON
    if seasons.south:
        begin, end = begin + 6, end - 6
    first, last = seasons.day_of(begin, 1), seasons.day_of(end, 1)
    days = np.arange(DAYS)
    counts = (days >= first[:, None]) & (days < last[:, None])
    missing = np.isnan(seasons.tmin) | np.isnan(seasons.tmax)
    complete: NDArray[np.bool_] = (missing & counts).sum(axis=1) <= MOST_MISSING
    return complete
