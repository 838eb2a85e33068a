"""The map of the report: the holding on one page."""

import shapely
from matplotlib.figure import Figure
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from sitekit.cartography import hatching, margin, symbols
from sitekit.cartography.drawing import (
    Box,
    Sheet,
    draw_relief,
    make_figure,
    make_sheet,
)
from sitekit.report.blocks import Block, list_blocks, written
from sitekit.results import Survey

#: Room for the map on the page. [mm]
WIDTH, HEIGHT = 150.0, 155.0
#: Ground shown around the field, in its own size, and at least. [m]
AROUND, LEAST_AROUND = 0.18, 60.0
#: Width of the ring of a note. [mm]
RING = 2.8
#: Water nearer to the field than this is brought into the frame. [m]
NEAR_WATER = 400.0


def find_bounds(survey: Survey) -> Box:
    """Choose what the map shows: field, blocks, the water near by.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    bounds : tuple of float
        West, south, east, north, within the grid. [m]
    """
    field = shapely.union_all(survey.site.field.geometry.to_numpy())
    shown = [shapely.box(*field.bounds)]
    for water in survey.site.vectors["water"].geometry:
        if water.distance(field) < NEAR_WATER:
            nearest = shapely.shortest_line(field, water).coords[-1]
            shown.append(shapely.Point(nearest).buffer(40.0))
    west, south, east, north = shapely.union_all(shown).bounds
    side = max(east - west, north - south)
    margin = max(AROUND * side, LEAST_AROUND)
    left, low, right, top = survey.site.grid.bounds
    return (
        max(west - margin, left),
        max(south - margin, low),
        min(east + margin, right),
        min(north + margin, top),
    )


def draw_map(survey: Survey) -> Figure:
    """Draw the map.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    figure : matplotlib Figure
        As wide as the column, or as high as the page holds.
    """
    bounds = find_bounds(survey)
    shape = (bounds[3] - bounds[1]) / (bounds[2] - bounds[0])
    width = min(WIDTH - 1, (HEIGHT - 1) / shape)
    figure = make_figure(WIDTH, width * shape + 1)
    sheet = make_sheet(figure, bounds, ((WIDTH - width) / 2, 0.5, width))
    draw_ground(sheet, survey)
    notes = survey.notes.geometry.representative_point()
    _draw_blocks(sheet, list_blocks(survey), sheet.boxes_about(notes, RING / 2))
    _draw_evidence(sheet, survey)
    _draw_names(sheet, survey)
    return figure


def draw_ground(sheet: Sheet, survey: Survey) -> None:
    """Draw what lies under the blocks: relief, water, pockets, barriers, paths.

    Parameters
    ----------
    sheet : Sheet
        Where to draw.
    survey : Survey
        What was found.
    """
    site = survey.site
    draw_relief(sheet, site.elevation, site.grid)
    margin.draw_corner(sheet, site.grid.convergence)
    for shape in site.vectors["water"].geometry:
        symbols.draw_water(sheet, shape)
    hidden = find_hidden(survey)
    for shape in survey.frost_pockets.geometry:
        symbols.draw_frost_pocket(sheet, shape, hidden)
    for shape in site.vectors["no_go"].geometry:
        symbols.draw_no_go(sheet, shape)
    for part in site.field.geometry:
        symbols.draw_field_edge(sheet, part)
    # Over the edge of the field: a hedge often stands on it.
    barriers = site.vectors["barriers"]
    if len(barriers):
        for shape, kind in zip(barriers.geometry, barriers["kind"], strict=True):
            symbols.draw_barrier(sheet, shape, written(kind))
    _draw_paths(sheet, survey)


def list_signs(survey: Survey) -> list[str]:
    """Name what `draw_ground` draws for this survey, as the key names it.

    Parameters
    ----------
    survey : Survey
        What was found.
    """
    site = survey.site
    barriers = site.vectors["barriers"]
    kinds = set(barriers["kind"]) if len(barriers) else set()
    drawn = {
        "field edge": True,
        "frost pocket": not survey.frost_pockets.empty,
        "cold-air path": not survey.cold_air_paths.empty,
        "hedge or wood": bool(kinds & set(symbols.GROWING)),
        "wall, bank or fence": bool(kinds - set(symbols.GROWING)),
        "water": site.has_water,
        "no-go": not site.vectors["no_go"].empty,
    }
    return [name for name, shown in drawn.items() if shown]


def find_hidden(survey: Survey) -> BaseGeometry:
    """Find where the outline of a frost pocket is no edge of cold air."""
    grid = survey.site.grid
    edge = shapely.box(*grid.bounds).exterior.buffer(grid.cell_size * 1.1)
    return _water(survey).buffer(grid.cell_size * 1.1).union(edge)


def _draw_paths(sheet: Sheet, survey: Survey) -> None:
    paths = survey.cold_air_paths
    if paths.empty:
        return
    # Pieces of one width are joined, so that arrows stand evenly along them.
    widths = paths["catchment_ha"].map(
        lambda ha: 0.5 if ha < 1 else 3 if ha <= 5 else 6
    )
    for width, pieces in paths.geometry.groupby(widths):
        joined = shapely.line_merge(shapely.union_all(pieces.to_numpy()), directed=True)
        for line in hatching.find_parts(joined, LineString):
            symbols.draw_cold_air_path(sheet, line, float(str(width)))


def _draw_blocks(sheet: Sheet, blocks: list[Block], rings: list[Polygon]) -> None:
    """Draw the blocks; a rank stands beside the notes, or over one if it must."""
    for block in reversed(blocks):
        symbols.draw_block(sheet, block.shape, block.style, first=block.number == 1)
    sheet.taken += rings
    pressed = [block for block in blocks if not _draw_badge(sheet, block)]
    for ring in rings:
        sheet.taken.remove(ring)
    for block in pressed:
        _draw_badge(sheet, block)
    sheet.taken += rings


def _draw_badge(sheet: Sheet, block: Block) -> bool:
    return symbols.draw_badge(sheet, block.shape, str(block.number), block.best_class)


def _draw_evidence(sheet: Sheet, survey: Survey) -> None:
    trees = survey.existing_trees
    for point, row in zip(trees.geometry, trees.itertuples(), strict=True):
        place = point.representative_point()
        symbols.draw_tree(sheet, (place.x, place.y), written(row.condition))
    for letter, point in zip(
        note_letters(len(survey.notes)), survey.notes.geometry, strict=True
    ):
        place = point.representative_point()
        if sheet.frame.contains(place):
            symbols.draw_mark(sheet, (place.x, place.y), letter)


def note_letters(count: int) -> list[str]:
    """Give each note a letter: a to z, then figures.

    Examples
    --------
    >>> note_letters(3)
    ['a', 'b', 'c']
    """
    letters = [chr(ord("a") + i) for i in range(26)]
    return letters[:count] + [str(i + 1) for i in range(26, count)]


def _draw_names(sheet: Sheet, survey: Survey) -> None:
    reference = survey.site.reference
    if reference is not None:
        place = (reference.easting, reference.northing)
        if sheet.frame.contains(shapely.Point(place)):
            symbols.draw_station(sheet, place, reference.name)
    water = survey.site.vectors["water"]
    if len(water):
        for shape, name in zip(water.geometry, water["name"], strict=True):
            symbols.draw_water_name(sheet, shape, written(name))
    contours = survey.contours
    if len(contours):
        dry = contours.geometry.difference(_water(survey))
        symbols.draw_heights(sheet, list(dry), contours["elevation_m"])


def _water(survey: Survey) -> BaseGeometry:
    return shapely.union_all(survey.site.vectors["water"].geometry.to_numpy())
