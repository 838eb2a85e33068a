"""What a sheet says about its own use."""

from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest

from sitekit.cartography.notes import (
    NOT_FOR_SETTING_OUT,
    USE_THE_PACK,
    has_pack,
    list_cautions,
    tell_use,
)


def with_plants(survey, count):
    plants = pd.DataFrame({"id": [f"1-1-{i:02d}" for i in range(count)]})
    return replace(survey, plan=SimpleNamespace(plants=plants))


def with_cautions(survey, *cautions):
    return replace(survey, answer=replace(survey.answer, cautions=cautions))


def test_a_survey_without_a_plan_has_no_pack(small_survey):
    assert not has_pack(small_survey)
    assert tell_use(small_survey) == "Planning help, not for setting out."


def test_a_plan_without_a_plant_makes_no_pack(small_survey):
    assert not has_pack(with_plants(small_survey, 0))


def test_a_plan_with_plants_makes_a_pack(small_survey):
    planned = with_plants(small_survey, 1)
    assert has_pack(planned)
    assert "handover/" in tell_use(planned)
    assert "not for setting out" not in tell_use(planned)


def test_without_a_pack_it_is_said_once_that_nothing_is_for_setting_out(small_survey):
    told = list_cautions(with_cautions(small_survey, "Mind the stream."))
    assert told == ["Mind the stream.", NOT_FOR_SETTING_OUT]
    own = with_cautions(small_survey, "Not for setting out: there is no pack.")
    assert list_cautions(own) == ["Not for setting out: there is no pack."]


@pytest.mark.parametrize(
    "own", ["Not for setting out: no pack.", "Never for setting out."]
)
def test_with_a_pack_the_pointer_takes_the_place_of_the_caution(small_survey, own):
    planned = with_plants(with_cautions(small_survey, "Mind the stream.", own), 3)
    assert list_cautions(planned) == ["Mind the stream.", USE_THE_PACK]


def test_the_pointer_says_that_the_sheet_itself_is_not_for_it():
    assert "never this sheet" in USE_THE_PACK
