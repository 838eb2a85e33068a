"""Ground that rows may stand on, and rows for each fruit in each block."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import cos, isfinite, radians, sin
from typing import Any

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit.fruit import Fruit
from sitekit.planting.assign import Assignment
from sitekit.planting.bearing import choose_bearing, find_guide, mean_slope
from sitekit.planting.lanes import find_setbacks, headland_lanes, plan_cold_air_lanes
from sitekit.planting.ordering import compact_order, keep_apart
from sitekit.planting.rows import Layout, lay_rows, select
from sitekit.planting.troughs import led_together
from sitekit.siting.places import Places
from sitekit.words import SITE_CLASSES, TEST_FIRST

#: Turning ground at the ends of rows. [m] From memory; usual in the trade.
HEADLAND = 6.0
#: Mulched ground or a track within this decides where planting begins. [m]
NEAR = 100.0
#: Parts of a block that several fruit share.
LETTERS = "abcdefghijklmnopqrstuvwxyz"
#: Ground is cut on a grid of this step, so that parts fit to each other. [m]
SNAP = 1e-6
#: Tried shares when ground is cut in two, by halving.
HALVINGS = 24


@dataclass(frozen=True)
class Piece:
    """Rows of one fruit in one block.

    Parameters
    ----------
    name : str
        Number of the block, with a letter where two fruits share it.
    assignment : Assignment
        Fruit, class, trees.
    ground : shapely geometry
        Accepted ground. [m]
    layout : Layout
        Rows and plants.
    order : (plant,) ndarray of int
        Order of planting, from 0.
    """

    name: str
    assignment: Assignment
    ground: BaseGeometry
    layout: Layout
    order: NDArray[np.int64]


@dataclass(frozen=True)
class Grounds:
    """Accepted ground of the blocks.

    Parameters
    ----------
    accepted : mapping of int to shapely geometry
        Ground of each block without setbacks and lanes. [m]
    bearings : mapping of int to float
        Direction of rows in each block; NaN along contours. [degree]
    lanes : GeoDataFrame
        Ground kept open: ``kind``, ``width_m``.
    setbacks : GeoDataFrame
        Ground that plants keep off: ``kind``, ``width_m``.
    """

    accepted: Mapping[int, BaseGeometry]
    bearings: Mapping[int, float]
    lanes: GeoDataFrame
    setbacks: GeoDataFrame


def make_grounds(
    places: Places,
    blocks: GeoDataFrame,
    block_of: NDArray[np.int32],
    paths: GeoDataFrame,
    tuned: Callable[..., Any],
) -> Grounds:
    """Take setbacks and cold-air lanes off the ground of blocks.

    Parameters
    ----------
    places : Places
        Layers of the site.
    blocks : GeoDataFrame
        Blocks that may be planted, one row each or more.
    block_of : (row, column) ndarray of int
        Block of each cell.
    paths : GeoDataFrame
        Cold-air paths.
    tuned : callable
        Calls a function with the settings of the site that it knows.

    Returns
    -------
    grounds : Grounds
    """
    shapes = dict(zip(blocks["block"].astype(int), blocks.geometry, strict=True))
    setbacks = tuned(find_setbacks, places.site)
    kept = shapely.union_all(list(setbacks.geometry))
    off = {number: shape.difference(kept) for number, shape in shapes.items()}
    ground = shapely.union_all(list(off.values()))
    lanes = tuned(plan_cold_air_lanes, ground, led_together(places, paths))
    open_ = shapely.union_all(list(lanes.geometry))
    bearings = {n: _bearing(places, block_of == n, tuned) for n in shapes}
    accepted = {number: shape.difference(open_) for number, shape in off.items()}
    return Grounds(accepted, bearings, lanes, setbacks)


def _bearing(
    places: Places, inside: NDArray[np.bool_], tuned: Callable[..., Any]
) -> float:
    slope, fall = mean_slope(
        places.layers["slope"][inside], places.layers["aspect"][inside]
    )
    found = tuned(choose_bearing, slope, fall)
    return float("nan") if found.pattern == "contour" else float(round(found.bearing))


def lay_pieces(
    places: Places,
    assignments: Sequence[Assignment],
    grounds: Grounds,
    fruits: Mapping[str, Fruit],
    rows_together: int,
) -> list[Piece]:
    """Lay the rows of every fruit on its share of every block.

    Parameters
    ----------
    places : Places
        Classes of cells: no plant stands on ground that is *test first* or worse.
    assignments : sequence of Assignment
        Trees by block and fruit.
    grounds : Grounds
        Accepted ground.
    fruits : mapping of str to Fruit
        Spacing.
    rows_together : int
        Rows planted side by side.

    Returns
    -------
    pieces : list of Piece
        In the order of the assignments, those without a plant left out.
    """
    pieces: list[Piece] = []
    for block in dict.fromkeys(a.choice.block for a in assignments):
        here = [a for a in assignments if a.choice.block == block]
        bearing = grounds.bearings[block]
        shares = _share_out(grounds.accepted[block], here, fruits, bearing)
        for number, (assignment, ground) in enumerate(zip(here, shares, strict=True)):
            letter = LETTERS[number] if len(here) > 1 else ""
            piece = _lay(
                places,
                assignment,
                ground,
                fruits[assignment.choice.fruit],
                bearing,
                (f"{block}{letter}", rows_together),
                [(p.layout.positions, p.layout.spacing) for p in pieces],
            )
            if len(piece.layout.positions):
                pieces.append(piece)
    return pieces


def _share_out(
    ground: BaseGeometry,
    assignments: Sequence[Assignment],
    fruits: Mapping[str, Fruit],
    bearing: float,
) -> list[BaseGeometry]:
    """Cut ground along the rows, a part for each fruit by what its trees take."""
    takes = [
        a.trees * fruits[a.choice.fruit].spacing * fruits[a.choice.fruit].row_spacing
        for a in assignments
    ]
    parts: list[BaseGeometry] = []
    rest = ground
    for number in range(len(takes) - 1):
        wanted = rest.area * takes[number] / sum(takes[number:])
        part = cut_off(rest, wanted, bearing if isfinite(bearing) else 0.0)
        parts.append(part)
        rest = shapely.difference(rest, part, grid_size=SNAP)
    return [*parts, rest]


def cut_off(ground: BaseGeometry, area: float, bearing: float) -> BaseGeometry:
    """Cut a strip of some area off ground, along the rows.

    Parameters
    ----------
    ground : shapely geometry
        [m]
    area : float
        [m²]
    bearing : float
        Direction of the rows. [degree]

    Returns
    -------
    part : shapely geometry
        On the left of the rows' direction.

    Examples
    --------
    >>> round(cut_off(shapely.box(0, 0, 10, 20), 50.0, 0.0).bounds[2], 3)
    2.5
    """
    if ground.is_empty:
        return ground
    along = np.array([sin(radians(bearing)), cos(radians(bearing))])
    across = np.array([along[1], -along[0]])
    corners = shapely.get_coordinates(ground)
    low, high = float((corners @ across).min()), float((corners @ across).max())
    middle, far = corners.mean(axis=0) @ along, float(np.ptp(corners @ along)) + 1.0
    start = low - 1.0
    for _ in range(HALVINGS):
        half = (low + high) / 2
        ends = [(start, -far), (half, -far), (half, far), (start, far)]
        strip = shapely.Polygon(
            [side * across + (middle + up) * along for side, up in ends]
        )
        part = shapely.intersection(ground, strip, grid_size=SNAP)
        low, high = (low, half) if part.area > area else (half, high)
    return part


def _lay(
    places: Places,
    assignment: Assignment,
    ground: BaseGeometry,
    fruit: Fruit,
    bearing: float,
    named: tuple[str, int],
    laid: Sequence[tuple[NDArray[np.float64], float]],
) -> Piece:
    """Lay rows, leave out refused ground, and keep as many trees as are wanted."""
    site = places.site
    field = shapely.union_all(list(site.field.geometry))
    contour = not isfinite(bearing)
    guide = find_guide(ground, site.ground, site.grid) if contour else None
    layout = lay_rows(
        ground,
        spacing=fruit.spacing,
        row_spacing=fruit.row_spacing,
        pattern="contour" if guide is not None else "grid",
        bearing=0.0 if contour else bearing,
        headland=HEADLAND,
        outline=field,
        guide=guide,
    )
    accepted = _accepted(places, fruit.name, layout.positions)
    layout = select(layout, accepted & keep_apart(layout, laid))
    name, together = named
    order = compact_order(layout, _start(places, layout.positions), together)
    chosen = order < assignment.trees
    return Piece(name, assignment, ground, select(layout, chosen), order[chosen])


def _accepted(
    places: Places, fruit: str, positions: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Tell which positions lie on ground better than *test first*, off roots."""
    grid = places.site.grid
    rows, columns = grid.cells(positions[:, 0], positions[:, 1])
    holds = grid.holds(rows, columns)
    classes = np.zeros(len(positions), dtype=int)
    found = places.verdicts[fruit].site_class[rows[holds], columns[holds]]
    classes[holds] = found
    accepted: NDArray[np.bool_] = (classes > TEST_FIRST) & (classes < len(SITE_CLASSES))
    return accepted


