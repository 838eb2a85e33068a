"""The tables of the report."""

from collections.abc import Callable, Iterator, Sequence
from math import isfinite
from typing import Any

import numpy as np
import pandas as pd

from sitekit import words
from sitekit.cartography.asked import list_fruit
from sitekit.cartography.styles import find_style
from sitekit.report.blocks import (
    Block,
    cells_of,
    middle_value,
    written,
)
from sitekit.report.ground_map import note_letters
from sitekit.report.markup import Markup, element, join, table
from sitekit.report.swatches import swatch
from sitekit.results import Survey

#: Columns of fruit that a page holds side by side.
FRUIT_ACROSS = 6
#: From so many fruit across, the letters are smaller.
CROWDED = 5
#: Trees and notes that agree with the map are listed up to this many.
MOST_LISTED = 30
#: How a tree or note speaks against the map.
AGAINST = ("contradict", "against", "disagree")


def fruit_tables(
    survey: Survey, blocks: Sequence[Block], label: str
) -> Iterator[Markup]:
    """Make the tables of block and fruit, at most six fruit across.

    Parameters
    ----------
    survey : Survey
        What was found.
    blocks : sequence of Block
        The rows.
    label : str
        Name of the table for those who listen to it.
    """
    fruit = list_fruit(survey)
    years = find_years(survey)
    for start in range(0, len(fruit), FRUIT_ACROSS):
        across = fruit[start : start + FRUIT_ACROSS]
        heads = ["Block", *(words.fruit_name(name).capitalize() for name in across)]
        rows = [
            [_block_cell(b), *(_class_cell(b, name, years) for name in across)]
            for b in blocks
        ]
        layout = "fruit crowded" if len(across) >= CROWDED else "fruit"
        yield table(heads, rows, label=label, class_=layout)


def _block_cell(block: Block) -> Markup:
    size = element("span", words.area(block.area), class_="size")
    return join([block.title, size])


def _class_cell(block: Block, fruit: str, years: dict[tuple[int, str], str]) -> Markup:
    name = block.classes.get(fruit, "")
    if name not in words.SITE_CLASSES:
        return join([words.NOT_KNOWN])
    text = element("span", name, class_="class")
    told = years.get((block.number, fruit), "")
    under = [element("span", told, class_="years")] if told else []
    return join([swatch(name), text, *under])


def find_years(survey: Survey) -> dict[tuple[int, str], str]:
    """Write the poor-crop years of each block and fruit, where they are known.

    The usual group of a fruit stands first in the table.
    """
    known = survey.fruit_by_block.dropna(subset=["poor_crop_years"])
    found: dict[tuple[int, str], str] = {}
    for row in known.to_dict("records"):
        span = words.years_span(row["low"], row["high"])
        text = f"{words.years_in_ten(row['poor_crop_years'])} in ten {span}"
        found.setdefault((int(row["block"]), str(row["fruit"])), text)
    return found


def reason_table(blocks: Sequence[Block]) -> Markup:
    """Make the table that says why, fruit with the same reason together."""
    rows = []
    for block in blocks:
        together: dict[tuple[str, str, str], list[str]] = {}
        for fruit, name in block.classes.items():
            key = (name, block.reasons[fruit], block.confidences[fruit])
            together.setdefault(key, []).append(words.fruit_name(fruit))
        for i, ((name, why, sure), fruit_names) in enumerate(together.items()):
            title = block.title if i == 0 else element("span", str(block.number))
            names = words.listed(fruit_names)
            cells = [names, name, words.sentence(why), sure or words.NOT_KNOWN]
            rows.append([title, *cells])
    heads = ("Block", "Fruit", "Class", "Why", "How sure")
    caption = (
        "Told at one place that is typical of its block: figures may differ a little "
        "from those of the middle of the block."
    )
    label = "Why each block has its class"
    return table(heads, rows, caption=caption, label=label, class_="why")


def ground_table(survey: Survey, blocks: Sequence[Block]) -> Markup:
    """Make the table of the ground by block, one column for each known layer."""
    columns = [
        (head, layer, form)
        for head, layer, form in _ground_columns(survey)
        if layer in survey.layers
    ]
    rows = [
        [block.title, *(form(block, layer) for _, layer, form in columns)]
        for block in blocks
    ]
    heads = ["Block", *(head for head, _, _ in columns)]
    return table(heads, rows, label="The ground by block", class_="plain")


