"""Layers of the ground: terrain, sun, cold air, night, water and wind.

Every group is imported here, so that its layers are in the catalogue.
"""

from sitekit.layers import (
    cold_air,
    cold_paths,
    lake,
    landform,
    night,
    offset,
    relief,
    sun,
    terms,
    terrain,
    water,
    wind,
)
from sitekit.layers.catalogue import (
    CATALOGUE,
    Layer,
    find_layer,
    make_layers,
    order_layers,
)

__all__ = [
    "CATALOGUE",
    "Layer",
    "cold_air",
    "cold_paths",
    "find_layer",
    "lake",
    "landform",
    "make_layers",
    "night",
    "offset",
    "order_layers",
    "relief",
    "sun",
    "terms",
    "terrain",
    "water",
    "wind",
]
