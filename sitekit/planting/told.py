"""The plan in sentences: how far this year, what stops it, what would change it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np
import pandas as pd

from sitekit import words
from sitekit.fruit import Fruit
from sitekit.planting.ask import Ask
from sitekit.planting.assign import Assignment, Choice, better_spot
from sitekit.planting.materials import break_even_trees
from sitekit.planting.mulch import (
    edge_loss,
    held_trees,
    mulch_of,
    shape_of,
)
from sitekit.planting.need import (
    choose_vigour,
    count_trees,
    find_crop,
    mean_crop,
    picked,
)
from sitekit.planting.phasing import Phased, limits_by_year, price_blocks
from sitekit.siting.places import Places

#: Few and many poor years in ten, between which ground is compared in words.
FEW_YEARS, MANY_YEARS = 1.0, 5.0
#: Trees of the block that is priced where nothing limits the year.
BLOCK_ROW = 5
RULE = (
    "Rule: ground that is planted is kept first, in every later year too; then each "
    "year takes as many trees as its money, mulch, days and young trees reach for, "
    "better ground before poorer, and no fruit waits for another to be complete. "
    "All years are searched together."
)


def written_trees(count: float) -> str:
    """Write a number of trees.

    Examples
    --------
    >>> written_trees(1.0), written_trees(52.0)
    ('1 tree', '52 trees')
    """
    if not isfinite(count):
        return "no number of trees"
    return f"{count:.0f} tree{'' if round(count) == 1 else 's'}"


@dataclass(frozen=True)
class Story:
    """Everything that the sentences speak of.

    Parameters
    ----------
    places : Places
        Site and layers.
    ask : Ask
        What was asked for.
    choices : sequence of Choice
        Blocks that could be planted.
    given : sequence of Assignment
        Trees by block and fruit.
    phased : Phased
        Years.
    need, years : DataFrame
        Tables of the plan.
    fruits : mapping of str to Fruit
        The fruit.
    """

    places: Places
    ask: Ask
    choices: Sequence[Choice]
    given: Sequence[Assignment]
    phased: Phased
    need: pd.DataFrame
    years: pd.DataFrame
    fruits: Mapping[str, Fruit]

    def sentences(self) -> tuple[str, ...]:
        """Tell how far this year, what stops it, and what would change it."""
        told = [
            self._this_year(),
            *self._stop(),
            *self._change(),
            *self._needed(),
            *self._better_spot(),
            *self._shapes(),
            *self._edge(),
            *self._guards(),
            *self._priced(),
            RULE,
        ]
        return tuple(text for text in told if text)

    def _this_year(self) -> str:
        if not self.ask.wanted:
            return (
                "Do nothing this year: the need is 0. Name what shall be eaten in "
                "[need], and the plan begins."
            )
        first = self.years.iloc[0]
        if not self.given:
            return f"Do nothing this year: {self._no_ground()}."
        if first["trees"] == 0:
            return f"Do nothing this year: {_kindly(str(first['binding']))}."
        area = words.area(float(first["area_m2"]))
        stop = str(first["binding"])
        shape = self.phased.kinds[0].shape.name
        return (
            f"This year {written_trees(float(first['trees']))} on {area} of mulch, in "
            f"{_laid(shape)}: {_blocks(str(first['blocks']))}. What stops it: {stop}."
        )

    def _no_ground(self) -> str:
        reasons = sorted(set(self.need["reason"]))
        text = reasons[0] if reasons else "no ground is left beside setbacks and lanes"
        return f"{text}; a test hole or another fruit would change it"

    def _stop(self) -> list[str]:
        """Say where mulch ends, and what stands after the last year."""
        told = []
        ceiling = float(self.years["ceiling_m2"].iloc[-1])
        amount = limits_by_year(self.ask.limits)[1, -1]
        if isfinite(ceiling):
            held = self._trees_held(amount)
            told.append(
                f"Stop at {words.number(ceiling)}{words.NO_BREAK}m² of mulch"
                f"{f', about {written_trees(held)}' if self.phased.kinds else ''}: "
                f"{words.with_unit(amount, 'm³', 0)} a year hold no more, with the "
                f"edge held by: {self.ask.limits.edge}."
            )
        if self.phased.planted() and self.phased.years > 1:
            told.append(
                f"After {self.phased.years} years "
                f"{written_trees(self.phased.planted())} stand on "
                f"{words.area(float(self.years['area_m2'].sum()))} of mulch."
            )
        return told

    def _change(self) -> list[str]:
        """Say what would let all trees stand that are needed."""
        waiting = sum(lot.trees for lot in self.phased.lots) - self.phased.planted()
        binding = " ".join(self.years["binding"])
        if waiting <= 0 or not self.given:
            return []
        names = ("money", "mulch", "working days", "young trees")
        stops = [name for name in names if name in binding]
        if "mulch" not in stops:
            named = words.listed(stops) or "ground"
            return [f"{written_trees(waiting)} wait; more {named} would change it."]
        held = sum(lot.trees * lot.keep[1] for lot in self.phased.lots)
        held += self.phased.standing_m2 * mulch_of(self.ask.limits).hold
        return [
            f"{written_trees(waiting)} wait: to keep them all takes about "
            f"{words.with_unit(held, 'm³')} of mulch a year."
        ]

    def _trees_held(self, amount: float) -> float:
        if not self.phased.kinds:
            return 0.0
        limits, prices = self.ask.limits, self.ask.prices
        mulch = mulch_of(limits)
        left = max(amount - self.phased.standing_m2 * mulch.hold, 0.0)
        shape = self.phased.kinds[0].shape
        return float(np.floor(held_trees(shape, left, mulch, limits, prices)))

    def _needed(self) -> list[str]:
        """Say what the need takes in a good, a usual and a bad year."""
        told = []
        planted = self._planted()
        for row in self.need.to_dict("records"):
            name = words.fruit_name(str(row["fruit"]), plural=True)
            kg = words.with_unit(float(row["kg"]), "kg")
            if pd.isna(row.get("trees_usual", np.nan)):
                told.append(f"{kg} of {name}: {row['reason']}.")
                continue
            usual = float(row["trees_usual"])
            stand = planted.get(str(row["fruit"]), 0)
            told.append(
                f"{kg} of {name} take {written_trees(usual)} at "
                f"{_years(float(row['bad_years']))} in ten, "
                f"{words.number(float(row['trees_good']))} in a good year, "
                f"{words.number(float(row['trees_bad']))} if a poor year must do; "
                f"{stand} can be planted ({row['reason']}).{self._in_time(row)}"
            )
        return told

    def _planted(self) -> dict[str, int]:
        found: dict[str, int] = {}
        for piece, trees in zip(
            self.phased.pieces, self.phased.phases.trees, strict=True
        ):
            name = piece.assignment.choice.fruit
            found[name] = found.get(name, 0) + int(trees.sum())
        return found

    def _in_time(self, row: Mapping[object, object]) -> str:
        """Say whether trees planted now bear in full by the year asked for."""
        vigour = choose_vigour(self.fruits[str(row["fruit"])])
        by_year = self.ask.limits.by_year
        if vigour is None or not by_year:
            return ""
        last = by_year - vigour.full_crop_year + 1
        if last < 1:
            return f" None bears in full by year {by_year}."
        return f" Planted by year {last} they bear in full by year {by_year}."

    def _better_spot(self) -> list[str]:
        """Say what a better spot is worth in trees."""
        for one in self.ask.wanted:
            if one.fruit not in self.fruits or not isfinite(one.kg):
                continue
            fruit, name = (
                self.fruits[one.fruit],
                words.fruit_name(one.fruit, plural=True),
            )
            kg = picked(one.kg, one.use, self.ask.need)
            found = better_spot(self.choices, fruit, kg, self.ask.need)
            if found is not None:
                best, few, worst, many = found
                return [
                    f"A better spot saves trees: for {name} block {best.block} takes "
                    f"{written_trees(few)}, block {worst.block} {written_trees(many)}."
                ]
            few, many = (
                count_trees(
                    kg,
                    find_crop(mean_crop(fruit, self.ask.need), y, self.ask.need).usual,
                )
                for y in (FEW_YEARS, MANY_YEARS)
            )
            return [
                f"A better spot saves trees: for {name} {written_trees(few)} at one "
                f"poor year in ten, {words.number(many)} at five."
            ]
        return []

    def _shapes(self) -> list[str]:
        """Compare a block, strips and discs by the trees that mulch can hold."""
        amount = limits_by_year(self.ask.limits)[1, -1]
        if not (self.given and isfinite(amount) and amount > 0):
            return []
        limits, prices = self.ask.limits, self.ask.prices
        mulch = mulch_of(limits)
        fruit = self.fruits[self.given[0].choice.fruit]
        left = max(amount - self.phased.standing_m2 * mulch.hold, 0.0)
        parts = []
        for name in ("block", "strip", "disc"):
            shape = shape_of(name, fruit.spacing, fruit.row_spacing, limits)
            held = np.floor(held_trees(shape, left, mulch, limits, prices))
            uncut = min(limits.grass_creep_m * shape.edge / shape.area, 1.0)
            parts.append(
                f"{_laid(name)} {written_trees(float(held))} "
                f"(uncut, grass takes {words.number(100 * uncut)}{words.NO_BREAK}% a "
                "year)"
            )
        return [f"The same mulch holds in {'; in '.join(parts)}."]

    def _edge(self) -> list[str]:
        """Say what an edge saves."""
        limits, prices = self.ask.limits, self.ask.prices
        mulch = mulch_of(limits)
        saved = mulch.depth * limits.grass_creep_m
        if not self.given or saved <= 0:
            return []
        wide = words.with_unit(limits.grass_creep_m, "m", 1)
        kind = self.phased.kinds[0].shape if self.phased.kinds else None
        lost = edge_loss(kind, mulch, limits, prices) if kind else 0.0
        more = (
            f" {words.number(lost, 2)}{words.NO_BREAK}m³ a tree and year are lost "
            "there as it is held."
            if lost
            else ""
        )
        return [
            f"Where {wide} of grass creeps in, a held edge saves "
            f"{words.number(saved, 2)}{words.NO_BREAK}m³ of mulch a metre and year."
            f"{more}"
        ]

    def _guards(self) -> list[str]:
        """Say from how many trees a fence costs less than guards."""
        if not self.given:
            return []
        prices = self.ask.prices
        fruit = self.fruits[self.given[0].choice.fruit]
        side = (fruit.spacing * fruit.row_spacing) ** 0.5
        even = break_even_trees(
            prices.guard, prices.fence_m, side, self.ask.limits.fence_setback_m
        )
        chosen = "a fence" if self.phased.fences else "guards"
        count = written_trees(even) if isfinite(even) else "never"
        return [
            f"A fence costs less than guards from about {count} in one square block; "
            f"this plan has {chosen}. Guards stay until stems are thick enough; look "
            "at them each spring and let nothing be caught in them. They keep off "
            "hares and voles, not deer, goats or stock: those take a fence."
        ]

    def _priced(self) -> list[str]:
        """Price 100 m² and blocks where nothing limits the year."""
        if np.isfinite(limits_by_year(self.ask.limits)).any() or not self.given:
            return []
        trees = self.ask.limits.rows_together * BLOCK_ROW
        limits, prices = self.ask.limits, self.ask.prices
        kind = self.phased.kinds[0]
        parts = [
            f"{row['what']} ({row['trees']:.0f} trees, {words.area(row['area_m2'])}): "
            f"{row['money']:.0f} of money, {row['mulch_m3']:.0f}{words.NO_BREAK}m³ and "
            f"{row['days']:.1f} days at first, then {row['mulch_keep_m3']:.1f}"
            f"{words.NO_BREAK}m³ and {row['days_keep']:.1f} days a year"
            for row in price_blocks(kind, trees, limits, prices).to_dict("records")
        ]
        return [
            "No limit is given, so all stands in the first year. "
            f"{'; '.join(parts)}. Name [limits] money, mulch_m3 or work_days, and the "
            "plan says how far each year."
        ]


def _blocks(names: str) -> str:
    """Write names of blocks, the best first."""
    each = names.split(", ")
    return f"block{'s' if len(each) > 1 else ''} {words.listed(each)}"


def _years(count: float) -> str:
    """Write a number of poor years: none is promised, no figure finer than its source.

    Examples
    --------
    >>> _years(0.2), _years(2.7)
    ('under 1 poor year', '3 poor years')
    """
    return f"{words.years_in_ten(count)} poor year{'' if count < 1.5 else 's'}"


def _kindly(binding: str) -> str:
    """Say what stops the first year, and what would change it."""
    what = binding.split(" of that year", maxsplit=1)[0].split(":", maxsplit=1)[0]
    mends = {
        "money": "a little more money, or guards and trees of your own",
        "mulch": "more mulch, a shallower lay, or discs in place of strips",
        "working days": "a helping hand for some days",
        "young trees": "an order at the nursery for next year",
    }
    for name, mend in mends.items():
        if what.startswith(name):
            return f"{binding} does not reach for one tree; {mend} would change it"
    return f"{binding}"


def _laid(shape: str) -> str:
    return {
        "block": "a whole block",
        "strip": "strips along the rows on cardboard",
    }.get(shape, "discs about the trees")
