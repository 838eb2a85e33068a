"""What each vector input may hold: shapes, columns, defaults, meanings.

Every frame that leaves `sitekit.io` has the columns of its schema, in this
order, whatever the file held. One table, read by the reader, the check and the
documents.
"""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from datetime import date
from math import isnan
from types import MappingProxyType
from typing import Literal

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame, GeoSeries
from pyproj import CRS

from sitekit.errors import InputError, nearest
from sitekit.words import COVER_KINDS

Shape = Literal["polygon", "line", "point"]
Kind = Literal["text", "word", "identifier", "number", "flag", "day"]
Value = str | float | bool

_DEFAULTS: Mapping[Kind, Value] = {
    "text": "",
    "word": "",
    "identifier": "",
    "number": np.nan,
    "flag": False,
    "day": np.nan,
}
_YES = {"1", "true", "t", "yes", "y", "evergreen"}
_NO = {"0", "false", "f", "no", "n", "", "deciduous"}


@dataclass(frozen=True)
class Column:
    """One column of a vector input.

    Parameters
    ----------
    kind : {"text", "word", "identifier", "number", "flag", "day"}
        ``word`` is text in small letters, ``identifier`` a word with ``_`` for
        each space, ``day`` a day of the year, or a date that becomes one.
    meaning : str
        What it says, with its unit.
    low, high : float
        What is allowed, ends included.
    choices : tuple of str
        Words that are known; another word is kept and said.
    needed : bool
        Whether a feature without it says nothing.
    """

    kind: Kind
    meaning: str
    low: float = float("-inf")
    high: float = float("inf")
    choices: tuple[str, ...] = ()
    needed: bool = False

    @property
    def default(self) -> Value:
        """What stands where the file says nothing."""
        return _DEFAULTS[self.kind]


@dataclass(frozen=True)
class Schema:
    """One vector input.

    Parameters
    ----------
    meaning : str
        What it is.
    adds : str
        What it would add, for the list of missing inputs.
    shapes : tuple of {"polygon", "line", "point"}
        Shapes that may stand in it.
    columns : mapping of str to Column
        Columns that every frame has.
    free : bool
        Whether other columns of the file are kept.
    """

    meaning: str
    adds: str
    shapes: tuple[Shape, ...]
    columns: Mapping[str, Column] = field(default_factory=dict)
    free: bool = False


NAME = Column("text", "name")
HEIGHT = Column("number", "height [m]", low=0.0, high=100.0)
OPENNESS = Column("number", "share that is open, 0 to 1", low=0.0, high=1.0)
BARRIER_KINDS = ("hedge", "wall", "fence", "wood", "bank", "building", "other")
CONDITIONS = ("thriving", "weak", "dead")
MARK_KINDS = ("control", "check")
TEST_RESULTS = ("good", "slow", "holds water")
NOTE_KINDS = (
    "fog",
    "frost",
    "blossom killed",
    "late snow",
    "early bare",
    "standing water",
    "browsing",
    "wind",
)

FIELD = Schema("the ground to plant", "", ("polygon", "line", "point"), {"name": NAME})

SCHEMAS: Mapping[str, Schema] = MappingProxyType(
    {
        "water": Schema(
            "lakes, ponds and wide rivers",
            "would add the effect of the lake",
            ("polygon",),
            {
                "name": NAME,
                "ice_out": Column(
                    "day", "day of the year when the ice goes", low=1, high=366
                ),
                "ice_in": Column(
                    "day", "day of the year when it freezes", low=1, high=366
                ),
                "depth_m": Column("number", "depth [m]", low=0.0, high=2000.0),
                "level_m": Column("number", "height of the surface [m]"),
            },
        ),
        "barriers": Schema(
            "hedges, walls, fences, banks that hold cold air",
            "would add cold air held behind hedges and walls, and their shelter",
            ("line", "polygon"),
            {
                "name": NAME,
                "kind": Column("word", "kind", choices=BARRIER_KINDS),
                "height_m": HEIGHT,
                "openness": OPENNESS,
            },
        ),
        "woodland": Schema(
            "woods, or a raster of canopy heights",
            "would add shade to the sun hours, and shelter",
            ("polygon",),
            {
                "name": NAME,
                "height_m": HEIGHT,
                "evergreen": Column("flag", "keeps its leaves in winter"),
                "openness": OPENNESS,
            },
        ),
        "cover": Schema(
            "what grows on the ground",
            "would replace short grass as the assumed cover",
            ("polygon",),
            {"kind": Column("word", "kind of cover", choices=COVER_KINDS)},
        ),
        "no_go": Schema(
            "ground not to be planted",
            "would keep spots off springs, drains and kept ground",
            ("polygon", "line", "point"),
            {"name": NAME, "reason": Column("text", "why")},
        ),
        "neighbours": Schema(
            "ground and houses of others",
            "would name who receives the cold air of a change",
            ("polygon", "line", "point"),
            {"name": NAME},
        ),
        "buildings": Schema(
            "houses, barns, sheds",
            "would add the house as the reference place, and who receives the air",
            ("polygon",),
            {"name": NAME, "kind": Column("word", "kind"), "height_m": HEIGHT},
        ),
        "access": Schema(
            "tracks and gates",
            "would draw tracks and gates on the contractor's plan",
            ("line", "polygon", "point"),
            {"name": NAME, "kind": Column("word", "kind")},
        ),
        "services": Schema(
            "buried and overhead lines",
            "would keep digging off lines that are known",
            ("line", "polygon", "point"),
            {
                "name": NAME,
                "kind": Column("word", "kind"),
                "certainty": Column("word", "how sure its place is"),
            },
        ),
        "existing_trees": Schema(
            "fruit trees that stand already",
            "would test the map against trees that thrive or fail",
            ("point",),
            {
                "name": NAME,
                "fruit": Column("identifier", "fruit"),
                "condition": Column("word", "condition", choices=CONDITIONS),
                "bloom": Column("text", "notes of bloom"),
            },
        ),
        "mulched": Schema(
            "ground under mulch",
            "would add the colder nights over loose mulch",
            ("polygon",),
            {"name": NAME},
        ),
        "control_marks": Schema(
            "marks with known coordinates",
            "would let the plan be set out",
            ("point",),
            {
                "name": NAME,
                "kind": Column("word", "what it is for", choices=MARK_KINDS),
                "elevation_m": Column("number", "height as surveyed [m]"),
                "text": Column("text", "where it is"),
            },
        ),
        "ground_tests": Schema(
            "test holes for drainage",
            "would let blocks be judged for drainage",
            ("point",),
            {
                "name": NAME,
                "result": Column("word", "result", choices=TEST_RESULTS, needed=True),
            },
            free=True,
        ),
        "notes": Schema(
            "what was seen: fog, frost, standing water",
            "would test the map against what was seen",
            ("point", "line", "polygon"),
            {
                "date": Column("text", "date"),
                "kind": Column("word", "kind", choices=NOTE_KINDS),
                "text": Column("text", "what was seen"),
            },
        ),
    }
)


