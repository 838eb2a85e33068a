"""The catalogue of layers and the engine that makes them.

A layer is one function. Its positional parameters are the layers or inputs that
it needs, by name; its keyword-only parameters are settings or facts of the grid.
Everything that lists layers (files, map, documents, tests) reads the catalogue.
"""

import inspect
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from math import inf
from typing import Any, TypeVar

import xarray as xr
from numpy.typing import NDArray

from sitekit.errors import LayerError, nearest
from sitekit.grid import Grid
from sitekit.settings import Setting, settings_of

Function = TypeVar("Function", bound=Callable[..., Any])

#: What a layer lacks whose function found nothing to tell and gave None.
NOTHING = "anything to tell"
#: Keyword-only parameters that the grid answers.
GRID_FACTS = (
    "cell_size",
    "latitude",
    "longitude",
    "convergence",
    "eastings",
    "northings",
)


@dataclass(frozen=True)
class Layer:
    """One layer: what it is and how it is made.

    Parameters
    ----------
    name : str
        Name in files and as a parameter.
    units, long_name, reference : str
        Unit, what it is in trade words, published source of the method.
    function : callable
        Makes the array; None where there is nothing to tell. No other layer may
        need one that can be None.
    fixed : mapping
        Keyword arguments fixed for this layer, such as the season.
    written : bool
        Whether it is written to a file unless asked otherwise; the rest are
        steps on the way.
    heavy : int
        0 for most. Others take much memory while they are made, or let much of it
        go; they are made first, in this order, while little else is held.
    """

    name: str
    units: str
    long_name: str
    reference: str
    function: Callable[..., NDArray[Any] | None]
    fixed: Mapping[str, Any]
    written: bool
    heavy: int = 0

    @property
    def needs(self) -> tuple[str, ...]:
        """Layers and inputs that it is made from."""
        season = self.fixed.get("season", "")
        return tuple(
            p.name.replace("_of_season", f"_{season}")
            for p in inspect.signature(self.function).parameters.values()
            if p.kind is p.POSITIONAL_OR_KEYWORD
        )

    @property
    def settings(self) -> dict[str, tuple[Any, Setting]]:
        """Settings that change it."""
        return settings_of(self.function)


CATALOGUE: dict[str, Layer] = {}


def layer(
    *,
    units: str,
    long_name: str,
    reference: str,
    seasons: tuple[str, ...] = (),
    written: bool = True,
    heavy: int = 0,
) -> Callable[[Function], Function]:
    """Enter a function into the catalogue; the function itself is unchanged.

    Parameters
    ----------
    units, long_name, reference : str
        See `Layer`; ``{season}`` in the long name is filled in.
    seasons : tuple of str
        Makes one layer ``name_season`` for each, passed as ``season=``. A
        positional parameter that ends in ``_of_season`` is the other layer of
        the same season.
    written : bool
        See `Layer`.
    heavy : int
        See `Layer`.
    """

    def enter(function: Function) -> Function:
        for season in seasons or ("",):
            name = f"{function.__name__}_{season}" if season else function.__name__
            CATALOGUE[name] = Layer(
                name=name,
                units=units,
                long_name=long_name.format(season=season),
                reference=reference,
                function=function,
                fixed={"season": season} if season else {},
                written=written,
                heavy=heavy,
            )
        return function

    return enter


def find_layer(name: str) -> Layer:
    """Look a layer up by name.

    Raises
    ------
    LayerError
        Where no layer has that name; the nearest name is offered.
    """
    if name not in CATALOGUE:
        message = f'No layer is called "{name}".{nearest(name, CATALOGUE)}'
        raise LayerError(message)
    return CATALOGUE[name]


def all_settings() -> dict[str, tuple[Any, Setting]]:
    """List the settings of all layers, by name."""
    found: dict[str, tuple[Any, Setting]] = {}
    for entry in CATALOGUE.values():
        found.update(entry.settings)
    return found


def order_layers(
    names: Iterable[str], given: Iterable[str]
) -> tuple[list[str], dict[str, str]]:
    """Put layers into an order in which each finds what it needs.

    Parameters
    ----------
    names : iterable of str
        Layers asked for.
    given : iterable of str
        Inputs at hand.

    Returns
    -------
    order : list of str
        Layers to make, steps on the way included.
    absent : dict
        Layers that cannot be made, with the input that each lacks.
    """
    at_hand = set(given)
    absent: dict[str, str] = {}
    found: list[str] = []

    def visit(name: str) -> str:
        """Find a layer after all that it needs; return the input that it lacks."""
        if name in at_hand or name in found:
            return ""
        if name in absent:
            return absent[name]
        if name not in CATALOGUE:
            return name
        for needed in CATALOGUE[name].needs:
            lacking = visit(needed)
            if lacking:
                absent[name] = lacking
                return lacking
        found.append(name)
        return ""

    for name in names:
        find_layer(name)
        visit(name)
    needed, found = sorted(found, key=lambda n: CATALOGUE[n].heavy or inf), []
    for name in needed:
        visit(name)
    return found, absent


def make_layers(
    names: Iterable[str],
    given: Mapping[str, NDArray[Any]],
    grid: Grid,
    settings: Mapping[str, Any] | None = None,
    on_step: Callable[[str], None] = lambda _: None,
) -> tuple[xr.Dataset, dict[str, str]]:
    """Make layers, and the steps on the way, each once.

    Parameters
    ----------
    names : iterable of str
        Layers asked for.
    given : mapping of str to (row, column) ndarray
        Inputs at hand: elevation, masks, heights. Where nothing else holds them,
        each is let go when no layer needs it any more.
    grid : Grid
        The grid that they lie on.
    settings : mapping
        Settings that differ from their default.
    on_step : callable
        Called with the name of each layer before it is made.

    Returns
    -------
    layers : xarray.Dataset
        The layers asked for, as far as they could be made.
    absent : dict
        The others, with the input that each lacks.
    """
    names = list(names)
    order, absent = order_layers(names, given)
    last_use = {need: name for name in order for need in CATALOGUE[name].needs}
    arrays: dict[str, NDArray[Any]] = dict(given)
    del given
    for name in order:
        entry = CATALOGUE[name]
        on_step(name)
        made = entry.function(
            *(arrays[n] for n in entry.needs), **_keywords(entry, grid, settings or {})
        )
        if made is None:
            absent[name] = NOTHING
        else:
            arrays[name] = made
        for need in entry.needs:
            if last_use[need] == name and need not in names:
                arrays.pop(need, None)
    stacks = [n for n in names if n in arrays and arrays[n].shape != grid.shape]
    if stacks:
        message = (
            f'"{stacks[0]}" is a step on the way, not one value a cell, and cannot be '
            "kept as a layer. Leave it out."
        )
        raise LayerError(message)
    wrapped = {
        name: grid.wrap(
            arrays[name],
            name,
            units=CATALOGUE[name].units,
            long_name=CATALOGUE[name].long_name,
            reference=CATALOGUE[name].reference,
        )
        for name in names
        if name in arrays
    }
    return xr.Dataset(wrapped), absent


def _keywords(entry: Layer, grid: Grid, settings: Mapping[str, Any]) -> dict[str, Any]:
    """Gather the keyword-only arguments of a layer."""
    chosen = dict(entry.fixed)
    for parameter in inspect.signature(entry.function).parameters.values():
        if parameter.kind is not parameter.KEYWORD_ONLY:
            continue
        if parameter.name in GRID_FACTS:
            chosen[parameter.name] = getattr(grid, parameter.name)
        elif parameter.name in settings:
            chosen[parameter.name] = settings[parameter.name]
    return chosen
