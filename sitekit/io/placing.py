"""Putting vector inputs and places onto the grid."""

from collections.abc import Sequence

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from pyproj import Transformer

from sitekit import words
from sitekit.errors import InputError
from sitekit.grid import Grid
from sitekit.io.vectors import mend_shapes, reproject
from sitekit.site import Reference, Remark

#: Ground kept free about a point or line of no_go. [m]
NO_GO_REACH = 5.0


def place_frame(
    frame: GeoDataFrame, name: str, grid: Grid, file: str
) -> tuple[GeoDataFrame, list[Remark]]:
    """Bring a vector input onto the grid: mended, reprojected, cut to it.

    Water is kept whole, since its size counts beyond the grid too.

    Parameters
    ----------
    frame : GeoDataFrame
        As it was read.
    name : str
        Name of the input.
    grid : Grid
        The grid.
    file : str
        Name for the remarks.

    Returns
    -------
    placed : GeoDataFrame
        On the grid's coordinate system, one row a single shape.
    remarks : list of Remark
        What was mended or left out.
    """
    remarks = []
    placed, mended = mend_shapes(reproject(frame, grid.crs, file))
    if mended:
        text = f"{mended} outlines of {name} cross themselves and are mended"
        remarks.append(Remark("mended", file, text))
    if name == "no_go":
        placed = _with_reach(placed, file, remarks)
    if name == "water" or placed.empty:
        return placed, remarks
    west, south, east, north = grid.bounds
    inside = placed.cx[west:east, south:north]
    if len(inside) < len(placed):
        outside = len(placed) - len(inside)
        text = f"{outside} of {len(placed)} {name} lie outside the elevation; left out"
        remarks.append(Remark("doubtful", file, text))
    return _cut(inside, grid), remarks


def _cut(frame: GeoDataFrame, grid: Grid) -> GeoDataFrame:
    """Cut shapes to the grid, keeping the kind of each."""
    kinds = frame.geom_type
    cut = frame.set_geometry(frame.geometry.clip_by_rect(*grid.bounds))
    cut = cut[~cut.geometry.is_empty].explode(index_parts=False)
    same = cut.geom_type == kinds.reindex(cut.index)
    return cut[same].reset_index(drop=True)


def _with_reach(frame: GeoDataFrame, file: str, remarks: list[Remark]) -> GeoDataFrame:
    """Turn points and lines of no_go into ground."""
    thin = frame.geom_type != "Polygon"
    if thin.any():
        text = (
            f"{int(thin.sum())} of no_go have no extent; "
            f"{words.with_unit(NO_GO_REACH, 'm')} about each is kept free"
        )
        remarks.append(Remark("doubtful", file, text))
    wide = frame.geometry.where(~thin, frame.buffer(NO_GO_REACH))
    return frame.set_geometry(wide)


def find_reference(
    reference: Sequence[float] | None,
    station: Sequence[float] | None,
    buildings: GeoDataFrame,
    elevation: NDArray[np.float32],
    grid: Grid,
) -> Reference | None:
    """Choose the place that night offsets are told against.

    The place that was named, else the station where it lies on the grid, else
    the house.

    Parameters
    ----------
    reference, station : (longitude, latitude[, elevation]) or None
        Places that were named. [degree, m]
    buildings : GeoDataFrame
        Buildings, on the grid's coordinate system.
    elevation : (row, column) ndarray
        Heights, NaN where missing. [m]
    grid : Grid
        The grid.

    Returns
    -------
    reference : Reference or None
        The place on the grid; None stands for the field's median.

    Raises
    ------
    InputError
        A reference that was named lies off the elevation.
    """
    if reference is not None:
        place = _on_ground(reference, grid, elevation)
        if place is None:
            message = (
                f"reference = [{reference[0]:g}, {reference[1]:g}] lies off the "
                "elevation. Give [lon, lat] of a place on it, or leave it out."
            )
            raise InputError(message)
        return Reference("the reference place", *place)
    if station is not None:
        place = _on_ground(station, grid, elevation)
        if place is not None:
            return Reference("the station", *place)
    house = _house(buildings)
    if house is not None and np.isfinite(grid.sample(elevation, *house)):
        return Reference("the house", *house)
    return None


def _on_ground(
    place: Sequence[float], grid: Grid, elevation: NDArray[np.float32]
) -> tuple[float, float] | None:
    to_grid = Transformer.from_crs(4326, grid.crs, always_xy=True)
    easting, northing = to_grid.transform(place[0], place[1])
    if not np.isfinite([easting, northing]).all():
        return None
    height = grid.sample(elevation, easting, northing)
    return (easting, northing) if np.isfinite(height) else None


def _house(buildings: GeoDataFrame) -> tuple[float, float] | None:
    if buildings.empty:
        return None
    houses = buildings[buildings["kind"] == "house"]
    among = houses if len(houses) else buildings
    largest = among.geometry.iloc[int(np.argmax(among.area))]
    place = largest.representative_point()
    return float(place.x), float(place.y)
