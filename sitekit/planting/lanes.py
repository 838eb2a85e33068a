"""Ground that stays open: lanes for cold air, headlands, setbacks."""

from math import cos, radians, sin
from typing import Annotated

import numpy as np
import shapely
from geopandas import GeoDataFrame
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from sitekit.planting.services import find_stand_off
from sitekit.settings import Setting
from sitekit.site import Site

#: Columns of open ground.
LANE_COLUMNS = ("kind", "width_m")


def find_headlands(
    outline: BaseGeometry, bearing: float, headland: float
) -> BaseGeometry:
    """Find the ground at the ends of rows on which a machine turns.

    Parameters
    ----------
    outline : Polygon or MultiPolygon
        Ground of the field; holes do not end a row.
    bearing : float
        Direction of the rows, clockwise from grid north. [degree]
    headland : float
        Depth of the ground, measured along the rows. [m]

    Returns
    -------
    ground : shapely geometry
        Every point of `outline` less than `headland` along the row from its edge.

    Examples
    --------
    >>> find_headlands(shapely.box(0, 0, 50, 40), 0.0, 6.0).area
    600.0
    """
    push = headland * np.array([sin(radians(bearing)), cos(radians(bearing))])
    filled = shapely.union_all(
        [Polygon(part.exterior) for part in shapely.get_parts(outline)]
    )
    swept = []
    rings = np.asarray(shapely.get_rings(shapely.get_parts(filled)))
    for ring in rings.tolist():
        corners = shapely.get_coordinates(ring)
        start, end = corners[:-1], corners[1:]
        quads = np.stack(
            [start - push, end - push, end + push, start + push, start - push], axis=1
        )
        # A side along the rows sweeps no ground.
        swept += [quad for quad in map(Polygon, quads) if quad.area > 0]
    return filled.intersection(shapely.union_all(shapely.convex_hull(swept)))


def plan_cold_air_lanes(
    ground: BaseGeometry,
    paths: GeoDataFrame,
    *,
    lane_width: Annotated[
        float, Setting("m", "Width kept open for cold air to run out.", low=0)
    ] = 6.0,
    lane_catchment: Annotated[
        float, Setting("ha", "Catchment from which a path keeps a lane.", low=0)
    ] = 0.5,
) -> GeoDataFrame:
    """Keep ground open straight down the slope where cold air gathers.

    A lane runs straight from where a path enters the ground to where it leaves,
    because air keeps to no bends; where the path strays from that line by more than
    half the width, the lane follows the path.

    Parameters
    ----------
    ground : Polygon or MultiPolygon
        Accepted ground. [m]
    paths : GeoDataFrame
        Cold-air paths with ``catchment_ha``.
    lane_width : float
        Width. [m]
    lane_catchment : float
        Smallest catchment of a path. [ha]

    Returns
    -------
    lanes : GeoDataFrame
        Polygons within the ground: ``kind``, ``width_m``.
    """
    wanted = paths[paths["catchment_ha"] >= lane_catchment].geometry
    strips: list[BaseGeometry] = []
    if lane_width > 0 and len(wanted) and not ground.is_empty:
        joined = shapely.line_merge(shapely.union_all(list(wanted)))
        for part in shapely.get_parts(joined.intersection(ground)):
            if part.length > 0:
                strips.append(_strip(part, lane_width).intersection(ground))
    return _lanes(strips, "cold-air lane", lane_width, paths.crs)


def headland_lanes(
    outline: BaseGeometry, bearing: float, headland: float, crs: object
) -> GeoDataFrame:
    """List headlands as open ground.

    Parameters
    ----------
    outline : Polygon or MultiPolygon
        Ground of the field.
    bearing : float
        Direction of the rows. [degree]
    headland : float
        Depth. [m]
    crs : pyproj.CRS
        Its coordinate system.

    Returns
    -------
    lanes : GeoDataFrame
        Polygons: ``kind``, ``width_m``.
    """
    found = [find_headlands(outline, bearing, headland)] if headland > 0 else []
    return _lanes(found, "headland", headland, crs)


def find_setbacks(
    site: Site,
    *,
    edge_setback: Annotated[
        float, Setting("m", "Ground kept free along the field edge.", low=0)
    ] = 3.0,
    water_setback: Annotated[
        float, Setting("m", "Ground kept free along water.", low=0)
    ] = 6.0,
    service_setback: Annotated[
        float, Setting("m", "Ground kept free beside pipes and cables.", low=0.5)
    ] = 3.0,
    root_setback: Annotated[
        float, Setting("m", "Ground kept free around roots of trees.", low=0)
    ] = 5.0,
) -> GeoDataFrame:
    """Find the ground that plants keep off, with the reason.

    Parameters
    ----------
    site : Site
        Field and vectors.
    edge_setback, water_setback, service_setback, root_setback : float
        From the field's edge, water, services, and from existing trees, woodland
        and hedges. [m]

    Returns
    -------
    setbacks : GeoDataFrame
        Polygons: ``kind`` (field edge, water, service, roots, no-go), ``width_m``.
    """
    vectors = site.vectors
    around = {
        "water": (["water"], water_setback),
        "service": (["services"], service_setback),
        "roots": (["existing_trees", "woodland", "barriers"], root_setback),
        "no-go": (["no_go"], 0.0),
        "building": (["buildings"], edge_setback),
    }
    field = shapely.union_all(list(site.field.geometry))
    inner = field.buffer(-edge_setback, join_style="mitre")
    found = [
        _lanes([field.difference(inner)], "field edge", edge_setback, site.grid.crs)
    ]
    unsure = [find_stand_off(str(c)) for c in vectors["services"]["certainty"]]
    for kind, (names, width) in around.items():
        things = [thing for name in names for thing in vectors[name].geometry]
        reach = [width] * len(things)
        if kind == "service":
            reach = [max(width, off) for off in unsure]
        buffers = [t.buffer(r) for t, r in zip(things, reach, strict=True)]
        ground = shapely.union_all(buffers)
        found.append(_lanes([ground.intersection(field)], kind, width, site.grid.crs))
    kinds = [kind for frame in found for kind in frame["kind"]]
    widths = [width for frame in found for width in frame["width_m"]]
    shapes = [shape for frame in found for shape in frame.geometry]
    return GeoDataFrame(
        {"kind": kinds, "width_m": widths}, geometry=shapes, crs=site.grid.crs
    )


def _strip(path: LineString, width: float) -> BaseGeometry:
    ends = shapely.get_coordinates(path)[[0, -1]]
    straight = LineString(ends)
    strays = shapely.hausdorff_distance(path, straight) > width / 2
    if strays or straight.length == 0:
        return path.simplify(width / 4).buffer(width / 2)
    return straight.buffer(width / 2, cap_style="square")


def _lanes(
    shapes: list[BaseGeometry], kind: str, width: float, crs: object
) -> GeoDataFrame:
    ground = [shape for shape in shapes if shape.area > 0]
    return GeoDataFrame(
        {"kind": [kind] * len(ground), "width_m": [float(width)] * len(ground)},
        geometry=ground,
        crs=crs,
    )
