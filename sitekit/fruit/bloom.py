"""Bloom by heat sum: when each stage comes, by year and place, tuned on own notes.

Sums begin on 1 March, south of the equator on 1 September: a sum from 1 January,
found where winters are mild, comes too late in a cold spring.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitekit.fruit.heat import BASE, degree_days

#: Spread of a date of bloom without own notes, and with enough of them. Common
#: practice, no source. [d]
UNTUNED, TUNED, ENOUGH_YEARS = 5.0, 3.0, 4
#: Own notes outside these shares of the usual sum contradict the record. Common
#: practice, no source.
LEAST, MOST = 0.75, 1.35


@dataclass(frozen=True)
class Tuning:
    """What the grower's own notes of bloom say of a fruit.

    Parameters
    ----------
    factor : float
        Factor on all stage sums; 1 without notes.
    years : int
        Years with a note that counts.
    error : float
        Standard deviation of a date of bloom. [d]
    contradiction : str
        Where notes and record do not fit together; empty where they do.
    """

    factor: float = 1.0
    years: int = 0
    error: float = UNTUNED
    contradiction: str = ""


def sum_heat(
    lowest: NDArray[np.float32],
    highest: NDArray[np.float32],
    first: NDArray[np.int64],
    warmer: float = 0.0,
) -> NDArray[np.float32]:
    """Sum the warmth of each year from the first day of its spring.

    Parameters
    ----------
    lowest, highest : (year, day) ndarray
        Minimum and maximum; days that are missing take the line between their
        neighbours. [degC]
    first : (year,) ndarray
        Column of 1 March, south of 1 September.
    warmer : float
        How much warmer the place is than the station. [degC]

    Returns
    -------
    sums : (year, day) ndarray of float32
        0 before the first day; of days past the end of the record the last.
        [degC day]
    """
    warmth = degree_days(lowest + warmer, highest + warmer, BASE)
    warmth = fill_days(warmth)
    before = np.arange(warmth.shape[1]) < first[:, None]
    warmth[before] = 0
    sums: NDArray[np.float32] = np.cumsum(warmth, axis=1).astype(np.float32)
    return sums


def fill_days(values: NDArray[np.floating]) -> NDArray[np.floating]:
    """Fill days that are missing by the line between their neighbours.

    Parameters
    ----------
    values : (year, day) ndarray
        Any daily value.

    Returns
    -------
    filled : (year, day) ndarray
        A year without any value is 0.
    """
    filled = values.copy()
    days = np.arange(values.shape[1])
    for year in np.flatnonzero(np.isnan(values).any(axis=1)):
        known = np.isfinite(values[year])
        if known.any():
            filled[year] = np.interp(days, days[known], values[year, known])
        else:
            filled[year] = 0
    return filled


def find_day(sums: NDArray[np.float32], goal: float) -> NDArray[np.float64]:
    """Find the day on which a heat sum is reached.

    Parameters
    ----------
    sums : (year, day) ndarray
        See `sum_heat`. [degC day]
    goal : float
        Sum of the stage. [degC day]

    Returns
    -------
    day : (year,) ndarray
        Column of the day; NaN in a year that never reaches it.

    Examples
    --------
    >>> find_day(np.float32([[0, 4, 9], [0, 1, 2]]), 5.0)
    array([ 2., nan])
    """
    reached = sums >= goal
    day = reached.argmax(axis=1).astype(np.float64)
    return np.where(reached.any(axis=1), day, np.nan)


def tune_bloom(noted: Sequence[tuple[int, float]], usual: float) -> Tuning:
    """Scale the stages of a fruit to the grower's own notes of full bloom.

    Parameters
    ----------
    noted : sequence of (int, float)
        Year of each note, and the heat sum of that day where the tree stands.
        [degC day]
    usual : float
        Sum of the usual group at full bloom. [degC day]

    Returns
    -------
    tuning : Tuning
        One factor for all stages, the median over the years. Notes that contradict
        the record tune nothing, and that is told.

    Examples
    --------
    >>> tune_bloom([(2020, 250.0), (2021, 280.0)], 263.0).factor.__round__(3)
    1.008
    """
    shares: dict[int, list[float]] = {}
    for year, heat in noted:
        shares.setdefault(year, []).append(heat / usual)
    if not shares:
        return Tuning()
    factor = float(np.median([np.mean(found) for found in shares.values()]))
    if not LEAST <= factor <= MOST:
        text = (
            f"the notes of bloom contradict the record: they ask for {factor:.0%} of "
            "the usual warmth; look for a wrong year, fruit or station"
        )
        return Tuning(contradiction=text)
    error = TUNED if len(shares) >= ENOUGH_YEARS else UNTUNED
    return Tuning(factor, len(shares), error)
