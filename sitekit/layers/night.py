"""The clear still night: the air that gathers, and how cold each spot becomes.

Each term of the night minimum is a step of its own, so that readings can later
weigh them one by one. The terms are against each other within one site: their sum
means something only as a difference to the reference place.
"""

from collections.abc import Sequence
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.layers import season
from sitekit.layers.catalogue import layer
from sitekit.layers.cover import GRASS_DEFICIT, of_cover
from sitekit.layers.flow import standard_night
from sitekit.layers.landform import coarser_by
from sitekit.settings import Setting

FLOW = "local-inertial flow: Bates et al. 2010, J. Hydrol. 387; own limits of inertia"
NO_SOURCE = "common practice, no source"
#: Rows of the stack of sources, and of the stack of air.
PRODUCTION, DEFICIT, DRAG, DECAY = range(4)
DEPTH, SPEED, COLDER, HOURS = range(4)
#: Share of closed crowns is taken over this far around. [m]
CROWNS_WITHIN = 250.0
#: Strength of the background over open ground and in closed wood.
OPEN_STRENGTH, WOOD_STRENGTH = 1.0, 0.2
#: Most that concave ground cools. [degC]
MOST_CONCAVE = 0.6

Flow = Annotated[
    float, Setting("m", "Cell of the moving air; never finer.", low=1.0, high=100.0)
]


@layer(
    units="h",
    long_name="length of the standard night",
    reference="geometry",
    written=False,
)
def night_length(
    *,
    latitude: float,
    bloom_date: Annotated[
        float,
        Setting("day of year", "Day of full bloom; 0 takes the usual of the latitude."),
    ] = 0.0,
    night_hours: Annotated[
        float,
        Setting(
            "h", "Length of the standard night; 0 takes that at bloom.", low=0, high=24
        ),
    ] = 0.0,
) -> NDArray[np.float64]:
    """Tell the length of the night at bloom.

    Parameters
    ----------
    latitude : float
        South negative. [degree]
    bloom_date : float
        Day of the year of full bloom; 0 for the usual.
    night_hours : float
        Length of the night; 0 for that at bloom. [h]

    Returns
    -------
    hours : ndarray without dimensions
        The length. [h]
    """
    if night_hours > 0:
        return np.array(max(night_hours, 2.0))
    day = bloom_date or season.bloom_day(latitude)
    return np.array(season.night_hours(latitude, day))


@layer(
    units="1",
    long_name="production, deficit, drag and decay of the cold air",
    reference="production of open grassland: Städtebauliche Klimafibel 6.2.1",
    written=False,
)
def air_sources(
    cover: NDArray[np.uint8],
    sky_view_factor: NDArray[np.float32],
    canopy_height: NDArray[np.float32],
    water: NDArray[np.bool_],
    *,
    production: Annotated[
        float,
        Setting(
            "m h⁻¹",
            "Shallow cold air made by open short grass, mean of the night.",
            "10-12 m³ m⁻² h⁻¹ in all, of which a shallow share of 0.18",
            low=0.0,
            high=20.0,
        ),
    ] = 2.0,
    mixing_hours: Annotated[
        float, Setting("h", "Time in which the air above takes cold air up.", low=0.1)
    ] = 1.5,
    water_mixing: Annotated[
        float,
        Setting("m s⁻¹", "Speed at which open water takes cold air away.", low=0.0),
    ] = 0.0005,
) -> NDArray[np.float32]:
    """Tell how much cold air each cell makes, how cold, how rough, how soon gone.

    Parameters
    ----------
    cover : (row, column) ndarray of uint8
        Codes of `sitekit.layers.cover.COVERS`.
    sky_view_factor : (row, column) ndarray
        Open sky; under trees it is the crowns that see the sky.
    canopy_height : (row, column) ndarray
        Height of woodland, 0 where none. [m]
    water : (row, column) ndarray of bool
        Open water: it makes none and takes it away.
    production, mixing_hours, water_mixing : float
        See the settings.

    Returns
    -------
    sources : (4, row, column) ndarray of float32
        Production [m s⁻¹], deficit [K], drag, decay [s⁻¹; over water m s⁻¹].
    """
    sky = np.where(canopy_height > 0, np.float32(1), np.nan_to_num(sky_view_factor))
    made = production / 3600.0 * of_cover("production", cover) * sky
    decay = np.where(water, water_mixing, 1 / (mixing_hours * 3600.0))
    sources: NDArray[np.float32] = np.stack(
        [
            np.where(water, 0, made),
            of_cover("deficit", cover),
            of_cover("drag", cover),
            decay,
        ]
    ).astype(np.float32)
    return sources


