"""From coarse cells to fine ones: straight between middles, never across a barrier."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import map_coordinates

from sitekit.kernels.night import BarrierFaces
from sitekit.kernels.refine import refine


def barrier(along, row, column, *, height=2.0, openness=0.0, gap=0.0):
    """Faces of one barrier."""
    whole = np.ones(len(row))
    return BarrierFaces(
        along=np.full(len(row), along),
        row=np.asarray(row),
        column=np.asarray(column),
        height=height * whole,
        openness=openness * whole,
        foot=0 * whole,
        gap=gap * whole,
        stretch=whole,
    )


def across(row=3, **more):
    """A barrier over the whole width of six rows by ten columns, north of a row."""
    return barrier(1, np.full(10, row), np.arange(10), **more)


@given(st.sampled_from([2, 3, 4, 5]), st.integers(0, 2**32 - 1))
def test_it_is_linear_interpolation_as_a_library_does_it(factor, seed):
    # Against scipy's linear spline of order 1, edges repeated.
    values = np.random.default_rng(seed).normal(size=(6, 7))
    shape = 6 * factor - 1, 7 * factor
    rows, columns = ((np.arange(n) + 0.5) / factor - 0.5 for n in shape)
    places = np.meshgrid(rows, columns, indexing="ij")
    expected = map_coordinates(values, places, order=1, mode="nearest")
    np.testing.assert_allclose(refine(values, factor, shape), expected, atol=1e-5)


def test_what_is_missing_counts_as_nothing():
    assert refine(np.array([[np.nan, 4.0]]), 2, (1, 4)).tolist() == [[0, 1, 3, 4]]


def test_a_barrier_keeps_its_two_sides_apart():
    values = np.repeat(np.array([5.0, 5, 5, 1, 1, 1])[:, None], 10, axis=1)
    parted = refine(values, 4, (24, 40), across())
    assert (parted[:12] == 5).all()
    assert (parted[12:] == 1).all()
    blurred = refine(values, 4, (24, 40))
    assert ((blurred > 1) & (blurred < 5)).any()


@pytest.mark.parametrize(
    "lets_through", [{"height": 0.5}, {"openness": 0.95}, {"gap": 1.0}]
)
def test_low_open_and_cut_barriers_keep_nothing_apart(lets_through):
    values = np.random.default_rng(1).normal(size=(6, 10))
    free = refine(values, 4, (24, 40))
    assert (refine(values, 4, (24, 40), across(**lets_through)) == free).all()


def test_beside_the_end_of_a_barrier_no_value_leaves_the_range():
    values = np.zeros((6, 10))
    values[:3] = 4.0
    half = barrier(1, np.full(5, 3), np.arange(5))
    made = refine(values, 4, (24, 40), half)
    assert made.min() >= 0
    assert made.max() <= 4
    assert (made[11, :16] == 4).all()
    assert made[11, 30] == pytest.approx(2.5)


def test_a_turned_barrier_parts_as_well():
    values = np.repeat(np.array([5.0, 5, 5, 1, 1, 1])[:, None], 10, axis=1).T
    turned = barrier(0, np.arange(10), np.full(10, 3))
    parted = refine(values, 4, (40, 24), turned)
    assert (parted[:, :12] == 5).all()
    assert (parted[:, 12:] == 1).all()
