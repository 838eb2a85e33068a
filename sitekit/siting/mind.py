"""What would change the answer, in words, and which input matters most."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from sitekit import words
from sitekit.climate.years import RecordYears
from sitekit.doubt.coarse import make_coarser
from sitekit.doubt.inputs import (
    AIR,
    BACKGROUND,
    COVER,
    HEIGHTS,
    LAKE,
    LAPSE,
    OPENNESS,
    POOL,
    REST,
    SHAPE,
    SKY,
    YEARS,
)
from sitekit.doubt.nights import Carried, guessed_openness
from sitekit.results import DoubtTold
from sitekit.site import Site
from sitekit.siting.blocks import Block
from sitekit.siting.places import Places
from sitekit.siting.turning import turn_verdicts
from sitekit.words import SITE_CLASSES

#: Sentences that are told, and blocks that are named in one.
MOST_SENTENCES, MOST_BLOCKS = 6, 2
#: An input that turns no verdict is told from here on. [degC]
WORTH_TELLING = 0.2
#: Changes of a night from here on are written. [degC]
SEEN = 0.05
#: Less than this is none. [degC]
NOTHING = 0.005
#: What an input says at the low and the high end of its range.
ENDS: Mapping[str, tuple[str, str]] = {
    "background": (
        "If low ground here cools less than half as strongly as on open ground",
        "If low ground here cools twice as strongly as taken",
    ),
    "background_gradient": (
        "If nights warm a third less with each metre above the low ground",
        "If nights warm by two fifths more with each metre above the low ground",
    ),
    "background_height": (
        "If the warm belt begins lower on the slope",
        "If the warm belt begins higher on the slope",
    ),
    "production": (
        "If the ground makes a third of the cold air",
        "If the ground makes three times the cold air",
    ),
    "mixing_hours": (
        "If the air above takes cold air up sooner",
        "If the air above takes cold air up later",
    ),
    "drag": ("If cold air runs more freely", "If cold air runs less freely"),
    "water_mixing": (
        "If the water takes less cold air away",
        "If the water takes more cold air away",
    ),
    "pool_cold": ("If pools of air are milder", "If pools of air are colder"),
    "pool_scale": (
        "If shallow pools are as cold as deep ones",
        "If only deep pools are cold",
    ),
    "sensor_depth": (
        "If thin cold air reaches the blossom",
        "If thin cold air stays below the blossom",
    ),
    "stream_speed": (
        "If running air mixes itself warm sooner",
        "If running air stays cold",
    ),
    "still_cold": (
        "If still air cools less by itself",
        "If still air cools more by itself",
    ),
    "still_speed": (
        "If the least draught counts as moving air",
        "If slowly moving air counts as still",
    ),
    "crest_cold": ("If crests are no colder", "If crests are twice as cold"),
    "concave_cold": (
        "If concave ground cools half as much",
        "If concave ground cools twice as much",
    ),
    "night_lapse": (
        "If nights fall less with height by themselves",
        "If nights fall more with height by themselves",
    ),
    "sky_effect": (
        "If a closed sky warms less",
        "If a closed sky warms more",
    ),
    "lake_share": ("If the lake warms less", "If the lake warms more"),
    "elevation_error": ("", "If the heights are wrong by as much as usual"),
    "cover": (
        "If what grows there is colder than short grass",
        "If what grows there is milder than short grass",
    ),
    "rest": (
        "If a block is colder for a reason that no map shows",
        "If a block is milder for a reason that no map shows",
    ),
    "years": (
        "If the years of the record were kinder than the usual",
        "If the years of the record were harder than the usual",
    ),
}
DRAWN = (
    "If hedges and walls are less open than drawn, by a tenth",
    "If hedges and walls are more open than drawn, by a tenth",
)
GUESSED = (
    "If hedges are half as open as taken",
    "If hedges are twice as open as taken",
)
#: What settles an input.
SETTLED: Mapping[str, str] = {
    BACKGROUND: "two thermometers at 1.5 m, one low and one 20 to 40 m above it",
    AIR: "a thermometer in the deepest frost pocket and one at its rim",
    POOL: "a thermometer in the deepest frost pocket and one at its rim",
    OPENNESS: "a look through the lowest metre of each hedge at bloom",
    SHAPE: "a thermometer on the crest and one 10 m below it",
    LAPSE: "a thermometer at the top of the field",
    SKY: "a thermometer by the wood and one in the open",
    LAKE: "a thermometer at the shore and one 300 m inland at the same height",
    HEIGHTS: "levels of the lip and of each gap, or finer elevation",
    YEARS: "every more year of the record",
    COVER: "drawing what grows on the ground",
    REST: "a thermometer on the block itself, one spring",
}


def tell_doubt(
    groups: Sequence[Block],
    ground: Places,
    places: Places,
    carried: Carried | None,
    years: RecordYears | None,
) -> DoubtTold | None:
    """Tell what the answer hangs on, the most decisive first.

    Parameters
    ----------
    groups : sequence of Block
        The blocks.
    ground, places : Places
        Verdicts on the ground alone, and held to the years.
    carried : Carried or None
        What each input does to the night.
    years : RecordYears or None
        The years of the site.

    Returns
    -------
    told : DoubtTold or None
        The table of inputs and the sentences; None where no doubt was carried.
    """
    if carried is None:
        return None
    site = ground.site
    turned = turn_verdicts(groups, ground, places, carried, years)
    inputs = rank_inputs(site, carried, turned)
    verdicts = len(turned[["block", "fruit"]].drop_duplicates())
    names = {block.number: block.part for block in groups}
    mind = []
    for row in inputs.to_dict("records"):
        here = turned[turned["group"] == row["input"]]
        if len(here) and (row["turned"] or row["degc"] >= WORTH_TELLING):
            mind.append(_tell(here, names, (int(row["turned"]), verdicts), site))
    return DoubtTold(inputs, verdicts, tuple(mind[:MOST_SENTENCES]))


def rank_inputs(site: Site, carried: Carried, turned: pd.DataFrame) -> pd.DataFrame:
    """Rank the groups of inputs by the verdicts that they turn, then by degrees.

    Parameters
    ----------
    site : Site
        The site.
    carried : Carried
        What each input does to the night.
    turned : DataFrame
        See `sitekit.siting.turning.turn_verdicts`.

    Returns
    -------
    inputs : DataFrame
        See `sitekit.results.DoubtTold`.
    """
    field = make_coarser(site).field_mask
    spread = {
        group: float(np.sqrt(np.nanmean(variance[field])))
        for group, variance in carried.variances.items()
    }
    if (turned["group"] == YEARS).any():
        spread[YEARS] = np.nan
    other = turned[turned["before"] != turned["after"]]
    count = other.drop_duplicates(["group", "block", "fruit"])["group"].value_counts()
    table = pd.DataFrame({"input": list(spread), "degc": list(spread.values())})
    table["turned"] = table["input"].map(count).fillna(0).astype(int)
    # An input that can do nothing here is no row of the chart.
    table = table[(table["turned"] > 0) | (table["degc"] > NOTHING)]
    return table.sort_values(
        ["turned", "degc"], ascending=False, kind="stable", ignore_index=True
    )


def _tell(
    here: pd.DataFrame, names: Mapping[int, str], turned: tuple[int, int], site: Site
) -> str:
    """Tell the end of an input that turns most verdicts, or else moves most."""
    chosen = _choose_end(here)
    name, high = chosen["name"].iloc[0], bool(chosen["high"].iloc[0])
    blocks = "; ".join(_tell_blocks(chosen, names))
    settled = SETTLED[str(here["group"].iloc[0])]
    count, verdicts = turned
    hangs = f"{count} of {verdicts} verdicts hang" if count else "No verdict hangs"
    texts = _ends_of(str(name), site)
    return f"{texts[high]}: {blocks}. {hangs} on it. What settles it: {settled}."


def _choose_end(here: pd.DataFrame) -> pd.DataFrame:
    """Choose the end, or the draw, that turns most verdicts, or else moves most."""
    marked = here.assign(
        turns=here["before"] != here["after"], moves=here["colder_degc"].abs()
    )
    ends = marked.groupby("effect", sort=False)[["turns", "moves"]].mean().fillna(0)
    order = ends.sort_values(["turns", "moves"], ascending=False, kind="stable")
    chosen: pd.DataFrame = marked[marked["effect"] == order.index[0]]
    return chosen


def _ends_of(name: str, site: Site) -> tuple[str, str]:
    if name == "openness":
        return GUESSED if guessed_openness(site) else DRAWN
    return ENDS[name]


def _tell_blocks(chosen: pd.DataFrame, names: Mapping[int, str]) -> list[str]:
    """Tell the first blocks that turn, or else the one that moves most."""
    turning = chosen.loc[chosen["turns"], "block"].drop_duplicates().sort_values()
    numbers = list(turning[:MOST_BLOCKS])
    if not numbers:
        numbers = list(chosen.sort_values("moves", ascending=False)["block"][:1])
    told = []
    for number in numbers:
        here = chosen[chosen["block"] == number]
        part = names.get(int(number), "")
        title = f"block {number}, {part}" if part else f"block {number}"
        classes = _tell_classes(here[here["turns"]])
        told.append(f"{title}{_tell_change(here)}, and {classes}")
    return told


def _tell_change(here: pd.DataFrame) -> str:
    """Tell what becomes of the night at a block; nothing where it stays."""
    change, colder = here["change_degc"].median(), here["colder_degc"].median()
    if abs(change) >= SEEN:
        sign = "+" if change > 0 else ""
        return f", {sign}{words.with_unit(float(change), '°C', 1)}"
    # Classes may turn the other way for the station's sake: then nothing is said.
    lowered = bool((here["after"] < here["before"]).any())
    if abs(colder) >= SEEN and (colder > 0) == lowered:
        return f", holding {'more' if colder > 0 else 'less'} cold air"
    return ""


def _tell_classes(turning: pd.DataFrame) -> str:
    """Tell which fruit change to which class, the same class together."""
    if turning.empty:
        return "no class changes"
    told = []
    for after, here in turning.groupby("after", sort=False):
        fruit = [words.fruit_name(str(f), plural=True) for f in here["fruit"]]
        told.append(f"{words.listed(fruit)} become “{SITE_CLASSES[int(str(after))]}”")
    return ", ".join(told)
