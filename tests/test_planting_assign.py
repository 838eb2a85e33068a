"""Which fruit goes to which block: class, rank, need."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.fruit import read_fruit
from sitekit.planting.assign import (
    FILLED,
    Choice,
    assign_fruit,
    better_spot,
    crop_at,
    like_groups,
    list_choices,
    tabulate_need,
)
from sitekit.planting.need import Wanted, count_trees, mean_crop, picked
from sitekit.planting.terms import Need

FRUITS = {name: read_fruit(name) for name in ("apple", "pear", "plum", "blackcurrant")}
NEED = Need()
NAN = float("nan")


def table(*rows):
    columns = ("block", "fruit", "rank", "group", "site_class", "poor_crop_years")
    return pd.DataFrame(list(rows), columns=list(columns))


def choice(block, fruit="pear", site_class="good", rank=1, years=NAN, group="autumn"):
    return Choice(block, fruit, group, site_class, rank, years)


class TestChoices:
    def test_only_blocks_better_than_test_first_are_planted(self):
        found = table(
            (1, "pear", 1, "autumn", "good", 1.0),
            (2, "pear", 2, "autumn", "with conditions", 1.0),
            (3, "pear", 3, "autumn", "hardy kinds only", 1.0),
            (4, "pear", 4, "autumn", "test first", 1.0),
            (5, "pear", 5, "autumn", "refused", 1.0),
        )
        assert [c.block for c in list_choices(found, found)] == [1, 2, 3]

    def test_class_comes_before_rank_and_poor_years_before_rank(self):
        found = table(
            (1, "pear", 1, "autumn", "with conditions", 0.0),
            (2, "pear", 2, "autumn", "good", 2.0),
            (3, "pear", 3, "autumn", "good", 1.0),
        )
        assert [c.block for c in list_choices(found, found)] == [3, 2, 1]

    def test_of_the_groups_of_a_fruit_the_best_is_taken(self):
        blocks = table((1, "pear", 1, None, "good", NAN))
        found = table(
            (1, "pear", 1, "storing", "with conditions", 1.0),
            (1, "pear", 1, "autumn", "good", 2.0),
            (1, "pear", 1, "early", "good", 1.0),
        )
        (best,) = list_choices(blocks, found)
        assert (best.group, best.bad_years) == ("early", 1.0)

    def test_of_groups_that_stand_alike_the_store_takes_the_one_that_keeps(self):
        blocks = table((1, "apple", 1, None, "good", NAN))
        found = table(
            (1, "apple", 1, "early", "good", 0.9),
            (1, "apple", 1, "autumn", "good", 1.1),
            (1, "apple", 1, "storing", "good", 1.2),
        )
        stored = like_groups(FRUITS, Need(use="stored"))
        assert list_choices(blocks, found, stored)[0].group == "storing"
        fresh = like_groups(FRUITS, Need(use="fresh"))
        assert list_choices(blocks, found, fresh)[0].group == "autumn"
        named = like_groups(FRUITS, Need(fruit={"apple": {"kg": 3, "use": "juice"}}))
        assert list_choices(blocks, found, named)[0].group == "autumn"

    def test_a_poor_year_more_outweighs_any_liking(self):
        blocks = table((1, "apple", 1, None, "good", NAN))
        found = table(
            (1, "apple", 1, "early", "good", 1.0),
            (1, "apple", 1, "storing", "good", 2.0),
        )
        stored = like_groups(FRUITS, Need(use="stored"))
        assert list_choices(blocks, found, stored)[0].group == "early"

    def test_without_a_record_poor_years_are_not_known(self):
        found = table((1, "pear", 1, None, "good", NAN))
        (only,) = list_choices(found, found)
        assert np.isnan(only.bad_years)
        assert only.group == ""

    def test_no_block_gives_no_choice(self):
        found = table((1, "pear", 1, None, "refused", NAN))
        assert list_choices(found, found) == []


class TestAssignment:
    def test_a_fruit_takes_its_best_block_first(self):
        wanted = [Wanted("pear", 50, "fresh")]
        choices = [choice(2), choice(1, rank=2)]
        (given,) = assign_fruit(wanted, choices, {1: 5000, 2: 5000}, FRUITS, NEED)
        assert given.choice.block == 2
        crop = crop_at(choices[0], FRUITS["pear"], NEED).usual
        assert given.trees == count_trees(picked(50, "fresh", NEED), crop)

    def test_what_does_not_fit_goes_to_the_next_block(self):
        wanted = [Wanted("pear", 900, "fresh")]
        choices = [choice(1), choice(2, rank=2)]
        first, second = assign_fruit(wanted, choices, {1: 1000, 2: 9000}, FRUITS, NEED)
        assert first.trees == int(FILLED * 1000 / (4.5 * 5))
        kg = first.trees * first.crop.usual + second.trees * second.crop.usual
        assert kg == pytest.approx(picked(900, "fresh", NEED), rel=0.03)

    def test_the_fruit_with_fewest_good_blocks_chooses_first(self):
        wanted = [Wanted("apple", 300, "fresh"), Wanted("pear", 300, "fresh")]
        choices = [
            choice(1, "apple"), choice(2, "apple", rank=2),
            choice(1, "pear"), choice(2, "pear", "with conditions", rank=2),
        ]  # fmt: skip
        given = assign_fruit(wanted, choices, {1: 1500, 2: 9000}, FRUITS, NEED)
        assert next(a.choice.fruit for a in given if a.choice.block == 1) == "pear"

    def test_a_block_that_is_not_full_takes_a_second_fruit(self):
        wanted = [Wanted("apple", 30, "fresh"), Wanted("pear", 30, "fresh")]
        choices = [choice(1, "apple"), choice(1, "pear")]
        given = assign_fruit(wanted, choices, {1: 9000}, FRUITS, NEED)
        assert {a.choice.fruit for a in given} == {"apple", "pear"}

    def test_a_group_asked_for_is_planted(self):
        wanted = [Wanted("pear", 30, "stored", "storing")]
        (given,) = assign_fruit(wanted, [choice(1)], {1: 9000}, FRUITS, NEED)
        assert given.choice.group == "storing"

    def test_a_block_without_group_takes_the_usual_one(self):
        wanted = [Wanted("pear", 30, "fresh")]
        (given,) = assign_fruit(wanted, [choice(1, group="")], {1: 9000}, FRUITS, NEED)
        assert given.choice.group == FRUITS["pear"].varieties.usual

    def test_all_that_fits_is_planted_where_only_limits_are_given(self):
        wanted = [Wanted("apple", np.inf, "fresh")]
        (given,) = assign_fruit(wanted, [choice(1, "apple")], {1: 4000}, FRUITS, NEED)
        assert given.trees == int(FILLED * 4000 / 20)

    def test_a_scrap_for_a_tree_or_two_is_not_begun(self):
        wanted = [Wanted("pear", 300, "fresh")]
        choices = [choice(1), choice(2, rank=2)]
        given = assign_fruit(wanted, choices, {1: 60, 2: 9000}, FRUITS, NEED)
        assert [a.choice.block for a in given] == [2]

    def test_a_fruit_that_was_not_surveyed_is_left_out(self):
        wanted = [Wanted("medlar", 30, "fresh")]
        assert assign_fruit(wanted, [choice(1)], {1: 9000}, FRUITS, NEED) == []

    def test_better_ground_is_worth_more(self):
        wanted = [Wanted("pear", 900, "fresh")]
        choices = [choice(1), choice(2, site_class="hardy kinds only", rank=2)]
        first, second = assign_fruit(wanted, choices, {1: 1000, 2: 9000}, FRUITS, NEED)
        assert first.worth > second.worth > 0.5

    @given(
        areas=st.lists(st.floats(0, 6000), min_size=1, max_size=4),
        kg=st.floats(1, 3000),
        years=st.floats(0, 9),
    )
    def test_no_block_holds_more_than_it_has_room_for(self, areas, kg, years):
        names = ("apple", "pear")
        choices = [
            choice(n, name, rank=n, years=years)
            for name in names
            for n in range(1, len(areas) + 1)
        ]
        room = dict(enumerate(areas, start=1))
        wanted = [Wanted(name, kg, "fresh") for name in names]
        taken = dict.fromkeys(room, 0.0)
        for one in assign_fruit(wanted, choices, room, FRUITS, NEED):
            fruit = FRUITS[one.choice.fruit]
            taken[one.choice.block] += one.trees * fruit.spacing * fruit.row_spacing
        assert all(taken[n] <= FILLED * room[n] + 1e-6 for n in room)


class TestNeedTable:
    def need_of(self, wanted, choices, room, need=NEED):
        given = assign_fruit(wanted, choices, room, FRUITS, need)
        return tabulate_need(wanted, given, choices, FRUITS, need).iloc[0]

    # Source: 12 people × 60 kg: 63 trees at 3 bad years in ten, 48 without frost.
    def test_the_worked_need_of_twelve_people(self):
        need = Need(kg_a_tree={"apple": 25.0}, on_off=0.0)
        row = self.need_of(
            [Wanted("apple", 720, "stored")],
            [choice(1, "apple", years=3.0)],
            {1: 20_000},
            need,
        )
        assert (row["trees_good"], row["trees_usual"]) == (48, 63)
        assert row["planned"] == 63
        assert row["bad_years"] == 3.0

    def test_it_says_whether_poor_years_are_known(self):
        wanted = [Wanted("pear", 30, "fresh")]
        known = self.need_of(wanted, [choice(1, years=2.0)], {1: 9000})
        assert known["reason"] == "block 1, good; poor years as found there"
        assumed = self.need_of(wanted, [choice(1)], {1: 9000})
        assert assumed["reason"].endswith("poor years assumed: no record tells")
        assert assumed["bad_years"] == NEED.bad_years

    def test_each_block_is_told_with_its_own_class(self):
        wanted = [Wanted("pear", 3000, "fresh")]
        places = [
            choice(1, rank=1),
            choice(2, rank=2),
            choice(5, site_class="with conditions", rank=3),
        ]
        row = self.need_of(wanted, places, {1: 500, 2: 500, 5: 500})
        told = "blocks 1 and 2, good; block 5, with conditions; poor years assumed"
        assert row["reason"].startswith(told)

    def test_a_fruit_without_ground_says_why(self):
        wanted = [Wanted("pear", 30, "fresh")]
        none = self.need_of(wanted, [], {})
        assert none["reason"] == "no block is better than test first for it"
        full = self.need_of(wanted, [choice(1)], {1: 10})
        assert full["reason"] == "other fruit fill the blocks that it could have"
        assert full["planned"] == 0

    def test_a_fruit_that_was_not_surveyed_says_what_mends_it(self):
        row = self.need_of([Wanted("medlar", 3, "fresh")], [], {})
        assert "[fruit] kinds" in row["reason"]

    def test_a_bad_year_takes_more_trees_than_a_usual_one(self):
        wanted = [Wanted("pear", 300, "fresh")]
        row = self.need_of(wanted, [choice(1, years=2.0)], {1: 90_000})
        assert row["trees_good"] < row["trees_usual"] < row["trees_bad"]


class TestBetterSpot:
    def test_it_compares_the_mildest_and_the_hardest_block(self):
        choices = [choice(1, years=1.0), choice(2, years=5.0), choice(3, years=3.0)]
        need = Need(kg_a_tree={"pear": 25.0})
        best, few, worst, many = better_spot(choices, FRUITS["pear"], 1200, need)
        assert (best.block, few, worst.block, many) == (1, 52, 2, 80)

    def test_it_says_nothing_where_poor_years_are_not_known_or_alike(self):
        pear = FRUITS["pear"]
        assert better_spot([choice(1)], pear, 1200, NEED) is None
        alike = [choice(1, years=1.0), choice(2, years=1.0)]
        assert better_spot(alike, pear, 1200, NEED) is None


def test_the_crop_at_a_block_counts_its_own_poor_years():
    pear = FRUITS["pear"]
    assert crop_at(choice(1, years=0.0), pear, NEED).usual == mean_crop(pear, NEED)
    assert crop_at(choice(1, years=5.0), pear, NEED).usual == pytest.approx(
        0.6 * mean_crop(pear, NEED)
    )
