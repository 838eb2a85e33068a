"""The column of a plan sheet: key, setting-out list, stops, services, title block."""

from dataclasses import dataclass
from datetime import date
from itertools import takewhile

import pandas as pd

from sitekit import words
from sitekit.cartography import styles
from sitekit.handover import rules
from sitekit.handover.coordinates import (
    name_grid,
    write_level,
    write_position,
)
from sitekit.handover.key import draw_symbol, list_key
from sitekit.handover.paper import Paper, find_serif, pitch, wrap
from sitekit.handover.scales import Format, Window
from sitekit.planting.setting_out import position_step
from sitekit.results import FIRST_REVISION, PlantingPlan, Survey

PAD = 3.0
#: A list with less room than this many rows is left to the sheets.
FEWEST_ROWS = 3
#: Longer keys are set closer.
EASY_KEY = 14


@dataclass
class Column:
    """Where the column stands, and how far it is filled from above and below.

    Parameters
    ----------
    paper : Paper
        The sheet.
    left, right : float
        Its sides. [mm]
    top, foot : float
        What is still free. [mm]
    text : float
        Size of small letters. [pt]
    """

    paper: Paper
    left: float
    right: float
    top: float
    foot: float
    text: float

    @property
    def width(self) -> float:
        """Room for text. [mm]."""
        return self.right - self.left - 2 * PAD

    def rule(self, at: float) -> None:
        """Draw a line across. [mm]."""
        self.paper.rules([[(self.left, at), (self.right, at)]], 0.8)


def draw_column(
    paper: Paper, survey: Survey, form: Format, window: Window, count: int, today: date
) -> None:
    """Draw the column: from below the title block and the rules, then key and list."""
    left = form.width - form.edge - form.column
    made = Column(
        paper,
        left,
        form.width - form.edge,
        form.height - form.edge,
        form.edge,
        form.text,
    )
    paper.rules([[(left, form.edge), (left, made.top)]], 1.0)
    _draw_title(made, survey, form, window, count, today)
    _draw_words(made, survey)
    _draw_key(made, survey, window)
    _draw_list(made, survey, window)


