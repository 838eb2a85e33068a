"""From a record to poor-crop years, ripening and winter: which fruit stands where.

Three calls answer it, after the shifts of the places are known; where
``springs.count`` is 0 nothing is told in years::

    springs = read_springs(seasons)
    tuning = tune_fruit(springs, fruit.varieties, notes_of_the_fruit)
    verdict = judge_fruit(springs, fruit, site_class, shifts, tuning)
    rows = describe_groups(springs, fruits, tunings, shifts_of_blocks, blocks)

``verdict.usual.poor`` on the cells is the layer ``poor_crop_years_<fruit>``;
``verdict.site_class`` and `tell_verdict` are the class and what the years hold against
it. `sitekit.climate.springs` holds the first two, `kinds` the verdict, `describing` the
table and the years of a chart, `telling` the line on chill; this module counts poor
crops.

A night at a place is the station's, shifted by the offset of clear still nights in
the weight of the night as one, and by height and exposure in the rest of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sitekit.climate.springs import Springs, sum_of
from sitekit.climate.tables import Points
from sitekit.fruit import Fruit, Group, Varieties
from sitekit.fruit.bloom import Tuning
from sitekit.fruit.crop import (
    LIMIT_ERROR,
    POOR,
    crop_share,
    draw_errors,
    pooled_interval,
)
from sitekit.fruit.kill import (
    COLDEST,
    DEGREE,
    SHARE,
    STAGE_SPREAD,
    WARMEST,
    make_kill_table,
    share_columns,
)
from sitekit.kernels.blossom import SpringNights, live_blossom

#: Standard deviation of a night minimum at a place near its station. Common practice,
#: no source. [degC]
NEAR = 1.0


@dataclass(frozen=True)
class Kind:
    """A group of a fruit, as the years of a record meet it.

    Parameters
    ----------
    fruit : str
        Name of the fruit.
    varieties : Varieties
        All its groups.
    group : Group
        This one.
    tuning : Tuning
        What own notes say of its bloom.
    need : float
        Share of live blossom for a full crop.
    """

    fruit: str
    varieties: Varieties
    group: Group
    tuning: Tuning
    need: float

    @property
    def full_bloom(self) -> float:
        """Heat sum of full bloom. [degC day]."""
        return self.tuning.factor * self.group.bloom_sum


def make_kind(
    fruit: Fruit,
    tuning: Tuning | None = None,
    group: str = "",
    *,
    few_bees: bool = False,
) -> Kind:
    """Take one group of a fruit.

    Parameters
    ----------
    fruit : Fruit
        A fruit whose file has groups.
    tuning : Tuning, optional
        What own notes say.
    group : str
        Name of the group; the usual one where none is named.
    few_bees : bool
        Whether springs have few bees, and more blossom must live.

    Returns
    -------
    kind : Kind

    Raises
    ------
    ValueError
        Where the fruit has no groups.
    """
    varieties = fruit.varieties
    if varieties is None:
        message = f"{fruit.name} has no groups, so nothing is told in years."
        raise ValueError(message)
    need = varieties.need_bee_poor if few_bees else varieties.need
    chosen = varieties.group(group)
    return Kind(fruit.name, varieties, chosen, tuning or Tuning(), need)


def count_poor_crops(
    springs: Springs, kind: Kind, points: Points, spread: float = NEAR
) -> NDArray[np.float64]:
    """Count the years of ten in which frost in bloom spoils the crop of a group.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    kind : Kind
        The group.
    points : tuple of (point,) ndarray
        How much warmer each place is than the station: on clear still nights at
        bloom, on the other nights, and in the mean of the day. [degC]
    spread : float
        Standard deviation of the night minimum at a place. [degC]

    Returns
    -------
    years : (4, point) ndarray
        Poor-crop years in ten, low and high end of their 90 % interval, and the
        years if only the worst night of a spring counts. Each crop is below half
        of a full one. The interval pools draws of the errors of bloom, of the
        night and of the limits.
    """
    errors = draw_errors((kind.tuning.error, spread, LIMIT_ERROR))
    errors = np.concatenate([np.zeros((3, 1)), errors], axis=1)
    live = np.empty((points[0].size, errors.shape[1], springs.count))
    worst = np.empty((points[0].size, springs.count))
    for warmer in np.unique(points[2]):
        here = points[2] == warmer
        shifts = np.stack([points[0][here], points[1][here]]).astype(np.float64)
        live[here], worst[here] = _live(springs, kind, float(warmer), shifts, errors)
    lost = POOR * kind.need
    counts = (live < lost).sum(axis=2)
    poor = 10 * counts[:, 0] / springs.count
    low, high = pooled_interval(counts[:, 1:], springs.count)
    low, high = np.minimum(low, poor), np.maximum(high, poor)
    return np.stack([poor, low, high, 10 * (worst < lost).mean(axis=1)])


def crop_by_year(
    springs: Springs, kind: Kind, shift: Sequence[float]
) -> NDArray[np.float64]:
    """Tell the crop of each year at one place, without any error.

    Parameters
    ----------
    springs : Springs
        Years of the record.
    kind : Kind
        The group.
    shift : sequence of 3 float
        How much warmer the place is: still nights, other nights, days. [degC]

    Returns
    -------
    crop : (year,) ndarray
        Share of a full crop.
    """
    shifts = np.array([[shift[0]], [shift[1]]])
    live, _ = _live(springs, kind, shift[2], shifts, np.zeros((3, 1)))
    return crop_share(live[0, 0], kind.need)


def _live(
    springs: Springs,
    kind: Kind,
    warmer: float,
    shifts: NDArray[np.float64],
    errors: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tell the blossom that lives at places that are equally warm by day."""
    table = make_kill_table(kind.varieties.stages_of(kind.group))
    columns = share_columns(sum_of(springs, warmer), kind.full_bloom)
    days = np.arange(columns.shape[1])
    spring = (days >= springs.first[:, None]) & (days < springs.split[:, None])
    still = (shifts[0][:, None] + errors[1]).min()
    coldest = springs.nights(still, shifts[1].min()) + errors[2].min()
    year, day = np.nonzero(spring & (coldest < WARMEST))
    # Flowers of a tree stand some days apart; a draw has all of them some days late.
    apart = np.arange(-STAGE_SPREAD, STAGE_SPREAD + 1)
    back = np.rint(errors[0]).astype(np.int64)[:, None, None] + apart
    back = np.clip(day[:, None] - back, 0, days[-1])
    stages = columns[year[:, None], back]
    tender = stages.max(axis=(0, 2)) >= round(table.first_share / SHARE)
    year, day = year[tender], day[tender]
    nights = SpringNights(
        year, springs.lowest[year, day], springs.clear[year, day], stages[:, tender]
    )
    return live_blossom(
        nights, shifts, errors[1:], table.killed, (COLDEST, DEGREE), springs.count
    )
