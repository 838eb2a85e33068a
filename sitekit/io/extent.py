"""Choose the one grid of a site: its system, cell, edges and size."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit.errors import GridError
from sitekit.grid import Grid
from sitekit.io.footprint import Bounds, find_bounds
from sitekit.io.projection import find_spacing, find_utm, serves
from sitekit.io.sources import Source
from sitekit.site import Remark
from sitekit.words import NO_BREAK

#: Ground beyond the field where no margin is given. [m]
MARGIN: Final = 1000.0
#: Elevation of fewer cells is taken whole where no margin is given. [cells]
WHOLE: Final = 4_000_000
#: Elevation that is wider is never taken whole: no one plane maps it. [m]
WIDEST: Final = 300_000.0
#: Finest cell. [m]
FINEST: Final = 1.0
#: Memory that a survey needs for each cell, estimated. [byte]
BYTES_A_CELL: Final = 200
#: Most cells, however large the memory. [cells]
MOST: Final = 400_000_000
#: A cell edge this near to a box is on it. [cells]
SNAP: Final = 1e-3


@dataclass(frozen=True)
class Wish:
    """What the user asks of the grid; None leaves it to the elevation.

    Parameters
    ----------
    cell : float or None
        Side of a cell. [m]
    margin : float or None
        Ground beyond the field. [m]
    max_cells : int or None
        Most cells.

    Raises
    ------
    GridError
        Where a number has no meaning.
    """

    cell: float | None = None
    margin: float | None = None
    max_cells: int | None = None

    def __post_init__(self) -> None:
        mistakes = []
        if self.cell is not None and not 0 < self.cell < np.inf:
            mistakes.append(
                f"A cell of {self.cell} m has no meaning. Give cell in metres, above 0."
            )
        if self.margin is not None and not 0 <= self.margin < np.inf:
            mistakes.append(
                f"A margin of {self.margin} m has no meaning. Give margin in metres, "
                "0 or more."
            )
        if self.max_cells is not None and self.max_cells < 1:
            mistakes.append(
                f"max_cells = {self.max_cells} leaves no cell. Give 1 or more."
            )
        if mistakes:
            raise GridError(*mistakes)


@dataclass(frozen=True)
class Lattice:
    """A system and the corner that its cells are counted from."""

    crs: CRS
    west: float
    north: float
    #: Whether cells of a file are kept as they are.
    native: bool
    #: Side of a cell where none is asked for. [m]
    cell: float


def choose_grid(
    sources: Sequence[Source], home: Source, field: GeoDataFrame, wish: Wish
) -> tuple[Grid, tuple[Remark, ...]]:
    """Choose the grid of a site.

    Parameters
    ----------
    sources : sequence of Source
        The elevation files.
    home : Source
        The one that holds the field: its system and cells are kept where they serve.
    field : GeoDataFrame
        Polygons, in any system.
    wish : Wish
        What the user asks for.

    Returns
    -------
    grid : Grid
        The grid.
    remarks : tuple of Remark
        What was changed, and why.

    Raises
    ------
    GridError
        Where the grid asked for has too many cells, or none.
    """
    middle = field.to_crs(4326).geometry.union_all().centroid
    lattice = find_lattice(home, middle.x, middle.y)
    cell, said = _choose_cell(
        lattice, wish.cell, find_spacing(home.crs, home.transform, middle.x, middle.y)
    )
    reach = _find_reach(sources, lattice.crs)
    limit = min(wish.max_cells or MOST, find_memory_cells())
    margin = wish.margin
    if margin is None:
        margin = np.inf if _is_small(reach, cell, min(WHOLE, limit)) else MARGIN
    box = _find_box(lattice, field, reach, margin)
    grid = _snap(lattice, cell, box, reach)
    if grid.shape[0] * grid.shape[1] > limit:
        coarser = _find_fitting(lattice, cell, box, reach, limit)
        _check_limit(grid, coarser, limit, wish, field)
        text = (
            f"cells of {_metres(cell)} would be {_count(grid)} cells, above the limit "
            f"of {limit:,}; coarsened to {_metres(coarser.cell_size)}"
        )
        grid, said = coarser, (*said, Remark("mended", "cell", text))
    return grid, said


def find_lattice(home: Source, longitude: float, latitude: float) -> Lattice:
    """Keep the system and cells of a file where they serve, else take UTM."""
    spacing = find_spacing(home.crs, home.transform, longitude, latitude)
    rounded = max(0.1, round(spacing, 1))
    if not serves(home.crs, longitude, latitude):
        return Lattice(find_utm(longitude, latitude), 0.0, 0.0, False, rounded)
    if not home.square:
        return Lattice(home.crs, 0.0, 0.0, False, rounded)
    t = home.transform
    return Lattice(home.crs, t.c, t.f, True, t.a)


def _choose_cell(
    lattice: Lattice, asked: float | None, spacing: float
) -> tuple[float, tuple[Remark, ...]]:
    cell = asked or lattice.cell
    if cell < FINEST * (1 - 1e-6):
        # Whole groups of cells, so that averaging shifts nothing.
        if lattice.native:
            cell = lattice.cell * np.ceil(FINEST / lattice.cell - 1e-6)
        else:
            cell = FINEST
        text = f"finer than {_metres(FINEST)}; set to {_metres(cell)}"
        return float(cell), (Remark("mended", "cell", text),)
    if asked and cell < spacing * 0.99:
        text = (
            f"{_metres(cell)} is finer than the elevation ({_metres(spacing)}); "
            f"nothing narrower than {_metres(3 * spacing)} shows all the same"
        )
        return cell, (Remark("doubtful", "cell", text),)
    return cell, ()


def _find_reach(sources: Sequence[Source], crs: CRS) -> Bounds:
    """Find the box around all files."""
    found = [b for s in sources if (b := find_bounds(s, crs)) is not None]
    boxes = np.array(found or [(-np.inf, -np.inf, np.inf, np.inf)])
    low, high = boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _is_small(box: Bounds, cell: float, limit: int) -> bool:
    width, height = box[2] - box[0], box[3] - box[1]
    return width / cell * (height / cell) <= limit and max(width, height) <= WIDEST


def _find_box(
    lattice: Lattice, field: GeoDataFrame, reach: Bounds, around: float
) -> Bounds:
    """Find the ground that is wanted: around the field, within the elevation."""
    west, south, east, north = field.to_crs(lattice.crs).total_bounds
    return (
        max(float(west) - around, reach[0]),
        max(float(south) - around, reach[1]),
        min(float(east) + around, reach[2]),
        min(float(north) + around, reach[3]),
    )


def _snap(lattice: Lattice, cell: float, box: Bounds, reach: Bounds) -> Grid:
    """Widen the box to whole cells, but not beyond the elevation."""
    spans = []
    for corner, low, high, first, last in (
        (lattice.west, box[0], box[2], reach[0], reach[2]),
        (-lattice.north, -box[3], -box[1], -reach[3], -reach[1]),
    ):
        start = np.floor((low - corner) / cell + SNAP)
        stop = np.ceil((high - corner) / cell - SNAP)
        if np.isfinite(first):
            start = max(start, np.ceil((first - corner) / cell - SNAP))
            stop = min(stop, np.floor((last - corner) / cell + SNAP))
        spans.append((int(start), int(stop)))
    (left, right), (top, bottom) = spans
    if right <= left or bottom <= top:
        message = (
            f"A cell of {_metres(cell)} is larger than the elevation. Set a smaller "
            "cell or more cells, or give elevation with finer cells."
        )
        raise GridError(message)
    west, north = lattice.west + left * cell, lattice.north - top * cell
    if not lattice.native:
        west, north = round(west, 3), round(north, 3)
    return Grid(lattice.crs, west, north, cell, (bottom - top, right - left))


def _find_fitting(
    lattice: Lattice, cell: float, box: Bounds, reach: Bounds, limit: int
) -> Grid:
    """Find the finest grid that keeps the limit: whole groups, or tenths of a metre."""
    step = lattice.cell if lattice.native else 0.1
    area = (box[2] - box[0]) * (box[3] - box[1])
    groups = np.ceil(max(cell, np.sqrt(area / limit)) / step - 1e-6)
    while True:
        grid = _snap(lattice, float(groups * step), box, reach)
        if grid.shape[0] * grid.shape[1] <= limit:
            return grid
        groups += 1


def _check_limit(
    grid: Grid, coarser: Grid, limit: int, wish: Wish, field: GeoDataFrame
) -> None:
    """Refuse what the user asked for by name, and a grid that shows no field."""
    which = "max_cells" if wish.max_cells == limit else "the memory of this machine"
    if wish.cell is not None:
        message = (
            f"A cell of {_metres(grid.cell_size)} makes {_count(grid)} cells, above "
            f"the {limit:,} that {which} allows. Set cell to "
            f"{coarser.cell_size:.4g} or more, or a smaller margin."
        )
        raise GridError(message)
    west, south, east, north = field.to_crs(grid.crs).total_bounds
    if coarser.cell_size > min(east - west, north - south):
        message = (
            f"The {limit:,} cells that {which} allows make cells of "
            f"{_metres(coarser.cell_size)}, wider than the field. Set a smaller "
            "margin or more cells."
        )
        raise GridError(message)


def find_memory_cells() -> int:
    """Estimate how many cells half of the free memory holds.

    Returns
    -------
    cells : int
        At least `WHOLE`, at most `MOST`.
    """
    return int(np.clip(_find_free_memory() // 2 // BYTES_A_CELL, WHOLE, MOST))


def _find_free_memory() -> int:
    """Find the memory that programs may still take. [byte]."""
    table = Path("/proc/meminfo")
    if table.is_file():
        # Free pages alone leave out the file cache, which gives way.
        for line in table.read_text(encoding="ascii").splitlines():
            if line.startswith("MemAvailable:"):
                return int(line.split()[1]) * 1024
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") // 2
    return 4 * 1024**3


def _metres(length: float) -> str:
    return f"{float(f'{length:.4g}'):g}{NO_BREAK}m"


def _count(grid: Grid) -> str:
    return f"{grid.shape[0] * grid.shape[1]:,}"
