"""Layers of the bare ground: names, true north, wetness."""

import numpy as np
import pytest
from numpy.typing import NDArray
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.layers import make_layers
from sitekit.layers.catalogue import CATALOGUE
from sitekit.layers.terrain import aspect, elevation, land_slope, slope, wetness_index


def falling_south(rows=60, columns=9, cell_size=10.0, per_cent=10.0):
    heights = np.arange(rows, 0, -1) * cell_size * per_cent / 100
    return np.repeat(heights.astype(np.float32)[:, None], columns, axis=1)


def grid_at(easting: float, shape: tuple[int, int], cell_size: float = 10.0) -> Grid:
    return Grid(CRS.from_epsg(32633), easting, 5_200_000.0, cell_size, shape)


def make(names: list[str], ground: NDArray[np.float32], grid: Grid):
    given = {"survey_elevation": ground, "ground": ground}
    layers, absent = make_layers(names, given, grid)
    assert not absent
    return layers


def test_the_elevation_is_written_as_it_was_read():
    ground = falling_south()
    assert elevation(ground) is ground
    layers = make(["elevation"], ground, grid_at(500_000, ground.shape))
    np.testing.assert_array_equal(layers["elevation"], ground)


@pytest.mark.parametrize(
    ("name", "units"),
    [
        ("elevation", "m"),
        ("slope", "degree"),
        ("aspect", "degree"),
        ("wetness_index", "1"),
    ],
)
def test_layers_stand_in_the_catalogue_with_unit_and_source(name, units):
    entry = CATALOGUE[name]
    assert entry.units == units
    assert entry.long_name
    assert entry.reference
    assert entry.written


def test_slope_and_aspect_are_made_of_the_ground_without_steps():
    assert CATALOGUE["slope"].needs == ("ground",)
    assert CATALOGUE["aspect"].needs == ("ground",)


def test_slope_counts_from_horizontal_over_metres():
    ground = falling_south(cell_size=10.0, per_cent=17.0)
    # Derived: the arctangent of 0.17 is 9.648 degrees.
    np.testing.assert_allclose(slope(ground, cell_size=10.0), 9.648, atol=5e-4)
    np.testing.assert_allclose(slope(ground, cell_size=20.0), 4.858, atol=5e-4)


@pytest.mark.parametrize(
    ("convergence", "faces"),
    [(0.0, 180.0), (1.25, 181.25), (-1.25, 178.75), (-181.0, 359.0), (181.0, 1.0)],
)
def test_a_true_bearing_is_the_grid_bearing_plus_the_convergence(convergence, faces):
    bearing = aspect(falling_south(), cell_size=10.0, convergence=convergence)
    np.testing.assert_allclose(bearing, faces, atol=1e-3)


def test_aspect_stays_below_a_full_turn():
    northward = np.ascontiguousarray(falling_south()[::-1])
    for convergence in (-1e-6, 0.0, 360.0, 1e-6):
        bearing = aspect(northward, cell_size=10.0, convergence=convergence)
        assert bearing.min() >= 0
        assert bearing.max() < 360


def test_ground_that_falls_due_south_in_truth_faces_180_east_of_the_meridian():
    # Derived: two points on one meridian, projected, give the bearing of true
    # north on the grid; the ground is tilted along it.
    grid = grid_at(660_000.0, (40, 40))
    x, y = np.meshgrid(grid.eastings, grid.northings)
    longitude, latitude = grid.degrees(*grid.centre)
    to_grid = grid._to_degrees
    x1, y1 = to_grid.transform(longitude, latitude - 0.001, direction="INVERSE")
    x2, y2 = to_grid.transform(longitude, latitude + 0.001, direction="INVERSE")
    north = np.array([x2 - x1, y2 - y1]) / np.hypot(x2 - x1, y2 - y1)
    rise = (x - grid.centre[0]) * north[0] + (y - grid.centre[1]) * north[1]
    layers = make(["aspect"], (0.1 * rise).astype(np.float32), grid)
    assert abs(grid.convergence) > 1
    np.testing.assert_allclose(layers["aspect"], 180, atol=0.01)


def test_level_ground_faces_nowhere_and_missing_ground_has_nothing():
    ground = np.full((6, 6), 3, np.float32)
    ground[2, 2] = np.nan
    assert np.isnan(aspect(ground, cell_size=1.0, convergence=2.0)).all()
    assert np.isnan(slope(ground, cell_size=1.0)).sum() == 1


@pytest.mark.parametrize(
    ("specific", "degrees", "wetness"),
    [(10, 10, 4.0380), (100, 5, 7.0414), (1000, 2, 10.2624), (5000, 1, 12.5653)],
)
@pytest.mark.parametrize("cell_size", [1.0, 5.0])
def test_wetness_is_the_logarithm_of_catchment_over_slope(
    specific, degrees, wetness, cell_size
):
    # Source: Beven and Kirkby 1979, Hydrological Sciences Bulletin 24, 43-69
    # (formula from memory, values computed).
    area = np.full((1, 1), specific * cell_size, np.float32)
    steepness = np.full((1, 1), degrees, np.float32)
    found = wetness_index(area, steepness, cell_size=cell_size)
    assert found[0, 0] == pytest.approx(wetness, abs=1e-4)


def test_wetness_of_an_inclined_plane_grows_with_the_ground_above():
    # Derived: ln(10 n / 0.1) in the n-th cell below the divide.
    ground = falling_south(rows=60, cell_size=10.0, per_cent=10.0)
    layers = make(["wetness_index"], ground, grid_at(500_000, ground.shape))
    wetness = layers["wetness_index"].to_numpy()
    for n, expected in ((1, 4.6052), (10, 6.9078), (50, 8.5172)):
        np.testing.assert_allclose(wetness[n - 1], expected, atol=1e-3)
    assert wetness.dtype == np.float32


def test_level_ground_counts_as_a_tenth_of_a_per_cent_steep():
    area, level = np.full((1, 1), 100, np.float32), np.zeros((1, 1), np.float32)
    wetness = wetness_index(area, level, cell_size=10.0)
    assert wetness[0, 0] == pytest.approx(np.log(10 / 0.001), abs=1e-5)


def test_noise_makes_no_slope_of_the_land():
    # Horn 1981: noise s makes each rise uncertain by s sqrt(12) / (8 cell).
    _, y = np.meshgrid(np.arange(80), np.arange(80) * 2.0)
    noise = np.random.default_rng(1).normal(0, 0.04, y.shape)
    made = (0.002 * y + noise).astype(np.float32)
    fine = np.tan(np.radians(slope(made, cell_size=2.0)))[5:-5, 5:-5]
    broad = np.tan(np.radians(land_slope(made, cell_size=2.0)))[5:-5, 5:-5]
    assert np.median(fine) > 0.009
    assert broad.max() < 0.01
    assert broad.mean() == pytest.approx(0.002, abs=0.0015)


def test_the_slope_of_the_land_is_that_of_a_plane_and_knows_no_missing_ground():
    y = np.arange(60)[:, None] * 2.0 + np.zeros((1, 60))
    made = (0.1 * y).astype(np.float32)
    made[30, 30] = np.nan
    found = np.tan(np.radians(land_slope(made, cell_size=2.0)))
    assert np.isnan(found[30, 30])
    assert found[12:20, 12:20] == pytest.approx(0.1, rel=1e-4)
