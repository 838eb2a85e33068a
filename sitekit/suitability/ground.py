"""What is known of the soil, and how far it lets a verdict go.

Elevation cannot see compacted or wet soil. Without a test hole no ground is
better than *with conditions*, and level ground is *test first*.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import Annotated

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sitekit.settings import Setting
from sitekit.site import Site
from sitekit.suitability.score import NOT_JUDGED, FruitScore
from sitekit.words import CONDITIONS, REFUSED, TEST_FIRST

#: Slope below which water may stand. [degree] 1 %; common practice, no source.
LEVEL_SLOPE = 0.573
#: The layer that tells it: noise of the heights makes level cells steep.
LAND_SLOPE = "land_slope"


class Soil(IntEnum):
    """What a test hole said about the soil."""

    NOT_TESTED = 0
    GOOD = 1
    SLOW = 2
    HOLDS_WATER = 3


SOIL_WORDS = {"good": Soil.GOOD, "slow": Soil.SLOW, "holds water": Soil.HOLDS_WATER}


class Cause(IntEnum):
    """What decides a class, where it is not one of the fruit's factors."""

    BLOCKED = 240
    HOLDS_WATER = 241
    STANDING_WATER = 242
    OLD_YARD = 243
    LEVEL = 244
    COARSE = 245
    SLOW = 246
    NOT_TESTED = 247


@dataclass(frozen=True)
class Ground:
    """What is known of the ground beside its shape, on the grid.

    Parameters
    ----------
    soil : (row, column) ndarray of uint8
        Codes of `Soil`.
    standing_water, old_yard : (row, column) ndarray of bool
        Where the grower saw water stand; where a yard or filling was.
    blocked : (row, column) ndarray of bool
        No-go ground, buildings, wood: nothing is planted there.
    supported : (row, column) ndarray of bool
        Where a test or a dated note of the grower speaks for a verdict that a
        coarse elevation cannot carry alone.
    coarse : bool
        Whether the elevation carries no verdict alone.
    """

    soil: NDArray[np.uint8]
    standing_water: NDArray[np.bool_]
    old_yard: NDArray[np.bool_]
    blocked: NDArray[np.bool_]
    supported: NDArray[np.bool_]
    coarse: bool


def make_ground(
    site: Site,
    *,
    ground_test_radius: Annotated[
        float,
        Setting("m", "How far a test hole speaks for the ground around it.", low=0),
    ] = 25.0,
    note_radius: Annotated[
        float, Setting("m", "How far a note given as a point speaks.", low=0)
    ] = 15.0,
    service_setback: Annotated[
        float,
        Setting("m", "Ground kept free on either side of a pipe or cable.", low=0),
    ] = 3.0,
) -> Ground:
    """Gather what is known of the ground of a site.

    Parameters
    ----------
    site : Site
        The site.
    ground_test_radius, note_radius, service_setback : float
        See the settings. [m]

    Returns
    -------
    ground : Ground
        Masks on the grid of the site.
    """
    vectors = site.vectors
    notes, cover = vectors["notes"], vectors["cover"]
    soil = _soil(site, ground_test_radius)
    early = notes[notes["kind"] == "early bare"]
    standing = notes[notes["kind"] == "standing water"]
    yards = cover[cover["kind"].isin(["yard", "old yard", "filling"])]
    blocked = site.canopy_height > 0
    for name, margin in (
        ("no_go", 0.0),
        ("buildings", 0.0),
        ("services", service_setback),
    ):
        blocked |= cells_within(site, vectors[name], margin)
    return Ground(
        soil=soil,
        standing_water=cells_within(site, standing, note_radius),
        old_yard=cells_within(site, yards, 0.0),
        blocked=blocked,
        supported=(soil > 0) | cells_within(site, early, note_radius),
        coarse=site.model.coarse,
    )


