"""Parts 1 to 4 of the sheets: front sheet, control marks, setting-out, drawings."""

import re
from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from sitekit import words
from sitekit.handover import details, rules
from sitekit.handover.column import tell_drawing
from sitekit.handover.coordinates import (
    PHONE,
    baseline_length,
    name_grid,
    tell_baseline,
    tell_norths,
    write_level,
    write_position,
)
from sitekit.handover.flow import Flow, Head
from sitekit.handover.plan import PlanSet, draw_bar, draw_norths
from sitekit.handover.rules import CAUTIONS
from sitekit.planting.baseline import POOR_ANGLE, TAPE
from sitekit.planting.block_marks import list_mark_checks
from sitekit.planting.setting_out import (
    check_triangles,
    describe_scale,
    list_diagonals,
    position_step,
)
from sitekit.results import PlantingPlan, Survey

#: Room for the contents on the front sheet. [mm]
CONTENTS = 66.0


def write_front(
    flow: Flow,
    survey: Survey,
    plan: PlantingPlan,
    sheets: Sequence[PlanSet],
    today: date,
) -> tuple[int, float]:
    """Write part 1; tell the page and height where the contents belong.

    Parameters
    ----------
    flow : Flow
        The sheets.
    survey : Survey
        What was found.
    plan : PlantingPlan
        What is set out.
    sheets : sequence of PlanSet
        The plans on A3 and A4.
    today : date
        Date of issue.

    Returns
    -------
    page, top : int and float
        Where the contents are written at the end.
    """
    flow.title(survey.site.name)
    flow.text(f"Hand-over pack. {tell_drawing(survey)}.", size=12)
    flow.part("1  Front sheet")
    flow.table(
        [Head("", 38), Head("", 136)],
        _front_rows(survey, plan, sheets, today),
        size=9,
    )
    flow.caution(CAUTIONS["digging"])
    flow.caution(PHONE)
    flow.head("Contents")
    place = (len(flow.pages) - 1, flow.top)
    flow.space(CONTENTS)
    _write_missing(flow, plan)
    return place


def _front_rows(
    survey: Survey, plan: PlantingPlan, sheets: Sequence[PlanSet], today: date
) -> list[tuple[str, str]]:
    drawn = "; ".join(
        f"plan-{s.form.name.lower()}.pdf at 1:{s.scale}, "
        + words.counted(len(s.windows), "sheet")
        for s in sheets
    )
    rows = [
        (
            "Date, revision",
            f"{today:%d %B %Y}, revision {plan.revision}. {rules.STAMP}",
        ),
        ("Owner, telephone", "_" * 34),
        ("On site, telephone", "_" * 34),
        ("Emergency, nearest house", "_" * 34),
        (
            "Coordinates",
            f"{name_grid(survey.site.grid)}; heights as in the elevation "
            "model given. " + tell_norths(survey.site.grid),
        ),
        ("Plans", drawn),
        ("Ground and weather", rules.tell_weather(survey)),
        ("How far", " ".join(plan.sentences[:3]) or "not planned by year"),
        ("Ground behind it", survey.answer.stamp),
    ]
    return [row for row in rows if row[1]]


def _write_missing(flow: Flow, plan: PlantingPlan) -> None:
    flow.head("What this pack lacks")
    if not plan.missing:
        flow.text("No part lacks an input.")
    for part, lacking in plan.missing.items():
        name = re.sub(r"_m3?$", "", part).replace("_", " ")
        flow.text(f"{words.sentence(name)[:-1]}: {lacking}")


def tell_missing(flow: Flow, plan: PlantingPlan, *keys: str) -> bool:
    """Say under a part which of its inputs is missing, and tell whether one was."""
    found = [lacking for part, lacking in plan.missing.items() if part in keys]
    for lacking in found:
        flow.text(f"Missing: {lacking}")
    return bool(found)


