"""Frost pockets: ground where cold air is held, with depth, spill level and cause."""

from typing import Annotated

import numpy as np
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
COLUMNS = {
    "pocket": "int32",
    "depth_m": "float64",
    "area_m2": "float64",
    "spill_elevation_m": "float64",
    "offset_degc": "float64",
    "cause": "object",
}
EIGHT = np.ones((3, 3), dtype=int)


def find_frost_pockets(
    site: Site,
    pooling_depth: NDArray[np.float32],
    depression_depth: NDArray[np.float32],
    *,
    pocket_depth: Annotated[
        float, Setting("m", "Depth that a frost pocket must reach somewhere.", low=0.05)
    ] = 0.3,
    pocket_area: Annotated[
        float, Setting("m²", "Smallest frost pocket.", low=0)
    ] = 50.0,
) -> GeoDataFrame:
    """Find frost pockets.

    Parameters
    ----------
    site : Site
        The site.
    pooling_depth : (row, column) ndarray
        Depth of held air with barriers. [m]
    depression_depth : (row, column) ndarray
        Depth of held air on bare ground. [m]
    pocket_depth, pocket_area : float
        What counts as a pocket; never less than this elevation can show.

    Returns
    -------
    pockets : GeoDataFrame
        Polygons with ``pocket``, ``depth_m``, ``area_m2``,
        ``spill_elevation_m``, ``offset_degc`` (empty until there is moving
        air) and ``cause``; the deepest hold first by volume.
    """
    held = (pooling_depth > SHALLOWEST) & ~site.water_mask
    labels, count = ndimage.label(held, structure=EIGHT)
    if count == 0:
        return _empty(site)
    numbers = np.arange(1, count + 1)
    deepest = ndimage.maximum(pooling_depth, labels, numbers)
    cells = ndimage.sum_labels(held, labels, numbers)
    area = cells * site.grid.cell_area
    limit = max(pocket_depth, 2 * site.model.noise, site.model.step)
    smallest = max(pocket_area, _smallest_area(site))
    kept = numbers[(deepest >= limit) & (area >= smallest)]
    if kept.size == 0:
        return _empty(site)
    volume = ndimage.sum_labels(pooling_depth, labels, kept)
    kept = kept[np.argsort(-volume, kind="stable")]
    level = ndimage.maximum(site.elevation + pooling_depth, labels, kept)
    wanted = np.isin(labels, kept)
    rows, columns = window_of(wanted)
    shapes = polygons_of(
        np.where(wanted, labels, 0)[rows, columns], cut_grid(site.grid, rows, columns)
    )
    natural = ndimage.maximum(depression_depth, labels, kept)
    geometry = [shapes[int(n)] for n in kept]
    depth = deepest[kept - 1]
    return GeoDataFrame(
        {
            "pocket": np.arange(1, kept.size + 1, dtype="int32"),
            "depth_m": depth.astype(float),
            "area_m2": area[kept - 1].astype(float),
            "spill_elevation_m": np.asarray(level, dtype=float),
            "offset_degc": np.full(kept.size, np.nan),
            "cause": [
                _cause(site, shape, float(d), float(n))
                for shape, d, n in zip(geometry, depth, natural, strict=True)
            ],
        },
        geometry=geometry,
        crs=site.grid.crs,
    )


def _smallest_area(site: Site) -> float:
    """Area in m² of the smallest hollow that the elevation can show."""
    return float((CELLS_WIDE * site.model.source_cell) ** 2 * 0.5)


def _cause(site: Site, shape: BaseGeometry, depth: float, natural: float) -> str:
    """Say in words what holds the air."""
    if depth - natural < BY_BARRIER:
        return "hollow in the ground"
    barrier = _nearest_barrier(site, shape)
    behind = f"behind a barrier: {barrier}" if barrier else "behind a barrier"
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


def _empty(site: Site) -> GeoDataFrame:
    return GeoDataFrame(
        {name: np.array([], dtype=kind) for name, kind in COLUMNS.items()},
        geometry=[],
        crs=site.grid.crs,
    )