def empty_frame(schema: Schema, crs: CRS) -> GeoDataFrame:
    """Make a frame without a feature, with the columns of its schema."""
    series = {
        name: pd.Series([], dtype=_dtype(column))
        for name, column in schema.columns.items()
    }
    return GeoDataFrame(series, geometry=GeoSeries([], crs=crs), crs=crs)


def fit_columns(frame: GeoDataFrame, schema: Schema, file: str) -> GeoDataFrame:
    """Give a frame the columns of its schema, whatever the file called them.

    Parameters
    ----------
    frame : GeoDataFrame
        As it was read; column names may differ in case.
    schema : Schema
        What it should hold.
    file : str
        Its name, for the errors.

    Returns
    -------
    fitted : GeoDataFrame
        Columns of the schema in order, then free columns, then geometry.

    Raises
    ------
    InputError
        A value that cannot be read as its column asks, or lies outside what is
        allowed. Every such value has its own sentence.
    """
    given: dict[str, Hashable] = {
        str(name).casefold(): name
        for name in frame.columns
        if name != frame.geometry.name
    }
    mistakes: list[str] = []
    columns: dict[Hashable, pd.Series] = {}
    for name, column in schema.columns.items():
        if name in given:
            values = list(frame[given[name]])
            read = [
                _value(value, column, f"{file}, feature {number}: {name}", mistakes)
                for number, value in enumerate(values, start=1)
            ]
        else:
            read = [column.default] * len(frame)
        columns[name] = pd.Series(read, index=frame.index, dtype=_dtype(column))
    if mistakes:
        raise InputError(*mistakes)
    if schema.free:
        columns |= {
            old: frame[old] for low, old in given.items() if low not in schema.columns
        }
    return GeoDataFrame(columns, geometry=frame.geometry.array, crs=frame.crs)


def unknown_words(frame: GeoDataFrame, schema: Schema) -> list[str]:
    """Say which words of a frame its schema does not know, or misses."""
    said = []
    for name, column in schema.columns.items():
        if not column.choices:
            continue
        empty = int((frame[name] == "").sum())
        if column.needed and empty:
            said.append(f"{empty} of {len(frame)} have no {name} and are left out.")
        words = {str(word) for word in frame[name] if word} - set(column.choices)
        said += [
            f'{name} "{word}" is not one of {", ".join(column.choices)}.'
            f"{nearest(word, column.choices)}"
            for word in sorted(words)
        ]
    return said


def _dtype(column: Column) -> str:
    return {"number": "float64", "flag": "bool", "day": "float64"}.get(
        column.kind, "object"
    )


def _value(value: object, column: Column, where: str, mistakes: list[str]) -> Value:
    if value is None or value is pd.NaT or (isinstance(value, float) and isnan(value)):
        return column.default
    if column.kind not in _READERS:
        return _text(value, column.kind)
    read = _READERS[column.kind](value)
    if read is None:
        mistakes.append(f'{where} is "{value}". {_WANTED[column.kind]}')
    elif read < column.low or read > column.high:
        mistakes.append(
            f"{where} is {value}. It must lie between {column.low:g} and "
            f"{column.high:g}."
        )
    return column.default if read is None else read


def _text(value: object, kind: Kind) -> str:
    if isinstance(value, date):
        return value.isoformat()[:10]
    text = str(value).strip()
    if kind == "text":
        return text
    return text.casefold().replace(" ", "_" if kind == "identifier" else " ")


def _number(value: object) -> float | None:
    try:
        return float(str(value).strip() or "nan")
    except ValueError:
        return None


def _flag(value: object) -> bool | None:
    word = str(value).strip().casefold().removesuffix(".0")
    return True if word in _YES else False if word in _NO else None


def _day(value: object) -> float | None:
    if isinstance(value, date):
        return float(value.timetuple().tm_yday)
    number = _number(value)
    if number is not None:
        return number
    try:
        return float(date.fromisoformat(str(value).strip()[:10]).timetuple().tm_yday)
    except ValueError:
        return None


_WANTED: Mapping[str, str] = {
    "number": "Write a number with a decimal point and no unit.",
    "flag": "Write true or false.",
    "day": "Write a date as 2025-03-31, or a day of the year from 1 to 366.",
}

_READERS: Mapping[str, Callable[[object], float | bool | None]] = {
    "number": _number,
    "flag": _flag,
    "day": _day,
}
