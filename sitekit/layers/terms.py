"""The terms of the night minimum, one by one.

Each is a step of its own, so that readings can later weigh them one by one. Their sum
means something only as a difference to the reference place.
"""

from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.layers.catalogue import layer
from sitekit.layers.cover import GRASS_DEFICIT, of_cover
from sitekit.settings import Setting

NO_SOURCE = "common practice, no source"
#: Rows of the stack of the night's air that the terms read.
DEPTH, SPEED, COLDER, POOLED = range(4)
StillSpeed = Annotated[
    float, Setting("m s⁻¹", "Speed at which still air is half as cold.", low=0.01)
]
#: Share of closed crowns is taken over this far around. [m]
CROWNS_WITHIN = 250.0
#: Strength of the background over open ground and in closed wood.
OPEN_STRENGTH, WOOD_STRENGTH = 1.0, 0.2
#: Most that concave ground cools. [degC]
MOST_CONCAVE = 0.6


@layer(
    units="degC",
    long_name="background: warmer with height above the low ground",
    reference="0.062 degC/m: Hočevar & Martsolf 1971, Agr. Meteorol. 8",
    written=False,
)
def background_warmth(
    elevation: NDArray[np.float32],
    landform: NDArray[np.float32],
    canopy_height: NDArray[np.float32],
    *,
    cell_size: float,
    background_gradient: Annotated[
        float, Setting("degC m⁻¹", "Rise of the minimum above the low ground.", low=0)
    ] = 0.055,
    background_height: Annotated[
        float, Setting("m", "Height to which it rises evenly, then by its log.", low=1)
    ] = 60.0,
    background_strength: Annotated[
        float,
        Setting(
            "1",
            "Strength of the background at this place, 0 by the woodland around: "
            "1 over open ground, 0.2 in closed wood. Two thermometers settle it.",
            low=0,
            high=3,
        ),
    ] = 0.0,
) -> NDArray[np.float32]:
    """Tell how much warmer a spot is for lying above the low ground around.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground. [m]
    landform : (3, row, column) ndarray
        Lowest, highest and mean ground around. [m]
    canopy_height : (row, column) ndarray
        Height of woodland. [m]
    cell_size : float
        Side of a cell. [m]
    background_gradient, background_height, background_strength : float
        See the settings.

    Returns
    -------
    warmth : (row, column) ndarray of float32
        k γ H (min(z/H, 1) + ln max(z/H, 1)), z the height above the lowest
        ground. [degC]
    """
    height = np.maximum(elevation - landform[0], 0) / np.float32(background_height)
    shape = np.minimum(height, 1) + np.log(np.maximum(height, 1))
    if background_strength > 0:
        strength: NDArray[np.float32] | float = background_strength
    else:
        window = max(round(2 * CROWNS_WITHIN / cell_size), 1)
        closed = (canopy_height > 0).astype(np.float32)
        share = ndimage.uniform_filter(closed, window, mode="nearest")
        strength = OPEN_STRENGTH + (WOOD_STRENGTH - OPEN_STRENGTH) * share
    warmth: NDArray[np.float32] = (
        strength * background_gradient * background_height * shape
    ).astype(np.float32)
    return warmth


@layer(
    units="degC",
    long_name="crest: colder than some way below it",
    reference="sign on every hill: Young 1921, Mon. Wea. Rev. 49",
    written=False,
)
def crest_warmth(
    elevation: NDArray[np.float32],
    landform: NDArray[np.float32],
    *,
    crest_cold: Annotated[
        float, Setting("degC", "How much colder a crest is by itself.", low=0)
    ] = 0.6,
    crest_depth: Annotated[
        float, Setting("m", "Depth below the crest over which it fades.", low=1)
    ] = 15.0,
    crest_relief: Annotated[
        float, Setting("m", "Relief from which a crest counts.", low=1)
    ] = 20.0,
) -> NDArray[np.float32]:
    """Tell how much a crest cools, negative.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground. [m]
    landform : (3, row, column) ndarray
        Lowest, highest and mean ground around. [m]
    crest_cold, crest_depth, crest_relief : float
        See the settings.

    Returns
    -------
    warmth : (row, column) ndarray of float32
        At most 0. [degC]
    """
    low, high = landform[:2]
    below = np.maximum(high - elevation, 0) / np.float32(crest_depth)
    relief = np.maximum(high - low, 0) / np.float32(crest_relief)
    warmth: NDArray[np.float32] = (
        -crest_cold * np.exp(-below) * (1 - np.exp(-relief))
    ).astype(np.float32)
    return warmth


