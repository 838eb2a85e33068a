"""Where the water lies from every cell: how far, how much of it, how low."""

from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from sitekit.kernels.distance import nearest_points
from sitekit.kernels.rays import length_along_ray
from sitekit.layers.catalogue import layer
from sitekit.settings import Setting


@layer(
    units="m",
    long_name="distance to the water",
    reference="Distance to the shore of water of at least 1 ha; Euclid",
)
def distance_to_water(
    shore: NDArray[np.float64],
    *,
    eastings: NDArray[np.float64],
    northings: NDArray[np.float64],
) -> NDArray[np.float32]:
    """Measure the distance to the nearest shore.

    Parameters
    ----------
    shore : (point, 2) ndarray
        Easting and northing of points along every shore of water of at least
        1 ha, also beyond the grid. [m]
    eastings, northings : (column,), (row,) ndarray
        Centres of the cells. [m]

    Returns
    -------
    distance_to_water : (row, column) ndarray of float32
        Distance to the edge, on land and on the water alike. It is too long by
        at most the square of half the spacing of the points over twice the
        distance. [m]
    """
    return nearest_points(shore, eastings, northings)[0]


@layer(
    units="m",
    long_name="height above the water",
    reference="Height above the level of the nearest shore; common practice, no source",
    written=False,
)
def height_above_water(
    elevation: NDArray[np.float32],
    shore: NDArray[np.float64],
    shore_level: NDArray[np.float64],
    *,
    eastings: NDArray[np.float64],
    northings: NDArray[np.float64],
) -> NDArray[np.float32]:
    """Measure the height of the ground above the nearest water.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground; NaN where missing. [m]
    shore : (point, 2) ndarray
        Points along every shore, see `distance_to_water`. [m]
    shore_level : (point,) ndarray
        Level of the water at each of them. [m]
    eastings, northings : (column,), (row,) ndarray
        Centres of the cells. [m]

    Returns
    -------
    height_above_water : (row, column) ndarray of float32
        Negative where the ground lies below the water. [m]
    """
    nearest = nearest_points(shore, eastings, northings)[1]
    return elevation - shore_level[nearest].astype(np.float32)


@layer(
    units="m",
    long_name="length of water in each direction",
    reference="Length of water along horizontal rays; common practice, no source",
    written=False,
)
def water_fetch(
    water: NDArray[np.bool_],
    *,
    cell_size: float,
    fetch_directions: Annotated[
        int,
        Setting("1", "Directions in which water is looked for.", low=4, high=360),
    ] = 16,
    fetch_limit: Annotated[
        float,
        Setting("m", "How far water is looked for.", low=1.0),
    ] = 1000.0,
) -> NDArray[np.float32]:
    """Measure how much water lies in each direction from every cell.

    Seen means: the metres of a horizontal ray from the centre of the cell that
    run over water, up to the limit. Land between waters does not end the ray,
    and relief does not hide the water. Water beyond the edge of the grid does
    not count: the margin of the grid should be at least the limit. A ray
    follows the nearest cells, so its length is right to about a cell for each
    shore that it crosses.

    Parameters
    ----------
    water : (row, column) ndarray of bool
        Cells on water.
    cell_size : float
        Side of a cell. [m]
    fetch_directions : int
        Number of directions; the first is the top of the grid, the others
        follow clockwise.
    fetch_limit : float
        Length of the rays. [m]

    Returns
    -------
    water_fetch : (direction, row, column) ndarray of float32
        Length of water. [m]
    """
    fetch = np.empty((fetch_directions, *water.shape), np.float32)
    for direction in range(fetch_directions):
        bearing = 360.0 * direction / fetch_directions
        length = length_along_ray(water, bearing, fetch_limit / cell_size)
        fetch[direction] = length * np.float32(cell_size)
    return fetch


@layer(
    units="m",
    long_name="longest stretch of water in any direction",
    reference="Longest of the fetches; common practice, no source",
    written=False,
)
def open_water_fetch(water_fetch: NDArray[np.float32]) -> NDArray[np.float32]:
    """Find the longest length of water in any direction.

    Parameters
    ----------
    water_fetch : (direction, row, column) ndarray
        Length of water in each direction. [m]

    Returns
    -------
    open_water_fetch : (row, column) ndarray of float32
        The longest. [m]
    """
    longest: NDArray[np.float32] = water_fetch.max(axis=0)
    return longest
