"""What no term explains: how it hangs together, and how fits of it are mixed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, t
from sklearn.gaussian_process.kernels import Matern

from sitekit.measuring.residual import (
    RANGES,
    RESIDUALS,
    USUAL_RANGE,
    USUAL_RESIDUAL,
    covariance,
    mix,
    prior_likelihood,
    variance_of,
)

PLACES = np.random.default_rng(1).uniform(0, 400, (30, 2))


def test_the_covariance_is_the_exponential_kernel_of_scikit_learn():
    wanted = 0.6**2 * Matern(90.0, nu=0.5)(PLACES)
    assert covariance(PLACES, PLACES, 0.6, 90.0, None) == pytest.approx(wanted)


def test_the_residual_is_nought_at_the_reference_place():
    anchor = PLACES[4]
    made = covariance(PLACES, PLACES, 0.6, 90.0, anchor)
    assert made[4] == pytest.approx(0, abs=1e-12)
    assert np.linalg.eigvalsh(made).min() > -1e-9


@pytest.mark.parametrize("anchor", [None, np.array([50.0, 60.0])])
def test_the_variance_is_the_diagonal_of_the_covariance(anchor):
    made = covariance(PLACES, PLACES, 0.6, 90.0, anchor)
    assert variance_of(PLACES, 0.6, 90.0, anchor) == pytest.approx(np.diag(made))


def test_the_usual_residual_is_the_likeliest_before_any_reading():
    likely = {(s, r): prior_likelihood(s, r) for s in RESIDUALS for r in RANGES}
    assert max(likely, key=likely.get) == (USUAL_RESIDUAL, USUAL_RANGE)
    assert prior_likelihood(2 * USUAL_RESIDUAL, USUAL_RANGE) == pytest.approx(-0.5)


@given(
    st.lists(
        st.tuples(st.floats(-3, 3), st.floats(0.05, 4), st.floats(0.01, 1)),
        min_size=1,
        max_size=6,
    )
)
def test_the_interval_of_a_mixture_holds_nine_in_ten(fits):
    means, spreads, shares = (np.array(v) for v in zip(*fits, strict=True))
    shares = shares / shares.sum()
    mean, spread = mix(means[:, None], spreads[:, None], shares)
    assert mean[0] == pytest.approx(shares @ means)
    ends = mean[0] + 1.645 * spread[0] * np.array([[-1], [1]])
    below, above = norm.cdf(ends, means, spreads) @ shares
    assert above - below == pytest.approx(0.9, abs=1e-3)


def test_a_mixture_over_an_unknown_size_is_as_wide_as_the_law_of_student():
    # Source: Student 1908, Biometrika 6: a normal law whose variance is known from
    # nu values only (scaled inverse chi-squared) is the t law with nu degrees.
    degrees = 5
    random = np.random.default_rng(3)
    spreads = np.sqrt(degrees / random.chisquare(degrees, 20_000))
    shares = np.full(spreads.size, 1 / spreads.size)
    _, spread = mix(np.zeros((spreads.size, 1)), spreads[:, None], shares)
    assert 1.645 * spread[0] == pytest.approx(t.ppf(0.95, degrees), rel=0.02)
