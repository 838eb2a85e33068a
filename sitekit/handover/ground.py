"""The ground of the plan: water, heights, cold air, zones, and the grid's ticks."""

from collections.abc import Sequence

import numpy as np
import shapely
from geopandas import GeoDataFrame
from matplotlib.axes import Axes
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from sitekit.cartography import hatching, styles, symbols
from sitekit.cartography.drawing import (
    Sheet,
    draw_area,
    draw_lines,
    find_text_box,
    write_text,
)
from sitekit.grid import Grid
from sitekit.handover.zones import Zone
from sitekit.results import Survey

#: Distance of the grid's ticks on paper. [mm]
TICK_EVERY = 40.0
#: What lies on what, between the symbols of the room below.
LANE, ZONE = symbols.POCKET + 0.4, symbols.BLOCK - 0.4
COLD_AIR_LANE = "cold-air lane"
#: So many lanes on a sheet carry their name; the key explains the rest.
NAMED_LANES = 4
#: What keeps letters apart from the lines under them.
PAPER_BEHIND = {"facecolor": "white", "alpha": 0.75, "pad": 0.3, "linewidth": 0}
#: Places about a point to try for its label. [mm]
ROUND_ABOUT = ((0.0, 3.0), (0.0, -3.0), (6.0, 2.0), (-6.0, 2.0), (6.0, -2.0))


def write_label(
    sheet: Sheet,
    anchor: tuple[float, float],
    text: str,
    size: float,
    places: Sequence[tuple[float, float]] = ROUND_ABOUT,
    *,
    colour: str = styles.INK,
    beside: bool = False,
    weight: str = "normal",
) -> bool:
    """Write a label near a point, where there is room.

    Parameters
    ----------
    sheet : Sheet
        Where.
    anchor : tuple of float
        The point. [m]
    text : str
        What to write.
    size : float
        Size of the letters. [pt]
    places : sequence of tuple
        Middles of the label from the point, the best first. [mm]
    colour : str
        Ink.
    beside : bool
        Whether half of the label's width is added to the first distance, so that
        a long label stands beside its point.
    weight : str
        ``normal`` or ``bold``.

    Returns
    -------
    written : bool
        False where there was no room.
    """
    for dx, dy in places:
        box = find_text_box(sheet, (0.0, 0.0), text, size)
        half = box.bounds[2] if beside else 0.0
        x = anchor[0] + sheet.metres(dx) + half * np.sign(dx)
        y = anchor[1] + sheet.metres(dy)
        if sheet.claim(find_text_box(sheet, (x, y), text, size * 1.05)):
            write_text(
                sheet,
                (float(x), float(y)),
                text,
                size,
                colour=colour,
                order=symbols.LABEL,
                weight=weight,
                bbox=PAPER_BEHIND,
            )
            return True
    return False


def draw_ticks(sheet: Sheet, place: tuple[float, float], scale: int) -> list[float]:
    """Draw crosses of the grid, and write its coordinates on two sides.

    Parameters
    ----------
    sheet : Sheet
        Where; its figure has the paper's axes first.
    place : tuple of float
        Lower left corner of the drawing on the paper. [mm]
    scale : int
        1 to this.

    Returns
    -------
    eastings : list of float
        Those with a tick. [m]
    """
    every = TICK_EVERY * scale / 1000
    west, south, east, north = sheet.bounds
    eastings = np.arange(np.ceil(west / every), np.floor(east / every) + 1) * every
    northings = np.arange(np.ceil(south / every), np.floor(north / every) + 1) * every
    arm = sheet.metres(2.0)
    crosses = [
        LineString(ends)
        for x in eastings
        for y in northings
        for ends in ([(x - arm, y), (x + arm, y)], [(x, y - arm), (x, y + arm)])
    ]
    draw_lines(sheet, crosses, styles.INK, 0.7, order=symbols.EDGE)
    _write_coordinates(sheet, place, eastings.tolist(), northings.tolist())
    return [float(x) for x in eastings]


def _write_coordinates(
    sheet: Sheet,
    place: tuple[float, float],
    eastings: Sequence[float],
    northings: Sequence[float],
) -> None:
    paper = sheet.axes.figure.axes[0]
    west, south = sheet.bounds[:2]
    for x in eastings:
        at = place[0] + (x - west) / sheet.metres_per_mm
        paper.text(at, place[1] - 3.2, f"E {x:.0f}", fontsize=6, ha="center")
    for y in northings:
        at = place[1] + (y - south) / sheet.metres_per_mm
        text = f"N {y:.0f}"
        paper.text(
            place[0] - 2.0, at, text, fontsize=6, rotation=90, ha="center", va="center"
        )


