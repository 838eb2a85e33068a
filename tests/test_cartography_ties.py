"""Figures and their units stay on one line; words do not."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.cartography.ties import UNITS, tie_units
from sitekit.report.markup import element

TIED = "\u00a0"


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_stays_with_its_figure(unit):
    assert tie_units(f"about 1.5 {unit}, or so") == f"about 1.5{TIED}{unit}, or so"


@pytest.mark.parametrize(
    "text", ["12 mulched rows", "3 metres", "2 hard winters", "5 kinds", "m 5 a"]
)
def test_a_word_is_no_unit(text):
    assert tie_units(text) == text


def test_a_doubt_stays_with_its_sign():
    assert tie_units("(± 0.5)") == f"(±{TIED}0.5)"


def test_text_of_a_page_is_tied_and_markup_is_left_alone():
    made = element("p", "out by 1.5 °C", element("b", "in 20 m"), title="20 m")
    assert made == f'<p title="20 m">out by 1.5{TIED}°C<b>in 20{TIED}m</b></p>'


@given(st.text())
def test_nothing_but_spaces_changes_and_twice_is_once(text):
    tied = tie_units(text)
    assert tied.replace(TIED, " ") == text.replace(TIED, " ")
    assert tie_units(tied) == tied
