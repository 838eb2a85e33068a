"""The standard night run on the grid of the moving air, and brought back."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

from sitekit.kernels.night import (
    GRAVITY,
    TEMPERATURE,
    BarrierFaces,
    NightGround,
    NightState,
    run_night,
)
from sitekit.kernels.refine import refine
from sitekit.layers.faces import (
    find_barrier_faces,
    find_crest_faces,
    join_faces,
    keep_inside,
)

HOUR = 3600.0
#: The night runs on doubled cells until this long before dawn. [s]
FINE_HOURS = 1.0 * HOUR
#: Air deeper than this is carried over by its level, thinner air by its depth. [m]
POOL_FROM = 1.0
#: Fewest cells for which a coarse start is worth its while, and the largest cell
#: for which it is right: doubled cells of 50 m lost the gullies that thermometers
#: tell apart on ground where 25 m kept them.
COARSE_START_FROM, COARSE_START_TO = 50_000, 8.0
#: Above this share of water a cell of the flow grid is open water.
MOSTLY = 0.5


@dataclass(frozen=True)
class Air:
    """The cold air of the last hour of the night, on the survey's grid.

    Parameters
    ----------
    depth, speed : (row, column) ndarray of float32
        Depth and speed. [m], [m s⁻¹]
    deficit : (row, column) ndarray of float32
        How much colder it is than the air above. [K]
    pool_hours : (row, column) ndarray of float32
        Time under deep, slow air. [h]
    """

    depth: NDArray[np.float32]
    speed: NDArray[np.float32]
    deficit: NDArray[np.float32]
    pool_hours: NDArray[np.float32]


def standard_night(
    elevation: NDArray[np.float32],
    sources: NDArray[np.float32],
    water: NDArray[np.bool_],
    pieces: NDArray[np.float64],
    hours: float,
    *,
    cell_size: float,
    factor: int,
    closed_edges: Sequence[Any] = (),
) -> Air:
    """Run a standard clear still night and bring its air back to the survey's cells.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground. [m]
    sources : (4, row, column) ndarray
        Production [m s⁻¹], deficit [K], drag, decay [s⁻¹ or m s⁻¹].
    water : (row, column) ndarray of bool
        Open water.
    pieces : (piece, 11) ndarray
        Barriers, see `sitekit.layers.faces.PIECE`.
    hours : float
        Length of the night. [h]
    cell_size : float
        Side of a survey cell. [m]
    factor : int
        Survey cells along the side of a cell of the flow grid.
    closed_edges : sequence of str
        Edges that let no air out.

    Returns
    -------
    air : Air
        The last hour.
    """
    fine = _Field(elevation, sources, water, pieces, cell_size, elevation)
    flow = fine.coarser(factor)
    state = _run(flow, hours * HOUR, closed_edges)
    deficit = state.buoyancy * np.float32(TEMPERATURE / GRAVITY)
    finer = factor, elevation.shape, flow.faces
    return Air(
        depth=_refine_depth(state.mean_depth, flow, elevation),
        speed=refine(state.mean_speed, *finer),
        deficit=refine(deficit, *finer),
        pool_hours=refine(state.pool_hours, *finer),
    )


@dataclass(frozen=True)
class _Field:
    """Ground, sources and barriers on one grid.

    `finest` is the ground that crests are looked for in, with `factor` of its cells
    along the side of one here.
    """

    bed: NDArray[np.float32]
    sources: NDArray[np.float32]
    water: NDArray[np.bool_]
    pieces: NDArray[np.float64]
    cell_size: float
    finest: NDArray[np.float32]
    factor: int = 1

    def coarser(self, factor: int) -> "_Field":
        """Average onto cells of `factor` by `factor`."""
        if factor == 1:
            return self
        pieces = self.pieces.copy()
        pieces[:, :4] /= factor
        return replace(
            self,
            bed=average(self.bed, factor),
            sources=np.stack([average(layer, factor) for layer in self.sources]),
            water=average(self.water.astype(np.float32), factor) > MOSTLY,
            pieces=pieces,
            cell_size=self.cell_size * factor,
            factor=self.factor * factor,
        )

    def ground(self) -> NightGround:
        """Give the form that the night runs on."""
        production, deficit, drag, decay = self.sources
        return NightGround(
            self.bed, production, deficit, drag, decay, self.cell_size, self.water
        )

    @cached_property
    def faces(self) -> BarrierFaces:
        """Find barriers, and crests that the cells have lost."""
        barriers = keep_inside(find_barrier_faces(self.pieces), self.bed.shape)
        if self.factor == 1:
            return barriers
        crests = find_crest_faces(self.finest, self.bed, self.factor)
        return join_faces(barriers, crests)


def _run(field: _Field, seconds: float, closed_edges: Sequence[Any]) -> NightState:
    """Run the night, all but its last hour on doubled cells where that pays."""
    threads = int(numba.get_num_threads())
    common: dict[str, Any] = {
        "night": seconds,
        "closed_edges": closed_edges,
        "threads": threads,
    }
    worthwhile = field.bed.size >= COARSE_START_FROM and seconds > 2 * FINE_HOURS
    if not worthwhile or field.cell_size > COARSE_START_TO:
        return run_night(field.ground(), seconds, faces=field.faces, **common)
    coarse = field.coarser(2)
    early = run_night(
        coarse.ground(), seconds - FINE_HOURS, faces=coarse.faces, **common
    )
    late = run_night(
        field.ground(),
        FINE_HOURS,
        begin=seconds - FINE_HOURS,
        start=_carry_over(early, coarse.bed, field.bed),
        faces=field.faces,
        **common,
    )
    # The hours under a pool belong to the whole night.
    hours = late.pool_hours + double(early.pool_hours, field.bed.shape)
    return replace(late, pool_hours=hours)


def _carry_over(
    early: NightState, coarse: NDArray[np.float32], fine: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Lay air of doubled cells onto the cells: pools by level, thin air as it is."""
    depth = double(early.depth, fine.shape)
    level = double(early.depth + coarse, fine.shape)
    pooled = np.maximum(level - fine, 0)
    carried = np.where(depth > POOL_FROM, pooled, depth)
    return np.where(np.isnan(fine), np.float32(0), carried), double(
        early.buoyancy, fine.shape
    )


