"""Which fruit goes to which block: by class, rank and need."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite, nan
from typing import Any

import numpy as np
import pandas as pd

from sitekit.fruit import Fruit
from sitekit.planting.need import (
    Crop,
    Wanted,
    count_trees,
    find_crop,
    keeping_months,
    mean_crop,
    picked,
)
from sitekit.planting.terms import Need
from sitekit.words import HARDY, SITE_CLASSES, listed

#: Worth of a tree by the class of its ground, against one on good ground.
WORTH = {"hardy kinds only": 0.7, "with conditions": 0.9, "good": 1.0}
#: Share of accepted ground that rows and headlands leave for trees.
FILLED = 0.7
#: Ground for fewer trees than this is not begun in another block.
FEWEST = 4


@dataclass(frozen=True)
class Choice:
    """One block as a fruit finds it.

    Parameters
    ----------
    block : int
        Its number.
    fruit, group : str
        Fruit, and its group at that place.
    site_class : str
        Class for that fruit.
    rank : int
        Rank among the blocks for that fruit.
    bad_years : float
        Poor-crop years in ten; NaN where not known.
    """

    block: int
    fruit: str
    group: str
    site_class: str
    rank: int
    bad_years: float


@dataclass(frozen=True)
class Assignment:
    """Trees of one fruit for one block.

    Parameters
    ----------
    choice : Choice
        Block, fruit and group.
    trees : int
        Trees to plant there at last.
    crop : Crop
        What one of them bears. [kg]
    """

    choice: Choice
    trees: int
    crop: Crop

    @property
    def worth(self) -> float:
        """Worth of a tree there."""
        return WORTH[self.choice.site_class] - 0.001 * self.choice.rank


Liking = Mapping[tuple[str, str], float]


def like_groups(
    fruits: Mapping[str, Fruit], need: Need
) -> dict[tuple[str, str], float]:
    """Tell which group of a fruit is liked best where several stand alike.

    Parameters
    ----------
    fruits : mapping of str to Fruit
        Groups.
    need : Need
        What each fruit is used for.

    Returns
    -------
    liking : dict
        By fruit and group, lowest first: for the store the group that keeps
        longest, else the usual one.
    """
    liking = {}
    for name, fruit in fruits.items():
        asked = need.fruit.get(name)
        use = asked.get("use", need.use) if isinstance(asked, Mapping) else need.use
        for group in fruit.varieties.groups if fruit.varieties else ():
            keeps = keeping_months(group.name, need.cellar_degc)
            usual = group.name == _usual_group(fruit)
            liking[name, group.name] = -keeps if use == "stored" else float(not usual)
    return liking


def list_choices(
    blocks: pd.DataFrame, table: pd.DataFrame, liking: Liking | None = None
) -> list[Choice]:
    """List the blocks better than *test first*, for each fruit the best group.

    Parameters
    ----------
    blocks : DataFrame
        One row a block and fruit: ``block``, ``fruit``, ``rank``.
    table : DataFrame
        Fruit by block: ``group``, ``site_class``, ``poor_crop_years``.
    liking : mapping, optional
        Which group is liked best, by `like_groups`.

    Returns
    -------
    choices : list of Choice
        By fruit, best class first, then fewest poor years, then rank. Among
        groups of a block that are alike in both the one that is liked best.
    """
    liking = liking or {}
    keys = zip(blocks["block"], blocks["fruit"], strict=True)
    ranks = dict(zip(keys, blocks["rank"].astype(int), strict=True))
    best: dict[tuple[int, str], Choice] = {}
    for row in table.to_dict("records"):
        if row["site_class"] not in SITE_CLASSES[HARDY:]:
            continue
        key = (int(row["block"]), str(row["fruit"]))
        found = _choice(row, ranks.get(key, len(ranks)))
        if key not in best or _better(found, best[key], liking):
            best[key] = found
    return sorted(best.values(), key=lambda c: (c.fruit, *_order(c), c.rank))


def _choice(row: Mapping[Any, Any], rank: int) -> Choice:
    years = row["poor_crop_years"]
    return Choice(
        block=int(row["block"]),
        fruit=str(row["fruit"]),
        group=str(row["group"]) if isinstance(row["group"], str) else "",
        site_class=str(row["site_class"]),
        rank=rank,
        bad_years=nan if pd.isna(years) else float(years),
    )


def _better(one: Choice, other: Choice, liking: Liking) -> bool:
    """Tell whether one group of a block comes before another."""
    first, second = (
        (*_order(c), liking.get((c.fruit, c.group), 0.0)) for c in (one, other)
    )
    return first < second


def _order(choice: Choice) -> tuple[int, float]:
    # No finer than whole years: the record does not tell more.
    years = round(choice.bad_years) if isfinite(choice.bad_years) else inf
    return -SITE_CLASSES.index(choice.site_class), years


def assign_fruit(
    wanted: Sequence[Wanted],
    choices: Sequence[Choice],
    room: Mapping[int, float],
    fruits: Mapping[str, Fruit],
    need: Need,
) -> list[Assignment]:
    """Give each fruit its blocks until its need is met.

    The fruit with fewest blocks of the best class chooses first. Each takes its best
    block, then the next; a block that is not full takes a second fruit.

    Parameters
    ----------
    wanted : sequence of Wanted
        What is wanted; infinite kilograms take all ground.
    choices : sequence of Choice
        Blocks by fruit.
    room : mapping of int to float
        Accepted ground of each block. [m²]
    fruits : mapping of str to Fruit
        Spacing and crop.
    need : Need
        Losses and poor years.

    Returns
    -------
    assignments : list of Assignment
    """
    left = {block: FILLED * area for block, area in room.items()}
    chosen: list[Assignment] = []

    for one in sorted(wanted, key=lambda w: _choosiness(w.fruit, choices)):
        if one.fruit not in fruits:
            continue
        kg = picked(one.kg, one.use, need)
        fruit = fruits[one.fruit]
        for choice in choices:
            if choice.fruit != one.fruit or kg <= 0:
                continue
            made = _take(choice, kg, left, fruit, need, one.group)
            if made is None:
                continue
            chosen.append(made)
            kg -= made.trees * made.crop.usual
            # Less than a few trees is no reason to begin another block.
            kg = 0.0 if kg < FEWEST * made.crop.usual else kg
            left[choice.block] -= made.trees * fruit.spacing * fruit.row_spacing
    return chosen


def _choosiness(fruit: str, choices: Sequence[Choice]) -> tuple[object, ...]:
    """Count the blocks of each class that a fruit has, the best class first."""
    mine = [c.site_class for c in choices if c.fruit == fruit]
    return (*(mine.count(name) for name in reversed(SITE_CLASSES[HARDY:])), fruit)


def _take(
    choice: Choice,
    kg: float,
    left: Mapping[int, float],
    fruit: Fruit,
    need: Need,
    group: str,
) -> Assignment | None:
    """Take as much of a block as a fruit needs and finds."""
    crop = crop_at(choice, fruit, need)
    fits = int(left.get(choice.block, 0.0) / (fruit.spacing * fruit.row_spacing))
    asked = count_trees(kg, crop.usual)
    trees = int(min(fits, int(asked) if isfinite(asked) else fits))
    if trees < min(FEWEST, asked):
        return None
    named = group or choice.group or _usual_group(fruit)
    known = Choice(
        choice.block,
        choice.fruit,
        named,
        choice.site_class,
        choice.rank,
        choice.bad_years,
    )
    return Assignment(known, trees, crop)


def crop_at(choice: Choice, fruit: Fruit, need: Need) -> Crop:
    """Tell what a tree bears at a block, with the poor years of that place."""
    known = isfinite(choice.bad_years)
    years = choice.bad_years if known else need.bad_years
    return find_crop(mean_crop(fruit, need), years, need)


def _usual_group(fruit: Fruit) -> str:
    return fruit.varieties.usual if fruit.varieties else ""


def tabulate_need(
    wanted: Sequence[Wanted],
    assignments: Sequence[Assignment],
    choices: Sequence[Choice],
    fruits: Mapping[str, Fruit],
    need: Need,
) -> pd.DataFrame:
    """Tell of each fruit what is wanted, the trees it takes, and what is planned.

    Parameters
    ----------
    wanted, assignments, choices, fruits, need
        As `assign_fruit` has and gives them.

    Returns
    -------
    table : DataFrame
        ``fruit``, ``group``, ``kg`` (to be used), ``trees_good``, ``trees_usual``,
        ``trees_bad`` (so that even a poor year is enough), ``bad_years``,
        ``planned``, ``reason``.
    """
    rows = [
        _need_row(
            one,
            [a for a in assignments if a.choice.fruit == one.fruit],
            [c for c in choices if c.fruit == one.fruit],
            fruits.get(one.fruit),
            need,
        )
        for one in wanted
        if isfinite(one.kg)
    ]
    columns = (
        "fruit",
        "group",
        "kg",
        "trees_good",
        "trees_usual",
        "trees_bad",
        "bad_years",
        "planned",
        "reason",
    )
    return pd.DataFrame(rows, columns=list(columns))


def _need_row(
    one: Wanted,
    given: Sequence[Assignment],
    choices: Sequence[Choice],
    fruit: Fruit | None,
    need: Need,
) -> dict[str, object]:
    if fruit is None:
        reason = "not among the fruit surveyed: name it in [fruit] kinds"
        return {"fruit": one.fruit, "kg": one.kg, "planned": 0, "reason": reason}
    choice = (
        given[0].choice
        if given
        else choices[0]
        if choices
        else Choice(0, one.fruit, _usual_group(fruit), "", 0, nan)
    )
    crop = given[0].crop if given else crop_at(choice, fruit, need)
    kg = picked(one.kg, one.use, need)
    known = isfinite(choice.bad_years)
    return {
        "fruit": one.fruit,
        "group": one.group or choice.group,
        "kg": one.kg,
        "trees_good": count_trees(kg, crop.good),
        "trees_usual": count_trees(kg, crop.usual),
        "trees_bad": count_trees(kg, crop.bad),
        "bad_years": choice.bad_years if known else need.bad_years,
        "planned": sum(a.trees for a in given),
        "reason": _reason(given, choices, known=known),
    }


def _reason(
    given: Sequence[Assignment], choices: Sequence[Choice], *, known: bool
) -> str:
    if not choices:
        return "no block is better than test first for it"
    if not given:
        return "other fruit fill the blocks that it could have"
    years = (
        "poor years as found there" if known else "poor years assumed: no record tells"
    )
    return f"{_blocks_by_class(given)}; {years}"


def _blocks_by_class(given: Sequence[Assignment]) -> str:
    """Name blocks, each with the class that it has."""
    by_class: dict[str, list[str]] = {}
    for one in given:
        by_class.setdefault(one.choice.site_class, []).append(str(one.choice.block))
    return "; ".join(
        f"block{'s' if len(blocks) > 1 else ''} {listed(blocks)}, {site_class}"
        for site_class, blocks in by_class.items()
    )


def better_spot(
    choices: Sequence[Choice], fruit: Fruit, kg: float, need: Need
) -> tuple[Choice, float, Choice, float] | None:
    """Compare the mildest and the hardest block of a fruit in trees.

    Parameters
    ----------
    choices : sequence of Choice
        Blocks of the fruit.
    fruit : Fruit
        The fruit.
    kg : float
        Fruit to be picked. [kg]
    need : Need
        How much a poor year takes.

    Returns
    -------
    found : tuple or None
        Best block and its trees, worst block and its trees; None where poor years
        are not known or do not differ.
    """
    known = [c for c in choices if c.fruit == fruit.name and isfinite(c.bad_years)]
    if not known:
        return None
    years = np.array([c.bad_years for c in known])
    best, worst = known[int(years.argmin())], known[int(years.argmax())]
    few, many = (count_trees(kg, crop_at(c, fruit, need).usual) for c in (best, worst))
    return (best, few, worst, many) if many > few else None
