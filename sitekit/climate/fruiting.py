"""Fruit on places in years of ten, and what that leaves of a site class."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from sitekit.climate.crops import NEAR, Kind, count_poor_crops
from sitekit.climate.ripe import count_ripe_years, find_winter
from sitekit.climate.springs import Springs
from sitekit.climate.tables import STILL_STEP, WARMTH_STEP, WINDY_STEP, spread_over
from sitekit.climate.telling import RIPE_GOOD, UNKNOWN_WINTER
from sitekit.fruit.winter import WinterNights, judge_winter
from sitekit.words import CONDITIONS, GOOD, HARDY, REFUSED

#: Poor crops in ten up to which ground keeps a class, the best first: good, with
#: conditions, hardy kinds only; more refuse it. Common practice, no source.
POOR_LIMITS = (2.0, 3.0, 4.0)
#: Years in ten in which a group must ripen for ground to be planted with conditions.
#: Common practice, no source.
RIPE_LEAST = 5.0
#: Class that is left by what the winter does, in the order of
#: `sitekit.fruit.winter.WINTER_WORDS`; a winter that is not known leaves all.
WINTER_CLASSES = (GOOD, CONDITIONS, CONDITIONS, HARDY, REFUSED)
#: Code of ground that is not judged.
NOT_JUDGED = 255


class Limit(IntEnum):
    """What the years of a record hold against a group at a place."""

    NONE = 0
    FROST = 1
    WARMTH = 2
    DAYS = 3
    WINTER = 4


@dataclass(frozen=True)
class Shifts:
    """How much warmer places are than the station's own cell, all of one shape.

    Parameters
    ----------
    bloom, autumn, winter : ndarray
        On clear still nights of bloom (``frost_night_offset``), of autumn and of
        winter (with the lake of that season in place of the lake at bloom). [degC]
    windy : ndarray
        On windy or cloudy nights: height and exposure. [degC]
    warmth : ndarray
        In the mean of the day: height and sun. [degC]
    spread : float
        Standard deviation of a night minimum there. [degC]
    """

    bloom: NDArray[np.floating]
    autumn: NDArray[np.floating]
    winter: NDArray[np.floating]
    windy: NDArray[np.floating]
    warmth: NDArray[np.floating]
    spread: float = NEAR


@dataclass(frozen=True)
class Fruiting:
    """One group of a fruit at places; arrays have the shape of the places.

    Parameters
    ----------
    kind : Kind
        The group.
    poor, low, high : ndarray of float32
        Poor-crop years in ten and their 90 % interval.
    worst_night : ndarray of float32
        Poor-crop years in ten if only the worst night of a spring counts.
    ripe, warm, long : ndarray of float32
        Years in ten in which it ripens, in which warmth suffices, and in which days
        suffice.
    spare : ndarray of float32
        Days between picking and the end of the season in a middling year. [d]
    winter : ndarray of uint8
        Place in `sitekit.fruit.winter.WINTER_WORDS`; 255 where not known.
    coldest : ndarray of float32
        Coldest night in thirty years. [degC]
    """

    kind: Kind
    poor: NDArray[np.float32]
    low: NDArray[np.float32]
    high: NDArray[np.float32]
    worst_night: NDArray[np.float32]
    ripe: NDArray[np.float32]
    warm: NDArray[np.float32]
    long: NDArray[np.float32]
    spare: NDArray[np.float32]
    winter: NDArray[np.uint8]
    coldest: NDArray[np.float32]


def map_poor_crops(
    springs: Springs, kind: Kind, shifts: Shifts
) -> list[NDArray[np.float32]]:
    """Make the layer ``poor_crop_years_<fruit>`` and its interval.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    kind : Kind
        The fruit's usual group.
    shifts : Shifts
        Shifts of the cells.

    Returns
    -------
    years : list of 4 ndarray of float32
        See `count_poor_crops`.
    """
    return spread_over(
        lambda points: count_poor_crops(springs, kind, points, shifts.spread),
        (shifts.bloom, shifts.windy, shifts.warmth),
        (STILL_STEP, WINDY_STEP, WARMTH_STEP),
    )


def assess_places(
    springs: Springs, kind: Kind, shifts: Shifts, cover: str = "bare"
) -> Fruiting:
    """Assess places for one group of a fruit.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    kind : Kind
        The group.
    shifts : Shifts
        Shifts of cells, spots or blocks.
    cover : str
        What lies over the roots in winter: ``bare``, ``mulch`` or ``snow``.

    Returns
    -------
    found : Fruiting
        Crop, ripening and winter.
    """
    poor = map_poor_crops(springs, kind, shifts)
    ripe = spread_over(
        lambda points: count_ripe_years(springs, [kind], points),
        (shifts.autumn, shifts.windy, shifts.warmth),
        (STILL_STEP, WINDY_STEP, WARMTH_STEP),
    )
    cold = spread_over(
        lambda points: find_winter(springs, points),
        (shifts.winter, shifts.windy),
        (STILL_STEP, WINDY_STEP),
    )
    nights = WinterNights(*cold)
    winter = judge_winter(nights, kind.group.hardiness, cover)
    winter[np.isnan(nights.thirty)] = UNKNOWN_WINTER
    return Fruiting(
        kind=kind,
        poor=poor[0],
        low=poor[1],
        high=poor[2],
        worst_night=poor[3],
        ripe=ripe[0],
        warm=ripe[1],
        long=ripe[2],
        spare=ripe[3],
        winter=winter,
        coldest=cold[1],
    )


def limit_class(
    site_class: NDArray[np.uint8], found: Fruiting
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Lower site classes to what the years of the record leave.

    Parameters
    ----------
    site_class : ndarray of uint8
        Class by the ground; 255 where not judged.
    found : Fruiting
        The group at the same places.

    Returns
    -------
    site_class : ndarray of uint8
        The lower of both; *test first* stays unless the years refuse.
    limit : ndarray of uint8
        `Limit`: the worst that the years hold against the group, also where the
        ground is worse still.
    """
    allowed = np.full(site_class.shape, GOOD, np.uint8)
    limit = np.full(site_class.shape, Limit.NONE, np.uint8)
    for code, cause in _limits(found):
        lower = code < allowed
        allowed[lower] = code[lower]
        limit[lower] = cause[lower]
    judged = site_class != NOT_JUDGED
    limit[~judged] = Limit.NONE
    return np.where(judged, np.minimum(allowed, site_class), site_class), limit


