"""A fruit on places: its usual group, and which other group stands where that fails."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitekit.climate.crops import make_kind
from sitekit.climate.describing import tell_limit
from sitekit.climate.fruiting import (
    NOT_JUDGED,
    Fruiting,
    Limit,
    Shifts,
    assess_places,
    limit_class,
)
from sitekit.climate.springs import Springs
from sitekit.fruit import Fruit
from sitekit.fruit.bloom import Tuning
from sitekit.words import GOOD, HARDY, REFUSED

#: No other group than the usual one.
USUAL = -1


@dataclass(frozen=True)
class FruitVerdict:
    """What the years of a record leave of a fruit's site classes.

    Parameters
    ----------
    site_class : ndarray of uint8
        Class of each place; 255 where not judged.
    limit : ndarray of uint8
        `Limit` of the usual group.
    usual : Fruiting
        The usual group at the places.
    names : tuple of str
        Groups of the fruit.
    instead : ndarray of int8
        Which of them stands where the years refuse the usual one; -1 elsewhere.
    """

    site_class: NDArray[np.uint8]
    limit: NDArray[np.uint8]
    usual: Fruiting
    names: tuple[str, ...]
    instead: NDArray[np.int8]


def judge_fruit(
    springs: Springs,
    fruit: Fruit,
    site_class: NDArray[np.uint8],
    shifts: Shifts,
    tuning: Tuning | None = None,
    cover: str = "bare",
) -> FruitVerdict:
    """Bring the years of a record into the site classes of a fruit.

    Parameters
    ----------
    springs : Springs
        Years of the record, at least one.
    fruit : Fruit
        A fruit whose file has groups.
    site_class : ndarray of uint8
        Class of each place by its ground; 255 where not judged.
    shifts : Shifts
        Shifts of the places, of the same shape.
    tuning : Tuning, optional
        What own notes say of its bloom.
    cover : str
        What lies over the roots in winter.

    Returns
    -------
    verdict : FruitVerdict
        The class that the usual group has; *hardy kinds only* at best where the years
        refuse it and another group stands.
    """
    usual = assess_places(springs, make_kind(fruit, tuning), shifts, cover)
    groups = usual.kind.varieties.groups
    code, limit = limit_class(site_class, usual)
    instead = np.full(site_class.shape, USUAL, np.int8)
    judged = (site_class != REFUSED) & (site_class != NOT_JUDGED)
    refused = (judged & (code == REFUSED)).ravel()
    for index, group in enumerate(groups):
        places = np.flatnonzero(refused)
        if group == usual.kind.group or not places.size:
            continue
        kind = make_kind(fruit, tuning, group.name)
        found = assess_places(springs, kind, _some(shifts, places), cover)
        allowed, _ = limit_class(np.full(places.size, GOOD, np.uint8), found)
        stands = places[allowed >= HARDY]
        code.flat[stands] = np.minimum(site_class.flat[stands], HARDY)
        instead.flat[stands] = index
        refused[stands] = False
    names = tuple(g.name for g in groups)
    return FruitVerdict(code, limit, usual, names, instead)


def tell_verdict(verdict: FruitVerdict, place: int) -> str:
    """Say what the years hold against a fruit at a place, and what stands instead.

    Parameters
    ----------
    verdict : FruitVerdict
        Of places of shape (place,).
    place : int
        Which place.

    Returns
    -------
    text : str
        Half a sentence; empty where they hold nothing against it.
    """
    text = tell_limit(verdict.usual, place, Limit(int(verdict.limit[place])))
    other = int(verdict.instead[place])
    if other == USUAL:
        return text
    usual = verdict.usual.kind.group.name
    return f"{text} for {usual} kinds, {verdict.names[other]} kinds stand it"


def _some(shifts: Shifts, places: NDArray[np.intp]) -> Shifts:
    """Take the shifts of some places."""
    return Shifts(
        shifts.bloom.ravel()[places],
        shifts.autumn.ravel()[places],
        shifts.winter.ravel()[places],
        shifts.windy.ravel()[places],
        shifts.warmth.ravel()[places],
        shifts.spread,
    )
