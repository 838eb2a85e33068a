"""*Ask the ground*: each question, its layers, their pictures and keys."""

from collections.abc import Mapping
from dataclasses import replace
from fnmatch import fnmatch
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.features import shapes as trace
from rasterio.transform import from_bounds
from shapely.geometry import Polygon

from sitekit import words
from sitekit.cartography.asked import list_fruit
from sitekit.cartography.images import (
    WEB,
    Picture,
    WebFrame,
    draw_classes,
    find_frame,
    warp,
)
from sitekit.cartography.styles import (
    CLASS_STYLES,
    LAYER_STYLES,
    RELIEF_OPACITY,
    STAND,
    LayerStyle,
)
from sitekit.results import Survey
from sitekit.webmap.shapes import draw_mask

#: Layers whose breaks follow the site, with the step of the breaks.
STEPS = {"last_spring_frost": 7.0, "frost_free_days": 10.0, "heat_sum": 100.0}
#: What a layer of the years is counted from, for the note under its key.
COUNTED = {
    "poor_crop_years_*": "Frost leaves less than half a crop of the usual group.",
    "last_spring_frost": "0 °C or less; 1 year in 10 has one later still.",
    "frost_free_days": "Between the last and the first 0 °C, the middle year.",
    "heat_sum": "Over 5 °C, April to October (south: October to April), the middle "
    "year.",
}
#: Classes colder than level ground, by the upper limit: level lines that far apart.
LINES = ((-2.0, "lines-close"), (-1.0, "lines-middle"), (-0.5, "lines-wide"))
#: Cells of the grid that the codes are traced on.
CODE_CELLS = 20_000
#: Patches of a code smaller than this are left out. [cells]
SMALL_PATCH = 4
NAME_OF_SD = "frost_night_offset_sd"

Layer = NDArray[np.float32]


def ask_ground(survey: Survey) -> tuple[list[dict[str, Any]], dict[str, Picture]]:
    """List the questions that this survey can answer.

    Parameters
    ----------
    survey : Survey
        What was found.

    Returns
    -------
    options : list of dict
        One for each radio button, in the order asked: ``id``, ``question``,
        ``label``, ``rows`` of the key, ``note``, ``ends``, ``relief`` (opacity),
        ``layers`` (fruit, or empty text, to layer name), ``codes`` and
        ``missing`` (layer name to polygons).
    pictures : dict of str to Picture
        One for each layer.
    """
    options = [site_class_option()]
    pictures: dict[str, Picture] = {}
    for style in LAYER_STYLES:
        names = _find_layers(style, survey)
        if not names:
            continue
        style = _fit_breaks(style, survey, names)  # noqa: PLW2901
        option = _option(style, survey, names)
        for name in names.values():
            values, asked = _values(name, survey)
            pictures[name] = draw_classes(values, asked, survey.site.grid, style)
            gaps = asked & ~np.isfinite(values)
            option["missing"][name] = draw_mask(gaps, survey.site.grid)
            option["codes"][name] = draw_codes(style, name, survey)
        options.append(option)
    return options, pictures


def site_class_option() -> dict[str, Any]:
    """Describe the question that is chosen when the map opens."""
    return {
        "id": "site_class",
        "question": STAND,
        "label": "Site class by block",
        "rows": [
            {"pattern": code, "text": CLASS_STYLES[code].name}
            for code in reversed(range(len(CLASS_STYLES)))
        ],
        "note": "Filled blocks are ranked; “?” means nobody has dug there, "
        "which is neither good nor bad.",
        "ends": [],
        "strip": "",
        "words": False,
        "relief": 1.0,
        "layers": {},
        "codes": {},
        "missing": {},
    }


