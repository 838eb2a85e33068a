"""The planting plan: need, fruit by block, rows, years, materials, test holes."""

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, TypeVar

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from sitekit.climate.years import RecordYears
from sitekit.fruit import Fruit
from sitekit.planting import told
from sitekit.planting.ask import Ask, read_ask
from sitekit.planting.assign import (
    Assignment,
    Choice,
    assign_fruit,
    like_groups,
    list_choices,
    tabulate_need,
)
from sitekit.planting.baseline import choose_baseline
from sitekit.planting.block_marks import place_block_marks, tape_blocks
from sitekit.planting.edges import compare_edges
from sitekit.planting.flowering import flowering_days
from sitekit.planting.grounds import lay_pieces, make_grounds, open_ground
from sitekit.planting.holes import plan_test_holes, read_ground
from sitekit.planting.lacking import find_missing, tell_partners
from sitekit.planting.need import picked, storage_curve
from sitekit.planting.phasing import (
    Phased,
    draw_fence,
    list_all_quantities,
    phase_pieces,
    tabulate_years,
)
from sitekit.planting.plants import find_partners, list_rows, number_plants
from sitekit.planting.setting_out import make_setting_out, name_revision
from sitekit.planting.terms import Limits, Need, read_terms
from sitekit.results import PlantingPlan
from sitekit.settings import settings_of
from sitekit.site import Site
from sitekit.siting.places import Places

#: Month in which stores are filled, north and south.
FILLED = {True: 10, False: 4}

Result = TypeVar("Result")


def plan_planting(
    places: Places,
    blocks: GeoDataFrame,
    fruit_by_block: pd.DataFrame,
    block_of: NDArray[np.int32],
    paths: GeoDataFrame,
    years: RecordYears | None = None,
) -> PlantingPlan | None:
    """Plan what stands where, in which year, and what it takes.

    Parameters
    ----------
    places : Places
        Site, layers and verdicts.
    blocks : GeoDataFrame
        Blocks of the survey.
    fruit_by_block : DataFrame
        Class, group and poor years by block and fruit.
    block_of : (row, column) ndarray of int
        Block of each cell, 0 for none.
    paths : GeoDataFrame
        Cold-air paths.
    years : RecordYears, optional
        Years of a record, for the days of bloom at each plant.

    Returns
    -------
    plan : PlantingPlan or None
        None where neither need nor limits are given, or no block is better than
        *test first*.

    Raises
    ------
    InputError
        Control marks that cannot hold a tape.
    """
    site = places.site
    if not (site.need or site.limits):
        return None
    fruits = {name: verdict.fruit for name, verdict in places.verdicts.items()}
    liking = like_groups(fruits, read_terms(Need, site.need))
    choices = list_choices(blocks, fruit_by_block, liking)
    if not choices:
        return None
    ask = read_ask(site, choices)
    tuned = partial(_tuned, site)
    proven = {c.block for c in choices}
    here = blocks[blocks["block"].isin(proven)].drop_duplicates("block")
    grounds = make_grounds(places, here, block_of, paths, tuned)
    room = {number: shape.area for number, shape in grounds.accepted.items()}
    given = assign_fruit(ask.wanted, choices, room, fruits, ask.need)
    pieces = lay_pieces(places, given, grounds, fruits, ask.limits.rows_together)
    phased = phase_pieces(pieces, fruits, places, ask.limits, ask.prices)
    lanes = open_ground(grounds, pieces, places)
    return _assemble(places, ask, choices, given, phased, lanes, block_of, years)


def _tuned(
    site: Site, function: Callable[..., Result], *arguments: object, **named: object
) -> Result:
    """Call a function with the settings of the site that it knows."""
    chosen = {n: v for n, v in site.settings.items() if n in settings_of(function)}
    return function(*arguments, **named, **chosen)


def _assemble(
    places: Places,
    ask: Ask,
    choices: Sequence[Choice],
    given: Sequence[Assignment],
    phased: Phased,
    lanes: GeoDataFrame,
    block_of: NDArray[np.int32],
    years: RecordYears | None,
) -> PlantingPlan:
    """Put the plan together from its pieces and years."""
    fruits = {name: verdict.fruit for name, verdict in places.verdicts.items()}
    rows, plants = _rows_and_plants(places, phased, fruits, years)
    fence = _fence(places, phased, ask.limits)
    holes = _test_holes(places, choices, phased, block_of)
    baseline = _baseline(places.site, plants, fence, ask.limits)
    marks = _tuned(places.site, place_block_marks, places.site, plants, baseline)
    setting_out = make_setting_out(
        places.site, baseline, plants, fence, holes, [("control mark", marks)]
    )
    need = tabulate_need(ask.wanted, given, choices, fruits, ask.need)
    table = tabulate_years(phased, ask.limits, ask.prices)
    edge = sum(
        kind.shape.edge * float(trees.sum())
        for kind, trees in zip(phased.kinds, phased.phases.trees, strict=True)
    )
    needing = [name for name, fruit in fruits.items() if _needs_partner(fruit)]
    story = told.Story(places, ask, choices, given, phased, need, table, fruits)
    return PlantingPlan(
        rows=rows,
        plants=plants,
        lanes=lanes,
        fence=fence,
        test_holes=holes,
        setting_out=setting_out,
        baseline=baseline,
        need=need,
        quantities=list_all_quantities(phased, ask.limits, ask.prices),
        edges=compare_edges(edge, ask.limits, ask.prices),
        years=table,
        sentences=(*story.sentences(), *tell_partners(plants, needing)),
        missing=find_missing(places.site, need),
        storage=_storage(ask, need, places.site),
        block_marks=marks,
        revision=_tuned(places.site, name_revision),
        block_tapes=tape_blocks(plants, marks, baseline),
    )