def write_contents(flow: Flow, place: tuple[int, float], convergence: float) -> None:
    """Write the contents where they were left room for, a bar and the norths."""
    page, top = place
    paper = flow.pages[page]
    for i, (text, number) in enumerate(flow.contents[1:]):
        x = 22.0 + (i % 2) * 88.0
        y = top - 6.5 - (i // 2) * 5.2
        paper.write((x, y), text.split(":")[0], 9)
        paper.write((x + 78, y), f"page {number}", 9, align="right")
    y = top - 6.5 - (len(flow.contents) // 2 + 1) * 5.2 - 4
    draw_bar(paper, (24.0, y - 6), 1000)
    draw_norths(paper, (150.0, y - 12), -convergence)
    paper.write((24.0, y - 11), "Print at 100 %: this bar measures 100 mm.", 8)


def write_marks(flow: Flow, survey: Survey, plan: PlantingPlan) -> None:
    """Write part 2: what the tapes are held to."""
    base = plan.baseline
    step = position_step(base)
    flow.part("2  Control marks and baseline")
    tell_missing(flow, plan, "control_marks")
    flow.text(tell_baseline(base, step))
    rows = [
        (
            letter,
            name,
            write_position(point[0], step),
            write_position(point[1], step),
            write_level(level),
            "",
        )
        for letter, name, point, level in zip(
            "AB", base.names, base.points, base.levels, strict=True
        )
    ]
    heads = [
        Head("", 8),
        Head("what it is", 58),
        Head("easting", 28, "right"),
        Head("northing", 28, "right"),
        Head("level", 20, "right"),
        Head("photo, seen by", 30),
    ]
    flow.table(heads, rows)
    flow.text(_third_check(plan))
    _write_block_marks(flow, plan)
    scale = describe_scale(survey.site.grid.crs, *base.points[0])
    if scale:
        flow.text(scale)
    flow.text(tell_norths(survey.site.grid))
    at = flow.top - 24
    draw_norths(flow.paper, (40, at), -survey.site.grid.convergence)
    flow.space(28)
    flow.caution(PHONE)


def _write_block_marks(flow: Flow, plan: PlantingPlan) -> None:
    """Write the marks beside the blocks, and the lengths that check them."""
    flow.head("Marks beside the blocks: peg these next")
    flow.text(
        "B1-M1 is the first mark of block 1. Peg them from A and B, by a receiver of "
        f"survey grade or a total station where a tape would be over {TAPE:.0f} m. "
        "Then tape each to the next, level; where that is out, peg both again. "
        "Plants are taped from the marks of their own block."
    )
    listed = plan.setting_out.set_index("id")
    checks = list_mark_checks(plan.block_marks).set_index("from_id")
    rows = []
    for name in plan.block_marks["id"]:
        place, check = listed.loc[name], ["", "", ""]
        if name in checks.index:
            to, length, within = checks.loc[name, ["to_id", "length_m", "tolerance_m"]]
            check = [str(to), f"{length:.2f} m", f"{within:.2f} m"]
        tapes = [f"{place[column]:.2f} m" for column in ("from_a_m", "from_b_m")]
        rows.append([str(name), *tapes, *check, ""])
    heads = [
        Head("mark", 24),
        Head("from A", 24, "right"),
        Head("from B", 24, "right"),
        Head("then to", 28, "right"),
        Head("length", 24, "right"),
        Head("within", 20, "right"),
        Head("taped", 28),
    ]
    flow.table(heads, rows)


def _third_check(plan: PlantingPlan) -> str:
    """Give a third length that checks both marks."""
    plants = plan.plants
    if plants.empty:
        return "No plant is set out, so there is no third length to check."
    first = plants.iloc[0]
    (ax, ay), (bx, by) = plan.baseline.points
    x, y = first.geometry.x, first.geometry.y
    return (
        f"Check: A to B {baseline_length(plan.baseline):.2f} m; A to {first['id']} "
        f"{np.hypot(x - ax, y - ay):.2f} m; B to {first['id']} "
        f"{np.hypot(x - bx, y - by):.2f} m. Both tapes level, pulled tight, hooked on "
        "the mark itself."
    )


def write_setting_out(flow: Flow, survey: Survey, plan: PlantingPlan) -> None:
    """Write part 3: tolerances, diagonals, then every point."""
    flow.part("3  Setting-out list")
    flow.text(
        f"{words.counted(len(plan.setting_out), 'point')}, "
        f"{name_grid(survey.site.grid)}. "
        "Tape lengths are level distances in metres, each after the mark that its "
        "tape is held to. Side: looking from the first mark to the second. Where "
        "the tapes cross at a poor angle (*), tape a third length from a set neighbour."
    )
    flow.table(
        [Head("what", 60), Head("tolerance", 110)], [list(t) for t in rules.TOLERANCES]
    )
    flow.head("Taped diagonals: check each block when its corners are pegged")
    diagonals = list_diagonals(plan.plants)
    flow.table(
        [
            Head("block", 24),
            Head("from", 34),
            Head("to", 34),
            Head("length", 26, "right"),
            Head("within", 22, "right"),
            Head("taped", 30),
        ],
        [
            [
                f"block {row.block}",
                str(row.from_id),
                str(row.to_id),
                f"{row.length_m:.2f} m",
                f"{row.tolerance_m:.2f} m",
                "",
            ]
            for row in diagonals.itertuples()
        ],
    )
    flow.head("Every point; tick when its peg stands")
    _write_points(flow, plan)


def _write_points(flow: Flow, plan: PlantingPlan) -> None:
    heads = [
        Head("id", 21),
        Head("what", 31),
        Head("easting", 20, "right"),
        Head("northing", 22, "right"),
        Head("level", 13, "right"),
        Head("tape from", 20, "right"),
        Head("tape from", 20, "right"),
        Head("±", 11, "right"),
        Head("side", 10),
    ]
    flow.table(heads, _point_rows(plan), size=7.8, ticks=True)


def _point_rows(plan: PlantingPlan) -> list[list[str]]:
    step = position_step(plan.baseline)
    crossing = check_triangles(plan.setting_out, plan.baseline).set_index("id")
    own = plan.block_tapes.set_index("id")
    rows = []
    for _, row in plan.setting_out.iterrows():
        if row["id"] in own.index:
            tapes = _own_tapes(own.loc[row["id"]])
        else:
            tapes = _tapes_from_ends(row, crossing)
        rows.append(_point_row(row, tapes, step))
    return rows


def _own_tapes(tapes: pd.Series) -> tuple[str, str, str]:
    """Tapes of a plant from the marks of its block, and the side it lies on."""
    flat = not POOR_ANGLE <= tapes["angle_deg"] <= 180.0 - POOR_ANGLE
    one, other = (
        f"{tapes[f'mark_{end}']} {tapes[f'from_mark_{end}_m']:.2f}" for end in (1, 2)
    )
    return one, other, "left *" if flat else "left"


def _tapes_from_ends(row: pd.Series, crossing: pd.DataFrame) -> tuple[str, str, str]:
    """Tapes of any other point from A and B, and the side it lies on."""
    side, poor = "", ""
    if row["id"] in crossing.index:
        side = str(crossing.loc[row["id"], "side"]).replace("on the line", "line")
        poor = " *" if crossing.loc[row["id"], "poor"] else ""
    return f"A {row['from_a_m']:.2f}", f"B {row['from_b_m']:.2f}", side + poor


def _point_row(row: pd.Series, tapes: tuple[str, str, str], step: float) -> list[str]:
    one, other, side = tapes
    return [
        str(row["id"]),
        str(row["what"]),
        write_position(row["easting_m"], step),
        write_position(row["northing_m"], step),
        write_level(row["level_m"]).replace(words.NOT_KNOWN, "?"),
        one,
        other,
        f"{row['tolerance_m']:.2f}",
        side,
    ]


def write_drawings(
    flow: Flow, survey: Survey, plan: PlantingPlan, sheets: Sequence[PlanSet]
) -> None:
    """Write part 4: which plan shows what, and the details."""
    flow.part("4  Drawings and details")
    for made in sheets:
        flow.text(
            f"plan-{made.form.name.lower()}.pdf: 1:{made.scale} on {made.form.name}, "
            f"{words.counted(len(made.windows), 'sheet')}. Print at 100 %."
        )
    tell_missing(flow, plan, "ground_tests", "snow_m")
    flow.text(
        "Drains and swales: none is planned here. One that is added needs a long "
        "section with levels, an outlet lower than itself, and a fall of 1:200 or more."
    )
    size = details.find_dimensions(survey)
    flow.drawing(80.0, lambda paper, at: details.draw_planting(paper, at, size))
    flow.text(
        f"Where a test hole drains slowly, the ground is loosened "
        f"{size.loosened:.2f} m "
        "deep, only when it is dry enough to shatter."
    )
    flow.drawing(58.0, lambda paper, at: details.draw_mound(paper, at, size))
    flow.drawing(62.0, lambda paper, at: details.draw_edge(paper, at, size))
    flow.caution(CAUTIONS["wood"])
    flow.caution(CAUTIONS["holes"])
