"""What is set out, as drawn on the plan: blocks, rows, plants, fence, marks."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from matplotlib.axes import Axes
from shapely import LineString, Polygon

from sitekit.cartography import hatching, styles, symbols
from sitekit.cartography.drawing import Sheet, draw_lines, write_text
from sitekit.handover.coordinates import write_level, write_position
from sitekit.handover.ground import PAPER_BEHIND, write_label
from sitekit.handover.scales import find_nearest
from sitekit.results import Baseline, Survey

#: Shape of each fruit on paper; others take the spare ones in turn.
SHAPES = {
    "pear": "o",
    "plum": "s",
    "apple": "D",
    "sweet_cherry": "h",
    "sour_cherry": "p",
    "blackcurrant": "P",
}
SPARE = ("v", "<", ">", "X", "8", "d")
#: Every so many plants of a row carry their id.
NAMED_EVERY = 5
#: Largest mark of a plant. [mm]
MARK = 2.1
POINTS_PER_MM = 72 / 25.4
#: Places about a control mark to try for its name. [mm]
NEAR_MARK = tuple(
    (dx, dy) for dy in (1.5, -1.5, 3.5, -3.5, 6.0, -6.0, 9.0, -9.0) for dx in (2, -2)
)


@dataclass(frozen=True)
class PlantMark:
    """How plants of one fruit and year are drawn.

    Parameters
    ----------
    marker : str
        Shape.
    fill, edge : str
        Inks.
    words : str
        For the key.
    """

    marker: str
    fill: str
    edge: str
    words: str


def find_marker(fruit: str, fruits: Sequence[str]) -> str:
    """Find the shape of a fruit among those of the plan."""
    others = [name for name in fruits if name not in SHAPES]
    return SHAPES[fruit] if fruit in SHAPES else SPARE[others.index(fruit) % len(SPARE)]


def list_marks(plants: pd.DataFrame) -> dict[tuple[str, str], PlantMark]:
    """List how plants are drawn, by fruit and when they are planted.

    Parameters
    ----------
    plants : DataFrame
        ``fruit`` and ``year``.

    Returns
    -------
    marks : dict
        (fruit, when) to mark; when is ``this year``, ``later`` or ``not paid``.
    """
    fruits = sorted(set(plants["fruit"]))
    when = find_when(plants["year"])
    styled = {
        "this year": (styles.INK, styles.INK, "plant this year"),
        "later": ("white", styles.INK, "later year"),
        "not paid": ("white", "#9AA3A0", "no year pays for it yet"),
    }
    found: dict[tuple[str, str], PlantMark] = {}
    for fruit in fruits:
        for at, (fill, edge, said) in styled.items():
            if ((plants["fruit"] == fruit) & (when == at)).any():
                name = fruit.replace("_", " ")
                found[fruit, at] = PlantMark(
                    find_marker(fruit, fruits), fill, edge, f"{name}, {said}"
                )
    return found


def find_when(years: pd.Series) -> pd.Series:
    """Tell this year, a later one, or none yet."""
    names = np.select([years == 1, years > 1], ["this year", "later"], "not paid")
    return pd.Series(names, index=years.index)


def draw_mark_of(
    axes: Axes, place: tuple[object, object], mark: PlantMark, side: float
) -> None:
    """Draw plants of one kind; side of the mark in mm."""
    axes.scatter(
        *place,  # type: ignore[arg-type]
        s=(side * POINTS_PER_MM) ** 2 * 0.7,
        marker=mark.marker,
        c=mark.fill,
        edgecolors=mark.edge,
        linewidths=0.8,
        zorder=symbols.MARK,
    )


def draw_blocks(sheet: Sheet, survey: Survey, planted: set[str]) -> None:
    """Draw the outline of each block that is planted, and its name."""
    blocks = survey.blocks.drop_duplicates("block")
    for number, shape in zip(blocks["block"], blocks.geometry, strict=True):
        if str(number) not in planted or not shape.intersects(sheet.frame):
            continue
        edges = [part.boundary for part in hatching.find_parts(shape, Polygon)]
        draw_lines(sheet, edges, styles.INK, 1.3, order=symbols.BLOCK, dash=(10, 3))
        seen = shape.intersection(sheet.frame)
        west, _, _, north = seen.bounds
        places = ((9, -4), (20, -4), (9, -9), (30, -4), (40, -4), (9, 4), (25, 4))
        write_label(sheet, (west, north), f"block {number}", 8, places, weight="bold")


def draw_rows(sheet: Sheet, survey: Survey) -> None:
    """Draw rows and plants; first the ids at both ends, then every fifth."""
    plan = survey.plan
    if plan is None:
        return
    rows = [part for line in plan.rows.geometry for part in _lines(line)]
    near = [row for row in rows if row.intersects(sheet.frame)]
    draw_lines(sheet, near, styles.INK, 0.5, order=symbols.BLOCK + 0.5)
    inside = plan.plants[plan.plants.within(sheet.frame)]
    if inside.empty:
        return
    _draw_plants(sheet, inside, plan.plants)
    _name_rows(sheet, inside)


def _lines(shape: object) -> list[LineString]:
    return hatching.find_parts(shape, LineString)  # type: ignore[arg-type]


def _draw_plants(sheet: Sheet, inside: pd.DataFrame, all_plants: pd.DataFrame) -> None:
    x, y = inside.geometry.x, inside.geometry.y
    nearest = find_nearest(np.column_stack([x, y])) if len(inside) > 1 else np.inf
    side = min(MARK, 0.6 * nearest / sheet.metres_per_mm)
    when = find_when(inside["year"])
    for (fruit, at), mark in list_marks(all_plants).items():
        chosen = (inside["fruit"] == fruit) & (when == at)
        draw_mark_of(sheet.axes, (x[chosen], y[chosen]), mark, side)


def _name_rows(sheet: Sheet, inside: pd.DataFrame) -> None:
    """Write the ids that guide the eye; a name of a row first."""
    ends, fifths = [], []
    for (_, row), plants in inside.groupby(["block", "row"], sort=True):
        ordered = plants.sort_values("number")
        places = np.column_stack([ordered.geometry.x, ordered.geometry.y])
        _name_row(sheet, places, f"row {row}")
        for i, (name, number) in enumerate(
            zip(ordered["id"], ordered["number"], strict=True)
        ):
            if i in (0, len(ordered) - 1):
                ends.append((places[i], name))
            elif number % NAMED_EVERY == 0:
                fifths.append((places[i], name))
    around = ((0.0, 2.6), (0.0, -2.6), (4.0, 2.6), (-4.0, 2.6))
    for place, name in [*ends, *fifths]:
        write_label(sheet, (place[0], place[1]), str(name), 5.8, around)


def _name_row(sheet: Sheet, places: np.ndarray, text: str) -> None:
    """Write the name of a row beyond one of its ends."""
    outward = places[0] - places[-1] if len(places) > 1 else np.array([-1.0, 0.0])
    length = float(np.hypot(*outward)) or 1.0
    dx, dy = outward / length
    for side, at in ((1.0, places[0]), (-1.0, places[-1])):
        near, far = (8.0 * side, 11.0 * side)
        spots = ((near * dx, near * dy), (far * dx, far * dy))
        if write_label(sheet, (at[0], at[1]), text, 6.6, spots, weight="bold"):
            return


def draw_fence(sheet: Sheet, survey: Survey) -> None:
    """Draw fence lines with bars, corners and gates with their ids."""
    if survey.plan is None:
        return
    fence = survey.plan.fence
    for kind, name, shape in zip(
        fence["kind"], fence["id"], fence.geometry, strict=True
    ):
        lines = [
            *_lines(shape),
            *(p.exterior for p in hatching.find_parts(shape, Polygon)),
        ]
        draw_lines(
            sheet, lines, styles.INK, 1.6, order=symbols.EDGE, dash=(12, 2, 1, 2)
        )
        at = shape.representative_point()
        if lines or not sheet.frame.contains(at):
            continue
        gate = kind == "gate"
        sheet.axes.scatter(
            at.x,
            at.y,
            s=26,
            marker="|" if gate else "s",
            c=styles.INK,
            linewidths=2.2 if gate else 0.6,
            zorder=symbols.MARK,
        )
        text = f"gate {name}" if gate else str(name)
        write_label(sheet, (at.x, at.y), text, 6.0)


def draw_test_holes(sheet: Sheet, survey: Survey) -> None:
    """Draw test holes: a square with "?", and its id."""
    if survey.plan is None:
        return
    holes = survey.plan.test_holes
    for name, shape in zip(holes["id"], holes.geometry, strict=True):
        if sheet.frame.contains(shape):
            draw_test_hole(sheet.axes, (shape.x, shape.y))
            write_label(sheet, (shape.x, shape.y), str(name), 6.0)


def draw_test_hole(axes: Axes, place: tuple[float, float]) -> None:
    """Draw the mark of a test hole."""
    axes.scatter(
        *place,
        s=40,
        marker="s",
        c="white",
        edgecolors=styles.INK,
        linewidths=0.9,
        zorder=symbols.MARK + 0.2,
    )
    axes.text(
        *place,
        "?",
        fontsize=6,
        ha="center",
        va="center_baseline",
        zorder=symbols.MARK + 0.3,
        clip_on=True,
    )


def draw_control(axes: Axes, place: tuple[float, float]) -> None:
    """Draw a control mark: a triangle with a dot."""
    for size, marker, fill in ((70, "^", "white"), (5, "o", styles.INK)):
        axes.scatter(
            *place,
            s=size,
            marker=marker,
            c=fill,
            edgecolors=styles.INK,
            linewidths=1.0 if marker == "^" else 0,
            zorder=symbols.MARK + 0.4,
        )


def draw_baseline(sheet: Sheet, baseline: Baseline, step: float) -> None:
    """Draw A, B and the line that the tape is laid along."""
    line = LineString(baseline.points)
    if line.intersects(sheet.frame):
        draw_lines(sheet, [line], styles.STAMP, 0.7, order=symbols.EDGE, dash=(3, 3))
    for letter, name, point, level in zip(
        "AB", baseline.names, baseline.points, baseline.levels, strict=True
    ):
        if not sheet.frame.contains(shapely.Point(point)):
            continue
        draw_control(sheet.axes, point)
        text = (
            f'{letter}  "{name}"   E {write_position(point[0], step)}  '
            f"N {write_position(point[1], step)}  level {write_level(level)}"
        )
        name_mark(sheet, point, (text, letter), "bold")


def draw_block_marks(sheet: Sheet, marks: GeoDataFrame) -> None:
    """Draw the marks beside the blocks, each with its name."""
    for mark in marks.itertuples():
        if sheet.frame.contains(mark.geometry):
            place = (mark.geometry.x, mark.geometry.y)
            draw_control(sheet.axes, place)
            name_mark(sheet, place, (str(mark.id),))


def name_mark(
    sheet: Sheet,
    place: tuple[float, float],
    texts: Sequence[str],
    weight: str = "normal",
) -> None:
    """Write the first text that has room; the last even where there is none.

    Parameters
    ----------
    sheet : Sheet
        Where.
    place : tuple of float
        The control mark, which must never stand without a name. [m]
    texts : sequence of str
        What to write, the longest first.
    weight : str
        ``normal`` or ``bold``.
    """
    for text in texts:
        if write_label(sheet, place, text, 6.2, NEAR_MARK, beside=True, weight=weight):
            return
    west, _, east, _ = sheet.bounds
    side = 1 if place[0] < (west + east) / 2 else -1
    at = (place[0] + side * sheet.metres(2.2), place[1] - sheet.metres(2.0))
    write_text(
        sheet, at, texts[-1], 6.2, order=symbols.LABEL, weight=weight, bbox=PAPER_BEHIND
    )
