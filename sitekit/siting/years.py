"""What the years of a record leave of the verdicts on ground."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from sitekit.climate.describing import tell_limit
from sitekit.climate.fruiting import Fruiting, Limit, limit_class
from sitekit.climate.years import RecordYears, assess_cells
from sitekit.suitability.ground import Verdict
from sitekit.words import REFUSED


class YearsCause(IntEnum):
    """What decides a class, where it is what the years do: 230 and a `Limit`."""

    FROST = 231
    WARMTH = 232
    DAYS = 233
    WINTER = 234


#: Name of what limits ground, for tables.
FACTORS = {
    YearsCause.FROST: "poor_crop_years",
    YearsCause.WARMTH: "heat_sum",
    YearsCause.DAYS: "season_days",
    YearsCause.WINTER: "winter",
}


@dataclass(frozen=True)
class FruitYears:
    """The years of a fruit's usual group on the cells of a field.

    Parameters
    ----------
    found : Fruiting
        Arrays (cell,).
    limit : (cell,) ndarray of uint8
        `Limit` of each cell.
    number : (row, column) ndarray of int32
        Place of a cell in those arrays; -1 for ground that is not judged.
    """

    found: Fruiting
    limit: NDArray[np.uint8]
    number: NDArray[np.int32]

    def poor(
        self, rows: NDArray[np.intp], columns: NDArray[np.intp]
    ) -> NDArray[np.float32]:
        """Read poor-crop years in ten at judged cells."""
        poor: NDArray[np.float32] = self.found.poor[self.number[rows, columns]]
        return poor

    def tell(self, row: int, column: int) -> str:
        """Say what the years hold against a cell; empty where they hold nothing."""
        place = int(self.number[row, column])
        return tell_limit(self.found, place, Limit(int(self.limit[place])))


def limit_verdicts(
    verdicts: Mapping[str, Verdict], years: RecordYears, judged: NDArray[np.bool_]
) -> tuple[dict[str, Verdict], dict[str, FruitYears]]:
    """Hold each verdict to what the years of the record leave.

    Parameters
    ----------
    verdicts : mapping of str to Verdict
        Verdict on the ground for each fruit.
    years : RecordYears
        The years of the site.
    judged : (row, column) ndarray of bool
        Ground that was judged.

    Returns
    -------
    verdicts : dict of str to Verdict
        The lower of both; a fruit without groups keeps its own.
    told : dict of str to FruitYears
        What the years say, for each fruit with groups.
    """
    rows, columns = np.nonzero(judged)
    number = np.full(judged.shape, -1, np.int32)
    number[rows, columns] = np.arange(rows.size)
    limited, told = dict(verdicts), {}
    for name, verdict in verdicts.items():
        if name not in years.tunings:
            continue
        found = assess_cells(years, verdict.fruit, rows, columns)
        limited[name], limit = _limit(verdict, found, rows, columns)
        told[name] = FruitYears(found, limit, number)
    return limited, told


def _limit(
    verdict: Verdict,
    found: Fruiting,
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
) -> tuple[Verdict, NDArray[np.uint8]]:
    """Hold one verdict to its years."""
    before = verdict.site_class[rows, columns]
    after, limit = limit_class(before, found)
    lowered = after < before
    site_class, cause = verdict.site_class.copy(), verdict.cause.copy()
    site_class[rows, columns] = after
    base = int(YearsCause.FROST) - int(Limit.FROST)
    here = (rows[lowered], columns[lowered])
    cause[here] = (base + limit[lowered]).astype(np.uint8)
    score = verdict.score.copy()
    score[site_class == REFUSED] = 0
    changed = replace(verdict, site_class=site_class, cause=cause, score=score)
    return changed, limit
