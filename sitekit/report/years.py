"""The years of a record in the report: why here and not there, and every group."""

from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from sitekit import words
from sitekit.cartography.charts import draw_bloom, draw_last_frosts, draw_nights
from sitekit.cartography.drawing import write_figure
from sitekit.report.blocks import Block, written
from sitekit.report.markup import Markup, element, items, join, table
from sitekit.report.sections import figure, section
from sitekit.report.swatches import swatch
from sitekit.results import Survey, YearsTold

#: Heads of the table of fruit groups.
HEADS = ("Block", "Fruit and groups", "Class", "Poor crops", "Ripens", "Winter")
#: What groups of a fruit must share to be told in one row.
SHARED = ("site_class", "poor", "ripening", "winter")


def years_of_ten(survey: Survey, blocks: Sequence[Block]) -> Markup:
    """Tell the years on one page: the record, and why here and not there.

    Parameters
    ----------
    survey : Survey
        What was found.
    blocks : sequence of Block
        Best first.

    Returns
    -------
    section : Markup
        Nothing without a record.
    """
    told = survey.years
    if told is None:
        return section("Years of ten", items(survey.answer.years))
    return section(
        "Years of ten",
        items(map(words.sentence, survey.answer.years)),
        _contrast(survey, told, blocks),
        class_="new-page",
    )


def years_in_full(survey: Survey, blocks: Sequence[Block]) -> Markup:
    """Show the station, and every group of every fruit on every block.

    Parameters
    ----------
    survey : Survey
        What was found.
    blocks : sequence of Block
        Best first.

    Returns
    -------
    section : Markup
        Nothing without a record.
    """
    if survey.years is None:
        return Markup("")
    return section(
        "The years in full",
        element("h3", f"At the station ({survey.years.station})"),
        *_station_figures(survey.years),
        *(_every_group(survey, blocks) if blocks else ()),
    )


def _every_group(survey: Survey, blocks: Sequence[Block]) -> Iterator[Markup]:
    yield element("h3", "Every group on every block")
    note = (
        "Poor crops: years in ten in which frost on bud, bloom or young fruit leaves "
        "less than half a crop, with the 90 % interval; groups in one row have the "
        "widest. A group of a lower class than its fruit has it from what stands in "
        "its row; the ground of the block speaks in the table of reasons. Winter is "
        "told where it changes within a block. Where a block is refused for every "
        "fruit, only the usual groups are told; site.gpkg holds all."
    )
    yield element("p", note, class_="quiet")
    rows = [row for block in blocks for row in _rows(survey, block)]
    yield table(HEADS, rows, label="Every group in years of ten", class_="groups")


def _station_figures(told: YearsTold) -> Iterator[Markup]:
    frosts = told.last_frosts
    count, with_frost = len(frosts), int(frosts["day"].notna().sum())
    title = "Last frost of spring (0 °C)."
    about = (
        "Read across: in so many years of ten the last frost comes after the date "
        f"below. {with_frost} of {count} springs had frost. The band is what "
        f"{count} years leave open."
    )
    drawn = write_figure(draw_last_frosts(frosts, told.last_frost_law))
    yield figure(drawn, f"{title} {about}", title, about)
    title = "Night minima in bloom time, by kind of night."
    about = (
        "Two months from 1 April, south from 1 October. Cold air runs and is held on "
        "clear still nights; the night offset of a place counts in these only."
    )
    drawn = write_figure(draw_nights(told.nights))
    yield figure(drawn, f"{title} {about}", title, about)


def _contrast(survey: Survey, told: YearsTold, blocks: Sequence[Block]) -> Markup:
    """Say why a fruit goes to one block and not to another."""
    by_number = {block.number: block for block in blocks}
    chosen = [by_number[n] for n in told.places["block"] if n in by_number]
    if not chosen:
        return Markup("")
    fruit = words.fruit_name(told.fruit, plural=True)
    title = _contrast_title(fruit, told.fruit, chosen)
    heads = ("", *(block.title for block in chosen))
    rows = _contrast_rows(survey, told, chosen)
    about = (
        f"{fruit.capitalize()}, {told.places['group'].iloc[0]} group, middle of each "
        "block. Frost takes buds "
        "before bloom, at lower limits, and young fruit after it; and a few live "
        "flowers may make a crop: a mark in the bloom is not always a crop lost. "
    )
    about += " ".join(
        f"Block {p['block']}: {words.within(p['halves'])}." for p in _records(told)
    )
    drawn = write_figure(draw_bloom(_bloom_by_place(told, chosen)))
    caption = "Bloom against frost by year."
    return join(
        [
            element("h3", title),
            table(heads, rows, label=title, class_="contrast"),
            figure(drawn, f"{caption} {about}", caption, about),
        ]
    )