def _rows_and_plants(
    places: Places,
    phased: Phased,
    fruits: Mapping[str, Fruit],
    years: RecordYears | None,
) -> tuple[GeoDataFrame, GeoDataFrame]:
    """List rows and plants, with their years and partners."""
    crs = places.site.grid.crs
    layouts = {piece.name: piece.layout for piece in phased.pieces}
    fruit = {p.name: p.assignment.choice.fruit for p in phased.pieces}
    group = {p.name: p.assignment.choice.group for p in phased.pieces}
    rows = list_rows(layouts, fruit, group, crs)
    plants = number_plants(layouts, fruit, group, crs)
    planted = [phased.year_of(number) for number in range(len(phased.pieces))]
    plants["year"] = np.concatenate([*planted, np.empty(0, np.int64)])
    needs = np.array(
        [_needs_partner(fruits[name]) for name in plants["fruit"]], dtype=bool
    )
    # Two kinds of a group, row by row: a kind sets no fruit by its own pollen.
    kinds = [
        f"{name} {'odd' if row % 2 else 'even'}"
        for name, row in zip(plants["group"], plants["row"], strict=True)
    ]
    bloom = flowering_days(plants, fruits, places.site, years)
    found = _tuned(places.site, find_partners, plants, bloom, needs=needs, kinds=kinds)
    return rows, found


def _needs_partner(fruit: Fruit) -> bool:
    return fruit.varieties is not None and fruit.varieties.partner == "yes"


def _fence(places: Places, phased: Phased, limits: Limits) -> GeoDataFrame:
    """Draw the fences that pay, about the plants that a year can pay for."""
    grounds = {
        piece.name: shapely.MultiPoint(
            piece.layout.positions[phased.year_of(number) > 0]
        )
        for number, piece in enumerate(phased.pieces)
        if piece.name in phased.fences
    }
    return draw_fence(grounds, places, limits)


def _test_holes(
    places: Places,
    choices: Sequence[Choice],
    phased: Phased,
    block_of: NDArray[np.int32],
) -> GeoDataFrame:
    """Rank test holes: blocks of the plan, then blocks that a reading would lift."""
    trees: dict[int, int] = {}
    asked: dict[int, str] = {}
    for piece, by_year in zip(phased.pieces, phased.phases.trees, strict=True):
        choice = piece.assignment.choice
        trees[choice.block] = trees.get(choice.block, 0) + int(by_year.sum())
        asked.setdefault(choice.block, choice.fruit)
    for choice in sorted(choices, key=lambda c: c.rank):
        asked.setdefault(choice.block, choice.fruit)
    usual = next(iter(asked.values()))
    for block in np.unique(block_of[block_of > 0]).tolist():
        asked.setdefault(block, usual)
    return plan_test_holes(places, read_ground(places, block_of, asked), trees)


def _baseline(
    site: Site, plants: GeoDataFrame, fence: GeoDataFrame, limits: Limits
) -> Any:  # noqa: ANN401 - a Baseline
    """Choose the ends of the tapes for what is set out first."""
    first = plants[plants["year"] > 0]
    chosen = first if len(first) else plants
    posts = fence[fence["kind"] != "fence line"]
    targets = [shapely.get_coordinates(f.geometry.to_numpy()) for f in (chosen, posts)]
    taped = limits.taped_length_m or None
    return _tuned(site, choose_baseline, site, np.vstack(targets), taped_length=taped)


def _storage(ask: Ask, need: pd.DataFrame, site: Site) -> pd.DataFrame:
    """Draw down the store of every fruit that is stored."""
    first = FILLED[site.grid.latitude >= 0]
    curves = []
    for one in ask.wanted:
        row = need[need["fruit"] == one.fruit]
        if one.use != "stored" or row.empty or not np.isfinite(one.kg):
            continue
        group = row["group"].iloc[0]
        group = group if isinstance(group, str) else ""
        kg = picked(one.kg, "stored", ask.need) * (1 - ask.need.cull)
        curve = storage_curve(kg, group, ask.need, first_month=first)
        curves.append(curve.assign(fruit=one.fruit, group=group))
    columns = ["fruit", "group", "month", "stock_kg", "eaten_kg", "lost_kg"]
    if not curves:
        return pd.DataFrame(columns=columns)
    return pd.concat(curves, ignore_index=True)[columns]


def with_plan(blocks: GeoDataFrame, plan: PlantingPlan, site: Site) -> GeoDataFrame:
    """Write first year, trees and mulch of the plan into the table of blocks.

    Parameters
    ----------
    blocks : GeoDataFrame
        Blocks of the survey.
    plan : PlantingPlan
        The plan.
    site : Site
        Depth of mulch.

    Returns
    -------
    blocks : GeoDataFrame
        ``year`` (the first), ``trees`` and ``mulch_m3`` (as first laid) where a
        fruit is planted; elsewhere null.
    """
    planted = plan.plants[plan.plants["year"] > 0]
    if planted.empty:
        return blocks
    number = planted["block"].str.extract(r"^(\d+)")[0].astype(int)
    keys = [number.rename("block"), planted["fruit"]]
    found = planted.groupby(keys)["year"].agg(["min", "count"])
    shares = plan.years.set_index("year")
    depth = read_terms(Limits, site.limits).mulch_depth_m
    mean = float(shares["area_m2"].sum()) / max(len(planted), 1) * depth
    filled = blocks.copy()
    for (block, fruit), row in found.iterrows():
        where = (filled["block"] == block) & (filled["fruit"] == fruit)
        filled.loc[where, ["year", "trees"]] = [int(row["min"]), int(row["count"])]
        filled.loc[where, "mulch_m3"] = round(mean * float(row["count"]), 2)
    return filled