def cells_within(site: Site, shapes: GeoDataFrame, margin: float) -> NDArray[np.bool_]:
    """Mark the cells whose centre lies within a distance of any of some shapes.

    Parameters
    ----------
    site : Site
        The site whose grid is marked.
    shapes : GeoDataFrame
        Points, lines or polygons on the grid's CRS.
    margin : float
        Distance; for points and lines at least three quarters of a cell. [m]

    Returns
    -------
    mask : (row, column) ndarray of bool
        True near a shape.
    """
    mask = np.zeros(site.grid.shape, dtype=bool)
    grid = site.grid
    for shape in shapes.geometry:
        if shape is None or shape.is_empty:
            continue
        wide = margin if shape.area > 0 else max(margin, 0.75 * grid.cell_size)
        near = shape.buffer(wide) if wide > 0 else shape
        west, south, east, north = near.bounds
        (top, bottom), (left, right) = grid.cells([west, east], [north, south])
        rows = slice(max(top, 0), max(bottom + 1, 0))
        columns = slice(max(left, 0), max(right + 1, 0))
        east_grid, north_grid = np.meshgrid(
            grid.eastings[columns], grid.northings[rows]
        )
        shapely.prepare(near)
        mask[rows, columns] |= shapely.contains_xy(near, east_grid, north_grid)
    return mask


def _soil(site: Site, radius: float) -> NDArray[np.uint8]:
    """Let each cell have the result of its nearest test, where one is near."""
    soil = np.zeros(site.grid.shape, dtype=np.uint8)
    tests = site.vectors["ground_tests"]
    tests = tests[tests["result"].isin(list(SOIL_WORDS))]
    if tests.empty:
        return soil
    points = tests.geometry.centroid
    tree = cKDTree(np.column_stack([points.x, points.y]))
    rows, columns = np.nonzero(site.field_mask)
    distance, nearest = tree.query(
        np.column_stack([site.grid.eastings[columns], site.grid.northings[rows]])
    )
    codes = np.array([SOIL_WORDS[r] for r in tests["result"]], dtype=np.uint8)
    near = distance <= radius
    soil[rows[near], columns[near]] = codes[nearest[near]]
    return soil


@dataclass(frozen=True)
class Verdict(FruitScore):
    """A score with what the soil allows.

    Parameters
    ----------
    cause : (row, column) ndarray of uint8
        What decides the class: the number of a factor, or a `Cause`.
    suits : (row, column) ndarray of float32
        The lowest membership, before the soil was asked.
    """

    cause: NDArray[np.uint8]
    suits: NDArray[np.float32]


def judge(
    score: FruitScore, ground: Ground, land_slope: NDArray[np.float32]
) -> Verdict:
    """Hold the class of ground to what its soil and the elevation allow.

    Parameters
    ----------
    score : FruitScore
        Score from the shape of the land.
    ground : Ground
        What is known of the ground.
    land_slope : (row, column) ndarray
        Slope over some cells. [degree]

    Returns
    -------
    verdict : Verdict
        The score, 0 where refused, with class and cause.
    """
    judged = score.site_class != NOT_JUDGED
    untested = ground.soil == Soil.NOT_TESTED
    site_class = score.site_class.copy()
    cause = score.deciding.copy()
    # From the mildest to the strictest: at an equal class the later one decides.
    rules = (
        (untested, CONDITIONS, Cause.NOT_TESTED),
        (ground.soil == Soil.SLOW, CONDITIONS, Cause.SLOW),
        (ground.coarse & ~ground.supported, TEST_FIRST, Cause.COARSE),
        (untested & (land_slope < LEVEL_SLOPE), TEST_FIRST, Cause.LEVEL),
        (untested & ground.old_yard, TEST_FIRST, Cause.OLD_YARD),
        (untested & ground.standing_water, TEST_FIRST, Cause.STANDING_WATER),
        (ground.soil == Soil.HOLDS_WATER, REFUSED, Cause.HOLDS_WATER),
        (ground.blocked, REFUSED, Cause.BLOCKED),
    )
    for where, limit, reason in rules:
        lowered = judged & where & (site_class > limit)
        site_class[lowered] = limit
        cause[lowered] = reason
    suits = (score.score / 100).astype(np.float32)
    refused = judged & (site_class == REFUSED)
    points = np.where(refused, np.float32(0), score.score)
    return Verdict(
        score.fruit,
        points,
        site_class,
        score.limiting,
        score.deciding,
        cause,
        suits,
    )
