"""Warmth over a base temperature, by a single sine through each day."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

#: Base of every heat sum of the catalogue. [degC]
BASE = 5.0


def degree_days(lowest: ArrayLike, highest: ArrayLike, base: float) -> NDArray[Any]:
    """Warmth of days over a base temperature, exactly, from a single sine.

    Parameters
    ----------
    lowest, highest : ndarray
        Minimum and maximum of each day, of shapes that broadcast. [degC]
    base : float
        Temperature under which nothing grows. [degC]

    Returns
    -------
    warmth : ndarray
        NaN where either is missing; float32 where both are, else float64.
        [degC day]

    References
    ----------
    Baskerville, G. L. & Emin, P. 1969. Rapid estimation of heat accumulation from
    maximum and minimum temperatures. Ecology 50, 514-517.

    Examples
    --------
    >>> round(float(degree_days(4.0, 20.0, 10.0)), 4)
    3.6265
    """
    lowest, highest = np.asarray(lowest), np.asarray(highest)
    middle = (lowest + highest) / 2 - base
    half = np.abs(highest - lowest) / 2
    # A day without a range has no sine: any half that is not 0 serves its ratio.
    ratio = np.clip(-middle / np.where(half > 1e-6, half, 1), -1, 1)
    rises = np.arcsin(ratio)
    crossing = (middle * (np.pi / 2 - rises) + half * np.cos(rises)) / np.pi
    warmth: NDArray[Any] = np.where(np.abs(middle) < half, crossing, middle)
    return np.where(middle <= -half, warmth * 0, warmth)
