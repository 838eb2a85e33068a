"""The tables of blocks: one row for each block and fruit."""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from sitekit.siting.blocks import Block, block_class
from sitekit.siting.places import Places
from sitekit.suitability.ground import Verdict
from sitekit.words import SITE_CLASSES

#: Layer that a typical place is typical in.
NIGHT = "frost_night_offset"


def describe_blocks(blocks: Sequence[Block], places: Places) -> GeoDataFrame:
    """Make the table of blocks.

    Parameters
    ----------
    blocks : sequence of Block
        The blocks.
    places : Places
        Reads class and reason at cells.

    Returns
    -------
    table : GeoDataFrame
        Polygons; class of most of the block, and the reason at a place that is
        typical of it. ``year``, ``trees`` and ``mulch_m3`` wait for a plan.
    """
    rows = [
        _row(block, fruit, verdict, places)
        for fruit, verdict in places.verdicts.items()
        for block in blocks
    ]
    columns = (
        "block",
        "name",
        "fruit",
        "rank",
        "area_m2",
        "site_class",
        "score",
        "limiting_factor",
        "reason",
        "confidence",
        "year",
        "trees",
        "mulch_m3",
        "class_chance",
    )
    table = GeoDataFrame(
        {name: [row.get(name) for row in rows] for name in columns},
        geometry=[row["shape"] for row in rows],
        crs=places.site.grid.crs,
    )
    table["rank"] = _ranks(table)
    table = table.sort_values(["block", "fruit"], ignore_index=True)
    return table.astype(
        {
            "block": "int32",
            "rank": "int32",
            "area_m2": float,
            "score": float,
            "year": "Int32",
            "trees": "Int32",
            "mulch_m3": float,
            "class_chance": float,
        }
    )


def _row(
    block: Block, fruit: str, verdict: Verdict, places: Places
) -> dict[str, object]:
    """Describe one block for one fruit."""
    row, column = typical_cell(block, verdict, places.layers.get(NIGHT))
    cell = (np.array([row]), np.array([column]))
    found = places.at(fruit, *cell)
    return {
        "block": block.number,
        "name": block.part,
        "fruit": fruit,
        "area_m2": round(block.area, 1),
        "site_class": SITE_CLASSES[block_class(verdict, block)],
        "score": round(float(verdict.score[block.cells].mean()), 0),
        "limiting_factor": found["limiting_factor"][0],
        "reason": found["reason"][0],
        "confidence": found["confidence"][0],
        "class_chance": found["class_chance"][0],
        "shape": block.shape,
    }


def typical_cell(
    block: Block, verdict: Verdict, night: NDArray[np.float32] | None = None
) -> tuple[int, int]:
    """Find the cell that speaks for a block.

    It has the block's class and the cause commonest there, and its score is the
    middle one of those. Of cells with that score it has the night nearest to the
    middle of the block, so that its reason tells the figures that tables tell.

    Parameters
    ----------
    block : Block
        The block.
    verdict : Verdict
        Verdict for the fruit.
    night : (row, column) ndarray, optional
        Offset of a clear still night; without it the middle one in order. [degC]

    Returns
    -------
    row, column : int
        The cell.
    """
    rows, columns = block.cells
    same: NDArray[np.bool_] = verdict.site_class[block.cells] == block_class(
        verdict, block
    )
    rows, columns = rows[same], columns[same]
    causes = verdict.cause[rows, columns]
    usual = causes == np.bincount(causes).argmax()
    rows, columns = rows[usual], columns[usual]
    suits = verdict.suits[rows, columns]
    order = np.argsort(suits, kind="stable")
    middle = order[order.size // 2]
    if night is not None and np.isfinite(night[block.cells]).any():
        apart = np.abs(night[rows, columns] - np.nanmedian(night[block.cells]))
        apart[(suits != suits[middle]) | np.isnan(apart)] = np.inf
        middle = np.argmin(apart) if np.isfinite(apart).any() else middle
    return int(rows[middle]), int(columns[middle])


def _ranks(table: GeoDataFrame) -> pd.Series:
    """Rank blocks within each fruit, best class first, then best score."""
    worth = table["site_class"].map(SITE_CLASSES.index) * 1000 + table["score"]
    ranks: pd.Series = worth.groupby(table["fruit"]).rank(
        method="first", ascending=False
    )
    return ranks


def tabulate_fruit(blocks: GeoDataFrame) -> pd.DataFrame:
    """Make the table of block and fruit; what waits for records is empty.

    Parameters
    ----------
    blocks : GeoDataFrame
        Table of blocks.

    Returns
    -------
    table : DataFrame
        Columns of ``fruit_by_block``.
    """
    count = len(blocks)
    return pd.DataFrame(
        {
            "block": blocks["block"],
            "fruit": blocks["fruit"],
            "group": [None] * count,
            "site_class": blocks["site_class"],
            "poor_crop_years": [np.nan] * count,
            "low": [np.nan] * count,
            "high": [np.nan] * count,
            "ripening": [None] * count,
            "winter": [None] * count,
            "reason": blocks["reason"],
        }
    )


def best_fruit(blocks: GeoDataFrame, number: int) -> tuple[str, list[str]]:
    """Tell the best class of a block and the fruit that reach it.

    Parameters
    ----------
    blocks : GeoDataFrame
        Table of blocks.
    number : int
        The block.

    Returns
    -------
    site_class : str
        Its best class.
    fruit : list of str
        Fruit of that class, the highest score first.
    """
    here = blocks[blocks["block"] == number]
    code = here["site_class"].map(SITE_CLASSES.index)
    best = here[code == code.max()].sort_values("score", ascending=False, kind="stable")
    return SITE_CLASSES[int(code.max())], best["fruit"].tolist()
