"""The answer in words: what to plant where, what to measure, what is not known."""

from collections.abc import Mapping, Sequence

import pandas as pd
from geopandas import GeoDataFrame

from sitekit import words
from sitekit.layers.catalogue import NOTHING
from sitekit.results import Answer, Measure
from sitekit.site import Site
from sitekit.siting.evidence import AGREES, CONTRADICTS, tell_note
from sitekit.siting.maps import NEEDS, name_need
from sitekit.siting.tables import best_fruit
from sitekit.words import CONDITIONS, HARDY, REFUSED, SITE_CLASSES, TEST_FIRST, listed

#: Cells that a hollow must be wide, and noises that it must be deep, to be seen.
CELLS_WIDE, NOISES_DEEP = 3, 2
#: What is asked for until readings are there.
ASKED_FIRST = "two thermometers"
#: More kinds of fruit than this are not named one by one.
MOST_NAMED = 3
STAMP = (
    "From terrain only. No thermometer has stood on this ground yet: night figures may "
    "be out by 1.5 °C, and no years are counted."
)
STAMP_WITH_YEARS = (
    "From terrain and the record of a station. No thermometer has stood on this ground "
    "yet: night figures may be out by 1.5 °C, and years in ten with them."
)
CAUTIONS = (
    "Before any digging, test holes included, ask the national one-call service and "
    "every owner of pipes and cables; private ones are not on its maps. Empty ground "
    "on this map proves nothing. Stop at anything unknown.",
    "Slopes come from elevation data. The machine's handbook, its driver and the "
    "weather decide: up and down with a ride-on mower, not across, and no passengers.",
    "Do not send water or cold air to a neighbour without agreement. Drains and "
    "ditches need consent in many places.",
    "Burners and fires on a frost night: carbon monoxide, burns, spilt fuel. Never in "
    "a tunnel, never unattended. Water over trees runs until its ice has melted.",
    "This is planning help. Survey, electricity, digging, felling and questions of law "
    "go to the licensed practice of the place, and the local code decides.",
    "Frost classes from terrain are estimates. No class means that frost stays away.",
    "Not for setting out: there is no contractor's pack yet, and a phone's position "
    "is good to some metres only.",
)


def resolution_sentence(site: Site) -> str:
    """Say in one sentence what this elevation can show.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    sentence : str
        The smallest hollow, and how far a verdict may go.
    """
    model = site.model
    wide = words.with_unit(CELLS_WIDE * model.shown_cell, "m")
    depth = max(NOISES_DEEP * model.noise, model.step, 0.1)
    deep = words.with_unit(depth, "m", 1 if depth < 10 else 0)
    text = (
        f"Cells of {words.cell(model.shown_cell)} show hollows from {wide} wide "
        f"and {deep} deep"
    )
    if model.surface == "canopy":
        text += ", and the heights are those of tree tops and roofs"
    if model.coarse:
        text += "; that carries no verdict by itself, so walk and measure first"
    return f"{text}."


def compose_answer(
    site: Site,
    blocks: GeoDataFrame,
    pockets: GeoDataFrame,
    trees: GeoDataFrame,
    notes: GeoDataFrame,
    absent: Mapping[str, str],
    years: tuple[str, ...] = (),
) -> Answer:
    """Put the answer into words.

    Parameters
    ----------
    site : Site
        The site.
    blocks : GeoDataFrame
        Table of blocks.
    pockets : GeoDataFrame
        Frost pockets.
    trees, notes : GeoDataFrame
        The grower's trees and notes with their verdicts.
    absent : mapping of str to str
        Layers that were not made, and the input that each lacks.
    years : tuple of str
        What the record of a station says; empty without one.

    Returns
    -------
    answer : Answer
        The answer.
    """
    against, in_favour = _evidence(trees, notes)
    return Answer(
        headline=_headline(site, blocks),
        where=_where(blocks),
        fruit=_which_fruit(blocks),
        not_there=_not_there(blocks),
        stamp=STAMP_WITH_YEARS if years else STAMP,
        measures=_measures(site, blocks, pockets),
        unknowns=_unknowns(site, blocks, absent, counted=bool(years)),
        contradictions=against,
        agreements=in_favour,
        resolution=resolution_sentence(site),
        cautions=CAUTIONS,
        years=years,
    )


def block_name(blocks: GeoDataFrame, number: int) -> str:
    """Name a block: number, and the part of the field where it has a name."""
    name = blocks.loc[blocks["block"] == number, "name"].iloc[0]
    return f"block {number}, {name}" if name else f"block {number}"


def _best_code(blocks: GeoDataFrame) -> int:
    codes = blocks["site_class"].map(SITE_CLASSES.index)
    return int(codes.max()) if len(codes) else REFUSED


def _plural(fruit: Sequence[str], word: str = "and") -> str:
    return listed([words.fruit_name(f, plural=True) for f in fruit], word)


def _headline(site: Site, blocks: GeoDataFrame) -> str:
    """Say in one sentence which block and which fruit."""
    best = _best_code(blocks)
    if best == REFUSED:
        every = sorted(set(blocks["fruit"]) | set(site.fruit))
        few = 0 < len(every) <= MOST_NAMED
        asked = _plural(every, "or") if few else "any fruit that was judged"
        return f"Plant nothing here this year: no ground of this field carries {asked}."
    name = block_name(blocks, 1)
    _, fruit = best_fruit(blocks, 1)
    if best == TEST_FIRST:
        return f"Test before you plant: {name} comes first, for {_plural(fruit[:3])}."
    if best == HARDY:
        return f"Hardy kinds only: {name}, {_plural(fruit[:3])}."
    return f"Start with {name}: {_plural(fruit[:3])}."


