"""Fill small holes in an elevation model; leave large ones."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse.linalg import spsolve

#: Largest inner hole that is filled. Common practice, no source. [cells]
LARGEST_FILLED: Final = 25

#: Cells that touch at a side or a corner belong to one hole.
EIGHT: Final = np.ones((3, 3), bool)


@dataclass(frozen=True)
class Voids:
    """An elevation model with its small holes filled.

    Parameters
    ----------
    elevation : (row, column) ndarray of float32
        Heights, NaN where still missing. [m]
    filled : int
        Holes that were filled.
    filled_cells : int
        Their cells.
    left : int
        Larger inner holes that were left.
    left_cells : int
        Their cells.
    """

    elevation: NDArray[np.float32]
    filled: int
    filled_cells: int
    left: int
    left_cells: int


def fill_voids(elevation: NDArray[np.float32]) -> Voids:
    """Fill small inner holes from their rim.

    A hole that touches the edge of the grid is no hole. The filling is the surface
    that is at each cell the mean of its four neighbours (a membrane on the rim), so
    a hole in a plane is filled by that plane.

    Parameters
    ----------
    elevation : (row, column) ndarray of float32
        Heights, NaN where missing. [m]

    Returns
    -------
    voids : Voids
        The result; the input is not changed.

    Examples
    --------
    >>> z = np.full((5, 5), 7.0, np.float32)
    >>> z[2, 2] = np.nan
    >>> float(fill_voids(z).elevation[2, 2])
    7.0
    """
    missing = np.isnan(elevation)
    if not missing.any():
        return Voids(elevation, 0, 0, 0, 0)
    holes, count = ndimage.label(missing, EIGHT)
    sizes = np.bincount(holes.ravel(), minlength=count + 1)
    inner = np.ones(count + 1, bool)
    inner[0] = False
    for edge in (holes[0], holes[-1], holes[:, 0], holes[:, -1]):
        inner[edge] = False
    small = inner & (sizes <= LARGEST_FILLED)
    large = inner & ~small
    return Voids(
        elevation=_fill(elevation, small[holes]) if small.any() else elevation,
        filled=int(small.sum()),
        filled_cells=int(sizes[small].sum()),
        left=int(large.sum()),
        left_cells=int(sizes[large].sum()),
    )


def _fill(
    elevation: NDArray[np.float32], holes: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Solve the membrane over the cells of all holes at once."""
    rows, columns = np.nonzero(holes)
    number = np.full(elevation.shape, -1, np.int64)
    number[rows, columns] = np.arange(rows.size)
    rim = np.zeros(rows.size)
    entries: list[tuple[NDArray[np.int64], NDArray[np.int64]]] = []
    for down, right in ((-1, 0), (1, 0), (0, -1), (0, 1)):
        near = rows + down, columns + right
        inside = number[near] >= 0
        rim += np.where(inside, 0.0, elevation[near])
        entries.append((np.flatnonzero(inside), number[near][inside]))
    own = np.concatenate([a for a, _ in entries])
    other = np.concatenate([b for _, b in entries])
    links = sparse.coo_array((np.ones(own.size), (own, other)), shape=(rows.size,) * 2)
    system = sparse.csc_array(sparse.diags_array(np.full(rows.size, 4.0)) - links)
    filled = elevation.copy()
    filled[rows, columns] = np.atleast_1d(spsolve(system, rim))
    return filled
