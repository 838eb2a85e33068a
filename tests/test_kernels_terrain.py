"""Slope and aspect: worked examples, planes, an independent library, edges."""

import numpy as np
import pytest
import richdem
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from matplotlib.cbook import get_sample_data
from numpy.typing import NDArray

from sitekit.kernels import terrain

# Heights in 64ths of a metre below 512 m are exact in float32, sums included.
heights = st.integers(0, 512 * 64).map(lambda n: n / 64)
grounds = arrays(
    np.float32, st.tuples(st.integers(3, 9), st.integers(3, 9)), elements=heights
)


def plane(east: float, north: float, shape=(7, 9), cell_size=1.0):
    rows, columns = np.indices(shape)
    return (cell_size * (east * columns - north * rows)).astype(np.float32)


def turn(bearing: NDArray[np.float32], other: NDArray[np.float32]):
    """Smallest angle between bearings."""
    return np.abs((bearing - other + 180) % 360 - 180)


@pytest.fixture(scope="module")
def fault() -> NDArray[np.float32]:
    """The measured elevation that Matplotlib carries, with steps of 1 m."""
    with get_sample_data("jacksboro_fault_dem.npz") as sample:
        return np.ascontiguousarray(sample["elevation"], np.float32)


# Source: Horn 1981, Proc. IEEE 69, 14-47; the windows are the worked examples of a
# public help page on slope and aspect, recomputed.
@pytest.mark.parametrize(
    ("window", "cell_size", "slope", "aspect"),
    [
        ([[50, 45, 50], [30, 30, 30], [8, 10, 10]], 5, 75.2577, 180.754),
        ([[101, 92, 85], [101, 92, 85], [101, 91, 84]], 1, 82.9909, 92.64),
    ],
)
def test_the_centre_of_a_worked_window(window, cell_size, slope, aspect):
    ground = np.array(window, np.float32)
    assert terrain.slope(ground, cell_size)[1, 1] == pytest.approx(slope, abs=1e-3)
    assert terrain.aspect(ground, cell_size)[1, 1] == pytest.approx(aspect, abs=5e-3)


@pytest.mark.parametrize("cell_size", [0.5, 1.0, 30.0])
def test_a_plane_has_one_slope_and_aspect_up_to_its_corners(cell_size):
    # Derived: atan(sqrt(0.1² + 0.05²)) and the bearing of (-0.1, -0.05).
    ground = plane(0.1, 0.05, cell_size=cell_size)
    np.testing.assert_allclose(terrain.slope(ground, cell_size), 6.37937, atol=1e-4)
    np.testing.assert_allclose(terrain.aspect(ground, cell_size), 243.435, atol=1e-3)


@pytest.mark.parametrize(
    ("east", "north", "faces"),
    [(0, 1, 180), (0, -1, 0), (1, 0, 270), (-1, 0, 90), (1, 1, 225), (-1, -1, 45)],
)
def test_ground_faces_away_from_where_it_rises(east, north, faces):
    bearing = terrain.aspect(plane(east, north), 1.0)
    np.testing.assert_allclose(bearing, faces, atol=1e-4)
    assert bearing.max() < 360


def test_level_ground_has_no_slope_and_no_aspect():
    level = np.full((4, 5), 812.37, np.float32)
    assert not terrain.slope(level, 2.0).any()
    assert np.isnan(terrain.aspect(level, 2.0)).all()


@pytest.mark.parametrize(
    ("per_cent", "degrees"),
    [(1, 0.573), (5, 2.862), (15, 8.531), (25, 14.036), (100, 45.0), (1e6, 89.9943)],
)
def test_per_cent_become_degrees(per_cent, degrees):
    # Derived: the arctangent.
    slope = terrain.slope(plane(0, per_cent / 100), 1.0)
    np.testing.assert_allclose(slope, degrees, atol=5e-4)


def test_slopes_and_bearings_all_round_equal_those_in_double_precision():
    bearings = np.arange(0.05, 360, 0.1)
    for steepness in (1e-4, 0.1, 1.0, 20.0):
        for bearing in bearings[::37]:
            east = -steepness * np.sin(np.radians(bearing))
            north = -steepness * np.cos(np.radians(bearing))
            # The centre of the window is 0, so that float32 holds it exactly.
            rows, columns = np.indices((3, 3)) - 1
            ground = (east * columns - north * rows).astype(np.float32)
            assert turn(terrain.aspect(ground, 1.0)[1, 1], bearing) < 1e-4
            expected = np.degrees(np.arctan(steepness))
            assert terrain.slope(ground, 1.0)[1, 1] == pytest.approx(expected, abs=1e-5)


