"""Three small maps of one change: now, with it, and what it changes."""

import numpy as np
import shapely
from affine import Affine
from geopandas import GeoDataFrame
from matplotlib.figure import Figure
from numpy.typing import NDArray
from rasterio.features import shapes as trace
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from sitekit import words
from sitekit.cartography import hatching, margin, styles, symbols
from sitekit.cartography.drawing import (
    Box,
    Sheet,
    draw_area,
    draw_lines,
    find_text_box,
    make_figure,
    make_sheet,
    write_text,
)
from sitekit.report.blocks import written
from sitekit.report.comparison_degrees import draw_degrees
from sitekit.results import Change, Comparison
from sitekit.site import Site

#: Width of a map and greatest height. [mm]
WIDTH, HEIGHT = 58.0, 72.0
#: Ground shown around the change, and how far what it changes is followed. [m]
AROUND, NEAR = 50.0, 150.0
#: A map is at least and at most so high for its width, where the grid allows.
LOWEST, HIGHEST = 0.7, 1.1
#: Share of the height kept at the foot for scale bar and north.
FOOT = 0.16
#: Least change that is looked at. [degC]
LEAST = 0.5
#: Longest name written on a map, in letters.
LONGEST = 26
#: What is done, in words of the trade.
ACTIONS = {
    "gap": "gap",
    "lift": "foot lifted",
    "remove": "taken out",
    "add": "new",
    "cut": "dug down",
    "bank": "bank",
    "together": "all together",
}
#: The three maps: what is drawn, and its title.
MAPS = {"before": "Now", "after": "With the change", "change": "What changes"}


def find_window(site: Site, change: Change) -> Box:
    """Choose what the maps of a change show.

    Parameters
    ----------
    site : Site
        Its grid is not left.
    change : Change
        The change.

    Returns
    -------
    bounds : tuple of float
        West, south, east, north: 50 m around the change, and the pool asked about
        and the changed ground as far as they are near. [m]
    """
    degrees = change.layers["frost_night_offset_change"].to_numpy()
    with np.errstate(invalid="ignore"):
        asked = change.pool | (np.abs(degrees) >= LEAST)
    shown = [change.place.buffer(AROUND), *_find_near(site, asked, change.place)]
    west, south, east, north = shapely.union_all(shown).bounds
    south -= FOOT * (north - south)
    return _shape_window((west, south, east, north), site.grid.bounds)


def _find_near(
    site: Site, wanted: NDArray[np.bool_], place: BaseGeometry
) -> list[BaseGeometry]:
    """Find the cells that are wanted and near, as one box."""
    rows, columns = np.nonzero(wanted)
    x, y = site.grid.eastings[columns], site.grid.northings[rows]
    west, south, east, north = place.buffer(NEAR).bounds
    near: NDArray[np.bool_] = (x >= west) & (x <= east) & (y >= south) & (y <= north)
    x, y = x[near], y[near]
    near = np.asarray(shapely.distance(shapely.points(x, y), place)) <= NEAR
    if not near.any():
        return []
    x, y, half = x[near], y[near], site.grid.cell_size
    return [shapely.box(x.min() - half, y.min() - half, x.max() + half, y.max() + half)]


def _shape_window(wanted: Box, limits: Box) -> Box:
    """Make a box neither too flat nor too tall, and keep it within the limits."""
    wide, high = wanted[2] - wanted[0], wanted[3] - wanted[1]
    wide, high = max(wide, high / HIGHEST), max(high, wide * LOWEST)
    west, east = _keep((wanted[0] + wanted[2] - wide) / 2, wide, limits[0], limits[2])
    south, north = _keep((wanted[1] + wanted[3] - high) / 2, high, limits[1], limits[3])
    return west, south, east, north


def _keep(start: float, length: float, low: float, high: float) -> tuple[float, float]:
    """Move a stretch into limits, and cut it only where it is longer than they."""
    length = min(length, high - low)
    start = min(max(start, low), high - length)
    return start, start + length


def draw_maps(comparison: Comparison, change: Change) -> dict[str, Figure]:
    """Draw the three maps of a change on one scale.

    Parameters
    ----------
    comparison : Comparison
        Site and height lines.
    change : Change
        One of its changes.

    Returns
    -------
    figures : dict of str to matplotlib Figure
        Under the keys of `MAPS`.
    """
    bounds = find_window(comparison.site, change)
    return {name: _draw_map(comparison, change, bounds, name) for name in MAPS}


