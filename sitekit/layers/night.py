"""The clear still night: how the cold air is made, runs and gathers."""

from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from sitekit.layers import season
from sitekit.layers.catalogue import layer
from sitekit.layers.cover import of_cover
from sitekit.layers.edges import ClosedEdges
from sitekit.layers.flow import standard_night
from sitekit.layers.landform import coarser_by
from sitekit.settings import Setting

FLOW = "local-inertial flow: Bates et al. 2010, J. Hydrol. 387; own limits of inertia"
#: Rows of the stack of the night's air.
DEPTH, SPEED = range(2)

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
            "h",
            "Length of the standard night, at least 2 h; 0 takes that at bloom.",
            low=0,
            high=24,
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


@layer(
    units="m",
    long_name="cold air of the last hour",
    reference=FLOW,
    written=False,
    heavy=2,
)
def night_air(
    elevation: NDArray[np.float32],
    air_sources: NDArray[np.float32],
    water: NDArray[np.bool_],
    barrier_pieces: NDArray[np.float64],
    night_length: NDArray[np.float64],
    *,
    cell_size: float,
    flow_cell: Flow = 4.0,
    closed_edges: ClosedEdges = (),
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
