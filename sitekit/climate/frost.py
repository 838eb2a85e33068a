"""Last and first frost: dates of each year, and how often they come later."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, ndtr, ndtri

#: Share of the interval that is told: 90 %.
INTERVAL = 0.9


def last_frost(
    lowest: NDArray[np.floating], split: NDArray[np.int64], limit: float = 0.0
) -> NDArray[np.float64]:
    """Find the last day of frost before the middle of summer.

    Parameters
    ----------
    lowest : (..., year, day) ndarray
        Night minima. [degC]
    split : (year,) ndarray of int
        Column of 24 July (south 24 January), the first day that is autumn.
    limit : float
        At or below it is frost. [degC]

    Returns
    -------
    column : (..., year) ndarray
        Column of the day; NaN in years without frost.
    """
    days = np.arange(lowest.shape[-1])
    frost = (lowest <= limit) & (days < split[:, None])
    last = lowest.shape[-1] - 1 - np.argmax(frost[..., ::-1], axis=-1)
    return np.where(frost.any(axis=-1), last, np.nan)


def first_frost(
    lowest: NDArray[np.floating], split: NDArray[np.int64], limit: float = 0.0
) -> NDArray[np.float64]:
    """Find the first day of frost after the middle of summer.

    Parameters
    ----------
    lowest : (..., year, day) ndarray
        Night minima. [degC]
    split : (year,) ndarray of int
        Column of 24 July (south 24 January), the first day that is autumn.
    limit : float
        At or below it is frost. [degC]

    Returns
    -------
    column : (..., year) ndarray
        Column of the day; NaN in years without frost.
    """
    days = np.arange(lowest.shape[-1])
    frost = (lowest <= limit) & (days >= split[:, None])
    return np.where(frost.any(axis=-1), np.argmax(frost, axis=-1), np.nan)


def date_exceeded(dates: NDArray[np.floating], share: float) -> NDArray[np.float64]:
    """Find the date that is exceeded in a share of years, from the dates alone.

    Parameters
    ----------
    dates : (..., year) ndarray
        A date for each year; NaN (no frost) counts as earlier than all.
    share : float
        Share of years in which it comes later, 0 to 1.

    Returns
    -------
    date : (...) ndarray
        Between the ranked dates at the plotting position m/(n + 1); NaN where it
        falls among the years without frost.

    References
    ----------
    Makkonen, L. 2006. Plotting positions in extreme value analysis. Journal of
    Applied Meteorology and Climatology 45, 334-340.

    Examples
    --------
    >>> import numpy as np
    >>> sample = np.array([128, 141, 135, 150, 132, 146, 138, 144, 129, 137.0])
    >>> round(float(date_exceeded(sample, 0.1)), 2)
    149.6
    """
    years = dates.shape[-1]
    ranked = np.sort(np.where(np.isnan(dates), -np.inf, dates), axis=-1)
    place = np.clip((1 - share) * (years + 1) - 1, 0, years - 1)
    low = int(np.floor(place))
    high = min(low + 1, years - 1)
    part = place - low
    below, above = ranked[..., low], ranked[..., high]
    with np.errstate(invalid="ignore"):
        between = below + part * (above - below)
    found = np.where(part == 0, below, between)
    return np.where(np.isfinite(found), found, np.nan)


def date_interval(dates: NDArray[np.floating], share: float) -> tuple[float, float]:
    """Tell how sure a date is that is exceeded in a share of years.

    Parameters
    ----------
    dates : (year,) ndarray
        A date for each year; NaN (no frost) counts as earlier than all.
    share : float
        Share of years in which it comes later, 0 to 1.

    Returns
    -------
    low, high : float
        Ends of the 90 % interval, by the ranks between which the true date lies
        whatever the law of the dates; NaN among the years without frost.

    References
    ----------
    Conover, W. J. 1999. Practical Nonparametric Statistics, 3rd edition, section
    3.2: confidence interval for a quantile.
    """
    from scipy.stats import binom  # noqa: PLC0415 - slow to import, needs a record

    ranked = np.sort(np.where(np.isnan(dates), -np.inf, dates))
    law = binom(dates.size, 1 - share)
    tail = (1 - INTERVAL) / 2
    ranks = np.array([law.ppf(tail), law.ppf(1 - tail) + 1])
    ends = ranked[np.clip(ranks, 1, dates.size).astype(int) - 1]
    low, high = np.where(np.isfinite(ends), ends, np.nan)
    return float(low), float(high)


@dataclass(frozen=True)
class MixedDates:
    """Dates of frost as a normal law for the years that have any.

    Parameters
    ----------
    share : float
        Share of years with frost.
    mean, sd : float
        Of the dates in those years.

    References
    ----------
    Thom, H. C. S. & Shaw, R. H. 1958. Climatological analysis of freeze data for
    Iowa. Monthly Weather Review 86, 251-257.
    """

    share: float
    mean: float
    sd: float

    def later_than(self, date: float) -> float:
        """Tell the share of years in which frost comes later than a date."""
        return float(self.share * (1 - ndtr((date - self.mean) / self.sd)))

    def exceeded(self, share: float) -> float:
        """Find the date that is exceeded in a share of years; NaN where none is."""
        if share >= self.share:
            return float("nan")
        return float(self.mean + self.sd * ndtri(1 - share / self.share))


def fit_dates(dates: NDArray[np.floating]) -> MixedDates:
    """Fit the mixed law to a date for each year.

    Parameters
    ----------
    dates : (year,) ndarray
        Dates; NaN in years without frost. Two years with frost at least.

    Returns
    -------
    law : MixedDates

    Raises
    ------
    ValueError
        For fewer than two years with frost.
    """
    known = dates[np.isfinite(dates)]
    if known.size < 2:
        message = "a law of dates needs two years with frost"
        raise ValueError(message)
    return MixedDates(known.size / dates.size, known.mean(), known.std(ddof=1))


def years_in_ten(count: float, years: int) -> tuple[float, float, float]:
    """Tell a count of years as years in ten, with a 90 % interval.

    Parameters
    ----------
    count : float
        Years in which it happened.
    years : int
        Years in all.

    Returns
    -------
    told, low, high : float
        Years in ten. The interval is that of Jeffreys; its end is 0 where it never
        happened, and 10 where it always did.

    References
    ----------
    Brown, L. D., Cai, T. T. & DasGupta, A. 2001. Interval estimation for a binomial
    proportion. Statistical Science 16, 101-133.

    Examples
    --------
    >>> [round(v, 1) for v in years_in_ten(3, 10)]
    [3.0, 1.2, 5.6]
    """
    tail = (1 - INTERVAL) / 2
    law = (count + 0.5, years - count + 0.5)
    low = 0.0 if count == 0 else 10 * float(betaincinv(*law, tail))
    high = 10.0 if count == years else 10 * float(betaincinv(*law, 1 - tail))
    return 10 * count / years, low, high


def frost_free_days(
    last: NDArray[np.floating], first: NDArray[np.floating], length: int
) -> NDArray[np.float64]:
    """Count the days between the last frost of spring and the first of autumn.

    Parameters
    ----------
    last, first : (..., year) ndarray
        Columns; NaN in years without frost.
    length : int
        Days of a row.

    Returns
    -------
    days : (..., year) ndarray
        Without frost in spring counted from the begin of the row, without frost in
        autumn to its end.
    """
    begin = np.where(np.isnan(last), -1, last)
    end = np.where(np.isnan(first), length, first)
    return end - begin - 1