def _draw_map(comparison: Comparison, change: Change, bounds: Box, name: str) -> Figure:
    site = comparison.site
    shape = (bounds[3] - bounds[1]) / (bounds[2] - bounds[0])
    width = min(WIDTH - 1, (HEIGHT - 1) / shape)
    figure = make_figure(WIDTH, width * shape + 1)
    sheet = make_sheet(figure, bounds, ((WIDTH - width) / 2, 0.5, width))
    degrees = change.layers[f"frost_night_offset_{name}"].to_numpy()
    draw_degrees(sheet, degrees, site, difference=name == "change")
    if name == "before":
        _draw_scale(sheet)
    else:
        _draw_north(sheet, site.grid.convergence)
        _draw_place(sheet, change)
    _draw_ground(sheet, site)
    _draw_pool(sheet, change, site)
    _write_names(sheet, site.vectors["neighbours"])
    _write_names(sheet, site.field)
    contours = comparison.contours
    if len(contours):
        symbols.draw_heights(sheet, list(contours.geometry), contours["elevation_m"])
    return figure


def _draw_ground(sheet: Sheet, site: Site) -> None:
    """Draw water, houses, edges and barriers as they stand now."""
    for shape in site.vectors["water"].geometry:
        symbols.draw_water(sheet, shape)
    for shape in site.vectors["buildings"].geometry:
        draw_area(sheet, shape, styles.INK, 0.75, order=symbols.BLOCK)
    edges = [_edge(shape) for shape in site.vectors["neighbours"].geometry]
    draw_lines(sheet, edges, styles.INK, 0.9, order=symbols.BLOCK, dash=(5.0, 3.0))
    barriers = site.vectors["barriers"]
    if len(barriers):
        for shape, kind in zip(barriers.geometry, barriers["kind"], strict=True):
            symbols.draw_barrier(sheet, shape, written(kind))
    for part in site.field.geometry:
        symbols.draw_field_edge(sheet, part)


def _edge(shape: BaseGeometry) -> BaseGeometry:
    """Find the line that is drawn of a shape: its edge, or the line that it is."""
    edges = [part.exterior for part in hatching.find_parts(shape, Polygon)]
    lines = hatching.find_parts(shape, shapely.LineString)
    return shapely.union_all([*edges, *lines])


def _draw_pool(sheet: Sheet, change: Change, site: Site) -> None:
    """Outline the ground that was asked about, as it lies now."""
    grid, cell = site.grid, site.grid.cell_size
    west, south, east, north = sheet.bounds
    rows, columns = grid.cells([west, east], [north, south])
    top, left = max(int(rows[0]) - 1, 0), max(int(columns[0]) - 1, 0)
    seen = change.pool[top : rows[1] + 2, left : columns[1] + 2]
    moved = Affine(cell, 0, grid.west + left * cell, 0, -cell, grid.north - top * cell)
    for shape, _ in trace(seen.astype(np.uint8), mask=seen, transform=moved):
        (outline,) = hatching.find_parts(shapely.geometry.shape(shape), Polygon)
        rings = [_smooth(r, cell) for r in (outline.exterior, *outline.interiors)]
        draw_lines(sheet, rings, styles.COLD_AIR, 1.5, order=symbols.POCKET, casing=3.0)


def _smooth(ring: shapely.LinearRing, cell: float) -> shapely.LineString:
    """Take the stairs of the cells out of an outline: they stand in no field."""
    corners = shapely.get_coordinates(ring.segmentize(cell))[:-1]
    for _ in range(4):
        corners = (np.roll(corners, 1, 0) + corners + np.roll(corners, -1, 0)) / 3
    return shapely.LineString([*corners, corners[0]])


def name_action(change: Change) -> str:
    """Say what is done, in words."""
    return ACTIONS.get(change.action, change.action)


