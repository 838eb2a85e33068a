"""Filling of hollows: printed examples, a priority flood, an independent library."""

import heapq

import numpy as np
import pytest
import richdem
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from matplotlib.cbook import get_sample_data
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, label

from sitekit.kernels import fill

EIGHT = np.ones((3, 3), bool)
shapes = st.tuples(st.integers(1, 12), st.integers(1, 12))
#: Few different heights make much level ground; a quarter of the cells is missing
#: in some.
stepped = arrays(np.float32, shapes, elements=st.integers(-3, 3).map(float))
rough = arrays(np.float32, shapes, elements=st.floats(-1e3, 1e3, width=32))
holed = arrays(
    np.float32,
    shapes,
    elements=st.sampled_from([np.nan, np.nan, 0.0, 1.0, 2.0, 3.0, 4.5, 9.0]),
)
grounds = st.one_of(stepped, rough, holed)


def outlets_by_labels(ground: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Outlets found another way: missing regions that touch the edge, and beside."""
    padded = np.pad(np.isnan(ground), 1, constant_values=True)
    regions, _ = label(padded, structure=EIGHT)
    outside = binary_dilation(regions == regions[0, 0], structure=EIGHT)
    return outside[1:-1, 1:-1] & ~np.isnan(ground)


def priority_flood(ground: NDArray[np.float32]) -> NDArray[np.float32]:
    """Flood from the outlets inward, always from the lowest cell reached.

    Source: Barnes, Lehman and Mulla 2014, Computers & Geosciences 62, 117-127.
    """
    filled = ground.copy()
    reached = outlets_by_labels(ground) | np.isnan(ground)
    heap = [(float(ground[r, c]), r, c) for r, c in np.argwhere(reached)]
    heap = [entry for entry in heap if not np.isnan(entry[0])]
    heapq.heapify(heap)
    while heap:
        level, row, column = heapq.heappop(heap)
        for r in range(max(row - 1, 0), min(row + 2, ground.shape[0])):
            for c in range(max(column - 1, 0), min(column + 2, ground.shape[1])):
                if not reached[r, c]:
                    reached[r, c] = True
                    filled[r, c] = max(ground[r, c], np.float32(level))
                    heapq.heappush(heap, (float(filled[r, c]), r, c))
    return filled


@pytest.fixture(scope="module")
def fault() -> NDArray[np.float32]:
    with get_sample_data("jacksboro_fault_dem.npz") as sample:
        return np.ascontiguousarray(sample["elevation"], np.float32)


def test_the_lake_of_a_printed_example_fills_to_its_outlet():
    # Source: the example of priority flooding in landlab's documentation, after
    # Barnes et al. 2014: six cells rise to 1.5, by 3.9 in all.
    ground = np.full((5, 6), 9, np.float32)
    ground[1:4, 1:] = [
        [2.1, 1.1, 0.6, 1.6, 0.0],
        [2.0, 1.0, 0.5, 1.5, 0.0],
        [2.2, 1.2, 0.7, 1.7, 0.0],
    ]
    expected = ground.copy()
    expected[1:4, 2:4] = 1.5
    filled = fill.fill(ground)
    np.testing.assert_array_equal(filled, expected)
    assert (filled - ground).sum() == pytest.approx(3.9, abs=1e-5)


def test_air_leaves_between_two_cells_that_meet_at_a_corner():
    # Constructed: over four neighbours the centre would fill to 5.
    ground = np.full((5, 5), 5, np.float32)
    ground[2, 2], ground[1, 1], ground[0, 0] = 1, 2, 0
    assert fill.fill(ground)[2, 2] == 2


def test_the_pit_of_a_cone_fills_to_the_lowest_point_of_the_edge():
    rows, columns = np.indices((21, 31))
    ground = np.hypot(rows - 10, columns - 15).astype(np.float32)
    np.testing.assert_array_equal(fill.fill(ground), np.maximum(ground, 10))


def test_a_lake_within_a_lake_fills_to_the_outer_spill():
    ground = np.float32([[9, 9, 9, 9, 9, 9, 9], [9, 2, 4, 1, 5, 7, 0], [9] * 7])
    assert fill.fill(ground)[1].tolist() == [9, 7, 7, 7, 7, 7, 0]


@pytest.mark.parametrize("step", [0.0, 1.0, 25.0])
def test_filling_equals_that_of_richdem_on_measured_ground(fault, step):
    # Source: richdem, an independent library, after Barnes et al. 2014.
    noise = np.random.default_rng(5).normal(0, 2, fault.shape)
    ground = (fault + noise).astype(np.float32)
    ground = np.round(ground / step) * np.float32(step) if step else ground
    peer = richdem.rdarray(ground, no_data=-9999)
    peer.geotransform = (0, 30, 0, 0, 0, -30)
    filled = fill.fill(ground)
    np.testing.assert_array_equal(filled, np.asarray(richdem.FillDepressions(peer)))
    assert (filled > ground).mean() > 0.01


def test_filling_equals_that_of_richdem_on_pure_noise():
    ground = np.random.default_rng(6).normal(size=(300, 200)).astype(np.float32)
    peer = richdem.rdarray(ground, no_data=-9999)
    np.testing.assert_array_equal(
        fill.fill(ground), np.asarray(richdem.FillDepressions(peer))
    )


@given(ground=grounds)
@settings(deadline=None, max_examples=300)
def test_filling_equals_a_priority_flood_bit_for_bit(ground):
    np.testing.assert_array_equal(fill.fill(ground), priority_flood(ground))


@given(ground=grounds)
@settings(deadline=None, max_examples=200)
def test_outlets_are_the_edge_and_what_lies_beside_missing_cells_that_reach_it(ground):
    np.testing.assert_array_equal(fill.find_outlets(ground), outlets_by_labels(ground))


def test_missing_stripes_that_cross_the_grid_drain_the_ground_beside_them():
    ground = np.full((9, 9), 5, np.float32)
    ground[3:6, 2:7] = 1
    ground[:, 4] = np.nan
    filled = fill.fill(ground)
    np.testing.assert_array_equal(filled, ground)


def test_a_missing_cell_inside_a_hollow_drains_nothing_and_stays_missing():
    ground = np.full((9, 9), 5, np.float32)
    ground[2:7, 2:7] = 1
    ground[4, 4] = np.nan
    filled = fill.fill(ground)
    assert np.isnan(filled[4, 4])
    assert (filled[~np.isnan(ground)] == 5).all()


def test_ground_that_missing_cells_cut_off_is_left_as_it_is():
    ground = np.full((9, 9), 5, np.float32)
    ground[2:7, 2:7] = np.nan
    ground[3:6, 3:6] = 7
    ground[4, 4] = 1
    np.testing.assert_array_equal(fill.fill(ground), ground)


@pytest.mark.parametrize("shape", [(1, 1), (1, 5), (5, 1), (2, 2), (2, 7)])
def test_a_grid_that_is_all_edge_is_not_filled(shape):
    ground = np.random.default_rng(1).random(shape).astype(np.float32)
    np.testing.assert_array_equal(fill.fill(ground), ground)


def test_a_grid_without_heights_stays_without():
    assert np.isnan(fill.fill(np.full((4, 4), np.nan, np.float32))).all()


def test_the_ground_itself_is_not_changed():
    ground = np.random.default_rng(2).random((20, 20)).astype(np.float32)
    before = ground.copy()
    fill.fill(ground)
    np.testing.assert_array_equal(ground, before)


@given(ground=st.one_of(stepped, rough))
@settings(deadline=None)
def test_filling_never_lowers_and_filling_again_changes_nothing(ground):
    filled = fill.fill(ground)
    assert (filled >= ground).all()
    np.testing.assert_array_equal(fill.fill(filled), filled)


@given(ground=st.one_of(stepped, rough), data=st.data())
@settings(deadline=None)
def test_raising_a_cell_never_lowers_the_filled_ground(ground, data):
    raised = ground.copy()
    cell = data.draw(st.integers(0, ground.size - 1))
    raised.flat[cell] += np.float32(data.draw(st.floats(0, 100, width=32)))
    assert (fill.fill(raised) >= fill.fill(ground)).all()


@given(
    values=arrays(
        np.float32,
        st.integers(0, 40),
        elements=st.floats(allow_nan=False, width=32),
    )
)
@settings(deadline=None)
def test_passes_are_opened_from_the_lowest_up(values):
    order = fill._order(values)
    assert sorted(order.tolist()) == list(range(values.size))
    ordered = values[order]
    assert (ordered[1:] >= ordered[:-1]).all()
