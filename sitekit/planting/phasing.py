"""From rows to years: what each piece of ground takes, and when it is planted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from sitekit.fruit import Fruit
from sitekit.planting.fence import plan_fence
from sitekit.planting.grounds import LETTERS, Piece
from sitekit.planting.materials import (
    WATERED,
    Fence,
    Kind,
    Step,
    fence_pays,
    list_quantities,
    make_lot,
    price_fence,
)
from sitekit.planting.mulch import Shape, ceiling, choose_shape, mulch_of
from sitekit.planting.need import choose_vigour
from sitekit.planting.terms import Limits, Prices
from sitekit.planting.years import Lot, Phases, plan_years
from sitekit.siting.places import Places
from sitekit.suitability.ground import Soil


@dataclass(frozen=True)
class Phased:
    """Pieces of ground with the years in which they are planted.

    Parameters
    ----------
    pieces : tuple of Piece
        Rows of one fruit in one block each.
    kinds : tuple of Kind
        What a tree of each takes.
    lots : tuple of Lot
        The same as numbers.
    phases : Phases
        Trees by piece and year.
    fences : mapping of str to Fence
        By the name of the piece; empty where guards cost less.
    standing_m2 : float
        Ground that is under mulch already and is kept. [m²]
    """

    pieces: tuple[Piece, ...]
    kinds: tuple[Kind, ...]
    lots: tuple[Lot, ...]
    phases: Phases
    fences: Mapping[str, Fence]
    standing_m2: float

    @property
    def years(self) -> int:
        """How many years are planned."""
        return int(self.phases.trees.shape[1])

    def planted(self) -> int:
        """Count the trees that a year can pay for."""
        return int(self.phases.trees.sum())

    def area_by_year(self) -> NDArray[np.float64]:
        """Ground that comes under mulch in each year. [m²]."""
        areas = np.array([kind.shape.area for kind in self.kinds])
        return areas @ self.phases.trees if len(areas) else np.zeros(self.years)

    def year_of(self, number: int) -> NDArray[np.int64]:
        """Tell the year of each plant of a piece, 0 where none can pay for it."""
        ends = np.cumsum(self.phases.trees[number])
        years = np.searchsorted(ends, self.pieces[number].order, side="right") + 1
        return np.where(years <= self.years, years, 0).astype(np.int64)


def limits_by_year(limits: Limits) -> NDArray[np.float64]:
    """Lay out what there is of money, mulch, days and trees by year.

    Parameters
    ----------
    limits : Limits
        A number stands for every year; a list for the years in order, its last
        for all that follow.

    Returns
    -------
    table : (resource, year) ndarray
        Infinite where no limit is given.
    """
    given = (limits.money, limits.mulch_m3, limits.work_days, limits.trees)
    longest = max((len(values) for values in given), default=0)
    years = longest if longest > 1 else limits.years
    table = np.full((len(given), years), np.inf)
    for row, values in zip(table, given, strict=True):
        if values:
            row[:] = [values[min(year, len(values) - 1)] for year in range(years)]
    return table


def phase_pieces(
    pieces: Sequence[Piece],
    fruits: Mapping[str, Fruit],
    places: Places,
    limits: Limits,
    prices: Prices,
) -> Phased:
    """Choose the years, with a fence where it costs less than guards.

    Parameters
    ----------
    pieces : sequence of Piece
        Rows.
    fruits : mapping of str to Fruit
        Spacing and size.
    places : Places
        Soil of the ground, ground under mulch.
    limits, prices : Limits, Prices
        What there is, and what things cost.

    Returns
    -------
    phased : Phased
    """
    trees = sum(len(piece.layout.positions) for piece in pieces)
    kinds = tuple(
        _kind(piece, fruits, places, trees, limits, prices) for piece in pieces
    )
    standing = standing_ground(places, limits)
    phased = _phase(tuple(pieces), kinds, {}, standing, limits, prices)
    fences = _choose_fences(phased, places, limits, prices)
    if not fences:
        return phased
    fenced = tuple(
        replace(kind, fenced=piece.name in fences)
        for piece, kind in zip(pieces, kinds, strict=True)
    )
    return _phase(tuple(pieces), fenced, fences, standing, limits, prices)


def _phase(
    pieces: tuple[Piece, ...],
    kinds: tuple[Kind, ...],
    fences: Mapping[str, Fence],
    standing: float,
    limits: Limits,
    prices: Prices,
) -> Phased:
    lots = tuple(
        make_lot(
            piece.assignment.choice.block,
            piece.assignment.choice.fruit,
            len(piece.layout.positions),
            piece.assignment.worth,
            kind,
            limits,
            prices,
            fence=fences.get(piece.name),
        )
        for piece, kind in zip(pieces, kinds, strict=True)
    )
    taken = standing * mulch_of(limits).hold
    takes = np.array([0.0, taken, taken * prices.days_mulch_m3, 0.0])
    takes[0] = taken * prices.mulch_m3 + prices.day * takes[2]
    phases = plan_years(lots, limits_by_year(limits), takes)
    return Phased(pieces, kinds, lots, phases, fences, standing)


def standing_ground(places: Places, limits: Limits) -> float:
    """Measure the ground that is under mulch already and is kept. [m²]."""
    if limits.keep_mulched_m2 >= 0:
        return limits.keep_mulched_m2
    return float(places.site.vectors["mulched"].area.sum())


def _kind(
    piece: Piece,
    fruits: Mapping[str, Fruit],
    places: Places,
    trees: int,
    limits: Limits,
    prices: Prices,
) -> Kind:
    fruit = fruits[piece.assignment.choice.fruit]
    vigour = choose_vigour(fruit)
    shape = choose_shape(trees, fruit.spacing, fruit.row_spacing, limits, prices)
    grid = places.site.grid
    rows, columns = grid.cells(*piece.layout.positions.T)
    slow = places.ground.soil[rows, columns] == Soil.SLOW
    wet = places.ground.standing_water[rows, columns]
    return Kind(
        bush=bool(vigour and vigour.name == "bush"),
        fenced=False,
        shape=shape,
        loosened=bool(slow.mean() > 0.5),
        mound=bool(wet.mean() > 0.5),
    )


def _choose_fences(
    phased: Phased, places: Places, limits: Limits, prices: Prices
) -> dict[str, Fence]:
    """Price a fence about what is planted of each piece; keep those that pay."""
    fences = {}
    for number, piece in enumerate(phased.pieces):
        planted = phased.year_of(number) > 0
        if phased.kinds[number].bush or planted.sum() < 2:
            continue
        ground = shapely.MultiPoint(piece.layout.positions[planted])
        drawn = draw_fence({piece.name: ground}, places, limits)
        fence = price_fence(
            piece.assignment.choice.block,
            float(drawn["length_m"].sum()),
            int((drawn["kind"] == "fence corner").sum()),
            limits,
            prices,
        )
        if fence_pays(fence, int(planted.sum()), prices):
            fences[piece.name] = fence
    return fences


def draw_fence(
    grounds: Mapping[str, BaseGeometry], places: Places, limits: Limits
) -> GeoDataFrame:
    """Draw fences about plants, with the gates of the site that lie in them.

    Parameters
    ----------
    grounds : mapping of str to shapely geometry
        Plants of each piece.
    places : Places
        The site.
    limits : Limits
        How far outside the plants a fence stands.

    Returns
    -------
    fence : GeoDataFrame
        By `plan_fence`.
    """
    crs: CRS = places.site.grid.crs
    none = GeoDataFrame({"name": []}, geometry=[], crs=crs)
    return plan_fence(dict(grounds), none, crs, fence_offset=limits.fence_setback_m)


def list_steps(phased: Phased) -> list[Step]:
    """List what is planted and kept of each piece in each year."""
    steps = []
    for number, (piece, kind) in enumerate(
        zip(phased.pieces, phased.kinds, strict=True)
    ):
        trees = phased.phases.trees[number]
        for year in range(phased.years):
            older = int(trees[:year].sum())
            begun = bool(phased.phases.opened[number, year])
            if not trees[year] and not older:
                continue
            steps.append(
                Step(
                    year=year + 1,
                    fruit=piece.assignment.choice.fruit,
                    kind=kind,
                    planted=int(trees[year]),
                    older=older,
                    young=int(trees[max(year - WATERED + 1, 0) : year].sum()),
                    fence=phased.fences.get(piece.name) if begun else None,
                )
            )
    return steps


def tabulate_years(phased: Phased, limits: Limits, prices: Prices) -> pd.DataFrame:
    """Tell of each year what is planted, kept and used, and what stops it.

    Parameters
    ----------
    phased : Phased
        Pieces and years.
    limits, prices : Limits, Prices
        Mulch a year, edge.

    Returns
    -------
    years : DataFrame
        With the columns of `sitekit.results.PlantingPlan.years`.
    """
    new = phased.area_by_year()
    older = phased.standing_m2 + np.concatenate([[0.0], np.cumsum(new)[:-1]])
    used = phased.phases.used[:, : phased.years]
    mulch = limits_by_year(limits)[1]
    return pd.DataFrame(
        {
            "year": np.arange(1, phased.years + 1),
            "blocks": [_blocks_of(phased, year) for year in range(phased.years)],
            "area_m2": np.round(new, 1),
            "kept_m2": np.round(older, 1),
            "trees": phased.phases.trees.sum(axis=0).astype(int),
            "money": np.round(used[0], 2),
            "mulch_m3": np.round(used[1], 2),
            "days": np.round(used[2], 2),
            "binding": list(phased.phases.binding),
            "ceiling_m2": np.round(
                [find_ceiling(phased, amount, limits, prices) for amount in mulch], 0
            ),
        }
    )


def find_ceiling(
    phased: Phased, mulch_m3: float, limits: Limits, prices: Prices
) -> float:
    """Tell the most ground that mulch holds for good, edges as they are held. [m²].

    NaN where no limit of mulch is given.
    """
    if not np.isfinite(mulch_m3):
        return float("nan")
    mulch = mulch_of(limits)
    shape = phased.kinds[0].shape if phased.kinds else Shape("block", 1.0, 0.0)
    open_share = 1 - prices.edge_holds[limits.edge]
    lost = min(limits.grass_creep_m * open_share * shape.edge / shape.area, 1.0)
    return ceiling(mulch_m3, mulch, mulch.depth * lost)


def _blocks_of(phased: Phased, year: int) -> str:
    names = [
        piece.name
        for piece, trees in zip(phased.pieces, phased.phases.trees, strict=True)
        if trees[year]
    ]
    return ", ".join(sorted(names, key=lambda n: (int(n.rstrip(LETTERS)), n)))


def list_all_quantities(phased: Phased, limits: Limits, prices: Prices) -> pd.DataFrame:
    """List what every year takes; see `list_quantities`."""
    return list_quantities(list_steps(phased), limits, prices)


def price_blocks(
    kind: Kind, trees: int, limits: Limits, prices: Prices
) -> pd.DataFrame:
    """Tell what 100 m² and one, two and four blocks take, without any limit.

    Parameters
    ----------
    kind : Kind
        What a tree takes.
    trees : int
        Trees in a block.
    limits, prices : Limits, Prices
        Depths, rates and prices.

    Returns
    -------
    table : DataFrame
        ``what``, ``trees``, ``area_m2``, ``money`` and ``mulch_m3`` and ``days`` in
        the first year, ``mulch_keep_m3`` and ``days_keep`` in each later one.
    """
    lot = make_lot(0, "", trees, 1.0, kind, limits, prices)
    hundred = 100.0 / kind.shape.area
    rows = []
    for what, count in (
        ("100 m²", hundred),
        ("one block", float(trees)),
        ("two blocks", 2.0 * trees),
        ("four blocks", 4.0 * trees),
    ):
        first, keep = np.array(lot.first) * count, np.array(lot.keep) * count
        rows.append(
            {
                "what": what,
                "trees": count,
                "area_m2": count * kind.shape.area,
                "money": first[0],
                "mulch_m3": first[1],
                "days": first[2],
                "mulch_keep_m3": keep[1],
                "days_keep": keep[2],
            }
        )
    return pd.DataFrame(rows)
