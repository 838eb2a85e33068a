"""The score of ground for one fruit: its weakest factor decides."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sitekit.fruit import Fruit
from sitekit.suitability.curves import membership
from sitekit.words import GOOD, REFUSED

#: Membership from which ground does not fall short of a factor.
ENOUGH = 0.7
#: Code outside the field and on water.
NOT_JUDGED = 255


@dataclass(frozen=True)
class FruitScore:
    """What the ground is worth to one fruit.

    Parameters
    ----------
    fruit : Fruit
        The fruit.
    score : (row, column) ndarray of float32
        0 to 100, 100 times the lowest membership; NaN where not judged.
    site_class : (row, column) ndarray of uint8
        Code of the site class; 255 where not judged.
    limiting : (row, column) ndarray of uint8
        Which of the fruit's factors is lowest; 255 where not judged.
    deciding : (row, column) ndarray of uint8
        Which of them decides the class; 255 where not judged.
    """

    fruit: Fruit
    score: NDArray[np.float32]
    site_class: NDArray[np.uint8]
    limiting: NDArray[np.uint8]
    deciding: NDArray[np.uint8]


def score_fruit(
    fruit: Fruit, layers: Mapping[str, NDArray[np.float32]], judged: NDArray[np.bool_]
) -> FruitScore:
    """Score ground for one fruit.

    Parameters
    ----------
    fruit : Fruit
        The fruit and its factors; a factor whose layer is absent is passed over.
    layers : mapping of str to (row, column) ndarray
        Layers by name.
    judged : (row, column) ndarray of bool
        Ground that is asked about: the field, off the water.

    Returns
    -------
    result : FruitScore
        Score, class and limiting factor. Ground where a factor's value is
        missing is not judged.
    """
    here = np.flatnonzero(judged)
    lowest = np.full(here.size, np.inf, dtype=np.float32)
    decisive = lowest.copy()
    site_class = np.full(here.size, GOOD, dtype=np.uint8)
    limiting = np.full(here.size, NOT_JUDGED, dtype=np.uint8)
    deciding = limiting.copy()
    for index, factor in enumerate(fruit.factors):
        if factor.layer not in layers:
            continue
        values = layers[factor.layer].ravel()[here]
        suits = membership(values, factor.curve, factor.points, factor.floor)
        # A missing value must win the comparison, so that it is not judged.
        lower = (suits < lowest) | np.isnan(suits)
        lowest[lower] = suits[lower]
        limiting[lower] = index
        allows = _allowed_class(suits, factor.lack)
        decides = (allows < site_class) | ((allows == site_class) & (suits < decisive))
        decisive[decides] = suits[decides]
        site_class[decides] = allows[decides]
        deciding[decides] = index
    known = np.isfinite(lowest)
    cells = here[known]
    return FruitScore(
        fruit,
        _on_grid(judged, cells, 100 * lowest[known], np.nan, np.float32),
        _on_grid(judged, cells, site_class[known], NOT_JUDGED, np.uint8),
        _on_grid(judged, cells, limiting[known], NOT_JUDGED, np.uint8),
        _on_grid(judged, cells, deciding[known], NOT_JUDGED, np.uint8),
    )


def _allowed_class(suits: NDArray[np.float32], lack: int) -> NDArray[np.uint8]:
    """Tell the best class that one factor leaves to ground."""
    allowed: NDArray[np.uint8] = np.where(
        suits <= 0, REFUSED, np.where(suits < ENOUGH, lack, GOOD)
    ).astype(np.uint8)
    return allowed


def _on_grid(
    like: NDArray[np.bool_],
    cells: NDArray[np.intp],
    values: NDArray[Any],
    fill: float,
    kind: type[np.generic],
) -> NDArray[Any]:
    """Put values of some cells back on the grid."""
    grid = np.full(like.size, fill, dtype=kind)
    grid[cells] = values
    return grid.reshape(like.shape)
