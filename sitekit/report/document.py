"""The printed report: one file that needs nothing else."""

from datetime import date
from math import ceil
from pathlib import Path

from sitekit import words
from sitekit.cartography.asked import list_fruit
from sitekit.cartography.notes import tell_use
from sitekit.errors import OutputError
from sitekit.measuring.revision import Revision
from sitekit.report import sections
from sitekit.report.blocks import Block, list_blocks
from sitekit.report.doubt import change_my_mind
from sitekit.report.markup import Markup, element, join
from sitekit.report.page import make_page, make_style, write_day
from sitekit.report.planting import how_far
from sitekit.report.revision import show_revision
from sitekit.report.tables import FRUIT_ACROSS, find_years
from sitekit.report.years import years_in_full, years_of_ten
from sitekit.results import Survey

#: Most blocks on page one, and fewest where texts are long.
MOST_BLOCKS, FEWEST_BLOCKS = 8, 2
#: Height of page one, of a line of text, of large type, of a line in a table. [mm]
PAGE, LINE, LARGE, ROW_LINE = 262.0, 4.6, 6.4, 4.0
#: Height between texts, and of head, note and rule of the table. [mm]
BETWEEN, AROUND_TABLE = 1.4, 22.0
#: Letters in a line of text, of large type, of all fruit columns together.
#: Reckoned on the narrow side: fonts differ from one machine to the next.
LETTERS, LARGE_LETTERS, NARROW_TABLE = 62, 50, 66


def write_report(
    survey: Survey, path: Path, *, today: date, revision: Revision | None = None
) -> None:
    """Write the report of a survey.

    Parameters
    ----------
    survey : Survey
        What was found.
    path : Path
        File to write, ``report.html``.
    today : date
        Date on the sheet.
    revision : Revision, optional
        What readings changed.

    Raises
    ------
    OutputError
        Where the file cannot be written.
    """
    try:
        path.write_bytes(
            make_report(survey, today=today, revision=revision).encode("utf-8")
        )
    except OSError as error:
        message = f"{path}: the report cannot be written ({error.strerror})."
        raise OutputError(message) from error


def make_report(
    survey: Survey, *, today: date, revision: Revision | None = None
) -> str:
    """Make the report as one page of HTML; the same survey gives the same text.

    Parameters
    ----------
    survey : Survey
        What was found.
    today : date
        Date on the sheet.
    revision : Revision, optional
        What readings changed.
    """
    title = f"{survey.site.name}: where to extend the orchard"
    area = words.area(survey.site.field_area)
    purpose = f"{write_day(today)}. Field of {area}. {tell_use(survey)}"
    style = make_style(survey.site.name, survey.answer.stamp, today)
    return make_page(title, purpose, style, _main(survey, revision))


def _main(survey: Survey, revision: Revision | None) -> Markup:
    blocks = list_blocks(survey)
    shown = count_on_page_one(survey, blocks)
    coarse = survey.site.model.coarse
    before = sections.before_you_spend(survey)
    resolution = sections.resolution(survey)
    answer = sections.answer(survey)
    # Coarse elevation promises nothing: what to walk and measure comes first.
    opening = [resolution, before, answer] if coarse else [answer, before]
    return element(
        "main",
        *opening,
        sections.which_fruit(survey, blocks, shown),
        show_revision(revision),
        years_of_ten(survey, blocks),
        sections.the_ground(survey, blocks),
        sections.ground_by_block(survey, blocks),
        sections.other_fruit(survey, blocks, shown),
        sections.why(blocks),
        change_my_mind(survey),
        years_in_full(survey, blocks),
        sections.trees_and_notes(survey),
        sections.section("How far", *how_far(survey)),
        sections.not_known(survey),
        join([] if coarse else [resolution]),
        sections.cautions(survey),
        sections.sources(survey),
    )


def count_on_page_one(survey: Survey, blocks: list[Block]) -> int:
    """Reckon how many blocks page one has room for.

    Parameters
    ----------
    survey : Survey
        What was found.
    blocks : list of Block
        Best first.

    Returns
    -------
    count : int
        As many as stand in the table on page one.
    """
    room = PAGE - _height_of_texts(survey) - AROUND_TABLE
    count = 0
    for block in blocks[:MOST_BLOCKS]:
        room -= _height_of_row(survey, block)
        if room < 0 and count >= FEWEST_BLOCKS:
            break
        count += 1
    return count


def _height_of_texts(survey: Survey) -> float:
    """Reckon how high title, answer and measures stand. [mm]."""
    told = survey.answer
    title = _lines(f"{survey.site.name}: where to extend the orchard", 42) * 8.5
    large = _lines(told.headline, LARGE_LETTERS) * LARGE
    texts = [told.where, told.fruit, told.not_there, told.stamp]
    texts += [f"{m.what} {m.decides}" for m in told.measures[:3]]
    texts += [told.resolution] if survey.site.model.coarse else []
    lines = sum(_lines(text, LETTERS) * LINE + BETWEEN for text in texts)
    sections = 3 if survey.site.model.coarse else 2
    return 7 + title + large + lines + 6.5 * sections


def _height_of_row(survey: Survey, block: Block) -> float:
    """Reckon how high a row of the table of block and fruit stands. [mm]."""
    across = min(len(list_fruit(survey)), FRUIT_ACROSS)
    letters = max(NARROW_TABLE // max(across, 1), 7)
    # The swatch takes the room of four letters on the first line.
    lines = max(
        (_lines(f"    {c}", letters) for c in block.classes.values()), default=1
    )
    lines += _lines("1 in ten (0 to 2)", letters) if find_years(survey) else 0
    return max(lines, _lines(block.title, 17) + 1) * ROW_LINE + 2.1


def _lines(text: str, letters: int) -> int:
    return ceil(len(text) / letters)
