"""Layers of the cold air that the ground holds, and of the ways that it takes."""

import numpy as np
from numpy.typing import NDArray

from sitekit.kernels import accumulation, fill
from sitekit.layers.catalogue import layer
from sitekit.layers.edges import ClosedEdges

FILLING = "filling as by Barnes et al. 2014, Computers & Geosciences 62, 117-127"
#: Height of a wall along a closed edge: higher than any ground. [m]
WALL = np.float32(1e6)
DESCENT = "O'Callaghan and Mark 1984, Computer Vision, Graphics, Image Processing 28"


@layer(
    units="m",
    long_name="height of the ground or of the level at which its hollow spills",
    reference=FILLING,
    written=False,
)
def filled_elevation(elevation: NDArray[np.float32]) -> NDArray[np.float32]:
    """Ground with every hollow filled to the level at which it spills.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground, NaN where missing. [m]

    Returns
    -------
    filled_elevation : (row, column) ndarray
        Height of the filled ground; missing cells stay missing. [m]

    Notes
    -----
    Over eight neighbours. Every edge of the grid is an outlet, and so are missing
    cells that reach it; missing cells inside are walls.

    References
    ----------
    Barnes, R., Lehman, C. and Mulla, D., "Priority-flood: an optimal
    depression-filling and watershed-labeling algorithm for digital elevation
    models", Computers & Geosciences, 62, pp. 117-127, 2014.
    """
    filled: NDArray[np.float32] = fill.fill(elevation)
    return filled


@layer(units="m", long_name="hollow depth", reference=FILLING)
def depression_depth(
    elevation: NDArray[np.float32], filled_elevation: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Depth of the hollows of the bare ground below the level at which they spill.

    Cold air lies in them on still nights and finds no way out.

    Parameters
    ----------
    elevation, filled_elevation : (row, column) ndarray
        Height of the ground, and of the filled ground. [m]

    Returns
    -------
    depression_depth : (row, column) ndarray
        Depth below the spill level, 0 outside hollows. [m]

    Notes
    -----
    Every small pit is in it, noise of the heights included.

    Examples
    --------
    >>> ground = np.float32([[5, 5, 5], [5, 1, 3], [5, 5, 5]])
    >>> depression_depth(ground, filled_elevation(ground))[1, 1]
    np.float32(2.0)
    """
    return filled_elevation - elevation


@layer(units="m", long_name="hollow depth with barriers", reference=FILLING)
def pooling_depth(
    elevation: NDArray[np.float32],
    barrier_height: NDArray[np.float32],
    *,
    closed_edges: ClosedEdges = (),
) -> NDArray[np.float32]:
    """Depth of the air that hollows and barriers hold together.

    A hedge across a slope dams the cold air that comes down it.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground, NaN where missing. [m]
    barrier_height : (row, column) ndarray
        Effective height of barriers: height × (1 − openness), 0 where none. [m]
    closed_edges : sequence of str
        Edges of the grid that are no outlet.

    Returns
    -------
    pooling_depth : (row, column) ndarray
        Depth below the spill level; in a cell with a barrier, as far as the air
        stands above its top. [m]

    Notes
    -----
    Geometry only: a gap in a barrier lets all the air out, which no gap does.

    Examples
    --------
    >>> ground = np.float32([[9, 9, 9, 9], [9, 2, 1, 0], [9, 9, 9, 9]])
    >>> wall = np.float32([[0, 0, 0, 0], [0, 0, 3, 0], [0, 0, 0, 0]])
    >>> pooling_depth(ground, wall)[1]
    array([0., 2., 0., 0.], dtype=float32)
    """
    raised = elevation + barrier_height
    walls = [
        tuple(int(edge in closed_edges) for edge in pair)
        for pair in (("north", "south"), ("west", "east"))
    ]
    walled = np.pad(raised, walls, constant_values=WALL)
    inside = tuple(
        slice(first, first + size)
        for (first, _), size in zip(walls, raised.shape, strict=True)
    )
    depth: NDArray[np.float32] = fill.fill(walled)[inside] - raised
    return depth


@layer(
    units="code",
    long_name="direction of flow, clockwise from grid north in eighths",
    reference=DESCENT,
    written=False,
)
def flow_direction(filled_elevation: NDArray[np.float32]) -> NDArray[np.uint8]:
    """Neighbour that the air, or water, of each cell goes to.

    Parameters
    ----------
    filled_elevation : (row, column) ndarray
        Height of the filled ground. [m]

    Returns
    -------
    flow_direction : (row, column) ndarray of uint8
        0 to 7 clockwise from grid north by steepest descent, 8 where it leaves
        the grid, 255 where the height is missing.
    """
    direction: NDArray[np.uint8] = accumulation.find_directions(filled_elevation)
    return direction


@layer(units="m2", long_name="ground that drains through here", reference=DESCENT)
def catchment_area(
    flow_direction: NDArray[np.uint8], *, cell_size: float
) -> NDArray[np.float32]:
    """Area of the ground whose cold air passes a place on its way down.

    Parameters
    ----------
    flow_direction : (row, column) ndarray of uint8
        Direction of flow.
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    catchment_area : (row, column) ndarray
        Area that drains through the cell, its own included. [m²]

    Examples
    --------
    >>> falling = np.float32([[4, 3, 2, 1]])
    >>> catchment_area(flow_direction(falling), cell_size=10.0)
    array([[100., 200., 300., 400.]], dtype=float32)
    """
    area: NDArray[np.float32] = accumulation.find_catchment_areas(
        flow_direction, cell_size**2
    )
    return area
