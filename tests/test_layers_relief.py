import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sitekit.layers.catalogue import find_layer
from sitekit.layers.relief import relative_height

HEIGHTS = arrays(np.float32, (9, 11), elements=st.integers(0, 99).map(float))


def test_level_ground_has_no_height_above_itself():
    assert (relative_height(np.full((9, 9), 7.0, np.float32), cell_size=2.0) == 0).all()


@pytest.mark.parametrize("cell_size", [2.0, 5.0, 10.0])
def test_on_a_plane_it_is_the_fall_over_the_radius(cell_size):
    # A plane of 10 % falls 15 m over the 150 m of the default circle.
    columns = int(500 / cell_size)
    east = np.arange(columns) * cell_size
    plane = np.repeat(0.1 * east[np.newaxis], 5, axis=0).astype(np.float32)
    height = relative_height(plane, cell_size=cell_size)
    np.testing.assert_allclose(height[:, int(160 / cell_size) :], 15.0, atol=1e-4)


def test_a_spike_stands_above_the_plain_by_its_own_height():
    plain = np.zeros((21, 21), np.float32)
    plain[10, 10] = 10.0
    height = relative_height(plain, cell_size=10.0)
    assert height[10, 10] == 10.0
    assert height.sum() == 10.0


def test_a_coarse_grid_still_looks_three_cells_far():
    step = np.zeros((1, 9), np.float32)
    step[0, 4:] = 5.0
    height = relative_height(step, cell_size=100.0)
    np.testing.assert_array_equal(height[0], [0, 0, 0, 0, 5, 5, 5, 0, 0])


def test_missing_ground_stays_missing_and_is_passed_over():
    ground = np.array([[1.0, np.nan, 3.0]], np.float32)
    height = relative_height(ground, cell_size=50.0)
    np.testing.assert_array_equal(height, [[0.0, np.nan, 2.0]])


@settings(max_examples=40, deadline=None)
@given(ground=HEIGHTS, lift=st.integers(-50, 50))
def test_it_is_never_negative_and_does_not_know_the_datum(ground, lift):
    height = relative_height(ground, cell_size=30.0)
    assert (height >= 0).all()
    np.testing.assert_array_equal(
        relative_height(ground + np.float32(lift), cell_size=30.0), height
    )


def test_its_radius_is_a_setting_of_150_metres():
    default, setting = find_layer("relative_height").settings["relative_height_radius"]
    assert (default, setting.units) == (150.0, "m")
