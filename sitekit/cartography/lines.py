"""Lines of the sheets: what is drawn of an outline, and where its marks stand."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry
from shapely.prepared import prep

#: Ticks of a frost pocket: length and distance. [m]
TICK_LENGTH, TICK_EVERY = 4.5, 11.0
#: Distance of the arrows of a cold-air path. [m]
ARROW_EVERY = 70.0
#: Every so many height lines one is drawn stronger and carries its figure.
STRONG_EVERY = 5
#: With fewer strong height lines than this, all lines carry their figure.
FEW_STRONG = 4
#: A simplified set of lines has at most so many corners.
MOST_CORNERS = 40_000


@dataclass(frozen=True)
class Figure:
    """The figure of a height line.

    Parameters
    ----------
    elevation : float
        The height. [m]
    easting, northing : float
        Where the figure stands. [m]
    """

    elevation: float
    easting: float
    northing: float


def simplify(lines: Sequence[BaseGeometry], cell_size: float) -> list[BaseGeometry]:
    """Leave out corners that no reader could see.

    Parameters
    ----------
    lines : sequence of geometry
        The lines.
    cell_size : float
        Side of a cell; lines move by at most half of it, further only where
        there would be more than `MOST_CORNERS`. [m]

    Returns
    -------
    simpler : list of geometry
        As many lines, in the same order.
    """
    tolerance = cell_size / 2
    simpler = [line.simplify(tolerance) for line in lines]
    while sum(shapely.get_num_coordinates(simpler)) > MOST_CORNERS:
        tolerance *= 2
        simpler = [line.simplify(tolerance) for line in lines]
        if tolerance > 32 * cell_size:
            break
    return simpler


def smooth(path: BaseGeometry) -> BaseGeometry:
    """Take the stairs out of a path that was found from cell to cell.

    Parameters
    ----------
    path : geometry
        A line, or lines, with a corner in every cell.

    Returns
    -------
    smoother : geometry
        Moved by less than a cell; the ends stay where they are.
    """
    parts = []
    for part in shapely.get_parts(path):
        corners = shapely.get_coordinates(part)
        for _ in range(2):
            between = (corners[:-2] + corners[1:-1] + corners[2:]) / 3
            corners = np.concatenate([corners[:1], between, corners[-1:]])
        parts.append(shapely.LineString(corners))
    return parts[0] if len(parts) == 1 else shapely.MultiLineString(parts)


def find_strong(elevations: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which height lines are the strong ones.

    Parameters
    ----------
    elevations : (line,) ndarray
        Height of each line. [m]

    Returns
    -------
    strong : (line,) ndarray of bool
        Every fifth by height.

    Examples
    --------
    >>> find_strong(np.array([708.0, 710.0, 712.0]))
    array([False,  True, False])
    """
    steps = np.diff(np.unique(elevations))
    if not steps.size:
        return np.ones(elevations.shape, bool)
    turns = elevations / (steps.min() * STRONG_EVERY)
    return np.asarray(np.abs(turns - np.round(turns)) < 1e-6)


def place_figures(
    contours: GeoDataFrame, near: BaseGeometry, avoid: Sequence[tuple[float, float]]
) -> list[Figure]:
    """Choose where the figures of the strong height lines stand.

    Parameters
    ----------
    contours : GeoDataFrame
        Lines with ``elevation_m``.
    near : geometry
        What the reader looks at: figures stand near its middle.
    avoid : sequence of (easting, northing)
        Places already taken by other writing. [m]

    Returns
    -------
    figures : list of Figure
        At most one for each strong height, or for each height where few are
        strong.
    """
    if contours.empty:
        return []
    elevations = contours["elevation_m"].to_numpy(np.float64)
    strong = contours[find_strong(elevations)]
    if strong["elevation_m"].nunique() < FEW_STRONG:
        strong = contours
    taken = [tuple(place) for place in avoid]
    west, south, east, north = near.bounds
    window = shapely.box(west, south, east, north).buffer(0.15 * (east - west))
    figures = []
    for elevation, lines in strong.groupby("elevation_m"):
        seen = shapely.line_merge(shapely.union_all(lines.geometry.to_numpy()))
        in_view = seen.intersection(window)
        if in_view.length < 0.05 * (east - west):
            continue
        place = _clearest(in_view, taken, ((west + east) / 2, (south + north) / 2))
        taken.append(place)
        figures.append(Figure(float(elevation), *place))
    return figures


def _clearest(
    line: BaseGeometry, taken: Sequence[tuple[float, ...]], middle: tuple[float, float]
) -> tuple[float, float]:
    """Find the place along a line that is clear of others and near the middle."""
    places = shapely.get_coordinates(line.segmentize(20.0))
    from_middle = np.hypot(*(places - np.array(middle)).T)
    room = np.full(len(places), 60.0)
    for place in taken:
        room = np.minimum(room, np.hypot(*(places - np.array(place)).T))
    best = places[np.argmax(room - 0.15 * from_middle)]
    return float(best[0]), float(best[1])


def find_open_edge(pocket: BaseGeometry, hidden: BaseGeometry) -> BaseGeometry:
    """Find the part of a frost pocket's outline that is drawn.

    Parameters
    ----------
    pocket : geometry
        The polygon.
    hidden : geometry
        Water, and ground beyond the data: no outline runs along it.

    Returns
    -------
    edge : geometry
        Lines; empty where the whole outline is hidden.
    """
    return shapely.line_merge(pocket.boundary.difference(hidden))


def place_ticks(
    edge: BaseGeometry, pocket: BaseGeometry
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Place the ticks of a frost pocket: foot on the outline, tip inside.

    Parameters
    ----------
    edge : geometry
        The drawn outline.
    pocket : geometry
        The polygon, to tell which side is inside.

    Returns
    -------
    ticks : list of ((easting, northing), (easting, northing))
        Foot and tip. [m]
    """
    inside = prep(pocket)
    ticks = []
    for foot, (along, across) in _steps(edge, TICK_EVERY):
        for side in (1.0, -1.0):
            tip = (
                foot[0] - side * across * TICK_LENGTH,
                foot[1] + side * along * TICK_LENGTH,
            )
            if inside.contains(shapely.Point(tip)):
                ticks.append((foot, tip))
                break
    return ticks


def place_arrows(
    path: BaseGeometry,
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Place the arrows of a cold-air path, which runs downhill.

    Parameters
    ----------
    path : geometry
        A line from high to low.

    Returns
    -------
    arrows : list of ((easting, northing), (easting, northing))
        A point a metre up the path, and the tip. [m]
    """
    return [
        ((tip[0] - along, tip[1] - across), tip)
        for tip, (along, across) in _steps(path, ARROW_EVERY)
    ]


def _steps(
    line: BaseGeometry, every: float
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Walk along lines; give each place and the direction there."""
    found = []
    for part in shapely.get_parts(line):
        for distance in np.arange(min(every, part.length) / 2, part.length, every):
            here = part.interpolate(distance)
            back = part.interpolate(max(distance - 1.0, 0.0))
            ahead = part.interpolate(min(distance + 1.0, part.length))
            along, across = ahead.x - back.x, ahead.y - back.y
            length = float(np.hypot(along, across)) or 1.0
            found.append(((here.x, here.y), (along / length, across / length)))
    return found
