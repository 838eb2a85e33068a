"""Which verdicts turn where an unsure input lies at an end of its range."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import beta

from sitekit.climate.fruiting import Shifts, limit_class
from sitekit.climate.kinds import USUAL, FruitVerdict, judge_fruit
from sitekit.climate.years import RecordYears, shifts_at
from sitekit.doubt.inputs import YEARS
from sitekit.doubt.nights import Carried
from sitekit.fruit import Fruit
from sitekit.siting.blocks import Block
from sitekit.siting.places import Places
from sitekit.siting.tables import NIGHT, typical_cell
from sitekit.suitability.chance import COLD
from sitekit.suitability.ground import LAND_SLOPE, Ground, judge
from sitekit.suitability.score import score_fruit
from sitekit.words import HARDY, REFUSED

Cells = tuple[NDArray[np.intp], NDArray[np.intp]]
Classes = NDArray[np.uint8]

#: Ends of an interval of 90 %.
ENDS = (0.05, 0.95)
COLUMNS = (
    "effect",
    "group",
    "name",
    "high",
    "block",
    "fruit",
    "change_degc",
    "colder_degc",
    "before",
    "after",
)


def turn_verdicts(
    groups: Sequence[Block],
    ground: Places,
    places: Places,
    carried: Carried,
    years: RecordYears | None,
) -> pd.DataFrame:
    """Judge each block again with each input at each end of its range.

    Parameters
    ----------
    groups : sequence of Block
        The blocks.
    ground, places : Places
        Verdicts on the ground alone, and held to the years.
    carried : Carried
        What each input does to the night.
    years : RecordYears or None
        The years of the site.

    Returns
    -------
    turned : DataFrame
        One row a block, fruit, input and end: ``effect`` (a number for input and
        end), ``group`` and ``name`` of the input, ``high``, ``block``, ``fruit``,
        ``change_degc`` of the night there and ``colder_degc`` as classes count it,
        held air with it (NaN for the years), and the codes of class ``before`` and
        ``after``.
    """
    parts = []
    for name, verdict in places.verdicts.items():
        if not groups:
            continue
        night = places.layers.get(NIGHT)
        typical = [typical_cell(block, verdict, night) for block in groups]
        cells: Cells = (
            np.array([row for row, _ in typical]),
            np.array([column for _, column in typical]),
        )
        trial = _Trial(ground, carried, verdict.fruit, cells, years)
        numbers = [block.number for block in groups]
        parts += trial.by_night(numbers, name) + trial.by_years(numbers, name)
    rows = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    return rows.reindex(columns=list(COLUMNS))


@dataclass(frozen=True)
class _Trial:
    """One fruit at the cells that speak for blocks."""

    ground: Places
    carried: Carried
    fruit: Fruit
    cells: Cells
    years: RecordYears | None

    def by_night(self, numbers: Sequence[int], fruit: str) -> list[pd.DataFrame]:
        """Judge with the night of each effect; all of them at once."""
        offsets, colder = self._changes()
        codes = self._judge(offsets, colder)
        return [
            pd.DataFrame(
                {
                    "effect": index,
                    "group": effect.unsure.group,
                    "name": effect.unsure.name,
                    "high": effect.high,
                    "block": numbers,
                    "fruit": fruit,
                    "change_degc": offsets[index],
                    "colder_degc": colder[index],
                    "before": codes[0],
                    "after": codes[index],
                }
            )
            for index, effect in enumerate(self.carried.effects, start=1)
        ]

    def by_years(self, numbers: Sequence[int], fruit: str) -> list[pd.DataFrame]:
        """Judge with as few, and as many, poor crops as the record allows."""
        years = self._years_of_fruit()
        if years is None:
            return []
        none = np.zeros((1, len(numbers)), np.float32)
        ground = self._on_ground(none)
        found = self._hold(years, ground, none)
        return [
            pd.DataFrame(
                {
                    "effect": -number,
                    "group": YEARS,
                    "name": "years",
                    "high": share == ENDS[0],
                    "block": numbers,
                    "fruit": fruit,
                    "change_degc": np.nan,
                    "colder_degc": np.nan,
                    "before": found.site_class,
                    "after": sample_years(found, ground, share, years),
                }
            )
            for number, share in enumerate(ENDS)
        ]

    def _changes(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Read what each effect does at the cells, first that of none."""
        here = self._coarse(self.cells)
        none = np.zeros((1, len(self.cells[0])), np.float32)
        effects = self.carried.effects
        return (
            np.vstack([none, *(e.offset[here][None] for e in effects)]),
            np.vstack([none, *(e.cold[here][None] for e in effects)]),
        )

    def _coarse(self, cells: Cells) -> Cells:
        """Find the coarser cells that hold cells of the survey."""
        grid = self.ground.site.grid
        return self.carried.grid.cells(
            grid.eastings[cells[1]], grid.northings[cells[0]]
        )

    def _judge(
        self, offsets: NDArray[np.float32], colder: NDArray[np.float32]
    ) -> Classes:
        """Give the class of each cell under each change."""
        classes = self._on_ground(colder)
        years = self._years_of_fruit()
        if years is not None:
            warmer = self._at_station(years, offsets)
            classes = self._hold(years, classes, warmer).site_class
        return classes.reshape(offsets.shape)

    def _on_ground(self, colder: NDArray[np.float32]) -> Classes:
        """Judge the ground alone."""
        times = len(colder)
        layers = _tile(self.ground.layers, self.cells, times, self.fruit)
        if COLD in layers:
            layers[COLD] = layers[COLD] + colder.ravel()
        everywhere = np.ones(colder.size, bool)
        score = score_fruit(self.fruit, layers, everywhere)
        return judge(
            score, _ground_at(self.ground.ground, self.cells, times), layers[LAND_SLOPE]
        ).site_class

    def _years_of_fruit(self) -> RecordYears | None:
        """Give the years where they tell anything of the fruit."""
        told = self.years is not None and self.fruit.name in self.years.tunings
        return self.years if told else None

    def _at_station(
        self, years: RecordYears, offsets: NDArray[np.float32]
    ) -> NDArray[np.float32]:
        """Take changes of the night against those at the station."""
        cell = years.station.cell
        if cell is None:
            return offsets
        here = self._coarse((np.array([cell[0]]), np.array([cell[1]])))
        there = [0.0, *(float(e.offset[here][0]) for e in self.carried.effects)]
        return offsets - np.array(there, np.float32)[:, None]

    def _hold(
        self, years: RecordYears, classes: Classes, warmer: NDArray[np.float32]
    ) -> FruitVerdict:
        """Hold classes to the years, with nights that much milder."""
        times = len(warmer)
        at = shifts_at(years, *self.cells)
        moved = {
            night: np.tile(getattr(at, night), times) + warmer.ravel()
            for night in ("bloom", "autumn", "winter")
        }
        as_is = {n: np.tile(getattr(at, n), times) for n in ("windy", "warmth")}
        shifts = Shifts(**moved, **as_is, spread=at.spread)
        tuning = years.tunings[self.fruit.name]
        return judge_fruit(
            years.springs, self.fruit, classes, shifts, tuning, years.cover
        )


