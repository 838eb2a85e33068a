"""Errors: one tree, one sentence for each mistake, the nearest known name."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit import errors
from sitekit.errors import (
    ConfigError,
    CoverageError,
    CrsError,
    FruitError,
    GridError,
    InputError,
    LayerError,
    OutputError,
    SitekitError,
    nearest,
)

KINDS = (
    ConfigError,
    CoverageError,
    CrsError,
    FruitError,
    GridError,
    InputError,
    LayerError,
    OutputError,
)
LAYERS = ("slope", "aspect", "elevation", "pooling_depth")


@pytest.mark.parametrize("kind", KINDS)
def test_every_error_is_caught_by_the_one_at_the_root(kind):
    with pytest.raises(SitekitError, match=r"^dem\.tif is empty\.$"):
        raise kind("dem.tif is empty.")  # noqa: EM101 - the sentence is the test


@pytest.mark.parametrize("kind", [CrsError, CoverageError])
def test_errors_of_files_are_caught_as_bad_inputs(kind):
    assert issubclass(kind, InputError)


@pytest.mark.parametrize("kind", [ConfigError, GridError, LayerError, OutputError])
def test_errors_of_other_things_are_not_taken_for_bad_inputs(kind):
    assert not issubclass(kind, InputError)


def test_the_tree_in_the_text_of_the_module_names_every_error():
    defined = {
        name
        for name, value in vars(errors).items()
        if isinstance(value, type) and issubclass(value, SitekitError)
    }
    assert {kind.__name__ for kind in KINDS} | {"SitekitError"} == defined
    assert all(name in errors.__doc__ for name in defined)


@given(st.lists(st.text(min_size=1), min_size=1, max_size=5))
def test_mistakes_are_kept_apart_and_told_one_a_line(mistakes):
    error = ConfigError(*mistakes)
    assert error.mistakes == tuple(mistakes)
    assert str(error) == "\n".join(mistakes)


@pytest.mark.parametrize(
    ("word", "hint"),
    [
        ("slop", "slope"),
        ("elevaton", "elevation"),
        ("poling_depth", "pooling_depth"),
        ("slope", "slope"),
    ],
)
def test_the_nearest_word_is_offered(word, hint):
    assert nearest(word, LAYERS) == f' Nearest: "{hint}".'


@pytest.mark.parametrize("word", ["zzz", "", "12345"])
def test_nothing_is_offered_where_nothing_is_near(word):
    assert nearest(word, LAYERS) == ""
    assert nearest(word, ()) == ""


@given(st.text(max_size=12))
def test_only_a_known_word_is_offered(word):
    hint = nearest(word, iter(LAYERS))
    assert hint == "" or hint in {f' Nearest: "{name}".' for name in LAYERS}
