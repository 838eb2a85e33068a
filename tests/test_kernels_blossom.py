"""Blossom through frosts: the worst night against the product, places, draws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.kernels.blossom import SpringNights, live_blossom

#: Rows from -10 to 0 degC by 0.5; columns are stages that stand ever less.
SCALE = (-10.0, 0.5)
TEMPERATURES = np.arange(-10, 0.01, 0.5)
HALF = np.array([-12.0, -6.0, -3.0])
KILLED = (1 / (1 + np.exp((TEMPERATURES[:, None] - HALF) / 0.4))).astype(np.float32)
KILLED[-1] = 0
NONE = np.zeros((2, 1))


def nights_of(lowest, year=None, clear=1.0, stages=2, draws=1):
    lowest = np.asarray(lowest, np.float32)
    year = np.zeros(lowest.size, np.int64) if year is None else np.asarray(year)
    weight = np.broadcast_to(np.float32(clear), lowest.shape).copy()
    columns = np.broadcast_to(np.int32(stages), (draws, lowest.size, 1)).copy()
    return SpringNights(year, lowest, weight, columns)


def shift(still=0.0, windy=0.0):
    return np.array([[still], [windy]])


def live_of(nights, places=None, errors=NONE, years=1):
    places = shift() if places is None else places
    return live_blossom(nights, places, errors, KILLED, SCALE, years)


def one_by_one(nights, places, errors, years):
    """The same in plain Python, as the words say it."""
    live = np.ones((places.shape[1], errors.shape[1], years))
    for place, (still, windy) in enumerate(places.T):
        for draw, (on_still, on_all) in enumerate(errors.T):
            for night, year in enumerate(nights.year):
                clear = nights.clear[night]
                there = nights.lowest[night] + clear * (still + on_still)
                there += (1 - clear) * windy + on_all
                row = int(np.clip(np.floor((there + 10) / 0.5 + 0.5), 0, 20))
                dead = KILLED[row, nights.stages[draw, night]].mean()
                live[place, draw, year] *= 1 - dead
    return live


def test_two_equal_nights_are_bounded_by_the_worst_and_the_product():
    # Two nights of -3.0 at apple bloom (28 and 25 F): k .468, computed.
    killed = np.full((2, 1), 0.468, np.float32)
    killed[-1] = 0
    nights = nights_of([-3.0, -3.0], stages=0)
    live, worst = live_blossom(nights, shift(), NONE, killed, (-3.0, 1.0), 1)
    assert worst[0, 0] == pytest.approx(0.532, abs=1e-3)
    assert live[0, 0, 0] == pytest.approx(0.283, abs=1e-3)


def test_nights_without_frost_leave_all():
    live, worst = live_of(nights_of([0.0, 5.0, 12.0]))
    assert live.tolist() == [[[1.0]]]
    assert worst.tolist() == [[1.0]]


def test_no_night_at_all_leaves_all():
    live, _ = live_of(nights_of([]), years=3)
    assert live.tolist() == [[[1, 1, 1]]]


def test_colder_than_the_table_counts_as_its_coldest():
    coldest, beyond = live_of(nights_of([-10.0])), live_of(nights_of([-40.0]))
    np.testing.assert_array_equal(coldest[0], beyond[0])


def test_years_are_kept_apart():
    live, worst = live_of(nights_of([-3.0, -9.0], year=[0, 2]), years=3)
    assert live[0, 0, 1] == 1
    assert live[0, 0, 2] < live[0, 0, 0] < 1
    np.testing.assert_allclose(live[0, 0], worst[0])


def test_clear_nights_take_the_offset_and_the_others_the_lapse():
    windy = nights_of([-2.0], clear=0.0)
    still = nights_of([-2.0], clear=1.0)
    between = nights_of([-2.0], clear=0.5)
    colder = shift(still=-2.0)
    same, _ = live_of(windy)
    np.testing.assert_array_equal(live_of(windy, colder)[0], same)
    assert live_of(still, colder)[0] < live_of(between, colder)[0] < same
    assert live_of(windy, shift(windy=-1.0))[0] < same


def test_flowers_of_a_tree_share_the_mean_of_their_stages():
    nights = nights_of([-3.0])
    stages = np.array([[[0, 1, 2]]], np.int32)
    spread = SpringNights(nights.year, nights.lowest, nights.clear, stages)
    row = round((-3.0 - SCALE[0]) / SCALE[1])
    assert live_of(spread)[0][0, 0, 0] == pytest.approx(1 - KILLED[row].mean())


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_it_equals_plain_python(seed):
    random = np.random.default_rng(seed)
    count, draws, flowers = random.integers(1, 20), 3, 2
    nights = SpringNights(
        random.integers(0, 4, count),
        random.uniform(-9, 4, count).astype(np.float32),
        random.uniform(0, 1, count).astype(np.float32),
        random.integers(0, 3, (draws, count, flowers)).astype(np.int32),
    )
    places, errors = random.normal(0, 1, (2, 5)), random.normal(0, 1, (2, draws))
    live, worst = live_of(nights, places, errors, 4)
    expected = one_by_one(nights, places, errors, 4)
    # A temperature midway between two rows may fall to either.
    close = np.isclose(live, expected, atol=1e-5)
    assert close.mean() > 0.98
    assert (worst >= live[:, 0] - 1e-12).all()


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(-9, 3), min_size=1, max_size=8),
    st.floats(0, 4),
    st.floats(-9, 3),
)
def test_colder_nights_and_more_nights_never_help(lowest, colder, more):
    here, worst = live_of(nights_of(lowest))
    there, _ = live_of(nights_of(lowest), shift(still=-colder))
    added, added_worst = live_of(nights_of([*lowest, more]))
    assert there[0, 0, 0] <= here[0, 0, 0]
    assert added[0, 0, 0] <= here[0, 0, 0]
    assert added_worst[0, 0] <= worst[0, 0]
    assert worst[0, 0] >= here[0, 0, 0]
