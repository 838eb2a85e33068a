"""Winter: the coldest night in ten and thirty years, and what wood and roots stand."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import log, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

EULER = 0.5772156649015329
#: Years between nights by which wood, and by which flower buds, are judged. Common
#: practice, no source.
WOOD_YEARS, BUD_YEARS = 30, 10


@dataclass(frozen=True)
class Hardiness:
    """What a class of hardiness stands in deep winter.

    Parameters
    ----------
    wood, bud, root : float
        Air at which wood and flower buds are hurt, and soil at which half the
        roots die. [degC]
    """

    wood: float
    bud: float
    root: float


#: Classes from the least to the most hardy. Common practice, no source; within Quamme
#: 1976 (Can. J. Plant Sci. 56:493), Krasova 2020 (Agric. Food Sci. 29:5) and, for
#: roots, Moran 2011 (HortScience 46:1460).
HARDINESS: Mapping[str, Hardiness] = {
    "H1": Hardiness(-24, -21, -8),
    "H2": Hardiness(-28, -25, -10),
    "H3": Hardiness(-32, -28, -12),
    "H4": Hardiness(-36, -32, -13),
    "H5": Hardiness(-40, -36, -16),
}
#: Wood in autumn and after a thaw stands this much less. Common practice. [degC]
MILDER = 12.0
#: Root zone against the mean air of seven days, by what lies on the ground. Common
#: practice, no source; 1 cm of snow already damps soil (Roznovsky 2017).
COVERS: Mapping[str, float] = {"bare": 0.5, "mulch": 0.35, "snow": 0.15}
ROOT_DAYS = 7
#: What a winter does to a group, from the kindest to the worst.
WINTER_WORDS = (
    "stands the winter",
    "flower buds freeze about once in ten years",
    "roots need mulch or snow over them",
    "wood freezes about once in thirty years in autumn or after a thaw",
    "wood freezes about once in thirty years",
)
STANDS, BUDS, ROOTS, SOFT, WOOD = range(5)


@dataclass(frozen=True)
class WinterNights:
    """The cold of a place.

    Parameters
    ----------
    ten, thirty : ndarray
        Coldest night in ten and in thirty years. [degC]
    soft : ndarray
        Coldest night in thirty years of autumn and of spring before bloom, when
        wood is not hardened. [degC]
    root : ndarray
        Coldest mean of seven days in thirty years. [degC]
    """

    ten: NDArray[np.floating]
    thirty: NDArray[np.floating]
    soft: NDArray[np.floating]
    root: NDArray[np.floating]


def gumbel_factor(years: float) -> float:
    """Tell how far below the mean the coldest night in some years lies.

    Parameters
    ----------
    years : float
        Once in how many years.

    Returns
    -------
    factor : float
        Standard deviations of the coldest of each year.

    References
    ----------
    Gumbel, E. J. 1958. Statistics of Extremes. Columbia University Press.

    Examples
    --------
    >>> [round(gumbel_factor(years), 3) for years in (10, 20, 30, 40)]
    [1.305, 1.866, 2.189, 2.416]
    """
    return -sqrt(6) / pi * (EULER + log(log(years / (years - 1))))


def coldest_in(lowest: NDArray[np.floating], years: float) -> NDArray[np.floating]:
    """Coldest value in some years, from the coldest of each year.

    Parameters
    ----------
    lowest : (..., year) ndarray
        Coldest of each year. [degC]
    years : float
        Once in how many years.

    Returns
    -------
    coldest : (...) ndarray
        By moments. [degC]
    """
    coldest: NDArray[np.floating] = lowest.mean(axis=-1) - gumbel_factor(
        years
    ) * lowest.std(axis=-1, ddof=1)
    return coldest


def root_temperature(week: ArrayLike, cover: str = "bare") -> NDArray[np.floating]:
    """Temperature of the root zone in a cold week.

    Parameters
    ----------
    week : ndarray
        Mean air of seven days. [degC]
    cover : str
        Key of `COVERS`: ``snow`` is a quarter of a metre of loose snow; 10 cm count
        as ``mulch``.

    Returns
    -------
    temperature : ndarray
        [degC]
    """
    return np.asarray(week) * COVERS[cover]


def judge_winter(
    nights: WinterNights, hardiness: str, cover: str = "bare"
) -> NDArray[np.uint8]:
    """Judge a place for a class of hardiness.

    Parameters
    ----------
    nights : WinterNights
        Cold of the place.
    hardiness : str
        Key of `HARDINESS`.
    cover : str
        What lies over the roots.

    Returns
    -------
    code : ndarray of uint8
        Place in `WINTER_WORDS`, the worst that happens.
    """
    stands = HARDINESS[hardiness]
    code = np.full(np.shape(nights.thirty), STANDS, np.uint8)
    code[nights.ten <= stands.bud] = BUDS
    code[root_temperature(nights.root, cover) <= stands.root] = ROOTS
    code[nights.soft <= stands.wood + MILDER] = SOFT
    code[nights.thirty <= stands.wood] = WOOD
    return code
