"""Making a change on a site: the site as it would be."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from shapely.geometry.base import BaseGeometry

from sitekit import words
from sitekit.errors import InputError
from sitekit.io.barriers import settle_barriers
from sitekit.site import Site
from sitekit.suitability.ground import cells_within

#: A change reaches the barrier that it is drawn on from this far. [m]
REACH = 10.0
Row = Mapping[str, Any]


def change_site(site: Site, proposal: Row) -> Site:
    """Make one change.

    Parameters
    ----------
    site : Site
        The site as it is.
    proposal : mapping
        Row of the proposals: ``name``, ``action``, ``geometry`` and numbers.

    Returns
    -------
    changed : Site
        The site as it would be.

    Raises
    ------
    InputError
        Where a change of a barrier touches none.
    """
    return ACTIONS[proposal["action"]](site, proposal)


def find_barrier(site: Site, proposal: Row) -> int:
    """Find the barrier that a change is drawn on.

    Parameters
    ----------
    site : Site
        The site.
    proposal : mapping
        Row of the proposals.

    Returns
    -------
    position : int
        Its row among the barriers, each of a single shape.

    Raises
    ------
    InputError
        Where none lies within 10 m or two cells.
    """
    barriers = site.vectors["barriers"]
    reach = max(REACH, 2 * site.grid.cell_size)
    away = barriers.distance(proposal["geometry"]).to_numpy()
    if away.size == 0 or away.min() > reach:
        nearest = "none is given"
        if away.size:
            nearest = f"the nearest is {away.min():.0f} m away"
        message = (
            f'Proposal "{proposal["name"]}": {proposal["action"]} touches no barrier; '
            f"{nearest}. Draw it on the barrier that it changes."
        )
        raise InputError(message)
    return int(away.argmin())


def gap_along(
    line: BaseGeometry, shape: BaseGeometry, width: float
) -> tuple[float, float]:
    """Find the stretch of a line that a gap opens.

    Parameters
    ----------
    line : shapely line
        The barrier.
    shape : shapely geometry
        Where the gap is drawn; its middle counts.
    width : float
        Width of the gap. [m]

    Returns
    -------
    start, stop : float
        From and to along the line; a gap at an end keeps its width. [m]
    """
    middle = line.project(shape.centroid)
    length = float(line.length)
    start = min(max(middle - width / 2, 0.0), max(length - width, 0.0))
    return start, min(start + width, length)


def _with_barriers(site: Site, barriers: GeoDataFrame) -> Site:
    return replace(site, vectors={**site.vectors, "barriers": barriers})


def _gap(site: Site, proposal: Row) -> Site:
    position = find_barrier(site, proposal)
    barriers = site.vectors["barriers"].copy()
    shape = barriers.geometry.iloc[position]
    line = shape if shape.geom_type == "LineString" else shape.exterior
    gaps = list(barriers.get("gaps", pd.Series([None] * len(barriers), dtype=object)))
    opened = gap_along(line, proposal["geometry"], float(proposal["width_m"]))
    gaps[position] = [*(gaps[position] or []), opened]
    barriers["gaps"] = pd.Series(gaps, index=barriers.index, dtype=object)
    return _with_barriers(site, barriers)


def _lift(site: Site, proposal: Row) -> Site:
    position = find_barrier(site, proposal)
    barriers = site.vectors["barriers"].copy()
    if "foot_m" not in barriers:
        barriers["foot_m"] = 0.0
    column = barriers.columns.get_loc("foot_m")
    barriers.iloc[position, column] = float(proposal["height_m"])
    return _with_barriers(site, barriers)


def _remove(site: Site, proposal: Row) -> Site:
    position = find_barrier(site, proposal)
    barriers = site.vectors["barriers"]
    gone = barriers.iloc[position]
    left = _with_barriers(site, barriers.drop(index=barriers.index[position]))
    return _fell(left, gone.geometry) if gone["kind"] == "wood" else left


def _fell(site: Site, shape: BaseGeometry) -> Site:
    """Fell the woodland that a barrier of wood stood for: its drag goes with it."""
    woodland = site.vectors["woodland"]
    felled = woodland[woodland.intersects(shape)]
    if felled.empty:
        return site
    bare = cells_within(site, felled, 0.0)
    return replace(
        site,
        canopy_height=np.where(bare, np.float32(0), site.canopy_height),
        evergreen=site.evergreen & ~bare,
        vectors={**site.vectors, "woodland": woodland.drop(index=felled.index)},
    )


def _add(site: Site, proposal: Row) -> Site:
    row = {n: proposal[n] for n in ("name", "kind", "height_m", "openness", "geometry")}
    new = GeoDataFrame([row], geometry="geometry", crs=site.grid.crs)
    settled, _ = settle_barriers(new, site.vectors["water"], str(proposal["name"]))
    barriers = site.vectors["barriers"]
    joined = (
        pd.concat([barriers, settled], ignore_index=True) if len(barriers) else settled
    )
    return _with_barriers(site, GeoDataFrame(joined, crs=site.grid.crs))


def _cut(site: Site, proposal: Row) -> Site:
    level = np.float32(proposal["elevation_m"])
    where = _cells(site, proposal)
    return _with_ground(site, lambda z: np.where(where, np.minimum(z, level), z))


def _bank(site: Site, proposal: Row) -> Site:
    height = np.float32(proposal["height_m"])
    where = _cells(site, proposal)
    return _with_ground(site, lambda z: np.where(where, z + height, z))


def _cells(site: Site, proposal: Row) -> Any:  # noqa: ANN401 - a mask, by cells_within
    """Mark the cells of earthworks; a line is as wide as it says, or a cell."""
    shape = proposal["geometry"]
    width = float(proposal["width_m"])
    margin = 0.0 if shape.area > 0 or np.isnan(width) else width / 2
    frame = GeoDataFrame(geometry=[shape], crs=site.grid.crs)
    where = cells_within(site, frame, margin)
    if not where.any():
        message = (
            f'Proposal "{proposal["name"]}": it holds no cell of '
            f"{words.cell(site.grid.cell_size)}. Draw it wider, or give width_m."
        )
        raise InputError(message)
    return where


def _with_ground(site: Site, change: Callable[[Any], Any]) -> Site:
    return replace(
        site,
        elevation=change(site.elevation).astype(np.float32),
        ground=change(site.ground).astype(np.float32),
    )


#: What makes each change.
ACTIONS: Mapping[str, Callable[[Site, Row], Site]] = {
    "gap": _gap,
    "lift": _lift,
    "remove": _remove,
    "add": _add,
    "cut": _cut,
    "bank": _bank,
}
