"""What a lake does to the night minimum through the year, sign included.

Open water warmer than the night warms its shore; ice warms nothing and cools a
little. No fixed bonus: it all hangs on the water's warmth, size and height, on
the water seen from the spot, and on the ice.
"""

import math
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from sitekit.layers import season as usual
from sitekit.layers.catalogue import layer
from sitekit.settings import Setting

SEASONS = ("ice", "bloom", "autumn")
#: Columns of the table of lakes: area [km²], mean depth [m], level [m], day of the
#: year when the ice goes and when it comes (NaN where not given).
AREA, DEPTH, LEVEL, ICE_OUT, ICE_IN = range(5)
#: Depth of a lake whose depth is not given. [m] Common practice, no source.
USUAL_DEPTH = 5.0
#: Water this cold begins to freeze. [degC]
FREEZES = 0.5
#: Water below ice. [degC]
UNDER_ICE = 4.0
#: Night air of clear still nights below the mean of the day. [degC]
NIGHT_FALL = 8.0
#: Most by which water counts as warmer, and colder, than the night. [degC]
WARMEST, COLDEST = 15.0, -3.0
#: Area at which half of the full effect is reached. [km²]
HALF_AREA = 0.5
#: Height above the water at which a third of the effect is left. [m]
HEIGHT_SCALE = 25.0
#: Cooling by ice at its shore. [degC]
ICE_COLD = 0.3
#: Limits of the effect. [degC]
LOWEST, HIGHEST = -1.0, 3.0
LAKE_SOURCE = (
    "sign and order: Scott & Huff 1997; Schatz 2015; reach and size are common "
    "practice, no source"
)


@dataclass(frozen=True)
class LakeYear:
    """The water of one lake in one season.

    Parameters
    ----------
    ice : float
        Share of the season with ice.
    water, air, night : float
        Temperature of the water, daily mean of the air, mean minimum of clear
        still nights. [degC]
    """

    ice: float
    water: float
    air: float
    night: float


def lake_reach(area: float) -> float:
    """Tell the distance from the shore at which a third of the effect is left.

    Parameters
    ----------
    area : float
        Area of the lake. [km²]

    Returns
    -------
    reach : float
        250 m times the root of the area. [m]

    Examples
    --------
    >>> round(lake_reach(1.0)), round(lake_reach(0.25))
    (250, 125)
    """
    return 250.0 * math.sqrt(area)


def ice_dates(
    depth: float, latitude: float, mean: float, swing: float
) -> tuple[float, float] | None:
    """Estimate when ice goes and comes, from the air of a usual year.

    Parameters
    ----------
    depth : float
        Mean depth. [m]
    latitude : float
        South negative. [degree]
    mean, swing : float
        Mean of the air and its swing. [degC]

    Returns
    -------
    dates : (float, float) or None
        Day of the year of ice-out and of ice-in, each good to about ten days;
        None where the lake does not freeze.
    """
    _, share, delay = usual.lag_of_water(depth)
    days = np.arange(1.0, 366.0)
    water = usual.air_on(days - delay, mean, swing * share, latitude)
    cold = water < FREEZES
    if not cold.any():
        return None
    # Ice comes when the falling curve of the water passes the limit.
    falling = cold & ~np.roll(cold, 1)
    ice_in = float(days[falling][0]) if falling.any() else 1.0
    air = usual.air_on(days, mean, swing, latitude)
    thaw = (air > 0) & ~np.roll(air > 0, 1)
    if not thaw.any():
        return None
    ice_out = (float(days[thaw][0]) + usual.melt_delay(latitude) - 1) % 365 + 1
    return ice_out, ice_in


