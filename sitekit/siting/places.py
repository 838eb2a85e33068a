"""Class, reason and values at places: what every table of a survey is made from."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sitekit import words
from sitekit.site import Site
from sitekit.siting.years import FACTORS, FruitYears, YearsCause
from sitekit.suitability.chance import (
    COLD,
    CONFIDENCE,
    DOUBT,
    find_class_chance,
    rank_confidence,
)
from sitekit.suitability.ground import LAND_SLOPE, Ground, Soil, Verdict
from sitekit.suitability.reasons import (
    add_finding,
    add_untested,
    give_reason,
    layers_named,
)
from sitekit.suitability.score import NOT_JUDGED
from sitekit.words import SITE_CLASSES

#: Layers that siting reads, whether they are written or not.
READ_BY_SITING = (
    "slope",
    LAND_SLOPE,
    "aspect",
    "depression_depth",
    "pooling_depth",
    "held_air",
    "flow_direction",
    "catchment_area",
    "path_margin",
    "relative_height",
    "frost_night_offset",
    DOUBT,
    "cold_air_depth",
    "wetness_index",
    "wind_exposure",
)


@dataclass(frozen=True)
class Places:
    """Reads the verdicts and layers of a site at cells.

    Parameters
    ----------
    site : Site
        The site.
    layers : mapping of str to (row, column) ndarray
        Layers, steps on the way included.
    verdicts : mapping of str to Verdict
        Verdict for each fruit.
    ground : Ground
        What is known of the ground.
    years : mapping of str to FruitYears
        What the years of a record say, for each fruit of which they tell anything.
    """

    site: Site
    layers: Mapping[str, NDArray[np.float32]]
    verdicts: Mapping[str, Verdict]
    ground: Ground
    years: Mapping[str, FruitYears] = field(default_factory=dict)

    def at(
        self, fruit: str, rows: NDArray[np.intp], columns: NDArray[np.intp]
    ) -> dict[str, list[object]]:
        """Read the columns of the spots table at cells.

        Parameters
        ----------
        fruit : str
            Name of the fruit.
        rows, columns : ndarray of int
            The cells; each must have been judged.

        Returns
        -------
        columns : dict of str to list
            ``score``, ``site_class``, ``limiting_factor``, ``reason`` and the rest;
            ``class_chance`` comes last.
        """
        verdict = self.verdicts[fruit]
        here = (rows, columns)
        chance = self.class_chance(fruit, rows, columns)
        limiting = verdict.limiting[here]
        slope = np.tan(np.radians(self.layers["slope"][here]))
        return {
            "score": np.round(verdict.score[here], 0).astype(float).tolist(),
            "site_class": [SITE_CLASSES[c] for c in verdict.site_class[here]],
            "limiting_factor": [
                _factor(verdict, int(cause), int(lowest))
                for cause, lowest in zip(verdict.cause[here], limiting, strict=True)
            ],
            "reason": self._reasons(verdict, rows, columns),
            "slope_pct": np.round(100 * slope, 1).astype(float).tolist(),
            "aspect_deg": np.round(self.layers["aspect"][here]).astype(float).tolist(),
            "frost_night_offset_degc": np.round(
                self.layers["frost_night_offset"][here], 1
            ).tolist(),
            "poor_crop_years": self._poor_years(fruit, rows, columns),
            "confidence": self._confidence(chance, rows, columns),
            "class_chance": np.round(chance, 2).tolist(),
        }

    def reason(self, fruit: str, row: int, column: int) -> str:
        """Write the reason for the class of one cell."""
        return self._reasons(self.verdicts[fruit], np.array([row]), np.array([column]))[
            0
        ]

    def judged(self, fruit: str, row: int, column: int) -> bool:
        """Tell whether a cell was judged for a fruit."""
        return int(self.verdicts[fruit].site_class[row, column]) != NOT_JUDGED

    def _poor_years(
        self, fruit: str, rows: NDArray[np.intp], columns: NDArray[np.intp]
    ) -> list[float]:
        """Read poor-crop years in ten; missing without a record."""
        if fruit not in self.years:
            return [np.nan] * len(rows)
        poor = self.years[fruit].poor(rows, columns)
        return [round(float(value), 1) for value in poor]

    def class_chance(
        self, fruit: str, rows: NDArray[np.intp], columns: NDArray[np.intp]
    ) -> NDArray[np.float64]:
        """Tell how likely the class of each cell is.

        The chance that the night allows it times the chance that the years do: both
        hang on the same night, so that together they are a little surer than this.

        Parameters
        ----------
        fruit : str
            Name of the fruit.
        rows, columns : ndarray of int
            The cells; each must have been judged.

        Returns
        -------
        chance : ndarray
            0 to 1.
        """
        verdict = self.verdicts[fruit]
        here = (rows, columns)
        chance = np.ones(len(rows))
        if COLD in self.layers and DOUBT in self.layers:
            cold, spread = (self.layers[n][here].astype(float) for n in (COLD, DOUBT))
            codes = verdict.site_class[here]
            chance = find_class_chance(codes, cold, spread, verdict.fruit)
        if fruit in self.years:
            codes = verdict.site_class[here]
            chance *= self.years[fruit].class_chance(codes, rows, columns)
        return chance

    def _confidence(
        self,
        chance: NDArray[np.float64],
        rows: NDArray[np.intp],
        columns: NDArray[np.intp],
    ) -> list[str]:
        """Say how sure each verdict is; a coarse elevation alone makes it low."""
        untested = self.ground.soil[rows, columns] == Soil.NOT_TESTED
        rank = rank_confidence(chance, untested)
        if self.ground.coarse:
            rank = np.where(self.ground.supported[rows, columns], rank, 0)
        return [CONFIDENCE[r] for r in rank]

    def _reasons(
        self, verdict: Verdict, rows: NDArray[np.intp], columns: NDArray[np.intp]
    ) -> list[str]:
        names = layers_named(verdict.fruit)
        values = {
            n: self.layers[n][rows, columns].tolist() for n in names if n in self.layers
        }
        tested = (self.ground.soil[rows, columns] != Soil.NOT_TESTED).tolist()
        found = (verdict.cause, verdict.limiting, verdict.suits)
        decided = zip(*(f[rows, columns].tolist() for f in found), tested, strict=True)
        years = self.years.get(verdict.fruit.name)
        reasons = []
        for i, (cause, limiting, suits, was_tested) in enumerate(decided):
            against = years.tell(int(rows[i]), int(columns[i])) if years else ""
            if cause in FACTORS:
                reasons.append(words.sentence(add_untested(against, was_tested)))
                continue
            ground = give_reason(
                verdict.fruit,
                cause,
                limiting,
                {n: v[i] for n, v in values.items()},
                suits,
                tested=was_tested,
                source_cell=self.site.model.shown_cell,
                reference=self.site.reference_name,
            )
            reasons.append(add_finding(ground, against, tested=was_tested))
        return reasons


def _factor(verdict: Verdict, cause: int, lowest: int) -> str:
    """Name what limits a cell: what the years do, else its lowest factor."""
    if cause in FACTORS:
        return FACTORS[YearsCause(cause)]
    return verdict.fruit.factors[lowest].layer
