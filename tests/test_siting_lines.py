"""Cold-air paths and height lines, against surfaces whose lines are known."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.kernels.accumulation import find_catchment_areas, find_directions
from sitekit.kernels.fill import fill
from sitekit.siting.lines import (
    LINES_WANTED,
    STEPS,
    choose_step,
    contours_of,
    draw_contours,
    find_cold_air_paths,
)

CELL = 5.0


def grid_of(shape, cell=CELL):
    return Grid(CRS.from_epsg(32633), 1000.0, 5000.0, cell, shape)


@pytest.fixture(scope="module")
def shelf():
    """Keeps the made site for all tests of this file; none of them changes it."""
    return {}


@pytest.fixture
def site(request, shelf):
    if not shelf:
        shelf["site"] = request.getfixturevalue("small_survey").site
    return shelf["site"]


@pytest.mark.parametrize(
    ("spread", "step"),
    [(0.0, 0.5), (12.5, 0.5), (12.6, 1.0), (25, 1.0), (26, 2.0), (240, 10.0)],
)
def test_the_step_is_the_smallest_that_makes_few_lines(spread, step):
    assert choose_step(np.array([100.0, 100.0 + spread])) == step


@given(st.floats(0, 9000), st.floats(-400, 4000))
def test_no_more_lines_than_wanted_unless_the_largest_step_makes_more(spread, base):
    heights = np.array([base, np.nan, base + spread])
    step = choose_step(heights)
    assert step in STEPS
    assert spread / step <= LINES_WANTED + 1e-6 or step == STEPS[-1]


def test_missing_ground_does_not_change_the_step():
    assert choose_step(np.array([1.0, 9.0])) == choose_step(
        np.array([1.0, np.nan, 9.0])
    )


def cone(side, slope):
    grid = grid_of((side, side))
    east, north = np.meshgrid(grid.eastings, grid.northings)
    middle = (grid.eastings.mean(), grid.northings.mean())
    away = np.hypot(east - middle[0], north - middle[1])
    return (slope * away).astype(np.float32), grid, middle


@pytest.mark.parametrize("level", [10, 20, 30, 40])
def test_height_lines_of_a_cone_are_its_circles(level):
    # Analytic: the line at height z of z = s r is the circle of radius z / s.
    heights, grid, middle = cone(101, 0.25)
    lines = contours_of(heights, grid, 10.0)
    [circle] = lines[lines["elevation_m"] == level].geometry
    radius = level / 0.25
    away = [shapely.Point(p).distance(shapely.Point(middle)) for p in circle.coords]
    assert np.allclose(away, radius, atol=0.3)
    assert circle.length == pytest.approx(2 * np.pi * radius, rel=0.01)
    assert circle.is_ring


@settings(max_examples=25, deadline=None)
@given(st.floats(-500, 3000).map(lambda v: round(v, 1)), st.sampled_from(STEPS[:5]))
def test_every_line_lies_at_a_whole_number_of_steps_within_the_relief(base, step):
    heights, grid, _ = cone(31, 0.2)
    heights = heights + np.float32(base)
    for level in contours_of(heights, grid, step)["elevation_m"]:
        assert level / step == pytest.approx(round(level / step), abs=1e-6)
        assert heights.min() <= level <= heights.max()


def test_height_lines_stop_at_missing_ground():
    heights, grid, _ = cone(41, 0.25)
    heights[:, 20] = np.nan
    lines = contours_of(heights, grid, 5.0)
    gap = shapely.LineString(
        [(grid.eastings[20], grid.bounds[1]), (grid.eastings[20], grid.north)]
    )
    assert len(lines) > 4
    assert not lines.intersects(gap).any()


def test_level_ground_has_no_height_line():
    assert contours_of(np.full((9, 9), 7.3, np.float32), grid_of((9, 9)), 1.0).empty


def test_height_lines_are_drawn_around_the_field_and_no_farther(site):
    lines = draw_contours(site)
    west, south, east, north = site.field.total_bounds
    drawn = shapely.box(west, south, east, north).buffer(501 + CELL, join_style="mitre")
    assert not lines.empty
    assert lines.within(drawn).all()
    assert lines.crs == site.grid.crs


def valley(site, water=None):
    """Two slopes that meet in a valley down the middle, falling to the south."""
    grid = site.grid
    middle = grid.eastings[grid.shape[1] // 2]
    east, north = np.meshgrid(grid.eastings, grid.northings)
    ground = 0.2 * np.abs(east - middle) + 0.05 * (north - grid.bounds[1])
    ground = (ground + 100).astype(np.float32)
    directions = find_directions(ground)
    areas = find_catchment_areas(directions, grid.cell_size**2)
    wet = np.zeros(grid.shape, bool) if water is None else water
    return replace(site, water_mask=wet), directions, areas, middle


def test_the_path_of_a_valley_runs_down_its_middle_and_grows(site):
    made, directions, areas, middle = valley(site)
    paths = find_cold_air_paths(made, directions, areas, path_catchment=2.0)
    longest = max(paths.geometry, key=lambda line: line.length)
    easts = np.array(longest.coords)[:, 0]
    norths = np.array(longest.coords)[:, 1]
    assert np.abs(easts - middle).max() <= 1.5 * CELL
    assert (np.diff(norths) < 0).all()
    assert paths["catchment_ha"].max() > 40


@pytest.mark.parametrize("least", [0.5, 2.0, 8.0])
def test_no_path_drains_less_than_was_asked_for(site, least):
    made, directions, areas, _ = valley(site)
    paths = find_cold_air_paths(made, directions, areas, path_catchment=least)
    assert not paths.empty
    assert (paths["catchment_ha"] >= least).all()


def test_asking_for_larger_catchments_never_makes_more_paths(site):
    made, directions, areas, _ = valley(site)
    lengths = [
        find_cold_air_paths(made, directions, areas, path_catchment=least).length.sum()
        for least in (0.2, 0.5, 2.0, 8.0, 1000.0)
    ]
    assert lengths == sorted(lengths, reverse=True)
    assert lengths[-1] == 0


def test_a_path_ends_at_the_water(site):
    water = np.zeros(site.grid.shape, bool)
    water[90:] = True
    made, directions, areas, _ = valley(site, water)
    paths = find_cold_air_paths(made, directions, areas, path_catchment=2.0)
    shore = site.grid.northings[90]
    assert not paths.empty
    assert paths.bounds["miny"].min() >= shore - CELL


def test_paths_of_filled_ground_leave_a_hollow(site):
    _, _, _, middle = valley(site)
    grid = site.grid
    east, north = np.meshgrid(grid.eastings, grid.northings)
    ground = 100 + 0.2 * np.abs(east - middle) + 0.05 * (north - grid.bounds[1])
    ground -= 4 * np.exp(-(((north - grid.northings[60]) / 20) ** 2))
    filled = fill(ground.astype(np.float32))
    directions = find_directions(filled)
    areas = find_catchment_areas(directions, grid.cell_size**2)
    dry = replace(site, water_mask=np.zeros(grid.shape, bool))
    paths = find_cold_air_paths(dry, directions, areas, path_catchment=2.0)
    assert paths.bounds["miny"].min() < grid.northings[100]
