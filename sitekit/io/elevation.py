"""Read elevation onto the one grid of a site."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from rasterio.features import rasterize

from sitekit.errors import CoverageError, InputError
from sitekit.grid import Grid
from sitekit.io.extent import Wish, choose_grid
from sitekit.io.footprint import check_field, find_home, names
from sitekit.io.mosaic import Placed, lay_mosaic, reaches, trim
from sitekit.io.projection import find_spacing
from sitekit.io.sources import Source, ZUnit, find_source
from sitekit.io.voids import Voids, fill_voids
from sitekit.site import ElevationModel, Remark
from sitekit.words import NO_BREAK, area, number

Surface = Literal["ground", "canopy"]

#: Cells above this are taken as the top of the canopy unless told otherwise. [m]
CANOPY_CELL: Final = 20.0


@dataclass(frozen=True)
class ElevationReading:
    """Elevation on the one grid, and what was found out about it.

    Parameters
    ----------
    grid : Grid
        The grid.
    elevation : (row, column) ndarray of float32
        Height as given; NaN where it is missing. [m]
    ground : (row, column) ndarray of float32
        The same array, or a smoothed copy where heights were given in steps. [m]
    model : ElevationModel
        What is known of the elevation.
    remarks : tuple of Remark
        What is to be said of it.
    """

    grid: Grid
    elevation: NDArray[np.float32]
    ground: NDArray[np.float32]
    model: ElevationModel
    remarks: tuple[Remark, ...]


def read_elevation(
    paths: Sequence[Path],
    field: GeoDataFrame,
    *,
    elevation_crs: str | None = None,
    z_unit: ZUnit | None = None,
    surface: Surface | None = None,
    cell: float | None = None,
    margin: float | None = None,
    max_cells: int | None = None,
) -> ElevationReading:
    """Read one or more elevation files onto one metric grid, north up.

    Parameters
    ----------
    paths : sequence of Path
        Files; where they overlap the first given stands.
    field : GeoDataFrame
        Polygons of the field, in any coordinate system.
    elevation_crs : str, optional
        Coordinate system for files that name none.
    z_unit : {"m", "ft", "us-ft"}, optional
        Unit of the heights, whatever the files say.
    surface : {"ground", "canopy"}, optional
        What the heights are of; canopy above 20 m cells unless told.
    cell : float, optional
        Side of a cell; that of the elevation unless told. [m]
    margin : float, optional
        Ground beyond the field; 1,000 m or all of a small elevation. [m]
    max_cells : int, optional
        Most cells; what the memory holds unless told.

    Returns
    -------
    reading : ElevationReading
        Heights on the grid, and what was found out.

    Raises
    ------
    InputError
        Where a file cannot be used.
    CrsError
        Where a file has no coordinate system and none was given.
    CoverageError
        Where the elevation does not hold the field.
    GridError
        Where the grid asked for is too large or has no meaning.
    """
    wish = Wish(cell, margin, max_cells)
    if not paths:
        message = "No elevation was given. Name at least one elevation file."
        raise InputError(message)
    check_field(field)
    sources = [
        find_source(p, elevation_crs=elevation_crs, z_unit=z_unit) for p in paths
    ]
    home = find_home(sources, field)
    grid, grid_said = choose_grid(sources, home, field, wish)
    idle = [s for s in sources if s is not home and not reaches(s, grid)]
    sources = [s for s in sources if s not in idle]
    placed = lay_mosaic(sources, grid)
    _check_any(placed, sources)
    placed, grid = trim(placed, grid)
    voids = fill_voids(placed.heights)
    ground = voids.elevation
    if placed.step:
        ground = fill_voids(placed.ground).elevation
    model = _describe(sources, placed, grid, field, surface)
    remarks = (
        _say_read(sources, grid, field),
        *(remark for source in sources for remark in source.remarks),
        *(Remark("read", s.name, "not needed: it is away from the site") for s in idle),
        *grid_said,
        *_say_placed(placed, grid, names(sources)),
        *_say_voids(voids, grid, names(sources)),
        *_say_model(model, surface, names(sources)),
        *_check_field_cells(voids.elevation, grid, field, names(sources)),
    )
    return ElevationReading(grid, voids.elevation, ground, model, remarks)


def _check_any(placed: Placed, sources: Sequence[Source]) -> None:
    if np.isfinite(placed.heights).any():
        return
    if placed.absurd["infinite"]:
        message = (
            f"{names(sources)} has no height around the field, only infinite ones. "
            "Export it again with its missing cells declared as nodata."
        )
    elif placed.absurd["impossible"]:
        message = (
            f"No height in {names(sources)} lies between −500 and 9,000 m. Name the "
            "unit with z_unit, or give a file with heights in metres."
        )
    else:
        message = (
            f"{names(sources)} has no height around the field, only missing cells. "
            "Give elevation that has heights there."
        )
    raise InputError(message)


def _describe(
    sources: Sequence[Source],
    placed: Placed,
    grid: Grid,
    field: GeoDataFrame,
    surface: Surface | None,
) -> ElevationModel:
    middle = field.to_crs(4326).geometry.union_all().centroid
    source_cell = max(
        find_spacing(s.crs, s.transform, middle.x, middle.y) for s in sources
    )
    # Rounding to a step adds an even error over the step.
    noise = max(placed.noise, placed.step / np.sqrt(12))
    return ElevationModel(
        sources=tuple(s.name for s in sources),
        source_cell=source_cell,
        surface=surface or ("canopy" if source_cell > CANOPY_CELL else "ground"),
        noise=float(noise),
        step=placed.step,
        attribution="; ".join(
            dict.fromkeys(s.attribution for s in sources if s.attribution)
        ),
        grid_cell=grid.cell_size,
    )


def _say_read(sources: Sequence[Source], grid: Grid, field: GeoDataFrame) -> Remark:
    west, south, east, north = grid.bounds
    w, s, e, n = field.to_crs(grid.crs).total_bounds
    beyond = max(0.0, min(w - west, s - south, east - e, north - n))
    size = f"{number((east - west) / 1000, 1)} × {number((north - south) / 1000, 1)}"
    text = (
        f"{grid.cell_size:g}{NO_BREAK}m, {size}{NO_BREAK}km, reaches "
        f"{beyond:,.0f}{NO_BREAK}m beyond the field"
    )
    return Remark("read", names(sources), text)


def _say_placed(placed: Placed, grid: Grid, about: str) -> list[Remark]:
    said = []
    for source in placed.warped:
        why = (
            "its cells do not fit the grid"
            if source.crs == grid.crs
            else f"from {source.crs.name} to {grid.crs.name}"
        )
        text = f"resampled to {grid.cell_size:g}{NO_BREAK}m (cubic), {why}"
        said.append(Remark("mended", source.name, text))
    for kind, count in placed.absurd.items():
        text = f"{_cells(count)} with {kind} heights taken as missing"
        said.append(Remark("mended", about, text))
    return said


def _say_voids(voids: Voids, grid: Grid, about: str) -> list[Remark]:
    said = []
    if voids.filled:
        text = (
            f"{_holes(voids.filled, 'small')} ({_cells(voids.filled_cells)}) filled "
            "from the rim"
        )
        said.append(Remark("mended", about, text))
    if voids.left:
        size = area(voids.left_cells * grid.cell_area)
        text = f"{_holes(voids.left, 'larger')} ({size}) left without height"
        said.append(Remark("doubtful", about, text))
    return said


def _cells(count: int) -> str:
    return f"{count:,} {'cell' if count == 1 else 'cells'}"


def _holes(count: int, size: str) -> str:
    return f"{count:,} {size} {'hole' if count == 1 else 'holes'}"


def _say_model(
    model: ElevationModel, surface: Surface | None, about: str
) -> list[Remark]:
    said = []
    if model.step:
        floor = 100 * model.step / (2 * model.source_cell)
        text = (
            f"heights in steps of {model.step:.2g}{NO_BREAK}m, which alone read as "
            f"slopes up to {floor:.2g}{NO_BREAK}%; smoothed for slopes and hollows"
        )
        said.append(Remark("mended", about, text))
    if model.surface == "canopy":
        taken = "" if surface else "taken as such above 20\u00a0m cells; "
        text = (
            f"a model of the canopy's top ({taken}surface changes that): woods and "
            "roofs stand in it as if they were ground"
        )
        said.append(Remark("doubtful", about, text))
    return said


def _check_field_cells(
    elevation: NDArray[np.float32], grid: Grid, field: GeoDataFrame, about: str
) -> list[Remark]:
    """Say how much of the field has no height; refuse a field without any."""
    shapes = field.to_crs(grid.crs).geometry
    inside = rasterize(
        shapes, out_shape=grid.shape, transform=grid.transform, all_touched=True
    ).astype(bool)
    missing = int(np.count_nonzero(np.isnan(elevation[inside])))
    total = int(np.count_nonzero(inside))
    if missing == total:
        message = (
            f"{about} has no height anywhere in the field. Give elevation that has."
        )
        raise CoverageError(message)
    if not missing:
        return []
    size = area(missing * grid.cell_area)
    text = f"{size} of the field has no height and is left out"
    return [Remark("doubtful", about, text)]
