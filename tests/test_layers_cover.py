"""Ground cover: words, codes, and the quantities of each kind."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from sitekit.layers.cover import (
    COVERS,
    GRASS_DEFICIT,
    SHORT_GRASS,
    cover_code,
    of_cover,
)
from sitekit.words import COVER_KINDS

QUANTITIES = ("production", "deficit", "drag", "warmth")
NAMES = [name for cover in COVERS for name in cover.names]


@pytest.mark.parametrize("name", NAMES)
def test_every_word_finds_its_own_kind(name):
    assert name in COVERS[cover_code(name)].names


def test_no_word_stands_for_two_kinds():
    assert len(NAMES) == len(set(NAMES))


@pytest.mark.parametrize("name", ["", "something else", "Wood", "gravel"])
def test_a_word_that_is_not_known_counts_as_short_grass(name):
    assert cover_code(name) == SHORT_GRASS


def test_short_grass_is_what_the_others_are_told_against():
    grass = COVERS[SHORT_GRASS]
    assert (grass.production, grass.warmth) == (1.0, 0.0)
    assert grass.deficit == GRASS_DEFICIT


@given(
    arrays.arrays(np.uint8, (3, 4), elements=st.integers(0, len(COVERS) - 1)),
    st.sampled_from(QUANTITIES),
)
def test_a_quantity_is_read_cell_by_cell(codes, quantity):
    found = of_cover(quantity, codes)
    assert found.shape == codes.shape
    assert found.dtype == np.float32
    wanted = [getattr(COVERS[code], quantity) for code in codes.ravel()]
    np.testing.assert_allclose(found.ravel(), wanted, rtol=1e-6)


def test_a_quantity_that_does_not_exist_is_an_error():
    with pytest.raises(AttributeError, match="colour"):
        of_cover("colour", np.zeros((2, 2), np.uint8))


def test_a_code_that_does_not_exist_is_an_error():
    with pytest.raises(IndexError, match="out of bounds"):
        of_cover("drag", np.array([[len(COVERS)]], np.uint8))


def value(quantity, name):
    return getattr(COVERS[cover_code(name)], quantity)


def test_rougher_cover_slows_cold_air_more():
    # Source: Manins & Sawford 1979, J. Atmos. Sci. 36 (bulk drag of drainage flow
    # grows with roughness); order only.
    order = ["snow", "bare", "short grass", "tall grass", "orchard", "wood"]
    drags = [value("drag", name) for name in order]
    assert drags == sorted(drags)
    assert len(set(drags)) == len(drags)


def test_bare_moist_ground_is_milder_and_mulch_is_colder_than_grass():
    # Source: Snyder & de Melo-Abreu 2005, FAO Environment and Natural Resources 10,
    # volume 1: bare moist soil stores more heat than grass; loose mulch less. Signs.
    assert value("warmth", "bare moist") > 0
    assert value("warmth", "tall grass") < 0
    assert value("warmth", "mulch") < 0
    assert value("warmth", "peat") < 0
    assert value("warmth", "snow") < value("warmth", "mulch")


def test_open_water_makes_no_cold_air():
    assert value("production", "open water") == 0
    assert all(c.production > 0 for c in COVERS if c.names != ("open water",))


def test_every_kind_drags_and_is_colder_than_the_air_above():
    assert all(c.drag > 0 and c.deficit > 0 for c in COVERS)


def test_the_words_that_a_file_may_hold_are_those_that_the_night_knows():
    assert sorted(COVER_KINDS) == sorted(NAMES)