def _draw_place(sheet: Sheet, change: Change) -> None:
    """Mark where the change is, and write what is done there."""
    for part in shapely.get_parts(change.place):
        _mark(sheet, part)
    place = _find_middle(change.place)
    label = name_action(change)[:LONGEST]
    for dx, dy in ((0, 9), (12, 7), (-12, 7), (0, -9), (12, -7), (-12, -7), (0, 16)):
        where = (place.x + sheet.metres(dx), place.y + sheet.metres(dy))
        box = find_text_box(sheet, where, f" {label} ", 7.5)
        if sheet.claim(box):
            leader = shapely.LineString([(place.x, place.y), where])
            order = symbols.LABEL
            draw_lines(sheet, [leader], styles.STAMP_TEXT, 0.9, order=order)
            draw_area(sheet, box, styles.PAPER, 1.0, order=order)
            draw_lines(sheet, [box.boundary], styles.STAMP_TEXT, 0.8, order=order)
            write_text(
                sheet, where, label, 7, colour=styles.STAMP_TEXT, order=order + 0.1
            )
            return


def _find_middle(shape: BaseGeometry) -> shapely.Point:
    """Find a place on a shape near its middle, for a label."""
    parts = shapely.get_parts(shape)
    largest = max(parts, key=lambda part: (part.area, part.length))
    if isinstance(largest, shapely.LineString):
        return largest.interpolate(0.5, normalized=True)
    return shapely.Point(largest.representative_point())


def _mark(sheet: Sheet, part: BaseGeometry) -> None:
    """Draw the place of a change; a ring where it is too small to be seen."""
    shape = _edge(part)
    if shape.length < sheet.metres(4):
        shape = _find_middle(part).buffer(sheet.metres(1.6)).exterior
    lines = hatching.find_parts(shape, shapely.LineString)
    lines += hatching.find_parts(shape, shapely.LinearRing)
    draw_lines(sheet, lines, styles.STAMP, 2.6, order=symbols.MARK, casing=6.0)


def _write_names(sheet: Sheet, shapes: GeoDataFrame) -> None:
    """Write the names of ground where there is room for them."""
    if shapes.empty or "name" not in shapes:
        return
    for shape, given in zip(shapes.geometry, shapes["name"], strict=True):
        name = written(given)
        short = name if len(name) <= LONGEST else f"{name[: LONGEST - 1]}…"
        seen = shape.intersection(sheet.frame)
        if not short or seen.is_empty:
            continue
        where = seen.representative_point()
        box = find_text_box(sheet, (where.x, where.y), short, 7)
        if sheet.claim(box):
            draw_area(sheet, box, styles.PAPER, 0.85, order=symbols.LABEL)
            write_text(sheet, (where.x, where.y), short, 6.5, order=symbols.LABEL)


def _draw_scale(sheet: Sheet) -> None:
    """Lay a scale bar into the lower left corner, on paper."""
    length = margin.round_length(sheet.metres(20))
    long = length / sheet.metres_per_mm
    _draw_paper(sheet, long + 9.5, 7.6)
    margin.draw_scale_bar(sheet, (3.2, 2), length)


def _draw_north(sheet: Sheet, convergence: float) -> None:
    """Lay a north arrow into the lower left corner, on paper."""
    _draw_paper(sheet, 9.5, 14.6)
    margin.draw_north(sheet, (4.8, 1.6), convergence)


def _draw_paper(sheet: Sheet, wide: float, high: float) -> None:
    west, south = sheet.bounds[:2]
    box = shapely.box(
        west, south, west + sheet.metres(wide), south + sheet.metres(high)
    )
    draw_area(sheet, box, styles.PAPER, 0.88, order=symbols.LABEL + 0.9)
    sheet.taken.append(box)


def describe_map(change: Change, bounds: Box, name: str) -> str:
    """Tell in words what a map shows, for those who cannot see it.

    Parameters
    ----------
    change : Change
        The change.
    bounds : tuple of float
        What the map shows. [m]
    name : str
        Key of `MAPS`.
    """
    layer = change.layers[f"frost_night_offset_{name}"]
    inside = (layer["x"] >= bounds[0]) & (layer["x"] <= bounds[2])
    inside = inside & (layer["y"] >= bounds[1]) & (layer["y"] <= bounds[3])
    seen = layer.where(inside).to_numpy()
    seen = seen[np.isfinite(seen)]
    head = f"{MAPS[name]}, map of the ground around {change.name}"
    if not seen.size:
        return f"{head}: {words.NOT_KNOWN}."
    low, high = words.offset(float(seen.min())), words.offset(float(seen.max()))
    what = "change on a clear still night" if name == "change" else "clear still night"
    return f"{head}: {what} from {low} to {high}."