def test_slope_and_aspect_agree_with_richdem_on_measured_ground(fault):
    # Source: Horn 1981 as implemented in richdem, an independent library.
    peer = richdem.rdarray(fault, no_data=-9999)
    peer.geotransform = (0, 30, 0, 0, 0, -30)
    inner = (slice(1, -1), slice(1, -1))
    slope = terrain.slope(fault, 30.0)[inner]
    theirs = np.asarray(richdem.TerrainAttribute(peer, attrib="slope_degrees"))[inner]
    np.testing.assert_allclose(slope, theirs, atol=1e-4)
    aspect = terrain.aspect(fault, 30.0)[inner]
    theirs = np.asarray(richdem.TerrainAttribute(peer, attrib="aspect"))[inner]
    sloping = slope > 0
    assert (np.isnan(aspect) == ~sloping).all()
    assert turn(aspect[sloping], theirs[sloping]).max() < 1e-3
    assert sloping.mean() > 0.9


def test_noise_of_the_heights_makes_the_known_noise_of_the_slope():
    # Derived: the standard deviation of a Horn component is s·√12 / (8·cell).
    noise = np.random.default_rng(3).normal(0, 1, (400, 400)).astype(np.float32)
    steepness = np.tan(np.radians(terrain.slope(noise, 10.0)))[1:-1, 1:-1]
    bearing = np.radians(terrain.aspect(noise, 10.0))[1:-1, 1:-1]
    for component in (steepness * np.sin(bearing), steepness * np.cos(bearing)):
        assert component.std() == pytest.approx(0.0433, rel=0.03)


def test_missing_cells_stay_missing_and_leave_the_plane_around_them_unchanged():
    ground = plane(0.1, 0.05, shape=(12, 12))
    ground[:, 4] = np.nan
    ground[6, 8:] = np.nan
    ground[2, 9] = np.nan
    missing = np.isnan(ground)
    slope, aspect = terrain.slope(ground, 1.0), terrain.aspect(ground, 1.0)
    assert (np.isnan(slope) == missing).all()
    assert (np.isnan(aspect) == missing).all()
    np.testing.assert_allclose(slope[~missing], 6.37937, atol=1e-4)
    np.testing.assert_allclose(aspect[~missing], 243.435, atol=1e-3)


def test_a_cell_without_any_neighbour_is_level():
    ground = np.full((3, 3), np.nan, np.float32)
    ground[1, 1] = 5
    assert terrain.slope(ground, 1.0)[1, 1] == 0
    assert terrain.slope(np.ones((1, 1), np.float32), 1.0)[0, 0] == 0


@pytest.mark.parametrize("shape", [(1, 6), (6, 1), (2, 6), (6, 2)])
def test_a_strip_keeps_its_slope_along_the_strip(shape):
    along = plane(0.2, 0, shape) if shape[1] > shape[0] else plane(0, 0.2, shape)
    np.testing.assert_allclose(terrain.slope(along, 1.0), 11.3099, atol=1e-4)


@given(ground=grounds, lift=st.integers(-4096, 4096))
@settings(deadline=None)
def test_lifting_the_ground_changes_no_slope(ground, lift):
    lifted = ground + np.float32(lift / 8)
    np.testing.assert_array_equal(terrain.slope(ground, 2), terrain.slope(lifted, 2))
    np.testing.assert_array_equal(terrain.aspect(ground, 2), terrain.aspect(lifted, 2))


@given(ground=grounds)
@settings(deadline=None)
def test_turning_the_ground_turns_its_aspect(ground):
    # np.rot90 turns anticlockwise, so that north becomes west.
    turned = np.ascontiguousarray(np.rot90(ground))
    expected = np.rot90(terrain.aspect(ground, 1.0)) - np.float32(90)
    aspect = terrain.aspect(turned, 1.0)
    assert (np.isnan(aspect) == np.isnan(expected)).all()
    assert np.nanmax(turn(aspect, expected), initial=0) < 1e-3
    slope = np.rot90(terrain.slope(ground, 1.0))
    np.testing.assert_allclose(terrain.slope(turned, 1.0), slope, atol=1e-4)


@given(ground=grounds)
@settings(deadline=None)
def test_slope_lies_between_level_and_upright(ground):
    slope = terrain.slope(ground, 1.0)
    assert slope.min() >= 0
    assert slope.max() < 90
