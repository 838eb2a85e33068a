"""The section of the report on what the answer hangs on."""

import numpy as np

from sitekit import words
from sitekit.cartography.bars import draw_bars
from sitekit.cartography.drawing import write_figure
from sitekit.report.markup import Markup, element, items
from sitekit.report.sections import figure, section
from sitekit.results import DoubtTold, Survey


def change_my_mind(survey: Survey) -> Markup:
    """Tell what would change the answer, and show which input matters most.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    section : Markup
        Nothing where no doubt was carried.
    """
    told = survey.doubt
    if told is None:
        return Markup("")
    if not told.mind:
        text = "No input within its usual range turns a verdict or moves a night much."
        list_ = element("p", text)
    else:
        list_ = items(told.mind, "ol")
    return section(
        "What would change my mind",
        element("p", _tell_basis(survey, told), class_="quiet"),
        list_,
        _chart(told),
    )


def _tell_basis(survey: Survey, told: DoubtTold) -> str:
    return (
        "Each input was set to both ends of the range in which nine of ten places "
        f"lie, one at a time, and all {told.verdicts} verdicts (one for each block "
        "and fruit) were made again; the most decisive stands first. Degrees are "
        f"those of a clear still night against {survey.site.reference_name}."
    )


def _chart(told: DoubtTold) -> Markup:
    title = "Which input matters most for this site."
    about = (
        "Bars: how far a clear still night in the field may well be out for this "
        "input alone (one standard deviation). Right: verdicts that turn within its "
        "range."
    )
    if told.inputs["degc"].isna().any():
        about += " The length of the record moves no night, only the count of years."
    drawn = write_figure(draw_bars(told.inputs, told.verdicts))
    return figure(drawn, f"{title} {_describe(told)}", title, about)


def _describe(told: DoubtTold) -> str:
    """Say what the chart shows, for those who listen."""
    rows = [
        f"{row['input']}: {_degrees(float(row['degc']))}turns {row['turned']}"
        for row in told.inputs.to_dict("records")
    ]
    return f"{'; '.join(rows)}, of {told.verdicts} verdicts."


def _degrees(value: float) -> str:
    return "" if np.isnan(value) else f"{words.with_unit(value, '°C', 1)}, "
