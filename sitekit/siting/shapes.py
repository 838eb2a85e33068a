"""Polygons and lines from cells."""

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit.grid import Grid


def polygons_of(labels: NDArray[np.integer], grid: Grid) -> dict[int, BaseGeometry]:
    """Turn labelled cells into polygons along the edges of the cells.

    Parameters
    ----------
    labels : (row, column) ndarray of int
        Number of the patch of each cell, 0 for none.
    grid : Grid
        Grid of the labels.

    Returns
    -------
    polygons : dict
        Polygon or multipolygon by number; cells that touch only at a corner are
        two parts.
    """
    faces = shapely.get_parts(shapely.polygonize(_edges(labels, grid)))
    if faces.size == 0:
        return {}
    points = shapely.get_coordinates(shapely.point_on_surface(faces))
    rows, columns = grid.cells(points[:, 0], points[:, 1])
    numbers = labels[rows, columns]
    faces = shapely.simplify(faces, 0.0)
    return {
        int(number): _joined(faces[numbers == number])
        for number in np.unique(numbers[numbers > 0])
    }


def _joined(faces: NDArray[np.object_]) -> BaseGeometry:
    joined: BaseGeometry = (
        faces[0] if faces.size == 1 else shapely.MultiPolygon(list(faces))
    )
    return joined


def _edges(labels: NDArray[np.integer], grid: Grid) -> NDArray[np.object_]:
    """Make a line of each cell edge that parts two patches."""
    padded = np.pad(labels, 1)
    row, column = np.nonzero(padded[1:-1, 1:] != padded[1:-1, :-1])
    upright = np.stack([column, row, column, row + 1], axis=1)
    row, column = np.nonzero(padded[1:, 1:-1] != padded[:-1, 1:-1])
    level = np.stack([column, row, column + 1, row], axis=1)
    corners = np.concatenate([upright, level]).reshape(-1, 2, 2).astype(float)
    corners[..., 0] = grid.west + corners[..., 0] * grid.cell_size
    corners[..., 1] = grid.north - corners[..., 1] * grid.cell_size
    return np.asarray(shapely.linestrings(corners), dtype=object)


def window_of(mask: NDArray[np.bool_], margin: int = 0) -> tuple[slice, slice]:
    """Find the rows and columns that hold a mask.

    Parameters
    ----------
    mask : (row, column) ndarray of bool
        At least one cell must be true.
    margin : int
        Cells to add on every side, as far as the grid reaches.

    Returns
    -------
    rows, columns : slice
        The window.
    """
    rows = np.flatnonzero(mask.any(axis=1))
    columns = np.flatnonzero(mask.any(axis=0))
    return (
        slice(max(rows[0] - margin, 0), min(rows[-1] + 1 + margin, mask.shape[0])),
        slice(
            max(columns[0] - margin, 0), min(columns[-1] + 1 + margin, mask.shape[1])
        ),
    )


def cut_grid(grid: Grid, rows: slice, columns: slice) -> Grid:
    """Make the grid of a window.

    Parameters
    ----------
    grid : Grid
        The whole grid.
    rows, columns : slice
        The window.

    Returns
    -------
    window : Grid
        Grid of the window.
    """
    return Grid(
        grid.crs,
        grid.west + columns.start * grid.cell_size,
        grid.north - rows.start * grid.cell_size,
        grid.cell_size,
        (rows.stop - rows.start, columns.stop - columns.start),
    )
