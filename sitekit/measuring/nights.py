"""Night minima of loggers, clear still nights, and offsets to the reference."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sitekit.layers import season
from sitekit.measuring.checks import by_sun
from sitekit.site import Remark

#: The night by the sun: from 18 h to 9 h. [h]
EVENING, MORNING = 18, 9
#: Hours by the sun in which the day before is looked at. [h]
DAY_FROM, DAY_TO = 10, 18
#: Share of a night's readings that must be there.
MOST = 0.8
#: Clear nights: share of nights, and least range from day to night. [degC]
#: Common practice, no source; a mountain basin had 10 to 18 degC.
CLEAREST, LEAST_RANGE = 0.4, 8.0
#: Wind that mixes a strong inversion away (Shaw 2001), and cloud. [m s⁻¹], [1]
STILL_WIND, CLEAR_CLOUD = 2.3, 0.3
#: Nights below which nothing is said.
LEAST_NIGHTS = 8
#: Nights that one logger must share with the reference; fewer say nothing of their
#: own spread.
LEAST_SHARED = 4
MEDIAN = "the median of the loggers"


@dataclass(frozen=True)
class Offsets:
    """What loggers read on clear still nights, against the reference.

    Parameters
    ----------
    table : DataFrame
        By logger: ``nights``, ``offset`` (median), ``low`` and ``high`` (20 and
        80 % of nights), ``error`` (standard error). [degC]
    reference : str
        Name of the logger, or that it is the median of the loggers.
    nights : DatetimeIndex
        Clear still nights, by the date of the morning.
    strength : float
        How strongly those nights cooled, 1 for 9 h clear and calm.
    chosen_by : str
        How clear still nights were told, in words.
    """

    table: pd.DataFrame
    reference: str
    nights: pd.DatetimeIndex
    strength: float
    chosen_by: str

    @property
    def enough(self) -> bool:
        """Whether there are nights enough to say anything."""
        return len(self.nights) >= LEAST_NIGHTS and len(self.table) >= 2


def find_minima(
    temperatures: Mapping[str, pd.Series], longitude: float
) -> tuple[pd.DataFrame, pd.Series]:
    """Find the minimum of each night, and the range from the day before.

    Parameters
    ----------
    temperatures : mapping of str to Series
        Temperature by time in UTC, by logger. [degC]
    longitude : float
        For the time by the sun. [degree]

    Returns
    -------
    minima : DataFrame
        By night (date of the morning) and logger; NaN where readings lack. [degC]
    ranges : Series
        Highest reading of the day before less the minimum, median of the
        loggers. [degC]
    """
    lows, highs = {}, {}
    for name, series in temperatures.items():
        local = series.copy()
        times = by_sun(series, longitude).tz_localize(None)
        local.index = times
        lows[name] = _night_minimum(local, times)
        by_day = (times.hour >= DAY_FROM) & (times.hour < DAY_TO)
        morning_after = times[by_day].floor("D") + pd.Timedelta(days=1)
        highs[name] = local[by_day].groupby(morning_after).max()
    minima = pd.DataFrame(lows).sort_index()
    ranges = (pd.DataFrame(highs).reindex(minima.index) - minima).median(axis=1)
    return minima, ranges


def _night_minimum(local: pd.Series, times: pd.DatetimeIndex) -> pd.Series:
    """Find the minimum of each night of one logger, where it read through it."""
    by_night = (times.hour >= EVENING) | (times.hour < MORNING)
    night = local[by_night]
    if len(night) < 2:
        return pd.Series(dtype=float, index=pd.DatetimeIndex([]))
    step = float(np.median(np.diff(times.as_unit("s").asi8))) / 3600
    wanted = MOST * (24 - EVENING + MORNING) / max(step, 1 / 60)
    mornings = (times[by_night] + pd.Timedelta(hours=24 - EVENING)).floor("D")
    grouped = night.groupby(mornings)
    minima: pd.Series = grouped.min()[grouped.count() >= wanted].astype(float)
    return minima


def choose_nights(
    ranges: pd.Series, days: pd.DataFrame | None = None
) -> tuple[pd.DatetimeIndex, str]:
    """Choose clear still nights: by cloud and wind where they are known.

    Parameters
    ----------
    ranges : Series
        Range from day to night, by night. [degC]
    days : DataFrame, optional
        Record with ``date``, and ``wind`` and ``cloud`` of the night.

    Returns
    -------
    nights : DatetimeIndex
        Clear still nights.
    chosen_by : str
        How, in words.
    """
    known = ranges.dropna()
    weather = _weather(known, days)
    how = []
    kept = pd.Series(True, index=known.index)
    if weather["cloud"].notna().any():
        kept &= weather["cloud"] <= CLEAR_CLOUD
        how.append(f"cloud up to {100 * CLEAR_CLOUD:.0f} %")
    else:
        limit = known.quantile(1 - CLEAREST) if len(known) else LEAST_RANGE
        kept &= (known >= limit) & (known >= LEAST_RANGE)
        how.append(
            f"the {100 * CLEAREST:.0f} % of nights with the widest range of the day"
        )
    if weather["wind"].notna().any():
        kept &= weather["wind"] < STILL_WIND
        how.append(f"wind under {STILL_WIND} m/s")
    return pd.DatetimeIndex(known.index[kept]), " and ".join(how)


def _weather(ranges: pd.Series, days: pd.DataFrame | None) -> pd.DataFrame:
    """Look up wind and cloud of each night; NaN where not known."""
    if days is None:
        return pd.DataFrame({"wind": np.nan, "cloud": np.nan}, index=ranges.index)
    by_day = days.set_index(pd.DatetimeIndex(days["date"]))
    return by_day.reindex(index=ranges.index, columns=["wind", "cloud"]).astype(float)


def find_offsets(
    minima: pd.DataFrame,
    ranges: pd.Series,
    latitude: float,
    *,
    reference: str = "",
    days: pd.DataFrame | None = None,
) -> Offsets:
    """Find how much colder or warmer each logger was than the reference.

    Parameters
    ----------
    minima : DataFrame
        By night and logger. [degC]
    ranges : Series
        Range from day to night. [degC]
    latitude : float
        For the length of nights. [degree]
    reference : str
        Logger that offsets are told against; the median of the loggers that read
        that night where it is empty.
    days : DataFrame, optional
        Record with wind and cloud.

    Returns
    -------
    offsets : Offsets
        One row a logger; loggers that share too few nights are left out.
    """
    nights, how = choose_nights(ranges, days)
    lows = minima.reindex(nights)
    zero = lows[reference] if reference in lows else lows.median(axis=1)
    shared = lows.sub(zero, axis=0)
    shared = shared.loc[(shared.notna().sum(axis=1) >= 2)]
    counts = shared.notna().sum()
    kept = shared[counts.index[counts >= LEAST_SHARED]]
    weather = _weather(pd.Series(0.0, index=shared.index), days)
    table = pd.DataFrame(
        {
            "nights": kept.notna().sum(),
            "offset": kept.median(),
            "low": kept.quantile(0.2),
            "high": kept.quantile(0.8),
            "error": _error_of_median(kept),
        }
    )
    return Offsets(
        table=table,
        reference=reference if reference in lows else MEDIAN,
        nights=pd.DatetimeIndex(shared.index),
        strength=_strength(pd.DatetimeIndex(shared.index), weather, latitude),
        chosen_by=how,
    )


def tell_apart(minima: pd.DataFrame, offsets: Offsets) -> list[Remark]:
    """Say which loggers read at other times than the rest, and are left out.

    Parameters
    ----------
    minima : DataFrame
        By night and logger. [degC]
    offsets : Offsets
        What was found from them.

    Returns
    -------
    remarks : list of Remark
        One for each logger that has no offset though there were nights for one.
    """
    read = minima.notna()
    remarks = []
    for name in minima.columns.difference([*offsets.table.index, offsets.reference]):
        others = read.drop(columns=name)
        rest = others.get(offsets.reference, others.any(axis=1))
        with_whom = "the reference" if offsets.reference in others else "another logger"
        if not (read[name] & rest).any():
            text = f"no night in common with {with_whom}: see its dates and its year"
        elif offsets.enough:
            text = f"fewer than {LEAST_SHARED} clear still nights with {with_whom}"
        else:
            continue
        remarks.append(Remark("doubtful", str(name), f"{text}; it is left out"))
    return remarks


def _error_of_median(nights: pd.DataFrame) -> pd.Series:
    """Tell the standard error of the median of each column.

    The median of n values is 1.25 times as unsure as their mean; their spread is
    known from n - 1 of them, so that the mean follows the law of Student, whose
    standard deviation is that of the normal law times sqrt((n - 1) / (n - 3)).
    """
    count = nights.notna().sum()
    error: pd.Series = 1.25 * nights.std(ddof=1) / np.sqrt(count)
    return error * np.sqrt((count - 1) / (count - 3))


def _strength(
    nights: pd.DatetimeIndex, weather: pd.DataFrame, latitude: float
) -> float:
    """Mean strength of nights: their length, and cloud and wind where known."""
    if not len(nights):
        return 1.0
    lengths = [season.night_hours(latitude, float(n.day_of_year)) for n in nights]
    by_length = np.array([season.night_strength(hours) for hours in lengths])
    cloud = weather["cloud"].fillna(0).to_numpy()
    wind = weather["wind"].fillna(0).to_numpy()
    # FAO 10, ch. 5 (cloud and length); Shaw 2001 (wind that mixes an inversion).
    dulled = (1 - 0.83 * cloud**2) / (1 + (wind / 2) ** 4)
    return float((by_length * dulled).mean())