def _find_layers(style: LayerStyle, survey: Survey) -> dict[str, str]:
    """Find the layers of a style: by fruit, or one under an empty name."""
    if "*" in style.pattern:
        head = style.pattern.removesuffix("*")
        named = {fruit: f"{head}{fruit}" for fruit in list_fruit(survey)}
        return {f: n for f, n in named.items() if _says_something(n, survey)}
    return {"": style.pattern} if _says_something(style.pattern, survey) else {}


def _says_something(name: str, survey: Survey) -> bool:
    """Tell whether a layer is there and known anywhere on land."""
    if name not in survey.layers:
        return False
    known = np.isfinite(survey.layers[name].to_numpy())
    return bool((known & ~survey.site.water_mask).any())


def _values(name: str, survey: Survey) -> tuple[Layer, NDArray[np.bool_]]:
    """Read a layer, and where it has something to say."""
    values = survey.layers[name].to_numpy().astype(np.float32)
    site = survey.site
    if not fnmatch(name, "score_*") and not fnmatch(name, "poor_crop_years_*"):
        return values, ~site.water_mask
    asked = site.field_mask & ~site.water_mask
    if fnmatch(name, "score_*"):
        asked = asked & ~(values <= 0)  # refused ground has no colour
    return values, asked


def _option(
    style: LayerStyle, survey: Survey, names: Mapping[str, str]
) -> dict[str, Any]:
    label = style.label.replace("the station", survey.site.reference_name)
    return {
        "id": style.pattern.removesuffix("_*"),
        "question": style.question,
        "label": label,
        "rows": key_rows(style),
        "note": _note(style, survey),
        "ends": ["colder", "warmer"] if style.family == "difference" else [],
        "strip": _strip(style, label),
        "words": bool(style.words),
        "relief": RELIEF_OPACITY[style.family],
        "layers": dict(names),
        "codes": {},
        "missing": {},
    }


def key_rows(style: LayerStyle) -> list[dict[str, Any]]:
    """Write the rows of a key, low to high.

    Parameters
    ----------
    style : LayerStyle
        Colours and breaks of the layer.

    Returns
    -------
    rows : list of dict
        ``fill`` and ``text``; ``line`` names the code over it; ``limit`` is the
        break below it, for the strip on a phone.
    """
    figures = [_figure(b, style) for b in style.breaks]
    spans = _spans(figures, style)
    rows = []
    for i, (colour, span) in enumerate(zip(style.colours, spans, strict=True)):
        row = {"fill": colour, "text": span, "limit": figures[i - 1] if i else ""}
        if style.words:
            row["limit"] = style.words[i] if i in (0, len(spans) - 1) else ""
        if style.family == "difference" and i < len(style.breaks):
            row["line"] = _line_code(style.breaks[i])
        rows.append(row)
    return rows


def _spans(figures: list[str], style: LayerStyle) -> list[str]:
    """Write the span of each class; the unit stands in the first."""
    if style.words:
        return list(style.words)
    unit = {"date": "", "years in ten": "in ten"}.get(style.unit, style.unit)
    unit = f"{words.NO_BREAK}{unit}" if unit else ""
    low = "before" if style.unit == "date" else "under"
    high = "from" if style.unit == "date" else "over"
    first = f"{low} {figures[0]}{unit}"
    if style.blank_below is not None:
        first = f"{words.number(style.blank_below, 1)} to {figures[0]}{unit}"
    between = [f"{a} to {b}" for a, b in pairwise(figures)]
    return [first, *between, f"{high} {figures[-1]}"]


def _figure(value: float, style: LayerStyle) -> str:
    if style.unit == "date":
        return words.day(value)
    text = words.number(value, 0 if value == int(value) else 1)
    signed = style.family == "difference" and value > 0
    return f"+{text}" if signed else text


def _line_code(upper: float) -> str:
    return next((code for limit, code in LINES if upper <= limit), "")


def _strip(style: LayerStyle, label: str) -> str:
    """Write what the strip on a phone is about; its label may name the unit."""
    if style.pattern == "frost_night_offset" and ", " in label:
        return f"{style.unit} {label.split(', ', 1)[1]}"
    said = not style.unit or style.unit in ("date", "of 100", "years in ten", "%")
    return label if said else f"{label}, {style.unit}"