def draw_base(sheet: Sheet, survey: Survey) -> None:
    """Draw what lies under the plan, as map and report draw it."""
    site = survey.site
    for shape in site.vectors["water"].geometry:
        symbols.draw_water(sheet, shape)
    hidden = shapely.box(*site.grid.bounds).exterior.buffer(site.grid.cell_size)
    water = shapely.union_all(list(site.vectors["water"].geometry))
    for shape in survey.frost_pockets.geometry:
        if shape.intersects(sheet.frame):
            symbols.draw_frost_pocket(sheet, shape, hidden.union(water))
    _draw_built(sheet, survey)
    for part in site.field.geometry:
        symbols.draw_field_edge(sheet, part.intersection(sheet.frame.buffer(1e3)))
    paths = survey.cold_air_paths
    if len(paths):
        for line, hectares in zip(paths.geometry, paths["catchment_ha"], strict=True):
            for part in hatching.find_parts(line, LineString):
                if part.intersects(sheet.frame):
                    symbols.draw_cold_air_path(sheet, part, float(hectares))


def _draw_built(sheet: Sheet, survey: Survey) -> None:
    vectors = survey.site.vectors
    for shape, kind in _with_text(vectors["barriers"], "kind"):
        symbols.draw_barrier(sheet, shape, kind)
    for shape, name in _with_text(vectors["buildings"], "name"):
        draw_area(sheet, shape, styles.HAIRLINE, 1.0, order=symbols.EDGE)
        draw_lines(sheet, [shape.boundary], styles.INK, 1.2, order=symbols.EDGE)
        middle = shape.representative_point()
        write_label(sheet, (middle.x, middle.y), name or "building", 6)
    for shape, name in _with_text(vectors["access"], "name"):
        lines = hatching.find_parts(shape, LineString)
        draw_lines(
            sheet, lines, styles.SECOND_INK, 3.0, order=symbols.HEIGHTS, dash=(9, 4)
        )
        seen = shape.intersection(sheet.frame)
        if not seen.is_empty:
            middle = seen.interpolate(0.5, normalized=True) if lines else seen.centroid
            write_label(sheet, (middle.x, middle.y), name or "track", 6)
    trees = vectors["existing_trees"]
    for shape, condition in _with_text(trees, "condition"):
        middle = shape.representative_point()
        if sheet.frame.contains(middle):
            dead = condition == "dead"
            draw_standing_tree(sheet.axes, (middle.x, middle.y), dead=dead)


def draw_standing_tree(axes: Axes, place: tuple[float, float], *, dead: bool) -> None:
    """Draw a tree that stands already: never as one that is planted.

    Parameters
    ----------
    axes : matplotlib Axes
        Where.
    place : tuple of float
        Its stem.
    dead : bool
        Whether it is crossed out.
    """
    kinds = ["x"] if dead else ["o", "+"]
    for marker in kinds:
        axes.scatter(
            *place,
            s=34,
            marker=marker,
            c="white" if marker == "o" else styles.INK,
            edgecolors=styles.INK if marker == "o" else None,
            linewidths=0.8,
            zorder=symbols.MARK,
        )


def _with_text(frame: GeoDataFrame, name: str) -> list[tuple[BaseGeometry, str]]:
    """Pair each shape with a text of its row, empty where it has none."""
    texts = frame[name] if name in frame else [""] * len(frame)
    return [
        (shape, text if isinstance(text, str) else "")
        for shape, text in zip(frame.geometry, texts, strict=True)
    ]


def draw_heights(sheet: Sheet, survey: Survey) -> None:
    """Draw height lines off the water; last of all, for their figures give way."""
    contours = survey.contours
    if len(contours):
        water = shapely.union_all(list(survey.site.vectors["water"].geometry))
        near = contours[contours.intersects(sheet.frame)]
        dry = near.geometry.difference(water)
        symbols.draw_heights(sheet, list(dry), near["elevation_m"])


def draw_zone(sheet: Sheet, zone: Zone) -> None:
    """Draw ground where nothing is dug: hatched, its name on the line itself."""
    seen = zone.shape.intersection(sheet.frame)
    if seen.is_empty:
        return
    angles = (45.0, -45.0) if zone.kind == "roots" else (45.0,)
    for angle in angles:
        lines = hatching.make_hatch(seen, sheet.metres(2.2), angle)
        draw_lines(sheet, lines, styles.NO_DIG, 0.8, order=ZONE)
    outlines = [part.boundary for part in hatching.find_parts(seen, Polygon)]
    draw_lines(sheet, outlines, styles.NO_DIG, 1.0, order=ZONE)
    if zone.kind == "service":
        line = zone.drawn if zone.drawn.geom_type != "Polygon" else zone.drawn.boundary
        draw_lines(
            sheet,
            hatching.find_parts(line, LineString),
            styles.NO_DIG,
            1.8,
            order=ZONE,
            dash=(8, 3, 2, 3),
        )
    _name_zone(sheet, zone, seen)


