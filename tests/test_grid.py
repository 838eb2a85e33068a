"""The one grid: cells and coordinates, degrees, true north, reading at points."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Geod, Proj, Transformer

from sitekit.grid import Grid
from sitekit.siting.shapes import cut_grid

UTM33 = CRS.from_epsg(32633)
GRID = Grid(UTM33, 500_000.0, 6_650_000.0, 2.5, (4, 6))
WGS84 = Geod(ellps="WGS84")

grids = st.builds(
    Grid,
    crs=st.just(UTM33),
    west=st.integers(300_000, 700_000).map(float),
    north=st.integers(4_500_000, 7_000_000).map(float),
    cell_size=st.sampled_from([1.0, 2.0, 2.5, 5.0, 10.0, 30.0]),
    shape=st.tuples(st.integers(1, 40), st.integers(1, 40)),
)


def grid_around(longitude, latitude, crs=UTM33, cell=10.0):
    """A grid of two by two cells whose middle is at a place."""
    east, north = Transformer.from_crs(4326, crs, always_xy=True).transform(
        longitude, latitude
    )
    return Grid(crs, east - cell, north + cell, cell, (2, 2))


def test_bounds_are_west_south_east_north_of_the_outer_edges():
    assert GRID.bounds == (500_000.0, 6_649_990.0, 500_015.0, 6_650_000.0)


def test_row_nought_is_the_northernmost_and_column_nought_the_westernmost():
    assert GRID.northings[0] == 6_649_998.75
    assert GRID.northings[-1] == 6_649_991.25
    assert GRID.eastings[0] == 500_001.25
    assert GRID.eastings[-1] == 500_013.75


def test_the_middle_and_the_area_of_a_cell():
    assert GRID.centre == (500_007.5, 6_649_995.0)
    assert GRID.cell_area == 6.25


def test_the_transform_carries_cells_to_their_outer_corner():
    assert GRID.transform @ (0, 0) == (500_000.0, 6_650_000.0)
    assert GRID.transform @ (6, 4) == (500_015.0, 6_649_990.0)
    assert (GRID.transform.a, GRID.transform.e) == (2.5, -2.5)
    assert (GRID.transform.b, GRID.transform.d) == (0, 0)


def test_a_grid_cannot_be_changed():
    with pytest.raises(dataclasses.FrozenInstanceError, match="cell_size"):
        GRID.cell_size = 1.0


def test_grids_of_equal_values_are_equal():
    same = Grid(CRS.from_epsg(32633), 500_000.0, 6_650_000.0, 2.5, (4, 6))
    assert same == GRID
    assert dataclasses.replace(GRID, cell_size=5.0) != GRID


@given(grids)
def test_the_centre_of_each_cell_is_found_in_that_cell(grid):
    rows, columns = np.indices(grid.shape)
    found = grid.cells(grid.eastings[columns], grid.northings[rows])
    np.testing.assert_array_equal(found[0], rows)
    np.testing.assert_array_equal(found[1], columns)
    assert grid.holds(*found).all()


@given(grids)
def test_the_centres_lie_half_a_cell_inside_the_bounds(grid):
    west, south, east, north = grid.bounds
    half = grid.cell_size / 2
    assert grid.eastings[0] - west == pytest.approx(half)
    assert east - grid.eastings[-1] == pytest.approx(half)
    assert north - grid.northings[0] == pytest.approx(half)
    assert grid.northings[-1] - south == pytest.approx(half)


@given(grids, st.data())
def test_reading_an_array_at_the_centre_of_a_cell_gives_its_value(grid, data):
    values = np.arange(grid.shape[0] * grid.shape[1], dtype=np.float32)
    values = values.reshape(grid.shape)
    row = data.draw(st.integers(0, grid.shape[0] - 1))
    column = data.draw(st.integers(0, grid.shape[1] - 1))
    read = grid.sample(values, [grid.eastings[column]], [grid.northings[row]])
    assert read.tolist() == [values[row, column]]


@given(grids)
def test_reading_next_to_the_grid_gives_nothing_on_every_side(grid):
    west, south, east, north = grid.bounds
    x, y = grid.centre
    step = grid.cell_size / 2
    eastings = np.array([west - step, east + step, x, x])
    northings = np.array([y, y, north + step, south - step])
    assert not grid.holds(*grid.cells(eastings, northings)).any()
    assert np.isnan(grid.sample(np.ones(grid.shape), eastings, northings)).all()


def test_the_west_and_north_edges_belong_to_the_grid_the_others_do_not():
    west, south, east, north = GRID.bounds
    held = GRID.holds(*GRID.cells([west, east, west], [north, north, south]))
    assert held.tolist() == [True, False, False]


def test_cells_off_the_grid_have_numbers_below_nought_or_past_the_end():
    rows, columns = GRID.cells([499_999.0, 500_016.0], [6_650_001.0, 6_649_989.0])
    assert rows.tolist() == [-1, 4]
    assert columns.tolist() == [-1, 6]


def test_codes_and_flags_are_read_as_numbers_so_that_nothing_can_be_told():
    codes = np.full(GRID.shape, 3, np.uint8)
    read = GRID.sample(codes, [500_001.0, 0.0], [6_649_999.0, 0.0])
    assert read.dtype == np.float64
    assert read[0] == 3
    assert np.isnan(read[1])


def test_reading_keeps_the_shape_of_the_points():
    eastings = np.full((2, 3), 500_001.0)
    read = GRID.sample(np.ones(GRID.shape), eastings, eastings * 0 + 6_649_999.0)
    assert read.shape == (2, 3)


@pytest.mark.parametrize(
    ("longitude", "latitude", "easting", "northing"),
    [
        # Source: transverse Mercator, EPSG Guidance Note 7-2 (method 9807), for WGS 84
        # in UTM zone 33; values made with PROJ.
        (15.0, 60.0, 500_000.000, 6_651_411.190),
        (18.0, 60.0, 667_294.821, 6_655_205.484),
        (12.0, 60.0, 332_705.179, 6_655_205.484),
        (16.5, 63.0, 575_973.733, 6_986_475.387),
    ],
)
def test_coordinates_turn_into_the_degrees_of_the_projection(
    longitude, latitude, easting, northing
):
    found = GRID.degrees(easting, northing)
    # A millimetre is 2e-8 degrees of longitude at 63 north.
    assert found[0] == pytest.approx(longitude, abs=2e-8)
    assert found[1] == pytest.approx(latitude, abs=1e-8)


@given(st.floats(9.5, 20.5), st.floats(35, 70))
def test_degrees_and_coordinates_are_each_other_s_inverse(longitude, latitude):
    grid = grid_around(longitude, latitude)
    assert grid.longitude == pytest.approx(longitude, abs=1e-8)
    assert grid.latitude == pytest.approx(latitude, abs=1e-8)


@pytest.mark.parametrize(
    ("longitude", "latitude", "convergence"),
    [
        # Source: transverse Mercator, EPSG Guidance Note 7-2 (method 9807), for WGS 84
        # in UTM zone 33; values made with PROJ.
        (15.0, 60.0, 0.0),
        (18.0, 60.0, 2.598673),
        (12.0, 60.0, -2.598673),
        (16.5, 63.0, 1.336573),
    ],
)
def test_grid_north_turns_east_of_true_north_east_of_the_central_meridian(
    longitude, latitude, convergence
):
    grid = grid_around(longitude, latitude)
    assert grid.convergence == pytest.approx(convergence, abs=1e-6)


@given(st.floats(9.5, 20.5), st.floats(35, 70))
def test_the_convergence_is_near_that_of_the_sphere(longitude, latitude):
    # Source: tan(convergence) = tan(longitude from the meridian) sin(latitude), exact
    # for the transverse Mercator of a sphere: Snyder 1987, USGS Professional Paper
    # 1395, chapter 8. The ellipsoid differs by thousandths of a degree.
    away = np.radians(longitude - 15.0)
    sphere = np.degrees(np.arctan(np.tan(away) * np.sin(np.radians(latitude))))
    found = grid_around(longitude, latitude).convergence
    assert found == pytest.approx(sphere, abs=0.01)


@pytest.mark.parametrize("longitude", [10.0, 13.5, 15.0, 17.2, 20.0])
def test_a_step_to_grid_north_runs_on_the_true_bearing_of_the_convergence(longitude):
    # Source: geodesics of Karney 2013, Journal of Geodesy 87, by PROJ.
    grid = grid_around(longitude, 61.0)
    x, y = grid.centre
    (west, east), (south, north) = grid.degrees([x, x], [y - 50, y + 50])
    bearing, _, length = WGS84.inv(west, south, east, north)
    assert bearing == pytest.approx(grid.convergence, abs=1e-3)
    assert length == pytest.approx(100.0, rel=1.2e-3)


def test_the_convergence_in_the_south_has_the_other_sign():
    south = CRS.from_epsg(32733)
    assert grid_around(18.0, -60.0, south).convergence == pytest.approx(
        -2.598673, abs=1e-6
    )


def test_the_convergence_is_that_of_the_library_in_another_national_grid():
    # Source: the factors of PROJ, for the grid of Sweden (EPSG:3006).
    crs = CRS.from_epsg(3006)
    factors = Proj(crs).get_factors(20.2, 66.9)
    grid = grid_around(20.2, 66.9, crs)
    assert grid.convergence == pytest.approx(factors.meridian_convergence, abs=1e-6)
    assert grid.convergence > 4


def test_an_array_is_wrapped_with_the_coordinates_of_its_cells():
    values = np.arange(24, dtype=np.float32).reshape(GRID.shape)
    layer = GRID.wrap(values, "slope", units="degree", long_name="slope")
    assert layer.dims == ("y", "x")
    assert layer.name == "slope"
    assert layer.dtype == np.float32
    assert layer.attrs == {"units": "degree", "long_name": "slope"}
    assert layer.sel(x=500_001.25, y=6_649_998.75) == values[0, 0]
    assert layer.sel(x=500_013.75, y=6_649_991.25) == values[-1, -1]


def test_an_array_of_another_shape_cannot_be_wrapped():
    with pytest.raises(ValueError, match="conflicting sizes for dimension"):
        GRID.wrap(np.zeros((3, 6), np.float32), "slope")


@given(grids, st.data())
def test_the_grid_of_a_window_has_the_same_cells_at_the_same_places(grid, data):
    top = data.draw(st.integers(0, grid.shape[0] - 1))
    left = data.draw(st.integers(0, grid.shape[1] - 1))
    window = cut_grid(grid, slice(top, grid.shape[0]), slice(left, grid.shape[1]))
    np.testing.assert_allclose(window.eastings, grid.eastings[left:], atol=1e-6)
    np.testing.assert_allclose(window.northings, grid.northings[top:], atol=1e-6)
    assert window.bounds[1:3] == pytest.approx(grid.bounds[1:3])
