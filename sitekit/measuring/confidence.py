"""How likely the class of a spot is, with the doubt of its night offset."""

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from scipy.special import ndtr

from sitekit.fruit import Fruit
from sitekit.grid import Grid
from sitekit.measuring.candidates import COLD
from sitekit.measuring.revision import Layers
from sitekit.suitability.score import ENOUGH
from sitekit.words import GOOD, REFUSED, SITE_CLASSES

Array = NDArray[np.float64]

#: Chance of the class from which confidence is good, and fair. No source.
SURE, FAIR = 0.9, 0.7
WORDS = ("low", "fair", "good")
#: End of a reason that keeps confidence at fair.
NOT_TESTED = "drainage not tested"


def find_class_chance(
    site_class: NDArray[np.intp], cold: Array, spread: Array, fruit: Fruit
) -> Array:
    """Tell how likely a class stays what it is.

    Parameters
    ----------
    site_class : (spot,) ndarray of int
        Code of the class.
    cold, spread : (spot,) ndarray
        Cold of a clear still night and its standard deviation. [degC]
    fruit : Fruit
        Its limits of cold decide.

    Returns
    -------
    chance : (spot,) ndarray
        0 to 1. Where another factor holds the class down, the chance that cold
        does not lower it further.
    """
    factors = [f for f in fruit.factors if f.layer == COLD]
    if not factors:
        return np.ones(len(cold))
    factor = factors[0]
    mild, severe = float(factor.points[0]), float(factor.points[-1])
    first = severe - ENOUGH * (severe - mild)
    width = np.maximum(spread, 1e-3)
    codes = np.array([GOOD, factor.lack, REFUSED])
    at_most = np.stack([ndtr((first - cold) / width), ndtr((severe - cold) / width)])
    bands = np.stack([at_most[0], at_most[1] - at_most[0], 1 - at_most[1]])
    now = np.where(cold < first, 0, np.where(cold < severe, 1, 2))
    held_by_cold = codes[now] <= site_class
    # Another factor decides: cold may be anything that allows the class.
    allows = (codes[:, None] >= site_class[None]) * bands
    chance: Array = np.where(
        held_by_cold,
        np.take_along_axis(bands, now[None], axis=0)[0],
        allows.sum(axis=0),
    )
    return chance


def tell_confidence(
    spots: GeoDataFrame, layers: Layers, grid: Grid, fruits: list[Fruit]
) -> GeoDataFrame:
    """Put a word for the chance of its class to each spot.

    Parameters
    ----------
    spots : GeoDataFrame
        Spots of a survey.
    layers : mapping of str to (row, column) ndarray
        ``night_cold`` and ``frost_night_offset_sd``. [degC]
    grid : Grid
        The grid.
    fruits : list of Fruit
        The fruit of the spots.

    Returns
    -------
    spots : GeoDataFrame
        With ``confidence`` low, fair or good; at most fair on ground whose drainage
        nobody has tested, and low where it was low.
    """
    told = spots.copy()
    words = pd.Series(told["confidence"].to_numpy(object), index=told.index)
    for fruit in fruits:
        here = told["fruit"] == fruit.name
        where = told.loc[here, "easting_m"], told.loc[here, "northing_m"]
        codes = told.loc[here, "site_class"].map(SITE_CLASSES.index).to_numpy(np.intp)
        chance = find_class_chance(
            codes,
            grid.sample(layers[COLD], *where),
            grid.sample(layers["frost_night_offset_sd"], *where),
            fruit,
        )
        rank = (chance >= FAIR).astype(int) + (chance >= SURE)
        untested = told.loc[here, "reason"].str.contains(NOT_TESTED).to_numpy()
        rank = np.where(untested, np.minimum(rank, 1), rank)
        rank = np.where(words[here] == WORDS[0], 0, rank)
        words[here] = [WORDS[r] for r in rank]
    told["confidence"] = words
    return told
