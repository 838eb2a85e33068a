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
from sitekit.siting.shapes import cut_grid, polygons_of

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
    inside = np.zeros(held.shape, dtype=bool)
    inside[pools.cells] = True
    median = np.nanmedian(offset[site.field_mask & land])
    colder = (offset < median - pocket_cold) & land & ~inside
    opened = ndimage.binary_opening(colder, structure=EIGHT)
    cold = _patches(opened, -offset, smallest, -np.inf, site)
    # Cold ground may have puddles, too shallow or too small for a pocket.
    layers = (depression_depth, offset, path_margin)
    tables = [
        _describe(site, pools, pooling_depth, layers),
        _describe(site, cold, np.zeros_like(pooling_depth), layers),
    ]
    frame = GeoDataFrame(pd.concat(tables, ignore_index=True), crs=site.grid.crs)
    frame.insert(0, "pocket", np.arange(1, len(frame) + 1, dtype="int32"))
    return frame


class _Patches(NamedTuple):
    """Patches of connected cells in order.

    Parameters
    ----------
    cells : (rows, columns)
        The cells of all patches.
    patch : (cell,) ndarray of int
        The patch, from 0, that each belongs to.
    shapes : list of shapely geometry
        Outline of each patch.
    """

    cells: tuple[NDArray[np.intp], ...]
    patch: NDArray[np.intp]
    shapes: list[BaseGeometry]

    def highest(self, values: NDArray[np.float32]) -> NDArray[np.float64]:
        """Highest value in each patch, missing ones left out."""
        found = np.full(len(self.shapes), -np.inf)
        np.fmax.at(found, self.patch, values[self.cells].astype(float))
        return found

    def mean(self, values: NDArray[np.float32]) -> NDArray[np.float64]:
        """Mean value in each patch."""
        count = len(self.shapes)
        total = np.bincount(self.patch, values[self.cells], minlength=count)
        means: NDArray[np.float64] = total / np.bincount(self.patch, minlength=count)
        return means


def _patches(
    mask: NDArray[np.bool_],
    weight: NDArray[np.float32],
    smallest: float,
    limit: float,
    site: Site,
) -> _Patches:
    """Find connected ground that is large and deep enough, the weightiest first."""
    labels, count = ndimage.label(mask, structure=EIGHT)
    cells = np.nonzero(mask)
    number, weights = labels[cells], weight[cells].astype(float)
    deepest = np.full(count + 1, -np.inf)
    np.fmax.at(deepest, number, weights)
    area = np.bincount(number, minlength=count + 1) * site.grid.cell_area
    volume = np.bincount(number, weights, minlength=count + 1)
    # Number 0 is the ground between the patches; it has no area.
    kept = np.flatnonzero((deepest >= limit) & (area >= smallest) & (area > 0))
    kept = kept[np.argsort(-volume[kept], kind="stable")]
    place = np.full(count + 1, -1)
    place[kept] = np.arange(kept.size)
    patch = place[number]
    wanted = patch >= 0
    cells = cells[0][wanted], cells[1][wanted]
    shapes = _outlines(cells, patch[wanted], site)
    return _Patches(cells, patch[wanted], shapes)


def _outlines(
    cells: tuple[NDArray[np.intp], ...], patch: NDArray[np.intp], site: Site
) -> list[BaseGeometry]:
    """Draw round the patches, within the window that holds them."""
    if patch.size == 0:
        return []
    rows, columns = (slice(int(c.min()), int(c.max()) + 1) for c in cells)
    window = cut_grid(site.grid, rows, columns)
    numbers = np.zeros(window.shape, dtype=np.int32)
    numbers[cells[0] - rows.start, cells[1] - columns.start] = patch + 1
    shapes = polygons_of(numbers, window)
    return [shapes[n + 1] for n in range(int(patch.max()) + 1)]


def _describe(
    site: Site,
    patches: _Patches,
    pooling: NDArray[np.float32],
    layers: tuple[NDArray[np.float32], ...],
) -> GeoDataFrame:
    """Measure each patch and say what holds its air or makes it cold."""
    natural, offset, margin = layers
    geometry = patches.shapes
    depth = patches.highest(pooling)
    level = patches.highest(site.elevation + pooling)
    holding = zip(
        geometry,
        depth,
        patches.highest(natural),
        -patches.highest(-margin),
        strict=True,
    )
    return GeoDataFrame(
        {
            "depth_m": np.where(depth > SHALLOWEST, depth, 0.0),
            "area_m2": np.array([g.area for g in geometry], dtype=float),
            "spill_elevation_m": np.where(depth > SHALLOWEST, level, np.nan),
            "offset_degc": np.round(patches.mean(offset), 2),
            "cause": np.array([_cause(site, *h) for h in holding], dtype=object),
        },
        geometry=geometry,
        crs=site.grid.crs,
    )


def _smallest_area(site: Site) -> float:
    """Area in m² of the smallest hollow that the elevation can show."""
    return float((CELLS_WIDE * site.model.shown_cell) ** 2 * 0.5)


def _cause(
    site: Site, shape: BaseGeometry, depth: float, natural: float, margin: float
) -> str:
    """Say in words what holds the air, or why ground is cold that holds none."""
    if depth <= SHALLOWEST and margin < 1:
        return "outlet of a cold-air path"
    if depth > SHALLOWEST and depth - natural < BY_BARRIER:
        return "hollow in the ground"
    barrier = _nearest_barrier(site, shape)
    behind = f"behind a barrier: {barrier}" if barrier else "behind a barrier"
    if depth <= SHALLOWEST:
        return behind if barrier else "low ground"
    return behind if natural < SHALLOWEST else f"hollow, deepened {behind}"


def _nearest_barrier(site: Site, shape: BaseGeometry) -> str:
    """Name the barrier that borders a pocket."""
    barriers = site.vectors["barriers"]
    if barriers.empty:
        return ""
    reach = 2 * site.grid.cell_size
    if not barriers.dwithin(shape.boundary, reach).any():
        return ""
    # The one that most of the pocket's rim follows holds it, not one that it touches.
    near = shape.boundary.buffer(reach)
    along = barriers.intersection(near).length.to_numpy()
    if along.max() <= 0:
        return ""
    found = barriers.iloc[int(along.argmax())]
    name = f" {found['name']}" if found["name"] else ""
    return f"{found['kind']}{name}, {words.with_unit(found['height_m'], 'm', 1)}"
