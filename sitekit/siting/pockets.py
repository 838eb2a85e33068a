"""Frost pockets: ground where cold air is held, with depth, spill level and cause."""

from typing import Annotated, NamedTuple

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from sitekit import words
from sitekit.settings import Setting
from sitekit.site import Site
from sitekit.siting.shapes import cut_grid, polygons_of, window_of

#: Held air below this depth is not part of a pocket. [m]
SHALLOWEST = 0.05
#: Cells that a hollow must be wide to be told from noise.
CELLS_WIDE = 3
#: Difference of depth from which a barrier, not the land, holds the air. [m]
BY_BARRIER = 0.2
EIGHT = np.ones((3, 3), dtype=int)


def find_frost_pockets(
    site: Site,
    pooling_depth: NDArray[np.float32],
    depression_depth: NDArray[np.float32],
    offset: NDArray[np.float32],
    path_margin: NDArray[np.float32],
    *,
    pocket_depth: Annotated[
        float, Setting("m", "Depth that a frost pocket must reach somewhere.", low=0.05)
    ] = 0.3,
    pocket_cold: Annotated[
        float,
        Setting(
            "degC", "Ground this far below the field's median is a pocket.", low=0.1
        ),
    ] = 1.0,
    pocket_area: Annotated[
        float, Setting("m²", "Smallest frost pocket.", low=0)
    ] = 50.0,
) -> GeoDataFrame:
    """Find frost pockets: held air, and other ground that is cold.

    Parameters
    ----------
    site : Site
        The site.
    pooling_depth : (row, column) ndarray
        Depth of held air with barriers. [m]
    depression_depth : (row, column) ndarray
        Depth of held air on bare ground. [m]
    offset : (row, column) ndarray
        Night offset. [degC]
    path_margin : (row, column) ndarray
        Distance from the nearest cold-air path in reaches of it.
    pocket_depth, pocket_cold, pocket_area : float
        What counts as a pocket; never less than this elevation can show.

    Returns
    -------
    pockets : GeoDataFrame
        Polygons with ``pocket``, ``depth_m``, ``area_m2``,
        ``spill_elevation_m`` (NaN where no air is held), ``offset_degc`` (mean)
        and ``cause``; pools first, the one that holds most at the head.
    """
    land = ~site.water_mask
    held = (pooling_depth > SHALLOWEST) & land
    smallest = max(pocket_area, _smallest_area(site))
    limit = max(pocket_depth, 2 * site.model.noise, site.model.step)
    pools = _patches(held, pooling_depth, smallest, limit, site)
    inside = np.isin(pools.labels, pools.kept)
    median = np.nanmedian(offset[site.field_mask & land])
    colder = (offset < median - pocket_cold) & land & ~inside
    opened = ndimage.binary_opening(colder, structure=EIGHT)
    cold = _patches(opened, -offset, smallest, -np.inf, site)
    tables = [
        _describe(site, patches, (pooling_depth, depression_depth, offset, path_margin))
        for patches in (pools, cold)
    ]
    frame = GeoDataFrame(pd.concat(tables, ignore_index=True), crs=site.grid.crs)
    frame.insert(0, "pocket", np.arange(1, len(frame) + 1, dtype="int32"))
    return frame


class _Patches(NamedTuple):
    """Connected cells, the numbers of those that are kept, and their outlines."""

    labels: NDArray[np.int32]
    kept: NDArray[np.int_]
    shapes: dict[int, BaseGeometry]


def _patches(
    mask: NDArray[np.bool_],
    weight: NDArray[np.float32],
    smallest: float,
    limit: float,
    site: Site,
) -> _Patches:
    """Find connected ground that is large and deep enough, the weightiest first."""
    labels, count = ndimage.label(mask, structure=EIGHT)
    numbers = np.arange(1, count + 1)
    if count == 0:
        return _Patches(labels, numbers, {})
    deepest = ndimage.maximum(weight, labels, numbers)
    area = ndimage.sum_labels(mask, labels, numbers) * site.grid.cell_area
    kept = numbers[(deepest >= limit) & (area >= smallest)]
    if kept.size == 0:
        return _Patches(labels, kept, {})
    volume = ndimage.sum_labels(weight, labels, kept)
    wanted = np.isin(labels, kept)
    rows, columns = window_of(wanted)
    shapes = polygons_of(
        np.where(wanted, labels, 0)[rows, columns], cut_grid(site.grid, rows, columns)
    )
    return _Patches(labels, kept[np.argsort(-volume, kind="stable")], shapes)


def _describe(
    site: Site, patches: _Patches, layers: tuple[NDArray[np.float32], ...]
) -> GeoDataFrame:
    """Measure each patch and say what holds its air or makes it cold."""
    pooling, natural, offset, margin = layers
    labels, kept = patches.labels, patches.kept
    geometry = [patches.shapes[int(n)] for n in kept]
    depth = np.array(ndimage.maximum(pooling, labels, kept), dtype=float)
    level = np.array(
        ndimage.maximum(site.elevation + pooling, labels, kept), dtype=float
    )
    bare = np.array(ndimage.maximum(natural, labels, kept), dtype=float)
    near = np.array(ndimage.minimum(margin, labels, kept), dtype=float)
    return GeoDataFrame(
        {
            "depth_m": np.where(depth > SHALLOWEST, depth, 0.0),
            "area_m2": np.array([g.area for g in geometry], dtype=float),
            "spill_elevation_m": np.where(depth > SHALLOWEST, level, np.nan),
            "offset_degc": np.round(
                np.array(ndimage.mean(offset, labels, kept), dtype=float), 2
            ),
            "cause": np.array(
                [
                    _cause(site, *values)
                    for values in zip(geometry, depth, bare, near, strict=True)
                ],
                dtype=object,
            ),
        },
        geometry=geometry,
        crs=site.grid.crs,
    )


def _smallest_area(site: Site) -> float:
    """Area in m² of the smallest hollow that the elevation can show."""
    return float((CELLS_WIDE * site.model.source_cell) ** 2 * 0.5)


def _cause(
    site: Site, shape: BaseGeometry, depth: float, natural: float, margin: float
) -> str:
    """Say in words what holds the air, or why ground is cold that holds none."""
    barrier = _nearest_barrier(site, shape)
    behind = f"behind a barrier: {barrier}" if barrier else "behind a barrier"
    if depth <= SHALLOWEST:
        if margin < 1:
            return "outlet of a cold-air path"
        return behind if barrier else "low ground"
    if depth - natural < BY_BARRIER:
        return "hollow in the ground"
    return behind if natural < SHALLOWEST else f"hollow, deepened {behind}"


def _nearest_barrier(site: Site, shape: BaseGeometry) -> str:
    """Name the barrier that borders a pocket."""
    barriers = site.vectors["barriers"]
    if barriers.empty:
        return ""
    # The one that most of the pocket's rim follows holds it, not one that it touches.
    near = shape.boundary.buffer(2 * site.grid.cell_size)
    along = barriers.intersection(near).length.to_numpy()
    if along.max() <= 0:
        return ""
    found = barriers.iloc[int(along.argmax())]
    name = f" {found['name']}" if found["name"] else ""
    return f"{found['kind']}{name}, {words.with_unit(found['height_m'], 'm', 1)}"
