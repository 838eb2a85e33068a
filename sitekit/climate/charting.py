"""The years of a record as frames that are ready to be drawn."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.climate.crops import Kind
from sitekit.climate.describing import describe_years, tell_halves
from sitekit.climate.frost import MixedDates, fit_dates, last_frost, years_in_ten
from sitekit.climate.heat import day_of_year
from sitekit.climate.springs import Springs
from sitekit.fruit.crop import POOR

#: Days of spring in which nights are told by kind: April and May, south October and
#: November.
BLOOM_DAYS = 61
#: Warmest night that is told, and the coldest that has a step of its own. [degC]
WARMEST_TOLD, COLDEST_TOLD = 5, -10
#: Columns of a law.
LAW = ("day", "later", "low", "high")
#: Days that the law of the last frost is drawn beyond the dates of the record. [d]
BEYOND = 14


def tabulate_last_frosts(springs: Springs) -> pd.DataFrame:
    """List the last frost of each spring at the station, ranked.

    Parameters
    ----------
    springs : Springs
        Years of the record.

    Returns
    -------
    frosts : DataFrame
        ``year``; ``day`` of the year, NaN in a year without frost; ``later``: years
        in ten in which it comes later, at the plotting position m/(n + 1).

    References
    ----------
    Makkonen, L. 2006. Plotting positions in extreme value analysis. Journal of
    Applied Meteorology and Climatology 45, 334-340.
    """
    day = day_of_year(springs, last_frost(springs.lowest, springs.split))
    rank = pd.Series(day).rank(method="first", ascending=False, na_option="bottom")
    later = 10 * rank.to_numpy() / (springs.count + 1)
    later = np.where(np.isfinite(day), later, np.nan)
    return pd.DataFrame({"year": springs.years, "day": day, "later": later})


def tabulate_law(frosts: pd.DataFrame) -> pd.DataFrame:
    """Tell the fitted law of the last frost, with its interval.

    Parameters
    ----------
    frosts : DataFrame
        See `tabulate_last_frosts`.

    Returns
    -------
    law : DataFrame
        ``day``; ``later``, ``low``, ``high``: years in ten with a later frost, and the
        90 % interval that so many years leave. Empty where fewer than two years have
        frost, or all on one day.
    """
    known = frosts["day"].dropna().to_numpy()
    if np.unique(known).size < 2:
        return pd.DataFrame(np.empty((0, 4)), columns=list(LAW))
    law = fit_dates(frosts["day"].to_numpy())
    days = np.arange(known.min() - BEYOND, known.max() + BEYOND + 1)
    told = [_tell_share(law, float(day), len(frosts)) for day in days]
    return pd.DataFrame(told, columns=list(LAW))


def _tell_share(law: MixedDates, day: float, years: int) -> tuple[float, ...]:
    """Tell the years in ten with frost after a day, as if they had been counted."""
    later, low, high = years_in_ten(law.later_than(day) * years, years)
    # Far out, where next to no year is left, the interval lies beside the share.
    return day, later, min(low, later), max(high, later)


def tabulate_nights(springs: Springs) -> pd.DataFrame:
    """Count the nights of bloom time by kind and by degree.

    Parameters
    ----------
    springs : Springs
        Years of the record.

    Returns
    -------
    nights : DataFrame
        ``degc``: lower edge of a degree; ``clear`` and ``other``: nights a spring,
        April and May (south October and November), each night in its weight as a
        clear still one.
    """
    days = np.arange(springs.lowest.shape[1])
    first = springs.season[:, :1]
    inside = (days >= first) & (days < first + BLOOM_DAYS)
    inside &= np.isfinite(springs.lowest)
    degree = np.floor(springs.lowest[inside]).clip(COLDEST_TOLD).astype(np.int64)
    weight = springs.clear[inside].astype(np.float64)
    told = degree < WARMEST_TOLD
    steps = np.arange(min(degree[told].min(initial=-1), -1), WARMEST_TOLD)
    place = degree[told] - steps[0]

    def count(shares: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.bincount(place, shares[told], steps.size) / springs.count

    return pd.DataFrame(
        {"degc": steps, "clear": count(weight), "other": count(1 - weight)}
    )


def tabulate_bloom(
    springs: Springs, kind: Kind, shift: tuple[float, float, float]
) -> pd.DataFrame:
    """Tell bloom and frost of every year at one place, in days of the year.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    kind : Kind
        The group.
    shift : tuple of float
        See `describe_years`.

    Returns
    -------
    years : DataFrame
        ``year``; ``crop``: share of a full crop; ``poor``: whether it is below half;
        ``opens``, ``full_bloom``, ``falls``, ``last_frost``: days of the year in which
        the spring lies, NaN where they do not come.
    """
    told = describe_years(springs, kind, shift)
    begin = springs.starts.astype("datetime64[Y]").astype("datetime64[D]")
    made = told[["year", "crop"]].assign(poor=told["crop"] < POOR)
    for name in ("opens", "full_bloom", "falls", "last_frost"):
        since = (told[name].to_numpy() - begin) / np.timedelta64(1, "D")
        made[name] = since + 1
    return made


def tell_place(bloom: pd.DataFrame) -> dict[str, object]:
    """Sum up the years at one place.

    Parameters
    ----------
    bloom : DataFrame
        See `tabulate_bloom`.

    Returns
    -------
    told : dict
        ``full_bloom``, ``last_frost``: the middle of the years in which they come, day
        of the year; ``poor``, ``years``: years with a poor crop, and in all;
        ``halves``: one sentence.
    """
    return {
        "full_bloom": float(bloom["full_bloom"].median()),
        "last_frost": float(bloom["last_frost"].median()),
        "poor": int(bloom["poor"].sum()),
        "years": len(bloom),
        "halves": tell_halves(bloom),
    }
