"""Which nights were clear and still: told by wind and cloud, else by the daily range.

Cold air drains on such nights only, so only then does the offset of a place apply.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

#: Bristow & Campbell 1984, Agric. For. Meteorol. 31: share of the sun that comes
#: through a clear sky, and how it falls with the daily range.
CLEAR_SKY, STEEPNESS, POWER = 0.75, 0.036, 2.4
#: Cloud up to which a night is clear, and from which it is none. Common practice, no
#: source.
CLEAR, CLOUDY = 0.3, 0.6
#: Wind below which the air is still, and from which it is mixed. Snyder & de
#: Melo-Abreu 2005, FAO 10, chapter 5: below 2 m/s; the upper limit is common
#: practice, no source. [m/s]
STILL, MIXED = 2.0, 4.0
#: Days over which the mean daily range is taken. [d]
MONTH = 30


def clear_weight(days: pd.DataFrame) -> NDArray[np.float64]:
    """Weigh each night as a clear still one.

    Parameters
    ----------
    days : DataFrame
        ``date``, ``tmin``, ``tmax`` [degC] in order; ``wind`` [m/s] and ``cloud``
        (0 to 1) of the night that ends on the date, where known.

    Returns
    -------
    weight : (day,) ndarray
        1 where the night was clear and still, 0 where it was cloudy or windy; NaN
        where nothing tells. By the fall of temperature too: a night that fell less
        than the middle one of its month weighs less.

    References
    ----------
    Bristow, K. L. & Campbell, G. S. 1984. On the relationship between incoming solar
    radiation and daily maximum and minimum temperature. Agricultural and Forest
    Meteorology 31, 159-166.
    """
    daily = _daily(days)
    cloud = daily["cloud"].fillna(cloud_by_range(daily["tmin"], daily["tmax"]))
    weight = ((CLOUDY - cloud) / (CLOUDY - CLEAR)).clip(0, 1)
    fall = daily["tmax"].shift(1) - daily["tmin"]
    calendar = pd.DatetimeIndex(daily.index)
    usual = fall.groupby([calendar.year, calendar.month]).transform("median")
    weight *= (fall / usual.where(usual > 0)).clip(0, 1).fillna(1)
    still = ((MIXED - daily["wind"]) / (MIXED - STILL)).clip(0, 1)
    weight *= still.fillna(1)
    found: NDArray[np.float64] = weight.loc[days["date"]].to_numpy(np.float64)
    return found


def cloud_by_range(tmin: pd.Series, tmax: pd.Series) -> pd.Series:
    """Estimate the cloud of each night from the daily range.

    Parameters
    ----------
    tmin, tmax : Series
        One value a day, no day left out. [degC]

    Returns
    -------
    cloud : Series
        Share of the sky, 0 to 1, of the night that ends on the day.
    """
    before = tmax.shift(1)
    span = before - (tmin.shift(1) + tmin) / 2
    span = span.clip(lower=0)
    usual = span.rolling(MONTH, center=True, min_periods=MONTH // 3).mean()
    rate = STEEPNESS * np.exp(-0.154 * usual)
    through = CLEAR_SKY * (1 - np.exp(-rate * span**POWER))
    cloud: pd.Series = ((CLEAR_SKY - through) / 0.60).clip(0, 1)
    return cloud


def _daily(days: pd.DataFrame) -> pd.DataFrame:
    """Put the days on a calendar without gaps."""
    frame = days.set_index(pd.DatetimeIndex(days["date"]))
    frame = frame.reindex(columns=["tmin", "tmax", "wind", "cloud"]).astype(float)
    return frame.asfreq("D")
