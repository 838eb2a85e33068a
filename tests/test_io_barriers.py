"""What barriers and woods do not say is assumed by rule, and said."""

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.io.barriers import (
    WOOD_HEIGHT,
    burn_mask,
    burn_woodland,
    settle_barriers,
    settle_woodland,
)
from sitekit.io.schemas import SCHEMAS, empty_frame, fit_columns

UTM = CRS.from_epsg(32633)
GRID = Grid(UTM, 500_000.0, 5_130_200.0, 10.0, (20, 30))
LINE = shapely.LineString([(500_000, 5_130_010), (500_100, 5_130_010)])
NO_WATER = empty_frame(SCHEMAS["water"], UTM)


def box(x, y, dx, dy):
    return shapely.box(500_000 + x, 5_130_000 + y, 500_000 + x + dx, 5_130_000 + y + dy)


def make(layer, shapes, **columns):
    frame = GeoDataFrame(columns, geometry=shapes, crs=UTM)
    return fit_columns(frame, SCHEMAS[layer], "x")


def settle(water=NO_WATER, **columns):
    count = max(len(values) for values in columns.values())
    frame = make("barriers", [LINE] * count, **columns)
    settled, remarks = settle_barriers(frame, water, "hedges.gpkg")
    assert all(r.kind == "doubtful" and r.about == "hedges.gpkg" for r in remarks)
    return settled, [r.text for r in remarks]


class TestBarriers:
    @pytest.mark.parametrize(
        ("kind", "openness"),
        [
            ("hedge", 0.3),
            ("wood", 0.35),
            ("fence", 0.95),
            ("wall", 0.0),
            ("bank", 0.0),
            ("building", 0.0),
            ("other", 0.0),
        ],
    )
    def test_openness_not_given_goes_by_kind_and_is_said(self, kind, openness):
        settled, (said,) = settle(kind=[kind], height_m=[2.0])
        assert settled["openness"].tolist() == [openness]
        assert kind in said
        assert f"{openness:g} is used" in said
        assert ("all the air that it can" in said) == (openness == 0)

    def test_an_openness_that_is_given_stays_and_is_not_said(self):
        settled, said = settle(
            kind=["hedge", "wall"], height_m=[2, 2], openness=[0, 0.5]
        )
        assert settled["openness"].tolist() == [0.0, 0.5]
        assert said == []

    def test_several_of_a_kind_are_said_together(self):
        _, said = settle(kind=["hedge", "hedge"], height_m=[2, 3])
        assert said == ["openness of 2 hedges is not given; 0.3 is used"]

    def test_an_unknown_kind_counts_as_other_and_is_said(self):
        settled, said = settle(kind=["gabion", None], height_m=[2, 2], openness=[0, 0])
        assert settled["kind"].tolist() == ["other", "other"]
        assert said == [
            "kind is not given; counted as other",
            'kind "gabion" is not known; counted as other',
        ]

    @pytest.mark.parametrize("height", [0.0, None])
    def test_a_barrier_without_height_is_left_out_by_its_name_or_number(self, height):
        settled, said = settle(
            kind=["hedge", "fence", "wall"],
            name=["Old Beech", "", "Dyke"],
            height_m=[height, height, 1.2],
            openness=[0, 0, 0],
        )
        assert settled["name"].tolist() == ["Dyke"]
        assert settled.index.tolist() == [0]
        assert said == [
            'hedge "Old Beech" has no height and is left out; give height_m',
            "fence 2 has no height and is left out; give height_m",
        ]

    def test_a_barrier_in_water_is_said_and_kept(self):
        water = make("water", [box(0, 0, 300, 100)])
        settled, said = settle(water, kind=["wall"], height_m=[2.0], openness=[0.0])
        assert len(settled) == 1
        assert said == ["wall 1 stands in water; check where it is drawn"]

    def test_without_a_barrier_nothing_is_said(self):
        settled, remarks = settle_barriers(
            empty_frame(SCHEMAS["barriers"], UTM), NO_WATER, "x"
        )
        assert settled.empty
        assert remarks == []

    def test_what_came_in_is_not_changed(self):
        frame = make("barriers", [LINE], kind=["x"], height_m=[2.0])
        before = frame.copy()
        settle_barriers(frame, NO_WATER, "x")
        assert frame.equals(before)


class TestWoodland:
    def test_a_wood_without_height_gets_the_usual_one_and_it_is_said(self):
        frame = make("woodland", [box(0, 0, 50, 50)] * 2, height_m=[None, 20.0])
        settled, (remark,) = settle_woodland(frame, "woods.gpkg")
        assert settled["height_m"].tolist() == [WOOD_HEIGHT, 20.0]
        assert settled["openness"].tolist() == [0.0, 0.0]
        assert "height of 1 wood is not given" in remark.text

    def test_the_higher_of_two_woods_stands(self):
        shapes = [box(0, 0, 100, 100), box(50, 0, 100, 100)]
        for order in (1, -1):
            frame = make("woodland", shapes[::order], height_m=[20.0, 12.0][::order])
            canopy, _ = burn_woodland(settle_woodland(frame, "x")[0], GRID)
            assert canopy[-1, 7] == 20.0
            assert canopy[-1, 12] == 12.0
            assert canopy[-1, 16] == 0.0

    def test_a_wood_that_keeps_its_leaves_is_marked(self):
        frame = make(
            "woodland",
            [box(0, 0, 50, 50), box(100, 0, 50, 50)],
            height_m=[10, 10],
            evergreen=["yes", "no"],
        )
        _, evergreen = burn_woodland(frame.fillna({"openness": 0.0}), GRID)
        assert evergreen.sum() == 25
        assert evergreen[-5:, :5].all()

    def test_open_crowns_lower_the_canopy(self):
        frame = make("woodland", [box(0, 0, 50, 50)], height_m=[10.0], openness=[0.4])
        canopy, _ = burn_woodland(frame, GRID)
        assert canopy.max() == pytest.approx(6.0)
        assert canopy.dtype == np.float32


class TestMasks:
    def test_a_cell_counts_by_its_centre(self):
        mask = burn_mask(make("mulched", [box(4.9, 4.9, 20.2, 0.2)]), GRID)
        assert np.argwhere(mask).tolist() == [[19, 0], [19, 1], [19, 2]]
        assert not burn_mask(make("mulched", [box(5.1, 5.1, 9.0, 9.0)]), GRID).any()

    def test_no_shape_marks_no_cell(self):
        assert not burn_mask(empty_frame(SCHEMAS["mulched"], UTM), GRID).any()
