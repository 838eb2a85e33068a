import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree

from sitekit.kernels.distance import nearest_points

# Coordinates on a coarse lattice make equal eastings and ties common.
PLACES = st.tuples(st.integers(-9, 30), st.integers(-9, 30))


def distance_by_tree(points, eastings, northings):
    # Reference: scipy's k-d tree, an independent search.
    centres = np.stack(np.meshgrid(eastings, northings), axis=-1)
    return cKDTree(points).query(centres)[0]


@settings(max_examples=100, deadline=None)
@given(places=st.lists(PLACES, min_size=1, max_size=25))
def test_it_equals_a_search_in_a_tree(places):
    points = np.array(places, np.float64)
    eastings, northings = np.arange(0.0, 24, 1.5), np.arange(20.0, 0, -1.5)
    distance, index = nearest_points(points, eastings, northings)
    expected = distance_by_tree(points, eastings, northings)
    np.testing.assert_allclose(distance, expected, atol=1e-5)
    east, north = np.meshgrid(eastings, northings)
    named = points[index]
    np.testing.assert_allclose(
        np.hypot(named[..., 0] - east, named[..., 1] - north), expected, atol=1e-9
    )


def test_large_coordinates_lose_no_millimetre():
    rng = np.random.default_rng(5)
    points = rng.uniform(0, 3000, (400, 2)) + np.array([512_000.0, 6_700_000.0])
    eastings = 512_000.0 + np.arange(50) * 60 + 1
    northings = 6_703_000.0 - np.arange(50) * 60 - 1
    distance, _ = nearest_points(points, eastings, northings)
    expected = distance_by_tree(points, eastings, northings)
    np.testing.assert_allclose(distance, expected, atol=1e-3)


def test_the_distance_to_one_point_is_pythagoras():
    distance, index = nearest_points(
        np.array([[3.0, 4.0]]), np.array([0.0, 3.0]), np.array([4.0, 0.0])
    )
    np.testing.assert_allclose(distance, [[3.0, 0.0], [5.0, 4.0]])
    assert (index == 0).all()


def test_points_straight_above_each_other_are_told_apart():
    points = np.array([[5.0, 9.0], [5.0, 1.0], [5.0, 4.0]])
    _, index = nearest_points(points, np.array([0.0, 5.0]), np.array([8.0, 3.5, 0.0]))
    np.testing.assert_array_equal(index, [[0, 0], [2, 2], [1, 1]])


def test_no_point_is_an_error():
    with pytest.raises(ValueError, match="at least one point"):
        nearest_points(np.empty((0, 2)), np.zeros(1), np.zeros(1))