def _note(style: LayerStyle, survey: Survey) -> str:
    """Say under a key what its marks mean."""
    parts = [COUNTED[style.pattern]] if style.pattern in COUNTED else []
    if style.family == "difference":
        parts.append("Level lines: colder, the closer the colder.")
        if style.pattern == "frost_night_offset" and NAME_OF_SD in survey.layers:
            parts.append("Dots: smaller than its own ±, so not certain.")
    if style.blank_below is not None:
        least = words.with_unit(style.blank_below, style.unit, 1)
        parts.append(f"No colour: under {least}.")
    if style.pattern == "score_*":
        parts.append("No colour: refused, or off the field.")
    parts.append("White with “?”: not known.")
    return " ".join(parts)


def _fit_breaks(
    style: LayerStyle, survey: Survey, names: Mapping[str, str]
) -> LayerStyle:
    """Choose breaks at whole steps where the style leaves them to the site."""
    if style.breaks:
        return style
    values = np.concatenate(
        [survey.layers[n].to_numpy()[survey.site.field_mask] for n in names.values()]
    )
    known = values[np.isfinite(values)]
    step = STEPS[style.pattern]
    centre = step * round(float(np.median(known)) / step) if known.size else step * 20
    return replace(style, breaks=tuple(centre + step * i for i in (-2, -1, 0, 1, 2)))


def draw_codes(
    style: LayerStyle, name: str, survey: Survey
) -> dict[str, list[list[list[list[float]]]]]:
    """Draw where the codes lie over a picture of degrees.

    Parameters
    ----------
    style : LayerStyle
        Only the family *difference* has codes.
    name : str
        The layer.
    survey : Survey
        What was found.

    Returns
    -------
    codes : dict of str to polygons
        ``lines-wide``, ``lines-middle``, ``lines-close``, ``dots``.
    """
    if style.family != "difference":
        return {}
    grid = survey.site.grid
    frame = find_frame(grid, most=CODE_CELLS)
    values = warp(survey.layers[name].to_numpy(), grid, frame)
    code = np.zeros(frame.shape, np.uint8)
    for number, (limit, _) in enumerate(reversed(LINES), start=1):
        code[values <= limit] = number
    if name == "frost_night_offset" and NAME_OF_SD in survey.layers:
        doubt = warp(survey.layers[NAME_OF_SD].to_numpy(), grid, frame)
        code[np.abs(values) < doubt] = len(LINES) + 1
    titles = [*(title for _, title in reversed(LINES)), "dots"]
    traced = _trace(code, frame)
    return {title: traced[i] for i, title in enumerate(titles, start=1) if i in traced}


def _trace(
    code: NDArray[np.uint8], frame: WebFrame
) -> dict[int, list[list[list[list[float]]]]]:
    """Turn equal codes of a frame into polygons of [latitude, longitude]."""
    rows, columns = frame.shape
    transform = from_bounds(
        frame.west, frame.south, frame.east, frame.north, columns, rows
    )
    side = abs(transform.e)
    to_degrees = Transformer.from_crs(WEB, 4326, always_xy=True)
    found: dict[int, list[list[list[list[float]]]]] = {}
    for shape, value in trace(code, mask=code > 0, transform=transform):
        area = Polygon(shape["coordinates"][0], shape["coordinates"][1:])
        if area.area < SMALL_PATCH * side**2:
            continue
        rings = []
        for ring in shapely.get_rings(area.simplify(0.75 * side)):
            longitudes, latitudes = to_degrees.transform(
                *shapely.get_coordinates(ring).T
            )
            both = np.round(np.column_stack([latitudes, longitudes]), 6)
            rings.append([list(map(float, pair)) for pair in both])
        found.setdefault(int(value), []).append(rings)
    return found
