"""Paths of cold air: troughs that gather enough ground, and how far they reach."""

import numpy as np
import pytest

from sitekit.layers.cold_paths import SMALLEST_PATH, find_troughs, path_margin

CELL = 5.0


def mesh(rows=80, columns=80, cell=CELL):
    x = (np.arange(columns) + 0.5) * cell
    y = (rows - np.arange(rows) - 0.5) * cell
    return np.meshgrid(x, y)


def dell():
    """A slope with a dell along its middle, and the catchment of its bed."""
    x, y = mesh()
    ground = 100 + 0.1 * y - 2 * np.exp(-(((x - 200) / 20) ** 2))
    catchment = np.where(np.abs(x - 200) < CELL, 20_000.0, 200.0)
    return ground.astype(np.float32), catchment.astype(np.float32)


def margin(ground, catchment, water=None, **settings):
    water = np.zeros(ground.shape, bool) if water is None else water
    return path_margin(catchment, ground, water, cell_size=CELL, **settings)


def troughs(ground):
    return find_troughs(ground, np.ones(ground.shape, bool), CELL)


def test_a_dell_is_a_trough_and_a_plane_a_ridge_and_an_edge_are_none():
    x, y = mesh()
    ground, _ = dell()
    assert troughs(ground)[40, 39:41].all()
    for other in (100 + 0.1 * y, 100 + 0.1 * y + 2 * np.exp(-(((x - 200) / 20) ** 2))):
        found = troughs(other.astype(np.float32))
        assert not found[20:-20, 38:42].any()


def test_the_foot_of_a_steep_slope_is_no_trough():
    _, y = mesh()
    ground = (100 + np.where(y > 200, 0.13 * (y - 200), 0.026 * (y - 200))).astype("f4")
    assert not troughs(ground).any()


@pytest.mark.parametrize("bearing", [0, 30, 45, 110, 200, 315])
def test_a_dell_is_a_trough_at_any_bearing(bearing):
    x, y = mesh()
    along = np.cos(np.radians(bearing)) * (y - 200) + np.sin(np.radians(bearing)) * (
        x - 200
    )
    across = -np.sin(np.radians(bearing)) * (y - 200) + np.cos(np.radians(bearing)) * (
        x - 200
    )
    ground = 100 - 0.1 * along - 2 * np.exp(-((across / 20) ** 2))
    found = troughs(ground.astype(np.float32))
    inside = np.hypot(x - 200, y - 200) < 140
    assert found[inside & (np.abs(across) < 4)].all()
    assert not found[inside & (np.abs(across) > 25)].any()


def test_missing_ground_makes_no_trough():
    _, y = mesh()
    ground = (100 + 0.1 * y).astype(np.float32)
    ground[30:50, 30:50] = np.nan
    assert not troughs(ground).any()


def test_the_reach_of_a_path_grows_with_the_root_of_the_ground_it_drains():
    # An adviser keeps 35 m from a dell that drains 4 ha: 17 m for 1 ha (common
    # practice, no source).
    ground, catchment = dell()
    for area, reach in ((10_000, 17.0), (40_000, 34.0)):
        made = margin(ground, np.where(catchment > 1000, area, 200).astype(np.float32))
        away = np.arange(80)[made[40] < 1] * CELL + CELL / 2
        # Classes of doubling catchment: at most a fifth out.
        half = np.abs(away - 200).max()
        assert reach / 2**0.25 - CELL <= half <= reach * 2**0.25 + CELL


def test_the_margin_grows_away_from_the_path():
    ground, catchment = dell()
    across = margin(ground, catchment)[40]
    assert across[39] == 0
    assert (np.diff(across[40:]) >= 0).all()
    assert (np.diff(across[:40]) <= 0).all()


def test_little_ground_and_a_plane_have_no_path():
    ground, catchment = dell()
    assert np.isinf(margin(ground, np.minimum(catchment, SMALLEST_PATH / 2))).all()
    _, y = mesh()
    assert np.isinf(margin((100 + 0.1 * y).astype(np.float32), catchment)).all()


def test_water_carries_no_path():
    ground, catchment = dell()
    water = np.ones(ground.shape, bool)
    assert np.isinf(margin(ground, catchment, water)).all()


def test_a_wider_reach_makes_all_margins_smaller():
    ground, catchment = dell()
    wide, usual = margin(ground, catchment, path_reach=34.0), margin(ground, catchment)
    assert wide == pytest.approx(usual / 2)


def test_a_larger_catchment_never_widens_the_margin():
    ground, catchment = dell()
    assert (margin(ground, 4 * catchment) <= margin(ground, catchment)).all()
