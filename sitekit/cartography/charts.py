"""Charts of the years of a record, for paper: frames in, figures out."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MultipleLocator

from sitekit import words
from sitekit.cartography import styles
from sitekit.cartography.drawing import MM_PER_INCH, find_family, make_figure

#: Width of a chart, its margins, and the height of one. [mm]
WIDTH, LEFT, RIGHT, BOTTOM, TOP, HIGH = 150.0, 19.0, 2.0, 8.0, 6.0, 32.0
#: Size of letters. [pt]
LETTERS = 6.5
#: Days between the dates on an axis.
FORTNIGHT = 14
#: Years in ten that are named on an axis.
NAMED_YEARS = (1, 5, 9)

#: How nights of a kind are drawn: by pattern, not by colour alone.
CLEAR_LOOK: dict[str, Any] = {"fc": styles.COLD_AIR_TINT, "ec": styles.INK, "lw": 0.5}
OTHER_LOOK: dict[str, Any] = {
    "fc": styles.PAPER,
    "ec": styles.INK,
    "lw": 0.5,
    "hatch": "////",
}
BAND, BLOOM, POOR = "#BCC8DB", "#F0DBAE", "#5F3D4B"


def draw_last_frosts(frosts: pd.DataFrame, law: pd.DataFrame) -> Figure:
    """Draw how often the last frost comes later than a date.

    Parameters
    ----------
    frosts : DataFrame
        ``day`` and ``later`` of each year; see `sitekit.results.YearsTold`.
    law : DataFrame
        ``day``, ``later``, ``low``, ``high``; it may be empty.
    """
    figure = make_figure(WIDTH, HIGH + BOTTOM + TOP)
    axes = _add_axes(figure, 0, 1)
    axes.fill_between(law["day"], law["low"], law["high"], color=BAND, lw=0)
    axes.plot(law["day"], law["later"], color=styles.COLD_AIR, lw=1.3)
    axes.plot(frosts["day"], frosts["later"], "o", ms=3, color=styles.INK, mew=0)
    axes.set(ylim=(0, 10), yticks=NAMED_YEARS)
    axes.set_yticklabels([f"{n} in ten" for n in NAMED_YEARS])
    axes.grid(axis="y", color=styles.HAIRLINE, lw=0.5)
    _date(axes.xaxis)
    _add_key(
        axes,
        [
            _dot("a year of the record", styles.INK, styles.INK),
            Line2D([], [], color=styles.COLD_AIR, lw=1.3, label="fitted law"),
            Patch(fc=BAND, ec="none", label="its 90 % interval"),
        ],
    )
    _finish(axes)
    return figure


def draw_nights(nights: pd.DataFrame) -> Figure:
    """Draw the nights of bloom time by degree and kind.

    Parameters
    ----------
    nights : DataFrame
        ``degc``, ``clear``, ``other``; see `sitekit.results.YearsTold`.
    """
    figure = make_figure(WIDTH, HIGH + BOTTOM + TOP)
    axes = _add_axes(figure, 0, 1)
    place, clear, other = (nights[n].to_numpy() for n in ("degc", "clear", "other"))
    axes.bar(place + 0.5, clear, 0.86, **CLEAR_LOOK)
    axes.bar(place + 0.5, other, 0.86, bottom=clear, **OTHER_LOOK)
    axes.axvline(0, color=styles.INK, lw=1)
    axes.xaxis.set_major_locator(MultipleLocator(1))
    axes.xaxis.set_major_formatter(lambda value, _: words.with_unit(value, "°C"))
    axes.set(xlim=(place[0] - 0.2, place[-1] + 1.2))
    axes.yaxis.set_major_formatter(lambda value, _: words.number(value, 0))
    axes.yaxis.set_major_locator(MultipleLocator(1))
    axes.set_ylabel("nights a spring", fontsize=LETTERS, color=styles.SECOND_INK)
    _add_key(
        axes,
        [
            Patch(label="clear still nights", **CLEAR_LOOK),
            Patch(label="cloudy or windy nights", **OTHER_LOOK),
        ],
    )
    _finish(axes)
    return figure


def draw_bloom(places: Sequence[tuple[str, pd.DataFrame]]) -> Figure:
    """Draw bloom and frost by year, one panel under the other on the same dates.

    Parameters
    ----------
    places : sequence of (str, DataFrame)
        Name of each place, and its years; see `sitekit.results.YearsTold`.
    """
    count = len(places)
    figure = make_figure(WIDTH, count * (HIGH + TOP) + BOTTOM + TOP)
    low, high = _span([years for _, years in places])
    for number, (name, years) in enumerate(places):
        axes = _add_axes(figure, number, count)
        _draw_place(axes, years)
        axes.set(ylim=(low, high))
        axes.set_xlim(years["year"].min() - 0.7, years["year"].max() + 0.7)
        _date(axes.yaxis)
        axes.grid(axis="y", color=styles.HAIRLINE, lw=0.5)
        _title(axes, name)
        _finish(axes)
        if number == 0:
            _add_key(axes, _bloom_key(), above=1 + (TOP + 1) / HIGH)
        if number + 1 < count:
            axes.tick_params(axis="x", labelbottom=False)
    return figure


def _draw_place(axes: Axes, years: pd.DataFrame) -> None:
    """Draw the years of one place."""
    axes.bar(
        years["year"],
        years["falls"] - years["opens"],
        0.62,
        bottom=years["opens"],
        fc=BLOOM,
        ec=styles.STAMP,
        lw=0.4,
    )
    poor = years["poor"].to_numpy(bool)
    for chosen, look in ((~poor, ("o", "#FFFFFF")), (poor, ("D", POOR))):
        axes.plot(
            years["year"][chosen],
            years["last_frost"][chosen],
            look[0],
            ms=3.6,
            mfc=look[1],
            mec=styles.INK,
            mew=0.6,
        )


def _bloom_key() -> list[Patch | Line2D]:
    return [
        Patch(fc=BLOOM, ec=styles.STAMP, lw=0.4, label="first flower to petal fall"),
        _dot("last night that kills a tenth of open flowers", "#FFFFFF", styles.INK),
        _dot("the same, in a year of poor crop", POOR, styles.INK, "D"),
    ]


def _dot(label: str, fill: str, edge: str, marker: str = "o") -> Line2D:
    return Line2D(
        [],
        [],
        ls="",
        marker=marker,
        ms=3.6,
        mfc=fill,
        mec=edge,
        mew=0.6,
        label=label,
    )


def _span(frames: Sequence[pd.DataFrame]) -> tuple[float, float]:
    """Find the dates that all panels share."""
    together = pd.concat(frames)[["opens", "falls", "last_frost"]].to_numpy(float)
    known = together[np.isfinite(together)]
    if not known.size:
        return 60.0, 180.0
    return float(known.min()) - 4, float(known.max()) + 4


def _add_axes(figure: Figure, number: int, count: int) -> Axes:
    """Add a panel; number 0 is the uppermost."""
    whole = float(figure.get_size_inches()[1]) * MM_PER_INCH
    bottom = BOTTOM + (count - 1 - number) * (HIGH + TOP)
    return figure.add_axes(
        (LEFT / WIDTH, bottom / whole, (WIDTH - LEFT - RIGHT) / WIDTH, HIGH / whole),
        facecolor="none",
    )


def _date(axis: Axis) -> None:
    """Write days of the year as dates."""
    axis.set_major_locator(MultipleLocator(FORTNIGHT, offset=1))
    axis.set_major_formatter(lambda value, _: words.day(value))


def _title(axes: Axes, text: str) -> None:
    axes.text(
        0,
        1 + 1 / HIGH,
        text,
        transform=axes.transAxes,
        va="bottom",
        fontsize=LETTERS + 0.5,
        fontweight="bold",
        color=styles.INK,
        family=find_family(),
        parse_math=False,
    )


def _add_key(
    axes: Axes, entries: Sequence[Patch | Line2D], above: float = 1 + 0.5 / HIGH
) -> None:
    """Set the key over a panel, at its right end."""
    axes.legend(
        handles=list(entries),
        loc="lower right",
        bbox_to_anchor=(1, above),
        ncols=len(entries),
        frameon=False,
        borderaxespad=0,
        borderpad=0,
        handlelength=1.6,
        handletextpad=0.5,
        columnspacing=1.4,
        prop={"family": find_family(), "size": LETTERS},
        labelcolor=styles.INK,
    )


def _finish(axes: Axes) -> None:
    """Give a panel its lines and letters."""
    axes.set_axisbelow(True)
    for name, spine in axes.spines.items():
        spine.set(linewidth=0.8, color=styles.INK, visible=name in ("left", "bottom"))
    axes.tick_params(
        labelsize=LETTERS, color=styles.INK, labelcolor=styles.INK, length=2.5
    )
    axes.yaxis.label.set_fontfamily(find_family())
    for label in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        label.set_fontfamily(find_family())
