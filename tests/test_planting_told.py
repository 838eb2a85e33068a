"""Prices of blocks, ceilings, words: what the sentences of a plan rest on."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.planting import told
from sitekit.planting.grounds import cut_off
from sitekit.planting.holes import Ground
from sitekit.planting.materials import Kind
from sitekit.planting.mulch import Shape
from sitekit.planting.ordering import compact_order
from sitekit.planting.phasing import Phased, find_ceiling, price_blocks
from sitekit.planting.rows import lay_rows
from sitekit.planting.terms import Limits, Prices
from sitekit.planting.years import Phases
from sitekit.words import CONDITIONS, GOOD, REFUSED, TEST_FIRST

STRIP = Kind(bush=False, fenced=False, shape=Shape("strip", 6.0, 8.0))
CHIPS = Limits(mulch_depth_m=0.4, mulch_left_m=0.1, mulch_months=36)


def phased(*kinds):
    nothing = np.zeros((len(kinds), 1))
    phases = Phases(nothing.astype(int), nothing > 0, np.zeros((4, 2)), ("",))
    return Phased((), kinds, (), phases, {}, 0.0)


class TestPricedBlocks:
    table = price_blocks(STRIP, 20, CHIPS, Prices()).set_index("what")

    def test_a_hundred_square_metres_are_a_hundred(self):
        row = self.table.loc["100 m²"]
        assert row["area_m2"] == pytest.approx(100)
        # Source: by hand: 100 m² × 0.4 m at first, a third of it in each later year.
        assert row["mulch_m3"] == pytest.approx(40)
        assert row["mulch_keep_m3"] == pytest.approx(40 / 3)

    def test_two_and_four_blocks_are_as_many_times_one(self):
        one = self.table.loc["one block"]
        for what, times in (("two blocks", 2), ("four blocks", 4)):
            assert np.allclose(self.table.loc[what], times * one)

    def test_a_block_of_twenty_trees_costs_twenty_trees(self):
        assert self.table.loc["one block", "money"] == pytest.approx(20 * 52)


class TestCeiling:
    def test_without_a_limit_of_mulch_there_is_none(self):
        assert np.isnan(find_ceiling(phased(STRIP), np.inf, CHIPS, Prices()))

    def test_a_cut_edge_has_the_whole_ceiling(self):
        assert find_ceiling(phased(STRIP), 60, CHIPS, Prices()) == pytest.approx(450)
        assert find_ceiling(phased(), 60, CHIPS, Prices()) == pytest.approx(450)

    def test_an_open_edge_lowers_it_by_what_grass_takes(self):
        limits = Limits(
            mulch_depth_m=0.4, mulch_left_m=0.1, edge="none", grass_creep_m=0.375
        )
        # Source: by hand: half of a strip of 6 m² with 8 m of edge is lost a year.
        found = find_ceiling(phased(STRIP), 60, limits, Prices())
        assert found == pytest.approx(60 / (0.4 / 3 + 0.4 * 0.5))


class TestWritten:
    @pytest.mark.parametrize(
        ("count", "said"),
        [(1, "1 tree"), (2, "2 trees"), (0, "0 trees"), (np.inf, "no number of trees")],
    )
    def test_trees_are_counted_in_words(self, count, said):
        assert told.written_trees(count) == said

    @pytest.mark.parametrize(
        ("binding", "mend"),
        [
            ("money of that year", "money"),
            ("mulch of that year", "discs"),
            ("mulch of later years, which must keep it", "discs"),
            ("working days of that year", "helping hand"),
            ("young trees of that year", "nursery"),
            ("mulch: the ground under mulch already takes more", "shallower"),
        ],
    )
    def test_each_limit_says_what_would_change_it(self, binding, mend):
        said = told._kindly(binding)
        assert said.startswith(binding)
        assert mend in said
        assert said.endswith("would change it")

    def test_the_rule_is_told_without_terms_of_the_method(self):
        for word in ("integer", "optim", "solver", "constraint", "MILP"):
            assert word not in told.RULE


class TestHoleSentence:
    def ground(self, now, good, slow, bad):
        return Ground(4, "sour_cherry", now, good, slow, bad, np.empty((2, 0), int))

    def test_it_names_block_fruit_and_every_reading(self):
        ground = self.ground(TEST_FIRST, GOOD, CONDITIONS, REFUSED)
        assert ground.sentence == (
            "Block 4, sour cherry, now test first: good if it drains well, with "
            "conditions if slowly, refused if it holds water."
        )

    def test_it_decides_more_the_further_the_readings_lie_apart(self):
        wide = self.ground(TEST_FIRST, GOOD, CONDITIONS, REFUSED)
        narrow = self.ground(TEST_FIRST, CONDITIONS, CONDITIONS, REFUSED)
        assert wide.decides > narrow.decides


class TestOrder:
    @settings(max_examples=25, deadline=None)
    @given(
        wide=st.floats(8, 80),
        long=st.floats(8, 80),
        bearing=st.floats(0, 180),
        together=st.integers(1, 6),
        corner=st.tuples(st.floats(0, 80), st.floats(0, 80)),
    )
    def test_every_plant_has_its_place_once(
        self, wide, long, bearing, together, corner
    ):
        layout = lay_rows(
            shapely.box(0, 0, wide, long), spacing=4, row_spacing=5, bearing=bearing
        )
        order = compact_order(layout, np.array(corner), together)
        assert sorted(order) == list(range(len(layout.positions)))

    def test_no_plant_has_no_order(self):
        layout = lay_rows(shapely.Polygon(), spacing=4, row_spacing=5)
        assert compact_order(layout, None, 4).size == 0

    @settings(max_examples=25, deadline=None)
    @given(count=st.integers(8, 20), together=st.integers(2, 5))
    def test_a_compact_piece_has_less_edge_than_a_single_row(self, count, together):
        layout = lay_rows(shapely.box(0, 0, 400, 100), spacing=5, row_spacing=5)
        order = compact_order(layout, None, together)

        def edge(positions):
            return shapely.union_all(
                [shapely.box(x - 2.5, y - 2.5, x + 2.5, y + 2.5) for x, y in positions]
            ).length

        piece = layout.positions[order < count]
        row = layout.positions[np.lexsort((layout.number, layout.row))][:count]
        assert edge(piece) <= edge(row) + 1e-6

    def test_ground_that_is_empty_is_cut_into_nothing(self):
        assert cut_off(shapely.Polygon(), 5.0, 0.0).is_empty

    @settings(max_examples=25, deadline=None)
    @given(bearing=st.floats(0, 180), share=st.floats(0.05, 0.95))
    def test_two_parts_of_ground_make_the_whole(self, bearing, share):
        whole = shapely.Polygon([(0, 0), (90, 10), (120, 80), (20, 60)])
        part = cut_off(whole, share * whole.area, bearing)
        rest = shapely.difference(whole, part, grid_size=1e-6)
        assert part.area == pytest.approx(share * whole.area, rel=1e-3)
        assert part.area + rest.area == pytest.approx(whole.area, rel=1e-6)
        both = shapely.intersection(part, rest, grid_size=1e-6)
        assert both.area == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize(
    ("count", "written"),
    [
        (0.0, "under 1 poor year"),
        (0.49, "under 1 poor year"),
        (1.0, "1 poor year"),
        (1.6, "2 poor years"),
    ],
)
def test_no_count_of_poor_years_promises_none(count, written):
    assert told._years(count) == written