def _limits(
    found: Fruiting,
) -> list[tuple[NDArray[np.uint8], NDArray[np.uint8]]]:
    """List the class that each question leaves, with its name; the worst first."""
    frost = np.full(found.poor.shape, GOOD, np.uint8)
    for limit, code in zip(POOR_LIMITS, (CONDITIONS, HARDY, REFUSED), strict=True):
        frost[found.poor > limit] = code
    ripe = np.full(found.ripe.shape, GOOD, np.uint8)
    for limit, code in ((RIPE_GOOD, CONDITIONS), (RIPE_LEAST, REFUSED)):
        ripe[found.ripe < limit] = code
    scarce = np.full(found.ripe.shape, Limit.DAYS, np.uint8)
    scarce[found.warm < found.long] = Limit.WARMTH
    winter = np.full(256, GOOD, np.uint8)
    winter[: len(WINTER_CLASSES)] = WINTER_CLASSES
    return [
        (frost, np.broadcast_to(np.uint8(Limit.FROST), frost.shape)),
        (ripe, scarce),
        (winter[found.winter], np.broadcast_to(np.uint8(Limit.WINTER), frost.shape)),
    ]


def ripening_class(found: Sequence[Fruiting]) -> NDArray[np.str_]:
    """Name the latest group of a fruit that ripens at places.

    Parameters
    ----------
    found : sequence of Fruiting
        Groups of one fruit at the same places.

    Returns
    -------
    names : ndarray of str
        Group that needs most warmth and days of those that ripen in 8 years of ten;
        ``too late`` where none does.
    """
    order = sorted(
        found, key=lambda f: (f.kind.group.season_sum, f.kind.group.usual_days)
    )
    names = np.full(found[0].ripe.shape, "too late", dtype=object)
    for group in order:
        names[group.ripe >= RIPE_GOOD] = group.kind.group.name
    return names.astype(str)
