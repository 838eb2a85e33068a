import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from scipy import ndimage

from sitekit.kernels.window import circular_minimum, mean_of_known

FIELDS = arrays(
    np.float32,
    array_shapes(min_dims=2, max_dims=2, max_side=14),
    elements=st.one_of(st.just(np.nan), st.integers(-50, 50).map(float)),
)


def disk(radius):
    reach = int(radius)
    row, column = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    return row**2 + column**2 <= radius**2


def minimum_with_a_footprint(values, radius):
    # Reference: scipy.ndimage, missing cells and what lies outside as infinity.
    filled = np.where(np.isnan(values), np.inf, values)
    lowest = ndimage.minimum_filter(
        filled, footprint=disk(radius), mode="constant", cval=np.inf
    )
    return np.where(np.isinf(lowest), np.nan, lowest)


@pytest.mark.parametrize("radius", [0.0, 0.9, 1.0, 1.5, 3.0, 5.0, 7.3, 13.0])
def test_it_equals_a_minimum_filter_with_a_disk(radius):
    values = np.random.default_rng(3).normal(size=(37, 61)).astype(np.float32)
    values[5:9, 20:30] = np.nan
    expected = minimum_with_a_footprint(values, radius)
    np.testing.assert_array_equal(circular_minimum(values, radius), expected)


@settings(max_examples=60, deadline=None)
@given(values=FIELDS, radius=st.floats(0.0, 20.0))
def test_any_grid_and_any_radius_equal_the_minimum_filter(values, radius):
    # A radius within rounding of a cell on its rim may go either way.
    squares = {i * i + j * j for i in range(21) for j in range(21)}
    if any(abs(radius - s**0.5) < 1e-5 for s in squares):
        radius = round(radius) + 0.1
    expected = minimum_with_a_footprint(values, radius)
    np.testing.assert_array_equal(circular_minimum(values, radius), expected)


def test_a_single_low_cell_draws_a_disk():
    values = np.ones((21, 21), np.float32)
    values[10, 10] = 0.0
    found = circular_minimum(values, 5.0) == 0.0
    np.testing.assert_array_equal(found[5:16, 5:16], disk(5.0))
    assert found.sum() == disk(5.0).sum()


def test_a_radius_that_is_whole_but_for_rounding_keeps_its_rim():
    values = np.ones((1, 9), np.float32)
    values[0, 4] = 0.0
    lowest = circular_minimum(values, 3.0 * (1 - 1e-12))
    assert (lowest == 0.0).sum() == 7


def test_a_circle_without_any_value_is_missing():
    values = np.full((1, 9), np.nan, np.float32)
    values[0, 0] = 2.0
    lowest = circular_minimum(values, 3.0)[0]
    np.testing.assert_array_equal(lowest, [2.0] * 4 + [np.nan] * 5)


@settings(max_examples=40, deadline=None)
@given(values=FIELDS, radius=st.floats(0.0, 8.0), more=st.floats(0.0, 5.0))
def test_a_larger_circle_never_finds_higher_ground(values, radius, more):
    small = np.nan_to_num(circular_minimum(values, radius), nan=np.inf)
    large = np.nan_to_num(circular_minimum(values, radius + more), nan=np.inf)
    assert (large <= small).all()


def test_the_input_is_left_as_it_was():
    values = np.random.default_rng(1).normal(size=(8, 8)).astype(np.float32)
    before = values.copy()
    circular_minimum(values, 2.0)
    np.testing.assert_array_equal(values, before)


# -- means of squares ------------------------------------------------------------------------


@settings(max_examples=60)
@given(FIELDS, st.sampled_from([1, 3, 5]))
def test_the_mean_of_a_square_counts_known_cells_only(values, size):
    half = size // 2
    # Reference: numpy.nanmean of each square on the mirrored grid.
    mirrored = np.pad(values, half, mode="symmetric") if half else values
    made = mean_of_known(values, size)
    for row, column in np.ndindex(values.shape):
        square = mirrored[row : row + size, column : column + size]
        if np.isnan(square).all():
            assert made[row, column] == 0
        else:
            assert made[row, column] == pytest.approx(np.nanmean(square), abs=1e-3)
