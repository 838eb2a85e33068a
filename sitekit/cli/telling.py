"""A survey told in a few lines of a terminal."""

import sys
from math import isfinite
from pathlib import Path
from textwrap import wrap

from geopandas import GeoDataFrame

from sitekit import words
from sitekit.climate.years import FEWEST
from sitekit.results import Survey
from sitekit.site import Site
from sitekit.siting.answer import resolution_sentence
from sitekit.siting.tables import best_fruit

#: Widths of the columns of the table of blocks. [character]
WIDTHS = (3, 24, 19, 32)
MOST_BLOCKS = 8


def bold(text: str) -> str:
    """Set a text in bold on a terminal; words carry the sense without it."""
    return f"\033[1m{text}\033[0m" if sys.stdout.isatty() else text


def dim(text: str) -> str:
    """Set a text dim on a terminal."""
    return f"\033[2m{text}\033[0m" if sys.stdout.isatty() else text


def tell_region(table: GeoDataFrame, folder: Path) -> str:
    """Tell a region in a few lines: the best fields, and those that failed.

    Parameters
    ----------
    table : GeoDataFrame
        The table of fields.
    folder : Path
        Where it was written.

    Returns
    -------
    text : str
        Lines for the terminal.
    """
    done = table[table["status"] == "done"].sort_values("rank")
    lost = table[table["status"] != "done"]
    lines = [bold(f"{len(table)} fields: {len(done)} surveyed, {len(lost)} failed")]
    for row in done.head(MOST_BLOCKS).to_dict("records"):
        why = f"{row['rank']}  {row['field']}: {row['reason']}"
        lines += wrap(why, 80, subsequent_indent="   ")
    if len(lost):
        lines += ["", "Failed:"]
    for row in lost.head(MOST_BLOCKS).to_dict("records"):
        why = f"   {row['field']}: {row['reason']}"
        lines += wrap(why, 80, subsequent_indent="   ")
    if len(lost) > MOST_BLOCKS:
        lines.append(f"   and {len(lost) - MOST_BLOCKS} more in fields.gpkg")
    return "\n".join([*lines, f"Written: {folder}/fields.gpkg  fields.parquet"])


def tell_survey(survey: Survey, folder: Path, seconds: float) -> str:
    """Tell a survey in about 14 lines of 80 columns.

    Parameters
    ----------
    survey : Survey
        The survey.
    folder : Path
        Where it was written.
    seconds : float
        How long it took. [s]

    Returns
    -------
    text : str
        Lines for the terminal.
    """
    site = survey.site
    cell = words.cell(site.model.shown_cell)
    lines = [
        f"{bold(site.name)}: field {words.area(site.field_area)}, elevation {cell}",
        *(bold(line) for line in wrap(survey.answer.headline, 80)),
    ]
    if site.model.coarse:
        lines += wrap(survey.answer.resolution, 80)
    lines += ["", dim(_row(("", "Block", "Class", "Fruit")))]
    numbers = survey.blocks["block"].drop_duplicates().tolist()
    lines += [_block(survey, number) for number in numbers[:MOST_BLOCKS]]
    if len(numbers) > MOST_BLOCKS:
        lines.append(f"   and {len(numbers) - MOST_BLOCKS} more in report.html")
    first = survey.answer.measures[0]
    lines.append("")
    lines += _headed("Years:", *_years(survey))
    lines += _headed("Measure:", first.what)
    lines += _headed("Not known:", *survey.answer.unknowns[:1])
    files = "map.html  report.html  site.gpkg  layers/"
    if survey.plan is not None and not survey.plan.plants.empty:
        files += "  handover/"
    return "\n".join(
        [*lines, f"Written:   {folder}/{files}  {dim(words.with_unit(seconds, 's'))}"]
    )


def _years(survey: Survey) -> list[str]:
    """Tell the poor crops of the best block in one line; nothing without a record."""
    if survey.years is None or survey.blocks.empty:
        return []
    number = int(survey.blocks["block"].iloc[0])
    _, fruit = best_fruit(survey.blocks, number)
    table = survey.fruit_by_block
    here = table[(table["block"] == number) & (table["fruit"] == fruit[0])].iloc[0]
    if not isfinite(here["poor_crop_years"]):
        return []
    name = words.fruit_name(fruit[0], plural=True)
    poor = words.years_in_ten(here["poor_crop_years"])
    span = words.years_span(here["low"], here["high"])
    counted = len(survey.years.last_frosts)
    years = f"poor crops in {poor} of ten {span}, from {counted} years"
    return [f"block {number}, {name}: {years}"]


def _headed(head: str, *texts: str) -> list[str]:
    """Set texts behind a head, wrapped to 80 columns."""
    lines = [line for text in texts for line in wrap(text, 80 - 11)]
    heads = [head, *[""] * len(lines)]
    return [f"{h:<11}{line}" for h, line in zip(heads, lines, strict=False)]


def _block(survey: Survey, number: int) -> str:
    """Tell one block in one line."""
    rows = survey.blocks[survey.blocks["block"] == number]
    site_class, fruit = best_fruit(survey.blocks, number)
    names = ", ".join(words.fruit_name(f, plural=True) for f in fruit)
    told = "none" if site_class == words.SITE_CLASSES[words.REFUSED] else names
    return _row((str(number), str(rows["name"].iloc[0]), site_class, told))


def _row(cells: tuple[str, ...]) -> str:
    return "".join(
        f"{_cut(cell, width - 1):<{width}}"
        for cell, width in zip(cells, WIDTHS, strict=True)
    ).rstrip()


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


#: Heads of the paragraphs of a check, by the kind of remark.
HEADS = {
    "read": "Read",
    "mended": "Mended",
    "doubtful": "Doubtful",
    "missing": "Missing",
}


def tell_check(site: Site) -> str:
    """Tell what was read, mended, is doubtful or missing.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    text : str
        Lines for the terminal.
    """
    lines = []
    for kind, head in HEADS.items():
        told = [r for r in site.remarks if r.kind == kind]
        for index, remark in enumerate(told):
            label = dim(f"{head:<9}") if index == 0 else " " * 9
            lines += _wrapped(label, _name(remark.about), remark.text)
    lines += _behind("Can show", resolution_sentence(site))
    return "\n".join([*lines, *_behind("Ready for:", f"survey{_record_years(site)}.")])


def _name(about: str) -> str:
    """Name what a remark is about: a file keeps its name, a key becomes words."""
    return about if "." in about else about.replace("_", " ")


def _behind(head: str, text: str) -> list[str]:
    """Set a text behind a head, wrapped to 80 columns."""
    first, *rest = wrap(text, 80 - 10)
    return [f"{dim(f'{head:<9}')} {first}", *(f"{'':10}{line}" for line in rest)]


def _record_years(site: Site) -> str:
    """Say whether years of ten can be counted; nothing without a record."""
    if not site.records:
        return ""
    count = site.records[0].days["date"].dt.year.nunique()
    told = f"the record touches {words.counted(int(count), 'year')}"
    if count < FEWEST:
        return f"; no years of ten, since {told}, and {FEWEST} complete ones are needed"
    return f" and years of ten; {told}, of which the complete ones count"


def _wrapped(label: str, about: str, text: str) -> list[str]:
    """Set one remark in a column, wrapped to 80 characters; a long name goes before."""
    lines = [f"{'':27}{line}" for line in wrap(text, 80 - 10 - 17)]
    if len(about) > 16 or not lines:
        return [f"{label} {_cut(about, 70)}", *lines]
    return [f"{label} {about:<16} {lines[0].strip()}", *lines[1:]]
