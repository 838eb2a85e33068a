import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sitekit.kernels.rays import shifts, turn
from sitekit.kernels.shelter import steepest_upwind

BEARINGS = st.integers(0, 359).map(float)
HEIGHTS = st.integers(-20, 20).map(float)


def steepest_by_marching(tops, bases, bearing, cell_size):
    """Look at every cell of the line, one by one."""
    up, look = turn(tops, bearing), turn(bases, bearing)
    shift, step = shifts(bearing, len(up))
    seen = np.full(up.shape, -np.inf)
    for row, column in np.ndindex(*up.shape):
        for back in range(1, row + 1):
            beyond = column + shift[row] - shift[row - back]
            if beyond >= up.shape[1]:
                break
            rise = up[row - back, beyond] - look[row, column]
            seen[row, column] = np.fmax(
                seen[row, column], rise / (back * step * cell_size)
            )
    tangent = np.empty(tops.shape)
    turn(tangent, bearing)[...] = seen
    return tangent


@settings(max_examples=80, deadline=None)
@given(
    tops=arrays(np.float32, (9, 12), elements=st.one_of(HEIGHTS, st.just(np.nan))),
    bases=arrays(np.float32, (9, 12), elements=HEIGHTS),
    bearing=BEARINGS,
)
def test_the_hull_finds_what_a_march_finds(tops, bases, bearing):
    np.testing.assert_allclose(
        steepest_upwind(tops, bases, bearing, 2.0),
        steepest_by_marching(tops, bases, bearing, 2.0),
        rtol=1e-5,
        atol=1e-6,
    )


@pytest.mark.parametrize(
    ("north", "east"),
    [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1)],
)
def test_a_mast_is_seen_under_height_over_distance(north, east):
    tops = np.full((41, 41), np.nan, np.float32)
    tops[20, 20] = 10.0
    bearing = float(np.degrees(np.arctan2(east, north)) % 360)
    seen = steepest_upwind(tops, np.zeros((41, 41), np.float32), bearing, 5.0)
    distance = 5.0 * 12 * np.hypot(north, east)
    found = seen[20 + 12 * north, 20 - 12 * east]
    assert found == pytest.approx(10.0 / distance, rel=1e-6)
    # Only the 20 cells of one line behind the mast see it.
    assert np.isfinite(seen).sum() == 20


def test_a_plane_rising_upwind_is_seen_under_its_slope():
    plane = np.repeat(np.arange(30.0, 0, -1)[:, np.newaxis], 8, axis=1)
    plane = plane.astype(np.float32)
    seen = steepest_upwind(plane, plane, 0.0, 4.0)
    np.testing.assert_allclose(seen[1:], 0.25)
    assert np.isneginf(seen[0]).all()
    np.testing.assert_allclose(steepest_upwind(plane, plane, 180.0, 4.0)[:-1], -0.25)
