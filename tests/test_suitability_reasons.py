"""Reasons in words, membership curves and classes: the edges between them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.fruit import fruit_names, read_fruit
from sitekit.layers import CATALOGUE
from sitekit.suitability.curves import membership
from sitekit.suitability.reasons import (
    VALUE_WORDS,
    add_finding,
    add_untested,
    end_reason,
    give_reason,
    held_words,
    layers_named,
    night_words,
    path_words,
    say_factor,
    write_value,
)
from sitekit.suitability.score import NOT_JUDGED, score_fruit
from sitekit.words import GOOD, NOT_KNOWN, REFUSED

FACTORS = [
    pytest.param(factor, id=f"{name}-{factor.layer}")
    for name in fruit_names()
    for factor in read_fruit(name).factors
]
UNTESTED = "drainage not tested"


@pytest.mark.parametrize(
    ("margin", "told"),
    [
        (0.0, "here"),
        (0.49, "here"),
        (0.5, "so near that its air stands here"),
        (0.99, "so near that its air stands here"),
        (1.0, "close by"),
        (40.0, "close by"),
    ],
)
def test_a_path_is_here_near_or_close_by(margin, told):
    assert path_words(margin) == told


@pytest.mark.parametrize(
    ("depth", "told"),
    [
        (0.0, "no cold air held"),
        (0.09, "no cold air held"),
        (0.1, "0.1\u00a0m of cold air held"),
        (2.44, "2.4\u00a0m of cold air held"),
    ],
)
def test_held_air_is_told_from_a_decimetre(depth, told):
    assert held_words(depth) == told


def test_air_that_has_a_way_out_but_stands_is_not_called_none():
    assert held_words(0.0, 1.43) == "1.4\u00a0m of cold air that runs off too slowly"
    assert held_words(2.0, 3.0) == "2.0\u00a0m of cold air held"
    assert held_words(0.0, 0.09) == "no cold air held"


@pytest.mark.parametrize(
    ("offset", "cold", "held", "told"),
    [
        (-1.5, 1.5, 0.0, "−1.5\u00a0°C against the house"),
        (-0.3, 3.0, 0.0, "−0.5\u00a0°C against the house"),
        (3.0, 3.5, 0.0, "3.5\u00a0°C colder than on the milder ground nearby"),
        (0.0, 4.0, 1.0, "2\u00a0°C colder than on the milder ground nearby"),
    ],
)
def test_no_ground_is_refused_for_a_night_that_is_warmer(offset, cold, held, told):
    # Where the reference place itself lies low, its offset says nothing of the class.
    values = {"frost_night_offset": offset, "night_cold": cold, "held_air": held}
    assert night_words(values, "the house") == told


@pytest.mark.parametrize(
    ("layer", "value", "told"),
    [
        ("slope", 5.71, "10\u00a0%"),
        ("relative_height", 1.26, "1.3\u00a0m"),
        ("relative_height", 12.6, "13\u00a0m"),
        ("low_ground_height", 1.96, "2.0\u00a0m"),
        ("frost_night_offset", -1.4, "\u22121.5\u00a0°C"),
        ("sunshine_hours_ripening", 6.2, "6\u00a0h"),
        ("wetness_index", 9.5, "wet"),
        ("wind_exposure", 0.1, "sheltered"),
        ("distance_to_water", 120.4, "120\u00a0m"),
        ("a_layer_without_words", -3.26, "\u22123.3"),
    ],
)
def test_a_value_is_told_as_people_say_it(layer, value, told):
    assert write_value(layer, value) == told


@pytest.mark.parametrize("layer", sorted(set(VALUE_WORDS) - {"path_margin"}))
def test_a_value_that_is_missing_is_not_known(layer):
    assert NOT_KNOWN in write_value(layer, float("nan"))


@pytest.mark.parametrize("layer", sorted(VALUE_WORDS))
def test_every_layer_that_has_words_is_made(layer):
    assert layer in CATALOGUE


@pytest.mark.parametrize("factor", FACTORS)
def test_the_words_of_a_factor_fill_every_gap(factor):
    values = dict.fromkeys([*CATALOGUE, "pooling_depth"], 1.0)
    text = say_factor(factor, values, "the house")
    assert "{" not in text
    assert text
    assert NOT_KNOWN not in text


@pytest.mark.parametrize("name", fruit_names())
def test_the_layers_that_reasons_tell_are_made(name):
    assert layers_named(read_fruit(name)) <= set(CATALOGUE)


@given(st.sampled_from(fruit_names()), st.floats(0, 0.69), st.booleans(), st.data())
def test_a_reason_is_one_sentence_and_says_drainage_once_at_its_end(
    name, suits, tested, data
):
    fruit = read_fruit(name)
    cause = data.draw(st.integers(0, len(fruit.factors) - 1))
    values = dict.fromkeys(CATALOGUE, 1.0)
    told = give_reason(
        fruit, cause, cause, values, suits, tested=tested, source_cell=1.0
    )
    assert told.endswith(".")
    assert told[0] == told[0].upper()
    assert told.count(UNTESTED) == (not tested)
    added = add_finding(told, "it seldom ripens", tested=tested)
    assert added.count(UNTESTED) == (not tested)
    assert "; it seldom ripens" in added
    assert end_reason(added, tested=tested) == added
    assert add_finding(told, "", tested=tested) == told


def test_tested_ground_says_nothing_of_drainage():
    assert add_untested("it is steep", tested=True) == "it is steep"
    assert add_untested("it is steep", tested=False) == f"it is steep; {UNTESTED}"


@given(
    st.lists(st.floats(-100, 100), min_size=2, max_size=2, unique=True).map(sorted),
    st.lists(st.floats(-200, 200), min_size=2, max_size=2).map(sorted),
)
def test_a_rising_curve_never_falls_and_a_falling_one_mirrors_it(points, values):
    up = membership(np.array(values), "rising", tuple(points))
    down = membership(np.array(values), "falling", tuple(points))
    assert up[0] <= up[1]
    assert np.allclose(up + down, 1, atol=1e-6)


@pytest.mark.parametrize("factor", FACTORS)
def test_missing_values_stay_missing_on_every_curve(factor):
    found = membership(np.array([np.nan]), factor.curve, factor.points, factor.floor)
    assert np.isnan(found).all()


@pytest.mark.parametrize("name", fruit_names())
def test_ground_that_a_single_factor_rules_out_is_refused(name):
    fruit = read_fruit(name)
    judged = np.ones((1, 1), bool)
    for index, factor in enumerate(fruit.factors):
        if factor.floor > 0:
            continue
        low, *_, high = factor.points
        worst = low - 1 if factor.curve == "rising" else high + 1
        layers = {factor.layer: np.full((1, 1), worst, np.float32)}
        found = score_fruit(fruit, layers, judged)
        assert found.site_class[0, 0] == REFUSED, factor.layer
        assert found.deciding[0, 0] in (
            index,
            *(i for i, f in enumerate(fruit.factors) if f.layer == factor.layer),
        )
        off = score_fruit(fruit, layers, ~judged)
        assert off.site_class[0, 0] == NOT_JUDGED != GOOD
