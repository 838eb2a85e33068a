"""A record by season: a row a year, from midwinter to midwinter."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Seasons:
    """Days of a record, a row a year.

    Parameters
    ----------
    years : (year,) ndarray of int
        Year in which each row begins.
    starts : (year,) ndarray of datetime64[D]
        First day of each row: 1 January, south of the equator 1 July.
    tmin, tmax : (year, 366) ndarray of float32
        Minimum and maximum; NaN where missing. [degC]
    clear : (year, 366) ndarray of float32
        Weight of the night as a clear still one, 0 to 1.
    complete : (year,) ndarray of bool
        Whether the row counts: no more than 10 days are missing.
    south : bool
        Whether the place lies south of the equator.
    """

    years: NDArray[np.int64]
    starts: NDArray[np.datetime64]
    tmin: NDArray[np.float32]
    tmax: NDArray[np.float32]
    clear: NDArray[np.float32]
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
