"""From what is eaten to trees: losses, on and off years, frost years, storage."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from sitekit.fruit import Fruit, Vigour
from sitekit.planting.terms import Need

#: Months that fruit keeps at 0 degC by its group; others keep `SHORT`. Common
#: practice, no source.
KEEPS = {"early": 1.0, "autumn": 4.0, "storing": 7.0, "keeper": 9.0}
SHORT = 2.0
#: Fruit ages twice as fast for every so many degrees. Apples age twice as fast at
#: 4 degC as at 0 degC: common practice of storage handbooks, no source. [degC]
DOUBLING = 4.0
#: Crop of a plant of which nothing is known. Common practice, no source. [kg]
UNKNOWN_CROP = 25.0


@dataclass(frozen=True)
class Wanted:
    """What is wanted of one fruit.

    Parameters
    ----------
    fruit : str
        Its name.
    kg : float
        Fruit to be used a year, fresh weight. [kg]
    use : str
        ``fresh``, ``stored``, ``juice`` or ``dried``.
    group : str
        Group asked for; empty where any will do.
    """

    fruit: str
    kg: float
    use: str
    group: str = ""


@dataclass(frozen=True)
class Crop:
    """What one grown tree bears in a good, a usual and a bad year.

    Parameters
    ----------
    mean : float
        Mean of on and off years without frost. [kg]
    good, usual, bad : float
        An on year without frost; the mean with its frost years; an off year with
        frost. [kg]
    """

    mean: float
    good: float
    usual: float
    bad: float


def find_wanted(need: Need, fruit: tuple[str, ...]) -> list[Wanted]:
    """List what is wanted of each fruit.

    Parameters
    ----------
    need : Need
        What was asked for.
    fruit : tuple of str
        Fruit that share what people eat, where no fruit is named.

    Returns
    -------
    wanted : list of Wanted
        Fruit of which nothing is wanted are left out.
    """
    named = [_wanted(name, value, need) for name, value in need.fruit.items()]
    if not named and need.people > 0:
        share = need.people * need.kg_a_head / max(len(fruit), 1)
        named = [Wanted(name, share, need.use) for name in fruit]
    return [one for one in named if one.kg > 0]


def _wanted(name: str, value: float | Mapping[str, Any], need: Need) -> Wanted:
    if not isinstance(value, Mapping):
        return Wanted(name, float(value), need.use)
    use, group = str(value.get("use", need.use)), str(value.get("group", ""))
    return Wanted(name, float(value.get("kg", 0.0)), use, group)


def picked(kg: float, use: str, need: Need) -> float:
    """Tell how much must be picked so that some can be used.

    Parameters
    ----------
    kg : float
        Fruit used. [kg]
    use : str
        What it is used for.
    need : Need
        Losses.

    Returns
    -------
    kg : float
        Fruit picked. [kg]

    Examples
    --------
    >>> round(picked(12 * 60, "stored", Need()))
    1200
    """
    kept = {
        "fresh": 1 - need.cull,
        "stored": (1 - need.cull) * (1 - need.storage_loss),
        "juice": 1 - need.juice_loss,
        "dried": 1 - need.drying_loss,
    }
    return kg / kept[use]


def find_crop(mean: float, bad_years: float, need: Need) -> Crop:
    """Tell what a tree bears in a good, a usual and a bad year.

    Parameters
    ----------
    mean : float
        Mean crop of on and off years without frost. [kg]
    bad_years : float
        Poor-crop years in ten.
    need : Need
        How much a poor year takes, how far on and off years swing.

    Returns
    -------
    crop : Crop
    """
    left = 1 - need.bad_year_takes
    usual = mean * (1 - bad_years / 10 * need.bad_year_takes)
    return Crop(mean, mean * (1 + need.on_off), usual, mean * (1 - need.on_off) * left)


def count_trees(kg: float, crop: float) -> float:
    """Count trees for a crop, to the nearest tree; infinite where they bear nothing.

    Examples
    --------
    >>> count_trees(1200, 25 * (1 - 0.1 * 0.8)), count_trees(10, 0)
    (52.0, inf)
    """
    if kg <= 0:
        return 0.0
    return max(float(np.floor(kg / crop + 0.5)), 1.0) if crop > 0 else float("inf")


def trees_by_frost(kg: float, mean: float, need: Need) -> pd.DataFrame:
    """Tell what a better spot is worth: trees at few and at many poor years.

    Parameters
    ----------
    kg : float
        Fruit to be picked a year. [kg]
    mean : float
        Mean crop of a tree without frost. [kg]
    need : Need
        How much a poor year takes.

    Returns
    -------
    table : DataFrame
        ``bad_years`` 0 to 8, ``trees``.
    """
    years = np.arange(9.0)
    trees = [count_trees(kg, find_crop(mean, y, need).usual) for y in years]
    return pd.DataFrame({"bad_years": years, "trees": trees})


def choose_vigour(fruit: Fruit) -> Vigour | None:
    """Find the size of tree that the spacing of a fruit is made for."""
    known = fruit.varieties.vigours if fruit.varieties else ()
    if not known:
        return None
    return min(known, key=lambda v: abs(sum(v.spacing) / 2 - fruit.spacing))


def mean_crop(fruit: Fruit, need: Need) -> float:
    """Tell the mean crop of a grown tree at this place, frost left aside.

    Parameters
    ----------
    fruit : Fruit
        The fruit, at its own spacing.
    need : Need
        The grower's own figures, else the share of the book for a cool place.

    Returns
    -------
    crop : float
        [kg]
    """
    if fruit.name in need.kg_a_tree:
        return need.kg_a_tree[fruit.name]
    vigour = choose_vigour(fruit)
    return (vigour.crop if vigour else UNKNOWN_CROP) * need.cool_site


def keeping_months(group: str, cellar_degc: float) -> float:
    """Tell how many months a group keeps in a store of some warmth.

    Parameters
    ----------
    group : str
        Name of the group: its last word that is known decides.
    cellar_degc : float
        Temperature of the store. [degC]

    Returns
    -------
    months : float

    Examples
    --------
    >>> keeping_months("storing", 0.0), keeping_months("storing", 4.0)
    (7.0, 3.5)
    """
    known = [KEEPS[word] for word in group.replace("-", " ").split() if word in KEEPS]
    months = known[-1] if known else SHORT
    return float(months * 2 ** (-max(cellar_degc, 0.0) / DOUBLING))


def storage_curve(
    kg: float, group: str, need: Need, *, first_month: int = 10
) -> pd.DataFrame:
    """Draw down a store: eaten evenly while it keeps, with its loss on the way.

    Parameters
    ----------
    kg : float
        Fruit put into the store. [kg]
    group : str
        Group of the fruit.
    need : Need
        Warmth of the store and loss.
    first_month : int
        Month of the year when it is filled, 1 to 12.

    Returns
    -------
    curve : DataFrame
        ``month`` (1 to 12), ``stock_kg`` at its start, ``eaten_kg``, ``lost_kg``.
    """
    months = keeping_months(group, need.cellar_degc)
    count = max(int(np.ceil(months)), 1)
    held = np.minimum(np.arange(1, count + 1), months) - np.arange(count)
    part = held / held.sum()
    lost, eaten = kg * need.storage_loss * part, kg * (1 - need.storage_loss) * part
    stock = kg - np.concatenate([[0.0], np.cumsum(lost + eaten)[:-1]])
    return pd.DataFrame(
        {
            "month": (first_month - 1 + np.arange(count)) % 12 + 1,
            "stock_kg": stock,
            "eaten_kg": eaten,
            "lost_kg": lost,
        }
    )
