"""Barriers and narrow crests as faces between cells."""

from dataclasses import fields
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sitekit.kernels.night import BarrierFaces

#: Columns of a table of barrier pieces: both ends in columns and rows of the grid,
#: height, openness and slot at the foot, whether the piece is a gap, the line that
#: it belongs to, and the distance along that line at its two ends. [cell], [m]
PIECE = (
    "column0",
    "row0",
    "column1",
    "row1",
    "height",
    "openness",
    "foot",
    "gap",
    "line",
    "start",
    "stop",
)
#: A crest stands out from this height above the higher of its two cells. [m]
CREST = 0.3
#: From this share on a gap is as wide as its face.
WHOLE = 0.999
#: All lines move by this much, so that none runs through the middle of a cell and
#: leaves it on neither side; unlike both ways, or diagonals would stay. [cell]
NUDGE = (1e-6, 0.618e-6)


def find_barrier_faces(pieces: NDArray[np.float64]) -> BarrierFaces:
    """Find the faces that barrier lines pass between cell centres.

    A way over four neighbours from one side of a line to the other crosses a
    face of it, wherever the line runs. Of each face the share that lies in a gap
    is told, so that a gap narrower than a cell counts by its width; faces that lie
    wholly in a gap are left out.

    Parameters
    ----------
    pieces : (piece, 11) ndarray
        Straight pieces of barriers, columns as in `PIECE`, in order along each
        line.

    Returns
    -------
    faces : BarrierFaces
        The faces; of two on one face the higher stays.
    """
    moved = pieces.copy()
    moved[:, :4] += (*NUDGE, *NUDGE)
    found = [_crossings(piece) for piece in moved]
    table = np.concatenate([np.empty((0, 9)), *found])
    table = table[np.lexsort((table[:, 8], table[:, 7]))]
    gap = _gap_shares(table, pieces)
    rows = np.column_stack([table[:, :7], gap])
    # A face that is open over its whole width is none: the air runs as elsewhere.
    return _highest(rows[gap < WHOLE])


def _crossings(piece: NDArray[np.float64]) -> NDArray[np.float64]:
    """Find the faces that one straight piece crosses.

    Returns along, row, column, height, openness, foot, stretch, line, distance.
    """
    x0, y0, x1, y1, height, openness, foot, _, line, start, stop = piece
    found = []
    for along, (a0, a1), (b0, b1) in (
        (0, (y0, y1), (x0, x1)),
        (1, (x0, x1), (y0, y1)),
    ):
        low, high = min(a0, a1), max(a0, a1)
        middles = np.arange(np.ceil(low - 0.5), np.floor(high - 0.5) + 1) + 0.5
        if middles.size == 0 or a0 == a1:
            continue
        way = (middles - a0) / (a1 - a0)
        across = np.floor(b0 + way * (b1 - b0) + 0.5)
        cell = np.floor(middles)
        row, column = (cell, across) if along == 0 else (across, cell)
        length = np.hypot(x1 - x0, y1 - y0)
        stretch = length / (abs(x1 - x0) + abs(y1 - y0))
        found.append(
            np.column_stack(
                [
                    np.full(middles.size, along),
                    row,
                    column,
                    *(np.full(middles.size, v) for v in (height, openness, foot)),
                    np.full(middles.size, stretch),
                    np.full(middles.size, line),
                    start + way * (stop - start),
                ]
            )
        )
    return np.concatenate(found) if found else np.empty((0, 9))


