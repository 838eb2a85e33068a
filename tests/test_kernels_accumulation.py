"""Directions, catchments and paths: worked values, and slow walks as a check."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from matplotlib.cbook import get_sample_data
from numpy.typing import NDArray
from scipy.ndimage import label

from sitekit.kernels import accumulation
from sitekit.kernels.accumulation import MISSING, OUTLET
from sitekit.kernels.fill import fill, find_outlets

NORTH, NORTH_EAST, EAST, SOUTH_EAST, SOUTH, SOUTH_WEST, WEST, NORTH_WEST = range(8)
STEPS = [(-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1)]

shapes = st.tuples(st.integers(1, 12), st.integers(1, 12))
stepped = arrays(np.float32, shapes, elements=st.integers(0, 3).map(float))
rough = arrays(np.float32, shapes, elements=st.floats(0, 100, width=32))
holed = arrays(
    np.float32, shapes, elements=st.sampled_from([np.nan, 0.0, 1.0, 2.0, 3.0, 4.5])
)
grounds = st.one_of(stepped, rough, holed)


def receiver(direction: NDArray[np.uint8], row: int, column: int) -> tuple[int, int]:
    down, right = STEPS[direction[row, column]]
    return row + down, column + right


def walk(direction: NDArray[np.uint8], row: int, column: int) -> list[tuple[int, int]]:
    """All cells on the way down from one, itself included."""
    way = [(row, column)]
    while direction[way[-1]] < OUTLET:
        way.append(receiver(direction, *way[-1]))
        assert len(way) <= direction.size, "the way leads in a circle"
    return way


def count_by_walking(direction: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Cells that drain through each, by walking down from every one."""
    count = np.zeros(direction.shape)
    for row, column in np.argwhere(direction != MISSING):
        for cell in walk(direction, row, column):
            count[cell] += 1
    return np.where(direction == MISSING, np.nan, count)


@pytest.fixture(scope="module")
def fault() -> NDArray[np.float32]:
    with get_sample_data("jacksboro_fault_dem.npz") as sample:
        elevation = sample["elevation"][:150, :150]
    noise = np.random.default_rng(5).normal(0, 0.5, elevation.shape)
    return fill((elevation + noise).astype(np.float32))


def test_the_descent_counts_the_longer_way_of_diagonals():
    # Source: the grid z = x² + y² of Tarboton 1997 (Water Resources Research 33,
    # 309-319) in landlab's documentation; from (2, 2) the diagonal falls by
    # 6/√2 = 4.24 a cell, the side by 3.
    x, y = np.meshgrid(np.arange(4), np.arange(4)[::-1])
    direction = accumulation.find_directions((x**2 + y**2).astype(np.float32))
    assert direction[1, 2] == SOUTH_WEST


def test_a_diagonal_must_fall_by_more_than_the_root_of_two_of_a_side():
    ground = np.full((3, 3), 9, np.float32)
    ground[1, 1], ground[1, 2] = 2, 1
    ground[2, 2] = 2 - 1.41
    assert accumulation.find_directions(ground)[1, 1] == EAST
    ground[2, 2] = 2 - 1.42
    assert accumulation.find_directions(ground)[1, 1] == SOUTH_EAST


@pytest.mark.parametrize("way", range(8))
def test_directions_count_clockwise_from_north(way):
    down, right = STEPS[way]
    ground = np.full((3, 3), 5, np.float32)
    ground[1, 1] = 4
    ground[1 + down, 1 + right] = 1
    assert accumulation.find_directions(ground)[1, 1] == way
    assert (accumulation.ROW_STEP[way], accumulation.COLUMN_STEP[way]) == STEPS[way]
    bearing = np.degrees(np.arctan2(right, -down)) % 360
    assert bearing == 45 * way


def test_ground_on_the_edge_drains_inward_where_it_falls_inward():
    rows = np.arange(5, 0, -1, dtype=np.float32)
    direction = accumulation.find_directions(np.repeat(rows[:, None], 4, axis=1))
    assert (direction[:-1] == SOUTH).all()
    assert (direction[-1] == OUTLET).all()


@pytest.mark.parametrize("tilt", [-0.5, 0.0, 0.5])
def test_ground_that_falls_off_the_grid_does_not_drain_along_its_edge(tilt):
    rows, columns = np.indices((8, 8))
    ground = (20 - rows + tilt * columns).astype(np.float32)
    direction = accumulation.find_directions(ground)
    assert (direction[-1] == OUTLET).all()
    assert (direction[:-1, 1:-1] != OUTLET).all()
    # The same beside missing cells that reach the edge.
    ground[6:] = np.nan
    assert (accumulation.find_directions(ground)[5] == OUTLET).all()


def test_directions_equal_a_steepest_descent_in_double_precision(fault):
    # Source: O'Callaghan and Mark 1984, CVGIP 28, 323-344.
    padded = np.pad(fault.astype(float), 1, constant_values=np.inf)
    drops = np.stack(
        [
            (fault - padded[1 + d : 151 + d, 1 + r : 151 + r]) / np.hypot(d, r)
            for d, r in STEPS
        ]
    )
    direction = accumulation.find_directions(fault)
    falling = (drops.max(axis=0) > 0) & ~find_outlets(fault)
    assert falling.mean() > 0.9
    steepest = np.take_along_axis(drops, direction.clip(0, 7)[None], axis=0)[0]
    np.testing.assert_allclose(
        steepest[falling], drops.max(axis=0)[falling], rtol=1e-6, atol=1e-6
    )


