from math import cos, radians, sin

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from sitekit.kernels.rays import length_along_ray, shifts, turn

BEARINGS = st.integers(0, 359).map(float)
MASKS = arrays(np.bool_, array_shapes(min_dims=2, max_dims=2, max_side=12))


def unit_vector(bearing):
    """Row and column step of a bearing; row 0 is the northernmost."""
    return -cos(radians(bearing)), sin(radians(bearing))


@given(bearing=BEARINGS)
def test_up_the_shifted_rows_of_a_turned_grid_leads_along_the_bearing(bearing):
    row, column = np.mgrid[0:60, 0:60]
    rows, columns = turn(row, bearing), turn(column, bearing)
    shift, step = shifts(bearing, 60)
    far = 50
    aside = shift[far]
    moved = np.array(
        [rows[0, aside] - rows[far, 0], columns[0, aside] - columns[far, 0]]
    )
    expected = np.array(unit_vector(bearing)) * step * far
    # Half a cell beside the ray at most.
    assert np.abs(moved - expected).max() <= 0.5 + 1e-9


@given(bearing=BEARINGS)
def test_a_turned_grid_is_a_view_of_the_same_cells(bearing):
    values = np.arange(35).reshape(5, 7)
    turned = turn(values, bearing)
    assert np.shares_memory(values, turned)
    assert sorted(turned.ravel()) == list(range(35))


def length_by_marching(mask, bearing, reach):
    """Walk the same nearest cells one by one, adding the covered lengths."""
    turned = turn(mask, bearing)
    shift, step = shifts(bearing, len(turned))
    reach = reach / step
    length = np.zeros(turned.shape)
    for row, column in np.ndindex(*turned.shape):
        for up in range(row + 1):
            beyond = column + shift[row] - shift[row - up]
            if beyond >= turned.shape[1]:
                break
            covered = min(up + 0.5, reach) - max(up - 0.5, 0.0)
            length[row, column] += turned[row - up, beyond] * max(covered, 0.0)
    back = np.empty(mask.shape)
    turn(back, bearing)[...] = length * step
    return back


@settings(max_examples=80, deadline=None)
@given(mask=MASKS, bearing=BEARINGS, reach=st.floats(0.0, 15.0))
def test_running_counts_equal_a_march_cell_by_cell(mask, bearing, reach):
    np.testing.assert_allclose(
        length_along_ray(mask, bearing, reach),
        length_by_marching(mask, bearing, reach),
        atol=1e-4,
    )


@pytest.mark.parametrize("bearing", np.arange(0.0, 360.0, 22.5))
def test_from_the_middle_of_a_round_lake_every_ray_has_its_radius(bearing):
    row, column = np.mgrid[0:161, 0:161]
    lake = np.hypot(row - 80, column - 80) <= 60.5
    length = length_along_ray(lake, bearing, 500.0)
    assert length[80, 80] == pytest.approx(60.5, abs=1.0)


@pytest.mark.parametrize("bearing", np.arange(0.0, 360.0, 22.5))
def test_over_boundless_water_the_ray_is_as_long_as_it_may(bearing):
    length = length_along_ray(np.ones((101, 101), bool), bearing, 30.25)
    assert length[50, 50] == pytest.approx(30.25, abs=1e-4)


def test_land_between_two_waters_does_not_end_the_ray():
    mask = np.array([[False, True, False, True, False]])
    assert length_along_ray(mask, 90.0, 10.0)[0, 0] == pytest.approx(2.0)
    assert length_along_ray(mask, 270.0, 10.0)[0, 0] == 0.0
