"""The sections that the planting plan reads: `[need]`, `[limits]`, `[prices]`.

Their keys, defaults, bounds and sources stand in `sitekit.planting.terms`, once.
"""

from collections.abc import Callable, Mapping
from math import isfinite, isinf
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, create_model

from sitekit.errors import nearest
from sitekit.planting.terms import USES, Limits, Need, Prices, terms_of
from sitekit.settings import Setting

#: Keys of a fruit that is wanted as a table.
WANTED = ("kg", "use", "group")


class PlantingSection(BaseModel):
    """A section with every key of one kind of terms."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    def given(self) -> dict[str, Any]:
        """Tell what the site file names, as plain values by key."""
        return self.model_dump(exclude_unset=True)


def _is_number(value: object) -> bool:
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    return plain and isfinite(value)  # type: ignore[arg-type]


def _within(value: object, setting: Setting) -> float:
    """Take a number within the bounds of a key.

    Raises
    ------
    ValueError
        Where it is none, or lies outside.
    """
    if not _is_number(value):
        message = "a number is wanted"
        raise ValueError(message)
    number = float(value)  # type: ignore[arg-type]
    if setting.low <= number <= setting.high:
        return number
    message = f"a number not below {setting.low:g} is wanted"
    if not isinf(setting.high):
        message = f"a number from {setting.low:g} to {setting.high:g} is wanted"
    raise ValueError(message)


def _reader(default: object, setting: Setting) -> Callable[[object], object]:
    """Choose how a key is read, by the kind of its default."""

    def read_text(value: object) -> str:
        if isinstance(value, str) and value in setting.choices:
            return value
        known = ", ".join(f'"{c}"' for c in setting.choices if c)
        message = f"one of {known} is wanted"
        raise ValueError(message)

    def read_years(value: object) -> tuple[float, ...]:
        values = value if isinstance(value, list | tuple) else [value]
        if not values:
            message = "a number, or a list with one for each year, is wanted"
            raise ValueError(message)
        return tuple(_within(item, setting) for item in values)

    def read_table(value: object) -> dict[str, float]:
        if not isinstance(value, Mapping):
            message = "a table of numbers by name is wanted"
            raise ValueError(message)
        strange = [
            str(n) for n in value if setting.choices and n not in setting.choices
        ]
        if strange:
            hint = nearest(strange[0], setting.choices)
            message = f'"{strange[0]}" is not known.{hint}'.rstrip(".")
            raise ValueError(message)
        return {str(name): _within(item, setting) for name, item in value.items()}

    def read_whole(value: object) -> int:
        number = _within(value, setting)
        if number != int(number):
            message = "a whole number is wanted"
            raise ValueError(message)
        return int(number)

    readers: dict[type, Callable[[object], object]] = {
        str: read_text,
        tuple: read_years,
        dict: read_table,
        int: read_whole,
    }
    return readers.get(type(default), lambda value: _within(value, setting))


def read_wanted(value: object) -> object:
    """Take what is wanted of a fruit: kilograms, or a table with its use.

    Raises
    ------
    ValueError
        Where it is neither.
    """
    kilograms = Setting("kg", "", low=0)
    if not isinstance(value, Mapping):
        return _within(value, kilograms)
    strange = [str(key) for key in value if key not in WANTED]
    if strange or "kg" not in value:
        message = 'kilograms, or a table as {kg = 900, use = "dried"}, is wanted'
        raise ValueError(message)
    if value.get("use", USES[0]) not in USES:
        message = f"one of {', '.join(USES)} is wanted as its use"
        raise ValueError(message)
    return {**value, "kg": _within(value["kg"], kilograms)}


def describe(setting: Setting) -> str:
    """Write what a key is, with its unit and source, for the reference."""
    unit = f" [{setting.units}]" if setting.units not in ("", "1") else ""
    return f"{setting.text.removesuffix('.')}{unit}. Source: {setting.source}."


def _section(name: str, kind: type[Any]) -> type[PlantingSection]:
    """Make a section from its terms."""
    keys: dict[str, Any] = {}
    for key, (default, setting) in terms_of(kind).items():
        annotation = Annotated[Any, BeforeValidator(_reader(default, setting))]
        shown = _shown(default)
        keys[key] = (
            annotation,
            Field(default=default, description=describe(setting), examples=[shown]),
        )
    return create_model(name, __base__=PlantingSection, **keys)


def _shown(default: object) -> str:
    """Write a default as it would stand in the site file."""
    if isinstance(default, dict):
        inside = ", ".join(f'"{name}" = {value:g}' for name, value in default.items())
        return f"{{{inside}}}" if default else "{pear = 15}"
    if isinstance(default, tuple):
        return "[2400, 2400, 1800]"
    return f'"{default}"' if isinstance(default, str) else f"{default:g}"


class LimitsSection(_section("LimitKeys", Limits)):  # type: ignore[misc]
    """What there is a year, and how the ground is kept: `[limits]`."""


class PricesSection(_section("PriceKeys", Prices)):  # type: ignore[misc]
    """What things cost, in money and in days: `[prices]`."""


class NeedSection(_section("NeedKeys", Need)):  # type: ignore[misc]
    """What is wanted, in kg a year by fruit, or by people: `[need]`."""

    model_config = ConfigDict(extra="allow", frozen=True, strict=True)

    __pydantic_extra__: dict[str, Annotated[Any, BeforeValidator(read_wanted)]]

    @property
    def fruit(self) -> tuple[str, ...]:
        """Fruit that are named."""
        return tuple(self.__pydantic_extra__)
