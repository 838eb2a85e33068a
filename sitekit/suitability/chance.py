"""How likely a class is, with the doubt of the night and of the years."""

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sitekit.climate.fruiting import POOR_LIMITS
from sitekit.fruit import Fruit
from sitekit.suitability.score import ENOUGH
from sitekit.words import CONDITIONS, GOOD, HARDY, REFUSED

Array = NDArray[np.floating]

#: The layer whose limits decide, and the layer of its doubt.
COLD, DOUBT = "night_cold", "frost_night_offset_sd"
#: Chance of the class from which confidence is good, and fair. No source.
SURE, FAIR = 0.9, 0.7
CONFIDENCE = ("low", "fair", "good")
#: From the end of an interval of 90 % to its middle, in standard deviations.
TO_END = 1.645
#: Class that poor-crop years allow, the fewest first; see `POOR_LIMITS`.
ALLOWED = np.array([GOOD, CONDITIONS, HARDY, REFUSED])
#: A night is never known better than this. [degC]
LEAST_SPREAD = 1e-3


def find_class_chance(
    site_class: NDArray[np.integer], cold: Array, spread: Array, fruit: Fruit
) -> NDArray[np.float64]:
    """Tell how likely a class stays what it is, as cold decides it.

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
    width = np.maximum(spread, LEAST_SPREAD)
    codes = np.array([GOOD, factor.lack, REFUSED])
    at_most = np.stack([ndtr((first - cold) / width), ndtr((severe - cold) / width)])
    bands = np.stack([at_most[0], at_most[1] - at_most[0], 1 - at_most[1]])
    now = np.where(cold < first, 0, np.where(cold < severe, 1, 2))
    return _chance_of(site_class, codes, bands, now)


def find_years_chance(
    site_class: NDArray[np.integer],
    poor: Array,
    low: Array,
    high: Array,
    *,
    instead: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Tell how likely a class stays what it is, as poor-crop years decide it.

    Parameters
    ----------
    site_class : (spot,) ndarray of int
        Code of the class.
    poor, low, high : (spot,) ndarray
        Poor-crop years in ten and their interval of 90 %, which holds the length
        of the record and the errors of bloom and night.
    instead : (spot,) ndarray of bool
        Where another group of the fruit stands if the years refuse the usual one:
        *hardy kinds only* then holds against any number of poor crops.

    Returns
    -------
    chance : (spot,) ndarray
        0 to 1, by two halves of normal laws that meet at `poor`. Where something
        else holds the class down, the chance that the years do not lower it.
    """
    limits = np.array(POOR_LIMITS)[:, None]
    away = limits - poor
    half = np.where(away > 0, high - poor, poor - low) / TO_END
    at_most = ndtr(away / np.maximum(half, LEAST_SPREAD))
    bands = np.diff(at_most, axis=0, prepend=0.0, append=1.0)
    now = (poor > limits).sum(axis=0)
    # Refused for the usual group is the same class as hardy where another stands.
    bands[2] += np.where(instead, bands[3], 0)
    bands[3] = np.where(instead, 0, bands[3])
    now = np.where(instead, np.minimum(now, 2), now)
    return _chance_of(site_class, ALLOWED, bands, now)


def _chance_of(
    site_class: NDArray[np.integer],
    codes: NDArray[np.intp],
    bands: NDArray[np.float64],
    now: NDArray[np.intp],
) -> NDArray[np.float64]:
    """Tell the chance of a class from those of bands, each with the class it allows.

    Where the band of now holds the class, it must stay; else any band will do that
    allows the class.
    """
    holds = codes[now] <= site_class
    stays = np.take_along_axis(bands, now[None], axis=0)[0]
    allows = ((codes[:, None] >= site_class[None]) * bands).sum(axis=0)
    chance: NDArray[np.float64] = np.where(holds, stays, allows)
    return chance


def rank_confidence(chance: Array, untested: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Rank how sure a class is: places in `CONFIDENCE`.

    Parameters
    ----------
    chance : (spot,) ndarray
        Chance of the class.
    untested : (spot,) ndarray of bool
        Where nobody has dug: at most fair.

    Returns
    -------
    rank : (spot,) ndarray of int
        0 low, 1 fair, 2 good.

    Examples
    --------
    >>> rank_confidence(np.array([0.5, 0.8, 0.95]), np.array([False, False, True]))
    array([0, 1, 1])
    """
    rank: NDArray[np.intp] = np.searchsorted([FAIR, SURE], chance, side="right")
    return np.where(untested, np.minimum(rank, 1), rank)
