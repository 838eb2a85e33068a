"""The demo's ground is the formula it is said to be, with the hollows it is said to
hold.

The independent reference of the hollows is the fill of richdem.
"""

import numpy as np
import pytest
import richdem
from numpy.typing import NDArray
from scipy.ndimage import label

from sitekit.demo.terrain import (
    CELL,
    COLUMNS,
    LAKE_LEVEL,
    ROWS,
    make_terrain,
)
from sitekit.demo.truth import (
    HEDGE_AREA,
    HEDGE_DEPTH,
    HEDGE_EAST,
    HEDGE_NORTH,
    HEDGE_WEST,
    MEADOW_CLEARED,
    MEADOW_SHUT,
    Pool,
)
from sitekit.kernels.fill import fill

EAST = (np.arange(COLUMNS) + 0.5) * CELL
NORTH = (np.arange(ROWS)[::-1] + 0.5) * CELL
#: A hollow counts from here. [m]
SHALLOW = 0.05
SHUT = {"spruce": True, "hedge": 3.0}


def at(elevation: NDArray[np.float64], east: float, north: float) -> float:
    return float(elevation[ROWS - 1 - int(north // CELL), int(east // CELL)])


def depth_of(elevation: NDArray[np.float64]) -> NDArray[np.float64]:
    """Depth below the spill level, by richdem, for 8 neighbours."""
    # Source: Barnes, Lehman and Mulla 2014, Computers & Geosciences 62 (priority flood).
    raster = richdem.rdarray(elevation.copy(), no_data=-9999)
    filled = richdem.FillDepressions(raster, in_place=False)
    return np.asarray(filled) - elevation


def meadow(depth: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where((EAST < 1096)[None, :] & (NORTH < 260)[:, None], depth, 0)


def behind_hedge(depth: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Cells of the pool that begins in the corner of hedge and wall."""
    parts, _ = label(depth > SHALLOW, np.ones((3, 3)))
    row = ROWS - 1 - int(308 // CELL)
    return parts == parts[row, int(130 // CELL)]


@pytest.mark.parametrize(
    ("east", "north", "height"),
    [
        (602, 82, LAKE_LEVEL),  # on the mere
        (602, 2, 715.3),  # 14 m over 40 m from the south edge
        (1102, 82, 709.0),  # crest of the railway bank
        (1102, 138, 703.2),  # floor of the underpass
        (1102, 170, 709.0),  # the bank again, north of the underpass
        # 722.476 of the profile, 0.01 (702 − 120) of tilt, at y = 402
        (702, 402, 704 + 26 * 182 / 260 + 5.82),
        # on the shelf at y = 514: 730 + 1.4 × 34 / 70, tilt 0.01 × 482
        (602, 514, 730 + 1.4 * 34 / 70 + 4.82),
        # in the dell at y = 602: 731.4 + 26.6 × 52 / 210, tilt 3.1, hollow of 3.5
        (430, 602, 731.4 + 26.6 * 52 / 210 + 3.1 - 3.5),
        # on the down at y = 822: 758 + 8 × 62 / 140, dish 0.00016 × 172²
        (602, 822, 758 + 8 * 62 / 140 + 0.00016 * 172**2),
        # west rise at x = 2: 0.25 × 58, slope at y = 402, tilt 0.01 × −118
        (2, 402, 704 + 26 * 182 / 260 - 1.18 + 14.5),
    ],
)
def test_the_ground_follows_the_formula(east: float, north: float, height: float):
    assert at(make_terrain(noise=False), east, north) == pytest.approx(height, abs=0.01)


def test_unevenness_stays_off_the_mere_and_has_the_stated_spread():
    uneven = make_terrain() - make_terrain(noise=False)
    land = (NORTH > 260)[:, None] & (EAST > 60)[None, :] & (EAST < 1000)[None, :]
    assert uneven[land].std() == pytest.approx(0.06, rel=0.02)
    mere = (NORTH > 40) & (NORTH < 120)
    assert np.all(make_terrain()[mere][:, 15:274] == LAKE_LEVEL)


def test_row_zero_is_the_north_and_the_hill_lies_there():
    elevation = make_terrain()
    assert elevation.shape == (ROWS, COLUMNS)
    assert elevation[:10].mean() > 760
    assert elevation[-30:-10].mean() < 710


def test_the_ground_is_the_same_at_every_call():
    assert np.array_equal(make_terrain(), make_terrain())


def test_bare_earth_holds_neither_hedge_nor_spruce():
    bare, dressed = make_terrain(), make_terrain(**SHUT)
    changed = dressed - bare
    rows, columns = np.nonzero(changed)
    hedge = NORTH[rows] == 302
    wall = EAST[columns] == 122
    spruce = EAST[columns] > 1090
    assert np.all(hedge | wall | spruce)
    assert changed[rows, columns][~spruce] == pytest.approx(3.0)
    assert at(dressed, 1102, 138) == 708.2


@pytest.mark.parametrize(
    ("spruce", "pool"), [(True, MEADOW_SHUT), (False, MEADOW_CLEARED)]
)
def test_the_meadow_pools_as_deep_and_wide_as_planted(spruce: bool, pool: Pool):
    elevation = make_terrain(spruce=spruce)
    depth = meadow(depth_of(elevation))
    assert depth.max() == pytest.approx(pool.depth, rel=0.1)
    land = (depth > SHALLOW) & (NORTH > 120)[:, None]
    assert land.sum() * CELL**2 == pytest.approx(pool.land, rel=0.1)
    assert at(elevation + depth, 602, 82) == pytest.approx(pool.spill, abs=0.01)


def test_without_the_bank_the_meadow_drains():
    assert meadow(depth_of(make_terrain(bank=False)))[NORTH > 120].max() < 0.3


def test_the_hedge_holds_the_planted_pool_at_its_western_end():
    depth = depth_of(make_terrain(**SHUT))
    pool = behind_hedge(depth)
    rows, columns = np.nonzero(pool)
    assert depth[pool].max() == pytest.approx(HEDGE_DEPTH, rel=0.1)
    assert pool.sum() * CELL**2 == pytest.approx(HEDGE_AREA, rel=0.1)
    assert EAST[columns].min() == HEDGE_WEST
    assert EAST[columns].max() == pytest.approx(HEDGE_EAST, rel=0.1)
    assert NORTH[rows].max() == pytest.approx(HEDGE_NORTH, abs=8)


def test_a_gap_in_the_middle_changes_nothing_in_the_pool():
    before = behind_hedge(depth_of(make_terrain(**SHUT)))
    after = behind_hedge(depth_of(make_terrain(**SHUT, gap=(463, 477))))
    assert after.sum() == before.sum()


def test_a_gap_in_the_south_west_corner_empties_the_pool():
    depth = depth_of(make_terrain(**SHUT, gap=(128, 142)))
    foot = (NORTH > 303)[:, None] & (NORTH < 330)[:, None]
    foot = foot & (EAST > 126)[None, :] & (EAST < 400)[None, :]
    assert depth[foot].max() < 0.3


@pytest.mark.parametrize("hedge", [0.0, 3.0])
def test_our_own_filling_agrees_with_richdem(hedge: float):
    elevation = make_terrain(spruce=True, hedge=hedge).astype(np.float32)
    own = fill(elevation) - elevation
    assert own == pytest.approx(depth_of(elevation.astype(np.float64)), abs=1e-3)


def test_the_dell_drains_the_down_and_the_open_shelf_only_itself():
    # Source: O'Callaghan and Mark 1984, CVGIP 28 (one direction of eight), richdem.
    raster = richdem.rdarray(make_terrain(noise=False), no_data=-9999)
    raster.geotransform = (0, CELL, 0, 0, 0, -CELL)
    filled = richdem.FillDepressions(raster, in_place=False)
    area = np.asarray(richdem.FlowAccumulation(filled, method="D8")) * CELL**2
    shelf = (NORTH > 486)[:, None] & (NORTH < 520)[:, None]
    outer = shelf & (EAST > 600)[None, :] & (EAST < 800)[None, :]
    dell = shelf & (np.abs(EAST - 430) < 30)[None, :]
    assert area[outer].max() < 2_000
    assert area[dell].max() > 20_000
