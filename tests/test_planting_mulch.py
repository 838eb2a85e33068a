"""Mulch, its edge, and the ground that it can hold."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, box

from sitekit.planting.edges import compare_edges
from sitekit.planting.mulch import (
    Mulch,
    ceiling,
    choose_shape,
    edge_loss,
    held_trees,
    lost_share,
    mulch_of,
    shape_of,
)
from sitekit.planting.terms import EDGES, Limits, Prices

CHIPS = Mulch(0.4, 0.1, 36)


class TestSettling:
    # Source: fresh wood chips laid 0.4 m deep settle to 5 to 10 cm in three years
    # (common practice); exponential: half-life of 1.0 to 1.5 years.
    @pytest.mark.parametrize(("left", "half_life"), [(0.05, 1.0), (0.10, 1.5)])
    def test_half_of_the_depth_is_gone_after_a_year_or_more(self, left, half_life):
        mulch = Mulch(0.4, left, 36)
        assert mulch.half_life == pytest.approx(half_life, abs=1e-9)
        assert mulch.depth_after(mulch.half_life) == pytest.approx(0.2)
        assert mulch.depth_after(3) == pytest.approx(left)

    # Source: the same: 20 to 25 cm after one year, 10 to 16 cm after two.
    def test_depth_after_one_and_two_years(self):
        slow, fast = Mulch(0.4, 0.10, 36), Mulch(0.4, 0.05, 36)
        assert fast.depth_after(1) == pytest.approx(0.20)
        assert slow.depth_after(1) == pytest.approx(0.252, abs=0.001)
        assert fast.depth_after(2) == pytest.approx(0.10)
        assert slow.depth_after(2) == pytest.approx(0.159, abs=0.001)

    # Source: the same: depth is under 10 cm after 2.0 to 3.0 years.
    def test_it_is_laid_anew_when_10_cm_are_left(self):
        assert Mulch(0.4, 0.05, 36).relay_after(0.10) == pytest.approx(2.0)
        assert Mulch(0.4, 0.10, 36).relay_after(0.10) == pytest.approx(3.0)
        assert CHIPS.relay_after() == CHIPS.relay_after(0.10)

    def test_mulch_of_the_site_file_never_grows(self):
        mulch = mulch_of(Limits(mulch_depth_m=0.05, mulch_left_m=0.2))
        assert mulch.left < mulch.depth
        assert mulch.half_life > 0


class TestCeiling:
    # Source: 60 m³ a year hold 450 m² of 0.4 m laid every three years, edge cut.
    def test_sixty_cubic_metres_hold_450_square_metres(self):
        assert ceiling(60, CHIPS) == pytest.approx(450)

    def test_an_open_edge_lowers_it(self):
        assert ceiling(60, CHIPS, 0.1) < ceiling(60, CHIPS)

    def test_no_mulch_holds_nothing(self):
        assert ceiling(0, CHIPS) == 0


class TestGroundLost:
    # Source: geometry of 0.75 m of creep: disc of 1.5 m radius 75 %, strip 3 × 75 m
    # 51 %, block 18 × 22.5 m 14 %.
    @pytest.mark.parametrize(
        ("shape", "share"),
        [
            (Point(0, 0).buffer(1.5, quad_segs=256), 0.75),
            (box(0, 0, 3, 75), 0.51),
            (box(0, 0, 18, 22.5), 0.14),
        ],
    )
    def test_discs_lose_most_and_blocks_least(self, shape, share):
        assert lost_share(shape, 0.75) == pytest.approx(share, abs=0.005)

    def test_ground_narrower_than_the_creep_is_lost_whole(self):
        assert lost_share(box(0, 0, 1.2, 50), 0.75) == 1

    @given(creep=st.floats(0, 2), wide=st.floats(1, 40), long=st.floats(1, 40))
    def test_the_share_lies_between_nothing_and_all(self, creep, wide, long):
        share = lost_share(box(0, 0, wide, long), creep)
        exact = max(wide - 2 * creep, 0) * max(long - 2 * creep, 0) / (wide * long)
        assert share == pytest.approx(1 - exact, abs=1e-9)


class TestShapes:
    limits = Limits(mulch_depth_m=0.4, mulch_left_m=0.1, mulch_months=36)

    def test_twenty_trees_at_4_5_m_stand_in_a_block_of_18_by_22_5_m(self):
        shape = shape_of("block", 4.5, 4.5, self.limits, 20)
        assert shape.area * 20 == pytest.approx(18 * 22.5)
        assert shape.edge * 20 == pytest.approx(2 * (18 + 22.5))

    def test_a_strip_has_two_edges_and_a_disc_its_round(self):
        strip = shape_of("strip", 4.0, 5.0, self.limits)
        assert (strip.area, strip.edge) == (6.0, 8.0)
        disc = shape_of("disc", 4.0, 5.0, self.limits)
        assert disc.area == pytest.approx(np.pi)
        assert disc.edge == pytest.approx(2 * np.pi)

    def test_no_shape_is_larger_than_the_ground_of_a_tree(self):
        limits = Limits(strip_width_m=9.0, disc_radius_m=9.0)
        whole = 1.5 * 3.0
        for name in ("block", "strip", "disc"):
            assert shape_of(name, 1.5, 3.0, limits).area <= whole + 1e-9

    def test_an_edge_that_is_held_loses_nothing(self):
        strip = shape_of("strip", 4.0, 5.0, self.limits)
        held = Limits(edge="spade-cut strip")
        assert edge_loss(strip, CHIPS, held, Prices()) == 0
        # Source: 0.2 to 0.4 m³ a metre and year for creep of 0.5 to 1 m at 0.4 m.
        for creep, saved in ((0.5, 0.2), (0.25, 0.1)):
            open_ = Limits(edge="none", grass_creep_m=creep)
            lost = edge_loss(strip, CHIPS, open_, Prices())
            assert lost / strip.edge == pytest.approx(min(saved, 0.4 * 6 / 8))

    def test_grass_takes_no_more_than_there_is(self):
        disc = shape_of("disc", 4.0, 5.0, Limits(disc_radius_m=0.5))
        lost = edge_loss(disc, CHIPS, Limits(edge="none", grass_creep_m=5), Prices())
        assert lost == pytest.approx(0.4 * disc.area)

    def test_held_trees_fill_the_ceiling(self):
        strip = shape_of("strip", 4.0, 5.0, self.limits)
        held = held_trees(strip, 60, CHIPS, self.limits, Prices())
        assert held * strip.area == pytest.approx(450)


class TestChoice:
    def test_a_block_where_the_mulch_holds_all_trees(self):
        limits = Limits(mulch_m3=(600.0,))
        assert choose_shape(20, 4, 5, limits, Prices()).name == "block"

    def test_strips_where_it_does_not(self):
        limits = Limits(mulch_m3=(600.0, 18.0))
        assert choose_shape(20, 4, 5, limits, Prices()).name == "strip"

    def test_a_block_where_no_limit_is_given(self):
        assert choose_shape(200, 4, 5, Limits(), Prices()).name == "block"

    @pytest.mark.parametrize("name", ["block", "strip", "disc"])
    def test_the_grower_has_the_last_word(self, name):
        limits = Limits(mulch_m3=(18.0,), mulch_shape=name)
        assert choose_shape(20, 4, 5, limits, Prices()).name == name


class TestEdges:
    limits = Limits(mulch_depth_m=0.4, grass_creep_m=0.75)
    prices = Prices(mulch_m3=20.0, day=100.0, days_mulch_m3=0.15)

    def table(self, **changes):
        return compare_edges(100.0, self.limits, Prices(**changes)).set_index("edge")

    def test_every_edge_stands_in_the_table_but_none(self):
        table = compare_edges(100.0, self.limits, self.prices)
        assert table["edge"].tolist() == list(EDGES[1:])

    def test_a_whole_edge_saves_depth_times_creep(self):
        # Source: edge × creep × depth: 100 m × 0.75 m × 0.4 m, by hand.
        saved = self.table()["mulch_saved_m3"]
        assert saved["spade-cut strip"] == pytest.approx(30.0)
        assert saved["mown strip"] == pytest.approx(9.0)

    def test_an_edge_that_costs_nothing_pays_back_at_once(self):
        table = compare_edges(100.0, self.limits, self.prices).set_index("edge")
        assert table["pays_back_years"]["spade-cut strip"] == 0

    def test_steel_pays_back_by_what_it_saves(self):
        # Source: by hand: saved 27 m³ worth 20 + 0.15 × 100 each, less 0.003 × 100
        # days at 100; cost 1200.
        table = compare_edges(100.0, self.limits, self.prices).set_index("edge")
        yearly = 27 * 35 - 0.3 * 100
        assert table["pays_back_years"]["steel"] == pytest.approx(1200 / yearly)

    def test_an_edge_that_wears_out_first_never_pays_back(self):
        table = self.table(
            bought_mulch_m3=1.0, edge_price={**Prices().edge_price, "steel": 90}
        )
        assert table["pays_back_years"]["steel"] == np.inf

    def test_without_a_price_of_mulch_or_day_it_is_not_known(self):
        assert self.table(bought_mulch_m3=0)["pays_back_years"].isna().all()

    def test_mulch_of_ones_own_counts_as_if_it_were_bought(self):
        # Source: by hand: spade-cut is free; a board saves 21 m³ at 15 for 400.
        table = self.table(bought_mulch_m3=15.0)["pays_back_years"]
        assert table["untreated board"] == pytest.approx(400 / (21 * 15))

    def test_every_edge_says_what_it_rests_on(self):
        assert self.table()["source"].str.contains("no source").all()

    def test_no_edge_costs_nothing(self):
        table = compare_edges(0.0, self.limits, self.prices)
        assert (table["cost"] == 0).all()
        assert (table["mulch_saved_m3"] == 0).all()


def test_lost_share_of_a_shape_with_a_hole_counts_both_edges():
    ring = box(0, 0, 20, 20).difference(box(8, 8, 12, 12))
    assert lost_share(ring, 0.5) == pytest.approx(
        1 - (19 * 19 - 5 * 5) / shapely.area(ring), abs=1e-6
    )
