"""A chart of which input matters most, for paper."""

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sitekit import words
from sitekit.cartography import styles
from sitekit.cartography.charts import LETTERS, OTHER_LOOK, WIDTH
from sitekit.cartography.drawing import find_family, make_figure

#: Margins, and the height of a bar with its gap. [mm]
LEFT, RIGHT, BOTTOM, TOP, ROW = 58.0, 27.0, 9.0, 2.0, 5.2
#: Share of a row that a bar fills.
FILLED = 0.62
#: Longest axis that short bars are drawn on. [degC]
LEAST_AXIS = 0.5


def draw_bars(inputs: pd.DataFrame, verdicts: int) -> Figure:
    """Draw each input as a bar of degrees, with the verdicts that it turns beside it.

    Parameters
    ----------
    inputs : DataFrame
        ``input``, ``degc``, ``turned``; see `sitekit.results.DoubtTold`.
    verdicts : int
        Verdicts in all.
    """
    count = len(inputs)
    height = count * ROW + BOTTOM + TOP
    figure = make_figure(WIDTH, height)
    axes = figure.add_axes(
        (
            LEFT / WIDTH,
            BOTTOM / height,
            (WIDTH - LEFT - RIGHT) / WIDTH,
            count * ROW / height,
        ),
        facecolor="none",
    )
    degrees = inputs["degc"].to_numpy(float)
    axes.barh(range(count), np.nan_to_num(degrees), FILLED, **OTHER_LOOK)
    longest = max(float(np.nanmax(degrees, initial=0.0)), LEAST_AXIS)
    axes.set(ylim=(count - 0.5, -0.5), xlim=(0, 1.04 * longest))
    axes.set_yticks(range(count), list(inputs["input"]))
    axes.xaxis.set_major_formatter(lambda value, _: words.number(value, 1))
    axes.set_xlabel(
        "doubt of a clear still night [°C]", fontsize=LETTERS, color=styles.SECOND_INK
    )
    for row, turned in enumerate(inputs["turned"]):
        _write_turned(axes, row, int(turned), verdicts)
    _finish(axes)
    return figure


def _write_turned(axes: Axes, row: int, turned: int, verdicts: int) -> None:
    """Write how many verdicts an input turns, right of its bar."""
    axes.text(
        1.02,
        row,
        f"{turned} of {verdicts} verdicts" if turned else "none",
        transform=axes.get_yaxis_transform(),
        va="center",
        fontsize=LETTERS,
        fontweight="bold" if turned else "normal",
        color=styles.INK if turned else styles.SECOND_INK,
        family=find_family(),
    )


def _finish(axes: Axes) -> None:
    """Give the chart its lines and letters."""
    axes.set_axisbelow(True)
    axes.grid(axis="x", color=styles.HAIRLINE, lw=0.5)
    for name, spine in axes.spines.items():
        spine.set(linewidth=0.8, color=styles.INK, visible=name in ("left", "bottom"))
    axes.tick_params(
        labelsize=LETTERS, color=styles.INK, labelcolor=styles.INK, length=2.5
    )
    axes.tick_params(axis="y", length=0)
    for label in (
        axes.xaxis.label,
        *axes.get_xticklabels(),
        *axes.get_yticklabels(),
    ):
        label.set_fontfamily(find_family())
