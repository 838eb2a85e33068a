"""Tables of blocks: which cell speaks for a block, and how blocks are ranked."""

from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from pyproj import CRS

from sitekit.siting.blocks import block_class
from sitekit.siting.tables import best_fruit, describe_blocks, typical_cell
from sitekit.words import SITE_CLASSES

SHAPE = (5, 6)


def block(cells, number=1, part=""):
    rows, columns = np.nonzero(cells)
    return SimpleNamespace(
        number=number,
        part=part,
        cells=(rows, columns),
        area=25.0 * rows.size,
        shape=shapely.box(0, 0, 5, 5 * rows.size),
    )


def verdict(site_class, *, cause=None, suits=None):
    site_class = np.asarray(site_class, np.uint8)
    suits = np.full(SHAPE, 0.5) if suits is None else suits
    return SimpleNamespace(
        site_class=site_class,
        cause=np.zeros(SHAPE, np.uint8) if cause is None else cause,
        suits=np.asarray(suits, np.float32),
        score=np.asarray(100 * suits, np.float32),
    )


class Read:
    """Places that tell which cell was asked."""

    def __init__(self, **verdicts):
        self.verdicts = verdicts
        self.layers = {}
        self.site = SimpleNamespace(grid=SimpleNamespace(crs=CRS.from_epsg(32633)))

    def at(self, fruit, rows, columns):
        return {
            "limiting_factor": ["slope"],
            "reason": [f"{fruit} at {rows[0]}, {columns[0]}."],
            "confidence": ["fair"],
            "class_chance": [0.8],
        }


@given(
    arrays(np.uint8, SHAPE, elements=st.integers(0, 4)),
    arrays(np.uint8, SHAPE, elements=st.integers(0, 3)),
    arrays(np.float32, SHAPE, elements=st.floats(0, 1, width=32)),
    arrays(np.bool_, SHAPE).filter(lambda cells: cells.any()),
)
def test_the_typical_cell_lies_in_its_block_and_has_its_class(
    classes, causes, suits, cells
):
    made = verdict(classes, cause=causes, suits=suits)
    here = block(cells)
    row, column = typical_cell(here, made)
    assert cells[row, column]
    assert classes[row, column] == block_class(made, here)


def test_the_typical_cell_has_the_commonest_cause_and_the_middle_score():
    causes = np.zeros(SHAPE, np.uint8)
    causes[0, :3] = 2
    suits = np.full(SHAPE, 0.9)
    suits[0, :3] = (0.1, 0.3, 0.2)
    causes[1, 0] = 1
    cells = np.zeros(SHAPE, bool)
    cells[0, :3] = cells[1, 0] = True
    made = verdict(np.full(SHAPE, 3), cause=causes, suits=suits)
    assert typical_cell(block(cells), made) == (0, 2)


def test_of_equal_scores_the_night_in_the_middle_of_the_block_is_told():
    cells = np.zeros(SHAPE, bool)
    cells[2] = True
    night = np.full(SHAPE, -9.0, np.float32)
    night[2] = (-5.0, -3.0, -2.0, np.nan, -1.0, -3.2)
    made = verdict(np.full(SHAPE, 0), suits=np.zeros(SHAPE))
    assert typical_cell(block(cells), made, night) == (2, 1)
    unknown = np.full(SHAPE, np.nan, np.float32)
    assert typical_cell(block(cells), made, unknown) == typical_cell(block(cells), made)


def halves(upper, lower):
    classes = np.full(SHAPE, lower)
    classes[:, :3] = upper
    return classes


UPPER = np.zeros(SHAPE, bool)
UPPER[:, :3] = True
BLOCKS = [block(UPPER, 1, "Bank"), block(~UPPER, 2, "Mere")]


@pytest.fixture
def table():
    suits = np.where(UPPER, 0.4, 0.8)
    return describe_blocks(
        BLOCKS,
        Read(
            pear=verdict(halves(3, 3), suits=suits),
            apple=verdict(halves(1, 0), suits=suits),
        ),
    )


def test_there_is_one_row_for_each_block_and_fruit(table):
    told = list(zip(table["block"], table["fruit"], strict=True))
    assert told == [(1, "apple"), (1, "pear"), (2, "apple"), (2, "pear")]


def test_a_row_has_the_name_size_class_and_reason_of_its_block(table):
    row = table.iloc[0]
    assert (row["name"], row["area_m2"], row["site_class"]) == (
        "Bank",
        375,
        "test first",
    )
    assert row["reason"].startswith("apple at ")
    assert row["score"] == 40


def test_a_better_class_ranks_before_a_better_score(table):
    apple = table[table["fruit"] == "apple"].set_index("block")["rank"]
    pear = table[table["fruit"] == "pear"].set_index("block")["rank"]
    assert apple.to_dict() == {1: 1, 2: 2}
    assert pear.to_dict() == {1: 2, 2: 1}


def test_what_waits_for_a_plan_is_empty_and_has_its_type(table):
    assert table[["year", "trees", "mulch_m3"]].isna().all(axis=None)
    assert table.dtypes[["year", "trees"]].astype(str).tolist() == ["Int32", "Int32"]
    assert str(table.crs) == "EPSG:32633"


@given(
    st.permutations(range(4)),
    st.lists(st.sampled_from(SITE_CLASSES), min_size=4, max_size=4),
)
def test_the_best_fruit_do_not_hang_on_the_order_of_the_rows(order, classes):
    rows = [(1, f"fruit {i}", classes[i], 10.0 * i) for i in order]
    frame = GeoDataFrame(rows, columns=["block", "fruit", "site_class", "score"])
    site_class, fruit = best_fruit(frame, 1)
    best = max(classes, key=SITE_CLASSES.index)
    assert site_class == best
    assert fruit == [f"fruit {i}" for i in (3, 2, 1, 0) if classes[i] == best]