def season_days(
    season: str, ice_out: float, bloom: float, latitude: float
) -> NDArray[np.float64]:
    """Tell the days of a season.

    Parameters
    ----------
    season : {"ice", "bloom", "autumn"}
        The fortnight before the ice goes; ten days either side of full bloom;
        September to mid-October, in the south half a year later.
    ice_out, bloom : float
        Days of the year.
    latitude : float
        South negative. [degree]

    Returns
    -------
    days : ndarray
        Days, not wrapped at the new year.
    """
    if season == "ice":
        return np.arange(ice_out - 14.0, ice_out)
    if season == "bloom":
        return np.arange(bloom - 10.0, bloom + 11.0)
    autumn = np.arange(244.0, 289.0)
    return autumn if latitude >= 0 else autumn + usual.HALF_YEAR


def lake_year(
    lake: NDArray[np.float64], season: str, bloom: float, latitude: float, height: float
) -> LakeYear | None:
    """Tell ice, water and air of a lake in a season.

    Parameters
    ----------
    lake : (5,) ndarray
        Row of the table of lakes.
    season : {"ice", "bloom", "autumn"}
        The season.
    bloom : float
        Day of full bloom.
    latitude : float
        South negative. [degree]
    height : float
        Height of the ground. [m]

    Returns
    -------
    state : LakeYear or None
        None for the ice of a lake that does not freeze.
    """
    mean, swing = usual.air_of_year(latitude, height)
    depth = lake[DEPTH] if lake[DEPTH] > 0 else USUAL_DEPTH
    dates = ice_dates(depth, latitude, mean, swing)
    given = ~np.isnan(lake[ICE_OUT]), ~np.isnan(lake[ICE_IN])
    if dates is None and not any(given):
        if season == "ice":
            return None
        days = season_days(season, 0.0, bloom, latitude)
        return _open_year(days, depth, mean, swing, latitude)
    estimated = dates or (90.0, 360.0)
    ice_out = lake[ICE_OUT] if given[0] else estimated[0]
    ice_in = lake[ICE_IN] if given[1] else estimated[1]
    days = season_days(season, ice_out, bloom, latitude)
    return _frozen_year(days, depth, (mean, swing), latitude, (ice_out, ice_in))


def _open_year(
    days: NDArray[np.float64], depth: float, mean: float, swing: float, latitude: float
) -> LakeYear:
    """Water of a lake that never freezes: the damped, delayed sine of the air."""
    _, share, delay = usual.lag_of_water(depth)
    water = usual.air_on(days - delay, mean, swing * share, latitude)
    air = float(usual.air_on(days, mean, swing, latitude).mean())
    return LakeYear(0.0, float(water.mean()), air, air - NIGHT_FALL)


def _frozen_year(
    days: NDArray[np.float64],
    depth: float,
    air_year: tuple[float, float],
    latitude: float,
    dates: tuple[float, float],
) -> LakeYear:
    """Water of a lake that freezes: from 4 degC at ice-out back to its curve."""
    time, share, delay = usual.lag_of_water(depth)
    mean, swing = air_year
    since = (days - dates[0]) % 365.0
    frozen = since >= (dates[1] - dates[0]) % 365.0
    curve = usual.air_on(days - delay, mean, swing * share, latitude)
    at_melt = usual.air_on(np.array([dates[0] - delay]), mean, swing * share, latitude)
    water = curve + (UNDER_ICE - at_melt) * np.exp(-since / time)
    air = float(usual.air_on(days, mean, swing, latitude).mean())
    open_water = float(water[~frozen].mean()) if (~frozen).any() else UNDER_ICE
    return LakeYear(float(frozen.mean()), open_water, air, air - NIGHT_FALL)


