"""Order of planting: the trees of a year stand together, beside those before."""

from math import cos, isfinite, radians, sin

import numpy as np
from numpy.typing import NDArray

from sitekit.planting.rows import Layout


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
