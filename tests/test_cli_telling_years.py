"""What a terminal is told of the years of a record."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from sitekit.cli.telling import tell_check, tell_survey
from sitekit.results import Survey, YearsTold
from sitekit.site import Record

NOTHING = pd.DataFrame()


def counted(survey: Survey, poor: float) -> Survey:
    """The same survey with the years of a record of 30 years."""
    table = survey.fruit_by_block.assign(poor_crop_years=poor, low=0.2, high=3.6)
    frosts = pd.DataFrame({"year": range(1996, 2026), "day": 110.0, "later": 5.0})
    years = YearsTold("the farm", frosts, NOTHING, NOTHING, "", NOTHING, NOTHING)
    return replace(survey, fruit_by_block=table, years=years)


def line_of(text: str) -> str:
    (line,) = (line for line in text.splitlines() if line.startswith("Years:"))
    return line


@pytest.mark.parametrize(("poor", "told"), [(0.1, "under 1"), (1.3, "1"), (2.6, "3")])
def test_one_line_tells_the_years_of_the_best_block(small_survey, poor, told):
    text = tell_survey(counted(small_survey, poor), Path("out"), 3.0)
    line = line_of(text)
    assert line.startswith(f"Years:     block 1, apples: poor crops in {told} of ten")
    assert line.replace("\u00a0", " ").endswith("(0 to 4), from 30 years")
    assert len(line) <= 80


def test_without_a_record_the_terminal_tells_no_years(small_survey):
    assert "Years:" not in tell_survey(small_survey, Path("out"), 3.0)


def test_a_fruit_of_which_the_years_tell_nothing_has_no_line(small_survey):
    survey = counted(small_survey, np.nan)
    assert "Years:" not in tell_survey(survey, Path("out"), 3.0)


def test_without_blocks_there_is_no_line(small_survey):
    survey = counted(small_survey, 1.0)
    survey = replace(survey, blocks=survey.blocks.iloc[:0])
    assert "Years:" not in tell_survey(survey, Path("out"), 3.0)


def with_record(survey: Survey, years: int) -> Survey:
    """The same survey with a record of so many years."""
    dates = pd.date_range("2001-01-01", periods=365 * years, freq="D")
    days = pd.DataFrame({"date": dates, "tmin": 1.0, "tmax": 9.0})
    record = Record("the farm", days, 0.0, 0.0, 715.0, 46.3, NOTHING)
    return replace(survey, site=replace(survey.site, records=(record,)))


@pytest.mark.parametrize(
    ("years", "said"),
    [
        (1, "no years of ten, since the record touches 1 year, and 5 complete ones"),
        (30, "survey and years of ten; the record touches 30 years, of which"),
    ],
)
def test_a_check_says_whether_years_can_be_counted(small_survey, years, said):
    text = tell_check(with_record(small_survey, years).site)
    last = text.partition("Ready for: ")[2]
    assert said in " ".join(last.split())
    assert max(map(len, text.splitlines())) <= 80


def test_a_check_without_a_record_speaks_of_no_years(small_survey):
    assert tell_check(small_survey.site).endswith("Ready for: survey.")
