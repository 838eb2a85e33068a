"""How near ground lies to a path of cold air, judged by the shape of the land."""

from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.kernels.window import mean_of_known
from sitekit.layers.catalogue import layer
from sitekit.settings import Setting

#: Catchment from which open ground sends down air enough to matter. [m²]
SMALLEST_PATH = 5_000.0
#: A line of steepest descent on a plane gathers what lies above it and nothing
#: from the sides; a path needs a trough that leads the air together. [cell]
FEWEST_CELLS = 60
#: How far to both sides of a path its trough is looked for. [m]
TROUGH_WITHIN = 30.0
#: How far below the mean of the ground to its sides the bed of a trough lies. [m]
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
    The paths are taken in classes of doubling catchment, each with the reach of
    its middle, so a reach may be a fifth too long or too short.
    """
    margin = np.full(catchment_area.shape, np.inf, dtype=np.float32)
    # A path whose reach is narrower than a cell is not shown by the elevation.
    as_wide_as_a_cell = 10_000.0 * (cell_size / path_reach) ** 2
    threshold = max(SMALLEST_PATH, FEWEST_CELLS * cell_size**2, as_wide_as_a_cell)
    beds = find_troughs(ground, (catchment_area >= threshold) & ~water, cell_size)
    on_land = np.where(beds, catchment_area, np.float32(0))
    largest = np.nanmax(on_land, initial=0.0)
    while threshold <= largest:
        reach = path_reach * (threshold * 2**0.5 / 10_000.0) ** 0.5
        away = ndimage.distance_transform_edt(
            ~(on_land >= threshold), sampling=cell_size
        )
        np.minimum(margin, (away / reach).astype(np.float32), out=margin)
        threshold *= 2
    return margin


def find_troughs(
    ground: NDArray[np.float32], asked: NDArray[np.bool_], cell_size: float
) -> NDArray[np.bool_]:
    """Mark ground that lies in a trough: it rises to both sides across the slope.

    The foot of steeper ground is none: there the land bends along the slope, and
    no air is led together.

    Parameters
    ----------
    ground : (row, column) ndarray
        Height of the ground. [m]
    asked : (row, column) ndarray of bool
        Cells to be judged.
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    trough : (row, column) ndarray of bool
        Asked cells that lie below the ground to their sides.
    """
    rows, columns = np.nonzero(asked)
    down_rows, down_columns = _slope_of_the_land(ground, cell_size, rows, columns)
    steepness = np.hypot(down_rows, down_columns)
    cells = TROUGH_WITHIN / cell_size / np.maximum(steepness, 1e-12)
    side = np.zeros((2, rows.size))
    for share in (1 / 3, 2 / 3, 1):
        for hand, sign in enumerate((-1, 1)):
            places = (
                rows - sign * share * cells * down_columns,
                columns + sign * share * cells * down_rows,
            )
            side[hand] += ndimage.map_coordinates(
                ground, places, order=1, mode="constant", cval=np.nan
            )
    rise = side / 3 - ground[rows, columns]
    trough = np.zeros(ground.shape, dtype=np.bool_)
    # A side that is missing or off the map compares as False.
    trough[rows, columns] = (rise.mean(axis=0) >= TROUGH_DEPTH) & (rise > 0).all(axis=0)
    return trough


def _slope_of_the_land(
    ground: NDArray[np.float32],
    cell_size: float,
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rise to the south and to the east over a window as wide as a trough."""
    size = 2 * max(round(TROUGH_WITHIN / cell_size), 1) + 1
    smooth = np.pad(mean_of_known(ground, size), 1, mode="edge")
    to_south = smooth[rows + 2, columns + 1] - smooth[rows, columns + 1]
    to_east = smooth[rows + 1, columns + 2] - smooth[rows + 1, columns]
    return to_south.astype(np.float64), to_east.astype(np.float64)
