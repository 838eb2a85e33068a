"""How near ground lies to a path of cold air, judged by the shape of the land."""

from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.layers.catalogue import layer
from sitekit.settings import Setting

#: Catchment from which open ground sends down air enough to matter. [m²]
SMALLEST_PATH = 5_000.0
#: A line of steepest descent on a plane gathers what lies above it and nothing
#: from the sides; a path needs a trough that leads the air together. [cell]
FEWEST_CELLS = 60
#: Half the width of the window over which a trough is looked for. [m]
TROUGH_WITHIN = 30.0
#: How far below the mean of that window the bed of a trough lies. [m]
TROUGH_DEPTH = 0.2


@layer(
    units="1",
    long_name="distance from the nearest cold-air path, in reaches of that path",
    reference="reach by the advice for a swale and a dell; common practice, no source",
    written=False,
)
def path_margin(
    catchment_area: NDArray[np.float32],
    ground: NDArray[np.float32],
    water: NDArray[np.bool_],
    *,
    cell_size: float,
    path_reach: Annotated[
        float,
        Setting(
            "m",
            "How far the cold air of 1 ha of open ground reaches to either side of "
            "its path; grows with the square root of the ground.",
            low=1.0,
            high=200.0,
        ),
    ] = 17.0,
) -> NDArray[np.float32]:
    """Tell how many reaches of a cold-air path ground lies away from it.

    Below 1 the path's air stands over the ground on a still night.

    Parameters
    ----------
    catchment_area : (row, column) ndarray
        Ground that drains through each cell. [m²]
    ground : (row, column) ndarray
        Height of the ground. [m]
    water : (row, column) ndarray of bool
        Open water makes no cold air and takes it away.
    cell_size : float
        Side of a cell. [m]
    path_reach : float
        Reach of a path that drains 1 ha. [m]

    Returns
    -------
    margin : (row, column) ndarray of float32
        Distance over reach, smallest over the paths; infinite where there is none.

    Notes
    -----
    The paths are taken in classes of doubling catchment, so a reach may be up to
    a factor √2 too short for the largest of a class.
    """
    margin = np.full(catchment_area.shape, np.inf, dtype=np.float32)
    in_trough = find_troughs(ground, cell_size) & ~water
    on_land = np.where(in_trough, catchment_area, np.float32(0))
    # A path whose reach is narrower than a cell is not shown by the elevation.
    as_wide_as_a_cell = 10_000.0 * (cell_size / path_reach) ** 2
    threshold = max(SMALLEST_PATH, FEWEST_CELLS * cell_size**2, as_wide_as_a_cell)
    largest = np.nanmax(on_land, initial=0.0)
    while threshold <= largest:
        reach = path_reach * (threshold / 10_000.0) ** 0.5
        away = ndimage.distance_transform_edt(
            ~(on_land >= threshold), sampling=cell_size
        )
        np.minimum(margin, (away / reach).astype(np.float32), out=margin)
        threshold *= 2
    return margin


def find_troughs(ground: NDArray[np.float32], cell_size: float) -> NDArray[np.bool_]:
    """Mark ground that lies in a trough or at the foot of steeper ground.

    Parameters
    ----------
    ground : (row, column) ndarray
        Height of the ground. [m]
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    trough : (row, column) ndarray of bool
        Where the ground lies below the mean of what is around it.
    """
    size = 2 * max(round(TROUGH_WITHIN / cell_size), 1) + 1
    known = np.isfinite(ground)
    # Means of what is known: a missing cell, or the edge, must not look like a wall.
    height = ndimage.uniform_filter(np.where(known, ground, 0.0), size, mode="constant")
    share = ndimage.uniform_filter(known.astype(np.float64), size, mode="constant")
    around = height / np.maximum(share, 1e-9)
    # At the edge the window is one-sided and its mean lies off the middle.
    whole = share > 1 - 1e-6
    trough: NDArray[np.bool_] = whole & (around - ground >= TROUGH_DEPTH)
    return trough