class _Facts:
    """Facts of a block in words, each from one layer."""

    def __init__(self, survey: Survey) -> None:
        self.survey = survey

    def value(self, block: Block, layer: str) -> float:
        return middle_value(self.survey, layer, block.shape)

    def metres(self, block: Block, layer: str) -> str:
        return words.with_unit(self.value(block, layer), "m")

    def slope(self, block: Block, layer: str) -> str:
        return words.percent(float(np.tan(np.radians(self.value(block, layer)))))

    def facing(self, block: Block, layer: str) -> str:
        angles = np.radians(cells_of(self.survey, layer, block.shape))
        angles = angles[np.isfinite(angles)]
        if not angles.size:
            return words.facing(float("nan"))
        # Directions are averaged as arrows: 350 and 10 make north, not south.
        east, north = np.sin(angles).mean(), np.cos(angles).mean()
        return words.facing(float(np.degrees(np.arctan2(east, north))) % 360)

    def held(self, block: Block, layer: str) -> str:
        cells = cells_of(self.survey, layer, block.shape)
        cells = cells[np.isfinite(cells)]
        if not cells.size:
            return words.NOT_KNOWN
        deepest = float(cells.max())
        return words.with_unit(deepest, "m", 1) if deepest >= 0.3 else "none found"

    def night(self, block: Block, layer: str) -> str:
        text = words.offset(self.value(block, layer))
        sure = self.value(block, f"{layer}_sd")
        if not isfinite(sure):
            return text
        return f"{text} (±{words.NO_BREAK}{max(round(sure * 2) / 2, 0.5):g})"

    def hours(self, block: Block, layer: str) -> str:
        return words.hours(self.value(block, layer))

    def far(self, block: Block, layer: str) -> str:
        return words.with_unit(round(self.value(block, layer) / 10) * 10.0, "m")

    def day(self, block: Block, layer: str) -> str:
        return words.day(self.value(block, layer))

    def days(self, block: Block, layer: str) -> str:
        return words.with_unit(self.value(block, layer), "days")


Column = tuple[str, str, Callable[[Block, str], str]]


def _ground_columns(survey: Survey) -> tuple[Column, ...]:
    facts = _Facts(survey)
    against = f" against {survey.site.reference_name}"
    return (
        ("Height", "elevation", facts.metres),
        ("Slope", "slope", facts.slope),
        ("Faces", "aspect", facts.facing),
        ("Cold air held, deepest", "pooling_depth", facts.held),
        (f"Clear still night{against}", "frost_night_offset", facts.night),
        ("Sun a day while fruit ripens", "sunshine_hours_ripening", facts.hours),
        ("To the water", "distance_to_water", facts.far),
        ("Last spring frost, 1 year in 10 later", "last_spring_frost", facts.day),
        ("Days without frost", "frost_free_days", facts.days),
    )


def tree_table(survey: Survey) -> Markup:
    """Make the table of trees that stand, those that contradict first."""
    trees = survey.existing_trees
    rows = [
        [
            words.fruit_name(written(row.fruit)).capitalize() or "Tree",
            written(row.condition) or words.NOT_KNOWN,
            written(row.site_class) or words.NOT_KNOWN,
            words.sentence(written(row.reason)),
        ]
        for row in _worst_first(trees)
    ]
    heads = ("Tree", "It is", "The map says", "So")
    return _some(heads, rows, "Trees that stand already")


def note_table(survey: Survey) -> Markup:
    """Make the table of notes, those that contradict first."""
    notes = survey.notes.assign(letter=note_letters(len(survey.notes)))
    rows = [
        [
            f"{row.letter}  {write_date(row.date)}",
            written(row.kind),
            written(row.text),
            words.sentence(written(row.reason)),
        ]
        for row in _worst_first(notes)
    ]
    return _some(("Note", "Kind", "You wrote", "The map says"), rows, "Your notes")


def _worst_first(frame: pd.DataFrame) -> list[Any]:
    rows = list(frame.itertuples())
    return sorted(rows, key=lambda row: not _contradicts(written(row.verdict)))


def _contradicts(verdict: str) -> bool:
    return any(word in verdict.lower() for word in AGAINST)


def _some(heads: Sequence[str], rows: list[list[str]], label: str) -> Markup:
    left = len(rows) - MOST_LISTED
    more = f"{left} more stand in the file site.gpkg." if left > 0 else ""
    made = table(heads, rows[:MOST_LISTED], label=label, class_="evidence")
    return join([made, element("p", more, class_="quiet")]) if more else made


def write_date(value: object) -> str:
    """Write a date for people; what is no date stays as it was written.

    Examples
    --------
    >>> write_date("2025-05-12"), write_date("spring"), write_date(None)
    ('12 May 2025', 'spring', 'no date')
    """
    text = written(value)
    when = pd.to_datetime(text, errors="coerce", format="ISO8601") if text else pd.NaT
    if pd.isna(when):
        return text or "no date"
    return f"{when.day} {when:%B} {when.year}"


def name_layer(layer: str, long_name: str = "") -> str:
    """Name a layer for people; one without a style goes by its long name."""
    style = find_style(layer)
    if style is None:
        return words.sentence(long_name or layer.replace("_", " "))[:-1]
    if layer.startswith("lake_effect_"):
        return f"Effect of the lake {style.label.lower()}"
    if not style.pattern.endswith("*"):
        return style.label
    fruit = layer.removeprefix(style.pattern.removesuffix("*"))
    return f"{style.label}, {words.fruit_name(fruit)}"


def list_layers(names: Sequence[str]) -> str:
    """Join the names of layers in one list."""
    return "; ".join([*names[:1], *(name[0].lower() + name[1:] for name in names[1:])])
