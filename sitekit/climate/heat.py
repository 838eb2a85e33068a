"""Heat sum and frost-free season of every place, looked up from a table."""

import numpy as np
from numpy.typing import NDArray

from sitekit.climate.frost import (
    date_exceeded,
    first_frost,
    frost_free_days,
    last_frost,
)
from sitekit.climate.fruiting import Shifts
from sitekit.climate.springs import Springs
from sitekit.climate.tables import (
    STILL_STEP,
    WARMTH_STEP,
    WINDY_STEP,
    Points,
    spread_over,
)
from sitekit.fruit.bloom import fill_days
from sitekit.fruit.heat import BASE, degree_days

#: Share of years in which the last frost that is told comes later.
ONE_IN_TEN = 0.1


def map_heat(springs: Springs, shifts: Shifts) -> NDArray[np.float32]:
    """Make the layer ``heat_sum``.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    shifts : Shifts
        Shifts of the cells.

    Returns
    -------
    heat : ndarray of float32
        Warmth over 5 degC from April to October (south October to April), the middle
        of the years. [degC day]
    """
    lowest, highest = fill_days(springs.lowest), fill_days(springs.highest)
    days = np.arange(lowest.shape[1])
    season = (days >= springs.season[:, :1]) & (days < springs.season[:, 1:])

    def compute(points: Points) -> NDArray[np.floating]:
        sums = [
            np.nansum(
                np.where(season, degree_days(lowest + w, highest + w, BASE), 0), axis=1
            )
            for w in points[0].astype(np.float64)
        ]
        middle: NDArray[np.floating] = np.median(sums, axis=1)[None]
        return middle

    return spread_over(compute, (shifts.warmth,), (WARMTH_STEP,))[0]


def map_frost(
    springs: Springs, shifts: Shifts
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Make the layers ``last_spring_frost`` and ``frost_free_days``.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    shifts : Shifts
        Shifts of the cells.

    Returns
    -------
    last : ndarray of float32
        Last frost that comes later in one year of ten. [day of year]
    free : ndarray of float32
        Frost-free days of the middle year. [d]
    """
    length = springs.lowest.shape[1]

    def compute(points: Points) -> NDArray[np.floating]:
        found = np.empty((2, points[0].size))
        for i, (spring, autumn, windy) in enumerate(zip(*points, strict=True)):
            last = last_frost(springs.nights(spring, windy), springs.split)
            first = first_frost(springs.nights(autumn, windy), springs.split)
            day = day_of_year(springs, last)
            found[0, i] = date_exceeded(day, ONE_IN_TEN)
            found[1, i] = np.median(frost_free_days(last, first, length))
        return found

    last, free = spread_over(
        compute,
        (shifts.bloom, shifts.autumn, shifts.windy),
        (STILL_STEP, STILL_STEP, WINDY_STEP),
    )
    return last, free


def day_of_year(springs: Springs, columns: NDArray[np.float64]) -> NDArray[np.float64]:
    """Turn columns into days of the year in which the spring lies.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    columns : (..., year) ndarray
        Columns; NaN where there is none.

    Returns
    -------
    days : (..., year) ndarray
        1 is 1 January.
    """
    first = springs.starts.astype("datetime64[Y]")
    since = (springs.starts - first.astype("datetime64[D]")).astype(np.int64)
    days: NDArray[np.float64] = columns + since + 1
    return days
