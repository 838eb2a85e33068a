"""Canopy heights from a raster, in place of polygons of woodland."""

from pathlib import Path

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from rasterio import features
from rasterio.warp import Resampling, reproject

from sitekit import words
from sitekit.errors import CrsError, InputError
from sitekit.grid import Grid
from sitekit.io.rasters import open_raster
from sitekit.io.schemas import SCHEMAS, fit_columns
from sitekit.site import Remark

#: What stands lower than this is no wood. [m]
LOWEST_WOOD = 2.0
#: No crown stands higher: such numbers are heights above the sea. [m]
HIGHEST_CROWN = 90.0
_TIFF = (b"II*\x00", b"II+\x00", b"MM\x00*", b"MM\x00+")


def is_raster(file: Path) -> bool:
    """Tell whether a file is a TIFF, from its first bytes."""
    if not file.is_file():
        return False
    with file.open("rb") as stream:
        return stream.read(4) in _TIFF


def read_canopy(
    file: Path, grid: Grid
) -> tuple[NDArray[np.float32], GeoDataFrame, list[Remark]]:
    """Read a raster of canopy heights onto the grid.

    Parameters
    ----------
    file : Path
        Heights of what stands on the ground, above the ground. [m]
    grid : Grid
        The grid.

    Returns
    -------
    canopy_height : (row, column) ndarray of float32
        0 where nothing stands or nothing is known. [m]
    woodland : GeoDataFrame
        Outlines of what is 2 m high or more, with the median height of each.
    remarks : list of Remark
        What is assumed.

    Raises
    ------
    CrsError
        The raster names no coordinate system.
    InputError
        The heights are those above the sea.
    """
    canopy = _warp(file, grid)
    highest = float(np.nanmax(canopy, initial=0.0))
    if highest > HIGHEST_CROWN:
        message = (
            f"{file.name} holds heights up to {highest:.0f} m: these are heights above "
            "the sea. Take the ground away from them, so that heights above the ground "
            "remain."
        )
        raise InputError(message)
    canopy = np.nan_to_num(np.maximum(canopy, 0.0), nan=0.0).astype(np.float32)
    woodland = _outlines(canopy, grid, file.name)
    text = (
        "canopy heights do not say which trees are evergreen: all are taken to "
        "lose their leaves; what stands "
        f"{words.with_unit(LOWEST_WOOD, 'm')} high or more counts as wood"
    )
    return canopy, woodland, [Remark("doubtful", file.name, text)]


def _warp(file: Path, grid: Grid) -> NDArray[np.float32]:
    canopy = np.full(grid.shape, np.nan, np.float32)
    with open_raster(file) as dataset:
        if dataset.crs is None:
            message = (
                f"{file.name} names no coordinate system. Save it again with the one "
                "that it was made in."
            )
            raise CrsError(message)
        values = dataset.read(1, masked=True).astype(np.float32).filled(np.nan)
        finer = abs(dataset.transform.a) < grid.cell_size
        reproject(
            values,
            canopy,
            src_transform=dataset.transform,
            src_crs=dataset.crs,
            src_nodata=np.nan,
            dst_transform=grid.transform,
            dst_crs=grid.crs.to_wkt(),
            dst_nodata=np.nan,
            resampling=Resampling.average if finer else Resampling.bilinear,
        )
    return canopy


def _outlines(canopy: NDArray[np.float32], grid: Grid, name: str) -> GeoDataFrame:
    wood = canopy >= LOWEST_WOOD
    outlines = [
        shapely.geometry.shape(outline)
        for outline, _ in features.shapes(
            wood.astype(np.uint8), mask=wood, connectivity=4, transform=grid.transform
        )
    ]
    numbers = (
        features.rasterize(
            zip(outlines, range(1, len(outlines) + 1), strict=True),
            grid.shape,
            transform=grid.transform,
            dtype=np.int32,
        )
        if outlines
        else np.zeros(grid.shape, np.int32)
    )
    heights = [float(np.median(canopy[numbers == i + 1])) for i in range(len(outlines))]
    frame = GeoDataFrame(
        {"height_m": heights, "openness": [0.0] * len(outlines)},
        geometry=outlines,
        crs=grid.crs,
    )
    return fit_columns(frame, SCHEMAS["woodland"], name)
