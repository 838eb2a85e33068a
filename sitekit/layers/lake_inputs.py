"""Lakes of a site as arrays: what each is, how far it lies, how much of it is seen."""

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from shapely.geometry.base import BaseGeometry

from sitekit.grid import Grid
from sitekit.kernels.distance import nearest_points
from sitekit.kernels.rays import length_along_ray
from sitekit.layers.lake import lake_reach
from sitekit.site import Site

#: Smallest water that counts as a lake. [m²]
SMALLEST = 10_000.0
#: Lakes that are reckoned with, the largest first.
MOST_LAKES = 4
#: Water is looked for in this many directions, out to this many reaches.
DIRECTIONS, REACHES = 16, 3.0
#: Water seen that gives two thirds of the whole effect of a direction. [m]
SEEN_SCALE = 100.0
#: Cells along three reaches, for looking at the water.
CELLS_SEEN = 200
#: Most that seeing much water can add.
MOST_FETCH = 1.5


def gather_lakes(site: Site) -> dict[str, NDArray[Any]]:
    """Gather the lakes that reach the grid.

    Parameters
    ----------
    site : Site
        The site; water counts whole, also beyond the grid.

    Returns
    -------
    inputs : dict of str to ndarray
        ``lake_table`` (lake, 5), ``lake_distance`` and ``lake_fetch`` (lake, row,
        column); without lakes, of length 0.
    """
    water = site.vectors["water"]
    water = water[water.area >= SMALLEST]
    box = shapely.box(*site.grid.bounds)
    reach = np.array([REACHES * lake_reach(a / 1e6) for a in water.area])
    water = water[water.distance(box).to_numpy() < reach]
    water = water.iloc[np.argsort(-water.area.to_numpy())[:MOST_LAKES]]
    shape = (len(water), *site.grid.shape)
    distance, fetch = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    table = np.full((len(water), 5), np.nan)
    for number, lake in enumerate(water.itertuples()):
        outline = lake.geometry
        level = lake.level_m
        if np.isnan(level):
            level = float(np.nanmin(site.elevation))
        table[number] = (
            outline.area / 1e6,
            _number(lake.depth_m),
            level,
            _number(lake.ice_out),
            _number(lake.ice_in),
        )
        distance[number] = _distance(outline, site.grid)
        fetch[number] = _fetch(outline, site.grid)
    return {"lake_table": table, "lake_distance": distance, "lake_fetch": fetch}


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else float("nan")


def _distance(outline: BaseGeometry, grid: Grid) -> NDArray[np.float32]:
    """Tell the distance of each cell from the shore, 0 on the water, in metres."""
    dense = shapely.segmentize(outline, grid.cell_size / 2)
    points = shapely.get_coordinates(dense)
    away = nearest_points(points, grid.eastings, grid.northings)[0]
    return np.where(_on_water(outline, grid), 0, away).astype(np.float32)


def _on_water(outline: BaseGeometry, grid: Grid) -> NDArray[np.bool_]:
    shapely.prepare(outline)
    east, north = np.meshgrid(grid.eastings, grid.northings)
    inside: NDArray[np.bool_] = shapely.contains_xy(outline, east, north)
    return inside


def _fetch(outline: BaseGeometry, grid: Grid) -> NDArray[np.float32]:
    """Tell the factor for the water seen from each cell, in 16 directions."""
    far = REACHES * lake_reach(outline.area / 1e6)
    cell = max(grid.cell_size, far / CELLS_SEEN)
    west, south, east, north = grid.bounds
    rows = int(np.ceil((north - south + 2 * far) / cell))
    columns = int(np.ceil((east - west + 2 * far) / cell))
    wide = Grid(grid.crs, west - far, north + far, cell, (rows, columns))
    water = _on_water(outline, wide)
    seen = np.zeros(wide.shape, np.float32)
    for direction in range(DIRECTIONS):
        # Half a step off north: a ray along a straight shore sees all or nothing.
        bearing = 360.0 * (direction + 0.5) / DIRECTIONS
        length = cell * length_along_ray(water, bearing, far / cell)
        seen += 1 - np.exp(-length / SEEN_SCALE)
    factor = np.minimum(MOST_FETCH, 2 * seen / DIRECTIONS)
    places = np.meshgrid(
        (wide.north - grid.northings) / cell - 0.5,
        (grid.eastings - wide.west) / cell - 0.5,
        indexing="ij",
    )
    fetch: NDArray[np.float32] = map_coordinates(
        factor, places, order=1, mode="nearest", output=np.float32
    )
    return fetch
