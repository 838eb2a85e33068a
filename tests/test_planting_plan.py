"""The planting plan of a small made site, and what bad input does to it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS
from scipy.spatial import cKDTree

from sitekit import words
from sitekit.climate.fruiting import Shifts
from sitekit.climate.seasons import make_seasons
from sitekit.climate.springs import read_springs, sum_of
from sitekit.climate.years import RecordYears
from sitekit.errors import InputError
from sitekit.fruit import read_fruit
from sitekit.fruit.bloom import Tuning
from sitekit.fruit.pollination import open_days
from sitekit.grid import Grid
from sitekit.io.schemas import SCHEMAS, empty_frame
from sitekit.planting.flowering import flowering_days
from sitekit.planting.grounds import cut_off
from sitekit.planting.lacking import tell_partners
from sitekit.planting.ordering import compact_order
from sitekit.planting.phasing import limits_by_year
from sitekit.planting.plan import plan_planting, with_plan
from sitekit.planting.rows import lay_rows
from sitekit.planting.terms import Limits
from sitekit.site import VECTORS, ElevationModel, Record, Site
from sitekit.siting.places import Places
from sitekit.suitability.ground import Soil, judge, make_ground
from sitekit.suitability.score import FruitScore

UTM = CRS.from_epsg(32633)
ROWS, COLUMNS, CELL = 60, 100, 4.0
WEST, NORTH = 500_000.0, 5_130_000.0
SOUTH, EAST = NORTH - ROWS * CELL, WEST + COLUMNS * CELL
#: Two blocks beside each other: 160 × 160 m in the west, 120 × 160 m in the east.
BLOCKS = {
    1: shapely.box(WEST + 40, SOUTH + 40, WEST + 200, SOUTH + 200),
    2: shapely.box(WEST + 220, SOUTH + 40, WEST + 340, SOUTH + 200),
}
LIMITS = {"mulch_m3": (60.0,), "money": (4000.0,), "work_days": (40.0,)}


def make_site(need=None, limits=None, prices=None, latitude_grid=None, **vectors):
    """A field that falls 6 % to the south."""
    grid = latitude_grid or Grid(UTM, WEST, NORTH, CELL, (ROWS, COLUMNS))
    x, y = np.meshgrid(grid.eastings, grid.northings)
    heights = (700 + 0.06 * (y - SOUTH)).astype(np.float32)
    outline = shapely.box(WEST + 30, SOUTH + 30, EAST - 30, NORTH - 20)
    frames = {name: empty_frame(SCHEMAS[name], UTM) for name in VECTORS}
    for name, rows in vectors.items():
        made = GeoDataFrame(rows, crs=UTM)
        for column in frames[name].columns:
            if column not in made:
                made[column] = None
        frames[name] = made
    flat = np.zeros(grid.shape)
    return Site(
        name="made ground",
        grid=grid,
        elevation=heights,
        ground=heights,
        model=ElevationModel(("made.tif",), CELL, "ground", 0.02),
        field=GeoDataFrame({"name": [""]}, geometry=[outline], crs=UTM),
        field_mask=shapely.contains_xy(outline, x, y),
        water_mask=flat.astype(bool),
        canopy_height=flat.astype(np.float32),
        evergreen=flat.astype(bool),
        vectors=frames,
        given=frozenset(vectors),
        need=need or {},
        limits=limits or {},
        prices=prices or {},
    )


def make_places(site, classes=None, trough=None):
    """Places with one class for each block and fruit, `good` unless told.

    Where a trough runs south at some easting, the land leads cold air into it.
    """
    fruits = ("apple", "pear", "plum")
    shape = site.grid.shape
    layers = {
        **dict.fromkeys(
            ("slope", "land_slope"),
            np.full(shape, np.degrees(np.arctan(0.06)), np.float32),
        ),
        "aspect": np.full(shape, 180, np.float32),
        "path_margin": np.full(shape, 9, np.float32),
        "wetness_index": np.tile(
            np.linspace(6, 9, COLUMNS, dtype=np.float32), (ROWS, 1)
        ),
    }
    if trough is not None:
        away = np.abs(site.grid.eastings - trough) / 30
        layers["path_margin"] = np.tile(away.astype(np.float32), (ROWS, 1))
    ground = make_ground(site)
    numbers = block_numbers(site)
    verdicts = {}
    for name in fruits:
        codes = np.where(site.field_mask, words.CONDITIONS, 255).astype(np.uint8)
        for block in BLOCKS:
            wanted = (classes or {}).get((block, name), words.GOOD)
            codes[numbers == block] = wanted
        zero = np.zeros(shape, np.uint8)
        score = FruitScore(
            read_fruit(name), np.full(shape, 90, np.float32), codes, zero, zero
        )
        verdicts[name] = judge(score, ground, layers["land_slope"])
    return Places(site, layers, verdicts, ground)


def block_numbers(site):
    x, y = np.meshgrid(site.grid.eastings, site.grid.northings)
    numbers = np.zeros(site.grid.shape, np.int32)
    for number, shape in BLOCKS.items():
        numbers[shapely.contains_xy(shape, x, y)] = number
    return numbers


def make_tables(places):
    """Blocks and fruit by block, as the survey has them."""
    numbers = block_numbers(places.site)
    rows = []
    for fruit, verdict in places.verdicts.items():
        for block, shape in BLOCKS.items():
            code = int(np.bincount(verdict.site_class[numbers == block]).argmax())
            rows.append(
                {
                    "block": block, "fruit": fruit, "rank": block,
                    "group": None, "site_class": words.SITE_CLASSES[code],
                    "poor_crop_years": np.nan, "shape": shape,
                }
            )  # fmt: skip
    table = pd.DataFrame(rows)
    blocks = GeoDataFrame(
        table.drop(columns="shape"), geometry=list(table["shape"]), crs=UTM
    )
    return blocks, table.drop(columns="shape")


def no_paths():
    return GeoDataFrame({"catchment_ha": []}, geometry=[], crs=UTM)


def plan_of(site, classes=None, paths=None, trough=None):
    places = make_places(site, classes, trough)
    blocks, table = make_tables(places)
    return plan_planting(
        places,
        blocks,
        table,
        block_numbers(site),
        no_paths() if paths is None else paths,
    )


@pytest.fixture(scope="module")
def plan():
    """Pears, plums and apples with every limit given."""
    need = {"pear": 300.0, "plum": 200.0, "apple": {"kg": 400.0, "use": "juice"}}
    return plan_of(make_site(need, LIMITS))


class TestPlants:
    def test_no_two_plants_stand_closer_than_their_spacing(self, plan):
        places = shapely.get_coordinates(plan.plants.geometry.to_numpy())
        assert cKDTree(places).query(places, 2)[0][:, 1].min() >= 4.0 - 1e-6

    def test_every_plant_stands_in_its_block(self, plan):
        for block, part in plan.plants.groupby("block"):
            shape = BLOCKS[int(block.rstrip("abc"))]
            assert shapely.contains(shape, part.geometry.to_numpy()).all()

    def test_ids_are_block_row_number_and_unique(self, plan):
        assert plan.plants["id"].is_unique
        first = plan.plants.iloc[0]
        assert (
            first["id"] == f"{first['block']}-{first['row']:02d}-{first['number']:02d}"
        )

    def test_every_pear_has_a_partner_in_another_row(self, plan):
        pears = plan.plants[plan.plants["fruit"] == "pear"]
        assert len(pears) > 20
        assert not pears["lonely"].any()
        rows = plan.plants.set_index("id")["row"]
        assert (rows.loc[pears["partner"]].to_numpy() != pears["row"]).all()
        assert pears["partner_m"].max() <= 30

    def test_the_need_is_laid_out_in_trees(self, plan):
        count = plan.plants.groupby("fruit").size()
        usual = plan.need.set_index("fruit")["trees_usual"]
        for fruit in count.index:
            assert count[fruit] == pytest.approx(usual[fruit], abs=1)

    def test_trees_of_a_year_stand_together(self, plan):
        for _, part in plan.plants[plan.plants["year"] > 0].groupby(["block", "year"]):
            if len(part) < 3:
                continue
            places = shapely.get_coordinates(part.geometry.to_numpy())
            assert cKDTree(places).query(places, 2)[0][:, 1].max() <= 7.0

    def test_no_plant_stands_on_ground_that_is_test_first(self):
        site = make_site({"pear": 200.0}, LIMITS)
        places = make_places(site)
        verdict = places.verdicts["pear"]
        bad = block_numbers(site) == 1
        bad[:, 30:] = False
        verdict.site_class[bad] = words.TEST_FIRST
        blocks, table = make_tables(places)
        found = plan_planting(places, blocks, table, block_numbers(site), no_paths())
        rows, columns = site.grid.cells(
            found.plants.geometry.x, found.plants.geometry.y
        )
        assert len(found.plants)
        assert not bad[rows, columns].any()


class TestYears:
    def test_years_of_the_plants_are_those_of_the_table(self, plan):
        planted = plan.plants[plan.plants["year"] > 0]
        by_year = planted.groupby("year").size()
        for row in plan.years.itertuples():
            assert by_year.get(row.year, 0) == row.trees
        assert (plan.plants["year"] <= len(plan.years)).all()

    def test_no_year_takes_more_than_there_is(self, plan):
        assert (plan.years["mulch_m3"] <= 60.0 + 0.01).all()
        assert (plan.years["money"] <= 4000.0 + 0.01).all()
        assert (plan.years["days"] <= 40.0 + 0.01).all()

    def test_older_ground_is_kept_in_every_later_year(self, plan):
        kept = plan.years["kept_m2"].to_numpy()
        added = plan.years["area_m2"].to_numpy()
        assert np.allclose(np.diff(kept), added[:-1], atol=0.2)

    # Source: 60 m³ a year hold 450 m² at 0.4 m laid every three years, edge cut.
    def test_the_ceiling_is_that_of_the_mulch(self, plan):
        assert (plan.years["ceiling_m2"] == 450).all()
        total = plan.years["area_m2"].sum()
        assert total <= 450.0
        assert any("450" in text for text in plan.sentences)

    def test_every_year_says_what_stops_it(self, plan):
        assert plan.years["binding"].str.len().gt(0).all()
        assert "mulch" in plan.years["binding"].iloc[-1]

    def test_money_of_the_quantities_is_that_of_the_year(self, plan):
        cost = plan.quantities.groupby("year")["cost"].sum()
        money = plan.years.set_index("year")["money"]
        for year in cost.index:
            assert cost[year] == pytest.approx(money[year], abs=0.5)

    def test_planting_begins_beside_ground_that_is_mulched(self):
        old = shapely.box(WEST + 184, SOUTH + 44, WEST + 198, SOUTH + 60)
        rows = {"name": ["strip"], "geometry": [old]}
        limits = {**LIMITS, "keep_mulched_m2": 0.0}
        found = plan_of(make_site({"pear": 300.0}, limits, mulched=rows))
        first = found.plants[found.plants["year"] == 1]
        assert len(first) > 4
        assert first.distance(old).max() < 40

    def test_a_list_by_year_goes_on_with_its_last(self):
        table = limits_by_year(Limits(money=(5.0, 3.0, 1.0), mulch_m3=(9.0,)))
        assert table[0].tolist() == [5, 3, 1]
        assert table[1].tolist() == [9, 9, 9]
        assert np.isinf(table[2:]).all()

    def test_without_a_list_four_years_are_planned(self):
        assert limits_by_year(Limits(mulch_m3=(9.0,))).shape == (4, 4)
        assert limits_by_year(Limits(years=2)).shape == (4, 2)


class TestGround:
    def paths(self):
        line = shapely.LineString(
            [(WEST + 120, y) for y in np.arange(SOUTH + 2, NORTH - 2, 4.0)]
        )
        return GeoDataFrame({"catchment_ha": [2.0]}, geometry=[line], crs=UTM)

    def test_cold_air_lanes_stay_open_where_a_trough_leads_the_air(self):
        site = make_site({"pear": 900.0}, LIMITS)
        found = plan_of(site, paths=self.paths(), trough=WEST + 120)
        lanes = found.lanes[found.lanes["kind"] == "cold-air lane"]
        assert len(lanes)
        assert found.plants.distance(lanes.union_all()).min() > 0

    def test_an_even_slope_keeps_no_lane(self):
        site = make_site({"pear": 900.0}, LIMITS)
        found = plan_of(site, paths=self.paths())
        assert "cold-air lane" not in set(found.lanes["kind"])

    def test_headlands_stay_open(self, plan):
        assert "headland" in set(plan.lanes["kind"])

    def test_no_go_ground_and_standing_trees_are_kept_clear(self):
        spring = shapely.Point(WEST + 120, SOUTH + 120).buffer(12)
        tree = shapely.Point(WEST + 80, SOUTH + 80)
        site = make_site(
            {"pear": 900.0},
            LIMITS,
            no_go={"name": ["spring"], "geometry": [spring]},
            existing_trees={"fruit": ["pear"], "geometry": [tree]},
        )
        found = plan_of(site)
        assert found.plants.distance(spring).min() > 0
        assert found.plants.distance(tree).min() >= 4.5 - 1e-6

    def test_a_strip_cut_off_has_the_area_asked_for(self):
        whole = shapely.box(0, 0, 100, 60)
        for bearing in (0.0, 35.0, 120.0):
            part = cut_off(whole, 1500.0, bearing)
            assert part.area == pytest.approx(1500.0, abs=1.0)
            assert part.difference(whole).area == pytest.approx(0, abs=1e-6)

    def test_rows_are_filled_a_few_side_by_side(self):
        layout = lay_rows(shapely.box(0, 0, 60, 60), spacing=5, row_spacing=5)
        order = compact_order(layout, None, 4)
        assert sorted(order) == list(range(len(order)))
        first = layout.positions[order < 20]
        assert np.ptp(first[:, 0]) == pytest.approx(15)
        assert np.ptp(first[:, 1]) == pytest.approx(20)

    def test_the_next_rows_are_filled_on_the_way_back(self):
        layout = lay_rows(shapely.box(0, 0, 60, 60), spacing=5, row_spacing=5)
        order = compact_order(layout, np.array([60.0, 60.0]), 3)
        sequence = layout.positions[np.argsort(order)]
        steps = np.hypot(*np.diff(sequence, axis=0).T)
        assert steps.max() <= 5 * np.sqrt(10) + 1e-6
        assert np.hypot(*(sequence[0] - 57.5)) < 5


class TestHoles:
    def test_ground_that_carries_most_trees_is_dug_first(self, plan):
        planted = plan.plants[plan.plants["year"] > 0]
        block = planted["block"].str.rstrip("abc").mode()[0]
        assert plan.test_holes["block"].iloc[0] == int(block)
        assert plan.test_holes["order"].tolist() == list(
            range(1, len(plan.test_holes) + 1)
        )

    def test_each_says_what_it_decides(self, plan):
        said = plan.test_holes["decides"].iloc[0]
        assert "now with conditions: good if it drains well" in said
        assert "with conditions if slowly, refused if it holds water" in said
        assert "trees are planned there" in said

    def test_the_first_hole_stands_where_water_gathers_most(self, plan):
        first = plan.test_holes.iloc[0]
        shape = BLOCKS[first["block"]]
        assert shape.bounds[2] - first.geometry.x < 4

    def test_holes_stand_apart(self, plan):
        places = shapely.get_coordinates(plan.test_holes.geometry.to_numpy())
        assert cKDTree(places).query(places, 2)[0][:, 1].min() >= 25

    def test_ground_that_was_tested_is_not_dug_again(self):
        # A test speaks for 25 m around it.
        x, y = np.meshgrid(np.arange(40, 201, 20), np.arange(40, 201, 20))
        tests = shapely.points(WEST + x.ravel(), SOUTH + y.ravel())
        rows = {"name": "t", "result": "good", "geometry": tests}
        found = plan_of(make_site({"pear": 100.0}, LIMITS, ground_tests=rows))
        assert set(found.test_holes["block"]) == {2}

    @pytest.mark.parametrize(
        ("result", "site_class"),
        [("good", "good"), ("slow", "with conditions"), ("holds water", "refused")],
    )
    def test_a_reading_changes_the_class_as_the_hole_said(self, result, site_class):
        rows = {
            "name": ["t"], "result": [result],
            "geometry": [shapely.Point(WEST + 120, SOUTH + 120)],
        }  # fmt: skip
        site = make_site({"pear": 100.0}, LIMITS, ground_tests=rows)
        places = make_places(site)
        row, column = site.grid.cells(WEST + 120, SOUTH + 120)
        code = places.verdicts["pear"].site_class[row, column]
        assert words.SITE_CLASSES[code] == site_class

    def test_slow_ground_is_loosened(self):
        x, y = np.meshgrid(np.arange(50, 340, 20), np.arange(50, 200, 20))
        tests = shapely.points(WEST + x.ravel(), SOUTH + y.ravel())
        rows = {"name": "t", "result": "slow", "geometry": tests}
        site = make_site({"pear": 100.0}, LIMITS, ground_tests=rows)
        assert (make_places(site).ground.soil[site.field_mask] == Soil.SLOW).any()
        found = plan_of(site)
        assert found.quantities["item"].str.startswith("loosening").any()


class TestNothing:
    def test_nothing_asked_for_gives_no_plan(self):
        assert plan_of(make_site()) is None

    def test_ground_that_is_all_refused_or_untested_gives_no_plan(self):
        classes = {
            (block, fruit): code
            for block, code in ((1, words.REFUSED), (2, words.TEST_FIRST))
            for fruit in ("apple", "pear", "plum")
        }
        assert plan_of(make_site({"pear": 100.0}), classes) is None

    @pytest.mark.parametrize(
        ("need", "limits", "said"),
        [
            ({"pear": 0.0}, LIMITS, "the need is 0"),
            (
                {"pear": 300.0},
                {"mulch_m3": (0.0,)},
                "mulch of that year does not reach",
            ),
            ({"pear": 300.0}, {"money": (0.0,)}, "money of that year does not reach"),
            ({"pear": 300.0}, {"work_days": (0.0,)}, "working days of that year"),
            ({"pear": 300.0}, {"trees": (0.0,)}, "young trees of that year"),
            ({"medlar": 3.0}, {}, "[fruit] kinds"),
        ],
    )
    def test_where_nothing_can_be_done_it_says_so_kindly(self, need, limits, said):
        found = plan_of(make_site(need, limits))
        first = found.sentences[0]
        assert first.startswith("Do nothing this year: ")
        assert said in first
        assert (found.plants["year"] == 0).all()
        changes = ("would change it", "the plan begins", "name it in [fruit] kinds")
        assert any(text in first for text in changes)

    def test_ground_under_mulch_that_cannot_be_kept_stops_the_year(self):
        old = shapely.box(WEST + 60, SOUTH + 60, WEST + 100, SOUTH + 90)
        rows = {"name": ["old"], "geometry": [old]}
        found = plan_of(make_site({"pear": 300.0}, {"mulch_m3": (10.0,)}, mulched=rows))
        assert "already takes more" in found.sentences[0]

    def test_marks_two_metres_apart_are_refused_in_one_sentence(self):
        marks = [shapely.Point(WEST + 10, SOUTH), shapely.Point(WEST + 12, SOUTH)]
        rows = {"name": ["A", "B"], "geometry": marks}
        with pytest.raises(InputError, match=r"2\.0 m apart"):
            plan_of(make_site({"pear": 100.0}, control_marks=rows))


class TestOnlySome:
    def test_without_limits_all_stands_in_the_first_year_and_is_priced(self):
        found = plan_of(make_site({"pear": 100.0}))
        assert (found.plants["year"] == 1).all()
        (said,) = [text for text in found.sentences if "No limit is given" in text]
        for part in ("100 m² (", "one block (", "two blocks (", "four blocks ("):
            assert part in said

    def test_without_a_need_the_best_block_is_filled_with_its_best_fruit(self):
        classes = {(1, "apple"): words.CONDITIONS, (1, "plum"): words.CONDITIONS}
        found = plan_of(make_site(limits=LIMITS), classes)
        assert set(found.plants["block"]) <= {"1", "2"}
        assert len(set(found.plants["fruit"])) == 1
        assert found.need.empty
        assert "need" in found.missing

    def test_what_is_missing_is_named_with_what_mends_it(self, plan):
        for name in ("control_marks", "services", "ground_tests", "records", "prices"):
            assert plan.missing[name].endswith(".")
        assert "mulch_m3" not in plan.missing
        assert "proves nothing" in plan.missing["services"]

    def test_a_fence_is_built_where_it_costs_less_than_guards(self):
        prices = {"fence_m": 0.5, "gate": 10.0, "guard": 25.0}
        found = plan_of(make_site({"pear": 300.0}, {"money": (90_000.0,)}, prices))
        kinds = found.fence["kind"].value_counts()
        assert kinds["fence line"] >= 1
        assert kinds["gate"] >= 1
        assert not found.quantities["item"].str.startswith("guard").any()
        line = found.fence[found.fence["kind"] == "fence line"].geometry.iloc[0]
        assert found.plants.distance(line).min() >= 3.0 - 1e-6
        listed = found.quantities.set_index("item")["quantity"]
        total = listed[listed.index.str.startswith("fence line")].sum()
        # Gates of the drawing and of the price may differ by a metre.
        drawn = found.fence[found.fence["kind"] == "fence line"]["length_m"].sum()
        assert total == pytest.approx(drawn, abs=2.0)

    def test_dear_fences_leave_the_guards(self, plan):
        assert plan.fence.empty
        assert plan.quantities["item"].str.startswith("guard").any()
        # Common practice, no source: a guard of this height is browsed over.
        assert any("not deer, goats or stock" in text for text in plan.sentences)

    def test_the_store_is_drawn_down_by_month(self):
        found = plan_of(make_site({"apple": 300.0, "pear": {"kg": 9, "use": "dried"}}))
        assert set(found.storage["fruit"]) == {"apple"}
        assert found.storage["month"].iloc[0] == 10
        assert found.storage["eaten_kg"].sum() == pytest.approx(300.0)

    def test_the_year_by_which_trees_bear_is_told(self):
        near = plan_of(make_site({"pear": 100.0}, {"by_year": 3}))
        assert any("None bears in full by year 3" in text for text in near.sentences)
        far = plan_of(make_site({"pear": 100.0}, {"by_year": 12}))
        assert any("they bear in full by year 12" in text for text in far.sentences)


class TestWords:
    def test_no_word_promises(self, plan):
        texts = [*plan.sentences, *plan.missing.values(), *plan.test_holes["decides"]]
        texts += [*plan.quantities["item"], *plan.quantities["source"]]
        texts += [*plan.edges["source"], *plan.years["binding"], *plan.need["reason"]]
        for text in texts:
            for word in ("allowed", "safe", "frost-free", "optimal", "guarantee"):
                assert word not in text.lower(), text

    def test_the_rule_of_the_years_is_told(self, plan):
        rule = "Rule: ground that is planted is kept first"
        assert any(text.startswith(rule) for text in plan.sentences)

    def test_shapes_are_compared_in_trees(self, plan):
        (said,) = [text for text in plan.sentences if "The same mulch holds" in text]
        assert "a whole block" in said
        assert "strips along the rows" in said
        assert "discs about the trees" in said

    def test_what_a_better_spot_is_worth_is_told_in_trees(self, plan):
        assert any(
            text.startswith("A better spot saves trees") for text in plan.sentences
        )


class TestBlocks:
    def test_blocks_tell_first_year_trees_and_mulch(self, plan):
        site = make_site({"pear": 300.0}, LIMITS)
        blocks, _ = make_tables(make_places(site))
        blocks = blocks.assign(year=pd.NA, trees=pd.NA, mulch_m3=np.nan).astype(
            {"year": "Int32", "trees": "Int32"}
        )
        filled = with_plan(blocks, plan, site)
        planted = plan.plants[plan.plants["year"] > 0]
        assert filled["trees"].sum() == len(planted)
        assert filled["year"].min() == planted["year"].min()
        depth = 0.4 * plan.years["area_m2"].sum()
        assert filled["mulch_m3"].sum() == pytest.approx(depth, rel=0.01)
        assert filled.loc[filled["trees"].isna(), "year"].isna().all()

    def test_blocks_stay_as_they_are_where_nothing_is_planted(self):
        site = make_site({"pear": 300.0}, {"money": (0.0,)})
        blocks, _ = make_tables(make_places(site))
        found = plan_of(site)
        assert with_plan(blocks, found, site) is blocks


class TestFlowering:
    def plants(self, groups):
        points = [
            shapely.Point(WEST + 100, SOUTH + 50 + 30 * n) for n in range(len(groups))
        ]
        frame = {"fruit": ["apple"] * len(groups), "group": groups}
        return GeoDataFrame(frame, geometry=points, crs=UTM)

    def test_a_later_group_and_higher_ground_flower_later(self):
        site = make_site()
        fruits = {"apple": read_fruit("apple")}
        groups = ["autumn", "autumn", "late-blooming autumn"]
        days = flowering_days(self.plants(groups), fruits, site, None)
        assert (days[:, 1] > days[:, 0]).all()
        assert days[1, 0] > days[0, 0]
        assert days[2, 0] > days[1, 0] + 1

    def test_a_group_that_is_not_known_has_no_days(self):
        site = make_site()
        fruits = {"apple": read_fruit("apple")}
        days = flowering_days(self.plants(["none"]), fruits, site, None)
        assert np.isnan(days).all()

    def test_no_plant_gives_no_days(self):
        site = make_site()
        assert flowering_days(self.plants([]), {}, site, None).shape == (0, 2)


def test_the_plan_is_the_same_every_time(plan):
    need = {"pear": 300.0, "plum": 200.0, "apple": {"kg": 400.0, "use": "juice"}}
    again = plan_of(make_site(need, LIMITS))
    assert again.sentences == plan.sentences
    pd.testing.assert_frame_equal(again.years, plan.years)
    pd.testing.assert_frame_equal(
        pd.DataFrame(again.plants.drop(columns="geometry")),
        pd.DataFrame(plan.plants.drop(columns="geometry")),
    )


def test_settings_of_rows_and_lanes_are_read_from_the_site():
    site = replace(make_site({"pear": 400.0}), settings={"edge_setback": 20.0})
    found = plan_of(site)
    edge = site.field.geometry.iloc[0].exterior
    assert found.plants.distance(edge).min() >= 20.0


@pytest.fixture(scope="module")
def years():
    """Eight like years; the east of the site is 2 degC warmer."""
    days = pd.date_range("2000-01-01", "2008-12-31")
    middle = 9 - 10 * np.cos(2 * np.pi * (days.day_of_year - 20) / 365.25)
    record = Record(
        name="station",
        days=pd.DataFrame({"date": days, "tmin": middle - 5, "tmax": middle + 5}),
        easting=WEST,
        northing=SOUTH,
        elevation=700.0,
        latitude=46.0,
        bloom=pd.DataFrame({"fruit": [], "year": [], "day": [], "place": []}),
    )
    warmth = np.zeros((ROWS, COLUMNS), np.float32)
    warmth[:, COLUMNS // 2 :] = 2.0
    shifts = Shifts(warmth, warmth, warmth, warmth, warmth)
    springs = read_springs(make_seasons(record))
    return RecordYears(record, None, springs, shifts, {"apple": Tuning(factor=1.1)})


class TestFloweringByRecord:
    def days_of(self, years, fruit, group, eastings):
        points = [shapely.Point(WEST + x, SOUTH + 100) for x in eastings]
        frame = {"fruit": [fruit] * len(points), "group": [group] * len(points)}
        plants = GeoDataFrame(frame, geometry=points, crs=UTM)
        return flowering_days(plants, {fruit: read_fruit(fruit)}, make_site(), years)

    def test_warmer_ground_flowers_earlier(self, years):
        days = self.days_of(years, "pear", "autumn", (50, 350))
        assert 4 < days[0, 0] - days[1, 0] < 25
        assert (days[:, 1] - days[:, 0] > 5).all()

    def test_own_notes_of_bloom_move_the_days(self, years):
        tuned = self.days_of(years, "apple", "autumn", (50,))
        plain = self.days_of(replace(years, tunings={}), "apple", "autumn", (50,))
        assert tuned[0, 0] > plain[0, 0] + 1

    def test_it_agrees_with_the_days_of_the_record(self, years):
        bloom = read_fruit("pear").varieties.group("autumn").bloom_sum
        opens, falls = open_days(sum_of(years.springs, 0.0), bloom)
        days = self.days_of(years, "pear", "autumn", (50,))
        assert days[0].tolist() == [np.median(opens), np.median(falls)]


class TestPartners:
    plants = pd.DataFrame(
        {
            "id": [f"1-01-{n:02d}" for n in range(8)],
            "fruit": ["pear"] * 7 + ["plum"],
            "lonely": [True] * 7 + [False],
        }
    )

    def test_two_kinds_row_by_row_are_told(self, plan):
        (said,) = [text for text in plan.sentences if "For pollen plant" in text]
        assert "pears" in said
        assert "odd rows" in said

    def test_lonely_trees_are_listed(self):
        first, second = tell_partners(self.plants, ["pear"])
        assert "plums" not in first
        assert "1-01-00, 1-01-01, 1-01-02, 1-01-03, 1-01-04 and 2 more" in second

    def test_nothing_is_said_of_fruit_that_set_alone(self):
        assert tell_partners(self.plants, []) == ()
        assert len(tell_partners(self.plants.assign(lonely=False), ["pear"])) == 1
