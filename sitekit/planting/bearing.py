"""Direction of rows, and the height line that contour rows follow."""

from dataclasses import dataclass
from math import isfinite
from typing import Annotated, Literal

import numpy as np
import shapely
from contourpy import contour_generator
from numpy.typing import NDArray
from shapely.geometry import LineString
from shapely.geometry.base import BaseGeometry

from sitekit.grid import Grid
from sitekit.settings import Setting

#: Distance between the corners of a guide. [m]
PACE = 5.0


@dataclass(frozen=True)
class Direction:
    """Direction of rows and why.

    Parameters
    ----------
    bearing : float
        Clockwise from grid north, 0 to 180. [degree]
    pattern : {"grid", "contour"}
        Straight rows, or rows along the height lines.
    reason : str
        One sentence.
    """

    bearing: float
    pattern: Literal["grid", "contour"]
    reason: str


def choose_bearing(
    slope: float,
    aspect: float,
    *,
    level_slope: Annotated[
        float, Setting("%", "Slope under which the sun decides.", low=0)
    ] = 3.0,
    side_slope: Annotated[
        float, Setting("%", "Slope from which no machine drives across it.", low=0)
    ] = 10.0,
    machine_slope: Annotated[
        float,
        Setting("%", "Slope from which no machine drives.", "operator manuals, 15°"),
    ] = 26.8,
) -> Direction:
    """Choose the direction of rows by slope, sun and machine.

    On level ground rows run north and south, so that both sides of a row get
    sun. On a gentle slope they still do where that is within 45 degrees of the
    fall, because cold air then runs out between them; else straight down the
    fall. From `side_slope` they run straight down the fall, because a machine
    leans when it drives across. From `machine_slope` no machine drives, and rows
    follow the height lines for people on foot.

    Parameters
    ----------
    slope : float
        Usual slope of the ground. [%]
    aspect : float
        Direction of the fall, clockwise from grid north; NaN where level. [degree]
    level_slope, side_slope, machine_slope : float
        Limits. [%]

    Returns
    -------
    direction : Direction
        Bearing, pattern and reason.

    Examples
    --------
    >>> choose_bearing(14.0, 200.0).bearing, choose_bearing(1.0, 90.0).bearing
    (20.0, 0.0)
    """
    if not isfinite(aspect) or slope < level_slope:
        return Direction(
            0.0, "grid", "Level ground: north and south, sun on both sides."
        )
    fall = float(aspect % 180.0)
    if slope >= machine_slope:
        text = "Too steep for a machine: rows follow the height lines, work on foot."
        return Direction((fall + 90.0) % 180.0, "contour", text)
    if slope >= side_slope:
        text = "Straight down the slope: a machine leans when it drives across."
        return Direction(fall, "grid", text)
    if min(fall, 180.0 - fall) <= 45.0:
        text = "North and south: sun on both sides, cold air runs out between the rows."
        return Direction(0.0, "grid", text)
    text = "Straight down the slope: cold air runs out between the rows."
    return Direction(fall, "grid", text)


def mean_slope(
    slope: NDArray[np.float32], aspect: NDArray[np.float32]
) -> tuple[float, float]:
    """Tell the usual slope and fall of ground from its cells.

    Parameters
    ----------
    slope, aspect : (cell,) ndarray
        Slope and aspect of the cells. [degree]

    Returns
    -------
    slope : float
        Slope of the plane that the cells make together. [%]
    aspect : float
        Its fall, NaN where level. [degree]
    """
    good = np.isfinite(slope)
    steep = np.tan(np.radians(slope[good].astype(np.float64)))
    turned = np.radians(np.nan_to_num(aspect[good].astype(np.float64)))
    if not steep.size:
        return float("nan"), float("nan")
    east, north = np.mean(steep * np.sin(turned)), np.mean(steep * np.cos(turned))
    size = float(np.hypot(east, north))
    if size < 1e-9:
        return 0.0, float("nan")
    return 100.0 * size, float(np.degrees(np.arctan2(east, north)) % 360.0)


def find_guide(
    ground: BaseGeometry, heights: NDArray[np.float32], grid: Grid
) -> LineString | None:
    """Find the height line through the middle of ground, for contour rows.

    Parameters
    ----------
    ground : Polygon or MultiPolygon
        Accepted ground. [m]
    heights : (row, column) ndarray of float32
        Height of the ground. [m]
    grid : Grid
        Where its cells lie.

    Returns
    -------
    guide : LineString or None
        Its small bends smoothed, its ends drawn out straight across the ground;
        None on ground without a height line.
    """
    if ground.is_empty:
        return None
    middle = ground.representative_point()
    row = int((grid.north - middle.y) / grid.cell_size)
    column = int((middle.x - grid.west) / grid.cell_size)
    lines = contour_generator(
        x=grid.eastings, y=grid.northings, z=heights.astype(np.float64)
    ).lines(float(heights[row, column]))
    drawn = [
        LineString(np.asarray(line)) for line in lines if len(np.asarray(line)) > 1
    ]
    if not drawn:
        return None
    nearest = min(drawn, key=middle.distance)
    west, south, east, north = ground.bounds
    size = float(np.hypot(east - west, north - south))
    return _drawn_out(nearest, ground.buffer(2 * PACE), size)


def _drawn_out(
    line: LineString, around: BaseGeometry, size: float
) -> LineString | None:
    """Smooth a line over the ground and draw its ends out straight."""
    parts = shapely.get_parts(line.intersection(around.envelope))
    longest = max(parts, key=lambda part: part.length, default=LineString())
    count = int(longest.length / PACE)
    if count < 2:
        return None
    shares = np.linspace(0.0, 1.0, count + 1)
    places = shapely.line_interpolate_point(longest, shares, normalized=True)
    corners = shapely.get_coordinates(places)
    for _ in range(3):
        corners[1:-1] = (corners[:-2] + 2 * corners[1:-1] + corners[2:]) / 4
    first, last = corners[0] - corners[1], corners[-1] - corners[-2]
    start = corners[0] + first / np.hypot(*first) * size
    end = corners[-1] + last / np.hypot(*last) * size
    return LineString(np.vstack([start, corners, end]))
