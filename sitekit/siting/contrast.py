"""Years made ready to be drawn: the station, and one fruit on its best and worst block.

Where the classes of a fruit differ most from block to block, its years say why.
"""

from collections.abc import Sequence

import pandas as pd

from sitekit.climate.charting import (
    tabulate_bloom,
    tabulate_last_frosts,
    tabulate_law,
    tabulate_nights,
    tell_place,
)
from sitekit.climate.crops import make_kind
from sitekit.climate.years import RecordYears
from sitekit.fruit import Fruit
from sitekit.results import YearsTold
from sitekit.siting.blocks import Block
from sitekit.siting.groups import middle_shifts
from sitekit.words import SITE_CLASSES

#: Columns of ``YearsTold.places`` and ``YearsTold.bloom``.
PLACES = (
    "block",
    "group",
    "still_degc",
    "full_bloom",
    "last_frost",
    "poor",
    "years",
    "halves",
)
BLOOM = ("block", "year", "opens", "full_bloom", "falls", "last_frost", "poor")


def tell_years(
    groups: Sequence[Block],
    table: pd.DataFrame,
    years: RecordYears,
    fruits: Sequence[Fruit],
) -> YearsTold:
    """Make the years of a record ready to be drawn.

    Parameters
    ----------
    groups : sequence of Block
        The blocks.
    table : DataFrame
        ``fruit_by_block``, the usual group of a fruit first.
    years : RecordYears
        The years of the site.
    fruits : sequence of Fruit
        Fruit asked for.

    Returns
    -------
    told : YearsTold
        Frames that hold all that charts draw.
    """
    frosts = tabulate_last_frosts(years.springs)
    name, numbers = choose_contrast(table)
    fruit = next((f for f in fruits if f.name == name), None)
    chosen = [block for n in numbers for block in groups if block.number == n]
    places, bloom = _tell_blocks(years, fruit, chosen) if fruit else ([], [])
    drawn = pd.concat(bloom, ignore_index=True) if bloom else pd.DataFrame()
    return YearsTold(
        station=years.record.name,
        last_frosts=frosts,
        last_frost_law=tabulate_law(frosts),
        nights=tabulate_nights(years.springs),
        fruit=name,
        places=pd.DataFrame(places, columns=list(PLACES)),
        bloom=drawn.reindex(columns=list(BLOOM)),
    )


def choose_contrast(table: pd.DataFrame) -> tuple[str, list[int]]:
    """Choose the fruit that differs most between blocks, its best and its worst.

    Parameters
    ----------
    table : DataFrame
        ``fruit_by_block``, the usual group of a fruit first.

    Returns
    -------
    fruit : str
        Empty where no years are known on any block.
    blocks : list of int
        The block of the best class with fewest poor crops, then that of the worst
        with most; one where there is no other.
    """
    usual = table.drop_duplicates(["block", "fruit"]).dropna(subset="poor_crop_years")
    usual = usual.assign(code=usual["site_class"].map(SITE_CLASSES.index))
    found: list[tuple[int, float, str, list[int]]] = []
    for fruit, rows in usual.groupby("fruit", sort=False):
        order = rows.sort_values(
            ["code", "poor_crop_years", "block"], ascending=[False, True, True]
        )
        best, worst = order.iloc[0], order.iloc[-1]
        apart = float(worst["poor_crop_years"] - best["poor_crop_years"])
        numbers = list(dict.fromkeys([int(best["block"]), int(worst["block"])]))
        found.append((int(best["code"] - worst["code"]), apart, str(fruit), numbers))
    if not found:
        return "", []
    _, _, name, numbers = max(found, key=lambda entry: entry[:2])
    return name, numbers


def _tell_blocks(
    years: RecordYears, fruit: Fruit, chosen: Sequence[Block]
) -> tuple[list[dict[str, object]], list[pd.DataFrame]]:
    """Tell the years of a fruit's usual group on blocks."""
    kind = make_kind(fruit, years.tunings[fruit.name])
    shifts = middle_shifts(chosen, years.shifts)
    places, bloom = [], []
    for block, *shift in zip(
        chosen, shifts.bloom, shifts.windy, shifts.warmth, strict=True
    ):
        still, windy, warmth = (float(value) for value in shift)
        told = tabulate_bloom(years.springs, kind, (still, windy, warmth))
        about = {"block": block.number, "group": kind.group.name, "still_degc": still}
        places.append(about | tell_place(told))
        bloom.append(told.assign(block=block.number))
    return places, bloom