def _gap_shares(
    crossings: NDArray[np.float64], pieces: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Tell which share of the stretch of line that each face stands for is a gap."""
    share = np.zeros(len(crossings))
    for line in np.unique(pieces[:, 8]) if len(pieces) else ():
        mine = pieces[pieces[:, 8] == line]
        gaps = mine[mine[:, 7] > 0, 9:11]
        here = np.flatnonzero(crossings[:, 7] == line)
        if len(gaps) == 0 or len(here) == 0:
            continue
        at = crossings[here, 8]
        middles = (at[:-1] + at[1:]) / 2
        begin = np.concatenate([[mine[0, 9]], middles])
        end = np.concatenate([middles, [mine[-1, 10]]])
        for low, high in gaps:
            inside = np.minimum(end, high) - np.maximum(begin, low)
            share[here] += np.clip(inside, 0, None) / np.maximum(end - begin, 1e-9)
    return np.clip(share, 0.0, 1.0)


def _highest(rows: NDArray[np.float64]) -> BarrierFaces:
    """Keep the highest barrier of each face; of two as high the one less open."""
    height, openness, foot, gap = rows[:, 3], rows[:, 4], rows[:, 5], rows[:, 7]
    rows = rows[np.lexsort((gap, foot, openness, -height))]
    _, first = np.unique(rows[:, :3], axis=0, return_index=True)
    rows = rows[first]
    return BarrierFaces(
        along=rows[:, 0].astype(np.int64),
        row=rows[:, 1].astype(np.int64),
        column=rows[:, 2].astype(np.int64),
        height=rows[:, 3],
        openness=rows[:, 4],
        foot=rows[:, 5],
        stretch=rows[:, 6],
        gap=rows[:, 7],
    )


def find_crest_faces(
    fine: NDArray[np.float32], coarse: NDArray[np.float32], factor: int
) -> BarrierFaces:
    """Find crests that coarser cells would lose, as faces without openness.

    Parameters
    ----------
    fine : (row, column) ndarray
        Ground on the finer grid. [m]
    coarse : (row, column) ndarray
        Its mean on cells of ``factor`` by ``factor``. [m]
    factor : int
        Finer cells along the side of a coarse one.

    Returns
    -------
    faces : BarrierFaces
        Crests that stand higher than both cells; lower places in them as a gap.
    """
    parts = [_crests_along(fine, coarse, factor, along) for along in (0, 1)]
    return join_faces(*parts)


def _crests_along(
    fine: NDArray[np.float32], coarse: NDArray[np.float32], factor: int, along: int
) -> BarrierFaces:
    """Find crests between columns (0) or rows (1) of the coarse grid."""
    if along == 1:
        fine, coarse = fine.T, coarse.T
    rows, columns = coarse.shape
    padded = np.full((rows * factor, columns * factor), -np.inf, dtype=np.float32)
    padded[: fine.shape[0], : fine.shape[1]] = np.where(np.isnan(fine), -np.inf, fine)
    lines = padded.reshape(rows, factor, columns * factor)
    # From the middle of one cell to the middle of the next.
    first = np.arange(columns - 1) * factor + factor // 2
    crest = np.max(
        [lines[:, :, first + step] for step in range(factor + factor % 2)], axis=0
    )
    bed = np.maximum(coarse[:, :-1], coarse[:, 1:])[:, None, :]
    height = np.median(crest - bed, axis=1)
    low = (crest - bed < height[:, None, :] / 2).mean(axis=1)
    row, column = np.nonzero(height > CREST)
    count = row.size
    places = (row, column + 1) if along == 0 else (column + 1, row)
    return BarrierFaces(
        along=np.full(count, along),
        row=places[0],
        column=places[1],
        height=height[row, column].astype(float),
        openness=np.zeros(count),
        foot=np.zeros(count),
        gap=low[row, column],
        stretch=np.ones(count),
    )


def join_faces(*parts: BarrierFaces) -> BarrierFaces:
    """Join lists of faces; of two on one face the higher stays.

    Parameters
    ----------
    *parts : BarrierFaces
        Lists of faces on one grid.

    Returns
    -------
    joined : BarrierFaces
        All of them.
    """
    names = ("along", "row", "column", "height", "openness", "foot", "stretch", "gap")
    rows = np.concatenate(
        [np.column_stack([getattr(p, name) for name in names]) for p in parts]
    )
    return _highest(rows)


def keep_inside(faces: BarrierFaces, shape: tuple[int, int]) -> BarrierFaces:
    """Keep the faces that lie between two cells of a grid.

    Parameters
    ----------
    faces : BarrierFaces
        Faces, some of them perhaps off the grid.
    shape : tuple of int
        Rows and columns.

    Returns
    -------
    kept : BarrierFaces
        The faces inside.
    """
    x, y = faces.along == 0, faces.along == 1
    kept = (faces.row >= y) & (faces.row < shape[0])
    kept &= (faces.column >= x) & (faces.column < shape[1])
    return BarrierFaces(*(getattr(faces, f.name)[kept] for f in fields(faces)))


def cut_line(
    points: NDArray[np.float64], gaps: list[tuple[float, float]]
) -> list[tuple[NDArray[np.float64], NDArray[np.float64], float, float, bool]]:
    """Cut a line into straight pieces that are wholly barrier or wholly gap.

    Parameters
    ----------
    points : (point, 2) ndarray
        Corners of the line. [m]
    gaps : list of (float, float)
        Gaps, from and to along the line. [m]

    Returns
    -------
    pieces : list
        Begin, end, distance at the begin, at the end, and whether it is a gap.
    """
    steps = np.hypot(*np.diff(points, axis=0).T)
    corners = np.concatenate([[0.0], np.cumsum(steps)])
    edges = [e for gap in gaps for e in gap if 0 < e < corners[-1]]
    at = np.unique(np.concatenate([corners, edges]))
    east = np.interp(at, corners, points[:, 0])
    north = np.interp(at, corners, points[:, 1])
    places = np.column_stack([east, north])
    return [
        (
            places[i],
            places[j],
            float(at[i]),
            float(at[j]),
            any(low <= (at[i] + at[j]) / 2 <= high for low, high in gaps),
        )
        for i, j in pairwise(range(len(at)))
    ]
