"""Blocks: contiguous field ground of like classes, common to all fruit."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from sitekit.layers.inputs import draw_barriers
from sitekit.settings import Setting
from sitekit.site import Site
from sitekit.siting.merging import merge_small
from sitekit.siting.shapes import cut_grid, polygons_of, window_of
from sitekit.suitability.ground import Verdict
from sitekit.words import SITE_CLASSES

#: Ground smaller than this beside larger blocks is no block. [m²]
SMALLEST_SCRAP = 300.0
#: Side of the window over which the commonest class is taken. [m]
SMOOTHED_OVER = 20.0


@dataclass(frozen=True)
class Block:
    """One block.

    Parameters
    ----------
    number : int
        Rank by its best fruit, from 1.
    part : str
        Name of the part of the field that it lies in.
    cells : tuple of ndarray
        Rows and columns of its cells.
    shape : shapely geometry
        Its outline, inside the field.
    """

    number: int
    part: str
    cells: tuple[NDArray[np.intp], NDArray[np.intp]]
    shape: BaseGeometry

    @property
    def area(self) -> float:
        """Area of the outline in m²."""
        return float(self.shape.area)


def group_into_blocks(
    site: Site,
    verdicts: Mapping[str, Verdict],
    closed: NDArray[np.bool_],
    *,
    block_smallest: Annotated[
        float,
        Setting("m²", "Smallest block; smaller ground joins its neighbour.", low=0),
    ] = 2000.0,
) -> list[Block]:
    """Group the ground of the field into blocks.

    Parameters
    ----------
    site : Site
        The site.
    verdicts : mapping of str to Verdict
        Verdict for each fruit asked for.
    closed : (row, column) ndarray of bool
        Cells that belong to no block and part blocks: barriers, water, no-go.
    block_smallest : float
        Smallest block; never under two cells. [m²]

    Returns
    -------
    blocks : list of Block
        Numbered by the rank of their best fruit.
    """
    open_ground = site.field_mask & ~closed
    open_ground &= next(iter(verdicts.values())).site_class != 255
    if not open_ground.any():
        return []
    rows, columns = window_of(open_ground)
    grid = cut_grid(site.grid, rows, columns)
    inside = open_ground[rows, columns]
    parts = part_numbers(site)[rows, columns]
    classes = np.stack([v.site_class[rows, columns] for v in verdicts.values()])
    smooth = np.stack(
        [_commonest(c, inside & (parts > 0), grid.cell_size) for c in classes]
    )
    patches = _patches(smooth, inside, parts)
    fewest = max(int(np.ceil(block_smallest / grid.cell_area)), 2)
    labels = merge_small(patches, smooth, fewest, parts)
    shapes = polygons_of(labels, grid)
    blocks = [
        _block(site, labels, number, shape, parts, (rows.start, columns.start))
        for number, shape in shapes.items()
    ]
    large = [b for b in blocks if b.area >= SMALLEST_SCRAP] or blocks
    return _numbered(large, list(verdicts.values()))


def find_closed_ground(site: Site, blocked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark ground that is never planted: water, barriers, no-go.

    Parameters
    ----------
    site : Site
        The site.
    blocked : (row, column) ndarray of bool
        No-go ground, buildings, wood.

    Returns
    -------
    closed : (row, column) ndarray of bool
        True where nothing is planted.
    """
    barriers = site.vectors["barriers"]
    standing = draw_barriers(barriers, np.ones(len(barriers)), site.grid) > 0
    closed: NDArray[np.bool_] = site.water_mask | blocked | standing
    return closed


def part_numbers(site: Site) -> NDArray[np.int32]:
    """Give each part of the field a number on the grid, from 1; 0 outside.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    numbers : (row, column) ndarray of int32
        Number of the part that holds the centre of each cell.
    """
    numbers = np.zeros(site.grid.shape, dtype=np.int32)
    rows, columns = np.nonzero(site.field_mask)
    eastings, northings = site.grid.eastings[columns], site.grid.northings[rows]
    for number, shape in enumerate(site.field.geometry, start=1):
        shapely.prepare(shape)
        within = shapely.contains_xy(shape, eastings, northings)
        numbers[rows[within], columns[within]] = number
    return numbers


def _commonest(
    classes: NDArray[np.uint8], inside: NDArray[np.bool_], cell_size: float
) -> NDArray[np.uint8]:
    """Take the commonest class around each cell: single cells part no block."""
    size = max(2 * int(SMOOTHED_OVER / cell_size / 2) + 1, 1)
    shares = np.stack(
        [
            ndimage.uniform_filter(
                ((classes == code) & inside).astype(np.float32), size, mode="constant"
            )
            for code in range(len(SITE_CLASSES))
        ]
    )
    commonest: NDArray[np.uint8] = shares.argmax(axis=0).astype(np.uint8)
    return commonest


def _patches(
    classes: NDArray[np.uint8], inside: NDArray[np.bool_], parts: NDArray[np.int32]
) -> NDArray[np.int32]:
    """Label connected cells of one part whose classes are equal for every fruit."""
    key = parts.astype(np.int64)
    for layer in classes:
        key = key * len(SITE_CLASSES) + layer
    key[~inside] = -1
    labels = np.zeros(key.shape, dtype=np.int32)
    last = 0
    for value in np.unique(key[inside]):
        found, count = ndimage.label(key == value)
        labels[found > 0] = found[found > 0] + last
        last += count
    return labels


def _block(
    site: Site,
    labels: NDArray[np.int32],
    number: int,
    shape: BaseGeometry,
    parts: NDArray[np.int32],
    corner: tuple[int, int],
) -> Block:
    """Make a block from its cells, its outline cut to the field."""
    rows, columns = np.nonzero(labels == number)
    part = int(np.bincount(parts[rows, columns]).argmax())
    field = site.field.iloc[part - 1]
    outline = shapely.intersection(
        shape.simplify(site.grid.cell_size * 0.75), field.geometry
    )
    return Block(
        0, str(field["name"]), (rows + corner[0], columns + corner[1]), outline
    )


def _numbered(blocks: Sequence[Block], verdicts: Sequence[Verdict]) -> list[Block]:
    """Put blocks in order by their best fruit, then by size."""

    def worth(block: Block) -> tuple[float, float, float]:
        best = max(
            (block_class(v, block), float(v.score[block.cells].mean()))
            for v in verdicts
        )
        return (-best[0], -best[1], -block.area)

    ordered = sorted(blocks, key=worth)
    return [Block(i, b.part, b.cells, b.shape) for i, b in enumerate(ordered, start=1)]


def block_class(verdict: Verdict, block: Block) -> int:
    """Tell the class of most of a block's ground.

    Parameters
    ----------
    verdict : Verdict
        Verdict for one fruit.
    block : Block
        The block.

    Returns
    -------
    code : int
        Code of the class that covers most of it.
    """
    counts = np.bincount(verdict.site_class[block.cells], minlength=len(SITE_CLASSES))
    return int(counts[: len(SITE_CLASSES)].argmax())
