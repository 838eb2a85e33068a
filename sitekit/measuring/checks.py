"""Checks of loggers against each other: sun, clock, dead, frozen, drift.

Each fault is told in words, and mended or left out as said. A fault of one of two
loggers cannot be told from a fault of the other, and is only said.
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sitekit.site import Remark

Array = NDArray[np.float64]
Temperatures = Mapping[str, pd.Series]

#: Common practice, no source, all of them.
#: Days of readings that a logger must have.
LEAST_DAYS = 5
#: A sensor that reads one and the same for this long is dead.
STILL = pd.Timedelta(hours=24)
#: Warmer than the others by day, on the sunniest third of days, from this. [degC]
SUN_EXCESS = 3.0
#: Hours by the sun in which a bare sensor is warmed: readings left out.
SUN_FROM, SUN_TO = 8, 18
#: Step in which clocks are compared, and the farthest they may be off. [h]
STEP, FARTHEST = 0.5, 3.0
#: Share by which a shifted clock must fit better.
BETTER = 0.4
#: Days that each part must have where a clock was changed.
LEAST_PART = 7
#: Side by side: difference that is said, and that a logger is left out for. [degC]
DRIFT_SAID, DRIFT_MOST = 0.3, 1.0


def check_temperatures(
    temperatures: Temperatures, checks: pd.DataFrame, longitude: float
) -> tuple[dict[str, pd.Series], list[Remark]]:
    """Check readings, mend what can be mended, leave out what cannot.

    Parameters
    ----------
    temperatures : mapping of str to Series
        Temperature by time in UTC, by logger. [degC]
    checks : DataFrame
        ``logger``, ``start_check_degc``, ``end_check_degc``: reading of each less
        the mean of all, side by side, before and after; NaN where not done.
    longitude : float
        For the time by the sun. [degree]

    Returns
    -------
    kept : dict of str to Series
        Readings to use.
    remarks : list of Remark
        One for each fault.
    """
    remarks: list[Remark] = []
    kept = {}
    for name, series in temperatures.items():
        alive = drop_still(series, name, remarks)
        if _days(alive) < LEAST_DAYS:
            text = f"fewer than {LEAST_DAYS} days of live readings; it is left out"
            remarks.append(Remark("doubtful", name, text))
        else:
            kept[name] = alive
    kept = _correct_drift(kept, checks, remarks)
    kept = mend_clocks(kept, longitude, remarks)
    return drop_sun(kept, longitude, remarks), remarks


def _days(series: pd.Series) -> int:
    return len(pd.DatetimeIndex(series.index).floor("D").unique()) if len(series) else 0


def drop_still(series: pd.Series, name: str, remarks: list[Remark]) -> pd.Series:
    """Drop readings of a sensor that stood still for a day or longer."""
    if series.empty:
        return series
    runs = (series != series.shift()).cumsum()
    times = series.index.to_series()
    grouped = times.groupby(runs.to_numpy())
    spans = grouped.last() - grouped.first()
    still = runs.map(spans >= STILL)
    if not still.any():
        return series
    values = series[still]
    text = (
        f"stood still at {values.iloc[0]:.1f} °C for "
        f"{pd.Timedelta(spans[spans >= STILL].sum()).days:.0f} days from "
        f"{values.index[0]:%d %B}; those readings are left out"
    )
    remarks.append(Remark("mended", name, text))
    return series[~still]


def _correct_drift(
    temperatures: Temperatures, checks: pd.DataFrame, remarks: list[Remark]
) -> dict[str, pd.Series]:
    """Take off what the side-by-side test found, in even steps from start to end."""
    found = checks.set_index("logger")
    kept = {}
    for name, series in temperatures.items():
        start = float(found["start_check_degc"].get(name, np.nan))
        end = float(found["end_check_degc"].get(name, np.nan))
        drift = end - start
        if abs(drift) > DRIFT_MOST:
            text = (
                f"drifted by {drift:+.1f} °C between the side-by-side tests; left out"
            )
            remarks.append(Remark("doubtful", name, text))
            continue
        if max(abs(drift), abs(start), abs(end)) > DRIFT_SAID:
            text = (
                f"off by {start:+.1f} °C before and {end:+.1f} °C after, side by side; "
                "taken off"
            )
            remarks.append(Remark("mended", name, text.replace("+nan °C", "not known")))
        kept[name] = series - _error_of_time(series, start, end)
    return kept


def _error_of_time(series: pd.Series, start: float, end: float) -> Array:
    """Error of a sensor at each reading, from the tests that were done. [degC]."""
    known = [e for e in (start, end) if np.isfinite(e)]
    if not known:
        return np.zeros(len(series))
    share = np.linspace(0.0, 1.0, len(series))
    error: Array = known[0] + share * (known[-1] - known[0])
    return error


def mend_clocks(
    temperatures: Temperatures, longitude: float, remarks: list[Remark]
) -> dict[str, pd.Series]:
    """Set clocks right that differ from those of the other loggers.

    Parameters
    ----------
    temperatures : mapping of str to Series
        Temperature by time in UTC. [degC]
    longitude : float
        For the day by the sun. [degree]
    remarks : list of Remark
        Faults are added to it.

    Returns
    -------
    mended : dict of str to Series
        With their times set right.
    """
    courses = _courses(temperatures, longitude)
    mended = {}
    for name, series in temperatures.items():
        others = courses.drop(columns=name)
        mended[name] = series
        if others.empty:
            continue
        found = _find_shift(courses[name], others.median(axis=1))
        if found is None:
            continue
        if len(temperatures) == 2:
            text = (
                "its clock and that of the other logger are "
                f"{_told_hours(max(found[1:], key=abs))} apart; nights are used as "
                "they are"
            )
            if not any("apart" in r.text for r in remarks):
                remarks.append(Remark("doubtful", name, text))
            continue
        mended[name] = _shifted(series, *found)
        remarks.append(Remark("mended", name, _tell_shift(*found)))
    return mended


def _tell_shift(day: pd.Timestamp, before: float, after: float) -> str:
    """Say how far a clock was off, and from when."""
    if before == after:
        way = "ahead" if before > 0 else "behind"
        return f"clock {_told_hours(before)} {way} of the others; set right"
    return (
        f"clock off by {before:+g} h before and {after:+g} h from {day:%d %B} "
        "(summer time?); set right"
    )


def _told_hours(hours: float) -> str:
    return "an hour" if abs(hours) == 1 else f"{abs(hours):g} hours"


def _shifted(
    series: pd.Series, day: pd.Timestamp, before: float, after: float
) -> pd.Series:
    """Take the error of the clock off the times, before and from a day."""
    late = series.index >= day
    error = np.where(late, after, before)
    moved = series.copy()
    moved.index = series.index - pd.to_timedelta(error, unit="h")
    moved = moved.sort_index()
    return moved[~moved.index.duplicated()]


def _courses(temperatures: Temperatures, longitude: float) -> pd.DataFrame:
    """Put all readings on even steps; a day is a day by the sun."""
    step = pd.Timedelta(hours=STEP)
    on_steps = {n: s.resample(step).mean() for n, s in temperatures.items()}
    frame = pd.DataFrame(on_steps).interpolate(limit=3, limit_area="inside")
    frame.index = by_sun(frame, longitude)
    return frame


def by_sun(readings: pd.Series | pd.DataFrame, longitude: float) -> pd.DatetimeIndex:
    """Tell the times of readings by the sun."""
    return pd.DatetimeIndex(readings.index) + pd.Timedelta(hours=longitude / 15)


def _find_shift(
    own: pd.Series, others: pd.Series
) -> tuple[pd.Timestamp, float, float] | None:
    """Find how far a clock is ahead of the others, and whether that changed.

    The day of change is in UTC; the clock is ahead by the first number of hours
    before it and by the second from it on.
    """
    lags = np.arange(-FARTHEST, FARTHEST + STEP / 2, STEP)
    days = pd.DatetimeIndex(own.index).floor("D")
    costs = []
    for lag in lags:
        moved = own.shift(-round(lag / STEP))
        rough = (moved - moved.shift(1)) - (others - others.shift(1))
        costs.append((rough**2).groupby(days).mean())
    table = pd.concat(costs, axis=1).dropna()
    if len(table) < LEAST_PART:
        return None
    cost = table.to_numpy()
    zero = cost[:, len(lags) // 2].sum()
    constant = cost.sum(axis=0)
    best, day = float(constant.min()), table.index[0]
    first = last = float(lags[int(constant.argmin())])
    split = _find_split(cost)
    if split is not None and split[0] < (1 - BETTER) * min(best, zero):
        best, row = split[:2]
        day, first, last = (
            table.index[row],
            float(lags[split[2]]),
            float(lags[split[3]]),
        )
    if best > (1 - BETTER) * zero or (first == 0 and last == 0):
        return None
    if max(abs(first), abs(last)) >= FARTHEST:
        # At the end of what is tried: another weather, not another clock.
        return None
    return day, first, last


def _find_split(cost: Array) -> tuple[float, int, int, int] | None:
    """Find the day on which a clock was changed: cost, row, column before, after."""
    if len(cost) < 2 * LEAST_PART:
        return None
    upto = np.vstack([np.zeros(cost.shape[1]), cost.cumsum(axis=0)])
    rows = np.arange(LEAST_PART, len(cost) - LEAST_PART + 1)
    before, after = upto[rows], upto[-1] - upto[rows]
    total = before.min(axis=1) + after.min(axis=1)
    best = int(total.argmin())
    return (
        float(total[best]),
        int(rows[best]),
        int(before[best].argmin()),
        int(after[best].argmin()),
    )


def drop_sun(
    temperatures: Temperatures, longitude: float, remarks: list[Remark]
) -> dict[str, pd.Series]:
    """Leave out the days of a sensor that hangs in the sun; its nights stay.

    Parameters
    ----------
    temperatures : mapping of str to Series
        Temperature by time in UTC. [degC]
    longitude : float
        For the hour by the sun. [degree]
    remarks : list of Remark
        Faults are added to it.

    Returns
    -------
    kept : dict of str to Series
        Without the readings of sunny hours of such sensors.
    """
    courses = _courses(temperatures, longitude)
    times = pd.DatetimeIndex(courses.index)
    midday = (times.hour >= 10) & (times.hour < 16)
    noon = courses[midday].groupby(times[midday].floor("D")).mean()
    kept = dict(temperatures)
    for name, series in temperatures.items():
        others = noon.drop(columns=name).median(axis=1)
        excess = (noon[name] - others).dropna()
        if len(excess) < LEAST_DAYS:
            continue
        often = float(excess.quantile(5 / 6))
        if often < SUN_EXCESS:
            continue
        local = by_sun(series, longitude).hour
        kept[name] = series[(local < SUN_FROM) | (local >= SUN_TO)]
        text = (
            f"hangs in the sun: {often:.0f} °C warmer than the others on sunny days; "
            "its days are left out, its nights kept"
        )
        remarks.append(Remark("mended", name, text))
    return kept
