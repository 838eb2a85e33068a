"""The plan sheets: drawing, column and foot, true to scale."""

from dataclasses import dataclass
from datetime import date
from math import cos, radians, sin
from pathlib import Path

import shapely
from shapely import Point

from sitekit.cartography import styles
from sitekit.cartography.drawing import Sheet, make_sheet
from sitekit.handover import column, ground, planting_marks
from sitekit.handover.coordinates import find_true_north, tell_norths
from sitekit.handover.paper import Paper, write_pages
from sitekit.handover.scales import Format, Window, cut_sheets, find_nearest
from sitekit.handover.zones import find_work, find_zones
from sitekit.planting.setting_out import position_step
from sitekit.results import PlantingPlan, Survey

#: Length of the scale bar. [mm]
BAR = 100.0
#: Length of the north arrows. [mm]
ARROW = 15.0


@dataclass(frozen=True)
class PlanSet:
    """The sheets of one size of paper.

    Parameters
    ----------
    form : Format
        The paper.
    windows : list of Window
        What each sheet shows.
    """

    form: Format
    windows: list[Window]

    @property
    def scale(self) -> int:
        """1 to this."""
        return self.windows[0].scale


def plan_sheets(plan: PlantingPlan, form: Format) -> PlanSet:
    """Choose scale and sheets for one size of paper.

    Parameters
    ----------
    plan : PlantingPlan
        What is set out.
    form : Format
        The paper.
    """
    places = shapely.get_coordinates(list(plan.plants.geometry))
    work = find_work(plan)
    marks = [Point(point) for point in plan.baseline.points]
    things = [*shapely.get_parts(work), *marks]
    return PlanSet(form, cut_sheets(things, form, find_nearest(places)))


def write_plan(path: Path, survey: Survey, sheets: PlanSet, today: date) -> None:
    """Write the plan on one size of paper.

    Parameters
    ----------
    path : Path
        The PDF.
    survey : Survey
        With its plan.
    sheets : PlanSet
        Paper, scale, and what each sheet shows.
    today : date
        Date in the title block.
    """
    pages = (draw_page(survey, sheets, window, today) for window in sheets.windows)
    write_pages(path, pages, f"{survey.site.name}: planting plan")


def draw_page(survey: Survey, sheets: PlanSet, window: Window, today: date) -> Paper:
    """Draw one sheet."""
    form = sheets.form
    paper = Paper(form.width, form.height)
    frame = (form.width - 2 * form.edge, form.height - 2 * form.edge)
    paper.box((form.edge, form.edge), frame, weight=1.2)
    sheet = make_sheet(
        paper.figure, window.bounds, (form.left, form.bottom, form.drawing[0])
    )
    sheet.axes.set_facecolor("white")
    draw_drawing(sheet, survey, window)
    ground.draw_ticks(sheet, (form.left, form.bottom), window.scale)
    _draw_foot(paper, survey, form, window)
    column.draw_column(paper, survey, sheets.form, window, len(sheets.windows), today)
    return paper


def draw_drawing(sheet: Sheet, survey: Survey, window: Window) -> None:
    """Draw what the sheet shows; what is written first has the better place."""
    plan = survey.plan
    if plan is None:
        return
    ground.draw_base(sheet, survey)
    _draw_match_lines(sheet, window)
    # A mark must stay readable: nothing is written over one.
    _claim_marks(sheet, survey, plan)
    planting_marks.draw_baseline(sheet, plan.baseline, position_step(plan.baseline))
    planting_marks.draw_block_marks(sheet, plan.block_marks)
    for zone in find_zones(survey):
        ground.draw_zone(sheet, zone)
    planting_marks.draw_test_holes(sheet, survey)
    planting_marks.draw_fence(sheet, survey)
    planting_marks.draw_blocks(sheet, survey, set(map(str, plan.plants["block"])))
    planting_marks.draw_rows(sheet, survey)
    ground.draw_lanes(sheet, survey, plan.lanes)
    ground.draw_heights(sheet, survey)


