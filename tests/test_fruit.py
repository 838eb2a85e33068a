"""Fruit files: what they hold, and what is said of a wrong one."""

from pathlib import Path

import pytest

from sitekit.errors import FruitError
from sitekit.fruit import fruit_names, parse_fruit, read_fruit
from sitekit.fruit.fruit import CURVES
from sitekit.layers import CATALOGUE
from sitekit.words import CONDITIONS, HARDY

SIX = ("apple", "blackcurrant", "pear", "plum", "sour_cherry", "sweet_cherry")
OWN = """
spacing_m = 3.0
row_spacing_m = 4.0
[[factor]]
layer = "slope"
curve = "falling"
unit = "%"
points = [10, 20]
lack = "with conditions"
say = "the slope is {value}"
"""


def test_the_catalogue_has_the_six_fruit_of_the_contract():
    assert fruit_names() == SIX


@pytest.mark.parametrize("name", SIX)
def test_every_factor_reads_a_known_layer_and_names_a_source(name):
    fruit = read_fruit(name)
    assert fruit.name == name
    for factor in fruit.factors:
        assert factor.layer in CATALOGUE
        assert len(factor.points) == CURVES[factor.curve]
        assert factor.source
        assert "{" in factor.say
        assert factor.lack in (HARDY, CONDITIONS)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        # Sources: nursery tables of spacing in metres (Walcot; orangepippintrees):
        # apple MM106 4-5 and M26 3-4, pear Quince A 3.6-4.5, plum St Julien A 3.6-5.5,
        # cherry Gisela 5 3-4 and Colt 4-5.
        ("apple", 3.0, 5.0),
        ("pear", 3.6, 4.5),
        ("plum", 3.6, 5.5),
        ("sour_cherry", 3.0, 4.0),
        ("sweet_cherry", 4.0, 5.0),
    ],
)
def test_spacing_lies_within_the_nursery_tables(name, low, high):
    assert low <= read_fruit(name).spacing <= high


def test_the_cherry_stands_cold_ground_least_and_the_apple_best():
    # Share of live blossom needed for a full crop: apple 10-15 %, cherry well over
    # 50 % (Utah State University Extension IPM-012-11).
    refused_from = {
        name: next(
            f for f in read_fruit(name).factors if f.layer == "night_cold"
        ).points[1]
        for name in SIX
    }
    assert min(refused_from, key=refused_from.__getitem__) == "sweet_cherry"
    assert max(refused_from, key=refused_from.__getitem__) == "apple"


def test_pear_stands_wetter_ground_than_apple_and_cherry_least():
    # Source: BC Soil Management Handbook, table 3.
    wet = {
        n: next(f for f in read_fruit(n).factors if f.layer == "wetness_index").points[
            1
        ]
        for n in SIX
    }
    assert wet["pear"] > wet["apple"] > wet["sweet_cherry"]


def test_an_unknown_fruit_names_the_nearest_and_all_that_are_known():
    with pytest.raises(
        FruitError, match=r'No fruit is called "aple"\. Nearest: "apple"'
    ):
        read_fruit("aple")


def test_a_growers_own_file_adds_a_fruit_and_comes_first(tmp_path: Path):
    (tmp_path / "quince.toml").write_text(OWN, encoding="utf-8")
    (tmp_path / "apple.toml").write_text(OWN, encoding="utf-8")
    assert read_fruit("quince", tmp_path).name == "quince"
    assert read_fruit("apple", tmp_path).spacing == 3.0
    assert read_fruit("plum", tmp_path).name == "plum"


def test_slope_in_per_cent_becomes_degrees():
    (factor,) = parse_fruit(OWN, "own.toml").factors
    # 10 % is 5.711 degrees, 20 % is 11.310 (tangent).
    assert factor.points == pytest.approx((5.711, 11.310), abs=5e-4)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("spacing_m = 3.0", "spacing_m = 0"), '"spacing_m" must be a length'),
        (
            ("spacing_m = 3.0", "spaccing_m = 3.0"),
            'unknown key "spaccing_m". Nearest: "spacing_m"',
        ),
        (('curve = "falling"', 'curve = "droops"'), 'no curve is called "droops"'),
        (("points = [10, 20]", "points = [20, 10]"), "2 points in rising order"),
        (("points = [10, 20]", "points = [10]"), "2 points in rising order"),
        (('"with conditions"', '"maybe"'), '"lack" is'),
        (('say = "the slope is {value}"', ""), "lacks say"),
        (('unit = "%"', 'floor = 1.5\nunit = "%"'), '"floor" lies from 0 to below 1'),
        (("[[factor]]", "[[factor"), "own.toml: "),
    ],
)
def test_a_wrong_file_is_told_in_one_sentence(change, message):
    with pytest.raises(FruitError, match=r"own\.toml") as caught:
        parse_fruit(OWN.replace(*change), "own.toml")
    assert message in str(caught.value)


def test_all_mistakes_of_a_file_are_told_at_once():
    text = OWN.replace("spacing_m = 3.0", "spacing_m = -1").replace(
        '"falling"', '"droops"'
    )
    with pytest.raises(FruitError) as caught:
        parse_fruit(text, "own.toml")
    assert len(caught.value.mistakes) == 2


def test_a_file_without_factors_is_refused():
    with pytest.raises(FruitError, match="it has no"):
        parse_fruit("spacing_m = 3\nrow_spacing_m = 4\n", "own.toml")
