"""The chart of which input matters most."""

import numpy as np
import pandas as pd
import pytest

from sitekit.cartography.bars import draw_bars
from sitekit.cartography.drawing import write_figure


def table(*rows):
    return pd.DataFrame(rows, columns=["input", "degc", "turned"])


ROWS = table(
    ("how strongly low ground cools here", 1.2, 12),
    ("openness of hedges and walls", 0.3, 0),
    ("length of the record", np.nan, 4),
)


def axes_of(inputs=ROWS, verdicts=21):
    return draw_bars(inputs, verdicts).axes[0]


def texts(axes):
    return [text.get_text() for text in axes.texts]


def test_each_input_has_a_bar_as_long_as_its_degrees():
    widths = [bar.get_width() for bar in axes_of().patches]
    assert widths == pytest.approx([1.2, 0.3, 0.0])


def test_the_first_input_stands_at_the_top():
    axes = axes_of()
    low, high = axes.get_ylim()
    assert low > high
    assert [label.get_text() for label in axes.get_yticklabels()] == list(ROWS["input"])


def test_beside_each_bar_stand_the_verdicts_that_it_turns():
    assert texts(axes_of()) == ["12 of 21 verdicts", "none", "4 of 21 verdicts"]


def test_what_turns_a_verdict_is_written_in_bold():
    weights = [text.get_fontweight() for text in axes_of().texts]
    assert weights == ["bold", "normal", "bold"]


def test_the_longest_bar_fits():
    left, right = axes_of().get_xlim()
    assert left == 0
    assert right > 1.2


def test_small_doubt_is_not_drawn_large():
    axes = axes_of(table(("errors of the heights", 0.02, 0)), 3)
    assert axes.get_xlim()[1] >= 0.5


def test_a_chart_of_nothing_known_in_degrees_is_drawn():
    axes = axes_of(table(("length of the record", np.nan, 2)), 3)
    assert texts(axes) == ["2 of 3 verdicts"]


def test_the_axis_names_its_unit():
    assert "°C" in axes_of().get_xlabel()


def test_the_chart_grows_with_its_rows():
    heights = [
        draw_bars(pd.concat([ROWS] * times), 21).get_size_inches()[1]
        for times in (1, 3)
    ]
    assert heights[1] > heights[0]


def test_the_same_table_gives_the_same_picture():
    one, other = (write_figure(draw_bars(ROWS, 21)) for _ in range(2))
    assert one == other
    assert one.startswith(b"<?xml")


def test_no_text_runs_off_the_paper():
    figure = draw_bars(ROWS, 21)
    figure.canvas.draw()
    width = figure.bbox.width
    axes = figure.axes[0]
    for text in (*axes.get_yticklabels(), *axes.texts):
        box = text.get_window_extent()
        assert box.x0 >= 0
        assert box.x1 <= width