def sample_years(
    found: FruitVerdict, ground: Classes, share: float, years: RecordYears
) -> Classes:
    """Judge places as if the record had met other years of the same climate.

    Parameters
    ----------
    found : FruitVerdict
        What the years of the record leave.
    ground : (place,) ndarray
        Class by the ground.
    share : float
        Which share of such records would have fewer poor crops.
    years : RecordYears
        The years.

    Returns
    -------
    site_class : (place,) ndarray
        Class with the poor-crop years at that share of their law.

    References
    ----------
    Brown, L. D., Cai, T. T. and DasGupta, A., "Interval estimation for a binomial
    proportion", Statistical Science 16, 2001: Jeffreys' interval.
    """
    count = years.springs.count
    bad = found.usual.poor / 10 * count
    poor = 10 * beta.ppf(share, bad + 0.5, count - bad + 0.5)
    code, _ = limit_class(ground, replace(found.usual, poor=poor.astype(np.float32)))
    stands = (code == REFUSED) & (found.instead != USUAL)
    return np.where(stands, np.minimum(ground, HARDY), code).astype(np.uint8)


def _tile(
    layers: Mapping[str, NDArray[np.float32]], cells: Cells, times: int, fruit: Fruit
) -> dict[str, NDArray[np.float32]]:
    """Read the layers of a fruit at cells, as often as there are changes."""
    names = {LAND_SLOPE, *(f.layer for f in fruit.factors)}
    return {n: np.tile(layers[n][cells], times) for n in names if n in layers}


def _ground_at(ground: Ground, cells: Cells, times: int) -> Ground:
    """Read what is known of the ground at cells, as often."""
    masks = ("soil", "standing_water", "old_yard", "blocked", "supported")
    at = {name: np.tile(getattr(ground, name)[cells], times) for name in masks}
    return Ground(**at, coarse=ground.coarse)
