"""Water is what is level in the elevation, and its shore is laid out whole."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from geopandas import GeoDataFrame
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from scipy import ndimage

from sitekit.grid import Grid
from sitekit.io.schemas import SCHEMAS, fit_columns
from sitekit.io.water import find_level_water, make_shore, water_frame, with_levels

UTM = CRS.from_epsg(32633)
NOWHERE = np.zeros((120, 160), bool)


def ground(rows=120, columns=160, cell=5.0, rise=0.08):
    """Ground that rises to the north and a little to the east. [m]"""
    y = np.arange(rows)[::-1] * cell
    x = np.arange(columns) * cell
    return (700 + rise * y[:, None] + 0.013 * x[None, :]).astype(np.float32)


def make_water(*shapes, **columns):
    frame = GeoDataFrame(columns, geometry=list(shapes), crs=UTM)
    return fit_columns(frame, SCHEMAS["water"], "x")


class TestLevelWater:
    def test_a_level_lake_is_found_whole_with_its_height(self):
        heights = ground()
        lake = np.hypot(*(np.indices(heights.shape) - [[[60]], [[80]]])) < 30
        heights[lake] = 723.4
        labels, levels = find_level_water(heights, NOWHERE, 5.0)
        np.testing.assert_array_equal(labels > 0, lake)
        assert levels == pytest.approx([723.4], abs=1e-4)

    def test_no_water_is_found_on_slopes(self):
        labels, levels = find_level_water(ground(), NOWHERE, 5.0)
        assert not labels.any()
        assert levels.size == 0

    @given(slope=st.floats(2e-4, 0.02), cell=st.sampled_from([1.0, 2.0, 5.0, 10.0]))
    @settings(max_examples=40, deadline=None)
    def test_a_gentle_plain_is_not_water(self, slope, cell):
        side = int(1000 / cell)
        plain = np.repeat((slope * cell * np.arange(side))[None, :], 60, axis=0)
        labels, _ = find_level_water(plain, np.zeros(plain.shape, bool), cell)
        assert not labels.any()

    def test_a_lake_beside_a_gentle_plain_is_told_apart(self):
        columns = np.arange(200)
        heights = np.repeat(
            700 + 0.001 * np.maximum(columns - 50, 0)[None, :] * 5, 80, 0
        )
        labels, levels = find_level_water(heights, np.zeros((80, 200), bool), 5.0)
        assert levels == pytest.approx([700.0], abs=0.005)
        assert (labels[:, :50] == 1).all()
        assert not labels[:, 54:].any()

    @pytest.mark.parametrize(("side", "found"), [(20, 1), (19, 0)])
    def test_a_patch_counts_from_one_hectare(self, side, found):
        heights = ground()
        heights[40 : 40 + side, 40 : 40 + side] = 705.0
        assert find_level_water(heights, NOWHERE, 5.0)[1].size == found

    def test_a_level_track_two_cells_wide_is_not_water(self):
        heights = ground()
        heights[60:62, :] = 710.0
        assert find_level_water(heights, NOWHERE, 10.0)[1].size == 0
        heights[62] = 710.0
        assert find_level_water(heights, NOWHERE, 10.0)[1].size == 1

    def test_cells_touching_at_a_corner_do_not_hang_together(self):
        heights = ground()
        heights[20:40, 20:40] = heights[40:60, 40:60] = 705.0
        assert find_level_water(heights, NOWHERE, 5.0)[1].size == 2

    def test_waves_of_half_a_centimetre_are_level_and_of_two_are_not(self):
        noise = np.random.default_rng(4).uniform(-1, 1, (40, 40))
        for height, found in ((0.004, 1), (0.02, 0)):
            heights = ground()
            heights[40:80, 40:80] = 705.0 + height * noise
            labels, _ = find_level_water(heights, NOWHERE, 5.0)
            assert labels.max() == found
            assert (labels[40:80, 40:80] == found).all()

    def test_every_cell_lies_within_half_a_centimetre_of_the_median(self):
        heights = ground()
        noise = np.random.default_rng(4).normal(0, 0.004, (40, 40))
        heights[40:80, 40:80] = 705.0 + noise
        labels, levels = find_level_water(heights, NOWHERE, 5.0)
        for number, level in enumerate(levels, start=1):
            assert np.abs(heights[labels == number] - level).max() <= 0.0051

    def test_two_lakes_0_9_m_apart_in_height_stay_two(self):
        heights = ground()
        heights[20:50, 20:50] = 731.7
        heights[50:80, 20:50] = 732.6
        labels, levels = find_level_water(heights, NOWHERE, 5.0)
        assert sorted(levels) == pytest.approx([731.7, 732.6], abs=1e-3)
        assert (np.bincount(labels.ravel())[1:] == 900).all()

    @pytest.mark.parametrize(("share", "found"), [(0.4, 1), (0.6, 0)])
    def test_a_patch_over_half_of_the_field_is_the_field_and_no_water(
        self, share, found
    ):
        heights = ground()
        heights[40:70, 40:70] = 705.0
        field = np.zeros(heights.shape, bool)
        inside = int(share * 100)
        field[40:50, 40 : 40 + inside // 10] = True
        field[0:10, 0 : 10 - inside // 10] = True
        assert find_level_water(heights, field, 5.0)[1].size == found

    def test_missing_heights_are_not_water(self):
        heights = ground()
        heights[10:60, 10:60] = np.nan
        heights[80:110, 80:110] = 705.0
        labels, levels = find_level_water(heights, NOWHERE, 5.0)
        assert levels.size == 1
        assert not labels[np.isnan(heights)].any()

    def test_in_whole_metres_only_wide_level_ground_counts(self):
        # 3 % on 30 m cells: steps of a metre a cell, one or two cells wide.
        stepped = np.round(ground(cell=30.0, rise=0.02))
        labels, levels = find_level_water(stepped, NOWHERE, 30.0, step=1.0)
        assert levels.size == 0
        stepped[50:70, 50:70] = 760
        stepped[60, 70:100] = 760
        labels, levels = find_level_water(stepped, NOWHERE, 30.0, step=1.0)
        assert levels.tolist() == [760.0]
        assert not labels[60, 75:].any()


OBSERVED = Path(__file__).parents[2] / "shared" / "observations" / "elevation-samples"


@pytest.mark.observations
class TestRealElevation:
    """Source: topocalc 0.5.0 source archive, CC0: a mountain range, 50 m and 30 m."""

    @pytest.fixture
    def heights(self):
        def read(name):
            if not OBSERVED.is_dir():
                pytest.skip("the measured elevation does not lie beside the checkout")
            with rasterio.open(OBSERVED / name) as dataset:
                values = dataset.read(1, masked=True).astype(np.float32)
                return values.filled(np.nan), dataset.res[0]

        return read

    def test_four_lakes_are_found_two_of_them_0_9_m_apart(self, heights):
        values, cell = heights("lakes-50m.tif")
        labels, levels = find_level_water(values, np.zeros(values.shape, bool), cell)
        areas = np.bincount(labels.ravel())[1:] * cell**2 / 10_000
        found = sorted(zip(levels, areas, strict=True))
        assert [level for level, _ in found] == pytest.approx(
            [2731.7, 2732.6, 2751.5, 3196.8], abs=0.06
        )
        # Whole lakes, as measured on the same file: 10.2, 13.0, 9.8 and 6.0 ha.
        assert [area for _, area in found] == pytest.approx(
            [10.2, 13.0, 9.8, 6.0], abs=0.6
        )

    def test_reservoirs_are_found_in_whole_metres_and_no_false_patch(self, heights):
        values, cell = heights("reservoirs-30m.tif")
        labels, levels = find_level_water(
            values, np.zeros(values.shape, bool), cell, step=1.0
        )
        assert set(levels) == {1001.0}
        interior = [
            ndimage.binary_erosion(labels == i + 1, np.ones((3, 3))).sum() * 0.09
            for i in range(levels.size)
        ]
        # Interiors measured on the same file: 107.6, 42.6, and 19.6 with 5.1 ha.
        assert sorted(interior) == pytest.approx([24.7, 42.6, 107.6], abs=0.5)


class TestFrames:
    GRID = Grid(UTM, 500_000.0, 5_130_600.0, 5.0, (120, 160))

    def test_found_water_has_its_outline_and_columns(self):
        labels = np.zeros(self.GRID.shape, np.int32)
        labels[100:, :80] = 1
        labels[20:50, 20:50] = 2
        frame = water_frame(labels, np.array([705.0, 730.0]), self.GRID)
        assert list(frame.columns) == [*SCHEMAS["water"].columns, "geometry"]
        assert dict(zip(frame["level_m"], frame.area, strict=True)) == {
            705.0: 100 * 400.0,
            730.0: 150 * 150.0,
        }
        assert frame.crs == UTM

    def test_water_keeps_the_level_that_was_given(self):
        heights = np.full(self.GRID.shape, 700.0, np.float32)
        on_grid = shapely.box(500_000, 5_130_000, 500_100, 5_130_100)
        beyond = shapely.box(490_000, 5_130_000, 490_100, 5_130_100)
        water = make_water(on_grid, on_grid, beyond, level_m=[701.5, None, None])
        levels = with_levels(water, self.GRID, heights)["level_m"]
        assert levels[:2].tolist() == [701.5, 700.0]
        assert np.isnan(levels[2])

    def test_the_level_is_the_median_of_what_is_known(self):
        heights = np.full(self.GRID.shape, np.nan, np.float32)
        heights[-1, :3] = [700.0, 700.2, 709.0]
        water = make_water(shapely.box(500_000, 5_130_000, 500_100, 5_130_100))
        assert with_levels(water, self.GRID, heights)["level_m"][0] == pytest.approx(
            700.2
        )


class TestShore:
    SQUARE = shapely.box(0, 0, 200, 200)

    def test_points_lie_on_the_shore_no_further_apart_than_asked(self):
        points, level = make_shore(make_water(self.SQUARE, level_m=[5.0]), 7.0)
        assert (
            shapely.distance(self.SQUARE.boundary, shapely.points(points)).max() < 1e-9
        )
        steps = np.hypot(*np.diff(points, axis=0).T)
        assert steps.max() <= 7.0
        assert steps.sum() == pytest.approx(800)
        assert (level == 5.0).all()

    def test_islands_have_a_shore_too(self):
        lake = self.SQUARE.difference(shapely.box(80, 80, 120, 120))
        points, _ = make_shore(make_water(lake, level_m=[5.0]), 10.0)
        assert ((np.abs(points - 100) <= 20).all(axis=1)).sum() >= 16

    def test_ponds_under_one_hectare_have_none(self):
        water = make_water(shapely.box(0, 0, 99, 100), level_m=[5.0])
        points, level = make_shore(water, 10.0)
        assert points.shape == (0, 2)
        assert level.shape == (0,)

    def test_water_of_unknown_level_takes_the_nearest_known(self):
        near, far = shapely.box(300, 0, 500, 200), shapely.box(9000, 0, 9200, 200)
        water = make_water(self.SQUARE, near, far, level_m=[None, 7.0, 9.0])
        points, level = make_shore(water, 50.0)
        assert set(level[points[:, 0] <= 200]) == {7.0}

    def test_without_any_level_it_stays_unknown(self):
        points, level = make_shore(make_water(self.SQUARE), 50.0)
        assert len(points) == len(level) > 0
        assert np.isnan(level).all()
