"""Rows of plants on the ground that is left for them."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, hypot, isfinite, radians, sin, sqrt
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry import LineString, MultiLineString
from shapely.geometry.base import BaseGeometry

from sitekit.errors import SitekitError
from sitekit.planting.lanes import find_headlands

Pattern = Literal["grid", "offset", "contour"]
PATTERNS = ("grid", "offset", "contour")
#: Positions, and the row of each.
Rowed = tuple[NDArray[np.float64], NDArray[np.int64]]
#: Starts of the grid that are tried along and across the rows.
STARTS = 4
#: Room for the last digit of a distance. [m]
TINY = 1e-6


@dataclass(frozen=True)
class Layout:
    """Rows of one block and the positions in them.

    Parameters
    ----------
    lines : tuple of shapely geometry
        One a row, in order: what of the row lies on the ground, in pieces where
        the ground is cut.
    positions : (plant, 2) ndarray of float64
        Easting and northing. [m]
    row, number : (plant,) ndarray of int64
        Row, and number within the row, both from 1.
    bearing : float
        Direction of the rows, clockwise from grid north; NaN along contours.
        [degree]
    spacing, row_spacing : float
        Between plants of a row, and between rows. [m]
    """

    lines: tuple[BaseGeometry, ...]
    positions: NDArray[np.float64]
    row: NDArray[np.int64]
    number: NDArray[np.int64]
    bearing: float
    spacing: float
    row_spacing: float


def least_distance(spacing: float, row_spacing: float, pattern: Pattern) -> float:
    """Tell how near two plants of a pattern may come.

    Parameters
    ----------
    spacing, row_spacing : float
        Between plants of a row, and between rows. [m]
    pattern : {"grid", "offset", "contour"}
        Square or oblong, rows shifted by half a spacing, or along the contour.

    Returns
    -------
    distance : float
        [m]

    Examples
    --------
    >>> least_distance(4.0, 5.0, "grid"), least_distance(6.0, 4.0, "offset")
    (4.0, 5.0)
    """
    if pattern == "offset":
        return min(spacing, hypot(row_spacing, spacing / 2), 2 * row_spacing)
    return min(spacing, row_spacing)


def trees_per_hectare(spacing: float, row_spacing: float) -> float:
    """Count the trees of a hectare without edges, in any pattern.

    Examples
    --------
    >>> trees_per_hectare(4.0, 5.0)
    500.0
    """
    return 10_000.0 / (spacing * row_spacing)


def lay_rows(
    ground: BaseGeometry,
    *,
    spacing: float,
    row_spacing: float,
    pattern: Pattern = "grid",
    bearing: float = 0.0,
    headland: float = 0.0,
    outline: BaseGeometry | None = None,
    guide: LineString | None = None,
) -> Layout:
    """Lay rows on ground, at exact spacing.

    Of sixteen starts of a straight pattern the one that holds most plants is
    taken, of equals the one that lies most in the middle of the ground.

    Parameters
    ----------
    ground : Polygon or MultiPolygon
        Accepted ground without setbacks and lanes. [m]
    spacing, row_spacing : float
        Between plants of a row, and between rows. [m]
    pattern : {"grid", "offset", "contour"}
        Contour rows run along `guide` and beside it.
    bearing : float
        Direction of straight rows, clockwise from grid north. [degree]
    headland : float
        Ground that stays free at both ends of straight rows, to turn on. [m]
    outline : shapely geometry, optional
        Ground on which a machine may turn; the ground itself, its holes filled,
        where not given.
    guide : LineString, optional
        Height line of the contour pattern, by `find_guide`.

    Returns
    -------
    layout : Layout
        Rows and positions; empty where nothing fits.

    Raises
    ------
    SitekitError
        A spacing that is not positive, an unknown pattern, or contour rows without
        a guide.
    """
    _check(spacing, row_spacing, pattern, guide)
    ground = _areas(ground)
    if guide is not None and pattern == "contour":
        lines, pieces = _lay_contours(ground, guide, spacing, row_spacing)
        return _layout(lines, pieces, (float("nan"), spacing, row_spacing))
    if headland > 0 and not ground.is_empty:
        ends = find_headlands(outline or ground, bearing, headland)
        ground = _areas(ground.difference(ends))
    lines, pieces = _lay_straight(ground, bearing, spacing, row_spacing, pattern)
    return _layout(lines, pieces, (bearing, spacing, row_spacing))


def thin_out(
    layouts: Sequence[Layout],
    existing: NDArray[np.float64] | None = None,
    *,
    least: float | None = None,
) -> list[Layout]:
    """Leave out plants that come too near to a plant of an earlier block.

    Parameters
    ----------
    layouts : sequence of Layout
        Blocks, the first served first.
    existing : (plant, 2) ndarray, optional
        Plants that stand already. [m]
    least : float, optional
        Distance to keep; for each pair the larger of its two spacings where not
        given. [m]

    Returns
    -------
    layouts : list of Layout
        The same blocks; rows and numbers are counted anew.
    """
    taken = np.empty((0, 2)) if existing is None else np.asarray(existing, float)
    near = np.zeros(len(taken))
    kept: list[Layout] = []
    for layout in layouts:
        distance = least or layout.spacing
        open_ = np.ones(len(layout.positions), bool)
        if len(taken) and len(open_):
            found = cKDTree(layout.positions).sparse_distance_matrix(
                cKDTree(taken), max(distance, near.max()), output_type="ndarray"
            )
            asked = np.maximum(distance, near[found["j"]])
            open_[found["i"][found["v"] < asked - TINY]] = False
        kept.append(select(layout, open_))
        taken = np.vstack([taken, kept[-1].positions])
        near = np.append(near, np.full(len(kept[-1].positions), distance))
    return kept


def select(layout: Layout, chosen: NDArray[np.bool_]) -> Layout:
    """Keep some of the plants and count rows and numbers anew.

    Parameters
    ----------
    layout : Layout
        Rows and positions.
    chosen : (plant,) ndarray of bool
        Plants to keep.

    Returns
    -------
    layout : Layout
        Rows without a plant are gone.
    """
    if chosen.all():
        return layout
    rows = np.unique(layout.row[chosen])
    pieces = [layout.positions[chosen & (layout.row == row)] for row in rows]
    lines = [layout.lines[row - 1] for row in rows]
    return _layout(lines, pieces, (layout.bearing, layout.spacing, layout.row_spacing))


def _check(
    spacing: float, row_spacing: float, pattern: str, guide: LineString | None
) -> None:
    for name, value in (("spacing", spacing), ("row spacing", row_spacing)):
        if not (isfinite(value) and value > 0):
            message = f"The {name} of plants is {value:g} m: give more than 0."
            raise SitekitError(message)
    if pattern not in PATTERNS:
        message = f'There is no pattern "{pattern}": use {", ".join(PATTERNS)}.'
        raise SitekitError(message)
    if pattern == "contour" and guide is None:
        message = "Contour rows need a height line: use grid or offset without one."
        raise SitekitError(message)


def _areas(ground: BaseGeometry) -> BaseGeometry:
    """Only the areas of ground, mended."""
    parts = shapely.get_parts(shapely.make_valid(ground))
    areas = [part for part in parts if shapely.get_dimensions(part) == 2]
    return shapely.union_all(areas) if areas else shapely.Polygon()


def _lay_straight(
    ground: BaseGeometry,
    bearing: float,
    spacing: float,
    row_spacing: float,
    pattern: str,
) -> tuple[list[BaseGeometry], list[NDArray[np.float64]]]:
    if ground.is_empty:
        return [], []
    along = np.array([sin(radians(bearing)), cos(radians(bearing))])
    axes = np.array([along, (along[1], -along[0])])
    places, row = _best_start(ground, axes, (spacing, row_spacing), pattern)
    pieces = [places[row == number] for number in np.unique(row)]
    half = along * spacing / 2
    spans = [LineString([piece[0] - half, piece[-1] + half]) for piece in pieces]
    lines = [_line_on(ground, span) for span in spans]
    on = [(line, piece) for line, piece in zip(lines, pieces, strict=True) if line]
    return [line for line, _ in on], [piece for _, piece in on]


def _best_start(
    ground: BaseGeometry,
    axes: NDArray[np.float64],
    steps: tuple[float, float],
    pattern: str,
) -> Rowed:
    """Lay the pattern at all its starts and take the one that holds most."""
    reach = axes @ shapely.get_coordinates(ground).T
    middle = shapely.get_coordinates(ground.centroid)[0]
    shapely.prepare(ground)
    found = []
    for start in np.ndindex(STARTS, STARTS):
        shift = (np.array(start) + 0.5) / STARTS * steps
        places, row = _lattice(reach, shift, steps, pattern)
        places = places @ axes
        inside = shapely.intersects_xy(ground, places[:, 0], places[:, 1])
        found.append((places[inside], row[inside]))

    def worth(one: Rowed) -> tuple[int, float]:
        off = np.hypot(*(one[0].mean(axis=0) - middle)) if len(one[0]) else 0.0
        return len(one[0]), -round(float(off), 6)

    return max(found, key=worth)


def _lattice(
    reach: NDArray[np.float64],
    shift: NDArray[np.float64],
    steps: tuple[float, float],
    pattern: str,
) -> Rowed:
    """Give positions along and across, and the row of each."""
    low = reach.min(axis=1) + shift
    high = reach.max(axis=1)
    rows = np.arange(max(0, int((high[1] - low[1]) / steps[1] + 1e-9) + 1))
    numbers = np.arange(-1, max(0, int((high[0] - low[0]) / steps[0] + 1e-9) + 1))
    row, number = (part.ravel() for part in np.meshgrid(rows, numbers, indexing="ij"))
    half = (row % 2) * 0.5 if pattern == "offset" else 0.0
    places = np.column_stack(
        [low[0] + (number + half) * steps[0], low[1] + row * steps[1]]
    )
    return places, row


def _line_on(ground: BaseGeometry, span: BaseGeometry) -> BaseGeometry | None:
    """Take what of a row lies on the ground; None where it only touches it."""
    parts = shapely.get_parts(ground.intersection(span))
    lines = [part for part in parts if part.length > TINY]
    if not lines:
        return None
    return lines[0] if len(lines) == 1 else MultiLineString(lines)


def _lay_contours(
    ground: BaseGeometry, guide: LineString, spacing: float, row_spacing: float
) -> tuple[list[BaseGeometry], list[NDArray[np.float64]]]:
    if ground.is_empty:
        return [], []
    reach = shapely.hausdorff_distance(guide, ground.envelope) + row_spacing
    count = int(reach / row_spacing)
    lines: list[BaseGeometry] = []
    pieces: list[NDArray[np.float64]] = []
    taken: list[NDArray[np.float64]] = []
    least = least_distance(spacing, row_spacing, "contour")
    for step in range(-count, count + 1):
        beside = shapely.offset_curve(guide, step * row_spacing, quad_segs=64)
        line = _line_on(ground, beside if step else guide)
        if line is None:
            continue
        places = np.vstack([_pace(part, spacing) for part in shapely.get_parts(line)])
        places = _apart(places, taken, least)
        if len(places):
            lines.append(line)
            pieces.append(places)
            taken = [*taken[-1:], places]
    return lines, pieces


def _pace(line: LineString, spacing: float) -> NDArray[np.float64]:
    """Places on a line, each a taped spacing from the one before."""
    corners = shapely.get_coordinates(line)
    slack = (line.length % spacing) / 2
    here = shapely.get_coordinates(line.interpolate(slack))[0]
    done = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
    segment = max(0, int(np.searchsorted(done, slack, side="right")) - 1)
    places = [here]
    while segment < len(corners) - 1:
        start, end = corners[segment], corners[segment + 1]
        if np.hypot(*(end - here)) < spacing:
            segment += 1
            continue
        here = _step_onto(start, end, here, spacing)
        places.append(here)
    return np.array(places)


def _step_onto(
    start: NDArray[np.float64],
    end: NDArray[np.float64],
    here: NDArray[np.float64],
    spacing: float,
) -> NDArray[np.float64]:
    """Where a circle around a place leaves a segment."""
    way, back = end - start, start - here
    a, b = float(way @ way), float(way @ back)
    c = float(back @ back) - spacing**2
    share = (-b + sqrt(max(b * b - a * c, 0.0))) / a
    place: NDArray[np.float64] = start + min(max(share, 0.0), 1.0) * way
    return place


def _apart(
    places: NDArray[np.float64], taken: list[NDArray[np.float64]], least: float
) -> NDArray[np.float64]:
    """Leave out places too near to the row before, or to one kept in this row."""
    if taken:
        near, _ = cKDTree(np.vstack(taken)).query(places)
        places = places[near >= least - TINY]
    keep = np.ones(len(places), bool)
    if len(places):
        for one, other in sorted(cKDTree(places).query_pairs(least - TINY)):
            if keep[one]:
                keep[other] = False
    return places[keep]


def _layout(
    lines: Sequence[BaseGeometry],
    pieces: Sequence[NDArray[np.float64]],
    how: tuple[float, float, float],
) -> Layout:
    counts = [len(piece) for piece in pieces]
    row = np.repeat(np.arange(1, len(pieces) + 1), counts)
    number = np.concatenate([np.arange(0), *[np.arange(1, n + 1) for n in counts]])
    positions = np.vstack([np.empty((0, 2)), *pieces])
    return Layout(tuple(lines), positions, row, number, *how)
