"""Settings: one place for name, default, unit and meaning."""

import dataclasses
from typing import Annotated

import pytest

from sitekit.pipeline import known_settings
from sitekit.settings import Setting, settings_of

RADIUS = Setting("m", "How far to look.", low=1, high=500)
WORDS = Setting("1", "Which edges are closed.", choices=("north", "south"))


def tuned(
    elevation,
    *,
    cell_size: float,
    radius: Annotated[float, RADIUS] = 150.0,
    edges: Annotated[tuple[str, ...], WORDS] = (),
    note: Annotated[str, "not a setting"] = "",
) -> None:
    """Stand for the function of a layer."""


def test_the_settings_of_a_function_are_its_marked_parameters_with_their_defaults():
    assert settings_of(tuned) == {"radius": (150.0, RADIUS), "edges": ((), WORDS)}


def test_a_function_without_marked_parameters_has_no_settings():
    assert settings_of(lambda elevation, *, cell_size: (elevation, cell_size)) == {}


def test_a_mark_among_other_marks_is_found():
    def marked(*, radius: Annotated[float, "in metres", RADIUS] = 3.0) -> None: ...

    assert settings_of(marked) == {"radius": (3.0, RADIUS)}


def test_what_comes_back_is_no_setting():
    def measured() -> Annotated[float, RADIUS]:
        return 1.0

    assert settings_of(measured) == {}


def test_a_setting_without_limits_allows_every_number():
    free = Setting("m", "Anything.")
    assert free.low == float("-inf")
    assert free.high == float("inf")
    assert free.choices == ()
    assert free.source == "common practice, no source"


def test_a_setting_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError, match="low"):
        RADIUS.low = 0


@pytest.mark.parametrize("name", sorted(known_settings()))
def test_every_setting_says_what_it_does_and_has_a_default_that_it_allows(name):
    default, setting = known_settings()[name]
    assert setting.text.strip()
    assert setting.text.endswith(".")
    assert setting.units.strip()
    assert setting.source.strip()
    assert setting.low < setting.high
    if isinstance(default, int | float) and not isinstance(default, bool):
        assert setting.low <= default <= setting.high
    if setting.choices:
        named = {default} if isinstance(default, str) else set(default)
        assert named <= set(setting.choices)
