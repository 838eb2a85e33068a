"""The table of fruit and block with the years of a record: every group of a fruit."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from sitekit.climate.describing import describe_groups
from sitekit.climate.fruiting import Shifts
from sitekit.climate.years import RecordYears
from sitekit.fruit import Fruit
from sitekit.siting.blocks import Block
from sitekit.suitability.reasons import UNTESTED, end_reason
from sitekit.words import REFUSED, SITE_CLASSES


def tabulate_groups(
    groups: Sequence[Block],
    ground: GeoDataFrame,
    blocks: GeoDataFrame,
    years: RecordYears,
    fruits: Sequence[Fruit],
) -> pd.DataFrame:
    """Make the table of fruit and block, a row for every group.

    Parameters
    ----------
    groups : sequence of Block
        The blocks.
    ground : GeoDataFrame
        Table of blocks as the ground alone has them.
    blocks : GeoDataFrame
        Table of blocks as they are told, held to the years of usual groups.
    years : RecordYears
        The years of the site.
    fruits : sequence of Fruit
        Fruit asked for.

    Returns
    -------
    table : DataFrame
        Columns of ``fruit_by_block``; the usual group stands first of its fruit. It
        has the class of the block, but where the years refuse it and the block is
        left to another group.
    """
    ordered = sorted(groups, key=lambda block: block.number)
    shifts = middle_shifts(ordered, years.shifts)
    table = describe_groups(
        years.springs, fruits, years.tunings, shifts, ground, years.cover
    )
    usual = {f.name: f.varieties.group().name for f in fruits if f.varieties}
    told = blocks.set_index(["block", "fruit"])
    first = table["group"].isna() | (table["group"] == table["fruit"].map(usual))
    keys = list(zip(table["block"], table["fruit"], strict=True))
    classes = told.loc[keys, "site_class"].to_numpy()
    refused = SITE_CLASSES[REFUSED]
    # Where another group stands, the block is not refused, but its usual group is.
    own = first & ((table["site_class"] != refused) | (classes == refused))
    # Of the same class, the years are told as the middle of the block has them.
    own &= table["site_class"] != classes
    keys = list(zip(table.loc[own, "block"], table.loc[own, "fruit"], strict=True))
    for column in ("site_class", "reason"):
        table.loc[own, column] = told.loc[keys, column].to_numpy()
    bare = ground.set_index(["block", "fruit"])["reason"].str.endswith(f"{UNTESTED}.")
    keys = list(zip(table["block"], table["fruit"], strict=True))
    untested = bare.loc[keys].to_numpy()
    table["reason"] = [
        end_reason(reason, tested=not lacks)
        for reason, lacks in zip(table["reason"], untested, strict=True)
    ]
    place = table.groupby(["block", "fruit"], sort=False).ngroup()
    return table.iloc[np.lexsort((~first, place))].reset_index(drop=True)


def take_reasons(blocks: GeoDataFrame, table: pd.DataFrame) -> GeoDataFrame:
    """Tell the years in the reasons of blocks as the table of groups tells them.

    A block is told at one place that is typical of its ground, its years at the
    middle of its shifts: one reader must not find two counts for one block.

    Parameters
    ----------
    blocks : GeoDataFrame
        Table of blocks.
    table : DataFrame
        See `tabulate_groups`; the usual group stands first.

    Returns
    -------
    blocks : GeoDataFrame
        With the reason of the usual group, where both have the same class.
    """
    usual = table.drop_duplicates(["block", "fruit"])[
        ["block", "fruit", "site_class", "reason"]
    ]
    both = blocks[["block", "fruit"]].merge(usual, on=["block", "fruit"], how="left")
    same = both["site_class"].to_numpy() == blocks["site_class"].to_numpy()
    return blocks.assign(reason=np.where(same, both["reason"], blocks["reason"]))


def middle_shifts(blocks: Sequence[Block], shifts: Shifts) -> Shifts:
    """Take the middle shift of the cells of each block.

    Parameters
    ----------
    blocks : sequence of Block
        The blocks.
    shifts : Shifts
        Shifts of the cells.

    Returns
    -------
    shifts : Shifts
        Arrays (block,), in the order of the blocks.
    """

    def middle(values: NDArray[np.floating]) -> NDArray[np.float32]:
        return np.array([np.nanmedian(values[b.cells]) for b in blocks], np.float32)

    return Shifts(
        bloom=middle(shifts.bloom),
        autumn=middle(shifts.autumn),
        winter=middle(shifts.winter),
        windy=middle(shifts.windy),
        warmth=middle(shifts.warmth),
        spread=shifts.spread,
    )
