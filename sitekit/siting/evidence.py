"""The grower's own trees and notes set against the map: the test he can make today."""

from collections.abc import Callable
from datetime import date

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit import words
from sitekit.siting.places import Places
from sitekit.words import REFUSED, SITE_CLASSES, TEST_FIRST

AGREES, CONTRADICTS, NOT_JUDGED = "agrees", "contradicts", "not judged"
#: Held air from which a note of cold is borne out. [m]
SOME_AIR = 0.3
#: Cold against good ground nearby from which a note of cold is borne out. [degC]
COLD = 1.2
#: Wetness from which a note of standing water is borne out.
WET = 9.0
#: Slope below which a note of standing water is borne out. [degree]
NEARLY_LEVEL = 1.2
OPEN_TO_WIND = 0.5


def compare_trees(places: Places) -> GeoDataFrame:
    """Set the trees that stand against the class of the ground they stand on.

    Parameters
    ----------
    places : Places
        Reads class and reason at cells.

    Returns
    -------
    trees : GeoDataFrame
        The grower's trees with ``site_class``, ``score``, ``verdict`` and ``reason``.
    """
    trees = places.site.vectors["existing_trees"].copy()
    rows, columns = places.site.grid.cells(
        trees.geometry.centroid.x.to_numpy(), trees.geometry.centroid.y.to_numpy()
    )
    found = [
        _compare_tree(
            places, str(tree["fruit"]), tree["condition"], int(row), int(column)
        )
        for (_, tree), row, column in zip(trees.iterrows(), rows, columns, strict=True)
    ]
    for index, name in enumerate(("site_class", "score", "verdict", "reason")):
        # Texts also where there is no tree, so that the column keeps its kind.
        trees[name] = np.array([f[index] for f in found], dtype=object)
    return trees.astype({"score": float})


def _compare_tree(
    places: Places, fruit: str, condition: str | None, row: int, column: int
) -> tuple[str | None, float, str, str]:
    """Set one tree against the map."""
    if fruit not in places.verdicts:
        return None, np.nan, NOT_JUDGED, "this fruit was not asked for"
    grid = places.site.grid
    inside = 0 <= row < grid.shape[0] and 0 <= column < grid.shape[1]
    if not inside or not places.judged(fruit, row, column):
        return None, np.nan, NOT_JUDGED, "it stands outside the ground that was judged"
    code = int(places.verdicts[fruit].site_class[row, column])
    score = round(float(places.verdicts[fruit].score[row, column]))
    why = words.within(places.reason(fruit, row, column))
    if condition == "thriving":
        verdict = CONTRADICTS if code == REFUSED else AGREES
    elif condition in ("weak", "dead"):
        verdict = AGREES if code < words.CONDITIONS else CONTRADICTS
    else:
        verdict = NOT_JUDGED
    if code == TEST_FIRST and condition in ("thriving", "weak", "dead"):
        verdict = NOT_JUDGED
    text = f"the ground is {SITE_CLASSES[code]} for {words.fruit_name(fruit)}: {why}"
    return SITE_CLASSES[code], float(score), verdict, text


def compare_notes(places: Places) -> GeoDataFrame:
    """Set dated notes against what the map says at their place.

    Parameters
    ----------
    places : Places
        Reads values at cells.

    Returns
    -------
    notes : GeoDataFrame
        The grower's notes with ``verdict`` and ``reason``.
    """
    notes = places.site.vectors["notes"].copy()
    found = [
        _compare_note(places, note["kind"], note.geometry)
        for _, note in notes.iterrows()
    ]
    for index, name in enumerate(("verdict", "reason")):
        notes[name] = np.array([f[index] for f in found], dtype=object)
    return notes


def _compare_note(places: Places, kind: str, shape: BaseGeometry) -> tuple[str, str]:
    """Set one note against the map."""
    check = NOTE_CHECKS.get(kind)
    values = _values_around(places, shape)
    if check is None:
        return NOT_JUDGED, "the map says nothing about this"
    if not values:
        return NOT_JUDGED, "it lies outside the elevation"
    return check(values)


def _values_around(
    places: Places, shape: BaseGeometry
) -> dict[str, NDArray[np.float32]]:
    """Read the layers at a note and up to 15 m around it."""
    grid = places.site.grid
    near = shape.buffer(max(15.0, grid.cell_size))
    west, south, east, north = near.bounds
    (top, bottom), (left, right) = grid.cells([west, east], [north, south])
    if bottom < 0 or right < 0 or top >= grid.shape[0] or left >= grid.shape[1]:
        return {}
    window = (slice(max(top, 0), bottom + 1), slice(max(left, 0), right + 1))
    names = (
        "pooling_depth",
        "path_margin",
        "night_cold",
        "frost_night_offset",
        "wetness_index",
        "slope",
        "wind_exposure",
    )
    return {n: places.layers[n][window] for n in names}


def _is_cold(values: dict[str, NDArray[np.float32]]) -> str:
    """Say why the map calls a place cold; empty where it does not."""
    depth = float(np.nanmax(values["pooling_depth"]))
    if depth >= SOME_AIR:
        return f"the map holds {words.with_unit(depth, 'm', 1)} of cold air here"
    if float(np.nanmin(values["path_margin"])) < 1:
        return "a cold-air path passes here on the map"
    if float(np.nanmax(values["night_cold"])) >= COLD:
        offset = words.offset(float(np.nanmin(values["frost_night_offset"])))
        return f"the map makes a clear still night {offset} here"
    return ""


def _cold_note(values: dict[str, NDArray[np.float32]]) -> tuple[str, str]:
    why = _is_cold(values)
    if why:
        return AGREES, why
    return CONTRADICTS, (
        "the map finds no cold air here; two thermometers, here and 20 m higher, "
        "decide it"
    )


def _warm_note(values: dict[str, NDArray[np.float32]]) -> tuple[str, str]:
    why = _is_cold(values)
    if not why:
        return AGREES, "the map finds no cold air here"
    return (
        CONTRADICTS,
        f"{why}; a thermometer here on ten clear still nights decides it",
    )


def _wet_note(values: dict[str, NDArray[np.float32]]) -> tuple[str, str]:
    wet = float(np.nanmax(values["wetness_index"])) >= WET
    level = float(np.nanmin(values["slope"])) < NEARLY_LEVEL
    if wet or level:
        why = "gathers water" if wet else "is nearly level"
        return AGREES, f"the land {why} here"
    return (
        CONTRADICTS,
        "the land sheds water here; is the soil packed? a test hole decides",
    )


def _wind_note(values: dict[str, NDArray[np.float32]]) -> tuple[str, str]:
    exposure = float(np.nanmean(values["wind_exposure"]))
    called = words.graded(exposure, words.WIND_LIMITS, words.WIND_WORDS)
    verdict = AGREES if exposure >= OPEN_TO_WIND else CONTRADICTS
    return verdict, f"the map calls it {called}"


#: What each kind of note is set against.
NOTE_CHECKS: dict[str, Callable[[dict[str, NDArray[np.float32]]], tuple[str, str]]] = {
    "fog": _cold_note,
    "frost": _cold_note,
    "blossom killed": _cold_note,
    "late snow": _cold_note,
    "early bare": _warm_note,
    "standing water": _wet_note,
    "wind": _wind_note,
}


def tell_note(kind: str, when: object, reason: str) -> str:
    """Write what a note says and what the map says, in one sentence."""
    return words.sentence(f"{kind} noted on {_date(when)}: {reason}")


def _date(when: object) -> str:
    try:
        day = date.fromisoformat(str(when)[:10])
    except ValueError:
        return str(when)
    return f"{day.day} {day:%B %Y}"
