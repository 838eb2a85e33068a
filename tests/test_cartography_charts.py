"""Charts of the years of a record: what is drawn is what the frames say."""

import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from sitekit.cartography.charts import draw_bloom, draw_last_frosts, draw_nights
from sitekit.cartography.drawing import write_figure

FROSTS = pd.DataFrame(
    {
        "year": [2001, 2002, 2003, 2004],
        "day": [100.0, 121.0, np.nan, 131.0],
        "later": [6.0, 4.0, np.nan, 2.0],
    }
)
LAW = pd.DataFrame(
    {
        "day": [90.0, 110.0, 130.0],
        "later": [9.0, 5.0, 1.0],
        "low": [7.0, 3.0, 0.2],
        "high": [9.8, 7.0, 3.0],
    }
)
NIGHTS = pd.DataFrame(
    {"degc": [-2, -1, 0, 1], "clear": [0.5, 1.0, 1.5, 2.0], "other": [0.0, 0.2, 1, 3.0]}
)


def bloom(late=0.0):
    year = np.arange(1996, 2026)
    opens = 105.0 + year % 7
    return pd.DataFrame(
        {
            "year": year,
            "opens": opens,
            "full_bloom": opens + 3,
            "falls": opens + 9,
            "last_frost": 100.0 + 2 * (year % 11) + late,
            "poor": year % 5 == 0,
        }
    )


PLACES = [("Block 2 The Shelf: good", bloom()), ("Block 15: refused", bloom(20))]


def texts(figure: Figure) -> list[str]:
    """Every text that is drawn, keys and names of axes included."""
    write_figure(figure)
    found = []
    for axes in figure.axes:
        labels = [*axes.get_xticklabels(), *axes.get_yticklabels(), *axes.texts]
        legend = axes.get_legend()
        labels += legend.get_texts() if legend else []
        found += [label.get_text() for label in labels if label.get_visible()]
    return found


def test_dates_and_years_in_ten_name_the_axes_of_the_last_frost():
    told = texts(draw_last_frosts(FROSTS, LAW))
    assert {"1 in ten", "5 in ten", "9 in ten"} <= set(told)
    dates = [t for t in told if re.fullmatch(r"\d{1,2} (March|April|May)", t)]
    assert len(dates) >= 3
    assert {"a year of the record", "fitted law", "its 90 % interval"} <= set(told)


def test_every_year_with_frost_has_its_dot_and_the_law_its_band():
    axes = draw_last_frosts(FROSTS, LAW).axes[0]
    law, dots = (line for line in axes.lines if len(line.get_xdata()) > 2)
    assert law.get_ydata().tolist() == [9.0, 5.0, 1.0]
    known = np.isfinite(dots.get_xdata())
    assert dots.get_xdata()[known].tolist() == [100.0, 121.0, 131.0]
    band = axes.collections[0].get_paths()[0].vertices
    assert band[:, 1].max() == pytest.approx(9.8)
    assert band[:, 1].min() == pytest.approx(0.2)


def test_a_record_without_a_law_still_shows_its_years():
    told = texts(draw_last_frosts(FROSTS, LAW.iloc[:0]))
    assert "5 in ten" in told


def test_bars_of_nights_are_as_high_as_the_nights_counted():
    axes = draw_nights(NIGHTS).axes[0]
    clear, other = axes.containers
    assert [bar.get_height() for bar in clear] == NIGHTS["clear"].tolist()
    assert [bar.get_height() for bar in other] == pytest.approx(NIGHTS["other"])
    # The other nights stand on the clear ones.
    assert [bar.get_y() for bar in other] == NIGHTS["clear"].tolist()
    assert clear[0].get_x() + clear[0].get_width() / 2 == pytest.approx(-1.5)


def test_kinds_of_night_differ_by_pattern_not_by_colour_alone():
    clear, other = draw_nights(NIGHTS).axes[0].containers
    assert clear[0].get_hatch() is None
    assert other[0].get_hatch()
    told = texts(draw_nights(NIGHTS))
    assert {"clear still nights", "cloudy or windy nights"} <= set(told)
    assert "−2\u00a0°C" in told, "a minus is a minus"


def test_each_place_has_a_panel_on_the_same_dates():
    upper, lower = draw_bloom(PLACES).axes
    assert upper.get_ylim() == lower.get_ylim()
    assert upper.get_xlim() == lower.get_xlim()
    assert upper.get_position().y0 > lower.get_position().y1 - 1e-9
    assert upper.texts[0].get_text() == "Block 2 The Shelf: good"
    assert lower.texts[0].get_text() == "Block 15: refused"


def test_poor_years_have_their_own_mark():
    upper, _ = draw_bloom(PLACES).axes
    whole, poor = upper.lines
    assert whole.get_marker() != poor.get_marker()
    assert poor.get_xdata().tolist() == [2000, 2005, 2010, 2015, 2020, 2025]
    assert len(whole.get_xdata()) == 24


def test_bloom_stands_from_first_flower_to_petal_fall():
    upper, _ = draw_bloom(PLACES).axes
    bar = upper.patches[0]
    assert (bar.get_y(), bar.get_y() + bar.get_height()) == (106.0, 115.0)


def test_one_place_alone_is_drawn_and_years_without_bloom_are_left_out():
    years = bloom()
    years.loc[:3, ["opens", "full_bloom", "falls", "last_frost"]] = np.nan
    figure = draw_bloom([("Block 1", years)])
    assert len(figure.axes) == 1
    assert "first flower to petal fall" in texts(figure)


def test_years_that_tell_nothing_still_make_a_sheet():
    years = bloom()
    years[["opens", "full_bloom", "falls", "last_frost"]] = np.nan
    low, high = draw_bloom([("Block 1", years)]).axes[0].get_ylim()
    assert low < high


@pytest.mark.parametrize(
    "draw",
    [
        lambda: draw_last_frosts(FROSTS, LAW),
        lambda: draw_nights(NIGHTS),
        lambda: draw_bloom(PLACES),
    ],
)
def test_no_text_leaves_the_paper_and_every_drawing_is_the_same_again(draw):
    figure = draw()
    assert write_figure(figure) == write_figure(draw())
    paper = figure.bbox
    for axes in figure.axes:
        for axis, (low, high) in (
            (axes.xaxis, axes.get_xlim()),
            (axes.yaxis, axes.get_ylim()),
        ):
            for tick in axis.get_major_ticks():
                label = tick.label1
                box = label.get_window_extent()
                if low <= tick.get_loc() <= high and label.get_visible():
                    assert box.x0 >= paper.x0, label.get_text()
                    assert box.y0 >= paper.y0, label.get_text()
        legend = axes.get_legend()
        if legend:
            key = legend.get_window_extent()
            assert key.x0 >= paper.x0
            assert key.y1 <= paper.y1
