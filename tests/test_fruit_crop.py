"""From flowers killed to crops, poor years and their interval."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta

from sitekit.fruit.crop import (
    DRAWS,
    crop_share,
    draw_errors,
    pooled_interval,
)
from sitekit.fruit.kill import kill_share


@pytest.mark.parametrize(
    ("night", "crops"),
    [
        (-3.0, (1, 1, 0.89)),
        (-3.5, (1, 0.87, 0.40)),
        (-4.0, (0.63, 0.29, 0.13)),
    ],
)
def test_one_night_leaves_the_crop_that_each_need_allows(night, crops):
    # Needs: apple, apple in a bee-poor spring, cherry; computed.
    live = 1 - kill_share(night, -2.2, -3.9)
    found = [float(crop_share(live, need)) for need in (0.125, 0.275, 0.6)]
    assert found == pytest.approx(crops, abs=0.01)


@given(st.floats(0, 1), st.floats(0.05, 1), st.floats(0, 0.5))
def test_a_lower_need_never_gives_less_crop(live, need, more):
    assert crop_share(live, need) >= crop_share(live, need + more)


# Source: Brown, Cai & DasGupta 2001, Statistical Science 16:101, Jeffreys interval;
# years in ten, computed.
@pytest.mark.parametrize(
    ("count", "years", "low", "high"),
    [
        (3, 10, 1.17, 5.58),
        (9, 30, 1.80, 4.48),
        (0, 10, 0, 1.7),
        (0, 30, 0, 0.6),
    ],
)
def test_the_interval_is_that_of_jeffreys(count, years, low, high):
    found = pooled_interval(np.array([count]), years)
    assert found[0] == pytest.approx(low, abs=0.01)
    assert found[1] == pytest.approx(high, abs=0.05 if count == 0 else 0.01)


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 40), st.data())
def test_without_model_error_it_equals_scipy(years, data):
    count = data.draw(st.integers(0, years))
    low, high = pooled_interval(np.full(5, count), years)
    known = beta(count + 0.5, years - count + 0.5)
    assert low == pytest.approx(0 if count == 0 else 10 * known.ppf(0.05), abs=0.01)
    assert high == pytest.approx(
        10 if count == years else 10 * known.ppf(0.95), abs=0.01
    )


def test_draws_that_disagree_widen_it():
    same = pooled_interval(np.full(40, 6), 30)
    apart = pooled_interval(np.repeat([1, 6, 12], 14), 30)
    assert apart[0] < same[0]
    assert apart[1] > same[1]


def test_more_years_of_the_same_share_narrow_it():
    widths = [
        np.subtract(*pooled_interval(np.array([3 * n]), 10 * n)[::-1])
        for n in (1, 2, 3)
    ]
    assert widths == sorted(widths, reverse=True)


def test_places_keep_their_shape():
    low, high = pooled_interval(np.zeros((2, 3, 4), int), 30)
    assert low.shape == high.shape == (2, 3)


def test_it_holds_as_often_as_it_says():
    # Coverage simulated: shares drawn evenly, ten years each.
    random = np.random.default_rng(8)
    truth = random.uniform(0, 1, 4000)
    counts = random.binomial(10, truth)
    low, high = pooled_interval(counts[:, None], 10)
    held = ((low <= 10 * truth) & (10 * truth <= high)).mean()
    assert held == pytest.approx(0.9, abs=0.02)


def test_errors_are_drawn_alike_on_every_run_and_have_their_spread():
    once, again = draw_errors((5.0, 1.0)), draw_errors((5.0, 1.0))
    np.testing.assert_array_equal(once, again)
    assert once.shape == (2, DRAWS)
    assert once.mean(axis=1) == pytest.approx(0, abs=1e-9)
    assert once.std(axis=1) == pytest.approx([5, 1], rel=0.06)
    assert abs(np.corrcoef(once)[0, 1]) < 0.35