def _draw_title(
    made: Column, survey: Survey, form: Format, window: Window, count: int, today: date
) -> None:
    x, size = made.left + PAD, made.text
    y = made.foot
    revision = survey.plan.revision if survey.plan else FIRST_REVISION
    issue = (
        "first issue"
        if revision == FIRST_REVISION
        else "replaces every earlier revision"
    )
    notes = [
        f"Coordinates: {name_grid(survey.site.grid)}. Heights as in the elevation "
        "model given, ground levels to 0.1 m.",
        f"{revision}  {today:%d %b %Y}  {issue}. " + rules.STAMP,
    ]
    lines = [line for note in notes for line in wrap(note, size, made.width)]
    y += len(lines) * pitch(size) + 3
    at = y - 1
    for line in lines:
        at -= pitch(size)
        made.paper.write((x, at + 0.8), line, size)
    made.rule(y)
    cells = [
        ("Scale", f"1:{window.scale} on {form.name}"),
        ("Sheet", f"{window.number} of {count}"),
        ("Date", f"{today:%d %b %Y}"),
        ("Revision", revision),
        ("Ask", "the owner"),
        ("Checked", "not yet"),
    ]
    for i, (head, text) in enumerate(cells):
        cx = x + (i % 2) * made.width / 2
        cy = y + (2 - i // 2) * 7.2
        made.paper.write((cx, cy + 4.4), head, 5.8, color=styles.SECOND_INK)
        made.paper.write((cx, cy + 1.2), text, size + 0.8)
    y += 3 * 7.2 + 1
    made.rule(y)
    y = _draw_name(made, survey, y)
    made.rule(y)
    made.foot = y


def _draw_name(made: Column, survey: Survey, foot: float) -> float:
    name = wrap(survey.site.name, 14, made.width)[:2]
    sub = wrap(tell_drawing(survey), made.text + 1, made.width)[:3]
    y = foot + 2
    for line in reversed(sub):
        made.paper.write((made.left + PAD, y + 0.6), line, made.text + 1)
        y += pitch(made.text + 1)
    for line in reversed(name):
        made.paper.write(
            (made.left + PAD, y + 1.2), line, 14, bold=True, family=find_serif()
        )
        y += pitch(14)
    return y + 1.5


def tell_drawing(survey: Survey) -> str:
    """Name the drawing: which blocks, and how many plants."""
    plan = survey.plan
    if plan is None:
        return "Planting plan"
    blocks = sorted(set(map(str, plan.plants["block"])), key=_natural)
    which = "Block" if len(blocks) == 1 else "Blocks"
    listed = words.listed(blocks) if len(blocks) < 7 else f"{blocks[0]} to {blocks[-1]}"
    return (
        f"{which} {listed}: planting plan, {words.counted(len(plan.plants), 'plant')}"
    )


def _natural(name: str) -> tuple[int, str]:
    """Sort key of block names: 2a before 2b before 10."""
    digits = "".join(takewhile(str.isdigit, name))
    return (int(digits) if digits else 0, name)


def _draw_words(made: Column, survey: Survey) -> None:
    """Write the rules that stop the work, above the title block."""
    size = made.text
    sections = [
        ("Stop and call", rules.SHORT_HOLDS),
        ("Stop at once", (rules.SHORT_STOPS,)),
        ("Services", (rules.SHORT_SERVICES,)),
        ("Ground and weather", (rules.tell_weather(survey),)),
    ]
    height = 2.0
    for _, texts in sections:
        height += pitch(size + 1) + 1.2
        height += sum(len(wrap(text, size, made.width)) for text in texts) * pitch(size)
    top = made.foot + height
    made.rule(top)
    y = top - 0.6
    for head, texts in sections:
        y = made.paper.paragraph(
            (made.left + PAD, y - 0.6), head, size + 1, made.width, bold=True
        )
        for text in texts:
            y = made.paper.paragraph((made.left + PAD, y), text, size, made.width)
    made.foot = top


def _draw_key(made: Column, survey: Survey, window: Window) -> None:
    plan = survey.plan
    if plan is None:
        return
    rows = list_key(survey, window)
    wide = made.text > 6.3
    step = (4.6 if wide else 3.7) if len(rows) <= EASY_KEY else (4.0 if wide else 3.1)
    y = made.paper.paragraph(
        (made.left + PAD, made.top - 1.5), "Key", made.text + 2, made.width, bold=True
    )
    for draw, text in rows:
        y -= step
        draw_symbol(made.paper, draw, (made.left + PAD, y + step / 2))
        made.paper.write((made.left + PAD + 13, y + step / 2 - 0.8), text, made.text)
    made.top = y - 1.5
    made.rule(made.top)


def _draw_list(made: Column, survey: Survey, window: Window) -> None:
    """Write as much of this sheet's setting-out list as there is room for."""
    plan = survey.plan
    if plan is None:
        return
    listed = _on_sheet(plan.setting_out, window)
    size = made.text - 0.4
    step = pitch(size) * 0.98
    rows = int((made.top - made.foot - 14) / step) - 1
    rows = rows if rows >= FEWEST_ROWS else 0
    y = made.paper.paragraph(
        (made.left + PAD, made.top - 1.2),
        f"Setting out: {min(rows, len(listed))} of the "
        f"{len(listed)} points on this sheet",
        made.text + 1,
        made.width,
        bold=True,
    )
    note = (
        f"All {len(plan.setting_out)} in sheets.pdf, part 3. Metres. M1, M2: marks of "
        "the plant's own block. Phone positions are not for setting out."
    )
    y = made.paper.paragraph((made.left + PAD, y), note, size, made.width)
    if rows:
        wide = made.width > 80
        letters = dict(zip(plan.baseline.names, "AB", strict=True))
        shown = _with_tapes(listed.head(rows), plan).replace({"id": letters})
        _write_rows(made, shown, position_step(plan.baseline), (y, size, wide))


def _on_sheet(points: pd.DataFrame, window: Window) -> pd.DataFrame:
    west, south, east, north = window.own
    x, y = points["easting_m"], points["northing_m"]
    return points[(x >= west) & (x <= east) & (y >= south) & (y <= north)]


def _with_tapes(listed: pd.DataFrame, plan: PlantingPlan) -> pd.DataFrame:
    """Write to which mark each tape is held: the block's for a plant, else A and B."""
    own = plan.block_tapes.set_index("id")
    tapes = {}
    for at, row in listed.iterrows():
        if row["id"] in own.index:
            ends = own.loc[row["id"]]
            marks = [str(ends[f"mark_{end}"]).split("-")[-1] for end in (1, 2)]
            lengths = [ends["from_mark_1_m"], ends["from_mark_2_m"]]
        else:
            marks, lengths = ["A", "B"], [row["from_a_m"], row["from_b_m"]]
        tapes[at] = [
            f"{m} {length:.2f}" for m, length in zip(marks, lengths, strict=True)
        ]
    return listed.assign(
        tape_1=[tapes[at][0] for at in listed.index],
        tape_2=[tapes[at][1] for at in listed.index],
    )


def _write_rows(
    made: Column, listed: pd.DataFrame, step: float, at: tuple[float, float, bool]
) -> None:
    y, size, wide = at
    heads = ["id", "easting", "northing", "tape 1", "tape 2"]
    shares = [0.0, 0.36, 0.59, 0.80, 1.0]
    if wide:
        heads = ["id", "what", "easting", "northing", "level", "tape 1", "tape 2"]
        shares = [0.0, 0.13, 0.45, 0.62, 0.74, 0.87, 1.0]
    y -= pitch(size)
    lefts = 2 if wide else 1
    for i, (head, share) in enumerate(zip(heads, shares, strict=True)):
        align = "left" if i < lefts else "right"
        made.paper.write(
            (made.left + PAD + share * made.width, y + 0.6),
            head,
            size,
            bold=True,
            align=align,  # type: ignore[arg-type]
        )
    made.paper.rules([[(made.left + PAD, y), (made.right - PAD, y)]], 0.5)
    for row in listed.itertuples():
        y -= pitch(size) * 0.98
        cells = {
            "id": str(row.id),
            "what": str(row.what)[:24],
            "easting": write_position(float(row.easting_m), step),  # type: ignore[arg-type]
            "northing": write_position(float(row.northing_m), step),  # type: ignore[arg-type]
            "level": write_level(float(row.level_m)),  # type: ignore[arg-type]
            "tape 1": str(row.tape_1),
            "tape 2": str(row.tape_2),
        }
        for i, (head, share) in enumerate(zip(heads, shares, strict=True)):
            place = (made.left + PAD + share * made.width, y + 0.6)
            align = "left" if i < lefts else "right"
            made.paper.write(place, cells[head], size, align=align)  # type: ignore[arg-type]
