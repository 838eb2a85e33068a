"""Edges of the grid that let no air out: one setting that several layers share."""

from collections.abc import Sequence
from typing import Annotated

from sitekit.settings import Setting

EDGES = ("west", "east", "north", "south")
ClosedEdges = Annotated[
    Sequence[str],
    Setting(
        "1",
        "Edges that let no air out: west, east, north, south.",
        choices=EDGES,
    ),
]
