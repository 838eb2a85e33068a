"""The pool that was asked about, the verdict, and who receives the air."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from scipy import ndimage

from sitekit import words
from sitekit.compare.changes import Row, find_barrier
from sitekit.compare.nights import Night
from sitekit.kernels.night import buoyancy_of
from sitekit.site import Site
from sitekit.siting.blocks import part_numbers
from sitekit.suitability.ground import cells_within

IMPROVED, WORSE, NONE = "improved, not cured", "worse", "no change found"
#: Depth of static held air from which ground is part of the pool asked about. [m]
POOL_FROM = 0.3
#: The field this near is asked about where no pool is; ground this near to the change
#: stays out of the verdict where the pool reaches farther. [m]
FIELD_WITHIN, LEFT_OUT = 100.0, 30.0
#: Mean change, and change of a tenth of the pool, that count; ground that is told.
MEAN_CHANGE, TENTH_CHANGE, TOLD_CHANGE = 0.2, 0.5, 0.5
#: Changes of a barrier; the others change the ground.
ON_BARRIER = ("gap", "lift", "remove")
#: Rise of the flow that counts as receiving the air, and the least of it. [m² s⁻¹]
MORE_FLOW, LEAST_FLOW = 1.2, 0.005
#: How far the air is followed. [m]
FOLLOWED = 400.0
EIGHT = np.ones((3, 3), dtype=int)
Mask = NDArray[np.bool_]


def find_pool(site: Site, before: Night, proposal: Row) -> Mask:
    """Find the pool that a change is asked about.

    Connected ground that holds more than 0.3 m of air and touches the changed
    barrier, or the change itself; without one the field within 100 m.

    Parameters
    ----------
    site : Site
        The site as it is.
    before : Night
        Its night.
    proposal : mapping
        The change.

    Returns
    -------
    pool : (row, column) ndarray of bool
        The ground that the verdict is about.
    """
    held = (before.layers["pooling_depth"] > POOL_FROM) & ~site.water_mask
    labels, _ = ndimage.label(held, structure=EIGHT)
    shape = proposal["geometry"]
    if proposal["action"] in ON_BARRIER:
        shape = site.vectors["barriers"].geometry.iloc[find_barrier(site, proposal)]
    near = _near(site, shape, 2 * site.grid.cell_size)
    touched = np.unique(labels[near & (labels > 0)])
    if touched.size:
        return np.isin(labels, touched)
    return _near(site, proposal["geometry"], FIELD_WITHIN) & site.field_mask


def _near(site: Site, shape: Any, distance: float) -> Mask:  # noqa: ANN401 - shapely
    frame = GeoDataFrame(geometry=[shape], crs=site.grid.crs)
    return cells_within(site, frame, distance)


def ground_judged(site: Site, pool: Mask, proposal: Row) -> Mask:
    """Leave out the ground next to the change where the pool reaches farther.

    Parameters
    ----------
    site : Site
        The site.
    pool : (row, column) ndarray of bool
        The pool asked about.
    proposal : mapping
        The change.

    Returns
    -------
    judged : (row, column) ndarray of bool
        Ground that the verdict counts.
    """
    farther = pool & ~_near(site, proposal["geometry"], LEFT_OUT)
    return farther if farther.any() else pool


def judge_change(
    change: NDArray[np.float32], judged: Mask, field: Mask
) -> tuple[str, float]:
    """Give the verdict on a change.

    Parameters
    ----------
    change : (row, column) ndarray
        Change of the night minimum. [degC]
    judged, field : (row, column) ndarray of bool
        Ground that the verdict counts; the field.

    Returns
    -------
    verdict : str
        ``improved, not cured``, ``worse`` or ``no change found``.
    mean : float
        Mean change over the ground judged. [degC]
    """
    here = change[judged & np.isfinite(change)]
    mean = float(here.mean()) if here.size else 0.0
    milder = (change[field] >= TOLD_CHANGE).sum()
    colder = (change[field] <= -TOLD_CHANGE).sum()
    if mean <= -MEAN_CHANGE or colder > milder:
        return WORSE, mean
    if mean >= MEAN_CHANGE or (here >= TENTH_CHANGE).mean() >= 0.1:
        return IMPROVED, mean
    return NONE, mean


def table_of_parts(site: Site, change: NDArray[np.float32]) -> pd.DataFrame:
    """Tell the change by part of the field.

    Parameters
    ----------
    site : Site
        The site.
    change : (row, column) ndarray
        Change of the night minimum. [degC]

    Returns
    -------
    table : DataFrame
        ``name``, ``milder_m2``, ``colder_m2``, ``mean_change_degc``.
    """
    parts = part_numbers(site)
    cell = site.grid.cell_area
    rows = []
    for number, name in enumerate(site.field["name"], start=1):
        here = change[parts == number]
        rows.append(
            {
                "name": name or f"part {number}",
                "milder_m2": float((here >= TOLD_CHANGE).sum() * cell),
                "colder_m2": float((here <= -TOLD_CHANGE).sum() * cell),
                "mean_change_degc": float(np.nanmean(here)) if here.size else 0.0,
            }
        )
    return pd.DataFrame(rows)


def flow_of(night: Night) -> NDArray[np.float32]:
    """Flow of the cold air through a metre of width. [m² s⁻¹].

    Parameters
    ----------
    night : Night
        The night.

    Returns
    -------
    flow : (row, column) ndarray
        Depth times speed.
    """
    flow: NDArray[np.float32] = (
        night.layers["cold_air_depth"] * night.layers["cold_air_speed"]
    )
    return flow


def find_receiver(
    site: Site, before: Night, after: Night, proposal: Row
) -> tuple[str, bool]:
    """Name who or what receives the air of a change.

    Parameters
    ----------
    site : Site
        The site as it is.
    before, after : Night
        The two nights.
    proposal : mapping
        The change.

    Returns
    -------
    receiver : str
        Name of a neighbour or building whose flow rises by a fifth, else a place
        in words.
    warned : bool
        Whether it is a neighbour's or a building.
    """
    old, new = flow_of(before), flow_of(after)
    more = (new > MORE_FLOW * old) & (new - old > LEAST_FLOW)
    place = proposal["geometry"].centroid
    here = _near(site, proposal["geometry"], site.grid.cell_size)
    bed = float(np.nanmedian(site.elevation[here])) if here.any() else np.inf
    reached = more & _near(site, place, FOLLOWED) & (site.elevation < bed + 1)
    for name, word in (("neighbours", "neighbour"), ("buildings", "building")):
        for row in site.vectors[name].to_dict("records"):
            if (_near(site, row["geometry"], site.grid.cell_size) & reached).any():
                own = row.get("name") or row.get("kind") or ""
                return (f"{word}: {own}" if own else f"a {word}"), True
    return _in_words(site, reached, new - old, place, proposal), False


def _in_words(
    site: Site,
    reached: Mask,
    rise: NDArray[np.float32],
    place: shapely.Point,
    proposal: Row,
) -> str:
    """Say in words where the air goes."""
    below = ""
    if proposal["action"] in ON_BARRIER:
        barriers = site.vectors["barriers"]
        below = f", below the {barriers['kind'].iloc[find_barrier(site, proposal)]}"
    if not reached.any():
        return f"ground near the change{below}"
    rows, columns = np.nonzero(reached)
    weight = rise[rows, columns]
    east = np.average(site.grid.eastings[columns], weights=weight) - place.x
    north = np.average(site.grid.northings[rows], weights=weight) - place.y
    bearing = float(np.degrees(np.arctan2(east, north))) + site.grid.convergence
    own = " of the own field" if site.field_mask[reached].mean() > 0.5 else ""
    return f"ground{own} to the {words.facing(bearing % 360)}{below}"


def gap_capacity(
    site: Site, before: Night, proposal: Row, width: float
) -> tuple[float, float]:
    """Tell what a gap can pass at most, and what runs to it.

    Parameters
    ----------
    site : Site
        The site.
    before : Night
        The night before the gap.
    proposal : mapping
        The gap.
    width : float
        Its width. [m]

    Returns
    -------
    capacity, depth : float
        0.385 width h √(2 b h) of a broad crest [m³ s⁻¹], and the depth h of the air
        that stands there. [m]
    """
    here = _near(site, proposal["geometry"].centroid, 2 * site.grid.cell_size)
    depth = float(np.nanmax(before.layers["cold_air_depth"][here], initial=0.0))
    gravity = float(buoyancy_of(np.array(4.0)))
    return 0.385 * width * depth * (2 * gravity * depth) ** 0.5, depth


def air_from_below(site: Site, before: Night, proposal: Row, pool: Mask) -> bool:
    """Tell whether the air below a barrier stands higher than the ground at the gap.

    Parameters
    ----------
    site : Site
        The site.
    before : Night
        Its night.
    proposal : mapping
        The change.
    pool : (row, column) ndarray of bool
        The pool asked about, whose own air does not count.

    Returns
    -------
    from_below : bool
        Whether opening it may let cold air in.
    """
    here = _near(site, proposal["geometry"], site.grid.cell_size)
    near = _near(site, proposal["geometry"], LEFT_OUT) & ~here
    bed = float(np.nanmin(site.elevation[here])) if here.any() else np.inf
    below = near & (site.elevation < bed) & ~pool
    if not below.any():
        return False
    surface = site.elevation + before.layers["cold_air_depth"]
    return bool(np.nanmedian(surface[below]) > bed + 0.3)


def layers_told(
    before: Night, after: Night, change: NDArray[np.float32]
) -> Mapping[str, NDArray[np.float32]]:
    """Gather the layers of a comparison: before, after and change.

    Parameters
    ----------
    before, after : Night
        The two nights.
    change : (row, column) ndarray
        Change of the night minimum. [degC]

    Returns
    -------
    layers : mapping of str to (row, column) ndarray
        The offset after lies on the zero of the offset before.
    """
    told: dict[str, NDArray[np.float32]] = {}
    for name in ("pooling_depth", "cold_air_depth"):
        told[f"{name}_before"] = before.layers[name]
        told[f"{name}_after"] = after.layers[name]
        told[f"{name}_change"] = after.layers[name] - before.layers[name]
    offset = before.layers["frost_night_offset"]
    told["frost_night_offset_before"] = offset
    told["frost_night_offset_after"] = offset + change
    told["frost_night_offset_change"] = change
    return told
