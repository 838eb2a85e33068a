"""Layers of horizon, open sky and direct sun.

The sun is that of a clear day. Its beam is summed over a season of one
representative year, at the latitude of the middle of the grid and in solar time,
so that longitude does not enter.
"""

from calendar import monthrange
from datetime import date, timedelta
from typing import Annotated

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pvlib.atmosphere import alt2pres, get_absolute_airmass, get_relative_airmass
from pvlib.clearsky import ineichen
from pvlib.irradiance import get_extra_radiation
from pvlib.solarposition import get_solarposition

from sitekit.errors import ConfigError
from sitekit.kernels.horizon import CODE_STEP, MISSING, find_horizons
from sitekit.kernels.sunlight import sum_sunlight
from sitekit.layers.catalogue import layer
from sitekit.settings import Setting

#: A common year; leap days and the wander of the calendar move a season's sum by
#: less than 0.2 %.
YEAR = 2025
#: Each stretch of about so many days is stood for by its middle one. [day]
STRETCH = 5
#: Width of the sun's disc, over which its light fades at a ridge. [degree]
DISC = 0.53

_SOURCES = "Reda & Andreas 2004 (sun); Ineichen & Perez 2002 (clear sky)"


@layer(
    units="code",
    long_name="height of the horizon by direction",
    reference="Timonen & Westerholm 2010",
    written=False,
)
def horizon_angle(
    elevation: NDArray[np.float32],
    canopy_height: NDArray[np.float32],
    *,
    cell_size: float,
    horizon_directions: Annotated[
        int,
        Setting("1", "Directions in which the horizon is found.", low=8, high=360),
    ] = 32,
) -> NDArray[np.uint8]:
    """Find the horizon seen from the ground over terrain and woodland.

    Parameters
    ----------
    elevation, canopy_height : (row, column) ndarray
        Height of the ground and of the woodland on it. [m]
    cell_size : float
        Side of a cell. [m]
    horizon_directions : int
        How many directions, clockwise from grid north.

    Returns
    -------
    codes : (direction, row, column) ndarray of uint8
        Horizon in steps of `CODE_STEP`; `MISSING` where the ground is missing.
        A cell in a wood is not shaded by its own trees, only by those around it.
    """
    return find_horizons(
        elevation + canopy_height, elevation, horizon_directions, cell_size
    )


