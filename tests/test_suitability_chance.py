"""The chance of a class, from the doubt of the night."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from sitekit.fruit import read_fruit
from sitekit.suitability.chance import (
    CONFIDENCE,
    FAIR,
    SURE,
    find_class_chance,
    find_years_chance,
    rank_confidence,
)
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


def test_a_fruit_that_minds_no_cold_is_sure_of_its_class():
    factors = tuple(f for f in PEAR.factors if f.layer != "night_cold")
    hardy = replace(PEAR, factors=factors)
    found = find_class_chance(np.array([GOOD]), np.array([9.0]), np.array([1.0]), hardy)
    assert found.tolist() == [1.0]


def test_without_any_doubt_every_class_is_sure():
    for code, cold in ((GOOD, 1.0), (HARDY, 2.3), (REFUSED, 3.5)):
        assert chance(code, cold, 0.0) == pytest.approx(1.0)


@given(st.floats(-2, 6), st.floats(0.05, 3))
def test_the_chances_of_all_classes_make_one(cold, spread):
    now = GOOD if cold < FIRST else HARDY if cold < SEVERE else REFUSED
    stays = chance(now, cold, spread)
    others = {
        GOOD: norm.cdf(FIRST, cold, spread),
        HARDY: norm.cdf(SEVERE, cold, spread) - norm.cdf(FIRST, cold, spread),
        REFUSED: norm.sf(SEVERE, cold, spread),
    }
    assert sum(others.values()) == pytest.approx(1.0)
    assert stays == pytest.approx(others[now], abs=1e-9)


@given(st.floats(0.05, 2), st.floats(0.05, 2))
def test_more_doubt_never_makes_good_ground_surer(one, other):
    less, more = sorted((one, other))
    assert chance(GOOD, 0.5, more) <= chance(GOOD, 0.5, less) + 1e-12


# -- the years ---------------------------------------------------------------------------------

#: Poor crops in ten up to which a class is kept: 2, 3 and 4.
LOW, MIDDLE, HIGH = 2.0, 3.0, 4.0


def by_years(code, poor, low, high, instead=False):
    return float(
        find_years_chance(
            np.array([code]),
            np.array([poor]),
            np.array([low]),
            np.array([high]),
            instead=np.array([instead]),
        )[0]
    )


def law(poor, low, high):
    """Distribution of two halves of normal laws that meet at the middle."""

    def at_most(limit):
        side = high - poor if limit > poor else poor - low
        return norm.cdf((limit - poor) / (side / 1.645))

    return at_most


@pytest.mark.parametrize(("low", "high"), [(0.2, 3.5), (0.5, 2.0), (0.8, 5.0)])
def test_few_poor_crops_keep_a_good_class_by_the_normal_law(low, high):
    wanted = law(1.0, low, high)(LOW)
    assert by_years(GOOD, 1.0, low, high) == pytest.approx(wanted)


def test_between_two_limits_the_years_have_the_chance_of_the_band():
    at_most = law(2.5, 1.2, 4.4)
    assert by_years(CONDITIONS, 2.5, 1.2, 4.4) == pytest.approx(
        at_most(MIDDLE) - at_most(LOW)
    )
    at_most = law(3.5, 2.0, 5.5)
    assert by_years(HARDY, 3.5, 2.0, 5.5) == pytest.approx(
        at_most(HIGH) - at_most(MIDDLE)
    )


def test_many_poor_crops_refuse_ground_surely():
    assert by_years(REFUSED, 9.0, 7.5, 9.8) > 0.99


def test_a_longer_record_makes_a_class_surer():
    # Source: the standard error of a share falls with the root of its count.
    def span(years):
        half = 1.645 * 10 * np.sqrt(0.1 * 0.9 / years)
        return by_years(GOOD, 1.0, 1.0 - half, 1.0 + half)

    assert span(10) < span(30) < span(100)


def test_where_ground_holds_the_class_down_years_must_only_not_lower_it():
    at_most = law(1.0, 0.3, 4.0)
    assert by_years(CONDITIONS, 1.0, 0.3, 4.0) == pytest.approx(at_most(MIDDLE))
    assert by_years(HARDY, 1.0, 0.3, 4.0) == pytest.approx(at_most(HIGH))
    assert by_years(REFUSED, 1.0, 0.3, 4.0) == pytest.approx(1.0)


def test_where_another_group_stands_hardy_holds_against_any_number_of_poor_crops():
    at_most = law(5.0, 3.5, 6.5)
    assert by_years(HARDY, 5.0, 3.5, 6.5, instead=True) == pytest.approx(
        1 - at_most(MIDDLE)
    )
    assert by_years(REFUSED, 5.0, 3.5, 6.5) == pytest.approx(1 - at_most(HIGH))


# -- the words ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("chance", "word"),
    [
        (0.0, "low"),
        (FAIR - 0.01, "low"),
        (FAIR, "fair"),
        (SURE - 0.01, "fair"),
        (SURE, "good"),
        (1.0, "good"),
    ],
)
def test_three_words_tell_the_chance(chance, word):
    rank = rank_confidence(np.array([chance]), np.array([False]))
    assert CONFIDENCE[int(rank[0])] == word


def test_ground_that_nobody_has_tested_is_at_most_fair():
    rank = rank_confidence(np.array([0.5, 0.8, 1.0]), np.ones(3, bool))
    assert [CONFIDENCE[r] for r in rank] == ["low", "fair", "fair"]
