"""Marks of a block's own, where the two marks of the site lie too far for a tape."""

from typing import Annotated

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit.planting.baseline import best_pair, sample_heights
from sitekit.results import Baseline
from sitekit.settings import Setting
from sitekit.site import Site

#: How far outside a block its marks may stand. [m]
OUTSIDE = (5.0, 10.0, 20.0)
#: Marks nearer to each other than this give no baseline. [m]
LEAST = 10.0
TAPES = ("id", "block", "mark_1", "mark_2", "from_1_m", "from_2_m", "side")


def make_block_marks(
    site: Site,
    baseline: Baseline,
    plants: GeoDataFrame,
    setbacks: GeoDataFrame,
    *,
    longest_tape: Annotated[
        float,
        Setting(
            "m",
            "Blocks with a longer tape from the marks of the site get two marks of "
            "their own; common practice, no source.",
            low=20,
        ),
    ] = 100.0,
) -> GeoDataFrame:
    """Place two marks beside each block that the tapes do not reach.

    Of places 5, 10 and 20 m outside the rectangle around a block, at its corners and
    the middles of its sides, that pair is taken from which the most plants are reached
    by tapes that cross at 30 to 150 degrees.

    Parameters
    ----------
    site : Site
        Ground and water.
    baseline : Baseline
        The marks of the site.
    plants : GeoDataFrame
        Plants with their ``block``.
    setbacks : GeoDataFrame
        Ground that nothing is driven into, see `sitekit.planting.lanes.find_setbacks`;
        a mark may stand on the field's edge.
    longest_tape : float
        See the setting.

    Returns
    -------
    marks : GeoDataFrame
        Points: ``id`` (block and M1 or M2), ``block``; empty where every plant is
        within reach.
    """
    kept = shapely.union_all(list(setbacks.geometry[setbacks["kind"] != "field edge"]))
    found = []
    for block, part in plants.groupby("block", sort=False):
        places = shapely.get_coordinates(part.geometry.to_numpy())
        away = np.hypot(*(places[:, None] - np.array(baseline.points)).T)
        if away.max() <= longest_tape:
            continue
        pair = best_pair(_around(site, places, kept), places, LEAST)
        for number, mark in enumerate(pair or (), start=1):
            found.append((f"{block}-M{number}", str(block), shapely.Point(mark[1:])))
    table = pd.DataFrame(found, columns=["id", "block", "geometry"])
    return GeoDataFrame(table, geometry="geometry", crs=plants.crs)


def tape_blocks(plants: GeoDataFrame, marks: GeoDataFrame) -> pd.DataFrame:
    """Tell how far each plant lies from the two marks of its block.

    Parameters
    ----------
    plants : GeoDataFrame
        Plants.
    marks : GeoDataFrame
        By `make_block_marks`.

    Returns
    -------
    tapes : DataFrame
        ``id``, ``block``, ``mark_1``, ``mark_2``, ``from_1_m``, ``from_2_m``,
        ``side`` (left or right, looking from the first to the second mark, or on
        the line); plants of blocks with marks of their own.
    """
    found: list[tuple[object, ...]] = []
    for block, pair in marks.groupby("block", sort=False):
        part = plants[plants["block"].astype(str) == block]
        ends, places = (_printed(frame) for frame in (pair, part))
        tapes = np.round(np.linalg.norm(places[:, None] - ends, axis=2), 2)
        sides = _sides(places, ends)
        one, other = pair["id"]
        names = part["id"].astype(str).to_list()
        found += [
            (name, block, one, other, *taped, side)
            for name, taped, side in zip(names, tapes, sides, strict=True)
        ]
    return pd.DataFrame(found, columns=list(TAPES))


def _printed(frame: GeoDataFrame) -> NDArray[np.float64]:
    """Positions to the centimetre, as a list from surveyed marks prints them."""
    return np.round(shapely.get_coordinates(frame.geometry.to_numpy()), 2)


def _around(
    site: Site, places: NDArray[np.float64], kept: BaseGeometry
) -> list[tuple[str, float, float]]:
    """List places around a block where a mark can stand."""
    around = shapely.MultiPoint(places)
    found = []
    for distance in OUTSIDE:
        frame = shapely.minimum_rotated_rectangle(around.buffer(distance))
        corners = shapely.get_coordinates(frame)
        found += [corners[:-1], (corners[:-1] + corners[1:]) / 2]
    spots = np.vstack(found)
    stands = np.isfinite(sample_heights(site, spots))
    stands &= ~shapely.intersects_xy(kept, *spots.T)
    return [("beside the block", float(x), float(y)) for x, y in spots[stands]]


def _sides(places: NDArray[np.float64], ends: NDArray[np.float64]) -> list[str]:
    way = ends[1] - ends[0]
    off = way[0] * (places - ends[0])[:, 1] - way[1] * (places - ends[0])[:, 0]
    off = off / np.hypot(*way)
    return [
        "line" if abs(far) < 0.01 else "left" if far > 0 else "right" for far in off
    ]