@layer(
    units="degC",
    long_name="concave ground: colder",
    reference="sign: Lindkvist et al. 2000, Agr. For. Met. 102",
    written=False,
)
def concave_warmth(
    elevation: NDArray[np.float32],
    landform: NDArray[np.float32],
    night_air: NDArray[np.float32],
    pool_warmth: NDArray[np.float32],
    *,
    concave_cold: Annotated[
        float,
        Setting("degC m⁻¹", "Cooling for each metre below the mean ground.", low=0),
    ] = 0.2,
    still_speed: StillSpeed = 0.15,
) -> NDArray[np.float32]:
    """Tell how much ground below the mean around it cools, negative.

    Concave ground is cold because air runs together on it. Where the flow finds that
    air running, what concave ground adds is only what the flow has not yet told.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground. [m]
    landform : (3, row, column) ndarray
        Lowest, highest and mean ground around. [m]
    night_air : (4, row, column) ndarray
        See `sitekit.layers.night.night_air`.
    pool_warmth : (row, column) ndarray
        What the air found there cools. [degC]
    concave_cold, still_speed : float
        See the settings.

    Returns
    -------
    warmth : (row, column) ndarray of float32
        From -0.6 to 0. [degC]
    """
    by_form = np.maximum(
        concave_cold * np.minimum(elevation - landform[2], 0), -MOST_CONCAVE
    )
    told = pool_warmth * (1 - _still_share(night_air, still_speed))
    warmth: NDArray[np.float32] = np.minimum(by_form - told, 0).astype(np.float32)
    return warmth


def _still_share(
    night_air: NDArray[np.float32], still_speed: float
) -> NDArray[np.float32]:
    """Tell how still the air is: 1 at rest, a half at the speed of the setting."""
    share: NDArray[np.float32] = 1 / (
        1 + (night_air[SPEED] / np.float32(still_speed)) ** 2
    )
    return share


@layer(
    units="degC",
    long_name="cold air held or running: colder",
    reference="wind that breaks a strong inversion: Shaw 2001; sizes from one basin",
    written=False,
)
def pool_warmth(
    night_air: NDArray[np.float32],
    *,
    pool_cold: Annotated[
        float, Setting("degC", "Cold of a deep still pool over grass.", low=0)
    ] = 2.0,
    pool_scale: Annotated[
        float, Setting("m", "Depth over which a pool becomes cold.", low=0.1)
    ] = 1.33,
    sensor_depth: Annotated[
        float, Setting("m", "Thinner air lies below the blossom.", low=0.05)
    ] = 0.75,
    stream_speed: Annotated[
        float, Setting("m s⁻¹", "Speed at which a stream mixes itself warm.", low=0.1)
    ] = 1.7,
) -> NDArray[np.float32]:
    """Tell how much the cold air over a spot cools it at blossom height, negative.

    Parameters
    ----------
    night_air : (4, row, column) ndarray
        See `night_air`.
    pool_cold, pool_scale, sensor_depth, stream_speed : float
        See the settings.

    Returns
    -------
    warmth : (row, column) ndarray of float32
        At most 0. [degC]
    """
    depth = night_air[DEPTH]
    above = depth - sensor_depth * (1 - np.exp(-depth / np.float32(sensor_depth)))
    colder = night_air[COLDER] / np.float32(GRASS_DEFICIT)
    mixed = 1 + (night_air[SPEED] / np.float32(stream_speed)) ** 2
    warmth: NDArray[np.float32] = (
        -pool_cold * colder * (1 - np.exp(-above / np.float32(pool_scale))) / mixed
    ).astype(np.float32)
    return warmth


@layer(
    units="degC",
    long_name="still air: colder",
    reference=NO_SOURCE,
    written=False,
)
def still_warmth(
    night_air: NDArray[np.float32],
    *,
    still_cold: Annotated[
        float, Setting("degC", "Cold of air that does not move at all.", low=0)
    ] = 0.35,
    still_speed: StillSpeed = 0.15,
) -> NDArray[np.float32]:
    """Tell how much a spot cools because its air stands still, negative.

    Parameters
    ----------
    night_air : (4, row, column) ndarray
        See `night_air`.
    still_cold, still_speed : float
        See the settings.

    Returns
    -------
    warmth : (row, column) ndarray of float32
        At most 0. [degC]
    """
    share = _still_share(night_air, still_speed)
    warmth: NDArray[np.float32] = (-np.float32(still_cold) * share).astype(np.float32)
    return warmth


@layer(
    units="degC",
    long_name="closed sky: warmer",
    reference="linear in open sky: Groot & Carlson 1996, Can. J. For. Res. 26",
    written=False,
)
def sky_warmth(
    sky_view_factor: NDArray[np.float32],
    *,
    sky_effect: Annotated[
        float, Setting("degC", "Warmth of a spot that sees no sky at all.", low=0)
    ] = 4.0,
) -> NDArray[np.float32]:
    """Tell how much a spot is kept warm by what hides the sky.

    Parameters
    ----------
    sky_view_factor : (row, column) ndarray
        Open sky.
    sky_effect : float
        See the setting.

    Returns
    -------
    warmth : (row, column) ndarray of float32
        At least 0. [degC]
    """
    warmth: NDArray[np.float32] = (
        np.float32(sky_effect) * (1 - sky_view_factor)
    ).astype(np.float32)
    return warmth


@layer(
    units="degC",
    long_name="ground cover: warmer or colder than short grass",
    reference="signs: Snyder & de Melo-Abreu 2005, FAO ENRS 10; sizes from memory",
    written=False,
)
def cover_warmth(cover: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Tell what the cover of the ground does at blossom height."""
    return of_cover("warmth", cover)