def _contrast_title(fruit: str, key: str, chosen: Sequence[Block]) -> str:
    """Name what is set side by side; blocks of one class are no why."""
    titles = [f"block {block.title}" for block in chosen]
    if len({block.classes.get(key) for block in chosen}) > 1:
        return f"Why {fruit} go to {titles[0]}, and not to {titles[1]}"
    return f"{fruit.capitalize()} on {words.listed(titles)}"


def _bloom_by_place(
    told: YearsTold, chosen: Sequence[Block]
) -> list[tuple[str, pd.DataFrame]]:
    return [
        (
            f"Block {block.title}: {block.classes[told.fruit]}",
            told.bloom[told.bloom["block"] == block.number],
        )
        for block in chosen
    ]


def _contrast_rows(
    survey: Survey, told: YearsTold, chosen: Sequence[Block]
) -> list[list[str]]:
    table_rows = survey.fruit_by_block
    table_rows = table_rows[table_rows["fruit"] == told.fruit]
    # The usual group of a fruit stands first.
    usual = table_rows.drop_duplicates("block").set_index("block").to_dict("index")
    here: list[dict[Any, Any]] = [usual[b.number] for b in chosen]
    places = _records(told)[: len(chosen)]
    return [
        ["Class", *(_class(row) for row in here)],
        ["Why", *(words.sentence(written(row["reason"])) for row in here)],
        [
            "Clear still night, against the station",
            *(words.offset(p["still_degc"]) for p in places),
        ],
        [
            "Full bloom, middle year",
            *(words.day(p["full_bloom"]) for p in places),
        ],
        [
            "Last frost that harms open flowers, middle year",
            *(words.day(p["last_frost"]) for p in places),
        ],
        ["Poor crops, years in ten", *(_poor(row) for row in here)],
        ["Ripening", *(written(row["ripening"]) for row in here)],
        ["Winter", *(written(row["winter"]) for row in here)],
    ]


def _records(told: YearsTold) -> list[dict[Any, Any]]:
    return told.places.to_dict("records")


def _class(row: dict[Any, Any]) -> Markup:
    name = str(row["site_class"])
    return join([swatch(name), element("span", name, class_="class")])


def _poor(row: dict[Any, Any]) -> str:
    if pd.isna(row["poor_crop_years"]):
        return words.NOT_KNOWN
    years = words.years_in_ten(row["poor_crop_years"])
    return f"{years} {words.years_span(row['low'], row['high'])}"


def _rows(survey: Survey, block: Block) -> Iterator[list[str]]:
    """Write the rows of a block, groups that say the same in one."""
    here = survey.fruit_by_block[survey.fruit_by_block["block"] == block.number]
    if (here["site_class"] == words.SITE_CLASSES[words.REFUSED]).all():
        here = here.drop_duplicates("fruit")
    here = here.assign(poor=here["poor_crop_years"].map(words.years_in_ten))
    title: str = block.title
    above = ""
    for fruit, rows in here.groupby("fruit", sort=False):
        for alike in _alike(rows):
            winter = written(alike[0]["winter"]) or words.NOT_KNOWN
            yield [
                title,
                _name_groups(str(fruit), alike, every=len(alike) == len(rows)),
                _class(alike[0]),
                _poor(_widest(alike)),
                _short(alike[0]["ripening"]),
                "" if winter == above else winter,
            ]
            title = element("span", str(block.number), class_="again")
            above = winter


def _alike(rows: pd.DataFrame) -> list[list[dict[Any, Any]]]:
    """Put groups together that share class, poor crops, ripening and winter."""

    def key(row: dict[Any, Any]) -> tuple[str, ...]:
        return tuple(written(row[name]) for name in SHARED)

    order: dict[tuple[str, ...], list[dict[Any, Any]]] = {}
    for row in rows.to_dict("records"):
        order.setdefault(key(row), []).append(row)
    return list(order.values())


def _widest(alike: list[dict[Any, Any]]) -> dict[Any, Any]:
    """Take the widest range of groups that are told together."""
    low, high = min(r["low"] for r in alike), max(r["high"] for r in alike)
    return alike[0] | {"low": low, "high": high}


def _name_groups(fruit: str, alike: list[dict[Any, Any]], *, every: bool) -> str:
    """Name groups of a fruit that are told together."""
    name = words.fruit_name(fruit).capitalize()
    groups = [written(row["group"]) for row in alike]
    if not any(groups):
        return name
    if every and len(groups) > 1:
        return f"{name}: every group"
    return f"{name}: {words.listed(groups)}"


def _short(ripening: object) -> str:
    """Shorten what stands under the head of its column."""
    text = written(ripening).removeprefix("ripens in ").partition(", though")[0]
    return text or words.NOT_KNOWN
