"""Scale of the plan, and how a site that is too large is cut into sheets."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree
from shapely.geometry.base import BaseGeometry

from sitekit.cartography.drawing import Box

#: Standard scales, the largest first.
SCALES = (100, 200, 250, 500, 1000)
#: Plants nearer on paper than this cannot be told apart. [mm]
LEAST_ON_PAPER = 2.0
#: Where several sheets are needed anyway, plants stand at least so far apart. [mm]
ENOUGH_ON_PAPER = 4.0
#: Share of plants that may stand nearer than what is taken for their distance.
NEARER = 20.0
#: Ground shown about what is set out. [m]
AROUND = 10.0
#: Each sheet of several repeats this much of its neighbour. [mm]
OVERLAP = 6.0


@dataclass(frozen=True)
class Format:
    """How a plan lies on one size of paper.

    Parameters
    ----------
    name : str
        ``A3``, ``A4``.
    width, height : float
        The paper. [mm]
    left, bottom : float
        Lower left corner of the drawing. [mm]
    drawing : tuple of float
        Width and height of the drawing. [mm]
    column : float
        Width of the column on the right. [mm]
    edge : float
        Distance of the outer frame from the edge of the paper. [mm]
    text : float
        Size of the small letters. [pt]
    """

    name: str
    width: float
    height: float
    left: float
    bottom: float
    drawing: tuple[float, float]
    column: float
    edge: float
    text: float


A3 = Format("A3", 420.0, 297.0, 18.0, 34.0, (288.0, 252.0), 98.0, 7.0, 6.6)
A4 = Format("A4", 297.0, 210.0, 14.0, 34.0, (204.0, 168.0), 64.0, 6.0, 6.0)


@dataclass(frozen=True)
class Window:
    """What one sheet shows.

    Parameters
    ----------
    number : int
        Its number, from 1, north-west first.
    scale : int
        1 to this.
    bounds : tuple of float
        West, south, east, north of the drawing. [m]
    own : tuple of float
        The same without what it repeats of its neighbours. [m]
    beside : mapping of str to int
        Number of the neighbour at each side that has one: ``west``, ``south``,
        ``east``, ``north``.
    """

    number: int
    scale: int
    bounds: Box
    own: Box
    beside: dict[str, int]


def choose_scale(bounds: Box, room: tuple[float, float], nearest: float) -> int:
    """Choose the scale of a plan.

    Parameters
    ----------
    bounds : tuple of float
        West, south, east, north of what must be on it. [m]
    room : tuple of float
        Width and height of the drawing. [mm]
    nearest : float
        Smallest distance of plants. [m]

    Returns
    -------
    scale : int
        The largest at which all fits on one sheet; where none does, 1000 where
        plants are well apart on paper, else 500.

    Examples
    --------
    >>> choose_scale((0, 0, 120, 100), (288, 252), 5.0)
    500
    >>> choose_scale((0, 0, 900, 100), (288, 252), 1.5)
    500
    """
    wide, high = bounds[2] - bounds[0], bounds[3] - bounds[1]
    for scale in SCALES:
        fits = wide <= room[0] * scale / 1000 and high <= room[1] * scale / 1000
        if fits and nearest * 1000 / scale >= LEAST_ON_PAPER:
            return scale
    return 1000 if nearest >= ENOUGH_ON_PAPER else 500


def cut_sheets(
    things: Sequence[BaseGeometry], form: Format, nearest: float
) -> list[Window]:
    """Cut a site into sheets of one scale.

    Parameters
    ----------
    things : sequence of geometry
        What must be on the plan. [m]
    form : Format
        The paper.
    nearest : float
        Smallest distance of plants. [m]

    Returns
    -------
    windows : list of Window
        One where all fits; else rows of sheets from the north-west, without
        those that would be empty.
    """
    drawn = [thing for thing in things if not thing.is_empty]
    west, south, east, north = shapely.total_bounds(drawn)
    reach = (west - AROUND, south - AROUND, east + AROUND, north + AROUND)
    scale = choose_scale(reach, form.drawing, nearest)
    room = (form.drawing[0] * scale / 1000, form.drawing[1] * scale / 1000)
    if reach[2] - reach[0] <= room[0] and reach[3] - reach[1] <= room[1]:
        whole = _about(((west + east) / 2, (south + north) / 2), room)
        return [Window(1, scale, whole, whole, {})]
    return _tiles(drawn, reach, room, scale)


def _about(middle: tuple[float, float], size: tuple[float, float]) -> Box:
    x, y = middle
    return (x - size[0] / 2, y - size[1] / 2, x + size[0] / 2, y + size[1] / 2)


def _tiles(
    things: Sequence[BaseGeometry], reach: Box, room: tuple[float, float], scale: int
) -> list[Window]:
    lap = OVERLAP * scale / 1000
    size = (room[0] - 2 * lap, room[1] - 2 * lap)
    columns, west = _spread(reach[0], reach[2], size[0])
    rows, south = _spread(reach[1], reach[3], size[1])
    tree = shapely.STRtree(list(things))
    owns: dict[tuple[int, int], Box] = {}
    for row in range(rows):
        for column in range(columns):
            x = west + column * size[0]
            y = south + (rows - 1 - row) * size[1]
            own = (x, y, x + size[0], y + size[1])
            if tree.query(shapely.box(*own), predicate="intersects").size:
                owns[row, column] = own
    numbers = {place: i for i, place in enumerate(owns, start=1)}
    return [
        Window(
            numbers[place],
            scale,
            (own[0] - lap, own[1] - lap, own[2] + lap, own[3] + lap),
            own,
            _neighbours(place, numbers),
        )
        for place, own in owns.items()
    ]


def _spread(low: float, high: float, size: float) -> tuple[int, float]:
    """Count sheets along one side, and find where the first begins."""
    count = max(1, ceil((high - low) / size))
    return count, (low + high - count * size) / 2


def _neighbours(
    place: tuple[int, int], numbers: dict[tuple[int, int], int]
) -> dict[str, int]:
    row, column = place
    sides = {
        "west": (row, column - 1),
        "south": (row + 1, column),
        "east": (row, column + 1),
        "north": (row - 1, column),
    }
    return {side: numbers[at] for side, at in sides.items() if at in numbers}


def find_nearest(points: NDArray[np.float64]) -> float:
    """Find how near plants stand to each other, but for a few. [m].

    Parameters
    ----------
    points : (plant, 2) ndarray
        Easting and northing. [m]
    """
    if len(points) < 2:
        return 1.0
    distances, _ = KDTree(points).query(points, k=2)
    return float(np.percentile(distances[:, 1], NEARER))
