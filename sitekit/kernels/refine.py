"""From coarse cells to the fine ones inside them, and never across a barrier."""

from typing import Any

import numpy as np
from numba import njit, prange
from numpy.typing import NDArray

from sitekit.kernels.night import BarrierFaces

#: A face parts what lies on its two sides from this height on, and up to this share
#: of it that stands open, by gaps or by itself. [m], [1]
PARTS_FROM, PARTS_TO = 1.0, 0.5


def refine(
    values: NDArray[Any],
    factor: int,
    shape: tuple[int, ...],
    faces: BarrierFaces | None = None,
) -> NDArray[np.float32]:
    """Interpolate from coarse cells to fine ones, linearly in both directions.

    Parameters
    ----------
    values : (row, column) ndarray
        On the coarse cells; NaN counts as 0.
    factor : int
        Fine cells along the side of a coarse cell.
    shape : tuple of int
        Rows and columns of fine cells.
    faces : BarrierFaces, optional
        Barriers between coarse cells: nothing is taken from their other side.

    Returns
    -------
    refined : (row, column) ndarray of float32
        On the fine cells.

    Examples
    --------
    >>> refine(np.array([[0.0, 1.0]]), 2, (1, 4)).tolist()
    [[0.0, 0.25, 0.75, 1.0]]
    """
    if factor == 1:
        return values.astype(np.float32)
    coarse = np.nan_to_num(values).astype(np.float32)
    closed = np.zeros((2, coarse.shape[0] + 1, coarse.shape[1] + 1), np.bool_)
    if faces is not None:
        shut = (faces.height >= PARTS_FROM) & (
            np.maximum(faces.gap, faces.openness) <= PARTS_TO
        )
        closed[faces.along[shut], faces.row[shut], faces.column[shut]] = True
    refined = np.empty(shape, np.float32)
    _refine(coarse, factor, closed, refined)
    return refined


@njit(cache=True, parallel=True)
def _refine(
    coarse: NDArray[np.float32],
    factor: int,
    closed: NDArray[np.bool_],
    refined: NDArray[np.float32],
) -> None:
    """Fill fine cells; `closed` holds the faces west of each cell and north of it."""
    rows, columns = coarse.shape
    for i in prange(refined.shape[0]):
        row, step, down = _neighbour(i, factor, rows)
        for j in range(refined.shape[1]):
            column, aside, right = _neighbour(j, factor, columns)
            here = coarse[row, column]
            # The face is that of the farther of the two cells along the axis.
            east, south = max(column, aside), max(row, step)
            beside = below = here
            if not closed[0, row, east]:
                beside = coarse[row, aside]
            if not closed[1, south, column]:
                below = coarse[step, column]
            across = beside + below - here
            shut = closed[0, row, east] or closed[0, step, east]
            shut = shut or closed[1, south, column] or closed[1, south, aside]
            if not shut:
                across = coarse[step, aside]
            first = here + right * (beside - here)
            second = below + right * (across - below)
            refined[i, j] = first + down * (second - first)


@njit(cache=True)
def _neighbour(fine: int, factor: int, cells: int) -> tuple[int, int, np.float32]:
    """Find the coarse cell of a fine one, the next nearest, and its share."""
    own = fine // factor
    away = (fine + 0.5) / factor - 0.5 - own
    other = own + 1 if away > 0 else own - 1
    if other < 0 or other >= cells:
        other = own
    return own, other, np.float32(abs(away))
