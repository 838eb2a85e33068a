"""The low, high and mean ground around, also where the grid ends."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.layers.landform import (
    coarser_by,
    continue_ground,
    landform,
    low_ground_height,
)

LOW, HIGH, MEAN = range(3)
SLOPES = st.floats(-0.4, 0.4, allow_subnormal=False)


def mesh(rows, columns, cell):
    """East and north of the cell middles from the south-west corner."""
    x = (np.arange(columns) + 0.5) * cell
    y = (rows - np.arange(rows) - 0.5) * cell
    return np.meshgrid(x, y)


def ground(function, rows=60, columns=50, cell=20.0):
    return function(*mesh(rows, columns, cell)).astype(np.float32)


@given(east=SLOPES, north=SLOPES, cells=st.integers(1, 30))
def test_a_plane_goes_on_as_the_same_plane_beyond_every_edge(east, north, cells):
    whole = ground(
        lambda x, y: 500 + east * x + north * y, 24 + 2 * cells, 20 + 2 * cells, 5.0
    )
    inner = whole[cells:-cells, cells:-cells]
    assert continue_ground(inner, 5.0, cells) == pytest.approx(whole, abs=0.02)


def test_the_ground_goes_on_with_the_slope_of_its_outer_25_metres():
    kinked = ground(lambda _, y: np.maximum(y - 50, 0) * 0.2, 40, 30, 5.0)
    wider = continue_ground(kinked, 5.0, 10)
    # Level in the south, 20 % in the north.
    assert wider[-1, 10:-10] == pytest.approx(0.0, abs=1e-3)
    assert wider[0, 10:-10] == pytest.approx(kinked[0] + 10 * 5 * 0.2, abs=1e-2)


def test_a_gully_at_the_edge_is_smoothed_over_250_metres_before_it_goes_on():
    steep = ground(
        lambda x, y: np.where(np.abs(x - 250) < 5, 2.0, 0.0) * (y < 30), 60, 100, 5.0
    )
    wider = continue_ground(steep, 5.0, 40)
    assert np.abs(wider[-1]).max() < 20


@pytest.mark.parametrize(("east", "north"), [(0.0, 0.1), (0.06, -0.08), (0.0, 0.0)])
def test_on_a_plane_the_low_ground_lies_500_metres_down_even_at_the_edge(east, north):
    z = ground(lambda x, y: 800 + east * x + north * y)
    made = landform(z, cell_size=20.0, flow_cell=4.0)
    # A window of ±500 m reaches its lowest corner.
    fall = 500 * (abs(east) + abs(north))
    for height in (z - made[LOW], made[HIGH] - z):
        assert height == pytest.approx(fall, rel=0.1, abs=0.1)
        assert height[20:-20, 20:-20] == pytest.approx(fall, rel=0.02, abs=0.1)
    assert made[MEAN] == pytest.approx(z, abs=0.3)


def test_low_ground_is_at_most_and_high_ground_at_least_the_mean():
    rng = np.random.default_rng(3)
    z = ground(lambda x, y: 300 + 20 * np.sin(x / 90) + 0.05 * y)
    z += rng.normal(0, 0.5, z.shape).astype(np.float32)
    low, high, mean = landform(z, cell_size=20.0, flow_cell=4.0)
    assert (low < mean).all()
    assert (mean < high).all()


def test_the_height_above_low_ground_is_never_negative():
    z = ground(
        lambda x, y: 300 - 15 * np.exp(-((x - 500) ** 2 + (y - 600) ** 2) / 40**2)
    )
    made = landform(z, cell_size=20.0, flow_cell=4.0)
    height = low_ground_height(z, made)
    assert height.min() == 0
    assert height[0, 0] == pytest.approx(float(z[0, 0] - made[LOW, 0, 0]))


def test_a_bump_lies_above_the_mean_ground_and_a_hollow_below_it():
    bump = ground(
        lambda x, y: 3 * np.exp(-((x - 250) ** 2 + (y - 250) ** 2) / 30**2),
        100,
        100,
        5.0,
    )
    at = (50, 50)
    assert (bump - landform(bump, cell_size=5.0)[MEAN])[at] > 1
    assert (-bump - landform(-bump, cell_size=5.0)[MEAN])[at] < -1


def test_missing_ground_takes_the_height_of_the_nearest_that_is_known():
    z = ground(lambda _, y: 800 + 0.1 * y)
    holed = z.copy()
    holed[20:24, 20:24] = np.nan
    made = landform(holed, cell_size=20.0)
    assert np.isfinite(made).all()
    whole = landform(z, cell_size=20.0)
    assert made == pytest.approx(whole, abs=3.0)


def test_moved_turned_and_mirrored_ground_has_its_answer_moved_turned_and_mirrored():
    z = ground(lambda x, y: 400 + 0.05 * y + 9 * np.sin(x / 120) * np.cos(y / 150))
    made = landform(z, cell_size=20.0)
    for change in (np.flipud, np.fliplr, np.rot90, np.transpose):
        changed = landform(np.ascontiguousarray(change(z)), cell_size=20.0)
        for one, other in zip(made, changed, strict=True):
            assert other == pytest.approx(change(one), abs=0.01)
    assert landform(z + np.float32(64), cell_size=20.0) == pytest.approx(
        made + 64, abs=1e-2
    )


@pytest.mark.parametrize(
    ("cell", "flow_cell", "factor"),
    [
        (1, 4, 4),
        (2, 4, 2),
        (3, 4, 2),
        (4, 4, 1),
        (5, 4, 1),
        (0.5, 4, 8),
        (1.0001, 4, 4),
    ],
)
def test_cells_of_the_moving_air_are_never_finer_than_asked_for(
    cell, flow_cell, factor
):
    assert coarser_by(cell, flow_cell) == factor


def test_finer_cells_tell_the_same_ground():
    def hills(x, y):
        return 400 + 0.05 * y + 12 * np.sin(x / 80)

    fine = landform(ground(hills, 240, 200, 2.0), cell_size=2.0)
    coarse = landform(ground(hills, 120, 100, 4.0), cell_size=4.0)
    assert fine[:, ::2, ::2][:, 1:-1, 1:-1] == pytest.approx(
        coarse[:, 1:-1, 1:-1], abs=0.5
    )
