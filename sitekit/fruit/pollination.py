"""Partners of pollination: kinds of a fruit whose flowers are open on the same days."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sitekit.fruit.bloom import find_day
from sitekit.fruit.groups import Group, Varieties

#: Flowers are open between these shares of the heat sum of full bloom: from the first
#: flower to petal fall. Common practice, no source.
OPENS, FALLS = 0.90, 1.25
#: Days that two kinds must share. Common practice; plum set well by pollen of the
#: first three days after opening (Fotiric Aksic 2022, Horticulturae 8:55). [d]
ENOUGH = 4.0


def open_days(
    sums: NDArray[np.float32], full_bloom: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tell from when to when flowers are open.

    Parameters
    ----------
    sums : (year, day) ndarray
        Heat at the spot. [degC day]
    full_bloom : float
        Sum at full bloom. [degC day]

    Returns
    -------
    opens, falls : (year,) ndarray
        Columns of the first flower and of petal fall.
    """
    return find_day(sums, OPENS * full_bloom), find_day(sums, FALLS * full_bloom)


def shared_days(
    sums: NDArray[np.float32], one: float, other: float
) -> NDArray[np.float64]:
    """Count the days on which two kinds are in flower.

    Parameters
    ----------
    sums : (year, day) ndarray
        Heat at the spot. [degC day]
    one, other : float
        Sums of both at full bloom. [degC day]

    Returns
    -------
    days : (year,) ndarray
        0 where they never meet. [d]
    """
    first, last = open_days(sums, one)
    start, end = open_days(sums, other)
    together = np.minimum(last, end) - np.maximum(first, start)
    days: NDArray[np.float64] = np.nan_to_num(np.maximum(together, 0.0))
    return days


def find_partners(
    varieties: Varieties,
    group: Group,
    sums: NDArray[np.float32],
    factor: float = 1.0,
) -> Sequence[str]:
    """Name the groups of a fruit that can pollinate one of them at a spot.

    Parameters
    ----------
    varieties : Varieties
        Groups of the fruit.
    group : Group
        The one that asks.
    sums : (year, day) ndarray
        Heat at the spot. [degC day]
    factor : float
        Factor of the grower's own notes.

    Returns
    -------
    names : sequence of str
        Groups, its own included (a second kind of it), that share at least 4 days
        with it in a middling year.
    """
    asked = factor * group.bloom_sum
    return [
        other.name
        for other in varieties.groups
        if np.median(shared_days(sums, asked, factor * other.bloom_sum)) >= ENOUGH
    ]
