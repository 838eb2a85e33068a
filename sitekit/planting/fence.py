"""A fence around blocks: its line, corners and gates."""

from collections.abc import Mapping
from typing import Annotated

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from sitekit.errors import InputError
from sitekit.settings import Setting
from sitekit.words import listed

#: Bends that need a post of their own. [degree]
CORNER = 10.0
#: Small steps of a block's outline that a fence goes straight past. [m]
STEPS = 3.0


def plan_fence(
    blocks: Mapping[str, BaseGeometry],
    gates: GeoDataFrame,
    crs: CRS,
    *,
    within: BaseGeometry | None = None,
    fence_offset: Annotated[
        float, Setting("m", "Distance of a fence from the outermost plants.", low=0)
    ] = 3.0,
    gate_width: Annotated[float, Setting("m", "Clear width of a gate.", low=0.5)] = 4.0,
    gate_reach: Annotated[
        float, Setting("m", "Distance at which a gate still counts as in a fence.")
    ] = 15.0,
) -> GeoDataFrame:
    """Draw fences around blocks; blocks whose fences would meet share one.

    Parameters
    ----------
    blocks : mapping of str to shapely geometry
        Ground or plants of each block. [m]
    gates : GeoDataFrame
        Points where gates are wanted, ``name``; with none every fence gets a gate
        in the middle of its longest side.
    crs : pyproj.CRS
        Coordinate system.
    within : shapely geometry, optional
        Ground that a fence does not leave.
    fence_offset, gate_width, gate_reach : float
        [m]

    Returns
    -------
    fence : GeoDataFrame
        Lines and points with the columns of `sitekit.results.PlantingPlan.fence`;
        the length of a line is without its gates, that of a gate its width.

    Raises
    ------
    InputError
        A gate lies in no fence.
    """
    yards = _yards(blocks, within, fence_offset)
    lines = [LineString(yard.exterior.coords) for yard, _ in yards]
    places = _gate_places(lines, gates, gate_reach)
    things: list[tuple[str, str, str, float, BaseGeometry]] = []
    for number, (line, (_, inside)) in enumerate(zip(lines, yards, strict=True)):
        name = f"F{number + 1}"
        own = places[number] or [_middle_of_longest(line)]
        length = line.length - gate_width * len(own)
        things.append((name, "fence line", inside, length, line))
        corners = _corners(line)
        things += [
            (f"{name}-C{n:02d}", "fence corner", inside, 0.0, Point(corner))
            for n, corner in enumerate(corners, start=1)
        ]
        things += [
            (f"{name}-G{n}", "gate", inside, gate_width, gate)
            for n, gate in enumerate(own, start=1)
        ]
    columns = {
        name: np.array([thing[place] for thing in things], dtype=kind)
        for place, (name, kind) in enumerate(_COLUMNS.items())
    }
    return GeoDataFrame(columns, geometry=[thing[-1] for thing in things], crs=crs)


_COLUMNS = {"id": object, "kind": object, "block": object, "length_m": float}


def _yards(
    blocks: Mapping[str, BaseGeometry], within: BaseGeometry | None, offset: float
) -> list[tuple[Polygon, str]]:
    """Ground inside each fence, and the blocks on it."""
    whole = {name: shape for name, shape in blocks.items() if not shape.is_empty}
    ground = shapely.union_all([_around(shape, offset) for shape in whole.values()])
    if within is not None:
        ground = ground.intersection(within)
    yards = []
    for part in shapely.get_parts(ground):
        names = [str(name) for name, shape in whole.items() if part.intersects(shape)]
        if part.area > 0 and names:
            yards.append((Polygon(part.exterior), listed(names)))
    return yards


def _around(shape: BaseGeometry, offset: float) -> BaseGeometry:
    """Ground to the fence, none of the shape nearer than the offset."""
    hull = shape.convex_hull
    if shapely.get_dimensions(shape) == 2 and shape.area < 0.8 * hull.area:
        hull = shape.buffer(STEPS).buffer(-STEPS).simplify(STEPS)
    else:
        hull = hull.simplify(STEPS / 3)
    corners = shapely.points(shapely.get_coordinates(shape))
    left_out = float(shapely.distance(hull, corners).max())
    return hull.buffer(
        offset + left_out, cap_style="square", join_style="mitre", mitre_limit=2.0
    )


def _gate_places(
    lines: list[LineString], gates: GeoDataFrame, reach: float
) -> list[list[Point]]:
    places: list[list[Point]] = [[] for _ in lines]
    mistakes = []
    for name, gate in zip(gates.get("name", gates.index), gates.geometry, strict=True):
        away = [line.distance(gate) for line in lines]
        if not away or min(away) > reach:
            where = f"{min(away):.0f} m from the nearest fence" if away else "no fence"
            mistakes.append(
                f'The gate "{name}" lies in no fence ({where}): move it to within '
                f"{reach:g} m of a fence, or leave it out."
            )
            continue
        nearest = int(np.argmin(away))
        line = lines[nearest]
        places[nearest].append(line.interpolate(line.project(gate)))
    if mistakes:
        raise InputError(*mistakes)
    return places


def _middle_of_longest(line: LineString) -> Point:
    corners = shapely.get_coordinates(line)
    longest = int(np.argmax(np.hypot(*np.diff(corners, axis=0).T)))
    return Point((corners[longest] + corners[longest + 1]) / 2)


def _corners(line: LineString) -> NDArray[np.float64]:
    """Places where a ring bends enough to need a corner post."""
    corners = shapely.get_coordinates(line)[:-1]
    before = corners - np.roll(corners, 1, axis=0)
    after = np.roll(corners, -1, axis=0) - corners
    turn = np.arctan2(
        before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0],
        (before * after).sum(axis=1),
    )
    bent: NDArray[np.float64] = corners[np.abs(np.degrees(turn)) >= CORNER]
    return bent
