"""The chance of a class, from the doubt of the night."""

import numpy as np
import pytest
from scipy.stats import norm

from sitekit.fruit import read_fruit
from sitekit.suitability.chance import find_class_chance
from sitekit.words import CONDITIONS, GOOD, HARDY, REFUSED

PEAR = read_fruit("pear", None)
#: Limits of the pear: falling from 1.5 to 2.8; 0.7 is left at 1.89. [degC]
FIRST, SEVERE = 2.8 - 0.7 * 1.3, 2.8


def chance(code, cold, spread):
    return float(
        find_class_chance(np.array([code]), np.array([cold]), np.array([spread]), PEAR)[
            0
        ]
    )


def test_far_from_every_limit_a_class_is_sure():
    assert chance(GOOD, 0.0, 0.3) > 0.99
    assert chance(REFUSED, 5.0, 0.5) > 0.99


def test_at_a_limit_it_is_as_likely_as_not():
    assert chance(GOOD, FIRST - 1e-6, 0.5) == pytest.approx(0.5, abs=0.01)
    assert chance(REFUSED, SEVERE + 1e-6, 0.5) == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("cold", [1.95, 2.3, 2.7])
@pytest.mark.parametrize("spread", [0.2, 0.6])
def test_between_two_limits_it_is_the_normal_probability(cold, spread):
    wanted = norm.cdf(SEVERE, cold, spread) - norm.cdf(FIRST, cold, spread)
    assert chance(HARDY, cold, spread) == pytest.approx(wanted, abs=1e-6)


def test_where_another_factor_decides_cold_must_only_not_lower_it():
    wanted = norm.cdf(FIRST, 1.2, 0.5)
    assert chance(CONDITIONS, 1.2, 0.5) == pytest.approx(wanted, abs=1e-6)
    assert chance(HARDY, 1.2, 0.5) == pytest.approx(
        norm.cdf(SEVERE, 1.2, 0.5), abs=1e-6
    )
    assert chance(REFUSED, 1.2, 0.5) == pytest.approx(1.0)
