"""Whether fruit ripens: heat of the season, and days from bloom to its end."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sitekit.fruit.groups import Group

#: A night this cold ends the season. [degC]
SEASON_END = -2.0
#: So does a mean of this many days below a temperature: nothing ripens any more.
#: Common practice, no source. [d], [degC]
MEAN_DAYS, MEAN_END = 10, 7.0
#: Spread of the days from bloom to picking. Common practice, no source. [d]
DAYS_ERROR = 6.0
#: A cool fortnight after bloom delays picking by this much for each degree that its
#: mean minimum lies under a limit (Virginia Tech fruit blog 2013: a day for 1 F under
#: 50 F), up to a cap (common practice, no source). [d degC⁻¹], [degC], [d], [d]
DELAY, COOL, AFTER_BLOOM, LONGEST_DELAY = 1.8, 10.0, 15, 15.0
#: Spread of the warmth from bloom to picking (Lysiak 2022). [degC day]
PICK_ERROR = 20.0


@dataclass(frozen=True)
class Ripening:
    """How often a group ripens, and which of the two runs out.

    Parameters
    ----------
    ripe, warm, long : float or ndarray
        Years in ten in which it ripens, in which the warmth suffices, and in which
        the days suffice.
    spare : float or ndarray
        Days between picking and the end of the season in a middling year; below 0
        where it does not ripen. [d]
    """

    ripe: NDArray[np.float64]
    warm: NDArray[np.float64]
    long: NDArray[np.float64]
    spare: NDArray[np.float64]


def end_of_season(
    nights: NDArray[np.floating], means: NDArray[np.floating], split: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Find the day on which fruit stops ripening.

    Parameters
    ----------
    nights : (year, day) ndarray
        Night minimum at the place. [degC]
    means : (year, day) ndarray
        Daily mean at the place. [degC]
    split : (year,) ndarray
        Column of 24 July, south of 24 January: cold before it is of spring.

    Returns
    -------
    end : (year,) ndarray
        First night of -2 degC, or first day whose mean of ten days is below 7 degC;
        the last column where neither comes.
    """
    days = np.arange(nights.shape[1])
    autumn = days >= split[:, None]
    filled = np.nan_to_num(means, nan=99.0)
    total = np.cumsum(filled, axis=1)
    trailing = total.copy()
    trailing[:, MEAN_DAYS:] -= total[:, :-MEAN_DAYS]
    trailing[:, :MEAN_DAYS] = np.inf
    over = autumn & ((nights <= SEASON_END) | (trailing / MEAN_DAYS < MEAN_END))
    end = np.where(over.any(axis=1), over.argmax(axis=1), days[-1])
    last: NDArray[np.float64] = end.astype(np.float64)
    return last


def bloom_delay(
    nights: NDArray[np.floating], bloom: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Delay of picking by a cool fortnight after bloom.

    Parameters
    ----------
    nights : (year, day) ndarray
        Night minimum at the place. [degC]
    bloom : (year,) ndarray
        Column of full bloom; NaN where it never comes.

    Returns
    -------
    delay : (year,) ndarray
        0 to 15. [d]
    """
    rows = np.arange(len(nights))[:, None]
    start = np.nan_to_num(bloom).astype(np.int64)[:, None]
    columns = np.minimum(start + 1 + np.arange(AFTER_BLOOM), nights.shape[1] - 1)
    after = nights[rows, columns]
    known = np.isfinite(after)
    mean = np.where(known, after, 0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    delay: NDArray[np.float64] = np.clip(DELAY * (COOL - mean), 0, LONGEST_DELAY)
    return delay


def find_ripening(
    group: Group,
    bloom: NDArray[np.float64],
    delay: NDArray[np.float64],
    end: NDArray[np.float64],
    season_sum: NDArray[np.floating],
    since_start: NDArray[np.floating],
) -> Ripening:
    """Tell in how many years of ten a group ripens.

    Parameters
    ----------
    group : Group
        What it needs.
    bloom, delay, end : (year,) ndarray
        Column of full bloom, days of delay, column of the end of the season.
    season_sum : (year,) ndarray
        Warmth over 5 degC from April to October. [degC day]
    since_start : (year, day) ndarray
        Running sum of daily means over 0 degC. [degC day]

    Returns
    -------
    ripening : Ripening
        Warmth and days are asked apart: a place may lack either.
    """
    blooms = np.isfinite(bloom)
    due = np.where(blooms, bloom, np.inf) + group.usual_days + delay
    long = ndtr((end - due) / DAYS_ERROR)
    warm = (season_sum >= group.season_sum) & blooms
    if group.pick_sum:
        rows = np.arange(len(bloom))
        start = np.nan_to_num(bloom).astype(np.int64)
        gained = since_start[rows, end.astype(np.int64)] - since_start[rows, start]
        reached = ndtr((gained - group.pick_sum) / PICK_ERROR)
        warmth = warm * reached
    else:
        warmth = warm.astype(np.float64)
    return Ripening(
        ripe=np.asarray(10 * np.mean(warmth * long)),
        warm=np.asarray(10 * np.mean(warmth)),
        long=np.asarray(10 * np.mean(long)),
        spare=np.asarray(np.median(np.clip(end - due, -99.0, 366.0))),
    )
