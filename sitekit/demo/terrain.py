"""Invented terrain of the demo holding: a formula, no real place."""

import numpy as np
from numpy.typing import NDArray

#: Side of a cell. [m]
CELL = 4.0
ROWS, COLUMNS = 225, 300
#: Lower-left corner in EPSG:32633. [m]
WEST, SOUTH = 500_000.0, 5_130_000.0
#: Level of the mere. [m]
LAKE_LEVEL = 702.0
#: Crest of the railway bank, floor of its underpass, spruce that shuts it. [m]
BANK_CREST, UNDERPASS, SPRUCE_TOP = 709.0, 703.2, 708.2

Array = NDArray[np.float64]

#: From south to north: mere, meadow, lower slope, shelf, upper slope, open down.
_PROFILE_NORTH = [0, 40, 120, 220, 480, 550, 760, 900]
_PROFILE_HEIGHT = [716, 702, 702, 704.0, 730.0, 731.4, 758, 766]


def _positions() -> tuple[Array, Array]:
    """Metres east and north of the corner at each cell centre; row 0 is north."""
    east = (np.arange(COLUMNS) + 0.5) * CELL
    north = (np.arange(ROWS)[::-1] + 0.5) * CELL
    x, y = np.meshgrid(east, north)
    return x, y


def _share(distance: Array, length: float) -> Array:
    """Rise linearly from 0 to 1 over a length."""
    return np.clip(distance / length, 0, 1)


def _landforms(x: Array, y: Array) -> Array:
    """Sum up what shapes the bare valley."""
    valley = np.interp(y, _PROFILE_NORTH, _PROFILE_HEIGHT)
    tilt = 0.01 * (x - 120) * _share(y - 220, 60) * _share(820 - y, 200)
    meadow_fall = 0.002 * (1200 - x) * _share(y - 120, 40) * _share(240 - y, 40)
    dell = -3.5 * np.exp(-(((x - 430) / 28) ** 2))
    dell = dell * _share(y - 430, 40) * _share(800 - y, 120)
    down = 0.00016 * (x - 430) ** 2 * _share(y - 700, 80)
    west_rise = 0.25 * np.clip(60 - x, 0, 60)
    spur = 0.22 * np.clip(y - 190, 0, 60) * _share(x - 1000, 60) * _share(1180 - x, 40)
    return valley + tilt + meadow_fall + dell + down + west_rise + spur


def _roughness(height: Array) -> Array:
    """Seeded unevenness of 0.06 m on land; the mere is level."""
    uneven = np.random.default_rng(7).normal(0, 0.06, height.shape)[::-1]
    return np.where(height < LAKE_LEVEL + 0.3, 0, uneven)


def make_terrain(
    *,
    bank: bool = True,
    spruce: bool = False,
    hedge: float = 0.0,
    gap: tuple[float, float] | None = None,
    noise: bool = True,
) -> Array:
    """Make the height of the ground of Averlow Shelf.

    The files of the demo hold bare earth; hedge, wall and spruce lie in the layer
    of barriers. As terrain they serve to check what the barriers must do.

    Parameters
    ----------
    bank : bool
        With the railway bank and its underpass.
    spruce : bool
        With spruce as solid ground in the underpass.
    hedge : float
        Height of hedge and wall as solid ground. [m]
    gap : tuple of float
        A gap in hedge and wall, from here to here, east of the corner. [m]
    noise : bool
        With the unevenness of the ground.

    Returns
    -------
    elevation : (225, 300) ndarray of float64
        Height of the ground; row 0 is the northernmost. [m]

    Examples
    --------
    >>> make_terrain().shape, float(make_terrain()[-20, 150])
    ((225, 300), 702.0)
    """
    x, y = _positions()
    height = _landforms(x, y)
    if noise:
        height = height + _roughness(height)
    if bank:
        on_bank = (x >= 1096) & (x < 1108) & (y <= 230)
        below = on_bank & (np.abs(y - 140) < 8)
        height = np.where(on_bank, np.maximum(height, BANK_CREST), height)
        height = np.where(below, SPRUCE_TOP if spruce else UNDERPASS, height)
    if hedge:
        height = np.where(_lines(x, y, gap), height + hedge, height)
    return height


def _lines(x: Array, y: Array, gap: tuple[float, float] | None) -> NDArray[np.bool_]:
    """Cells of the beech hedge and of the wall, without the gap in the hedge."""
    hedge = (np.abs(y - 302) < 4) & (x >= 120) & (x <= 820)
    wall = (np.abs(x - 122) < 4) & (y >= 302) & (y <= 470)
    lines = hedge | wall
    if gap is not None:
        lines &= ~(hedge & (x >= gap[0]) & (x <= gap[1]))
    return lines
