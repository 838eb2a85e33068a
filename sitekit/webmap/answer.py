"""What the margin and the popups say: the answer, blocks and spots in words."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import KDTree

from sitekit import words
from sitekit.cartography.notes import list_cautions
from sitekit.cartography.styles import find_style
from sitekit.results import Survey
from sitekit.webmap.shapes import middle, place, read_text, rings, rows

#: Spots in the page; where there are more, every so-manieth is drawn, and said.
MOST_SPOTS = 12_000
#: What limits a spot, where the layer's label would be too long.
FACTORS = {
    "pooling_depth": "cold air held",
    "path_margin": "a cold-air path nearby",
    "relative_height": "low ground",
    "wind_exposure": "wind",
    "cold_air_depth": "moving cold air",
    "frost_night_offset": "cold on a clear still night",
    "poor_crop_years": "bloom frost",
    "sunshine_hours_ripening": "sun while fruit ripens",
    "wetness_index": "wet ground",
}

#: Layers of a clear still night: the offset and its doubt.
NIGHT = ("frost_night_offset", "frost_night_offset_sd")

Popup = dict[str, Any]


def tell_answer(survey: Survey) -> dict[str, Any]:
    """Gather the words of the margin.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    told : dict
        ``name``, ``stamp`` (bold part, rest), ``headline``, ``unknowns``,
        ``absent``, ``cautions``, ``resolution``.
    """
    answer = survey.answer
    first, _, rest = answer.stamp.partition(". ")
    return {
        "name": survey.site.name,
        "stamp": [words.sentence(first), rest],
        "headline": answer.headline,
        "unknowns": list(answer.unknowns),
        "absent": [
            f"{_label(name)}: needs {lacking.replace('_', ' ')}"
            for name, lacking in _shown_absent(survey)
        ],
        "cautions": list_cautions(survey),
        "resolution": answer.resolution,
    }


def _shown_absent(survey: Survey) -> list[tuple[str, str]]:
    """List the absent layers that the map would show, one line a label."""
    found: dict[str, tuple[str, str]] = {}
    for name, lacking in survey.absent.items():
        style = find_style(name)
        if style is not None:
            found.setdefault(style.label, (name, lacking))
    return list(found.values())


def _label(layer: str) -> str:
    style = find_style(layer)
    return style.label if style else words.sentence(layer.replace("_", " "))[:-1]


def name_factor(factor: str) -> str:
    """Name what limits a place, in trade words.

    Examples
    --------
    >>> name_factor("pooling_depth"), name_factor("old_yard")
    ('cold air held', 'old yard')
    """
    return FACTORS.get(factor) or factor.replace("_", " ")


def choose_fruit(survey: Survey) -> str:
    """Choose the fruit that the map opens with: the best one of the best block."""
    best = max(rows(survey.blocks), key=_worth, default=None)
    if best is not None:
        return str(best["fruit"])
    return survey.site.fruit[0] if survey.site.fruit else ""


def _worth(row: Mapping[str, Any]) -> tuple[float, int, float]:
    return -float(row["block"]), _code(row), float(row.get("score") or 0)


def _code(row: Mapping[str, Any]) -> int:
    return words.SITE_CLASSES.index(str(row["site_class"]))


def draw_blocks(survey: Survey) -> list[dict[str, Any]]:
    """List the blocks, each with its class, words and popup by fruit.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    blocks : list of dict
        ``block``, ``name``, ``rings``, ``at`` and ``fruit`` (fruit to ``rank``,
        ``code``, ``line``, ``years``, ``popup``).
    """
    grid = survey.site.grid
    crops = _crop_years(survey)
    by_block: dict[int, list[dict[str, Any]]] = {}
    for row in rows(survey.blocks):
        by_block.setdefault(int(row["block"]), []).append(row)
    drawn = []
    for block, found in sorted(by_block.items()):
        shape = found[0]["geometry"]
        inner = middle(shape)
        drawn.append(
            {
                "block": block,
                "name": read_text(found[0], "name"),
                "rings": rings(shape.simplify(grid.cell_size / 4), grid),
                "at": place(*inner, grid),
                "fruit": {
                    str(row["fruit"]): _block(row, found, crops, inner, survey)
                    for row in found
                },
            }
        )
    return drawn


def _block(
    row: Mapping[str, Any],
    all_fruit: list[dict[str, Any]],
    crops: Mapping[tuple[int, str], tuple[float, float, float]],
    inner: tuple[float, float],
    survey: Survey,
) -> dict[str, Any]:
    alike = [
        str(other["fruit"])
        for other in all_fruit
        if other["site_class"] == row["site_class"] and other["fruit"] != row["fruit"]
    ]
    names = [words.fruit_name(f, plural=True) for f in (str(row["fruit"]), *alike)]
    crop = crops.get((int(row["block"]), str(row["fruit"])))
    return {
        "rank": int(row["rank"]),
        "code": _code(row),
        "line": f"{row['site_class']}: {words.listed(names)}",
        "years": crop_words(*crop) if crop else [],
        "popup": _block_popup(row, crop, inner, survey),
    }


def _block_popup(
    row: Mapping[str, Any],
    crop: tuple[float, float, float] | None,
    inner: tuple[float, float],
    survey: Survey,
) -> Popup:
    name = read_text(row, "name")
    size = words.area(float(row["area_m2"]))
    trees = row.get("trees")
    if not pd.isna(trees):
        size = f"{size}, room for {int(trees)} plants"
    lines = [
        *_crop_line(crop),
        _limit_line(row),
        *_night_line(survey, inner),
        ["Size", size],
        ["Confidence", read_text(row, "confidence") or words.NOT_KNOWN],
    ]
    return {
        "title": f"Block {int(row['block'])}" + (f", {name}" if name else ""),
        "lead": _lead(row),
        "rows": [line for line in lines if line[1]],
    }


def _limit_line(row: Mapping[str, Any]) -> list[str]:
    """Name the limiting factor; on good ground it limits nothing yet."""
    good = _code(row) == words.GOOD
    label = "First to limit it" if good else "What limits it"
    return [label, name_factor(read_text(row, "limiting_factor"))]


def _lead(row: Mapping[str, Any]) -> list[str]:
    fruit = words.fruit_name(str(row["fruit"]), plural=True)
    reason = words.sentence(read_text(row, "reason"))
    return [str(row["site_class"]), f" for {fruit}. {reason}"]


def _night_line(survey: Survey, at: tuple[float, float]) -> list[list[str]]:
    value, doubt = (sample(survey, n, [at[0]], [at[1]])[0] for n in NIGHT)
    if "frost_night_offset" not in survey.layers:
        return []
    return [["Clear still night", tell_night(value, doubt, survey)]]


def sample(
    survey: Survey, layer: str, eastings: ArrayLike, northings: ArrayLike
) -> NDArray[np.float64]:
    """Read a layer at points; NaN where the survey does not have it."""
    if layer not in survey.layers:
        return np.full(np.shape(eastings), np.nan)
    return survey.site.grid.sample(survey.layers[layer].to_numpy(), eastings, northings)


def tell_night(value: float, doubt: float, survey: Survey) -> str:
    """Write a night offset, what it is told against, and its ±.

    Parameters
    ----------
    value, doubt : float
        The offset and its standard uncertainty; NaN where not known. [degC]
    survey : Survey
        Names the reference.

    Returns
    -------
    text : str
        Such as ``−1.5 °C against the house (± 1)``.
    """
    text = words.offset(value)
    if text == words.NOT_KNOWN:
        return text
    text = f"{text} against {survey.site.reference_name}"
    if not np.isfinite(doubt):
        return text
    half = words.number(round(doubt * 2) / 2, 1).removesuffix(".0")
    return f"{text} (±{words.NO_BREAK}{half})"


def _crop_years(survey: Survey) -> dict[tuple[int, str], tuple[float, float, float]]:
    """Read the poor-crop years of each block and fruit, where known."""
    found: dict[tuple[int, str], tuple[float, float, float]] = {}
    for row in survey.fruit_by_block.to_dict("records"):
        years = [
            float("nan") if row.get(c) is None else float(row[c])
            for c in ("poor_crop_years", "low", "high")
        ]
        if np.isfinite(years[0]):
            # The usual group of a fruit stands first in the table.
            key = (int(row["block"]), str(row["fruit"]))
            found.setdefault(key, (years[0], years[1], years[2]))
    return found


def crop_words(years: float, low: float, high: float) -> list[str]:
    """Write poor-crop years and their range.

    Examples
    --------
    >>> crop_words(1.3, 0.2, 2.4)
    ['1 in ten', 'may be 0 to 2']
    """
    told = f"{words.number(years)} in ten"
    if not np.isfinite([low, high]).all():
        return [told, "range not known"]
    return [told, f"may be {words.number(low)} to {words.number(high)}"]


def _crop_line(crop: tuple[float, float, float] | None) -> list[list[Any]]:
    if crop is None:
        return []
    boxes = [round(v) if np.isfinite(v) else None for v in crop]
    return [["Poor-crop years", ", ".join(crop_words(*crop)), boxes]]


def draw_spots(survey: Survey) -> dict[str, Any]:
    """List the spots of every fruit, texts once.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    spots : dict
        ``texts``; ``every`` (1 where all are drawn); ``origin`` (latitude,
        longitude); ``fruit`` (fruit to ``radius`` in metres, ``names``, and
        ``rows``: millionths of a degree north and east of the origin, class code,
        then positions in ``texts``: limit, reason, slope, night, years,
        confidence).
    """
    every = -(-len(survey.spots) // MOST_SPOTS) or 1
    texts: dict[str, int] = {}
    west, south, _, _ = survey.site.grid.bounds
    origin = place(west, south, survey.site.grid)
    by_fruit = {}
    for fruit, frame in survey.spots.groupby("fruit", sort=False):
        drawn = frame.iloc[::every]
        doubts = sample(survey, NIGHT[1], drawn.geometry.x, drawn.geometry.y)
        by_fruit[str(fruit)] = {
            "radius": _radius(frame),
            "names": [str(name) for name in drawn["spot"]],
            "rows": [
                _spot({**row, "doubt": doubt}, texts, origin, survey)
                for row, doubt in zip(rows(drawn), doubts, strict=True)
            ],
        }
    return {
        "texts": list(texts),
        "every": every,
        "origin": origin,
        "fruit": by_fruit,
    }


def _radius(frame: GeoDataFrame) -> float:
    """Find the radius of a spot: it is drawn a third of its spacing wide."""
    corners = shapely.get_coordinates(frame.geometry.to_numpy())
    if len(corners) < 2:
        return 1.0
    nearest = KDTree(corners).query(corners, k=2)[0][:, 1]
    return round(float(np.median(nearest)) / 6, 2)


def _spot(
    row: Mapping[str, Any],
    texts: dict[str, int],
    origin: list[float],
    survey: Survey,
) -> list[int]:
    slope = words.with_unit(float(row["slope_pct"]), "%")
    if np.isfinite(float(row["aspect_deg"])):
        slope = f"{slope}, to the {words.facing(float(row['aspect_deg']))}"
    night = float(row["frost_night_offset_degc"])
    years = float(row["poor_crop_years"])
    told = (
        name_factor(read_text(row, "limiting_factor")),
        words.sentence(read_text(row, "reason")),
        slope,
        tell_night(night, row["doubt"], survey) if np.isfinite(night) else "",
        f"{words.number(years)} in ten" if np.isfinite(years) else "",
        read_text(row, "confidence"),
    )
    here = place(row["geometry"].x, row["geometry"].y, survey.site.grid)
    steps = [round((at - start) * 1e6) for at, start in zip(here, origin, strict=True)]
    return [*steps, _code(row), *(texts.setdefault(t, len(texts)) for t in told)]
