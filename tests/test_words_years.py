"""Years of ten in words: whole years, a range, and never a bare nought."""

from dataclasses import replace

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit import words
from sitekit.climate.telling import tell_poor_crops, tell_ripening
from sitekit.report.tables import find_years
from sitekit.results import Survey
from sitekit.webmap.answer import crop_words

YEARS = st.floats(0, 10, allow_nan=False)


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (0.0, "under 1"),
        (0.49, "under 1"),
        (0.5, "1"),
        (0.67, "1"),
        (1.33, "1"),
        (5.67, "6"),
        (10.0, "10"),
    ],
)
def test_years_are_whole_and_less_than_half_is_not_none(value, told):
    # Half a year would round to the even side, to nought.
    assert words.years_in_ten(value) == told


@given(YEARS)
def test_no_number_of_years_is_told_as_nought(value):
    assert words.years_in_ten(value) != "0"
    assert "." not in words.years_in_ten(value)


@given(YEARS, YEARS)
def test_a_range_stays_on_its_line(low, high):
    told = words.years_span(min(low, high), max(low, high))
    assert " " not in told
    assert told.startswith("(")
    assert told.endswith(")")


@given(YEARS)
def test_sentence_table_and_map_tell_the_same_years(value):
    low, high = max(value - 1, 0), min(value + 2, 10)
    told = words.years_in_ten(value)
    assert crop_words(value, low, high)[0] == f"{told} in ten"
    sentence = tell_poor_crops(value, low, high)
    assert told.removeprefix("under ") in sentence
    assert ("fewer than 1 year" in sentence) == (told == "under 1")


def test_page_one_tells_the_usual_group_which_stands_first(small_survey: Survey):
    usual = small_survey.fruit_by_block.assign(
        group="autumn", poor_crop_years=0.3, low=0.0, high=1.8
    )
    other = usual.assign(group="late", poor_crop_years=7.0, low=5.0, high=9.0)
    table = pd.concat([usual, other], ignore_index=True)
    told = find_years(replace(small_survey, fruit_by_block=table))
    assert set(told.values()) == {"under 1 in ten (0\u00a0to\u00a02)"}
    assert len(told) == len(usual)


def test_a_range_that_is_not_known_is_said():
    assert crop_words(2.0, float("nan"), float("nan")) == [
        "2 in ten",
        "range not known",
    ]


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (0.5, "spring frost spoils the crop in 1 year of ten (0 to 2)"),
        (1.5, "spring frost spoils the crop in 2 years of ten (0 to 2)"),
        (0.1, "spring frost spoils the crop in fewer than 1 year of ten (0 to 2)"),
    ],
)
def test_a_sentence_never_says_nought_years(value, told):
    assert tell_poor_crops(value, 0.2, 2.2) == told


@pytest.mark.parametrize(
    ("ripe", "begin"),
    [
        (0.2, "ripens in no year of ten"),
        (0.5, "ripens in 1 year of ten"),
        (4.6, "ripens in 4 years of ten"),
        (9.4, "ripens in 9 years of ten"),
    ],
)
def test_ripening_is_told_in_whole_years(ripe, begin):
    assert tell_ripening(ripe, 10.0, ripe).startswith(begin)
