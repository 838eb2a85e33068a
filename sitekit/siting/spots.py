"""Candidate planting spots: each fruit at its own spacing on a turned grid."""

from collections.abc import Mapping, Sequence
from typing import Annotated

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from sitekit.fruit import Fruit
from sitekit.settings import Setting
from sitekit.site import Site
from sitekit.siting.blocks import Block
from sitekit.siting.places import Places
from sitekit.suitability.ground import Verdict
from sitekit.words import SITE_CLASSES


def lay_out(
    shape: BaseGeometry, bearing: float, spacing: float, row_spacing: float
) -> NDArray[np.float64]:
    """Lay positions on a turned grid inside a shape.

    Parameters
    ----------
    shape : shapely geometry
        Ground to fill.
    bearing : float
        Direction of the rows, clockwise from grid north. [degree]
    spacing, row_spacing : float
        Between plants in the row and between rows. [m]

    Returns
    -------
    positions : (position, 2) ndarray
        Easting and northing, row by row.

    Examples
    --------
    >>> lay_out(shapely.box(0, 0, 10, 10), 0.0, 5.0, 5.0).tolist()
    [[2.5, 2.5], [2.5, 7.5], [7.5, 2.5], [7.5, 7.5]]
    """
    if shape.is_empty:
        return np.empty((0, 2))
    along = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    across = np.array([along[1], -along[0]])
    corners = shapely.get_coordinates(shape)
    reach = np.array([corners @ across, corners @ along])
    axes = [
        np.arange(low + step / 2, high, step)
        for low, high, step in zip(
            reach.min(axis=1), reach.max(axis=1), (row_spacing, spacing), strict=True
        )
    ]
    rows, plants = np.meshgrid(*axes, indexing="ij")
    positions = rows.reshape(-1, 1) * across + plants.reshape(-1, 1) * along
    shapely.prepare(shape)
    inside: NDArray[np.float64] = positions[
        shapely.contains_xy(shape, positions[:, 0], positions[:, 1])
    ]
    return inside


def long_side(shape: BaseGeometry) -> float:
    """Find the bearing of the longer side of the tightest rectangle around a shape.

    Parameters
    ----------
    shape : shapely geometry
        The shape.

    Returns
    -------
    bearing : float
        Clockwise from grid north, 0 to 180. [degree]
    """
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape))
    if len(corners) < 3:
        return 0.0
    sides = np.diff(corners[:3], axis=0)
    east, north = sides[np.hypot(sides[:, 0], sides[:, 1]).argmax()]
    return float(np.degrees(np.arctan2(east, north)) % 180)


def choose_spots(
    site: Site,
    blocks: Sequence[Block],
    verdicts: Mapping[str, Verdict],
    places: Places,
    closed: NDArray[np.bool_],
    *,
    edge_setback: Annotated[
        float, Setting("m", "Ground kept free along the field edge.", low=0)
    ] = 3.0,
) -> GeoDataFrame:
    """Choose candidate positions for each fruit, refused ground included.

    Parameters
    ----------
    site : Site
        The site.
    blocks : sequence of Block
        Blocks of the field.
    verdicts : mapping of str to Verdict
        Verdict for each fruit.
    places : Places
        Reads class, reason and values at points.
    closed : (row, column) ndarray of bool
        Ground that is never planted: water, barriers, no-go.
    edge_setback : float
        Distance from the field edge. [m]

    Returns
    -------
    spots : GeoDataFrame
        One row for each fruit and position.
    """
    part_ground = [p.buffer(-edge_setback) for p in site.field.geometry]
    bearings = [long_side(p) for p in site.field.geometry]
    block_of = block_numbers(site, blocks)
    tables = []
    for fruit, verdict in verdicts.items():
        positions = np.concatenate(
            [
                lay_out(
                    ground, bearing, verdict.fruit.spacing, verdict.fruit.row_spacing
                )
                for ground, bearing in zip(part_ground, bearings, strict=True)
            ]
        )
        positions = _keep(site, positions, block_of, closed, verdict.fruit)
        tables.append(_table(fruit, positions, block_of, places, site))
    return _joined(tables, site)


def block_numbers(site: Site, blocks: Sequence[Block]) -> NDArray[np.int32]:
    """Put the number of its block into each cell, 0 for none."""
    numbers = np.zeros(site.grid.shape, dtype=np.int32)
    for block in blocks:
        numbers[block.cells] = block.number
    return numbers


def _keep(
    site: Site,
    positions: NDArray[np.float64],
    block_of: NDArray[np.int32],
    closed: NDArray[np.bool_],
    fruit: Fruit,
) -> NDArray[np.float64]:
    """Keep positions in a block, on open ground, clear of trees that stand."""
    rows, columns = site.grid.cells(positions[:, 0], positions[:, 1])
    on_grid = site.grid.holds(rows, columns)
    positions, rows, columns = positions[on_grid], rows[on_grid], columns[on_grid]
    kept = (block_of[rows, columns] > 0) & ~closed[rows, columns]
    trees = site.vectors["existing_trees"].geometry.centroid
    if len(trees) and len(positions):
        tree = cKDTree(np.column_stack([trees.x, trees.y]))
        kept &= tree.query(positions)[0] >= fruit.spacing
    return positions[kept]


def _table(
    fruit: str,
    positions: NDArray[np.float64],
    block_of: NDArray[np.int32],
    places: Places,
    site: Site,
) -> dict[str, list[object]]:
    """Make the rows of one fruit, numbered within each block."""
    rows, columns = site.grid.cells(positions[:, 0], positions[:, 1])
    number = block_of[rows, columns]
    # Stable: within a block the order of the rows laid out is kept.
    order = np.argsort(number, kind="stable")
    positions, rows, columns, number = (
        positions[order],
        rows[order],
        columns[order],
        number[order],
    )
    count = np.arange(number.size) - np.searchsorted(number, number)
    found = places.at(fruit, rows, columns)
    chance = found.pop("class_chance")
    return {
        "spot": [
            f"{fruit}-{b:02d}-{n + 1:03d}" for b, n in zip(number, count, strict=True)
        ],
        "block": number.tolist(),
        "row": [None] * number.size,
        "fruit": [fruit] * number.size,
        **found,
        "easting_m": np.round(positions[:, 0], 2).tolist(),
        "northing_m": np.round(positions[:, 1], 2).tolist(),
        "elevation_m": np.round(site.elevation[rows, columns], 1).tolist(),
        "class_chance": chance,
    }


def _joined(tables: Sequence[dict[str, list[object]]], site: Site) -> GeoDataFrame:
    columns: dict[str, list[object]] = {
        name: [value for table in tables for value in table[name]] for name in tables[0]
    }
    points = shapely.points(
        np.asarray(columns["easting_m"], dtype=float),
        np.asarray(columns["northing_m"], dtype=float),
    )
    frame = GeoDataFrame(columns, geometry=points, crs=site.grid.crs)
    return frame.astype({"row": "Int32", "score": float, "class_chance": float})


def count_by_class(spots: GeoDataFrame, fruit: str, block: int) -> dict[str, int]:
    """Count the spots of a fruit in a block by class, best class first."""
    here = spots[(spots["fruit"] == fruit) & (spots["block"] == block)]
    counts = here["site_class"].value_counts()
    return {c: int(counts[c]) for c in reversed(SITE_CLASSES) if c in counts}