def test_a_filled_hollow_drains_to_its_spill_by_the_shortest_way():
    ground = np.full((7, 9), 8, np.float32)
    ground[1:6, 1:7] = 5
    ground[3, 7:] = 5, 1
    direction = accumulation.find_directions(ground)
    for row, column in np.argwhere(ground == 5):
        way = walk(direction, row, column)
        assert way[-1] == (3, 8)
        assert len(way) == 2 + max(7 - column, abs(3 - row))


@given(ground=grounds)
@settings(deadline=None, max_examples=300)
def test_every_way_over_filled_ground_leads_down_to_an_outlet(ground):
    filled = fill(ground)
    direction = accumulation.find_directions(filled)
    outlets = find_outlets(filled)
    regions, _ = label(~np.isnan(filled), structure=np.ones((3, 3)))
    drained = np.isin(regions, regions[outlets])
    for row, column in np.argwhere(~np.isnan(filled)):
        way = walk(direction, row, column)
        heights = np.array([filled[cell] for cell in way])
        assert (np.diff(heights) <= 0).all()
        # Ground that missing cells cut off from every outlet has no way out.
        assert outlets[way[-1]] == drained[row, column]


@given(ground=grounds)
@settings(deadline=None)
def test_only_missing_cells_are_marked_missing(ground):
    direction = accumulation.find_directions(ground)
    np.testing.assert_array_equal(direction == MISSING, np.isnan(ground))
    assert direction[direction != MISSING].max(initial=0) <= OUTLET


def test_a_hollow_that_was_not_filled_ends_at_its_pit():
    ground = np.full((5, 5), 5, np.float32)
    ground[2, 2] = 1
    assert accumulation.find_directions(ground)[2, 2] == OUTLET


def test_a_level_cell_between_missing_ones_drains_where_it_can():
    ground = np.full((5, 5), 5, np.float32)
    ground[1:4, 1:4] = np.nan
    ground[2, 2:] = 5
    direction = accumulation.find_directions(ground)
    assert direction[2, 2] == EAST


@given(ground=grounds, cell_area=st.sampled_from([1.0, 4.0, 25.0]))
@settings(deadline=None, max_examples=200)
def test_catchments_equal_those_counted_by_walking_down(ground, cell_area):
    direction = accumulation.find_directions(fill(ground))
    area = accumulation.find_catchment_areas(direction, cell_area)
    np.testing.assert_array_equal(area, count_by_walking(direction) * cell_area)


@given(ground=grounds)
@settings(deadline=None)
def test_all_ground_arrives_at_the_outlets(ground):
    # Derived: what drains through the outlets is the whole ground.
    direction = accumulation.find_directions(fill(ground))
    area = accumulation.find_catchment_areas(direction, 2.0)
    assert area[direction == OUTLET].sum() == 2 * (~np.isnan(ground)).sum()


def test_the_catchment_of_an_inclined_plane_grows_by_a_cell_a_row():
    ground = np.repeat(np.arange(50, 0, -1, dtype=np.float32)[:, None], 7, axis=1)
    direction = accumulation.find_directions(ground)
    area = accumulation.find_catchment_areas(direction, 100.0)
    expected = np.repeat(100.0 * np.arange(1, 51)[:, None], 7, axis=1)
    np.testing.assert_array_equal(area, expected)


def test_catchments_of_measured_ground_add_up_and_grow_downward(fault):
    direction = accumulation.find_directions(fault)
    area = accumulation.find_catchment_areas(direction, 1.0)
    assert area[direction == OUTLET].sum() == fault.size
    for row, column in np.argwhere(direction < OUTLET):
        assert area[receiver(direction, row, column)] > area[row, column]
    np.testing.assert_array_equal(area, count_by_walking(direction))


def chains(direction, area, threshold):
    cells, starts = accumulation.trace_channels(direction, area, threshold)
    assert starts[0] == 0
    assert starts[-1] == cells.size
    return [cells[a:b].tolist() for a, b in pairwise(starts)]


def test_two_paths_that_meet_make_three_lines_that_touch():
    # A Y of lower ground: two arms of two cells, a stem of three.
    ground = np.full((6, 7), 9, np.float32)
    ground[1, 1] = ground[1, 5] = 6
    ground[2, 2] = ground[2, 4] = 5
    ground[3, 3], ground[4, 3], ground[5, 3] = 4, 3, 2
    direction = accumulation.find_directions(ground)
    area = accumulation.find_catchment_areas(direction, 1.0)
    in_y = np.where(ground < 9, area, 0).astype(np.float32)
    found = chains(direction, in_y, 1.0)
    assert sorted(found) == [[8, 16, 24], [12, 18, 24], [24, 31, 38]]


@given(ground=grounds, threshold=st.integers(1, 6))
@settings(deadline=None, max_examples=200)
def test_paths_follow_the_flow_and_hold_every_large_cell_once(ground, threshold):
    direction = accumulation.find_directions(fill(ground))
    area = accumulation.find_catchment_areas(direction, 1.0)
    found = chains(direction, area, threshold)
    columns = ground.shape[1]
    for chain in found:
        assert len(chain) >= 2
        for upper, lower in pairwise(chain):
            down, right = receiver(direction, *divmod(upper, columns))
            assert lower == down * columns + right
    # The last cell of a chain is the first of the next, or drains off the grid.
    heads = [chain[0] for chain in found]
    assert len(set(heads)) == len(heads)
    for chain in found:
        assert chain[-1] in heads or direction.flat[chain[-1]] == OUTLET
    body = [cell for chain in found for cell in chain[:-1]]
    large = (area >= threshold) & (direction < OUTLET)
    assert sorted(body) == np.flatnonzero(large).tolist()


def test_no_ground_is_large_enough_for_a_path():
    direction = np.full((3, 3), EAST, np.uint8)
    direction[:, -1] = OUTLET
    area = accumulation.find_catchment_areas(direction, 1.0)
    assert chains(direction, area, 100.0) == []
