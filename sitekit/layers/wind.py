"""How open ground lies to the wind."""

from math import degrees
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter, minimum_filter

from sitekit.kernels.shelter import steepest_upwind
from sitekit.layers.catalogue import layer
from sitekit.settings import Setting

#: Relief from which high ground has more wind than low ground. [m]
RELIEF_SCALE = 20.0
#: Share of the wind that the lowest ground lacks. Common practice, no source.
LOW_GROUND_CALM = 0.4
#: How far around high and low ground are told apart. [m]
WIND_WITHIN = 500.0
#: Directions that the wind may come from, clockwise from the top of the grid.
BEARINGS = tuple(45.0 * i for i in range(8))


@layer(
    units="1",
    long_name="wind: 0 sheltered to 1 open",
    reference=(
        "Full shelter to 4-6 heights behind a screen, useful to 10: windbreak "
        "practice; terrain after Winstral & Marks 2002"
    ),
)
def wind_exposure(
    elevation: NDArray[np.float32],
    canopy_height: NDArray[np.float32],
    barrier_top: NDArray[np.float32],
    *,
    cell_size: float,
    full_shelter: Annotated[
        float,
        Setting("1", "Heights of a screen to which its shelter is full.", low=0.5),
    ] = 5.0,
    shelter_end: Annotated[
        float,
        Setting("1", "Heights of a screen at which its shelter ends.", low=1.0),
    ] = 10.0,
    shelter_angle: Annotated[
        float,
        Setting(
            "degree",
            "Angle of rising ground upwind that gives full shelter.",
            low=1.0,
            high=80.0,
        ),
    ] = 20.0,
    wind_height: Annotated[
        float,
        Setting("m", "Height above the ground at which wind matters.", low=0.1),
    ] = 2.0,
) -> NDArray[np.float32]:
    """Judge how open every cell lies to wind from eight directions.

    High ground has more wind than low ground (common practice, no source). Beside
    that, for each direction the shelter of the ground and that of screens (barriers
    and woodland) are found apart, and the wind passes both::

        exposure = height * mean over directions of (1 - ground) (1 - screen)
        height   = 1 - 0.4 (1 - p) (1 - exp(-(range / 20 m)²))
        ground   = clip(a / shelter_angle, 0, 1)
        screen   = clip((shelter_end - x) / (shelter_end - full_shelter), 0, 1)

    p is the place of the cell between the lowest (0) and the highest (1) ground
    within 500 m, and range the height between those two; a is the
    steepest angle upwind from ``wind_height`` above the cell up to the
    ground, and x the distance to a screen in heights of that screen, smallest
    over all screens upwind. Heights of screens count from their own foot: wind
    follows the ground. Crests and wide open ground come out near 1.

    It is a measure for comparing places on one site. It knows neither how often
    the wind blows from where nor how much a screen lets through, and no ground
    or screen beyond the grid. Wind that speeds up over a crest or round the end
    of a screen is not in it.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground; NaN where missing. [m]
    canopy_height : (row, column) ndarray
        Height of woodland, 0 where none. [m]
    barrier_top : (row, column) ndarray
        Height of barriers above the ground, 0 where none. [m]
    cell_size : float
        Side of a cell. [m]
    full_shelter, shelter_end : float
        Heights of a screen to which its shelter is full, and at which it ends;
        the second is to be the greater.
    shelter_angle : float
        Angle of rising ground that gives full shelter. [degree]
    wind_height : float
        Height above the ground at which wind matters. [m]

    Returns
    -------
    wind_exposure : (row, column) ndarray of float32
        0 sheltered to 1 open; NaN where the elevation is missing.

    References
    ----------
    Winstral, A. & Marks, D. (2002). Simulating wind fields and snow
    redistribution using terrain-based parameters. Hydrological Processes 16,
    3585-3603. The rule of heights is common practice of windbreak planting.
    """
    screens = np.fmax(canopy_height, barrier_top).astype(np.float32)
    screens = np.where(screens > 0, screens, np.float32(np.nan))
    foot = np.zeros_like(elevation)
    eye = elevation + np.float32(wind_height)
    exposure = np.zeros(elevation.shape, np.float32)
    for bearing in BEARINGS:
        tangent = steepest_upwind(elevation, eye, bearing, cell_size)
        ground = np.clip(degrees(1.0) * np.arctan(tangent) / shelter_angle, 0, 1)
        tangent = steepest_upwind(screens, foot, bearing, cell_size)
        screen = _screen_shelter(tangent, full_shelter, shelter_end)
        exposure += (1 - ground) * (1 - screen)
    exposure /= len(BEARINGS)
    exposure *= _height_share(elevation, WIND_WITHIN / cell_size)
    return np.where(np.isnan(elevation), np.float32(np.nan), exposure)


def _height_share(elevation: NDArray[np.float32], radius: float) -> NDArray[np.float32]:
    """Share of the wind that low ground gets, by its place in the relief."""
    size = 2 * max(round(radius), 1) + 1
    missing = np.isnan(elevation)
    low = minimum_filter(np.where(missing, np.float32(np.inf), elevation), size)
    high = maximum_filter(np.where(missing, np.float32(-np.inf), elevation), size)
    relief = np.where(missing, 0, high - low)
    place = np.where(relief > 0, elevation - low, 0) / np.where(relief > 0, relief, 1)
    strength = 1 - np.exp(-((relief / RELIEF_SCALE) ** 2))
    share = 1 - LOW_GROUND_CALM * (1 - place) * strength
    low_share: NDArray[np.float32] = share.astype(np.float32)
    return low_share


def _screen_shelter(
    tangent: NDArray[np.float32], full: float, end: float
) -> NDArray[np.float32]:
    """Turn heights of a screen per distance into its shelter."""
    heights_off = 1 / np.fmax(tangent, np.float32(1e-6))
    return np.clip((end - heights_off) / max(end - full, 1e-6), 0, 1)
