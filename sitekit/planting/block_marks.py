"""Marks beside each block, from which its plants are taped by short tapes."""

from collections.abc import Iterator
from typing import Annotated, NamedTuple

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from sitekit.planting.baseline import crossing_angles
from sitekit.planting.services import find_stand_off
from sitekit.results import Baseline
from sitekit.settings import Setting
from sitekit.site import Site

#: How far from its place a block mark may be pegged; common practice, no source. [m]
TOLERANCE = 0.05
#: Ways off the block at which marks are tried. [m]
OFFSETS = (1.5, 3.0, 5.0, 8.0)
#: Stretches into which a side is cut at most.
STRETCHES = 8
#: Nearest that a mark may stand to a plant. [m]
CLEAR = 0.5
#: Ground on which no mark is pegged.
CLOSED = ("no_go", "water", "buildings")
COLUMNS = [
    "block",
    "id",
    "mark_1",
    "mark_2",
    "from_mark_1_m",
    "from_mark_2_m",
    "angle_deg",
]


class _Line(NamedTuple):
    """Marks in a line beside a block, and the two by which each plant is taped."""

    marks: NDArray[np.float64]
    first: NDArray[np.int64]
    lengths: NDArray[np.float64]
    angles: NDArray[np.float64]


def place_block_marks(
    site: Site,
    plants: GeoDataFrame,
    baseline: Baseline,
    *,
    longest_tape: Annotated[
        float,
        Setting("m", "Longest tape from a block's marks to its plants.", low=10),
    ] = 60.0,
) -> GeoDataFrame:
    """Place two marks or more beside each block, nothing between them and its plants.

    Lines along the four sides of the block are tried at several distances, cut into
    stretches. That one is taken whose marks stand on open ground, then with the
    fewest plants beyond the longest tape, the fewest tapes that cross at under 30 or
    over 150 degrees, the fewest marks, the shorter tapes, the nearer to A.

    Parameters
    ----------
    site : Site
        Field, water, buildings, services and ground that is left alone.
    plants : GeoDataFrame
        As in `sitekit.results.PlantingPlan`.
    baseline : Baseline
        A and B, from which the marks are pegged.
    longest_tape : float
        Common practice, no source. [m]

    Returns
    -------
    marks : GeoDataFrame
        Points, to 0.01 m: ``id`` (``B1-M1`` is the first mark of block 1), ``block``.
        Looking from a mark to the next, the plants lie on the left.
    """
    open_ground = _open_ground(site)
    every = shapely.MultiPoint(shapely.get_coordinates(plants.geometry.to_numpy()))
    ids, blocks, places = [], [], []
    for block, part in plants.groupby("block", sort=False):
        at = shapely.get_coordinates(part.geometry.to_numpy())
        lines = [_tape(marks, at) for marks in _lines(at)]
        shut = [_count_shut(line.marks, open_ground, every) for line in lines]
        worth = [
            (bad, *_worth(line, longest_tape, baseline))
            for bad, line in zip(shut, lines, strict=True)
        ]
        best = lines[worth.index(min(worth))].marks
        ids += [f"B{block}-M{number}" for number in range(1, len(best) + 1)]
        blocks += [str(block)] * len(best)
        places.append(best)
    points = shapely.points(np.vstack([np.empty((0, 2)), *places]))
    frame = {"id": np.array(ids, dtype=object), "block": np.array(blocks, dtype=object)}
    return GeoDataFrame(frame, geometry=points, crs=site.grid.crs)


def tape_blocks(
    plants: GeoDataFrame, marks: GeoDataFrame, baseline: Baseline
) -> pd.DataFrame:
    """List the tapes of each plant from two marks of its own block.

    Parameters
    ----------
    plants : GeoDataFrame
        As in `sitekit.results.PlantingPlan`.
    marks : GeoDataFrame
        By `place_block_marks`.
    baseline : Baseline
        Between control marks, lengths are those between positions as printed.

    Returns
    -------
    tapes : DataFrame
        ``block``, ``id`` of the plant, ``mark_1``, ``mark_2``, ``from_mark_1_m``,
        ``from_mark_2_m``, ``angle_deg`` at the plant.
    """
    found = []
    pegs_of = dict(iter(marks.groupby("block")))
    for block, part in plants.groupby("block", sort=False):
        at = shapely.get_coordinates(part.geometry.to_numpy())
        pegs = pegs_of[str(block)]
        names = pegs["id"].to_numpy()
        places = shapely.get_coordinates(pegs.geometry.to_numpy())
        line = _tape(places, np.round(at, 2) if baseline.surveyed else at)
        near, far = np.round(line.lengths, 2).T
        one, other = names[line.first], names[line.first + 1]
        ids = part["id"].to_numpy()
        columns = (str(block), ids, one, other, near, far, line.angles.round(1))
        found.append(pd.DataFrame(dict(zip(COLUMNS, columns, strict=True))))
    return (
        pd.concat(found, ignore_index=True) if found else pd.DataFrame([], [], COLUMNS)
    )


