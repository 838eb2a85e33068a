"""Plants: names, groups, partners in flower within reach."""

import re

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from shapely.geometry import Polygon, box

from sitekit.errors import InputError
from sitekit.planting.plants import (
    check_inside,
    find_partners,
    list_rows,
    number_plants,
)
from sitekit.planting.rows import lay_rows

UTM = CRS.from_epsg(32633)
PLANT_COLUMNS = [
    "id",
    "block",
    "row",
    "number",
    "fruit",
    "group",
    "year",
    "partner",
    "partner_m",
    "lonely",
    "geometry",
]
ROW_COLUMNS = [
    "block",
    "row",
    "fruit",
    "group",
    "bearing_deg",
    "spacing_m",
    "row_spacing_m",
    "plants",
    "length_m",
    "geometry",
]


def layouts(*wests, spacing=4.0, row_spacing=5.0):
    return {
        str(number): lay_rows(
            box(west, 0, west + 20, 20), spacing=spacing, row_spacing=row_spacing
        )
        for number, west in enumerate(wests, start=1)
    }


def plants_of(laid, fruit="apple", groups=("early", "late")):
    return number_plants(
        laid,
        dict.fromkeys(laid, fruit),
        {block: groups[n % len(groups)] for n, block in enumerate(laid)},
        UTM,
    )


def same_bloom(plants):
    return np.tile([130.0, 140.0], (len(plants), 1))


def test_an_id_is_block_row_and_number():
    plants = plants_of(layouts(0, 100))
    assert plants["id"].iloc[0] == "1-01-01"
    assert plants["id"].iloc[-1] == "2-04-05"
    for plant in plants.itertuples():
        block, row, number = plant.id.split("-")
        assert (block, int(row), int(number)) == (plant.block, plant.row, plant.number)


def test_plants_and_rows_have_the_columns_of_the_plan():
    laid = layouts(0)
    rows = list_rows(laid, {"1": "apple"}, {"1": "late"}, UTM)
    assert list(plants_of(laid).columns) == PLANT_COLUMNS
    assert list(rows.columns) == ROW_COLUMNS
    assert rows.crs == UTM


def test_rows_count_their_plants_and_measure_their_line():
    laid = layouts(0)
    rows = list_rows(laid, {"1": "apple"}, {"1": "late"}, UTM)
    assert rows["plants"].sum() == len(laid["1"].positions) == 20
    assert rows["length_m"].between(16, 20).all()
    assert rows["row"].tolist() == [1, 2, 3, 4]


def test_of_several_groups_the_rows_take_turns():
    laid = layouts(0)
    groups = {"1": ("early", "late")}
    plants = number_plants(laid, {"1": "apple"}, groups, UTM)
    rows = list_rows(laid, {"1": "apple"}, groups, UTM)
    assert rows["group"].tolist() == ["early", "late", "early", "late"]
    by_row = plants.groupby("row")["group"].unique()
    assert [list(names) for names in by_row] == [[name] for name in rows["group"]]


@pytest.mark.parametrize(
    "laid", [{}, {"1": lay_rows(Polygon(), spacing=4, row_spacing=5)}]
)
def test_ground_that_is_all_refused_gives_frames_with_their_columns(laid):
    plants = plants_of(laid)
    rows = list_rows(laid, {"1": "apple"}, {"1": "late"}, UTM)
    assert len(plants) == len(rows) == 0
    assert list(plants.columns) == PLANT_COLUMNS
    assert list(rows.columns) == ROW_COLUMNS
    found = find_partners(plants, same_bloom)
    assert list(found.columns) == PLANT_COLUMNS
    check_inside(plants, box(0, 0, 1, 1))


def test_the_partner_is_the_nearest_of_another_group():
    plants = plants_of(layouts(0, 25))
    found = find_partners(plants, same_bloom, partner_reach=30)
    by_id = found.set_index("id")
    for plant in found.itertuples():
        others = found[found["group"] != plant.group]
        away = others.distance(plant.geometry)
        if away.min() <= 30:
            assert plant.partner_m == pytest.approx(away.min())
            partner = by_id.loc[plant.partner]
            assert partner.geometry.distance(plant.geometry) == plant.partner_m
        else:
            assert plant.lonely


# Source: Delaplane and Mayer 2000, Crop Pollination by Bees, ch. 17: pollinizers
# every 18 to 37 m; 100 ft = 30.48 m is the trade's usual reach.
@pytest.mark.parametrize(("gap", "lonely"), [(29.9, 0), (30.1, 2)])
def test_beyond_its_reach_a_partner_does_not_count(gap, lonely):
    laid = {
        "1": lay_rows(box(0, 0, 1, 1), spacing=4, row_spacing=5),
        "2": lay_rows(box(gap, 0, gap + 1, 1), spacing=4, row_spacing=5),
    }
    found = find_partners(plants_of(laid), same_bloom)
    assert found["lonely"].sum() == lonely


