"""The symbols of the key, one function for each."""

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from sitekit import words
from sitekit.cartography import hatching, styles
from sitekit.cartography.drawing import (
    POINTS_PER_PIXEL,
    Sheet,
    draw_area,
    draw_class,
    draw_lines,
    find_text_box,
    write_text,
)
from sitekit.cartography.lines import find_open_edge, find_strong
from sitekit.cartography.styles import ClassStyle

#: Barriers that are drawn as beads; all others as bars.
GROWING = ("hedge", "wood")
_PAPER_BEHIND = {"facecolor": styles.RELIEF_PAPER, "pad": 0.6, "linewidth": 0}
#: Paths are finer on paper than on a screen: paper holds more of them.
ON_PAPER = 0.7
FIELD_DASH = (14.0, 4.0, 2.0, 4.0)
#: What lies on what; the frame of a sheet is 20.
WATER, GROUND, POCKET, HEIGHTS, BLOCK, PATH, EDGE, MARK, LABEL = range(2, 11)


def draw_water(sheet: Sheet, shape: BaseGeometry) -> None:
    """Draw water: pale fill and edge."""
    seen = shape.intersection(sheet.frame)
    draw_area(sheet, seen, styles.WATER, 1.0, order=WATER)
    outlines = [p.boundary for p in hatching.find_parts(seen, Polygon)]
    draw_lines(sheet, outlines, styles.WATER_EDGE, 1.5, order=WATER)


def draw_water_name(sheet: Sheet, shape: BaseGeometry, name: str) -> None:
    """Write the name of water into it in italics, where there is room."""
    seen = shape.intersection(sheet.frame)
    if name:
        _name_area(sheet, seen, name, 8, styles.WATER_EDGE, style="italic")


def _name_area(
    sheet: Sheet, shape: BaseGeometry, name: str, size: float, colour: str, **more: str
) -> None:
    """Write a name into a shape where it fits, the roomiest part first."""
    parts = sorted(hatching.find_parts(shape, Polygon), key=lambda p: -p.area)
    for part in parts[:1]:
        for x, y in _places(part):
            box = find_text_box(sheet, (x, y), name, size)
            if part.buffer(sheet.metres(1)).covers(box) and sheet.claim(box):
                write_text(
                    sheet, (x, y), name, size, colour=colour, order=LABEL, **more
                )
                return


def _places(part: BaseGeometry) -> list[tuple[float, float]]:
    """Places to try for a name: the middle first, then a lattice."""
    west, south, east, north = part.bounds
    middle = part.representative_point()
    lattice = [
        (west + (east - west) * i / 8, south + (north - south) * j / 8)
        for j in (4, 3, 5, 2, 6)
        for i in (6, 5, 4, 3, 2, 7, 1)
    ]
    return [(middle.x, middle.y), *lattice]


def draw_field_edge(sheet: Sheet, shape: BaseGeometry) -> None:
    """Draw the edge of the field, long and short dashes."""
    edges = [p.boundary for p in hatching.find_parts(shape, Polygon)]
    draw_lines(sheet, edges, styles.INK, 2.2, order=EDGE, casing=5.0, dash=FIELD_DASH)


def draw_frost_pocket(sheet: Sheet, shape: BaseGeometry, hidden: BaseGeometry) -> None:
    """Draw a frost pocket: tint, and an outline with ticks that point inward.

    Parameters
    ----------
    sheet : Sheet
        Where.
    shape : Polygon or MultiPolygon
        The pocket. [m]
    hidden : shapely geometry
        Where the outline is no edge of cold air: water, the edge of the data. [m]
    """
    draw_area(sheet, shape, styles.COLD_AIR_TINT, 0.2, order=POCKET)
    edge = find_open_edge(shape, hidden)
    lines = hatching.find_parts(edge, LineString)
    draw_lines(sheet, lines, styles.COLD_AIR, 1.6, order=POCKET)
    length = min(max(4.5, sheet.metres(1.1)), 0.35 * shape.area**0.5)
    spacing = max(11.0, sheet.metres(2.2))
    ticks = hatching.make_ticks(shape, spacing, length, hidden)
    draw_lines(sheet, ticks, styles.COLD_AIR, 1.1, order=POCKET)


