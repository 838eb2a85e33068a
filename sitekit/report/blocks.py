"""Blocks as the report tells them: one for each number, fruit side by side."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit import words
from sitekit.cartography import styles
from sitekit.results import Survey


@dataclass(frozen=True)
class Block:
    """A block and what may stand there.

    Parameters
    ----------
    number : int
        Its number: 1 is the best.
    name : str
        Name of its part of the field, empty where it has none.
    area : float
        [m²]
    shape : Polygon or MultiPolygon
        Where it lies. [m]
    classes, reasons, confidences : mapping of str to str
        Site class, reason and confidence for each fruit.
    """

    number: int
    name: str
    area: float
    shape: BaseGeometry
    classes: Mapping[str, str]
    reasons: Mapping[str, str]
    confidences: Mapping[str, str]

    @property
    def title(self) -> str:
        """Number and name."""
        return f"{self.number} {self.name}".strip()

    @property
    def best_class(self) -> str:
        """The best class that any fruit has here."""
        known = [c for c in self.classes.values() if c in words.SITE_CLASSES]
        return max(known, key=words.SITE_CLASSES.index, default="test first")

    @property
    def style(self) -> styles.ClassStyle:
        """How it is drawn."""
        return styles.CLASS_STYLES[words.SITE_CLASSES.index(self.best_class)]


def written(value: object) -> str:
    """Turn a value of a table into text; nothing where it is missing."""
    return "" if value is None or pd.isna(value) else str(value)  # type: ignore[call-overload]


def list_blocks(survey: Survey) -> list[Block]:
    """List the blocks, best first.

    Parameters
    ----------
    survey : Survey
        What was found.
    """
    made = []
    for number, rows in survey.blocks.groupby("block", sort=True):
        by_fruit = rows.set_index("fruit")
        first = rows.iloc[0]
        made.append(
            Block(
                number=int(str(number)),
                name=written(first["name"]),
                area=float(first["area_m2"]),
                shape=first.geometry,
                classes=_texts(by_fruit["site_class"]),
                reasons=_texts(by_fruit["reason"]),
                confidences=_texts(by_fruit["confidence"]),
            )
        )
    return made


def _texts(column: "pd.Series[str]") -> dict[str, str]:
    return {str(fruit): written(text) for fruit, text in column.items()}


def middle_value(survey: Survey, layer: str, shape: BaseGeometry) -> float:
    """Read the middle value of a layer in a shape; NaN where there is none.

    Parameters
    ----------
    survey : Survey
        What was found.
    layer : str
        Name of the layer; it may be absent.
    shape : Polygon
        Where. [m]
    """
    values = cells_of(survey, layer, shape)
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else float("nan")


def cells_of(survey: Survey, layer: str, shape: BaseGeometry) -> NDArray[np.float64]:
    """Read the cells of a layer whose centre lies in a shape.

    A shape smaller than a cell reads the cell that holds it.
    """
    if layer not in survey.layers:
        return np.empty(0)
    grid = survey.site.grid
    values = np.asarray(survey.layers[layer].to_numpy(), np.float64)
    west, south, east, north = shape.bounds
    rows, columns = grid.cells([west, east], [north, south])
    tall = slice(max(rows[0], 0), max(rows[1] + 1, 0))
    wide = slice(max(columns[0], 0), max(columns[1] + 1, 0))
    x, y = np.meshgrid(grid.eastings[wide], grid.northings[tall])
    found = values[tall, wide][shapely.contains_xy(shape, x, y)]
    if found.size:
        return found
    point = shape.representative_point()
    return grid.sample(values, [point.x], [point.y])
