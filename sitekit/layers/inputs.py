"""The inputs of the layers: arrays made from a site."""

from typing import Any

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit.grid import Grid
from sitekit.kernels.barriers import raise_barriers
from sitekit.layers.cover import SHORT_GRASS, cover_code
from sitekit.layers.faces import PIECE, cut_line
from sitekit.layers.lake_inputs import gather_lakes
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
        ``survey_elevation``, ``ground``, ``canopy_height``, ``water``, ``field``,
        ``barrier_height`` (height that blocks air), ``barrier_top`` (whole
        height), ``cover`` and ``cover_known``, each (row, column);
        ``height_doubt``, 0 until errors of the heights have been carried;
        ``barrier_pieces`` (piece, 11); ``reference_cell`` (2,), empty where the
        field's median is the reference; and the lakes of `gather_lakes`.
    """
    barriers = site.vectors["barriers"]
    height = barriers["height_m"].to_numpy(dtype=float)
    blocking = height * (1 - barriers["openness"].to_numpy(dtype=float))
    if "foot_m" in barriers:
        # Over a lifted foot nothing is held in the end.
        blocking = np.where(barriers["foot_m"].fillna(0) > 0, 0.0, blocking)
    return {
        "survey_elevation": site.elevation,
        "ground": site.ground,
        "canopy_height": site.canopy_height,
        "water": site.water_mask,
        "barrier_height": draw_barriers(barriers, blocking, site.grid),
        "barrier_top": draw_barriers(barriers, height, site.grid),
        "barrier_pieces": cut_barriers(barriers, site.grid),
        "cover": draw_cover(site),
        "cover_known": _cover_known(site),
        "field": site.field_mask,
        "height_doubt": np.broadcast_to(np.float32(0), site.grid.shape),
        "reference_cell": _reference_cell(site),
        **gather_lakes(site),
    }


def _reference_cell(site: Site) -> NDArray[np.intp]:
    """Row and column of the reference place; empty where it is no place on the grid."""
    none = np.empty(0, dtype=np.intp)
    if site.reference is None:
        return none
    row, column = site.grid.cells(site.reference.easting, site.reference.northing)
    inside = site.grid.holds(row, column) and np.isfinite(site.elevation[row, column])
    return np.array([row, column]) if inside else none


def draw_cover(site: Site) -> NDArray[np.uint8]:
    """Put the kind of ground cover into each cell; short grass where none is known.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    cover : (row, column) ndarray of uint8
        Codes of `sitekit.layers.cover.COVERS`.
    """
    cover = np.full(site.grid.shape, SHORT_GRASS, dtype=np.uint8)
    given = site.vectors["cover"]
    for shape, kind in zip(given.geometry, given["kind"], strict=True):
        mark_inside(shape, cover_code(str(kind)), cover, site.grid)
    for name, kind in (("mulched", "mulch"), ("buildings", "roofs")):
        for shape in site.vectors[name].geometry:
            mark_inside(shape, cover_code(kind), cover, site.grid)
    cover[site.canopy_height > 0] = cover_code("wood")
    cover[site.water_mask] = cover_code("open water")
    return cover


def _cover_known(site: Site) -> NDArray[np.bool_]:
    """Mark cells whose cover was given."""
    known = np.zeros(site.grid.shape, dtype=bool)
    for name in ("cover", "mulched", "buildings"):
        for shape in site.vectors[name].geometry:
            mark_inside(shape, True, known, site.grid)
    return known | (site.canopy_height > 0) | site.water_mask


def cut_barriers(barriers: GeoDataFrame, grid: Grid) -> NDArray[np.float64]:
    """Cut barriers into straight pieces for the moving air.

    Parameters
    ----------
    barriers : GeoDataFrame
        Lines, and polygons by their edge; ``foot_m`` (slot at the foot) and
        ``gaps`` (from and to along the line) where a proposal made them.
    grid : Grid
        The grid.

    Returns
    -------
    pieces : (piece, 11) ndarray
        Columns as in `sitekit.layers.faces.PIECE`.
    """
    pieces = []
    line = 0
    for barrier in barriers.to_dict("records"):
        shape = barrier["geometry"]
        edge = shape.boundary if shape.geom_type in AREAS else shape
        for part in shapely.get_parts(edge):
            points = shapely.get_coordinates(part)
            for begin, end, start, stop, gap in cut_line(
                points, barrier.get("gaps") or []
            ):
                pieces.append(
                    [
                        *_in_cells(begin, grid),
                        *_in_cells(end, grid),
                        barrier["height_m"],
                        barrier["openness"],
                        # A frame with a foot for one line has NaN for the others.
                        np.nan_to_num(barrier.get("foot_m") or 0.0),
                        gap,
                        line,
                        start,
                        stop,
                    ]
                )
            line += 1
    return np.array(pieces, dtype=float).reshape(-1, len(PIECE))


def _in_cells(point: NDArray[np.float64], grid: Grid) -> tuple[float, float]:
    """Column and row of a point, with fractions, from the outer corner."""
    return (
        float(point[0] - grid.west) / grid.cell_size,
        float(grid.north - point[1]) / grid.cell_size,
    )


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
    opened = barriers.get("gaps", [None] * len(barriers))
    for shape, gaps, height in zip(barriers.geometry, opened, heights, strict=True):
        lines = shape.boundary if shape.geom_type in AREAS else shape
        segments = _segments(lines, gaps or [], grid)
        raise_barriers(
            segments, np.full(len(segments), height, dtype=np.float32), drawn
        )
        if shape.geom_type in AREAS:
            _raise_inside(shape, height, drawn, grid)
    return drawn


def _segments(
    lines: BaseGeometry, gaps: list[tuple[float, float]], grid: Grid
) -> NDArray[np.float64]:
    """Cut lines into straight pieces without gaps, in columns and rows of the grid."""
    pieces = [
        [*_in_cells(begin, grid), *_in_cells(end, grid)]
        for line in shapely.get_parts(lines)
        for begin, end, _, _, gap in cut_line(shapely.get_coordinates(line), gaps)
        if not gap
    ]
    return np.array(pieces, dtype=float).reshape(-1, 4)


def _cells_inside(
    shape: BaseGeometry, grid: Grid
) -> tuple[slice, slice, NDArray[np.bool_]]:
    """Find the window of a shape and the cells in it whose centre lies inside."""
    west, south, east, north = shape.bounds
    (top, bottom), (left, right) = grid.cells([west, east], [north, south])
    rows = slice(max(int(top), 0), max(int(bottom) + 1, 0))
    columns = slice(max(int(left), 0), max(int(right) + 1, 0))
    eastings, northings = np.meshgrid(grid.eastings[columns], grid.northings[rows])
    shapely.prepare(shape)
    return rows, columns, shapely.contains_xy(shape, eastings, northings)


def mark_inside(
    shape: BaseGeometry, value: float, drawn: NDArray[Any], grid: Grid
) -> None:
    """Write a value into the cells whose centre lies in a polygon.

    Parameters
    ----------
    shape : shapely geometry
        The polygon.
    value : float
        What to write.
    drawn : (row, column) ndarray
        Changed in place.
    grid : Grid
        Its grid.
    """
    rows, columns, inside = _cells_inside(shape, grid)
    drawn[rows, columns][inside] = value


def _raise_inside(
    shape: BaseGeometry, height: float, drawn: NDArray[np.float32], grid: Grid
) -> None:
    """Raise the cells whose centre lies in a polygon."""
    rows, columns, inside = _cells_inside(shape, grid)
    part = drawn[rows, columns]
    part[inside] = np.maximum(part[inside], height)
