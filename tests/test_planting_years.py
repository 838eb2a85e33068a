"""How far each year: against brute force, and what every plan must keep."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.planting.years import (
    BALANCE,
    HASTE,
    OPENING,
    RESOURCES,
    Lot,
    plan_years,
)

INF = np.inf


def lot(fruit="pear", trees=3, *, block=1, worth=1.0, first=(50, 2, 1, 1), **more):
    keep = more.get("keep", (0, 1, 0.5, 0))
    return Lot(block, fruit, trees, worth, first, keep, more.get("opening", (0,) * 4))


def limits(years, **given):
    table = np.full((len(RESOURCES), years), INF)
    for name, values in given.items():
        table[RESOURCES.index(name.replace("_", " "))] = values
    return table


def use_of(lots, trees, opened):
    """What a plan takes of each resource in each year, the years after included."""
    years = trees.shape[1]
    used = np.zeros((len(RESOURCES), years + 1))
    for one, row, begun in zip(lots, trees, opened, strict=True):
        for kind in range(len(RESOURCES)):
            for year in range(years):
                used[kind, year] += one.first[kind] * row[year]
                used[kind, year] += one.opening[kind] * begun[year]
                used[kind, year + 1 :] += one.keep[kind] * row[year]
    return used


def worth_of(lots, trees):
    """The worth that the module states in words, reckoned one tree at a time."""
    years = trees.shape[1]
    total = 0.0
    shares = {}
    for one, row in zip(lots, trees, strict=True):
        for year in range(years):
            total += one.worth * row[year] * (1 + HASTE * (1 - year / years))
        total -= OPENING * bool(row.any())
        have, want = shares.get(one.fruit, (0, 0))
        shares[one.fruit] = (have + row.sum(), want + one.trees)
    behind = min(have / want for have, want in shares.values())
    return total + BALANCE * sum(one.trees for one in lots) * behind


def ways_to_open(trees):
    """A fence may be built in the year of the first tree or before it."""
    firsts = [np.flatnonzero(row)[0] if row.any() else -1 for row in trees]
    for years in product(
        *(range(first + 1) if first >= 0 else [-1] for first in firsts)
    ):
        opened = np.zeros_like(trees, dtype=bool)
        for number, year in enumerate(years):
            if year >= 0:
                opened[number, year] = True
        yield opened


def brute_force(lots, table):
    """Try every number of trees in every year."""
    years = table.shape[1]
    left = np.column_stack([table, table[:, -1]])
    best = -INF
    for numbers in product(
        *(range(one.trees + 1) for one in lots for _ in range(years))
    ):
        trees = np.array(numbers).reshape(len(lots), years)
        if any(row.sum() > one.trees for one, row in zip(lots, trees, strict=True)):
            continue
        for opened in ways_to_open(trees):
            if (use_of(lots, trees, opened) <= left + 1e-9).all():
                best = max(best, worth_of(lots, trees))
    return best


class TestBruteForce:
    @pytest.mark.parametrize("mulch", [0.0, 3.0, 6.0, 9.0, 20.0])
    @pytest.mark.parametrize("money", [40.0, 160.0, 400.0])
    def test_two_fruits_in_two_years_are_planned_as_by_trying_all(self, mulch, money):
        lots = [lot(), lot("plum", 4, block=2, worth=0.9, first=(40, 1.5, 1, 1))]
        table = limits(2, mulch=mulch, money=[money, money / 2])
        found = plan_years(lots, table)
        assert worth_of(lots, found.trees) == pytest.approx(brute_force(lots, table))

    def test_a_fence_that_must_be_bought_first_is_weighed(self):
        lots = [
            lot(trees=4, opening=(120.0, 0, 0, 0)),
            lot("plum", 3, block=2, worth=0.7),
        ]
        for money in (150.0, 260.0, 420.0):
            table = limits(2, money=money)
            found = plan_years(lots, table)
            assert worth_of(lots, found.trees) == pytest.approx(
                brute_force(lots, table)
            )

    @settings(max_examples=12, deadline=None)
    @given(
        mulch=st.lists(st.integers(0, 12), min_size=2, max_size=2),
        days=st.integers(0, 8),
        young=st.integers(0, 5),
        first=st.integers(1, 4),
        keep=st.integers(0, 3),
    )
    def test_any_small_case_is_planned_as_by_trying_all(
        self, mulch, days, young, first, keep
    ):
        lots = [
            lot(trees=3, first=(1, first, 1, 1), keep=(0, keep, 0.5, 0)),
            lot("plum", 3, block=2, worth=0.8, first=(1, 2, 1, 1)),
        ]
        table = limits(2, mulch=mulch, working_days=days, young_trees=young)
        found = plan_years(lots, table)
        assert worth_of(lots, found.trees) == pytest.approx(brute_force(lots, table))

    def test_a_rule_that_fills_year_by_year_does_worse(self):
        # Mulch falls in the second year: what is planted in the first must be kept.
        lots = [lot(trees=8, first=(0, 2, 0, 1), keep=(0, 2, 0, 0))]
        table = limits(2, mulch=[16.0, 6.0])
        greedy = 8  # all of the first year's mulch
        assert greedy * 2 > table[1, 1]
        found = plan_years(lots, table)
        assert found.trees.sum() == 3
        assert found.binding[0] == "mulch of later years, which must keep it"


class TestEveryPlan:
    @settings(max_examples=20, deadline=None)
    @given(
        seed=st.integers(0, 10_000),
        count=st.integers(1, 4),
        years=st.integers(1, 5),
        mulch=st.floats(0, 60),
        money=st.floats(0, 3000),
    )
    def test_it_stays_within_every_limit_of_every_year(
        self, seed, count, years, mulch, money
    ):
        random = np.random.default_rng(seed)
        lots = [
            lot(
                f"fruit {number % 2}",
                int(random.integers(1, 40)),
                block=number,
                first=tuple(random.uniform(0.1, 60, 4)),
                keep=(0.0, random.uniform(0, 2), random.uniform(0, 1), 0.0),
                opening=(random.uniform(0, 200), 0.0, 0.0, 0.0),
            )
            for number in range(count)
        ]
        table = limits(years, mulch=mulch, money=money)
        found = plan_years(lots, table)
        used = use_of(lots, found.trees, found.opened)
        left = np.column_stack([table, table[:, -1]])
        assert (used <= left + 1e-4).all()
        assert np.allclose(used, found.used)
        assert (found.trees >= 0).all()
        most = [one.trees for one in lots]
        assert (found.trees.sum(axis=1) <= most).all()
        assert (found.opened.sum(axis=1) == found.trees.any(axis=1)).all()
        assert len(found.binding) == years

    def test_more_of_everything_never_plants_less(self):
        lots = [lot(trees=20), lot("plum", 20, block=2)]
        counts = [
            plan_years(lots, limits(3, mulch=mulch)).trees.sum()
            for mulch in (0, 5, 10, 20, 40, 100)
        ]
        assert counts == sorted(counts)
        assert counts[0] == 0
        assert counts[-1] == 40

    def test_the_same_plan_comes_every_time(self):
        lots = [lot(trees=20), lot("plum", 20, block=2)]
        plans = [plan_years(lots, limits(3, mulch=30)).trees for _ in range(2)]
        assert (plans[0] == plans[1]).all()


class TestOrder:
    def test_better_ground_comes_first(self):
        lots = [lot(trees=10, worth=0.7), lot(trees=10, block=2, worth=1.0)]
        found = plan_years(lots, limits(1, young_trees=10))
        assert found.trees[:, 0].tolist() == [0, 10]

    def test_earlier_comes_before_later(self):
        found = plan_years([lot(trees=5)], limits(4, money=1000))
        assert found.trees[0].tolist() == [5, 0, 0, 0]

    def test_no_fruit_waits_for_another_to_be_complete(self):
        lots = [lot(trees=20), lot("plum", 20, block=2, worth=0.9)]
        found = plan_years(lots, limits(1, young_trees=20))
        assert found.trees.sum(axis=1).tolist() == [10, 10]

    def test_few_trees_stand_together_rather_than_in_two_places(self):
        lots = [lot(trees=20), lot(trees=20, block=2, worth=0.95)]
        planted = plan_years(lots, limits(1, young_trees=20)).trees[:, 0]
        assert planted.tolist() == [20, 0]

    def test_ground_for_a_single_tree_is_planted_too(self):
        found = plan_years([lot(trees=9, worth=0.7)], limits(1, young_trees=1))
        assert found.trees.sum() == 1


class TestStops:
    @pytest.mark.parametrize(
        ("given", "said"),
        [
            ({"money": 60}, "money of that year"),
            ({"mulch": 0}, "mulch of that year"),
            ({"working_days": 0.5}, "working days of that year"),
            ({"young_trees": 0}, "young trees of that year"),
        ],
    )
    def test_the_limit_that_binds_is_named(self, given, said):
        assert plan_years([lot(trees=9)], limits(1, **given)).binding == (said,)

    def test_a_need_that_is_met_says_so(self):
        found = plan_years([lot(trees=2)], limits(2))
        assert found.binding[-1] == "nothing: what is needed stands"

    def test_without_ground_the_ground_binds(self):
        found = plan_years([], limits(2, mulch=5))
        assert found.binding == ("proven ground", "proven ground")
        assert found.trees.shape == (0, 2)

    def test_ground_that_stands_is_served_first(self):
        standing = np.array([0.0, 12.0, 0.0, 0.0])
        lots = [lot(trees=9)]
        free = plan_years(lots, limits(1, mulch=18)).trees.sum()
        less = plan_years(lots, limits(1, mulch=18), standing)
        assert less.trees.sum() == 3 < free
        assert less.used[1, 0] == pytest.approx(12 + 3 * 2)

    def test_ground_that_cannot_be_kept_stops_everything(self):
        standing = np.array([0.0, 20.0, 0.0, 0.0])
        found = plan_years([lot(trees=9)], limits(2, mulch=18), standing)
        assert found.trees.sum() == 0
        assert found.binding[0].startswith("mulch: the ground under mulch already")

    def test_without_limits_all_stand_in_the_first_year(self):
        lots = [lot(trees=9), lot("plum", 7, block=2)]
        assert plan_years(lots, limits(3)).trees[:, 0].tolist() == [9, 7]
