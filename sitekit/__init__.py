"""Where to extend an orchard: terrain, cold air, sun and lake of one site.

>>> import sitekit                                            # doctest: +SKIP
>>> site = sitekit.read_site("site.toml")                     # doctest: +SKIP
>>> found = sitekit.survey(site)                              # doctest: +SKIP
>>> sitekit.write_survey(found, "survey")                     # doctest: +SKIP
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sitekit.errors import (
        ConfigError,
        CoverageError,
        CrsError,
        FruitError,
        GridError,
        InputError,
        LayerError,
        OutputError,
        SitekitError,
    )
    from sitekit.fruit import Fruit, read_fruit
    from sitekit.grid import Grid
    from sitekit.io.inputs import SiteRequest, read_request
    from sitekit.io.vectors import VectorSource
    from sitekit.layers import CATALOGUE, Layer, make_layers
    from sitekit.pipeline import known_settings, survey
    from sitekit.request import read_site
    from sitekit.results import Survey
    from sitekit.site import Site
    from sitekit.writing import write_survey

__all__ = [
    "CATALOGUE",
    "ConfigError",
    "CoverageError",
    "CrsError",
    "Fruit",
    "FruitError",
    "Grid",
    "GridError",
    "InputError",
    "Layer",
    "LayerError",
    "OutputError",
    "Site",
    "SiteRequest",
    "SitekitError",
    "Survey",
    "VectorSource",
    "known_settings",
    "make_layers",
    "read_fruit",
    "read_request",
    "read_site",
    "survey",
    "write_survey",
]

#: Where each name lives. They are imported when first used, so that the command
#: answers ``--help`` at once.
_HOMES = {
    "errors": (
        "ConfigError",
        "CoverageError",
        "CrsError",
        "FruitError",
        "GridError",
        "InputError",
        "LayerError",
        "OutputError",
        "SitekitError",
    ),
    "fruit": ("Fruit", "read_fruit"),
    "grid": ("Grid",),
    "io.inputs": ("SiteRequest", "read_request"),
    "io.vectors": ("VectorSource",),
    "layers": ("CATALOGUE", "Layer", "make_layers"),
    "pipeline": ("known_settings", "survey"),
    "request": ("read_site",),
    "results": ("Survey",),
    "site": ("Site",),
    "writing": ("write_survey",),
}


def __getattr__(name: str) -> object:
    """Import a public name when it is first used."""
    for module, names in _HOMES.items():
        if name in names:
            return getattr(import_module(f"sitekit.{module}"), name)
    message = f"module 'sitekit' has no attribute {name!r}"
    raise AttributeError(message)


def __dir__() -> list[str]:
    return sorted(__all__)
