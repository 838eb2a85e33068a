"""A fruit: spacing and the factors that decide where it may stand."""

import tomllib
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable
from math import atan, degrees
from pathlib import Path
from typing import Any

from sitekit.errors import FruitError, nearest
from sitekit.fruit.groups import (
    GROUP_KEYS,
    TABLES,
    Group,
    Stage,
    Varieties,
    Vigour,
    parse_varieties,
)
from sitekit.words import CONDITIONS, HARDY, SITE_CLASSES

#: How many points each curve has.
CURVES = {"rising": 2, "falling": 2, "hump": 4}
FRUIT_KEYS = {
    "name",
    "spacing_m",
    "row_spacing_m",
    "spacing_source",
    "factor",
    *GROUP_KEYS,
    *TABLES,
}
FACTOR_KEYS = {"layer", "curve", "points", "unit", "floor", "lack", "say", "source"}


@dataclass(frozen=True)
class Factor:
    """One thing that decides whether a fruit may stand somewhere.

    Parameters
    ----------
    layer : str
        The layer that it reads.
    curve : {"rising", "falling", "hump"}
        Shape of its membership.
    points : tuple of float
        Where the curve leaves its floor and reaches 1, in the layer's unit.
    floor : float
        Lowest membership; above 0 the factor alone refuses no ground.
    lack : int
        Site class of ground that falls short of it without being refused.
    say : str
        Reason in words, with ``{value}`` for the value at that place.
    source : str
        Where the points come from.
    """

    layer: str
    curve: str
    points: tuple[float, ...]
    floor: float
    lack: int
    say: str
    source: str


@dataclass(frozen=True)
class Fruit:
    """One fruit.

    Parameters
    ----------
    name : str
        Name in files; the name of its TOML file.
    spacing, row_spacing : float
        Between plants in the row, and between rows. [m]
    spacing_source : str
        Where the spacing comes from.
    factors : tuple of Factor
        What decides where it may stand.
    varieties : Varieties or None
        Its groups by bloom, ripening and hardiness; None in a file that has none,
        and then nothing is told in years.
    """

    name: str
    spacing: float
    row_spacing: float
    spacing_source: str
    factors: tuple[Factor, ...]
    varieties: Varieties | None = None

    @property
    def groups(self) -> tuple[Group, ...]:
        """Groups of its varieties; none in a file without them."""
        return self.varieties.groups if self.varieties else ()

    @property
    def stages(self) -> tuple[Stage, ...]:
        """Stages of its flower with their limits of frost."""
        return self.varieties.stages if self.varieties else ()

    @property
    def vigours(self) -> tuple[Vigour, ...]:
        """Sizes by the strength of the stock, the least first."""
        return self.varieties.vigours if self.varieties else ()


def fruit_names() -> tuple[str, ...]:
    """Name the fruit of the catalogue, in alphabetical order."""
    return tuple(sorted(f.name.removesuffix(".toml") for f in _files()))


def read_fruit(name: str, folder: Path | None = None) -> Fruit:
    """Read one fruit from the catalogue, or from the grower's own folder.

    Parameters
    ----------
    name : str
        Name of the fruit.
    folder : Path, optional
        Folder of the grower's own fruit files; they come first.

    Raises
    ------
    FruitError
        Where no file has that name, or the file is wrong.
    """
    own = folder / f"{name}.toml" if folder else None
    if own is not None and own.is_file():
        return parse_fruit(own.read_text(encoding="utf-8"), str(own))
    for file in _files():
        if file.name == f"{name}.toml":
            return parse_fruit(file.read_text(encoding="utf-8"), file.name)
    known = fruit_names()
    message = (
        f'No fruit is called "{name}".{nearest(name, known)} Known: {", ".join(known)}.'
    )
    raise FruitError(message)


def parse_fruit(text: str, file: str) -> Fruit:
    """Turn the text of a fruit file into a fruit.

    Parameters
    ----------
    text : str
        TOML.
    file : str
        Name of the file, for messages.

    Raises
    ------
    FruitError
        Naming the file and every mistake in it.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        message = f"{file}: {problem}. Mend the line and run again."
        raise FruitError(message) from None
    mistakes = _unknown(table, FRUIT_KEYS, file, "")
    factors: list[Factor] = []
    for number, entry in enumerate(table.get("factor", []), start=1):
        found = _factor_mistakes(entry, file, number)
        mistakes += found
        if not found:
            factors.append(_factor(entry))
    for key in ("spacing_m", "row_spacing_m"):
        if not _is_number(table.get(key)) or table[key] <= 0:
            mistakes.append(f'{file}: "{key}" must be a length in metres above 0.')
    varieties, found = parse_varieties(table, file)
    mistakes += found
    if not factors and not mistakes:
        mistakes.append(f"{file}: it has no [[factor]]; give at least one.")
    if mistakes:
        raise FruitError(*mistakes)
    return Fruit(
        name=str(table.get("name", Path(file).stem)),
        spacing=float(table["spacing_m"]),
        row_spacing=float(table["row_spacing_m"]),
        spacing_source=str(table.get("spacing_source", "the grower's own file")),
        factors=tuple(factors),
        varieties=varieties,
    )


def _files() -> list[Traversable]:
    folder = resources.files("sitekit.fruit") / "catalogue"
    return [f for f in folder.iterdir() if f.name.endswith(".toml")]


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _unknown(
    table: dict[str, Any], known: set[str], file: str, where: str
) -> list[str]:
    return [
        f'{file}{where}: unknown key "{key}".{nearest(key, known)}'
        for key in table
        if key not in known
    ]


def _factor_mistakes(entry: dict[str, Any], file: str, number: int) -> list[str]:
    """List what is wrong with one factor."""
    where = f", factor {number}"
    mistakes = _unknown(entry, FACTOR_KEYS, file, where)
    missing = [k for k in ("layer", "curve", "points", "lack", "say") if k not in entry]
    if missing:
        return [*mistakes, f"{file}{where}: lacks {', '.join(missing)}."]
    count = CURVES.get(entry["curve"])
    points = entry["points"]
    if count is None:
        mistakes.append(
            f'{file}{where}: no curve is called "{entry["curve"]}".'
            f" Known: {', '.join(CURVES)}."
        )
    elif (
        len(points) != count
        or not all(map(_is_number, points))
        or sorted(points) != points
    ):
        mistakes.append(
            f"{file}{where}: a {entry['curve']} curve has {count} points in rising "
            "order."
        )
    if entry["lack"] not in (SITE_CLASSES[HARDY], SITE_CLASSES[CONDITIONS]):
        allowed = f'"{SITE_CLASSES[HARDY]}" or "{SITE_CLASSES[CONDITIONS]}"'
        mistakes.append(f'{file}{where}: "lack" is {allowed}.')
    if not 0 <= entry.get("floor", 0) < 1:
        mistakes.append(f'{file}{where}: "floor" lies from 0 to below 1.')
    return mistakes


def _factor(entry: dict[str, Any]) -> Factor:
    points = [float(p) for p in entry["points"]]
    if entry.get("unit") == "%":
        points = [degrees(atan(p / 100)) for p in points]
    return Factor(
        layer=entry["layer"],
        curve=entry["curve"],
        points=tuple(points),
        floor=float(entry.get("floor", 0.0)),
        lack=SITE_CLASSES.index(entry["lack"]),
        say=entry["say"],
        source=entry.get("source", "common practice, no source"),
    )
