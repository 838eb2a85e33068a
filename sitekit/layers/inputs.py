"""The inputs of the layers: arrays made from a site."""

from typing import Any

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit.grid import Grid
from sitekit.kernels.barriers import raise_barriers
from sitekit.site import Site

#: Kinds of ring or line that a polygon hands over as its edge.
AREAS = ("Polygon", "MultiPolygon")


def gather_inputs(site: Site) -> dict[str, NDArray[Any]]:
    """Gather the arrays that layers are made from.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    inputs : dict of str to ndarray
        ``survey_elevation``, ``ground``, ``canopy_height``, ``water``,
        ``barrier_height`` (height that blocks air) and ``barrier_top`` (whole
        height), each (row, column).
    """
    barriers = site.vectors["barriers"]
    height = barriers["height_m"].to_numpy(dtype=float)
    blocking = height * (1 - barriers["openness"].to_numpy(dtype=float))
    return {
        "survey_elevation": site.elevation,
        "ground": site.ground,
        "canopy_height": site.canopy_height,
        "water": site.water_mask,
        "barrier_height": draw_barriers(barriers, blocking, site.grid),
        "barrier_top": draw_barriers(barriers, height, site.grid),
    }


def draw_barriers(
    barriers: GeoDataFrame, heights: NDArray[np.float64], grid: Grid
) -> NDArray[np.float32]:
    """Put the heights of barriers on the grid.

    Parameters
    ----------
    barriers : GeoDataFrame
        Lines and polygons; a polygon blocks its cells and its edge.
    heights : (barrier,) ndarray
        Height of each. [m]
    grid : Grid
        The grid.

    Returns
    -------
    height : (row, column) ndarray of float32
        The highest barrier in each cell, 0 where none. [m]
    """
    drawn = np.zeros(grid.shape, dtype=np.float32)
    for shape, height in zip(barriers.geometry, heights, strict=True):
        lines = shape.boundary if shape.geom_type in AREAS else shape
        segments = _segments(lines, grid)
        raise_barriers(
            segments, np.full(len(segments), height, dtype=np.float32), drawn
        )
        if shape.geom_type in AREAS:
            _raise_inside(shape, height, drawn, grid)
    return drawn


def _segments(lines: BaseGeometry, grid: Grid) -> NDArray[np.float64]:
    """Cut lines into straight pieces, in columns and rows of the grid."""
    pieces = []
    for line in shapely.get_parts(lines):
        points = shapely.get_coordinates(line)
        points = np.column_stack(
            [
                (points[:, 0] - grid.west) / grid.cell_size,
                (grid.north - points[:, 1]) / grid.cell_size,
            ]
        )
        pieces.append(np.column_stack([points[:-1], points[1:]]))
    return np.concatenate(pieces) if pieces else np.empty((0, 4))


def _raise_inside(
    shape: BaseGeometry, height: float, drawn: NDArray[np.float32], grid: Grid
) -> None:
    """Raise the cells whose centre lies in a polygon."""
    west, south, east, north = shape.bounds
    (top, bottom), (left, right) = grid.cells([west, east], [north, south])
    rows = slice(max(int(top), 0), max(int(bottom) + 1, 0))
    columns = slice(max(int(left), 0), max(int(right) + 1, 0))
    eastings, northings = np.meshgrid(grid.eastings[columns], grid.northings[rows])
    shapely.prepare(shape)
    inside = shapely.contains_xy(shape, eastings, northings)
    part = drawn[rows, columns]
    part[inside] = np.maximum(part[inside], height)
