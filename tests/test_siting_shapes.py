"""Polygons of cells, joined patches, layouts."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.siting.lines import choose_step, contours_of
from sitekit.siting.merging import merge_small
from sitekit.siting.shapes import cut_grid, polygons_of, window_of
from sitekit.siting.spots import lay_out, long_side

UTM = CRS.from_epsg(32633)


def grid_of(shape, cell=2.0):
    return Grid(UTM, 1000.0, 5000.0, cell, shape)


@settings(max_examples=60, deadline=None)
@given(arrays(np.int32, (7, 9), elements=st.integers(0, 3)))
def test_polygons_cover_exactly_their_cells(labels):
    grid = grid_of(labels.shape)
    shapes = polygons_of(labels, grid)
    east, north = np.meshgrid(grid.eastings, grid.northings)
    assert set(shapes) == set(np.unique(labels[labels > 0]))
    for number, shape in shapes.items():
        assert shape.is_valid
        assert shape.area == pytest.approx((labels == number).sum() * 4.0)
        np.testing.assert_array_equal(
            shapely.contains_xy(shape, east, north), labels == number
        )


def test_a_patch_around_another_keeps_its_hole():
    labels = np.ones((3, 3), dtype=np.int32)
    labels[1, 1] = 2
    shapes = polygons_of(labels, grid_of((3, 3)))
    assert len(shapes[1].interiors) == 1
    assert len(shapes[1].exterior.coords) == 5  # straight sides carry no extra corners


def test_no_patch_makes_no_polygon():
    assert polygons_of(np.zeros((3, 3), np.int32), grid_of((3, 3))) == {}


def test_a_window_is_cut_with_its_place_on_the_ground():
    mask = np.zeros((10, 10), bool)
    mask[3:5, 6:9] = True
    rows, columns = window_of(mask, margin=1)
    assert (rows, columns) == (slice(2, 6), slice(5, 10))
    grid = grid_of((10, 10))
    cut = cut_grid(grid, rows, columns)
    np.testing.assert_array_equal(cut.eastings, grid.eastings[columns])
    np.testing.assert_array_equal(cut.northings, grid.northings[rows])


def merged(rows, fewest, classes=None, parts=None):
    patches = np.array(rows, dtype=np.int32)
    classes = patches if classes is None else np.array(classes)
    parts = np.ones_like(patches) if parts is None else np.array(parts, np.int32)
    return merge_small(patches, classes[None].astype(np.uint8), fewest, parts)


def test_a_small_patch_joins_the_neighbour_of_nearest_class():
    joined = merged([[1, 1, 1, 2, 3, 3, 3]], 2, classes=[[0, 0, 0, 3, 4, 4, 4]])
    assert joined.tolist() == [[1, 1, 1, 3, 3, 3, 3]]


def test_among_equal_classes_the_longest_border_wins():
    patches = [[1, 2, 3], [1, 1, 3], [1, 1, 3]]
    classes = [[0, 1, 2], [0, 0, 2], [0, 0, 2]]
    assert merged(patches, 2, classes)[0, 1] == 1


def test_patches_of_two_parts_of_the_field_are_never_joined():
    joined = merged([[1, 2, 2, 2]], 2, parts=[[1, 2, 2, 2]])
    assert joined.tolist() == [[1, 2, 2, 2]]


def test_joining_goes_on_until_the_patch_is_large_enough():
    joined = merged([[1, 2, 3, 4, 4, 4, 4]], 4)
    assert len(np.unique(joined)) == 1


@settings(max_examples=40, deadline=None)
@given(arrays(np.int32, (6, 6), elements=st.integers(0, 4)), st.integers(1, 12))
def test_joining_keeps_cells_and_never_mixes_in_empty_ones(patches, fewest):
    joined = merge_small(
        patches, patches[None].astype(np.uint8), fewest, np.ones_like(patches)
    )
    np.testing.assert_array_equal(joined > 0, patches > 0)
    for number in np.unique(patches[patches > 0]):
        assert len(np.unique(joined[patches == number])) == 1


@settings(max_examples=50, deadline=None)
@given(st.floats(0, 180), st.floats(1.5, 8), st.floats(2, 9))
def test_no_two_positions_stand_closer_than_the_spacing(bearing, spacing, rows):
    shape = shapely.Polygon([(0, 0), (70, 5), (60, 50), (10, 40)])
    positions = lay_out(shape, bearing, spacing, rows)
    gaps = np.hypot(*(positions[:, None] - positions[None]).transpose(2, 0, 1))
    np.fill_diagonal(gaps, np.inf)
    assert gaps.min() >= min(spacing, rows) - 1e-9
    assert shapely.contains_xy(shape, positions[:, 0], positions[:, 1]).all()


@pytest.mark.parametrize(
    ("rows", "spacing", "per_hectare"), [(4, 5, 500), (8, 8, 156.25)]
)
def test_trees_a_hectare_are_ten_thousand_over_the_spacing(rows, spacing, per_hectare):
    # 10 000 m² over row x tree: 4 x 5 m 500, 8 x 8 m 156.25 (geometry).
    shape = shapely.box(0, 0, 400, 400)
    count = len(lay_out(shape, 0.0, spacing, rows))
    assert count / 16 == pytest.approx(per_hectare, rel=1e-9)


def test_the_long_side_of_a_field_gives_the_bearing_of_its_rows():
    shape = shapely.affinity.rotate(shapely.box(0, 0, 200, 50), -30)
    assert long_side(shape) == pytest.approx(120.0)


def test_an_empty_shape_has_no_positions():
    assert lay_out(shapely.Polygon(), 0.0, 5.0, 5.0).shape == (0, 2)


def test_height_lines_of_a_plane_are_straight_and_at_their_height():
    grid = grid_of((40, 40))
    plane = np.repeat(100 + 0.1 * (grid.northings - 4920)[:, None], 40, axis=1)
    lines = contours_of(plane.astype(np.float32), grid, 1.0)
    for height, line in zip(lines["elevation_m"], lines.geometry, strict=True):
        north = shapely.get_coordinates(line)[:, 1]
        np.testing.assert_allclose(north, 4920 + (height - 100) / 0.1, atol=1e-3)
    assert sorted(lines["elevation_m"]) == [float(z) for z in range(101, 108)]


@pytest.mark.parametrize(("spread", "step"), [(3, 0.5), (24, 1), (70, 5), (900, 50)])
def test_the_step_of_height_lines_follows_the_relief(spread, step):
    assert choose_step(np.array([[0.0, spread]], np.float32)) == step