def _where(blocks: GeoDataFrame) -> str:
    """Say where, how large and why."""
    if _best_code(blocks) == REFUSED:
        return (
            "Opening what holds the cold air, or other ground, would change it; "
            "the reasons stand with each block."
        )
    site_class, fruit = best_fruit(blocks, 1)
    row = blocks[(blocks["block"] == 1) & (blocks["fruit"] == fruit[0])].iloc[0]
    return (
        f"{words.sentence(block_name(blocks, 1))[:-1]}, {words.area(row['area_m2'])}, "
        f"{site_class}. {row['reason']}"
    )


def _which_fruit(blocks: GeoDataFrame) -> str:
    """Say which fruit each of the first blocks carries."""
    told = []
    for number in blocks["block"].drop_duplicates().head(3):
        site_class, fruit = best_fruit(blocks, int(number))
        if site_class != SITE_CLASSES[REFUSED]:
            told.append(f"block {number} {_plural(fruit)} ({site_class})")
    return words.sentence("; ".join(told))


def _not_there(blocks: GeoDataFrame) -> str:
    """Name the ground that is refused for every fruit."""
    names = []
    for number in blocks["block"].drop_duplicates():
        site_class, _ = best_fruit(blocks, int(number))
        if site_class == SITE_CLASSES[REFUSED]:
            names.append(
                f"{block_name(blocks, int(number))} ({_why_not(blocks, number)})"
            )
    if not names:
        return ""
    more = [f"and {len(names) - 4} more"] if len(names) > 4 else []
    told = "; ".join([*names[:4], *more])
    return f"Refused for every fruit asked for: {told}."


def _why_not(blocks: GeoDataFrame, number: int) -> str:
    """Give the reason of a block, as it stands within a sentence."""
    reason = str(blocks.loc[blocks["block"] == number, "reason"].iloc[0])
    return words.within(reason.partition("; drainage")[0])


def _measures(
    site: Site, blocks: GeoDataFrame, pockets: GeoDataFrame
) -> tuple[Measure, ...]:
    """Choose at most three things to measure, the most decisive first."""
    measures = []
    if site.model.coarse:
        measures.append(
            Measure(
                "Walk the field at dawn after a clear still night",
                "Mark where fog or frost lies and what holds it: this elevation is too "
                "coarse to say.",
            )
        )
    first = [
        int(n)
        for n in blocks["block"].drop_duplicates()
        if best_fruit(blocks, int(n))[0] != SITE_CLASSES[REFUSED]
    ][:2]
    if first and "ground_tests" not in site.given:
        which = listed([str(n) for n in first])
        measures.append(
            Measure(
                f"Two test holes in block{'s' if len(first) > 1 else ''} {which}",
                "30 cm deep and filled twice (the second gone within four hours: it "
                "drains; there next day: it holds water), they decide between "
                f"“{SITE_CLASSES[CONDITIONS]}” and “good”, and can close a block.",
            )
        )
    low = (
        "the deepest frost pocket" if len(pockets) else "the lowest ground of the field"
    )
    measures.append(
        Measure(
            f"{ASKED_FIRST.capitalize()} at 1.5 m: one in {low}, one 20 to 40 m "
            "above it",
            "Ten clear still nights in bloom tell how cold the low ground is.",
        )
    )
    guessed = [
        r for r in site.remarks if r.about == "barriers" and r.kind == "doubtful"
    ]
    if guessed:
        measures.append(
            Measure(
                "Look through the lowest metre of each hedge at bloom",
                "The share that is open decides how much cold air it holds.",
            )
        )
    return tuple(measures[:3])


def _unknowns(
    site: Site, blocks: GeoDataFrame, absent: Mapping[str, str], *, counted: bool
) -> tuple[str, ...]:
    """List what is not known."""
    untested = sorted(
        {
            int(r.block)
            for r in blocks.itertuples()
            if "drainage not tested" in str(r.reason)
        }
    )
    told = []
    if untested:
        which = listed([str(n) for n in untested[:8]])
        many = "s" if len(untested) > 1 else ""
        told.append(
            f"Drainage of block{many} {which}: no hole has been dug there, and "
            "elevation cannot see packed ground."
        )
    told.append(
        f"How strongly low ground cools here: {ASKED_FIRST}, one low and one 20 to "
        "40 m above it, settle most of it."
    )
    if not counted:
        told.append(f"Years: without {NEEDS} no poor-crop years are counted.")
    if "barriers" not in site.given:
        told.append(
            "Hedges, walls, banks and woods that dam the air: none were given as "
            "barriers, so none hold air on this map."
        )
    said = (name_need(NOTHING), NEEDS)
    absent = {name: lack for name, lack in absent.items() if lack not in said}
    lacking = sorted(set(absent.values()))
    if lacking:
        which = listed([a.replace("_", " ") for a in sorted(absent)])
        told.append(f"Not made, for want of {listed(lacking)}: {which}.")
    return tuple(told)


def _evidence(
    trees: pd.DataFrame, notes: pd.DataFrame
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Tell where the grower's own trees and notes speak against the map, and for it."""
    told: dict[str, list[str]] = {CONTRADICTS: [], AGREES: []}
    for tree in trees.to_dict("records"):
        if tree["verdict"] in told:
            what = f"{words.fruit_name(tree['fruit'])} tree, {tree['condition']}"
            reason = words.within(tree["reason"])
            told[tree["verdict"]].append(words.sentence(f"{what}: {reason}"))
    for note in notes.to_dict("records"):
        if note["verdict"] in told:
            text = tell_note(note["kind"], note["date"], note["reason"])
            told[note["verdict"]].append(text)
    return tuple(told[CONTRADICTS]), tuple(told[AGREES])
