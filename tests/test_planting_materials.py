"""Guards, fences and quantities."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.planting.materials import (
    COLUMNS,
    Kind,
    Step,
    break_even_trees,
    days_first,
    days_keep,
    fence_pays,
    guard_height,
    guard_mesh,
    keep_mulch,
    list_quantities,
    make_lot,
    money_first,
    money_keep,
    price_fence,
    settling,
)
from sitekit.planting.mulch import Mulch, Shape
from sitekit.planting.terms import Limits, Prices

STRIP = Shape("strip", 6.0, 8.0)
TREE = Kind(bush=False, fenced=False, shape=STRIP)
LIMITS, PRICES = Limits(), Prices()


class TestGuards:
    # Source: trunk guards stand 45 to 50 cm above the usual snow against hares.
    def test_a_guard_stands_above_the_usual_snow(self):
        assert guard_height(Limits(snow_m=0.0)) == 0.5
        assert guard_height(Limits(snow_m=1.2)) == 1.7

    def test_its_mesh_goes_round_the_stem_and_into_the_ground(self):
        limits = Limits(snow_m=0.4)
        assert guard_mesh(limits) == pytest.approx((np.pi * 0.25 + 0.05) * 1.0)

    # Source: guards at 25 a tree against a fence at 12 or 8 a metre, 3 m outside a
    # square block at 5 m spacing: break-even at 114 and 55 trees.
    @pytest.mark.parametrize(("fence", "trees"), [(12.0, 114), (8.0, 55)])
    def test_a_fence_breaks_even(self, fence, trees):
        assert round(break_even_trees(25.0, fence)) == trees

    @given(guard=st.floats(1, 100), fence=st.floats(0.5, 50), spacing=st.floats(1, 10))
    def test_at_the_break_even_both_cost_the_same(self, guard, fence, spacing):
        trees = break_even_trees(guard, fence, spacing, 3.0)
        around = 4 * (spacing * np.sqrt(trees) + 6)
        assert guard * trees == pytest.approx(fence * around, rel=1e-9)

    def test_guards_that_cost_nothing_are_never_beaten(self):
        assert break_even_trees(0.0, 12.0) == np.inf


class TestFence:
    def test_it_has_one_gate_that_is_no_mesh(self):
        fence = price_fence(1, 103.0, 4, LIMITS, Prices(fence_m=10, gate=100))
        assert fence.money == pytest.approx(100 * 10 + 100)
        assert (fence.gates, fence.corners) == (1, 4)

    def test_posts_stand_between_the_corners(self):
        fence = price_fence(1, 100.0, 4, Limits(fence_post_m=4.0), PRICES)
        assert fence.posts == 21

    def test_paid_days_and_corners_count(self):
        prices = Prices(fence_m=0, gate=0, fence_corner=7, day=100, days_fence_m=0.02)
        fence = price_fence(1, 50.0, 4, LIMITS, prices)
        assert fence.days == pytest.approx(1.0)
        assert fence.money == pytest.approx(4 * 7 + 100)

    def test_it_pays_where_guards_cost_more(self):
        fence = price_fence(1, 100.0, 4, LIMITS, Prices(fence_m=10, gate=0))
        assert fence_pays(fence, 60, Prices(guard=25))
        assert not fence_pays(fence, 30, Prices(guard=25))


class TestOneTree:
    def test_a_tree_costs_itself_its_stake_and_its_guard(self):
        assert money_first(TREE, LIMITS, PRICES) == pytest.approx(22 + 5 + 25)

    def test_a_bush_has_neither_stake_nor_guard(self):
        bush = Kind(bush=True, fenced=False, shape=STRIP)
        assert money_first(bush, LIMITS, PRICES) == pytest.approx(6)
        assert not bush.guarded

    def test_a_fenced_tree_has_no_guard(self):
        fenced = Kind(bush=False, fenced=True, shape=STRIP)
        assert money_first(fenced, LIMITS, PRICES) == pytest.approx(22 + 5)

    def test_every_price_counts(self):
        prices = Prices(
            tree=1, stake=2, guard=4, mulch_m3=10, cardboard_m2=1, water_m3=100,
            loosening_m2=1, mound=16, day=100, days_tree=1, days_mulch_m3=0,
            edge_price={**PRICES.edge_price, "steel": 2},
            edge_days={**PRICES.edge_days, "steel": 0},
        )  # fmt: skip
        limits = Limits(mulch_depth_m=0.5, edge="steel", water_l=10, waterings=10)
        kind = Kind(bush=False, fenced=False, shape=STRIP, loosened=True, mound=True)
        # By hand: tree, stake, guard 7; mulch 3 m³ 30; cardboard 6; edge 16; water
        # 0.1 m³ 10; loosening 4 m² 4; mound 16; a day 100.
        assert money_first(kind, limits, prices) == pytest.approx(189)

    def test_a_block_needs_no_cardboard(self):
        assert (
            Kind(bush=False, fenced=False, shape=Shape("block", 20, 4)).cardboard == 0
        )
        assert TREE.cardboard == 6.0

    def test_keeping_takes_a_third_of_the_first_lay_in_three_years(self):
        limits = Limits(mulch_depth_m=0.4, mulch_months=36)
        assert keep_mulch(STRIP, limits, PRICES) == pytest.approx(0.4 * 6 / 3)

    def test_an_open_edge_takes_more(self):
        limits = Limits(edge="none", grass_creep_m=0.5)
        more = keep_mulch(STRIP, limits, PRICES) - keep_mulch(STRIP, LIMITS, PRICES)
        assert more == pytest.approx(0.4 * 0.5 * 8)

    def test_work_is_planting_spreading_and_edging(self):
        prices = Prices(days_tree=0.1, days_mulch_m3=0.5, days_care=0.2)
        limits = Limits(mulch_depth_m=0.4, edge="spade-cut strip")
        assert days_first(TREE, limits, prices) == pytest.approx(0.1 + 1.2 + 0.064)
        assert days_keep(TREE, limits, prices) == pytest.approx(0.2 + 0.4 + 0.064)

    def test_an_edge_that_lasts_costs_its_share_of_a_year(self):
        limits = Limits(edge="steel")
        assert money_keep(TREE, limits, PRICES) == pytest.approx(8 * 12 / 25)
        assert money_keep(TREE, Limits(edge="none"), PRICES) == 0

    def test_a_lot_holds_the_same_figures(self):
        fence = price_fence(3, 100.0, 4, LIMITS, PRICES)
        lot = make_lot(3, "pear", 12, 0.9, TREE, LIMITS, PRICES, fence=fence)
        assert (lot.block, lot.fruit, lot.trees, lot.worth) == (3, "pear", 12, 0.9)
        assert lot.first == (
            money_first(TREE, LIMITS, PRICES),
            pytest.approx(2.4),
            days_first(TREE, LIMITS, PRICES),
            1.0,
        )
        assert lot.keep[1] == keep_mulch(STRIP, LIMITS, PRICES)
        assert lot.opening == (fence.money, 0.0, fence.days, 0.0)


class TestQuantities:
    fence = price_fence(1, 83.0, 4, LIMITS, PRICES)
    bush = Kind(bush=True, fenced=False, shape=Shape("strip", 2.0, 3.0))
    slow = Kind(bush=False, fenced=True, shape=STRIP, loosened=True)
    wet = Kind(bush=False, fenced=False, shape=STRIP, mound=True)
    steps = (
        Step(1, "pear", TREE, planted=10, older=0, young=0),
        Step(2, "pear", TREE, planted=0, older=10, young=10),
        Step(2, "blackcurrant", bush, planted=20, older=0, young=0),
        Step(3, "plum", slow, planted=30, older=0, young=0, fence=fence),
        Step(4, "apple", wet, planted=5, older=0, young=0),
    )

    def table(self, **limits):
        return list_quantities(self.steps, Limits(**limits), PRICES)

    def item(self, year, begins, **limits):
        table = self.table(**limits)
        found = table[(table["year"] == year) & table["item"].str.startswith(begins)]
        return found.iloc[0] if len(found) else None

    def test_columns_are_those_of_the_plan(self):
        assert tuple(self.table().columns) == COLUMNS

    def test_trees_guards_and_stakes_are_counted_once(self):
        assert self.item(1, "young pear")["quantity"] == 10
        assert self.item(1, "guard")["quantity"] == 10
        assert self.item(1, "stake")["quantity"] == 10
        assert self.item(2, "young pear") is None

    def test_a_guard_names_its_height(self):
        assert "1.1" in self.item(1, "guard", snow_m=0.6)["item"]

    def test_mesh_has_waste(self):
        got = self.item(1, "mesh", waste=0.1)["quantity"]
        assert got == pytest.approx(10 * guard_mesh(LIMITS) * 1.1)

    def test_bushes_have_their_own_price_and_no_guard(self):
        row = self.item(2, "young blackcurrant")
        assert (row["quantity"], row["price"], row["cost"]) == (20, 6.0, 120.0)
        assert self.item(2, "guard") is None
        assert self.item(2, "stake") is None

    def test_older_ground_is_kept_before_new_is_laid(self):
        assert self.item(2, "mulch to keep")["quantity"] == pytest.approx(8.0)
        assert self.item(2, "mulch, first")["quantity"] == pytest.approx(16.0)

    def test_loads_are_whole(self):
        assert self.item(1, "loads", load_m3=10)["quantity"] == 3
        assert self.item(1, "loads", load_m3=24)["quantity"] == 1

    def test_a_fence_is_listed_in_its_parts(self):
        assert self.item(3, "fence line")["quantity"] == pytest.approx(80.0)
        assert self.item(3, "fence corner")["quantity"] == 4
        assert self.item(3, "fence post")["quantity"] == self.fence.posts
        assert self.item(3, "gate")["quantity"] == 1
        assert self.item(3, "guard") is None

    def test_ground_that_tests_slow_is_loosened(self):
        assert self.item(3, "loosening")["quantity"] == 120.0
        assert self.item(1, "loosening") is None

    def test_mounds_stand_where_water_was_seen(self):
        assert self.item(4, "mound")["quantity"] == 5
        assert self.item(4, "soil for mounds")["quantity"] == 5.0

    def test_young_trees_are_watered_for_three_summers(self):
        assert self.item(1, "water")["quantity"] == pytest.approx(10 * 0.16)
        assert self.item(2, "water")["quantity"] == pytest.approx(30 * 0.16)

    def test_an_edge_that_is_not_held_is_not_listed(self):
        assert self.item(1, "edge", edge="none") is None
        assert self.item(1, "edge")["quantity"] == pytest.approx(80.0)

    def test_costs_are_quantity_times_price(self):
        table = self.table()
        assert np.allclose(table["cost"], table["quantity"] * table["price"])
        assert (table["quantity"] > 0).all()

    def test_every_row_says_where_its_numbers_come_from(self):
        assert self.table()["source"].str.len().gt(0).all()

    def test_nothing_planned_lists_nothing(self):
        assert list_quantities((), LIMITS, PRICES).empty

    def test_settling_tells_depth_and_when_it_is_laid_anew(self):
        said = settling(Mulch(0.4, 0.1, 36))
        assert "1.5 years" in said
        assert "25" in said
        assert "16" in said
        assert "3.0 years" in said