def _claim_marks(sheet: Sheet, survey: Survey, plan: PlantingPlan) -> None:
    """Keep plants, control marks, test holes and standing trees free of letters."""
    trees = survey.site.vectors["existing_trees"].geometry
    marks = [
        (plan.plants.geometry, 0.9),
        (map(Point, plan.baseline.points), 1.3),
        (plan.block_marks.geometry, 1.3),
        (plan.test_holes.geometry, 1.1),
        (trees.representative_point(), 1.0),
    ]
    for points, half in marks:
        sheet.taken += sheet.boxes_about(points, half)


def _draw_match_lines(sheet: Sheet, window: Window) -> None:
    west, south, east, north = window.own
    ends = {
        "west": ((west, south), (west, north)),
        "south": ((west, south), (east, south)),
        "east": ((east, south), (east, north)),
        "north": ((west, north), (east, north)),
    }
    for side, number in window.beside.items():
        (ax, ay), (bx, by) = ends[side]
        sheet.axes.plot(
            [ax, bx], [ay, by], color=styles.INK, lw=1.4, dashes=(8, 2, 1, 2), zorder=9
        )
        inward = sheet.metres(2.6)
        dx, dy = {
            "west": (-inward, 0.0),
            "east": (inward, 0.0),
            "south": (0.0, -inward),
            "north": (0.0, inward),
        }[side]
        text = sheet.axes.text(
            (ax + bx) / 2 + dx,
            (ay + by) / 2 + dy,
            f"match line: goes on on sheet {number}",
            fontsize=6.5,
            ha="center",
            va="center",
            rotation=90 if dx else 0,
            zorder=12,
        )
        text.set_bbox({"facecolor": "white", "pad": 0.5, "linewidth": 0})
        lap = sheet.metres(6.0)
        inner = shapely.LineString([(ax, ay), (bx, by)]).buffer(lap, cap_style="flat")
        sheet.taken.append(inner)


def _draw_foot(paper: Paper, survey: Survey, form: Format, window: Window) -> None:
    """Draw scale bar and norths under the drawing."""
    base = form.edge + 8.5
    draw_bar(paper, (form.left + 2, base), window.scale)
    paper.write(
        (form.left + 2, base - 5.0),
        f"1:{window.scale} on {form.name}. Print at 100 %: the bar measures 100 mm.",
        7,
    )
    draw_norths(paper, (form.left + 122, base - 5.0), find_true_north(survey.site.grid))
    told = tell_norths(survey.site.grid)
    paper.paragraph((form.left + 140, base + 6), told, 7, 48)


def draw_bar(paper: Paper, place: tuple[float, float], scale: int) -> None:
    """Draw the scale bar: 100 mm in five pieces."""
    x, y = place
    pieces = 5
    for i in range(pieces):
        fill = styles.INK if i % 2 == 0 else "white"
        at = (x + i * BAR / pieces, y)
        paper.box(at, (BAR / pieces, 2.2), fill=fill, weight=0.5)
    for i in range(pieces + 1):
        metres = i * BAR / pieces * scale / 1000
        text = f"{metres:g} m" if i == pieces else f"{metres:g}"
        paper.write((x + i * BAR / pieces, y + 3.4), text, 7, align="center")


def draw_norths(paper: Paper, foot: tuple[float, float], turn: float) -> None:
    """Draw an arrow to true north, and a dashed one to grid north.

    Parameters
    ----------
    paper : Paper
        The sheet.
    foot : tuple of float
        Foot of the arrow to true north. [mm]
    turn : float
        True north from the top of the sheet, clockwise. [degree]
    """
    x, y = foot
    tip = (x + ARROW * sin(radians(turn)), y + ARROW * cos(radians(turn)))
    barb = radians(turn + 205)
    end = (tip[0] + 4 * sin(barb), tip[1] + 4 * cos(barb))
    paper.rules([[foot, tip, end]], 1.5, gid="true north")
    paper.write((tip[0], tip[1] + 1.2), "true", 6.5, align="center")
    up = (x + 8, y + ARROW)
    paper.rules([[(x + 8, y), up]], 1.5, linestyles=[(0, (2, 1))], gid="grid north")
    paper.write((up[0], up[1] + 1.2), "grid", 6.5, align="center")
