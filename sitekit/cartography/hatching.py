"""Patterns as geometry: hatch lines, dots, ticks and arrows cut to a shape.

Drawn as lines, a pattern has the same pitch on every sheet and stays sharp on
paper. All lengths are in the unit of the shape.
"""

from math import atan2, cos, pi, sin
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.affinity import rotate
from shapely.geometry.base import BaseGeometry, BaseMultipartGeometry

Part = TypeVar("Part", bound=BaseGeometry)

#: More lines, or squares of dots, are not drawn: the pitch is widened instead.
MOST_LINES, MOST_SQUARES = 2_000, 10_000


def find_parts(shape: BaseGeometry, kind: type[Part]) -> list[Part]:
    """List the simple parts of a shape that are of one kind.

    Parameters
    ----------
    shape : shapely geometry
        Anything, also a collection.
    kind : type
        ``Polygon``, ``LineString`` or ``Point``.

    Returns
    -------
    parts : list of shapely geometry
        Those that are not empty.
    """
    if isinstance(shape, BaseMultipartGeometry):
        return [inner for part in shape.geoms for inner in find_parts(part, kind)]
    return [shape] if isinstance(shape, kind) and not shape.is_empty else []


def make_hatch(
    shape: BaseGeometry, spacing: float, angle: float = 45.0
) -> list[LineString]:
    """Fill a shape with parallel lines.

    The lines lie on one lattice for the whole sheet, so that two shapes that
    touch continue each other.

    Parameters
    ----------
    shape : shapely polygon or multipolygon
        The shape to fill.
    spacing : float
        Distance between the lines.
    angle : float
        Direction, anticlockwise from east. [degree]

    Returns
    -------
    lines : list of LineString
        Each within the shape.
    """
    if shape.is_empty:
        return []
    level = rotate(shape, -angle, origin=(0, 0))
    left, low, right, high = level.bounds
    spacing = max(spacing, (high - low) / MOST_LINES)
    heights = np.arange(np.ceil(low / spacing), np.floor(high / spacing) + 1) * spacing
    lattice = shapely.MultiLineString(
        [[(left - spacing, y), (right + spacing, y)] for y in heights]
    )
    cut = level.intersection(lattice)
    return find_parts(rotate(cut, angle, origin=(0, 0)), LineString)


def make_dots(shape: BaseGeometry, pitch: float) -> NDArray[np.float64]:
    """Fill a shape with staggered points, two in each square of the pitch.

    Parameters
    ----------
    shape : shapely polygon or multipolygon
        The shape to fill.
    pitch : float
        Side of the square that repeats.

    Returns
    -------
    points : (point, 2) ndarray
        Easting and northing of each, within the shape.
    """
    if shape.is_empty:
        return np.empty((0, 2))
    left, low, right, high = shape.bounds
    pitch = max(pitch, ((right - left) * (high - low) / MOST_SQUARES) ** 0.5)
    columns = np.arange(np.floor(left / pitch), np.ceil(right / pitch) + 1)
    rows = np.arange(np.floor(low / pitch), np.ceil(high / pitch) + 1)
    corners = np.array([(x, y) for y in rows for x in columns]) * pitch
    points = np.concatenate([corners, corners + pitch / 2])
    return points[shapely.contains_xy(shape, points)]


def make_ticks(
    shape: BaseGeometry, spacing: float, length: float, hidden: BaseGeometry
) -> list[LineString]:
    """Set ticks along the outline of a shape, pointing inward.

    Parameters
    ----------
    shape : shapely polygon or multipolygon
        A closed hollow.
    spacing, length : float
        Distance between ticks, and how long each is.
    hidden : shapely geometry
        Where the outline is not drawn.

    Returns
    -------
    ticks : list of LineString
        From the outline inward.
    """
    ticks: list[LineString] = []
    for part in find_parts(shape, Polygon):
        # Anticlockwise outside and clockwise holes have the inside on the left.
        ordered = shapely.geometry.polygon.orient(part)
        for ring in (ordered.exterior, *ordered.interiors):
            ticks += _ticks_of_ring(ring, spacing, length)
    starts = shapely.points(np.array([tick.coords[0] for tick in ticks]))
    covered = np.asarray(shapely.covers(hidden, starts))
    return [tick for tick, away in zip(ticks, covered, strict=True) if not away]


def _ticks_of_ring(ring: LineString, spacing: float, length: float) -> list[LineString]:
    count = max(round(ring.length / spacing), 3)
    ticks = []
    for i in range(count):
        x, y, direction = _along(ring, (i + 0.5) * ring.length / count)
        left = direction + pi / 2
        ticks.append(
            LineString([(x, y), (x + length * cos(left), y + length * sin(left))])
        )
    return ticks


def _along(line: LineString, distance: float) -> tuple[float, float, float]:
    """Find a place on a line and the direction of the line there."""
    step = min(line.length / 50, line.length)
    here = line.interpolate(distance)
    before = line.interpolate(max(distance - step / 2, 0))
    after = line.interpolate(min(distance + step / 2, line.length))
    return here.x, here.y, atan2(after.y - before.y, after.x - before.x)


def make_arrow_heads(line: LineString, spacing: float, size: float) -> list[LineString]:
    """Set open arrow heads along a line, pointing the way it runs.

    Parameters
    ----------
    line : LineString
        From start to end.
    spacing : float
        Distance between heads; a line shorter than half of it has none.
    size : float
        Length of each barb.

    Returns
    -------
    heads : list of LineString
        Two barbs in one line each, the tip in the middle.
    """
    if line.length < spacing / 2:
        return []
    count = max(round(line.length / spacing), 1)
    heads = []
    for i in range(count):
        x, y, direction = _along(line, (i + 0.6) * line.length / count)
        barbs = [direction + pi - 0.45, direction + pi + 0.45]
        ends = [(x + size * cos(b), y + size * sin(b)) for b in barbs]
        heads.append(LineString([ends[0], (x, y), ends[1]]))
    return heads