def lake_term(
    state: LakeYear,
    area: float,
    distance: NDArray[np.float32],
    above: NDArray[np.float32],
    fetch: NDArray[np.float32],
    *,
    share: float,
) -> NDArray[np.float32]:
    """Tell the effect of one lake on the night minimum.

    Parameters
    ----------
    state : LakeYear
        Ice, water and air in the season.
    area : float
        Area of the lake. [km²]
    distance, above : (row, column) ndarray
        From the shore, and height above the water. [m]
    fetch : (row, column) ndarray
        Factor for the water seen, 1 at the straight shore of a wide lake.
    share : float
        Share of the difference between water and night that reaches the shore.

    Returns
    -------
    effect : (row, column) ndarray of float32
        Not clipped. [degC]
    """
    spread = area / (area + HALF_AREA) * np.exp(-distance / lake_reach(area)) * fetch
    warmer = float(np.clip(state.water - state.night, COLDEST, WARMEST))
    kept = 1.0 if state.water >= state.air else 0.5
    warm = (
        (1 - state.ice)
        * share
        * kept
        * warmer
        * np.exp(-np.maximum(above, 0) / HEIGHT_SCALE)
    )
    effect: NDArray[np.float32] = ((warm - state.ice * ICE_COLD) * spread).astype(
        np.float32
    )
    return effect


@layer(
    units="degC",
    long_name="sum of what lakes do to a clear still night",
    reference=LAKE_SOURCE,
    seasons=SEASONS,
    written=False,
)
def lake_warmth(
    elevation: NDArray[np.float32],
    lake_table: NDArray[np.float64],
    lake_distance: NDArray[np.float32],
    lake_fetch: NDArray[np.float32],
    *,
    season: str,
    latitude: float,
    bloom_date: Annotated[
        float,
        Setting("day of year", "Day of full bloom; 0 takes the usual of the latitude."),
    ] = 0.0,
    lake_share: Annotated[
        float,
        Setting("1", "Share of the warmth of the water that reaches its shore.", low=0),
    ] = 0.35,
) -> NDArray[np.float32]:
    """Add the effects of all lakes in a season; 0 where there is none.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground. [m]
    lake_table : (lake, 5) ndarray
        Area [km²], depth, level [m], day of ice-out and ice-in.
    lake_distance : (lake, row, column) ndarray
        Distance from the shore, 0 on the water. [m]
    lake_fetch : (lake, row, column) ndarray
        Factor for the water seen.
    season : {"ice", "bloom", "autumn"}
        The season.
    latitude : float
        South negative. [degree]
    bloom_date, lake_share : float
        See the settings.

    Returns
    -------
    warmth : (row, column) ndarray of float32
        From -1 to 3. [degC]
    """
    total = np.zeros_like(elevation)
    bloom = bloom_date or usual.bloom_day(latitude)
    height = float(np.nanmean(elevation))
    for number, lake in enumerate(lake_table):
        state = lake_year(lake, season, bloom, latitude, height)
        if state is None:
            continue
        total += lake_term(
            state,
            float(lake[AREA]),
            lake_distance[number],
            elevation - np.float32(lake[LEVEL]),
            lake_fetch[number],
            share=lake_share,
        )
    return np.clip(total, LOWEST, HIGHEST)


@layer(
    units="degC",
    long_name="lake effect on the night minimum: {season}",
    reference=LAKE_SOURCE,
    seasons=SEASONS,
)
def lake_effect(
    lake_warmth_of_season: NDArray[np.float32],
    lake_table: NDArray[np.float64],
    elevation: NDArray[np.float32],
    *,
    season: str,
    latitude: float,
) -> NDArray[np.float32] | None:
    """Take the lakes' effect in a season; None where there is nothing to tell.

    Parameters
    ----------
    lake_warmth_of_season : (row, column) ndarray
        Sum over the lakes. [degC]
    lake_table : (lake, 5) ndarray
        The lakes.
    elevation : (row, column) ndarray
        Height of the ground. [m]
    season : {"ice", "bloom", "autumn"}
        The season.
    latitude : float
        South negative. [degree]

    Returns
    -------
    effect : (row, column) ndarray of float32 or None
        None without a lake, and for the ice of lakes that do not freeze.
    """
    height = float(np.nanmean(elevation))
    states = [lake_year(lake, season, 120.0, latitude, height) for lake in lake_table]
    if all(state is None for state in states):
        return None
    return np.where(np.isnan(elevation), np.float32(np.nan), lake_warmth_of_season)