def _start(
    places: Places, positions: NDArray[np.float64]
) -> NDArray[np.float64] | None:
    """Find where planting begins: beside mulched ground, else beside a track."""
    if not len(positions):
        return None
    ground = shapely.MultiPoint(positions)
    for name in ("mulched", "access"):
        shapes = list(places.site.vectors[name].geometry)
        near = min(shapes, key=ground.distance, default=None)
        if near is not None and ground.distance(near) <= NEAR:
            points = shapely.points(positions)
            closest = int(shapely.distance(points, near).argmin())
            return np.asarray(positions[closest], dtype=np.float64)
    return None


def open_ground(
    grounds: Grounds, pieces: Sequence[Piece], places: Places
) -> GeoDataFrame:
    """List the ground that stays open: cold-air lanes, and headlands of planted blocks.

    Parameters
    ----------
    grounds : Grounds
        Lanes.
    pieces : sequence of Piece
        What is planted.
    places : Places
        The site.

    Returns
    -------
    lanes : GeoDataFrame
        Polygons: ``kind``, ``width_m``.
    """
    field = shapely.union_all(list(places.site.field.geometry))
    crs = places.site.grid.crs
    frames = [grounds.lanes]
    for bearing in dict.fromkeys(
        p.layout.bearing for p in pieces if isfinite(p.layout.bearing)
    ):
        mine = [p.ground for p in pieces if p.layout.bearing == bearing]
        near = shapely.union_all(mine).buffer(HEADLAND)
        ends = headland_lanes(field, bearing, HEADLAND, crs)
        ends = ends.set_geometry(ends.geometry.intersection(near))
        frames.append(ends[ends.area > 0])
    return GeoDataFrame(
        {
            name: [value for frame in frames for value in frame[name]]
            for name in ("kind", "width_m")
        },
        geometry=[shape for frame in frames for shape in frame.geometry],
        crs=crs,
    )
