"""What the margin and the popups say: the answer, blocks and spots in words."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from sitekit import words
from sitekit.cartography.notes import list_cautions
from sitekit.cartography.styles import find_style
from sitekit.results import Survey
from sitekit.webmap.shapes import middle, place, read_text, rings, rows

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

#: Chance of a class from which nothing is said against it.
SURE = 0.9

Popup = dict[str, Any]
#: Poor-crop years in ten, and the ends of their range.
Crop = tuple[float, float, float]


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
    return -float(row["block"]), class_code(row), float(row.get("score") or 0)


def class_code(row: Mapping[str, Any]) -> int:
    """Read the code of the site class of a row."""
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
    usual = usual_groups(survey)
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
                    str(row["fruit"]): _block(row, found, usual, inner, survey)
                    for row in found
                },
            }
        )
    return drawn


def _block(
    row: Mapping[str, Any],
    all_fruit: list[dict[str, Any]],
    usual: Mapping[tuple[int, str], dict[str, Any]],
    inner: tuple[float, float],
    survey: Survey,
) -> dict[str, Any]:
    alike = [
        str(other["fruit"])
        for other in all_fruit
        if other["site_class"] == row["site_class"] and other["fruit"] != row["fruit"]
    ]
    names = [words.fruit_name(f, plural=True) for f in (str(row["fruit"]), *alike)]
    group = usual.get((int(row["block"]), str(row["fruit"])), {})
    crop = read_crop(group)
    return {
        "rank": int(row["rank"]),
        "code": class_code(row),
        "line": f"{row['site_class']}: {words.listed(names)}",
        "years": crop_words(*crop) if crop else [],
        "popup": _block_popup(row, group, inner, survey),
    }


def _block_popup(
    row: Mapping[str, Any],
    group: Mapping[str, Any],
    inner: tuple[float, float],
    survey: Survey,
) -> Popup:
    name = read_text(row, "name")
    size = words.area(float(row["area_m2"]))
    trees = row.get("trees")
    if not pd.isna(trees):
        size = f"{size}, room for {int(trees)} plants"
    lines = [
        *_crop_line(read_crop(group)),
        *_season_lines(group),
        _limit_line(row),
        *_night_line(survey, inner),
        ["Size", size],
        ["Confidence", tell_confidence(row, survey)],
    ]
    return {
        "title": f"Block {int(row['block'])}" + (f", {name}" if name else ""),
        "lead": _lead(row),
        "rows": [line for line in lines if line[1]],
    }


def _limit_line(row: Mapping[str, Any]) -> list[str]:
    """Name the limiting factor; on good ground it limits nothing yet."""
    good = class_code(row) == words.GOOD
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


def tell_confidence(row: Mapping[str, Any], survey: Survey) -> str:
    """Say how sure a class is, and in a few words why not surer.

    Parameters
    ----------
    row : mapping
        A block or spot: ``confidence``, ``class_chance``, ``reason``.
    survey : Survey
        Names what else may be out.

    Returns
    -------
    text : str
        Such as ``low: holds with 5 chances in ten, the night may be out``.
    """
    rank = read_text(row, "confidence")
    if not rank:
        return words.NOT_KNOWN
    chance = row.get("class_chance")
    known = chance is not None and np.isfinite(float(chance))
    if known and float(chance or 0) < SURE:
        out = "night and years" if survey.years is not None else "the night"
        # Rounded down, as the limits of low and fair lie at whole tenths.
        tenths = max(int(10 * float(chance or 0) + 1e-9), 1)
        holds = words.counted(tenths, "chance")
        return f"{rank}: holds with {holds} in ten, {out} may be out"
    if survey.site.model.coarse and rank == "low":
        return f"{rank}: the elevation is coarse"
    untested = "not tested" in read_text(row, "reason")
    return f"{rank}: nobody has dug here" if untested else rank


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


def usual_groups(survey: Survey) -> dict[tuple[int, str], dict[str, Any]]:
    """Read what the table of fruit and block says of each fruit's usual group."""
    found: dict[tuple[int, str], dict[str, Any]] = {}
    for row in survey.fruit_by_block.to_dict("records"):
        # The usual group of a fruit stands first in the table.
        key = (int(row["block"]), str(row["fruit"]))
        found.setdefault(key, {str(n): value for n, value in row.items()})
    return found


def read_crop(row: Mapping[str, Any]) -> Crop | None:
    """Read poor-crop years and their range; none where they are not known."""
    years = [
        float("nan") if row.get(c) is None else float(row[c])
        for c in ("poor_crop_years", "low", "high")
    ]
    return (years[0], years[1], years[2]) if np.isfinite(years[0]) else None


def _season_lines(row: Mapping[str, Any]) -> list[list[str]]:
    """Tell ripening and winter of a usual group; nothing where not known."""
    return [
        [label, read_text(row, column)]
        for label, column in (("Ripening", "ripening"), ("Winter", "winter"))
        if read_text(row, column)
    ]


def crop_words(years: float, low: float, high: float) -> list[str]:
    """Write poor-crop years and their range.

    Examples
    --------
    >>> crop_words(1.3, 0.2, 2.4)
    ['1 in ten', 'may be 0 to 2']
    """
    told = f"{words.years_in_ten(years)} in ten"
    if not np.isfinite([low, high]).all():
        return [told, "range not known"]
    return [told, f"may be {words.number(low)} to {words.number(high)}"]


def _crop_line(crop: Crop | None) -> list[list[Any]]:
    if crop is None:
        return []
    boxes = [round(v) if np.isfinite(v) else None for v in crop]
    return [["Poor-crop years", ", ".join(crop_words(*crop)), boxes]]