def draw_cold_air_path(sheet: Sheet, line: LineString, catchment: float) -> None:
    """Draw where cold air runs downhill: as wide as its catchment, with arrows.

    Parameters
    ----------
    sheet : Sheet
        Where.
    line : LineString
        From high to low. [m]
    catchment : float
        Ground that drains through it. [ha]
    """
    weight = 1.3 if catchment < 1 else 2.2 if catchment <= 5 else 3.4
    heads = hatching.make_arrow_heads(
        line, max(70.0, sheet.metres(13)), sheet.metres(1.1 + weight / 4)
    )
    lines = [line, *heads]
    weight *= ON_PAPER
    draw_lines(sheet, lines, styles.COLD_AIR, weight, order=PATH, casing=weight + 1.6)


def draw_barrier(sheet: Sheet, shape: BaseGeometry, kind: str) -> None:
    """Draw a barrier: beads where it grows, short bars where it is built."""
    edge = shape.boundary if shape.geom_type.endswith("Polygon") else shape
    lines = hatching.find_parts(edge, LineString)
    if kind in GROWING:
        draw_lines(
            sheet,
            lines,
            styles.HEDGE,
            4.5,
            order=EDGE,
            dash=(0.01, 6.0),
            round_ends=True,
        )
    else:
        draw_lines(sheet, lines, styles.HEDGE, 6.0, order=EDGE, dash=(2.0, 5.0))


def draw_heights(
    sheet: Sheet, lines: Sequence[BaseGeometry], heights: Iterable[float]
) -> None:
    """Draw height lines; every fifth is heavier and carries its figure."""
    known = np.asarray(list(heights), np.float64)
    for line, height, strong in zip(lines, known, find_strong(known), strict=True):
        seen = line.intersection(sheet.frame).simplify(sheet.metres(0.1))
        parts = hatching.find_parts(seen, LineString)
        weight = 1.0 if strong else 0.5
        draw_lines(sheet, parts, styles.CONTOUR, weight, order=HEIGHTS)
        if strong:
            _write_height(sheet, parts, words.number(height))


def _write_height(sheet: Sheet, parts: Sequence[BaseGeometry], figure: str) -> None:
    """Write the figure of a height line where there is room for it."""
    longest = max(parts, key=lambda part: part.length, default=None)
    if longest is None or longest.length < sheet.metres(18):
        return
    for share in (0.12, 0.88, 0.3, 0.7, 0.5):
        here, next_ = (
            longest.interpolate(share + d, normalized=True) for d in (0, 0.02)
        )
        turn = np.degrees(np.arctan2(next_.y - here.y, next_.x - here.x))
        box = find_text_box(sheet, (here.x, here.y), figure, 6)
        if sheet.claim(shapely.affinity.rotate(box, turn)):
            write_text(
                sheet,
                (here.x, here.y),
                figure,
                6,
                colour=styles.CONTOUR_FIGURE,
                order=LABEL - 0.5,
                rotation=(turn + 90) % 180 - 90,
                bbox=_PAPER_BEHIND,
            )
            return


def draw_block(
    sheet: Sheet, shape: BaseGeometry, style: ClassStyle, *, first: bool = False
) -> None:
    """Draw a block as ground of its class, with its outline.

    The outline lies inside, clear of the field edge and of the next block.
    """
    weight = 3.5 if first else 1.8
    inner = shape.buffer(-sheet.pixels(2.6 + weight / 2), join_style="mitre")
    # A strip narrower than its own outline is drawn as it is.
    drawn = shape if inner.is_empty else inner
    draw_class(sheet, drawn, style, order=BLOCK)
    edges = [p.boundary for p in hatching.find_parts(drawn, Polygon)]
    draw_lines(
        sheet,
        edges,
        styles.INK,
        weight,
        order=BLOCK + 0.5,
        casing=weight + 2.2,
        dash=(6.0, 4.0) if style.dashed else (),
    )


