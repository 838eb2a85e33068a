"""Order of planting: the trees of a year stand together, beside those before."""

from collections.abc import Sequence
from math import cos, isfinite, radians, sin

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from sitekit.planting.rows import TINY, Layout


def compact_order(
    layout: Layout, start: NDArray[np.float64] | None, rows_together: int
) -> NDArray[np.int64]:
    """Order plants so that those of a year stand together beside those before.

    A few rows side by side are filled from one end to the other, then the next
    few the way back, so that each year shares an edge with the years before.

    Parameters
    ----------
    layout : Layout
        Rows and plants.
    start : (2,) ndarray or None
        Where to begin. [m]
    rows_together : int
        Rows filled side by side.

    Returns
    -------
    order : (plant,) ndarray of int
        From 0.
    """
    count = len(layout.positions)
    if not count:
        return np.empty(0, dtype=np.int64)
    bearing = layout.bearing if isfinite(layout.bearing) else 0.0
    along = layout.positions @ np.array([sin(radians(bearing)), cos(radians(bearing))])
    row = layout.row - 1
    if start is not None:
        first = int(np.hypot(*(layout.positions - start).T).argmin())
        if row[first] > row.max() / 2:
            row = row.max() - row
        if along[first] > (along.min() + along.max()) / 2:
            along = -along
    step = np.floor((along - along.min()) / layout.spacing + 0.5)
    panel = row // rows_together
    way = np.where(panel % 2 == 0, step, -step)
    order = np.empty(count, dtype=np.int64)
    order[np.lexsort((row, way, panel))] = np.arange(count)
    return order


def keep_apart(
    layout: Layout, laid: Sequence[tuple[NDArray[np.float64], float]]
) -> NDArray[np.bool_]:
    """Tell which plants keep their distance from plants of earlier pieces.

    Parameters
    ----------
    layout : Layout
        Rows and plants.
    laid : sequence of (positions, spacing)
        Plants (plant, 2) that are laid already, and their spacing. [m]

    Returns
    -------
    apart : (plant,) ndarray of bool
        At least the larger of both spacings away.
    """
    apart = np.ones(len(layout.positions), np.bool_)
    for positions, spacing in laid:
        if len(positions) and len(apart):
            distance, _ = cKDTree(positions).query(layout.positions)
            apart &= distance >= max(spacing, layout.spacing) - TINY
    return apart
