"""The table of fruit and block: every group, the usual one first."""

import numpy as np
import pandas as pd
import pytest
import shapely

from sitekit.climate.fruiting import Shifts
from sitekit.climate.place import StationPlace
from sitekit.climate.seasons import make_seasons
from sitekit.climate.springs import read_springs
from sitekit.climate.years import RecordYears
from sitekit.demo.records import make_station
from sitekit.fruit import read_fruit
from sitekit.fruit.bloom import Tuning
from sitekit.site import Record
from sitekit.siting.blocks import Block
from sitekit.siting.groups import middle_shifts, tabulate_groups, take_reasons

FRUITS = [read_fruit("plum"), read_fruit("apple")]
NO_NOTES = pd.DataFrame({"fruit": [], "year": [], "day": [], "place": []})


def block(number: int, columns: list[int]) -> Block:
    rows = np.zeros(len(columns), int)
    return Block(number, "", (rows, np.array(columns)), shapely.box(0, 0, 10, 10))


@pytest.fixture(scope="module")
def years():
    days = make_station().rename(columns={"wind_night": "wind", "cloud_night": "cloud"})
    record = Record("the farm", days, 0.0, 0.0, 715.0, 46.3, NO_NOTES)
    still = np.array([[0.5, 0.5, 0.5, -4.5, -4.5, np.nan]])
    level = np.zeros_like(still)
    return RecordYears(
        record,
        StationPlace(None, 715.0, 1.0, ()),
        read_springs(make_seasons(record)),
        Shifts(still, still, still, level, level),
        {fruit.name: Tuning() for fruit in FRUITS},
    )


def blocks_table(classes: dict[int, str], reason: str) -> pd.DataFrame:
    rows = [
        (number, fruit.name, code, f"{reason} {code}.")
        for number, code in classes.items()
        for fruit in FRUITS
    ]
    return pd.DataFrame(rows, columns=["block", "fruit", "site_class", "reason"])


@pytest.fixture(scope="module")
def table(years):
    ground = blocks_table({1: "good", 2: "good"}, "By its ground")
    told = blocks_table({1: "good", 2: "refused"}, "As told")
    groups = [block(2, [3, 4, 5]), block(1, [0, 1, 2])]
    return tabulate_groups(groups, ground, told, years, FRUITS)


def test_the_usual_group_of_each_fruit_stands_first(table):
    first = table.drop_duplicates(["block", "fruit"])
    usual = {f.name: f.varieties.group().name for f in FRUITS}
    assert len(first) == 4
    assert (first["group"] == first["fruit"].map(usual)).all()


def test_blocks_and_fruit_stand_in_their_order_and_no_group_is_lost(table):
    keys = table[["block", "fruit"]].drop_duplicates().to_numpy().tolist()
    assert keys == [[1, "plum"], [1, "apple"], [2, "plum"], [2, "apple"]]
    for fruit in FRUITS:
        names = {group.name for group in fruit.varieties.groups}
        for number in (1, 2):
            here = table[(table["block"] == number) & (table["fruit"] == fruit.name)]
            assert set(here["group"]) == names
            assert len(here) == len(names)
    assert table.index.tolist() == list(range(len(table)))


def test_the_usual_group_has_the_class_of_the_block_and_its_own_count(table):
    first = table.drop_duplicates(["block", "fruit"])
    assert first["site_class"].tolist() == ["good", "good", "refused", "refused"]
    for row in first[first["block"] == 2].to_dict("records"):
        low, high = (f"{row[name]:.0f}" for name in ("low", "high"))
        count = f"in {row['poor_crop_years']:.0f} years of ten ({low} to {high})"
        assert count in row["reason"]


def test_a_block_tells_the_years_as_its_row_in_the_table_does(table):
    told = blocks_table({1: "good", 2: "refused"}, "Spoilt in 7 years of ten")
    blocks = take_reasons(told, table)
    first = table.drop_duplicates(["block", "fruit"])
    assert sorted(blocks["reason"]) == sorted(first["reason"])
    other = blocks_table({1: "with conditions", 2: "refused"}, "As told")
    kept = take_reasons(other, table)
    assert (kept["reason"][kept["block"] == 1] == "As told with conditions.").all()


def test_a_block_in_the_cold_has_more_poor_years_than_one_above_it(table):
    first = table.drop_duplicates(["block", "fruit"]).set_index(["fruit", "block"])
    for fruit in ("plum", "apple"):
        poor = first.loc[fruit]["poor_crop_years"]
        assert poor[2] > poor[1] + 2


def test_ground_that_waits_for_a_test_says_so_in_every_group(years):
    ground = blocks_table({1: "with conditions"}, "Level; drainage not tested; so")
    ground["reason"] = "The slope is 3 %; drainage not tested."
    table = tabulate_groups([block(1, [0, 1])], ground, ground, years, FRUITS)
    assert table["reason"].str.endswith("drainage not tested.").all()
    assert table["reason"].str.count("drainage not tested").eq(1).all()


def test_the_shift_of_a_block_is_the_middle_of_what_is_known_of_its_cells(years):
    cold, mild = block(2, [2, 3, 4, 5]), block(1, [0, 1, 2])
    shifts = middle_shifts([cold, mild], years.shifts)
    # Of 0.5, −4.5, −4.5 and not known the middle is −4.5.
    assert shifts.bloom.tolist() == pytest.approx([-4.5, 0.5])
    assert shifts.windy.tolist() == [0, 0]
