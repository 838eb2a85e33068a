"""The lowest, highest and mean ground around each cell, beyond the grid's edge too."""

from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sitekit.kernels.refine import refine
from sitekit.layers.catalogue import layer
from sitekit.layers.flow import average
from sitekit.settings import Setting

#: How far around low and high ground are looked for. [m]
REACH = 500.0
#: Side of the window over which they are smoothed, twice. [m]
SMOOTHED_OVER = 250.0
#: Side of the window of the mean ground, twice. [m]
MEAN_OVER = 75.0
#: Depth and length of the strip that gives the slope on beyond an edge. [m]
STRIP, STRIP_LENGTH = 25.0, 250.0


@layer(
    units="m",
    long_name="lowest, highest and mean ground around",
    reference="windows of ±500 m and 75 m; common practice, no source",
    written=False,
)
def landform(
    elevation: NDArray[np.float32],
    *,
    cell_size: float,
    flow_cell: Annotated[
        float,
        Setting("m", "Cell of the moving air; never finer.", low=1.0, high=100.0),
    ] = 4.0,
) -> NDArray[np.float32]:
    """Find the ground around each cell that its night is told against.

    Beyond the edge of the grid the ground is taken to go on with the slope of
    its outer 25 m.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground. [m]
    cell_size : float
        Side of a cell. [m]
    flow_cell : float
        Least side of the cells on which it is worked out. [m]

    Returns
    -------
    landform : (3, row, column) ndarray of float32
        Lowest and highest ground within 500 m, smoothed, and mean ground. [m]
    """
    factor = coarser_by(cell_size, flow_cell)
    ground = average(_without_holes(elevation), factor)
    cell = cell_size * factor
    wide = max(round(REACH / cell), 1)
    whole = continue_ground(ground, cell, wide)
    window = 2 * wide + 1
    low = _smooth(ndimage.minimum_filter(whole, window), SMOOTHED_OVER / cell)
    high = _smooth(ndimage.maximum_filter(whole, window), SMOOTHED_OVER / cell)
    mean = _smooth(whole, MEAN_OVER / cell)
    inside = (slice(wide, -wide), slice(wide, -wide))
    return np.stack(
        [refine(layer[inside], factor, elevation.shape) for layer in (low, high, mean)]
    )


@layer(
    units="m",
    long_name="height above the low ground around",
    reference="windows of ±500 m; common practice, no source",
    written=False,
)
def low_ground_height(
    elevation: NDArray[np.float32], landform: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Tell how far a spot lies above the low ground around.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground. [m]
    landform : (3, row, column) ndarray
        Lowest, highest and mean ground around. [m]

    Returns
    -------
    height : (row, column) ndarray of float32
        At least 0. [m]
    """
    height: NDArray[np.float32] = np.maximum(elevation - landform[0], np.float32(0))
    return height


def coarser_by(cell_size: float, flow_cell: float) -> int:
    """Tell how many survey cells lie along the side of a flow cell.

    Parameters
    ----------
    cell_size, flow_cell : float
        Side of a survey cell and least side of a flow cell. [m]

    Returns
    -------
    factor : int
        At least 1.

    Examples
    --------
    >>> coarser_by(1.0, 4.0), coarser_by(2.0, 4.0), coarser_by(5.0, 4.0)
    (4, 2, 1)
    """
    return max(int(np.ceil(flow_cell / cell_size - 0.01)), 1)


def continue_ground(
    ground: NDArray[np.float32], cell_size: float, cells: int
) -> NDArray[np.float32]:
    """Continue ground beyond all four edges with the slope of its outer strip.

    Parameters
    ----------
    ground : (row, column) ndarray
        Without missing cells. [m]
    cell_size : float
        Side of a cell. [m]
    cells : int
        Cells to add on every side.

    Returns
    -------
    continued : (row + 2 cells, column + 2 cells) ndarray of float32
        The wider ground. [m]
    """
    # Beyond the corners it matters which edge goes on first: the mean of both ways.
    ways = []
    for turned in (ground, ground.T):
        half = _continue_rows(turned, cell_size, cells)
        ways.append(_continue_rows(half.T, cell_size, cells))
    continued: NDArray[np.float32] = (ways[0].T + ways[1]) * np.float32(0.5)
    return continued


def _continue_rows(
    ground: NDArray[np.float32], cell_size: float, cells: int
) -> NDArray[np.float32]:
    """Continue ground beyond its first and last row."""
    strip = min(max(round(STRIP / cell_size), 1), ground.shape[0] - 1)
    along = max(round(STRIP_LENGTH / cell_size), 1) | 1
    away = np.arange(1, cells + 1, dtype=np.float32)[:, None]
    sides = []
    for edge, inner in ((0, strip), (-1, -1 - strip)):
        rise = (ground[edge] - ground[inner]) / np.float32(strip)
        rise = ndimage.uniform_filter1d(rise, along, mode="nearest")
        sides.append(ground[edge] + rise * away)
    return np.concatenate([sides[0][::-1], ground, sides[1]])


def _smooth(values: NDArray[np.float32], size: float) -> NDArray[np.float32]:
    """Take the mean of a window twice."""
    window = max(round(size), 1)
    smooth: NDArray[np.float32] = values
    # A window of an even width lies off the middle: once to either side.
    for origin in (0, window % 2 - 1):
        smooth = ndimage.uniform_filter(smooth, window, mode="nearest", origin=origin)
    return smooth


def _without_holes(elevation: NDArray[np.float32]) -> NDArray[np.float32]:
    """Give missing cells the height of the nearest that is known."""
    missing = np.isnan(elevation)
    if not missing.any():
        return elevation
    nearest = ndimage.distance_transform_edt(
        missing, return_distances=False, return_indices=True
    )
    filled: NDArray[np.float32] = elevation[tuple(nearest)]
    return filled
