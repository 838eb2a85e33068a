import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.layers.catalogue import find_layer
from sitekit.layers.water import (
    distance_to_water,
    height_above_water,
    open_water_fetch,
    water_fetch,
)

EASTINGS = np.arange(5.0, 400, 10)
NORTHINGS = np.arange(395.0, 0, -10)


def round_shore(radius, spacing=1.0, centre=(200.0, 200.0)):
    turn = np.linspace(0, 2 * np.pi, int(2 * np.pi * radius / spacing), endpoint=False)
    return np.column_stack([np.cos(turn), np.sin(turn)]) * radius + np.array(centre)


def test_around_a_round_lake_it_is_the_distance_to_the_circle():
    distance = distance_to_water(
        round_shore(80.0), eastings=EASTINGS, northings=NORTHINGS
    )
    east, north = np.meshgrid(EASTINGS, NORTHINGS)
    expected = np.abs(np.hypot(east - 200, north - 200) - 80)
    np.testing.assert_allclose(distance, expected, atol=0.5)
    assert distance.dtype == np.float32


def test_a_shore_beyond_the_grid_counts():
    shore = round_shore(50.0, centre=(-150.0, 200.0))
    distance = distance_to_water(shore, eastings=EASTINGS, northings=NORTHINGS)
    assert distance.min() == pytest.approx(105.0, abs=0.5)


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-500, 900), st.floats(-500, 900)), min_size=2),
)
def test_more_shore_never_lies_farther(places):
    shore = np.array(places)
    some = distance_to_water(shore[:1], eastings=EASTINGS, northings=NORTHINGS)
    every = distance_to_water(shore, eastings=EASTINGS, northings=NORTHINGS)
    assert (every <= some).all()


def test_height_counts_from_the_level_of_the_nearest_water():
    shore = np.array([[0.0, 200.0], [400.0, 200.0]])
    ground = np.full((40, 40), 12.0, np.float32)
    ground[0, 0] = np.nan
    height = height_above_water(
        ground,
        shore,
        np.array([10.0, 15.0]),
        eastings=EASTINGS,
        northings=NORTHINGS,
    )
    assert np.isnan(height[0, 0])
    np.testing.assert_array_equal(height[1:, :20], 2.0)
    np.testing.assert_array_equal(height[1:, 20:], -3.0)


def test_on_a_straight_shore_the_fetch_is_the_water_in_front():
    # Water fills the south half; the rays go round from the north by 22.5 degree.
    water = np.zeros((200, 200), bool)
    water[100:] = True
    fetch = water_fetch(water, cell_size=5.0, fetch_limit=300.0)
    at_shore = fetch[:, 99, 100]
    assert fetch.shape == (16, 200, 200)
    np.testing.assert_array_equal(at_shore[[0, 1, 2, 3, 13, 14, 15]], 0.0)
    assert at_shore[8] == pytest.approx(297.5, abs=0.1)
    assert at_shore[6] == pytest.approx(300.0 - 2.5 * 2**0.5, abs=0.1)


@pytest.mark.parametrize("direction", range(16))
def test_a_band_of_water_is_crossed_at_its_slant(direction):
    # 60 m of water east of the cell; beyond 75 degree off the ray misses it.
    water = np.zeros((300, 300), bool)
    water[:, 160:175] = True
    fetch = water_fetch(water, cell_size=4.0, fetch_limit=600.0)[direction, 150, 150]
    east = np.sin(np.radians(22.5 * direction))
    expected = 60.0 / east if east > 0.3 else 0.0
    assert fetch == pytest.approx(expected, abs=2 * 4.0 / max(east, 0.3))


def test_the_longest_fetch_is_the_largest_of_all_directions():
    fetch = np.zeros((4, 1, 2), np.float32)
    fetch[:, 0, 0] = [3, 9, 4, 0]
    np.testing.assert_array_equal(open_water_fetch(fetch), [[9.0, 0.0]])


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 999), limit=st.floats(10.0, 300.0))
def test_no_fetch_is_longer_than_the_limit(seed, limit):
    water = np.random.default_rng(seed).random((30, 40)) < 0.5
    fetch = water_fetch(water, cell_size=5.0, fetch_limit=limit)
    assert fetch.min() >= 0.0
    assert fetch.max() <= limit * (1 + 1e-5)


def test_steps_on_the_way_are_not_written():
    names = ("water_fetch", "open_water_fetch", "height_above_water")
    assert not any(find_layer(name).written for name in names)
    assert find_layer("distance_to_water").written
