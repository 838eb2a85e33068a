"""Lay elevation files onto one grid: untouched where their cells fit, else warped."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.enums import Resampling
from rasterio.warp import reproject

from sitekit.grid import Grid
from sitekit.io.footprint import edge_points, find_bounds, move
from sitekit.io.noise import estimate_noise
from sitekit.io.sources import Source, read_heights
from sitekit.io.terracing import find_step, smooth_terraces

#: How far a cell may lie off the lattice and still fit. [cells]
FIT: Final = 0.01
#: Cells read around a window that is warped: the reach of the cubic kernel.
REACH: Final = 4
#: Error of the warper's approximated coordinates. [cells]
WARP_ERROR: Final = 0.01


@dataclass(frozen=True)
class Placed:
    """Heights of one or more files on the grid.

    Parameters
    ----------
    heights : (row, column) ndarray of float32
        NaN where no file has a height. [m]
    ground : (row, column) ndarray of float32
        The same array, or a smoothed copy where heights were given in steps. [m]
    absurd : Counter
        Cells that held what no height can be: ``impossible``, ``infinite``.
    step, noise : float
        Of the heights as read; the largest of the files. [m]
    warped : tuple of Source
        Files whose cells did not fit the grid.
    """

    heights: NDArray[np.float32]
    ground: NDArray[np.float32]
    absurd: Counter[str]
    step: float
    noise: float
    warped: tuple[Source, ...]


def lay_mosaic(sources: Sequence[Source], grid: Grid) -> Placed:
    """Lay files onto the grid; where they overlap the first given stands.

    Neighbouring tiles on one lattice are joined before they are warped, so that no
    seam shows.

    Parameters
    ----------
    sources : sequence of Source
        In the order given.
    grid : Grid
        Where the heights shall lie.

    Returns
    -------
    placed : Placed
        The heights, and what was seen while reading.
    """
    heights = np.full(grid.shape, np.nan, np.float32)
    ground = heights
    absurd: Counter[str] = Counter()
    step, noise = 0.0, 0.0
    warped: list[Source] = []
    for group in _group(sources):
        placed = _lay_group(group, grid)
        if placed is None:
            continue
        if placed.step and ground is heights:
            ground = heights.copy()
        if ground is not heights:
            np.copyto(ground, placed.ground, where=np.isnan(ground))
        np.copyto(heights, placed.heights, where=np.isnan(heights))
        absurd += placed.absurd
        step, noise = max(step, placed.step), max(noise, placed.noise)
        warped.extend(placed.warped)
    return Placed(heights, ground, absurd, step, noise, tuple(warped))


def _group(sources: Sequence[Source]) -> list[list[Source]]:
    """Put files that follow each other on one lattice together."""
    groups: list[list[Source]] = []
    for source in sources:
        if groups and source.joins(groups[-1][0]):
            groups[-1].append(source)
        else:
            groups.append([source])
    return groups


def find_factor(source: Source, grid: Grid) -> int | None:
    """Count the cells to a side that make one cell of the grid.

    Returns
    -------
    factor : int or None
        None where the cells of the file do not fit the grid.
    """
    if source.crs != grid.crs or not source.square:
        return None
    size = source.transform.a
    factor = round(grid.cell_size / size)
    across, down = _lattice_position(source, grid)
    drift = abs(factor * size - grid.cell_size) * max(grid.shape)
    phase = max(abs(across - round(across)), abs(down - round(down)))
    fits = factor >= 1 and phase < FIT and drift < FIT * grid.cell_size
    return factor if fits else None


def _lattice_position(source: Source, grid: Grid) -> tuple[float, float]:
    across, down = ~source.transform @ (grid.west, grid.north)
    return float(across), float(down)


def _lay_group(group: list[Source], grid: Grid) -> Placed | None:
    factor = find_factor(group[0], grid)
    if factor is None:
        return _warp_group(group, grid)
    across, down = _lattice_position(group[0], grid)
    row, column = round(down), round(across)
    heights, absurd = read_heights(
        group,
        (row, row + grid.shape[0] * factor),
        (column, column + grid.shape[1] * factor),
        factor,
    )
    return _smooth(heights, absurd, grid.cell_area)


def _smooth(
    heights: NDArray[np.float32], absurd: Counter[str], cell_area: float
) -> Placed:
    """Look at heights as they were read; smooth a copy where they are in steps."""
    step, noise = find_step(heights), estimate_noise(heights)
    ground = heights
    if step:
        ground = smooth_terraces(heights, step=step, cell_area=cell_area)
    return Placed(heights, ground, absurd, step, noise, ())


def _warp_group(group: list[Source], grid: Grid) -> Placed | None:
    """Read what lies under the grid and warp it by cubic interpolation."""
    across, down = _find_ratios(group[0], grid)
    # A cell of the grid that holds many cells is their mean.
    factor = max(1, int(min(across, down) + 0.01))
    window = _find_window(group, grid, factor)
    if window is None:
        return None
    rows, columns = window
    heights, absurd = read_heights(group, rows, columns, factor)
    read = _smooth(heights, absurd, grid.cell_area * factor**2 / (across * down))
    corner = Affine.translation(columns[0], rows[0]) @ Affine.scale(factor)
    frame = group[0].transform @ corner
    heights = _warp(read.heights, frame, group[0].crs, grid)
    ground = heights
    if read.step:
        ground = _warp(read.ground, frame, group[0].crs, grid)
    return Placed(heights, ground, absurd, read.step, read.noise, tuple(group))


def _warp(
    values: NDArray[np.float32], frame: Affine, crs: CRS, grid: Grid
) -> NDArray[np.float32]:
    warped = np.full(grid.shape, np.nan, np.float32)
    reproject(
        values,
        warped,
        src_transform=frame,
        src_crs=rasterio.CRS.from_wkt(crs.to_wkt()),
        src_nodata=np.nan,
        dst_transform=grid.transform,
        dst_crs=rasterio.CRS.from_wkt(grid.crs.to_wkt()),
        dst_nodata=np.nan,
        resampling=Resampling.cubic,
        tolerance=WARP_ERROR,
    )
    return warped


def _find_ratios(source: Source, grid: Grid) -> tuple[float, float]:
    """Count the cells of a file along a cell of the grid, eastward and northward."""
    x, y = grid.centre
    size = grid.cell_size
    ends = move(grid.crs, source.crs, [x, x + size, x], [y, y, y + size])
    columns, rows = _to_cells(source, *ends)
    lengths = np.hypot(columns[1:] - columns[0], rows[1:] - rows[0])
    return float(lengths[0]), float(lengths[1])


def _to_cells(
    source: Source, x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    t = ~source.transform
    return t.a * x + t.b * y + t.c, t.d * x + t.e * y + t.f


def _find_window(
    group: list[Source], grid: Grid, factor: int
) -> tuple[tuple[int, int], tuple[int, int]] | None:
    """Find the rows and columns of the first file's lattice under the grid."""
    x, y = move(grid.crs, group[0].crs, *edge_points(grid.bounds))
    columns, rows = _to_cells(group[0], x, y)
    if not (np.isfinite(columns).any() and np.isfinite(rows).any()):
        return None
    offsets = [source.offset_from(group[0]) for source in group]
    spans = []
    for axis, needed in ((1, rows), (0, columns)):
        starts = [round(offset[axis]) for offset in offsets]
        stops = [
            start + source.shape[1 - axis]
            for start, source in zip(starts, group, strict=True)
        ]
        low = max(min(starts), int(np.floor(np.nanmin(needed))) - REACH * factor)
        high = min(max(stops), int(np.ceil(np.nanmax(needed))) + REACH * factor)
        spans.append((low, low + (high - low) // factor * factor))
    if any(high <= low for low, high in spans):
        return None
    return spans[0], spans[1]


def reaches(source: Source, grid: Grid) -> bool:
    """Tell whether a file lies under part of the grid."""
    bounds = find_bounds(source, grid.crs)
    if bounds is None:
        return False
    west, south, east, north = grid.bounds
    across = bounds[0] < east and bounds[2] > west
    return across and bounds[1] < north and bounds[3] > south


def trim(placed: Placed, grid: Grid) -> tuple[Placed, Grid]:
    """Take rows and columns without any height off the edges of what was warped.

    Parameters
    ----------
    placed : Placed
        On the grid, with at least one height.
    grid : Grid
        Where it lies.

    Returns
    -------
    placed : Placed
        What is left.
    grid : Grid
        Where that lies.
    """
    known = np.isfinite(placed.heights)
    spans = []
    for axis in (1, 0):
        held = np.flatnonzero(known.any(axis=axis))
        spans.append((int(held[0]), int(held[-1]) + 1))
    (top, bottom), (left, right) = spans
    if not placed.warped or (bottom - top, right - left) == grid.shape:
        return placed, grid
    kept = Grid(
        grid.crs,
        round(grid.west + left * grid.cell_size, 6),
        round(grid.north - top * grid.cell_size, 6),
        grid.cell_size,
        (bottom - top, right - left),
    )
    heights = placed.heights[top:bottom, left:right].copy()
    ground = heights
    if placed.ground is not placed.heights:
        ground = placed.ground[top:bottom, left:right].copy()
    return replace(placed, heights=heights, ground=ground), kept