def double(values: NDArray[np.float32], shape: tuple[int, ...]) -> NDArray[np.float32]:
    """Repeat each cell twice along both sides, cut to a shape."""
    repeated = np.repeat(np.repeat(values, 2, axis=0), 2, axis=1)
    return repeated[: shape[0], : shape[1]]


def average(values: NDArray[np.float32], factor: int) -> NDArray[np.float32]:
    """Average cells in squares; a square with any value has a mean of those.

    Parameters
    ----------
    values : (row, column) ndarray
        NaN where missing.
    factor : int
        Cells along the side of a square.

    Returns
    -------
    means : (row, column) ndarray of float32
        Means, NaN where all is missing.

    Examples
    --------
    >>> average(np.array([[1, 3, np.nan], [1, 3, 5]], np.float32), 2)
    array([[2., 5.]], dtype=float32)
    """
    rows, columns = (-(-n // factor) for n in values.shape)
    padded = np.full((rows * factor, columns * factor), np.nan, np.float32)
    padded[: values.shape[0], : values.shape[1]] = values
    squares = padded.reshape(rows, factor, columns, factor)
    known = ~np.isnan(squares)
    total = np.where(known, squares, 0).sum(axis=(1, 3), dtype=np.float64)
    count = known.sum(axis=(1, 3))
    means = np.full((rows, columns), np.nan)
    np.divide(total, count, out=means, where=count > 0)
    return means.astype(np.float32)


def _refine_depth(
    depth: NDArray[np.float32], flow: _Field, elevation: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Bring depth to the survey's cells: deep air by its level, thin air as it is."""
    if flow.factor == 1:
        return depth.astype(np.float32)
    finer = flow.factor, elevation.shape, flow.faces
    thin = refine(depth, *finer)
    level = refine(depth + flow.bed, *finer)
    deep = np.maximum(level - elevation, 0)
    share = np.clip(2 * thin / POOL_FROM - 1, 0, 1)
    refined: NDArray[np.float32] = (share * deep + (1 - share) * thin).astype(
        np.float32
    )
    return refined
