"""Tables over the few shifts that tell places apart, looked up for every cell."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, map_coordinates

#: Steps of a table: on still nights, on windy nights, in daily warmth; the last is
#: finer, since half a degree moves bloom by some days. [degC]
STILL_STEP, WINDY_STEP, WARMTH_STEP = 0.5, 0.5, 0.25
#: Cells that are looked up at a time, to keep memory low.
CHUNK = 1 << 18
#: Points up to this many are computed one by one, not looked up.
FEW = 128

Points = tuple[NDArray[np.floating], ...]
Compute = Callable[[Points], NDArray[np.floating]]


@dataclass(frozen=True)
class Axis:
    """Evenly spaced shifts that span those of all cells.

    Parameters
    ----------
    start, step : float
        First shift, and the distance of two. [degC]
    count : int
        How many.
    """

    start: float
    step: float
    count: int

    @property
    def nodes(self) -> NDArray[np.float64]:
        """The shifts. [degC]."""
        return self.start + self.step * np.arange(self.count, dtype=np.float64)


def span_axis(values: NDArray[np.floating], step: float) -> Axis:
    """Span shifts by an axis with a node at 0, the station's own cell.

    Parameters
    ----------
    values : ndarray
        Shifts of all cells; NaN are passed over. [degC]
    step : float
        Distance of two nodes. [degC]

    Returns
    -------
    axis : Axis
    """
    known = values[np.isfinite(values)]
    if not known.size:
        return Axis(0.0, step, 1)
    first = int(np.floor(known.min() / step + 1e-6))
    last = int(np.ceil(known.max() / step - 1e-6))
    return Axis(first * step, step, max(last - first, 0) + 1)


def spread_over(
    compute: Compute, shifts: Points, steps: Sequence[float]
) -> list[NDArray[np.float32]]:
    """Compute values for places, by a table over their shifts where they are many.

    Parameters
    ----------
    compute : callable
        Gives values (value, point) for points, one array (point,) a shift.
    shifts : tuple of ndarray
        Shifts of the places, all of one shape.
    steps : sequence of float
        Step of the table in each shift. [degC]

    Returns
    -------
    values : list of ndarray of float32
        Linear between the nodes of the table; NaN where a shift is.
    """
    shape = shifts[0].shape
    flat = tuple(s.ravel() for s in shifts)
    if flat[0].size <= FEW:
        known = np.isfinite(sum(flat))
        found = compute(tuple(s[known] for s in flat))
        values = np.full((len(found), flat[0].size), np.nan, np.float32)
        values[:, known] = found
        return [value.reshape(shape) for value in values]
    axes = [span_axis(s, step) for s, step in zip(flat, steps, strict=True)]
    met = _nodes_met(axes, flat)
    mesh = np.meshgrid(*(axis.nodes for axis in axes), indexing="ij")
    found = compute(tuple(m[met] for m in mesh))
    table = np.zeros((len(found), *met.shape), np.float32)
    table[:, met] = found
    return [value.reshape(shape) for value in _look_up(table, axes, flat)]


def _chunks(
    axes: Sequence[Axis], flat: Points
) -> Iterator[tuple[slice, NDArray[np.float32], NDArray[np.bool_]]]:
    """Go through the cells: their place on the axes, and whether it is not known."""
    for start in range(0, flat[0].size, CHUNK):
        part = slice(start, start + CHUNK)
        places = np.stack(
            [
                ((s[part] - a.start) / a.step).astype(np.float32)
                for s, a in zip(flat, axes, strict=True)
            ]
        )
        lost: NDArray[np.bool_] = np.isnan(places.sum(axis=0))
        places[:, lost] = 0
        yield part, places, lost


def _nodes_met(axes: Sequence[Axis], flat: Points) -> NDArray[np.bool_]:
    """Mark the nodes of a table that lie round any cell."""
    shape = tuple(axis.count for axis in axes)
    boxes = np.zeros(shape, bool)
    for _, places, lost in _chunks(axes, flat):
        corners = places[:, ~lost].astype(np.intp)
        boxes.reshape(-1)[np.ravel_multi_index(tuple(corners), shape, mode="clip")] = 1
    near = np.ones((2,) * len(shape), bool)
    met: NDArray[np.bool_] = binary_dilation(boxes, near, origin=-1)
    return met


def _look_up(
    table: NDArray[np.float32], axes: Sequence[Axis], flat: Points
) -> list[NDArray[np.float32]]:
    """Look values up, linear between the nodes."""
    values = [np.empty(flat[0].size, np.float32) for _ in table]
    for part, places, lost in _chunks(axes, flat):
        for value, nodes in zip(values, table, strict=True):
            map_coordinates(
                nodes, places, value[part], order=1, mode="nearest", prefilter=False
            )
            value[part][lost] = np.nan
    return values
