"""Joining patches that are too small to the neighbour that is most like them."""

import heapq
from collections import defaultdict

import numpy as np
from numpy.typing import NDArray


def merge_small(
    patches: NDArray[np.int32],
    classes: NDArray[np.uint8],
    fewest: int,
    parts: NDArray[np.int32],
) -> NDArray[np.int32]:
    """Join small patches to a neighbour of the same part, the smallest first.

    The neighbour is the one whose classes differ least; among equals the one
    with the longest common border. A small patch without a neighbour stays.

    Parameters
    ----------
    patches : (row, column) ndarray of int
        Number of the patch of each cell, 0 for none.
    classes : (fruit, row, column) ndarray of uint8
        Class of each cell for each fruit, equal within a patch.
    fewest : int
        Cells of the smallest patch that stands alone.
    parts : (row, column) ndarray of int
        Part of the field; patches of two parts are never joined.

    Returns
    -------
    merged : (row, column) ndarray of int32
        Number of the joined patch, 0 for none.
    """
    count = int(patches.max()) + 1
    sizes = np.bincount(patches.ravel(), minlength=count)
    means = (
        np.stack(
            [np.bincount(patches.ravel(), c.ravel(), minlength=count) for c in classes],
            axis=1,
        )
        / np.maximum(sizes, 1)[:, None]
    )
    borders = _borders(patches, parts)
    owner = np.arange(count)
    queue = [(int(sizes[p]), p) for p in range(1, count) if 0 < sizes[p] < fewest]
    heapq.heapify(queue)
    while queue:
        size, patch = heapq.heappop(queue)
        if owner[patch] != patch or sizes[patch] != size or not borders[patch]:
            continue
        target = min(
            borders[patch],
            key=lambda n: (
                float(np.abs(means[n] - means[patch]).sum()),
                -borders[patch][n],
                n,
            ),
        )
        total = sizes[target] + size
        means[target] = (means[target] * sizes[target] + means[patch] * size) / total
        sizes[target] = total
        owner[patch] = target
        _hand_over(borders, patch, target)
        if total < fewest:
            heapq.heappush(queue, (int(total), target))
    while not np.array_equal(owner, owner[owner]):
        owner = owner[owner]
    return owner[patches].astype(np.int32)


def _borders(
    patches: NDArray[np.int32], parts: NDArray[np.int32]
) -> dict[int, dict[int, int]]:
    """Count the cell edges that each two patches share."""
    pairs = []
    for first, second, part_a, part_b in (
        (patches[:, :-1], patches[:, 1:], parts[:, :-1], parts[:, 1:]),
        (patches[:-1], patches[1:], parts[:-1], parts[1:]),
    ):
        touch = (first != second) & (first > 0) & (second > 0) & (part_a == part_b)
        pairs.append(np.stack([first[touch], second[touch]], axis=1))
    found, counts = np.unique(
        np.sort(np.concatenate(pairs), axis=1), axis=0, return_counts=True
    )
    borders: dict[int, dict[int, int]] = defaultdict(dict)
    for (a, b), length in zip(found.tolist(), counts.tolist(), strict=True):
        borders[a][b] = length
        borders[b][a] = length
    return borders


def _hand_over(borders: dict[int, dict[int, int]], patch: int, target: int) -> None:
    """Give the borders of a patch to the one that it joins."""
    for neighbour, length in borders.pop(patch).items():
        del borders[neighbour][patch]
        if neighbour != target:
            joined = borders[target].get(neighbour, 0) + length
            borders[target][neighbour] = joined
            borders[neighbour][target] = joined