def draw_badge(sheet: Sheet, shape: BaseGeometry, rank: str, text: str) -> bool:
    """Write the rank of a block in a dark box, and its class where there is room.

    Returns
    -------
    drawn : bool
        False where even the rank found no room.
    """
    seen = shape.intersection(sheet.frame)
    parts = sorted(hatching.find_parts(seen, Polygon), key=lambda p: -p.area)
    for words_too, size in ((True, 7.0), (False, 5.0)):
        label = f" {rank}   {text} " if words_too else f" {rank} "
        for part in parts[:1]:
            for place in _places(part):
                box = find_text_box(sheet, place, label, size + 1)
                fits = part.covers(box) or not words_too
                if fits and sheet.claim(box):
                    _write_badge(sheet, box, rank, text if words_too else "", size)
                    return True
    return False


def _write_badge(
    sheet: Sheet, box: BaseGeometry, rank: str, text: str, size: float
) -> None:
    west, south, east, north = box.bounds
    head = west + sheet.metres(1.6 + 1.5 * len(rank)) if text else east
    dark = shapely.box(west, south, head, north)
    draw_area(sheet, box, styles.PAPER, 1.0, order=LABEL)
    draw_area(sheet, dark, styles.INK, 1.0, order=LABEL)
    draw_lines(sheet, [box.boundary], styles.INK, 1.0, order=LABEL)
    middle = (south + north) / 2
    for start, end, word, colour, weight in (
        (west, head, rank, styles.PAPER, "bold"),
        (head, east, text, styles.INK, "normal"),
    ):
        write_text(
            sheet,
            ((start + end) / 2, middle),
            word,
            size,
            colour=colour,
            order=LABEL + 0.1,
            weight=weight,
            va="center_baseline",
        )


def draw_no_go(sheet: Sheet, shape: BaseGeometry) -> None:
    """Draw ground that is not to be planted: crossed lines, thin outline."""
    crossed = styles.CLASS_STYLES[words.REFUSED]
    draw_class(sheet, shape, crossed, order=BLOCK + 0.6)
    edges = [p.boundary for p in hatching.find_parts(shape, Polygon)]
    draw_lines(sheet, edges, crossed.ink, 1.0, order=BLOCK + 0.6)


def draw_tree(sheet: Sheet, place: tuple[float, float], condition: str) -> None:
    """Draw a tree that stands already: full, hollow where weak, crossed where dead."""
    dead = condition == "dead"
    sheet.axes.scatter(
        *place,
        s=14,
        marker="x" if dead else "o",
        c=styles.INK if dead or condition == "thriving" else styles.PAPER,
        edgecolors=None if dead else styles.INK,
        linewidths=0.8,
        zorder=MARK,
    )


def draw_mark(sheet: Sheet, place: tuple[float, float], letter: str) -> None:
    """Draw a small ring with a letter or a figure that a table explains."""
    side = 3.4 * POINTS_PER_PIXEL * 3
    sheet.axes.scatter(
        *place,
        s=side**2,
        c=styles.PAPER,
        edgecolors=styles.STAMP,
        linewidths=0.9,
        zorder=MARK,
    )
    write_text(
        sheet,
        place,
        letter,
        5.5,
        colour=styles.STAMP_TEXT,
        order=MARK + 0.1,
        va="center_baseline",
    )


def draw_station(sheet: Sheet, place: tuple[float, float], name: str) -> None:
    """Draw the place that night offsets are told against: a double ring."""
    for size in (9.0, 34.0):
        sheet.axes.scatter(
            *place,
            s=size,
            facecolors="none",
            edgecolors=styles.INK,
            linewidths=0.9,
            zorder=MARK,
        )
    for dx, dy in ((0, 3), (0, -3), (1, 3), (-1, 3), (1, -3), (-1, -3)):
        half = sheet.metres(len(name) * 0.55 + 1)
        where = (place[0] + dx * half, place[1] + sheet.metres(dy))
        if sheet.claim(find_text_box(sheet, where, name, 6.5)):
            write_text(sheet, where, name, 6.5, order=LABEL, bbox=_PAPER_BEHIND)
            return
