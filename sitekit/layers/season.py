"""Nights, bloom and air through the year where no record tells them.

These are the usual values for a latitude and a height, good to some degrees and
about ten days; a record of the place takes their part.
"""

from math import acos, asin, atan, cos, pi, radians, sin, sqrt

import numpy as np
from numpy.typing import NDArray

#: Full bloom of apples: 25 April at 46.3° N, 15 May at 60° N. Common practice.
BLOOM_AT, BLOOM_DAY, BLOOM_DAYS_A_DEGREE = 46.3, 115.0, 20.0 / 13.7
#: Mean of the air at sea level by latitude, and its swing to either side through
#: the year. From memory; single places lie up to 5 degC off. [degree], [degC]
LATITUDES = (0.0, 30.0, 40.0, 50.0, 60.0, 70.0, 90.0)
MEAN_AIR = (26.0, 20.0, 14.0, 9.5, 4.0, -6.0, -18.0)
AIR_SWING = (1.0, 7.0, 10.0, 9.5, 11.0, 13.0, 15.0)
#: Fall of the mean with height. [degC m⁻¹]
MEAN_LAPSE = 0.0065
#: Day of the year with the warmest air, north and south.
WARMEST = 200.0
YEAR = 365.25
HALF_YEAR = 182.6


def bloom_day(latitude: float) -> float:
    """Tell the usual day of full bloom.

    Parameters
    ----------
    latitude : float
        South negative. [degree]

    Returns
    -------
    day : float
        Day of the year.

    Examples
    --------
    >>> round(bloom_day(46.3)), round(bloom_day(60.0)), round(bloom_day(-46.3))
    (115, 135, 298)
    """
    north = BLOOM_DAY + BLOOM_DAYS_A_DEGREE * (abs(latitude) - BLOOM_AT)
    north = min(max(north, 60.0), 165.0)
    return north if latitude >= 0 else (north + HALF_YEAR - 1) % YEAR + 1


def night_hours(latitude: float, day: float) -> float:
    """Tell the length of the night from sunset to sunrise.

    Parameters
    ----------
    latitude : float
        South negative. [degree]
    day : float
        Day of the year.

    Returns
    -------
    hours : float
        At least 2, so that a bright night still counts as a short one. [h]

    Examples
    --------
    >>> round(night_hours(46.3, 115), 1), round(night_hours(60.0, 135), 1)
    (9.9, 6.8)
    """
    angle = 2 * pi * (day - 80.0) / YEAR
    declination = asin(0.39779 * sin(angle + 0.0334 * sin(2 * pi * (day - 3) / YEAR)))
    # The sun sets when its upper limb, raised by refraction, is at 0.833° below.
    height = sin(radians(-0.833)) - sin(radians(latitude)) * sin(declination)
    cosine = height / (cos(radians(latitude)) * cos(declination))
    half_day = acos(min(max(cosine, -1.0), 1.0))
    return max(24.0 * (1 - half_day / pi), 2.0)


def night_strength(hours: float) -> float:
    """Tell how strongly a clear calm night cools against one of 9 hours.

    Parameters
    ----------
    hours : float
        Length of the night. [h]

    Returns
    -------
    strength : float
        Square root of the length over 9 h (FAO 10, ch. 5: cooling grows with the
        root of time).

    Examples
    --------
    >>> round(night_strength(10.0), 2), round(night_strength(6.9), 2)
    (1.05, 0.88)
    """
    return sqrt(hours / 9.0)


def air_of_year(latitude: float, height: float) -> tuple[float, float]:
    """Tell the usual mean of the air and its swing through the year.

    Parameters
    ----------
    latitude : float
        South negative. [degree]
    height : float
        Above sea level. [m]

    Returns
    -------
    mean, swing : float
        Mean, and how far the warmest day lies above it. [degC]
    """
    mean = float(np.interp(abs(latitude), LATITUDES, MEAN_AIR)) - MEAN_LAPSE * height
    return mean, float(np.interp(abs(latitude), LATITUDES, AIR_SWING))


def air_on(
    days: NDArray[np.float64], mean: float, swing: float, latitude: float
) -> NDArray[np.float64]:
    """Tell the usual air on days of the year, a sine.

    Parameters
    ----------
    days : ndarray
        Days of the year.
    mean, swing : float
        See `air_of_year`. [degC]
    latitude : float
        South negative. [degree]

    Returns
    -------
    air : ndarray
        Daily mean. [degC]
    """
    warmest = WARMEST + (0.0 if latitude >= 0 else HALF_YEAR)
    air: NDArray[np.float64] = mean + swing * np.cos(2 * pi * (days - warmest) / YEAR)
    return air


def lag_of_water(depth: float) -> tuple[float, float, float]:
    """Tell how water of a depth follows the air.

    Parameters
    ----------
    depth : float
        Mean depth; more than 12 m counts as 12. [m]

    Returns
    -------
    time, share, delay : float
        Time that it takes to follow; share of the swing that it keeps; delay
        behind the air. [d], 1, [d]

    Examples
    --------
    >>> [round(lag_of_water(depth)[2]) for depth in (2.7, 8.0, 14.0)]
    [6, 17, 25]
    """
    time = 2.2 * min(depth, 12.0)
    pulse = 2 * pi / YEAR * time
    return time, 1 / sqrt(1 + pulse**2), atan(pulse) / (2 * pi / YEAR)


def melt_delay(latitude: float) -> float:
    """Tell how long ice stays after the mean air has passed 0 degC.

    Parameters
    ----------
    latitude : float
        South negative. [degree]

    Returns
    -------
    days : float
        About a month at 50°, six weeks at 70°.
    """
    return max(30.0 + 0.75 * (abs(latitude) - 50.0), 10.0)
