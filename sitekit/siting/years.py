"""What the years of a record leave of the verdicts on ground."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from sitekit.climate.fruiting import Limit
from sitekit.climate.kinds import USUAL, FruitVerdict, judge_fruit, tell_verdict
from sitekit.climate.years import RecordYears, shifts_at
from sitekit.suitability.chance import find_years_chance
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
    """The years of a fruit on the cells of a field.

    Parameters
    ----------
    found : FruitVerdict
        Arrays (cell,).
    number : (row, column) ndarray of int32
        Place of a cell in those arrays; -1 for ground that is not judged.
    """

    found: FruitVerdict
    number: NDArray[np.int32]

    def poor(
        self, rows: NDArray[np.intp], columns: NDArray[np.intp]
    ) -> NDArray[np.float32]:
        """Read poor-crop years in ten of the usual group at judged cells."""
        poor: NDArray[np.float32] = self.found.usual.poor[self.number[rows, columns]]
        return poor

    def class_chance(
        self,
        site_class: NDArray[np.uint8],
        rows: NDArray[np.intp],
        columns: NDArray[np.intp],
    ) -> NDArray[np.float64]:
        """Tell how likely the years leave the class of judged cells as it is."""
        place = self.number[rows, columns]
        usual = self.found.usual
        return find_years_chance(
            site_class,
            usual.poor[place],
            usual.low[place],
            usual.high[place],
            instead=self.found.instead[place] != USUAL,
        )

    def tell(self, row: int, column: int) -> str:
        """Say what the years hold against a cell; empty where they hold nothing."""
        return tell_verdict(self.found, int(self.number[row, column]))


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
    shifts = shifts_at(years, rows, columns)
    limited, told = dict(verdicts), {}
    for name, verdict in verdicts.items():
        if name not in years.tunings:
            continue
        ground = verdict.site_class[rows, columns]
        tuning = years.tunings[name]
        found = judge_fruit(
            years.springs, verdict.fruit, ground, shifts, tuning, years.cover
        )
        limited[name] = _limit(verdict, found, rows, columns)
        told[name] = FruitYears(found, number)
    return limited, told


def _limit(
    verdict: Verdict,
    found: FruitVerdict,
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
) -> Verdict:
    """Hold one verdict to its years."""
    lowered = found.site_class < verdict.site_class[rows, columns]
    site_class, cause = verdict.site_class.copy(), verdict.cause.copy()
    site_class[rows, columns] = found.site_class
    base = int(YearsCause.FROST) - int(Limit.FROST)
    here = (rows[lowered], columns[lowered])
    cause[here] = (base + found.limit[lowered]).astype(np.uint8)
    score = verdict.score.copy()
    score[site_class == REFUSED] = 0
    return replace(verdict, site_class=site_class, cause=cause, score=score)
