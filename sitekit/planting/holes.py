"""Test holes, the one that decides most first, and what a reading changes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from shapely.geometry import Point

from sitekit import words
from sitekit.siting.places import Places
from sitekit.siting.years import YearsCause
from sitekit.suitability.ground import LAND_SLOPE, Soil, judge
from sitekit.suitability.score import NOT_JUDGED, score_fruit

#: Holes in a block, and in all.
IN_A_BLOCK, MOST = 2, 12
#: Holes stand at least so far apart: a hole speaks for 25 m. [m]
APART = 25.0


@dataclass(frozen=True)
class Ground:
    """What a block would be with each reading of a test hole.

    Parameters
    ----------
    block : int
        Its number.
    fruit : str
        The fruit that asks.
    now, good, slow, holds_water : int
        Code of its class: now, and with a reading. See `sitekit.words`.
    cells : (2, cell) ndarray of int
        Rows and columns of its cells that no test speaks for.
    """

    block: int
    fruit: str
    now: int
    good: int
    slow: int
    holds_water: int
    cells: NDArray[np.intp]

    @property
    def decides(self) -> int:
        """Classes between the best and the worst reading."""
        return self.good - self.holds_water

    @property
    def sentence(self) -> str:
        """What a hole there decides."""
        now, good, slow, bad = (
            words.SITE_CLASSES[code]
            for code in (self.now, self.good, self.slow, self.holds_water)
        )
        return (
            f"Block {self.block}, {words.fruit_name(self.fruit)}, now {now}: {good} "
            f"if it drains well, {slow} if slowly, {bad} if it holds water."
        )


def read_ground(
    places: Places, block_of: NDArray[np.int32], asked: Mapping[int, str]
) -> list[Ground]:
    """Tell what each reading would make of each block.

    Parameters
    ----------
    places : Places
        Layers, ground and verdicts.
    block_of : (row, column) ndarray of int
        Block of each cell, 0 for none.
    asked : mapping of int to str
        Fruit that asks, by block.

    Returns
    -------
    grounds : list of Ground
        Blocks with ground that no test speaks for and that a test would change.
    """
    found = []
    for fruit in sorted(set(asked.values())):
        classes = _classes(places, fruit)
        for block in sorted(b for b, f in asked.items() if f == fruit):
            made = _ground(places, block_of == block, block, fruit, classes)
            if made is not None:
                found.append(made)
    return found


def _classes(places: Places, fruit: str) -> dict[Soil, NDArray[np.uint8]]:
    """Judge all ground again as if every hole had read the same."""
    judged = places.site.field_mask & ~places.site.water_mask
    told = places.verdicts[fruit]
    # What the years of a record hold against ground no test hole can lift.
    by_years = np.isin(told.cause, [int(cause) for cause in YearsCause])
    score = score_fruit(places.verdicts[fruit].fruit, places.layers, judged)
    made = {Soil.NOT_TESTED: told.site_class}
    for soil in (Soil.GOOD, Soil.SLOW, Soil.HOLDS_WATER):
        everywhere = np.full(judged.shape, soil, dtype=np.uint8)
        ground = replace(
            places.ground, soil=everywhere, supported=np.ones(judged.shape, dtype=bool)
        )
        read = judge(score, ground, places.layers[LAND_SLOPE]).site_class
        made[soil] = np.where(by_years, np.minimum(read, told.site_class), read)
    return made


def _ground(
    places: Places,
    inside: NDArray[np.bool_],
    block: int,
    fruit: str,
    classes: Mapping[Soil, NDArray[np.uint8]],
) -> Ground | None:
    open_ = inside & (places.ground.soil == Soil.NOT_TESTED)
    open_ &= (classes[Soil.NOT_TESTED] != NOT_JUDGED) & ~places.ground.blocked
    if not open_.any():
        return None
    now, good, slow, bad = (
        int(np.bincount(classes[soil][open_]).argmax())
        for soil in (Soil.NOT_TESTED, Soil.GOOD, Soil.SLOW, Soil.HOLDS_WATER)
    )
    if good <= words.REFUSED:
        return None
    return Ground(block, fruit, now, good, slow, bad, np.array(np.nonzero(open_)))


def plan_test_holes(
    places: Places, grounds: Sequence[Ground], trees: Mapping[int, int]
) -> GeoDataFrame:
    """Place test holes, ranked by what they decide.

    Ground where trees are planned comes first, most trees first; then ground that
    a good reading lifts most. The first hole of a block stands where water gathers
    most, the second on ground that is typical of it.

    Parameters
    ----------
    places : Places
        Layers of the site.
    grounds : sequence of Ground
        What readings would make of each block.
    trees : mapping of int to int
        Trees planned by block.

    Returns
    -------
    holes : GeoDataFrame
        Points: ``id``, ``order``, ``block``, ``decides``.
    """
    ranked = sorted(
        grounds,
        key=lambda g: (-trees.get(g.block, 0), -(g.good - g.now), -g.decides, g.block),
    )
    spots: list[tuple[Ground, Point]] = []
    for turn in range(IN_A_BLOCK):
        for ground in ranked:
            point = _place(places, ground, turn, [p for _, p in spots])
            if point is not None and len(spots) < MOST:
                spots.append((ground, point))
    return GeoDataFrame(
        {
            "id": [f"T{number}" for number in range(1, len(spots) + 1)],
            "order": np.arange(1, len(spots) + 1, dtype=np.int32),
            "block": np.array([g.block for g, _ in spots], dtype=np.int32),
            "decides": [
                f"{g.sentence}{_trees_on(trees.get(g.block, 0))}" for g, _ in spots
            ],
        },
        geometry=[p for _, p in spots],
        crs=places.site.grid.crs,
    )


def _trees_on(count: int) -> str:
    return f" {count} trees are planned there." if count else ""


def _place(
    places: Places, ground: Ground, turn: int, taken: Sequence[Point]
) -> Point | None:
    """Choose the wettest place first, then the most typical, clear of other holes."""
    rows, columns = ground.cells
    grid = places.site.grid
    east, north = grid.eastings[columns], grid.northings[rows]
    free = np.ones(rows.size, dtype=bool)
    for point in taken:
        free &= np.hypot(east - point.x, north - point.y) >= APART
    if not free.any():
        return None
    wet = places.layers["wetness_index"][rows, columns][free].astype(np.float64)
    wet = np.nan_to_num(wet, nan=0.0)
    best = int(wet.argmax() if turn == 0 else np.abs(wet - np.median(wet)).argmin())
    return Point(float(east[free][best]), float(north[free][best]))