@layer(units="m", long_name="cold air of the last hour", reference=FLOW, written=False)
def night_air(
    elevation: NDArray[np.float32],
    air_sources: NDArray[np.float32],
    water: NDArray[np.bool_],
    barrier_pieces: NDArray[np.float64],
    night_length: NDArray[np.float64],
    *,
    cell_size: float,
    flow_cell: Flow = 4.0,
    closed_edges: Annotated[
        Sequence[str],
        Setting("1", "Edges that let no air out: west, east, north, south."),
    ] = (),
) -> NDArray[np.float32]:
    """Let the cold air of a standard clear still night run, pond and spill.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground. [m]
    air_sources : (4, row, column) ndarray
        See `air_sources`.
    water : (row, column) ndarray of bool
        Open water.
    barrier_pieces : (piece, 11) ndarray
        Barriers, see `sitekit.layers.faces.PIECE`.
    night_length : ndarray without dimensions
        Length of the night. [h]
    cell_size, flow_cell : float
        Side of a survey cell, and least side of a cell of the moving air. [m]
    closed_edges : sequence of str
        Edges that let no air out.

    Returns
    -------
    air : (4, row, column) ndarray of float32
        Depth [m], speed [m s⁻¹], deficit [K], time under a pool [h].
    """
    air = standard_night(
        elevation,
        air_sources,
        water,
        barrier_pieces,
        float(night_length),
        cell_size=cell_size,
        factor=coarser_by(cell_size, flow_cell),
        closed_edges=closed_edges,
    )
    return np.stack([air.depth, air.speed, air.deficit, air.pool_hours])


@layer(
    units="m",
    long_name="depth of the cold air at the end of a clear still night",
    reference=FLOW,
)
def cold_air_depth(
    night_air: NDArray[np.float32], elevation: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Take the depth from the night's air; NaN where the ground is missing."""
    return np.where(np.isnan(elevation), np.float32(np.nan), night_air[DEPTH])


@layer(
    units="m s-1",
    long_name="speed of the cold air at the end of a clear still night",
    reference=FLOW,
)
def cold_air_speed(
    night_air: NDArray[np.float32], elevation: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Take the speed from the night's air; NaN where the ground is missing."""
    return np.where(np.isnan(elevation), np.float32(np.nan), night_air[SPEED])


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
    *,
    concave_cold: Annotated[
        float,
        Setting("degC m⁻¹", "Cooling for each metre below the mean ground.", low=0),
    ] = 0.2,
) -> NDArray[np.float32]:
    """Tell how much ground below the mean around it cools, negative.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground. [m]
    landform : (3, row, column) ndarray
        Lowest, highest and mean ground around. [m]
    concave_cold : float
        See the setting.

    Returns
    -------
    warmth : (row, column) ndarray of float32
        From -0.6 to 0. [degC]
    """
    warmth: NDArray[np.float32] = np.maximum(
        concave_cold * np.minimum(elevation - landform[2], 0), -MOST_CONCAVE
    ).astype(np.float32)
    return warmth


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
    still_speed: Annotated[
        float, Setting("m s⁻¹", "Speed at which still air is half as cold.", low=0.01)
    ] = 0.15,
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
    moved = 1 + (night_air[SPEED] / np.float32(still_speed)) ** 2
    warmth: NDArray[np.float32] = (-np.float32(still_cold) / moved).astype(np.float32)
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
