"""Tables over shifts: exact at nodes, linear between, and few nodes computed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.climate.tables import FEW, Axis, span_axis, spread_over

STEPS = (0.5, 0.5, 0.25)


def plane(points):
    """A value that is linear in every shift, and one that is not."""
    still, windy, warmth = points
    return np.stack([1 + 2 * still - windy + 4 * warmth, np.abs(still)])


def cells(count, seed=1):
    random = np.random.default_rng(seed)
    return tuple(random.uniform(-2, 1, count).astype(np.float32) for _ in STEPS)


def test_an_axis_spans_all_values_with_a_node_at_the_station():
    axis = span_axis(np.array([-1.3, np.nan, 0.6]), 0.5)
    assert axis == Axis(-1.5, 0.5, 6)
    assert axis.nodes.tolist() == [-1.5, -1.0, -0.5, 0.0, 0.5, 1.0]


@pytest.mark.parametrize(
    ("values", "count"), [([0.0, 0.0], 1), ([0.5], 1), ([0.2, 0.3], 2), ([np.nan], 1)]
)
def test_an_axis_may_be_short(values, count):
    assert span_axis(np.array(values), 0.5).count == count


@settings(max_examples=30, deadline=None)
@given(st.integers(FEW + 1, 2000), st.integers(0, 50))
def test_values_between_nodes_lie_on_the_plane(count, seed):
    shifts = cells(count, seed)
    linear, bent = spread_over(plane, shifts, STEPS)
    np.testing.assert_allclose(linear, plane(shifts)[0], atol=1e-4)
    assert (bent >= np.abs(shifts[0]) - 1e-5).all()
    assert (bent <= np.abs(shifts[0]) + 0.13).all()


def test_nodes_give_back_what_was_computed():
    shifts = (np.zeros(FEW + 1),) * 3
    _, bent = spread_over(plane, shifts, STEPS)
    assert (bent == 0).all()


def test_few_places_are_computed_one_by_one():
    shifts = cells(FEW)
    _, bent = spread_over(plane, shifts, STEPS)
    np.testing.assert_allclose(bent, np.abs(shifts[0]), rtol=1e-6)


@pytest.mark.parametrize("count", [FEW, 4 * FEW])
def test_missing_cells_stay_missing(count):
    shifts = cells(count)
    shifts[1][5] = np.nan
    for value in spread_over(plane, shifts, STEPS):
        assert np.flatnonzero(np.isnan(value)).tolist() == [5]


def test_values_keep_the_shape_of_the_cells_and_are_single():
    shifts = tuple(s.reshape(20, -1) for s in cells(400))
    for value in spread_over(plane, shifts, STEPS):
        assert value.shape == (20, 20)
        assert value.dtype == np.float32


def test_only_nodes_round_cells_are_computed():
    seen = []

    def compute(points):
        seen.append(points[0].size)
        return plane(points)

    along = np.linspace(-2, 2, 1000)
    spread_over(compute, (along, along, along), STEPS)
    assert seen[0] < 9 * 9 * 17 / 4


def test_large_grids_are_looked_up_in_parts():
    count = (1 << 18) + 1000
    shifts = cells(count)
    linear, _ = spread_over(plane, shifts, STEPS)
    np.testing.assert_allclose(linear[-500:], plane(shifts)[0][-500:], atol=1e-4)
