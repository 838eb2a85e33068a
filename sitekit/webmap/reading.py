"""The small grid behind *The ground here*: what a click anywhere tells.

Texts are written once, here; the page only looks them up.
"""

from base64 import b64encode
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer

from sitekit import words
from sitekit.cartography.images import WEB, WebFrame, find_frame, warp
from sitekit.grid import Grid
from sitekit.results import Survey
from sitekit.webmap.answer import NIGHT, tell_night

#: Most cells of the reading grid.
MOST_CELLS = 40_000
#: Cold air shallower than this is *none found*. [m]
SHALLOW = 0.05
#: Degree of the polynomial that gives grid coordinates on the page.
DEGREE = 3

Steps = NDArray[np.float64]
Keys = Sequence[Steps]


def make_reading(survey: Survey) -> dict[str, Any]:
    """Make the reading grid and its texts.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    reading : dict
        Frame on the web map, one entry for each line of the reading, and the
        numbers that give grid coordinates.
    """
    grid = survey.site.grid
    frame = find_frame(grid, most=MOST_CELLS)

    def read(name: str) -> Steps:
        values = warp(survey.layers[name].to_numpy(), grid, frame, nearest=True)
        return values.astype(np.float64)

    return {
        "frame": [frame.west, frame.south, frame.east, frame.north],
        "shape": list(frame.shape),
        "lines": _lines(survey, read),
        "metres": fit_coordinates(grid, frame),
    }


def _lines(survey: Survey, read: Callable[[str], Steps]) -> list[dict[str, Any]]:
    """Make one entry for each line of the reading whose layer is there."""
    made = []
    if "frost_night_offset" in survey.layers:
        made.append(_night(survey, read))
    for name, label, step, write in (
        ("pooling_depth", "Cold air held", 0.1, _held),
        ("last_spring_frost", "Last frost, 1 year in 10 later", 1.0, words.day),
        ("heat_sum", "Heat sum", 10.0, _heat),
        ("sunshine_hours_ripening", "Sun while ripening", 0.5, _sun),
        ("slope", "Slope", 1.0, _slope),
        ("elevation", "Height", 1.0, lambda v: words.with_unit(v, "m")),
    ):
        if name not in survey.layers:
            continue
        values = read(name)
        if name == "slope":
            values = 100 * np.tan(np.radians(values))
        made.append(encode(label, [values], [step], write))
    return made


def _night(survey: Survey, read: Callable[[str], Steps]) -> dict[str, Any]:
    """Tell the night offset with its doubt, where that is known."""
    values = [read(name) for name in NIGHT if name in survey.layers]

    def write(value: float, doubt: float = np.nan) -> str:
        return tell_night(value, doubt, survey)

    return encode("Clear still night", values, [0.5] * len(values), write)


def _held(depth: float) -> str:
    """Write the depth of held air; a comparison with NaN is false."""
    if depth < SHALLOW:
        return "none found"
    return words.with_unit(depth, "m", 1)


def _heat(degree_days: float) -> str:
    return words.with_unit(degree_days, "degree days")


def _sun(hours: float) -> str:
    text = words.hours(hours)
    return text if text == words.NOT_KNOWN else f"{text} a day"


def _slope(per_cent: float) -> str:
    return words.with_unit(per_cent, "%")


def encode(
    label: str, values: Keys, steps: Sequence[float], write: Callable[..., str]
) -> dict[str, Any]:
    """Give each text of a line a number, and write the number for each cell.

    Parameters
    ----------
    label : str
        What the line tells.
    values : sequence of (row, column) ndarray
        One layer, or several that are told together.
    steps : sequence of float
        The finest step worth telling, for each.
    write : callable
        Writes the values of a cell.

    Returns
    -------
    line : dict
        ``label``, ``texts``, ``bytes`` for a number, and ``cells`` in base64,
        lowest byte first.
    """
    keys = np.column_stack(
        [np.round(v.ravel() / step) for v, step in zip(values, steps, strict=True)]
    )
    # Unknown cells must meet in one text, so they get a number that none has.
    keys = np.where(np.isnan(keys), -np.inf, keys)
    found, cells = np.unique(keys, axis=0, return_inverse=True)
    found = np.where(np.isinf(found), np.nan, found)
    texts = [write(*(k * s for k, s in zip(key, steps, strict=True))) for key in found]
    kind = "<u1" if len(texts) <= 256 else "<u2"
    return {
        "label": label,
        "texts": texts,
        "bytes": int(kind[-1]),
        "cells": b64encode(cells.ravel().astype(kind).tobytes()).decode("ascii"),
    }


def fit_coordinates(grid: Grid, frame: WebFrame) -> dict[str, Any]:
    """Fit the polynomial by which the page turns a place into grid coordinates.

    Parameters
    ----------
    grid : Grid
        The survey's grid.
    frame : WebFrame
        The part of the web map that it covers.

    Returns
    -------
    fit : dict
        ``middle`` and ``half`` scale Mercator metres to -1 … 1; ``east`` and
        ``north`` are the coefficients of x^i y^j, i slowest.
    """
    middle = [(frame.west + frame.east) / 2, (frame.south + frame.north) / 2]
    half = [(frame.east - frame.west) / 2, (frame.north - frame.south) / 2]
    x, y = (a.ravel() for a in np.meshgrid(*[np.linspace(-1, 1, 9)] * 2))
    to_grid = Transformer.from_crs(WEB, grid.crs, always_xy=True)
    east, north = to_grid.transform(middle[0] + half[0] * x, middle[1] + half[1] * y)
    terms = np.column_stack(
        [x**i * y**j for i in range(DEGREE + 1) for j in range(DEGREE + 1)]
    )
    fits = np.linalg.lstsq(terms, np.column_stack([east, north]), rcond=None)[0]
    return {
        "middle": middle,
        "half": half,
        "east": [round(float(v), 4) for v in fits[:, 0]],
        "north": [round(float(v), 4) for v in fits[:, 1]],
    }
