"""Settings: numbers of a method that the user may change in the site file.

A setting is a keyword-only parameter whose annotation says what it is, so that
its name, default, unit and meaning stand in one place::

    def relative_height(elevation, *, cell_size: float,
                        relative_height_radius: Metres("Radius ...") = 150.0): ...
"""

import inspect
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, get_type_hints


@dataclass(frozen=True)
class Setting:
    """What a setting is; stands in ``Annotated[float, Setting(...)]``.

    Parameters
    ----------
    units : str
        Unit of the number, ``1`` for none.
    text : str
        What it does, in one sentence for the user.
    source : str
        Where the default comes from.
    low, high : float
        What is allowed, ends included.
    choices : tuple of str
        Words that a list may hold.
    """

    units: str
    text: str
    source: str = "common practice, no source"
    low: float = float("-inf")
    high: float = float("inf")
    choices: tuple[str, ...] = ()


def settings_of(function: Callable[..., Any]) -> dict[str, tuple[Any, Setting]]:
    """List the settings of a function.

    Parameters
    ----------
    function : callable
        A function whose keyword-only parameters may be settings.

    Returns
    -------
    settings : dict
        Name of each setting with its default and what it is.
    """
    hints = get_type_hints(function, include_extras=True)
    found: dict[str, tuple[Any, Setting]] = {}
    for name, parameter in inspect.signature(function).parameters.items():
        for note in getattr(hints.get(name), "__metadata__", ()):
            if isinstance(note, Setting):
                found[name] = (parameter.default, note)
    return found