def test_a_plant_of_the_same_group_is_no_partner():
    found = find_partners(plants_of(layouts(0, 25), groups=("late",)), same_bloom)
    assert found["lonely"].all()
    assert (found["partner"] == "").all()
    assert found["partner_m"].isna().all()


def test_kinds_within_a_group_pollinate_each_other():
    plants = plants_of(layouts(0), groups=("late",))
    kinds = np.where(plants["row"] % 2, "first kind", "second kind")
    found = find_partners(plants, same_bloom, kinds=list(kinds))
    assert not found["lonely"].any()
    assert found["partner_m"].to_numpy() == pytest.approx(5.0)


def test_another_fruit_is_no_partner():
    laid = layouts(0, 25)
    plants = number_plants(
        laid, {"1": "apple", "2": "pear"}, {"1": "early", "2": "late"}, UTM
    )
    assert find_partners(plants, same_bloom)["lonely"].all()


def test_a_partner_must_flower_at_the_same_time():
    plants = plants_of(layouts(0, 25))
    early = (plants["group"] == "early").to_numpy()
    days = np.where(early[:, None], [120.0, 130.0], [126.0, 136.0])
    assert not find_partners(plants, days, shared_days=4)["lonely"].all()
    assert find_partners(plants, days, shared_days=4.1)["lonely"].all()


def test_bloom_counts_at_the_place_of_each_plant():
    """One half of a block lies warmer: its flowers are gone before the others open."""
    plants = plants_of(layouts(0, 25))

    def bloom(asked):
        north = shapely.get_coordinates(asked.geometry.to_numpy())[:, 1]
        opens = np.where(north > 10, 140.0, 120.0)
        return np.column_stack([opens, opens + 10])

    found = find_partners(plants, bloom, partner_reach=60)
    north = found.geometry.y.to_numpy()
    partner_north = found.set_index("id").geometry.y.loc[found["partner"]].to_numpy()
    assert ((north > 10) == (partner_north > 10)).all()


def test_a_bloom_that_is_not_known_pollinates_nothing():
    plants = plants_of(layouts(0, 25))
    days = np.full((len(plants), 2), np.nan)
    assert find_partners(plants, days)["lonely"].all()


def test_a_plant_that_needs_no_partner_is_not_lonely():
    plants = plants_of(layouts(0), fruit="sour_cherry", groups=("late",))
    needs = np.zeros(len(plants), bool)
    assert not find_partners(plants, same_bloom, needs=needs)["lonely"].any()


def test_the_frame_that_was_given_stays_as_it_was():
    plants = plants_of(layouts(0, 25))
    before = plants.copy()
    find_partners(plants, same_bloom)
    assert plants.equals(before)


def test_partners_of_many_plants_are_looked_for_nearby_only():
    """The pairs looked at grow with the plants and not with their square."""
    laid = {
        str(n): lay_rows(box(n * 60, 0, n * 60 + 50, 40), spacing=4, row_spacing=5)
        for n in range(20)
    }
    plants = plants_of(laid)
    assert len(plants) == 2000
    found = find_partners(plants, same_bloom)
    assert 0 < found["lonely"].sum() < len(found)


@given(st.lists(st.floats(0, 200), min_size=1, max_size=5), st.floats(5, 60))
@settings(deadline=None, max_examples=30)
def test_ids_are_unique_and_partnership_is_within_reach(wests, reach):
    plants = plants_of(layouts(*wests), groups=("early", "late"))
    assert plants["id"].is_unique
    found = find_partners(plants, same_bloom, partner_reach=reach)
    assert (found["partner_m"].dropna() <= reach).all()
    assert ((found["partner"] == "") == found["lonely"]).all()
    assert set(found["partner"]) - {""} <= set(found["id"])
    assert not (found["partner"] == found["id"]).any()


def test_plants_within_the_field_are_let_be():
    check_inside(plants_of(layouts(0)), box(0, 0, 20, 20))


def test_plants_beyond_the_field_after_an_edit_are_named():
    plants = plants_of(layouts(0))
    with pytest.raises(InputError, match="lie beyond the field: make the plan anew"):
        check_inside(plants, box(0, 0, 20, 10))


def test_one_plant_beyond_the_field_lies_and_does_not_lie():
    plants = plants_of({"1": lay_rows(box(0, 0, 1, 1), spacing=4, row_spacing=5)})
    with pytest.raises(InputError, match=re.escape("1-01-01 lies beyond the field")):
        check_inside(plants, box(50, 50, 60, 60))


def test_of_many_plants_beyond_the_field_five_are_named_and_the_rest_counted():
    with pytest.raises(InputError, match="and 15 more lie beyond"):
        check_inside(plants_of(layouts(0)), box(50, 50, 60, 60))