def _name_zone(sheet: Sheet, zone: Zone, seen: BaseGeometry) -> None:
    on = zone.drawn.intersection(sheet.frame)
    linear = on.length > 0 and on.geom_type.endswith("LineString")
    text = f"NO DIG  {zone.name}" + (
        f", ± {zone.uncertainty:g} m: indicative only" if zone.kind == "service" else ""
    )
    for share in (0.5, 0.3, 0.7, 0.15, 0.85):
        at = (
            shapely.line_merge(on).interpolate(share, normalized=True)
            if linear
            else seen.representative_point()
        )
        if at.is_empty:
            at = seen.representative_point()
        places = ((0, 0), (0, 3.2), (0, -3.2), (0, 6), (0, -6), (9, 0), (-9, 0))
        if write_label(
            sheet, (at.x, at.y), text, 6.2, places, colour=styles.NO_DIG, weight="bold"
        ):
            return


def draw_lanes(sheet: Sheet, survey: Survey, lanes: GeoDataFrame) -> None:
    """Draw ground kept open; the largest pieces on the sheet carry their name."""
    seen = lanes.assign(geometry=lanes.intersection(sheet.frame))
    seen = seen[~seen.is_empty]
    order = seen.area.sort_values(ascending=False).index
    for place, index in enumerate(order):
        kind, width = str(seen.loc[index, "kind"]), float(seen.loc[index, "width_m"])
        shape = seen.loc[index, "geometry"]
        cold = kind == COLD_AIR_LANE
        ink = styles.COLD_AIR if cold else styles.SECOND_INK
        if cold:
            draw_area(sheet, shape, styles.COLD_AIR_TINT, 0.16, order=LANE)
            axis = find_axis(lanes.loc[index, "geometry"], survey)
            _draw_arrows(sheet, axis.intersection(shape.buffer(-sheet.metres(0.5))))
        outlines = [part.boundary for part in hatching.find_parts(shape, Polygon)]
        draw_lines(sheet, outlines, ink, 0.9, order=LANE, dash=(4, 2, 1, 2))
        if place < NAMED_LANES:
            _name_lane(sheet, shape, kind, width)


def _name_lane(sheet: Sheet, shape: BaseGeometry, kind: str, width: float) -> None:
    cold = kind == COLD_AIR_LANE
    text = f"{kind}, {width:g} m" if cold else f"{kind}, {width:g} m: turning"
    aside = width / 2 / sheet.metres_per_mm + 1.5 if cold else 3.0
    up = (0.0, 12.0, -12.0, 24.0, -24.0)
    places = [(side * aside, dy) for dy in up for side in (1, -1)]
    middle = shape.representative_point()
    colour = styles.COLD_AIR if cold else styles.SECOND_INK
    place = (middle.x, middle.y)
    write_label(sheet, place, text, 6.2, places, colour=colour, beside=cold)


def find_axis(shape: BaseGeometry, survey: Survey) -> LineString:
    """Find the line along a lane, from its higher to its lower end. [m].

    Where a cold-air path runs in it that path, else the lane's long axis.
    """
    paths = survey.cold_air_paths.geometry
    inside = [path.intersection(shape) for path in paths[paths.intersects(shape)]]
    joined = shapely.line_merge(shapely.union_all(inside), directed=True)
    longest = max(
        hatching.find_parts(joined, LineString),
        key=lambda part: part.length,
        default=LineString(),
    )
    if longest.length**2 > shape.area:
        return longest
    corners = shapely.get_coordinates(shape.minimum_rotated_rectangle)
    if len(corners) < 4:
        return LineString()
    if np.hypot(*(corners[1] - corners[0])) > np.hypot(*(corners[2] - corners[1])):
        corners = np.roll(corners[:4], -1, axis=0)
    ends = np.array(
        [(corners[0] + corners[1]) / 2, (corners[2] + corners[3]) / 2], np.float64
    )
    grid: Grid = survey.site.grid
    heights = grid.sample(survey.site.elevation, ends[:, 0], ends[:, 1])
    return LineString(ends[::-1] if heights[1] > heights[0] else ends)


def _draw_arrows(sheet: Sheet, axis: BaseGeometry) -> None:
    for part in hatching.find_parts(axis, LineString):
        count = max(1, round(part.length / sheet.metres(45)))
        for i in range(count):
            start = (i + 0.25) * part.length / count
            shaft = substring(
                part, start, start + min(sheet.metres(12), part.length / count / 2)
            )
            if not isinstance(shaft, LineString):
                continue
            heads = hatching.make_arrow_heads(shaft, shaft.length, sheet.metres(2))
            tip = shaft.coords[-1]
            moved = [
                shapely.affinity.translate(
                    head, tip[0] - head.coords[1][0], tip[1] - head.coords[1][1]
                )
                for head in heads
            ]
            draw_lines(sheet, [shaft, *moved], styles.COLD_AIR, 2.0, order=symbols.PATH)
