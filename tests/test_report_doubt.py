"""What would change the answer, in the report."""

from dataclasses import replace
from datetime import date
from html import unescape

import numpy as np
import pandas as pd
import pytest

from sitekit.report.document import make_report
from sitekit.report.doubt import change_my_mind
from sitekit.results import DoubtTold

TITLE = "What would change my mind"
HOSTILE = 'a <img src=x onerror="alert(1)"> bank'
MIND = (
    "If low ground here cools twice as strongly as taken: block 1, Low Meadow, "
    "−1.2 °C, and no class changes. 7 of 21 verdicts hang on it. What settles it: two "
    "thermometers at 1.5 m, one low and one 20 to 40 m above it.",
    f"If hedges are half as open as taken: block 2, {HOSTILE}, −0.4 °C, and no class "
    "changes. No verdict hangs on it. What settles it: a look.",
)


def told(mind=MIND, record=True):
    rows = [
        ("how strongly low ground cools here", 1.2, 7),
        ("openness of hedges and walls", 0.3, 0),
    ]
    if record:
        rows.append(("length of the record", np.nan, 0))
    return DoubtTold(pd.DataFrame(rows, columns=["input", "degc", "turned"]), 21, mind)


@pytest.fixture(scope="module")
def shelf():
    """Keeps the made survey for all tests of this file; none of them changes it."""
    return {}


@pytest.fixture
def survey(request, shelf):
    if not shelf:
        shelf["survey"] = request.getfixturevalue("small_survey")
    return replace(shelf["survey"], doubt=told())


def test_without_carried_doubt_there_is_no_section(survey):
    plain = replace(survey, doubt=None)
    assert change_my_mind(plain) == ""
    assert TITLE not in make_report(plain, today=date(2026, 11, 25))


def test_the_report_has_the_section_once(survey):
    page = make_report(survey, today=date(2026, 11, 25))
    assert page.count(f"<h2>{TITLE}</h2>") == 1
    assert page.index("<h2>Why</h2>") < page.index(TITLE) < page.index("Not known")


def test_sentences_stand_in_their_order_as_a_numbered_list(survey):
    page = str(change_my_mind(survey))
    assert page.index("cools twice as strongly") < page.index("half as open")
    assert page.count("<ol") == 1
    assert page.count("<li>") == 2


def test_names_of_the_grower_are_text_and_never_markup(survey):
    page = str(change_my_mind(survey))
    assert "<img src=x" not in page
    assert HOSTILE in unescape(page)


def test_degrees_are_told_against_the_reference_place(survey):
    assert f"against {survey.site.reference_name}" in str(change_my_mind(survey))
    assert "all 21 verdicts" in str(change_my_mind(survey))


def test_there_is_one_chart_and_it_can_be_listened_to(survey):
    page = str(change_my_mind(survey))
    assert page.count("<img") == 1
    page = unescape(page)
    assert "how strongly low ground cools here: 1.2\u00a0°C, turns 7" in page
    assert "of 21 verdicts" in page


def test_what_moves_no_night_is_told_without_degrees(survey):
    page = unescape(str(change_my_mind(survey)))
    assert "length of the record: turns 0" in page
    assert "The length of the record moves no night" in page


def test_without_a_record_its_length_is_not_spoken_of(survey):
    page = str(change_my_mind(replace(survey, doubt=told(record=False))))
    assert "length of the record" not in page.lower()


def test_where_nothing_is_decisive_that_is_said(survey):
    page = str(change_my_mind(replace(survey, doubt=told(mind=()))))
    assert "No input within its usual range turns a verdict" in page
    assert "<ol" not in page


@pytest.mark.parametrize("word", ["safe", "allowed", "guaranteed", "frost-free"])
def test_nothing_is_promised(survey, word):
    assert word not in str(change_my_mind(survey))