def list_mark_checks(marks: GeoDataFrame) -> pd.DataFrame:
    """List the lengths from each block mark to the next, taped before any plant.

    Parameters
    ----------
    marks : GeoDataFrame
        By `place_block_marks`.

    Returns
    -------
    checks : DataFrame
        ``block``, ``from_id``, ``to_id``, ``length_m``, ``tolerance_m``.
    """
    found = []
    for block, part in marks.groupby("block", sort=False):
        places = shapely.get_coordinates(part.geometry.to_numpy())
        lengths = np.hypot(*np.diff(places, axis=0).T).round(2)
        ids = part["id"].to_list()
        found += [
            (block, one, other, length, 2 * TOLERANCE)
            for one, other, length in zip(ids, ids[1:], lengths, strict=False)
        ]
    columns = ["block", "from_id", "to_id", "length_m", "tolerance_m"]
    return pd.DataFrame(found, columns=columns)


def _lines(plants: NDArray[np.float64]) -> Iterator[NDArray[np.float64]]:
    """Lines of marks beside a block, each with the block on its left."""
    about = shapely.MultiPoint(plants).buffer(CLEAR)
    box = shapely.orient_polygons(shapely.minimum_rotated_rectangle(about))
    corners = shapely.get_coordinates(box)
    sides = np.diff(corners, axis=0)
    for side, (start, way) in enumerate(zip(corners, sides, strict=False)):
        length, depth = np.hypot(*way), np.hypot(*sides[(side + 1) % 4])
        along = way / length
        out = np.array([along[1], -along[0]])
        for offset in OFFSETS:
            # A shorter line would have its tapes cross at under 30 degrees.
            held = max(length, 4.0, 0.6 * (depth + offset))
            first = start + out * offset - along * (held - length) / 2
            for stretches in range(1, STRETCHES + 1):
                steps = np.linspace(0.0, held, stretches + 1)
                yield np.round(first + steps[:, None] * along, 2)


def _tape(marks: NDArray[np.float64], plants: NDArray[np.float64]) -> _Line:
    """Tape each plant from the two neighbouring marks with the shorter tapes."""
    lengths = np.hypot(*(plants[:, None] - marks).T).T
    first = np.maximum(lengths[:, :-1], lengths[:, 1:]).argmin(axis=1)
    rows = np.arange(len(plants))
    pairs = np.column_stack([lengths[rows, first], lengths[rows, first + 1]])
    angles = np.zeros(len(plants))
    for number in np.unique(first):
        held = first == number
        angles[held] = crossing_angles(plants[held], marks[number : number + 2])
    return _Line(marks, first, pairs, angles)


def _worth(
    line: _Line, longest: float, baseline: Baseline
) -> tuple[int, int, int, float, float]:
    """Tell how well a line serves: the least is the best."""
    over = int((line.lengths.max(axis=1) > longest).sum())
    flat = int(((line.angles < 30) | (line.angles > 150)).sum())
    away = float(np.hypot(*(line.marks[0] - np.array(baseline.points[0]))))
    return over, flat, len(line.marks), round(float(line.lengths.max())), round(away, 2)


def _count_shut(
    marks: NDArray[np.float64],
    open_ground: shapely.Geometry,
    plants: shapely.MultiPoint,
) -> int:
    points = shapely.points(marks)
    clear = shapely.distance(plants, points) >= CLEAR
    return int((~(shapely.intersects(open_ground, points) & clear)).sum())


def _open_ground(site: Site) -> shapely.Geometry:
    """Ground of the field that a peg can be driven into."""
    closed = [shape for name in CLOSED for shape in site.vectors[name].geometry]
    services = site.vectors["services"]
    closed += [
        line.buffer(find_stand_off(str(told)))
        for told, line in zip(services["certainty"], services.geometry, strict=True)
    ]
    ground: shapely.Geometry = shapely.difference(
        site.field.geometry.union_all(), shapely.union_all(closed)
    )
    shapely.prepare(ground)
    return ground
