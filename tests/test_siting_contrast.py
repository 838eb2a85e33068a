"""The fruit and the two blocks by which the years are told."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
import shapely

from sitekit.climate.charting import tell_place
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
from sitekit.siting.contrast import BLOOM, PLACES, choose_contrast, tell_years
from sitekit.siting.groups import middle_shifts

SHAPE = (4, 6)


@dataclass
class Row:
    block: int
    fruit: str
    site_class: str
    poor_crop_years: float
    group: str = "middle"


def table(*rows):
    return pd.DataFrame([vars(row) for row in rows])


def block(number, column):
    rows = np.arange(SHAPE[0])
    cells = (rows, np.full(SHAPE[0], column))
    return Block(number, "", cells, shapely.box(0, 0, 10, 10))


@pytest.fixture(scope="module")
def years():
    days = make_station().rename(columns={"wind_night": "wind", "cloud_night": "cloud"})
    notes = pd.DataFrame({"fruit": [], "year": [], "day": [], "place": []})
    record = Record("the farm", days, 0.0, 0.0, 715.0, 46.3, notes)
    still = np.tile(np.linspace(0.5, -4.5, SHAPE[1]), (SHAPE[0], 1))
    level = np.zeros(SHAPE)
    return RecordYears(
        record=record,
        station=StationPlace(None, 715.0, 1.0, ()),
        springs=read_springs(make_seasons(record)),
        shifts=Shifts(still, still, still, level, level),
        tunings={"plum": Tuning(), "apple": Tuning()},
    )


SHELF, MEADOW = block(1, 0), block(2, 5)
FRUITS = [read_fruit("apple"), read_fruit("plum")]
TABLE = table(
    Row(1, "apple", "good", 1.0, "autumn"),
    Row(1, "plum", "good", 1.0),
    Row(1, "plum", "good", 0.0, "late"),
    Row(2, "apple", "hardy kinds only", 4.0, "autumn"),
    Row(2, "plum", "refused", 6.0),
)


def test_the_fruit_is_the_one_whose_classes_lie_farthest_apart():
    assert choose_contrast(TABLE) == ("plum", [1, 2])


def test_of_equal_classes_the_years_decide():
    found = choose_contrast(
        table(
            Row(1, "apple", "good", 1.0),
            Row(2, "apple", "refused", 3.0),
            Row(1, "pear", "good", 1.0),
            Row(2, "pear", "refused", 7.0),
        )
    )
    assert found == ("pear", [1, 2])


def test_the_best_block_has_the_best_class_and_in_it_the_fewest_poor_crops():
    found = choose_contrast(
        table(
            Row(1, "plum", "good", 2.0),
            Row(2, "plum", "good", 1.0),
            Row(3, "plum", "with conditions", 0.0),
            Row(4, "plum", "refused", 5.0),
            Row(5, "plum", "refused", 8.0),
        )
    )
    assert found == ("plum", [2, 5])


def test_only_the_usual_group_counts_which_stands_first():
    rows = [Row(1, "plum", "good", 1.0), Row(1, "plum", "refused", 9.0, "late")]
    assert choose_contrast(table(*rows)) == ("plum", [1])


def test_a_fruit_without_years_is_passed_over():
    rows = [
        Row(1, "medlar", "good", np.nan),
        Row(2, "medlar", "refused", np.nan),
        Row(1, "plum", "good", 1.0),
        Row(2, "plum", "with conditions", 2.0),
    ]
    assert choose_contrast(table(*rows)) == ("plum", [1, 2])
    assert choose_contrast(table(*rows[:2])) == ("", [])


def test_the_middle_shift_of_a_block_is_that_of_its_cells(years):
    shifts = middle_shifts([SHELF, MEADOW], years.shifts)
    assert shifts.bloom.tolist() == pytest.approx([0.5, -4.5])
    assert shifts.spread == years.shifts.spread


def test_both_blocks_are_told_with_their_years(years):
    told = tell_years([MEADOW, SHELF], TABLE, years, FRUITS)
    assert (told.station, told.fruit) == ("the farm", "plum")
    assert list(told.places.columns) == list(PLACES)
    assert list(told.bloom.columns) == list(BLOOM)
    assert told.places["block"].tolist() == [1, 2]
    assert told.places["still_degc"].tolist() == pytest.approx([0.5, -4.5])
    assert set(told.places["group"]) == {"middle"}
    assert len(told.bloom) == 60
    shelf, meadow = told.places["poor"]
    assert shelf < meadow
    for number, poor in ((1, shelf), (2, meadow)):
        here = told.bloom[told.bloom["block"] == number]
        assert here["poor"].sum() == poor
        assert here["full_bloom"].nunique() > 8


def test_places_sum_up_the_very_years_that_are_drawn(years):
    told = tell_years([SHELF, MEADOW], TABLE, years, FRUITS)
    here = told.bloom[told.bloom["block"] == 2].assign(crop=0.0)
    assert told.places["full_bloom"][1] == tell_place(here)["full_bloom"]


def test_without_a_block_the_station_is_still_told(years):
    nothing = TABLE.iloc[:0]
    told = tell_years([], nothing, years, FRUITS)
    assert told.fruit == ""
    assert told.places.empty
    assert told.bloom.empty
    assert list(told.bloom.columns) == list(BLOOM)
    assert len(told.last_frosts) == 30
    assert not told.last_frost_law.empty
    assert not told.nights.empty
