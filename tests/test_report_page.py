"""The foot of a page, and words that stay whole in narrow tables."""

from datetime import date

import pytest

from sitekit.report.page import make_style

DAY = date(2026, 11, 25)


def foot(stamp: str) -> str:
    style = make_style("Low Acre", stamp, DAY)
    return style.split("@bottom-left { content: ")[1].split(";")[0]


@pytest.mark.parametrize(
    ("stamp", "said"),
    [
        ("From terrain only. Nights may be out.", "From terrain only"),
        ("Logger plan", "Logger plan"),
        ("Met to 0.7 by 8 loggers. More.", "Met to 0.7 by 8 loggers"),
        ("Corrected by 8 loggers; met to 0.7 over all.", "Corrected by 8 loggers"),
    ],
)
def test_the_foot_ends_with_a_statement_and_never_within_a_figure(stamp, said):
    assert foot(stamp) == f'"Low Acre, 25 November 2026. {said}"'


def test_cells_of_plain_tables_break_no_word():
    style = make_style("Low Acre", "", DAY)
    assert ".plain td { overflow-wrap: normal; }" in style
    assert "tbody th { min-width: 5.6em;" in style
