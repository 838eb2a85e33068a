"""What is odd in a daily record: told in words, and mended or left out."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from sitekit import words
from sitekit.errors import InputError
from sitekit.site import Remark

#: Temperatures that no station at the ground has seen. [degC]
COLDEST, HOTTEST = -70.0, 57.0
#: A minimum or maximum that stands out so far from both neighbours is a slip. [degC]
JUMP = 22.0
#: Days in a row with the same minimum and maximum: a frozen sensor.
FROZEN = 5
#: Rows a day from which a table is taken for one of hours.
HOURLY = 1.5
#: Days in a row without a value that are told.
LONG_GAP = 30
#: How far the mean of a record may lie over and under the usual of its latitude.
#: [degC]
ODD_WARM, ODD_COLD = 22.0, 17.0
#: Days of one year.
YEAR = 365
Count = Callable[[int], str]


def check_days(
    days: pd.DataFrame, name: str, latitude: float
) -> tuple[pd.DataFrame, list[Remark]]:
    """Check a daily record, and leave out what cannot be.

    Parameters
    ----------
    days : DataFrame
        ``date``, ``tmin``, ``tmax``, ``wind``, ``cloud``, as read.
    name : str
        Name of the file.
    latitude : float
        Of the station. [degree]

    Returns
    -------
    days : DataFrame
        In order, no date twice.
    remarks : list of Remark
        One for each kind of oddity.

    Raises
    ------
    InputError
        It is a table of hours, or nothing usable is left.
    """
    remarks: list[Remark] = []
    days = _one_row_a_day(days, name, remarks)
    days = _possible(days, name, remarks)
    days = _awake(days, name, remarks)
    days = days[days["tmin"].notna() | days["tmax"].notna()].reset_index(drop=True)
    if days.empty:
        message = f"{name} holds no temperature that can be used. Check its columns."
        raise InputError(message)
    _say_gaps(days, name, remarks)
    _say_unit(days, name, latitude, remarks)
    return days, remarks


def _one_row_a_day(
    days: pd.DataFrame, name: str, remarks: list[Remark]
) -> pd.DataFrame:
    days = days.assign(date=days["date"].dt.normalize())
    count = days["date"].nunique()
    if count and len(days) / count > HOURLY:
        message = (
            f"{name} has {len(days) / count:.0f} rows a day, as hours have. "
            "Give one row a day, with minimum and maximum."
        )
        raise InputError(message)
    if not days["date"].is_monotonic_increasing:
        days = days.sort_values("date", kind="stable")
        remarks.append(Remark("mended", name, "its days were out of order"))
    double = days["date"].duplicated()
    if double.any():
        text = (
            f"{words.counted(int(double.sum()), 'day')} stood twice; the first counts"
        )
        remarks.append(Remark("mended", name, text))
    return days[~double].reset_index(drop=True)


def _possible(days: pd.DataFrame, name: str, remarks: list[Remark]) -> pd.DataFrame:
    """Leave out values that cannot be, one kind after the other."""
    days = days.copy()
    temperatures = days[["tmin", "tmax"]]
    wild = (temperatures < COLDEST) | (temperatures > HOTTEST)
    days[["tmin", "tmax"]] = temperatures.mask(wild)
    _say(remarks, name, int(wild.to_numpy().sum()), "value", "impossible")
    crossed = days["tmin"] > days["tmax"]
    days.loc[crossed, ["tmin", "tmax"]] = np.nan
    _say(
        remarks, name, int(crossed.sum()), "day", "whose minimum lies over the maximum"
    )
    jumps = 0
    for column in ("tmin", "tmax"):
        up, down = days[column].diff(), days[column].diff(-1)
        jump = (up.abs() > JUMP) & (down.abs() > JUMP) & (np.sign(up) == np.sign(down))
        days.loc[jump, column] = np.nan
        jumps += int(jump.sum())
    _say(remarks, name, jumps, "value", f"over {JUMP:.0f} °C off both neighbours")
    return days


def _awake(days: pd.DataFrame, name: str, remarks: list[Remark]) -> pd.DataFrame:
    """Leave out days on which the sensor stood still."""
    same = (days["tmin"].diff() == 0) & (days["tmax"].diff() == 0)
    run = (~same).cumsum()
    length = run.map(run.value_counts())
    frozen = length >= FROZEN
    _say(remarks, name, int(frozen.sum()), "day", "on which the sensor stood still")
    return days.assign(tmin=days["tmin"].mask(frozen), tmax=days["tmax"].mask(frozen))


def _say(remarks: list[Remark], name: str, count: int, what: str, why: str) -> None:
    if count:
        text = f"{words.counted(count, what)} left out: {why}"
        remarks.append(Remark("mended", name, text))


def _say_gaps(days: pd.DataFrame, name: str, remarks: list[Remark]) -> None:
    span = (days["date"].iloc[-1] - days["date"].iloc[0]).days + 1
    if span < 2 * YEAR:
        text = (
            f"{words.counted(len(days), 'day')} are too few for years: nothing is "
            "counted in years of ten"
        )
        remarks.append(Remark("doubtful", name, text))
    missing = span - int((days["tmin"].notna() & days["tmax"].notna()).sum())
    if not missing:
        return
    steps = days["date"].diff().dt.days
    longest = int(steps.max() - 1) if len(days) > 1 else 0
    text = f"{words.counted(missing, 'day')} of {span} are missing or incomplete"
    if longest >= LONG_GAP:
        begin = days["date"].iloc[int(steps.argmax()) - 1] + pd.Timedelta(days=1)
        text += f"; the longest gap is {longest} days from {begin:%Y-%m-%d}"
    remarks.append(Remark("doubtful", name, text))


def _say_unit(
    days: pd.DataFrame, name: str, latitude: float, remarks: list[Remark]
) -> None:
    """Say where the mean is far from what the latitude has, as in another unit."""
    if (days["date"].iloc[-1] - days["date"].iloc[0]).days < YEAR - 1:
        return
    mean = float((days["tmin"].mean() + days["tmax"].mean()) / 2)
    usual = usual_mean(latitude)
    if mean > usual + ODD_WARM:
        guess = "is it Fahrenheit, or tenths of a degree?"
    elif mean < usual - ODD_COLD:
        guess = "is it Celsius taken for Fahrenheit, or is the station elsewhere?"
    else:
        return
    text = (
        f"its mean is {mean:.0f} °C where about {usual:.0f} °C is usual at "
        f"{abs(latitude):.0f}° of latitude: {guess} See [records] unit"
    )
    remarks.append(Remark("doubtful", name, text))


def usual_mean(latitude: float) -> float:
    """Tell the usual mean of a year near sea level at a latitude.

    Parameters
    ----------
    latitude : float
        [degree]

    Returns
    -------
    mean : float
        From 27 degC at the equator to -16 degC at the poles, after the zonal means
        of North, Cahalan & Coakley 1981, Reviews of Geophysics 19: 14.97 - 28.26 P2
        of the sine of latitude. [degC]
    """
    sine = np.sin(np.radians(latitude))
    return float(14.97 - 28.26 * 0.5 * (3 * sine**2 - 1))
