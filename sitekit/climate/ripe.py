"""Ripening and winter of a place, from the years of a record."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sitekit.climate.crops import Kind
from sitekit.climate.seasons import MOST_MISSING
from sitekit.climate.springs import Springs, sum_of
from sitekit.climate.tables import Points
from sitekit.fruit.bloom import fill_days, find_day
from sitekit.fruit.heat import BASE, degree_days
from sitekit.fruit.ripening import (
    Ripening,
    bloom_delay,
    end_of_season,
    find_ripening,
)
from sitekit.fruit.winter import (
    BUD_YEARS,
    ROOT_DAYS,
    WOOD_YEARS,
    coldest_in,
)


def count_ripe_years(
    springs: Springs, kinds: Sequence[Kind], points: Points
) -> NDArray[np.float64]:
    """Count the years of ten in which groups ripen.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    kinds : sequence of Kind
        The groups.
    points : tuple of (point,) ndarray
        How much warmer each place is than the station: on clear still nights of
        autumn, on the other nights, and in the mean of the day. [degC]

    Returns
    -------
    years : (4 * group, point) ndarray
        For each group: years in ten in which it ripens, in which warmth suffices, in
        which days suffice [years in ten], and spare days in a middling year. [d]
    """
    found = np.empty((4 * len(kinds), points[0].size))
    for warmer in np.unique(points[2]):
        season = _Season(springs, float(warmer))
        for place in np.flatnonzero(points[2] == warmer):
            shift = float(points[0][place]), float(points[1][place])
            ripening = season.ripen(kinds, *shift)
            found[:, place] = [
                value for r in ripening for value in (r.ripe, r.warm, r.long, r.spare)
            ]
    return found


class _Season:
    """Warmth of the years at places that are equally warm by day."""

    def __init__(self, springs: Springs, warmer: float) -> None:
        self.springs = springs
        self.sums = sum_of(springs, warmer)
        self.means = springs.means + np.float32(warmer)
        self.gained = np.cumsum(np.maximum(fill_days(self.means), 0), axis=1)
        warmth = fill_days(
            degree_days(springs.lowest + warmer, springs.highest + warmer, BASE)
        )
        days = np.arange(warmth.shape[1])
        within = (days >= springs.season[:, :1]) & (days < springs.season[:, 1:])
        self.total = (warmth * within).sum(axis=1)

    def ripen(
        self, kinds: Sequence[Kind], still: float, windy: float
    ) -> list[Ripening]:
        """Tell how groups ripen under the nights of one place."""
        nights = self.springs.nights(still, windy)
        end = end_of_season(nights, self.means, self.springs.split)
        found = []
        for kind in kinds:
            bloom = find_day(self.sums, kind.full_bloom)
            delay = bloom_delay(nights, bloom)
            found.append(
                find_ripening(kind.group, bloom, delay, end, self.total, self.gained)
            )
        return found


def find_winter(springs: Springs, points: Points) -> NDArray[np.float64]:
    """Find the cold of winters at places.

    Parameters
    ----------
    springs : Springs
        Years of the record; those that miss more than ten days of any season are
        passed over, and fewer than two tell nothing.
    points : tuple of (point,) ndarray
        How much warmer each place is than the station: on clear still nights of
        winter, and on the other nights. [degC]

    Returns
    -------
    nights : (4, point) ndarray
        Fields of `WinterNights` in their order; NaN where nothing is told. [degC]
    """
    found = np.full((4, points[0].size), np.nan)
    whole = _whole(springs)
    if whole.sum() < 2:
        return found
    weeks, soft_days = _weeks(springs)[whole], springs.soft[whole]
    for place, (still, windy) in enumerate(zip(points[0], points[1], strict=True)):
        nights = springs.nights(float(still), float(windy))[whole]
        nights = np.nan_to_num(nights, nan=99.0)
        yearly = nights.min(axis=1)
        soft = np.where(soft_days, nights, 99.0).min(axis=1)
        found[:, place] = (
            coldest_in(yearly, BUD_YEARS),
            coldest_in(yearly, WOOD_YEARS),
            coldest_in(soft, WOOD_YEARS),
            coldest_in(weeks + windy, WOOD_YEARS),
        )
    return found


def _whole(springs: Springs) -> NDArray[np.bool_]:
    """Tell which years miss at most ten days, winter too; a leap day is no gap."""
    missing = np.isnan(springs.lowest[:, :-1]).sum(axis=1)
    whole: NDArray[np.bool_] = missing <= MOST_MISSING
    return whole


def _weeks(springs: Springs) -> NDArray[np.float64]:
    """Tell the coldest mean of seven days in each year at the station. [degC]."""
    total = np.cumsum(fill_days(springs.means).astype(np.float64), axis=1)
    weeks = (total[:, ROOT_DAYS:] - total[:, :-ROOT_DAYS]) / ROOT_DAYS
    coldest: NDArray[np.float64] = weeks.min(axis=1)
    return coldest