@layer(
    units="1",
    long_name="open sky",
    reference="Oke 1987, Boundary Layer Climates (cosine-weighted view factor)",
)
def sky_view_factor(horizon_angle: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Find the share of the sky that a level surface sees, weighted by cosine.

    Parameters
    ----------
    horizon_angle : (direction, row, column) ndarray of uint8
        Codes of the horizon.

    Returns
    -------
    share : (row, column) ndarray of float32
        1 under the open sky; NaN where the ground is missing.

    Examples
    --------
    >>> bool(sky_view_factor(np.zeros((8, 1, 1), np.uint8))[0, 0] == 1)
    True
    """
    open_share = np.cos(np.radians(np.arange(256) * CODE_STEP)) ** 2
    open_share[MISSING] = np.nan
    table = open_share.astype(np.float32)
    total = np.zeros(horizon_angle.shape[1:], np.float32)
    for codes in horizon_angle:
        total += table[codes]
    total /= len(horizon_angle)
    return total


@layer(
    units="degree, kWh m-2, h",
    long_name="positions of the sun, {season}",
    reference=_SOURCES,
    seasons=("growing", "ripening"),
    written=False,
)
def sun_track(
    elevation: NDArray[np.float32],
    *,
    season: str,
    latitude: float,
    linke_turbidity: Annotated[
        float,
        Setting("1", "Haze of clear days: 2 very clear, 5 hazy.", low=1, high=10),
    ] = 3.0,
    sun_step_minutes: Annotated[
        float,
        Setting("min", "Time between two positions of the sun.", low=1, high=60),
    ] = 15.0,
    growing_season: Annotated[
        str,
        Setting(
            "MM-DD to MM-DD",
            "Days in which trees grow, as in the north; six months later in the south.",
        ),
    ] = "05-01 to 09-30",
    ripening_season: Annotated[
        str,
        Setting(
            "MM-DD to MM-DD",
            "Days in which keepers ripen, as in the north; six months later in the "
            "south.",
        ),
    ] = "09-01 to 10-15",
) -> NDArray[np.float64]:
    """List where the sun stands in a season and what its beam carries.

    Parameters
    ----------
    elevation : (row, column) ndarray of float32
        Height of the ground; its mean thins the air. [m]
    season : {"growing", "ripening"}
        Which season.
    latitude : float
        Of the middle of the grid. [degree]
    linke_turbidity, sun_step_minutes, growing_season, ripening_season
        Settings.

    Returns
    -------
    track : (5, step) ndarray of float64
        True bearing and height of the sun, height that it covers in a step
        [degree], energy of the beam over the season [kWh m-2 across the beam],
        hours a day. Only steps in which the sun is up; none in the polar night.

    Raises
    ------
    ConfigError
        Where a season is not two days of the year.
    """
    text = growing_season if season == "growing" else ripening_season
    first, days = find_season(f"{season}_season", text, southern=latitude < 0)
    height = float(np.nanmean(elevation)) if np.isfinite(elevation).any() else 0.0
    stretches = -(-days // STRETCH)
    steps = round(24 * 60 / sun_step_minutes)
    starts = (np.arange(stretches) + 0.5) * days / stretches - 0.5
    parts = (np.arange(steps) + 0.5) / steps
    times = pd.Timestamp(first, tz="UTC") + pd.to_timedelta(
        (starts[:, None] + parts).ravel(), unit="D"
    )
    sun = get_solarposition(times, latitude, 0.0, altitude=height)
    rise = sun["apparent_elevation"].to_numpy().reshape(stretches, steps)
    span = np.maximum(np.abs(np.gradient(rise, axis=1)), DISC).ravel()
    bearing, rise = sun["azimuth"].to_numpy(), rise.ravel()
    beam = _clear_beam(rise, np.asarray(times.day_of_year), height, linke_turbidity)
    hours = 24 / steps
    energy = beam / 1000 * hours * days / stretches
    track = np.stack([bearing, rise, span, energy, np.full(len(rise), hours)])
    track[4] /= stretches
    return np.asarray(track[:, rise > -span / 2])


def _clear_beam(
    rise: NDArray[np.float64],
    day_of_year: NDArray[np.int32],
    height: float,
    linke_turbidity: float,
) -> NDArray[np.float64]:
    """Find the beam of the sun through a clear sky. [W m-2 across the beam]."""
    up = rise > 0
    zenith = 90 - rise[up]
    airmass = get_absolute_airmass(get_relative_airmass(zenith), alt2pres(height))
    outside = get_extra_radiation(day_of_year[up])
    beam = np.zeros(rise.shape)
    beam[up] = ineichen(
        zenith, airmass, linke_turbidity, altitude=height, dni_extra=outside
    )["dni"]
    return beam


def find_season(key: str, text: str, *, southern: bool) -> tuple[date, int]:
    """Read a season of the northern hemisphere and shift it for the southern.

    Parameters
    ----------
    key : str
        Name of the setting, for the message.
    text : str
        ``05-01 to 09-30``; it may run over the end of the year.
    southern : bool
        Whether to shift it by six months; a month's last day stays the last.

    Returns
    -------
    first : datetime.date
        First day in the representative year.
    days : int
        How many days, both ends included.

    Raises
    ------
    ConfigError
        Where the text is not two days of the year.

    Examples
    --------
    >>> find_season("growing_season", "05-01 to 09-30", southern=True)
    (datetime.date(2025, 11, 1), 151)
    """
    try:
        first, last = (date.fromisoformat(f"{YEAR}-{d}") for d in text.split(" to "))
    except ValueError:
        message = (
            f'{key}: "{text}" is not two days of the year; '
            'write it as "05-01 to 09-30".'
        )
        raise ConfigError(message) from None
    if southern:
        first, last = _half_a_year_on(first), _half_a_year_on(last)
    return first, (last - first).days % 365 + 1


def _half_a_year_on(day: date) -> date:
    """Move a day by six months within the representative year."""
    month = (day.month + 5) % 12 + 1
    longest = monthrange(YEAR, month)[1]
    at_end = (day + timedelta(days=1)).day == 1
    return date(YEAR, month, longest if at_end else min(day.day, longest))


@layer(
    units="kWh m-2, h",
    long_name="direct sun, {season}",
    reference=_SOURCES,
    seasons=("growing", "ripening"),
    written=False,
    heavy=1,
)
def sunlight(
    horizon_angle: NDArray[np.uint8],
    slope: NDArray[np.float32],
    aspect: NDArray[np.float32],
    sun_track_of_season: NDArray[np.float64],
    *,
    season: str,  # noqa: ARG001 - the engine passes it to every seasonal layer
    convergence: float,
) -> NDArray[np.float32]:
    """Sum the direct sun of a season on every cell.

    Parameters
    ----------
    horizon_angle : (direction, row, column) ndarray of uint8
        Codes of the horizon by grid bearing.
    slope, aspect : (row, column) ndarray of float32
        Steepness and true bearing faced, NaN where level. [degree]
    sun_track_of_season : (5, step) ndarray
        Where the sun stands; see `sun_track`.
    season : str
        Which season.
    convergence : float
        True bearing of grid north. [degree]

    Returns
    -------
    sums : (2, row, column) ndarray of float32
        Beam on a square metre of the sloped ground over the season [kWh m-2],
        and direct sun a day, mean of the season [h].
    """
    bearing, rise, span, energy, hours = sun_track_of_season
    count = len(horizon_angle)
    direction = ((bearing - convergence) / 360 * count).astype(np.float32) % count
    flat = np.cos(np.radians(rise))
    suns = np.stack(
        [
            flat * np.sin(np.radians(bearing)),
            flat * np.cos(np.radians(bearing)),
            np.sin(np.radians(rise)),
            np.where(direction < count, direction, 0),
            rise / CODE_STEP,
            CODE_STEP / span,
            energy,
            hours,
        ]
    )
    return sum_sunlight(horizon_angle, slope, aspect, suns.astype(np.float32))


@layer(
    units="kWh m-2",
    long_name="sun energy, {season}",
    reference=_SOURCES,
    seasons=("growing", "ripening"),
)
def direct_irradiation(
    sunlight_of_season: NDArray[np.float32],
    *,
    season: str,  # noqa: ARG001 - the engine passes it to every seasonal layer
) -> NDArray[np.float32]:
    """Take the clear-sky beam of a season on the sloped ground.

    Parameters
    ----------
    sunlight_of_season : (2, row, column) ndarray of float32
        Sums of `sunlight`.
    season : str
        Which season.

    Returns
    -------
    energy : (row, column) ndarray of float32
        Beam on a square metre of the sloped ground over the season. [kWh m-2]
    """
    energy: NDArray[np.float32] = sunlight_of_season[0]
    return energy


@layer(
    units="h",
    long_name="sun hours a day, {season}",
    reference=_SOURCES,
    seasons=("growing", "ripening"),
)
def sunshine_hours(
    sunlight_of_season: NDArray[np.float32],
    *,
    season: str,  # noqa: ARG001 - the engine passes it to every seasonal layer
) -> NDArray[np.float32]:
    """Take the possible direct sun a day, mean of a season.

    Parameters
    ----------
    sunlight_of_season : (2, row, column) ndarray of float32
        Sums of `sunlight`.
    season : str
        Which season.

    Returns
    -------
    hours : (row, column) ndarray of float32
        Hours a day in which no ground and no tree hides the sun. [h]
    """
    hours: NDArray[np.float32] = sunlight_of_season[1]
    return hours
