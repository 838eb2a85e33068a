"""Open ground: headlands, lanes for cold air, setbacks; direction of rows."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS
from shapely.geometry import LineString, Point, Polygon, box

from sitekit.grid import Grid
from sitekit.planting.bearing import choose_bearing, find_guide, mean_slope
from sitekit.planting.lanes import (
    find_headlands,
    find_setbacks,
    headland_lanes,
    plan_cold_air_lanes,
)
from sitekit.planting.rows import lay_rows

UTM = CRS.from_epsg(32633)
FIELD = box(0, 0, 200, 100)


def paths(*lines, catchment=1.0):
    return GeoDataFrame(
        {"catchment_ha": [catchment] * len(lines)}, geometry=list(lines), crs=UTM
    )


@pytest.mark.parametrize(
    ("bearing", "area"), [(0, 2 * 6 * 200), (90, 2 * 6 * 100), (180, 2 * 6 * 200)]
)
def test_headlands_of_a_box_lie_across_the_rows(bearing, area):
    assert find_headlands(FIELD, bearing, 6).area == pytest.approx(area)


def test_oblique_rows_end_at_all_four_sides():
    """Along rows at 45 degrees, 6 m are 6 / √2 from each side."""
    left = FIELD.difference(find_headlands(FIELD, 45, 6))
    deep = 6 / np.sqrt(2)
    assert left.equals_exact(
        box(deep, deep, 200 - deep, 100 - deep).normalize(), 1e-6
    ) or left.symmetric_difference(
        box(deep, deep, 200 - deep, 100 - deep)
    ).area == pytest.approx(0, abs=1e-6)


def test_each_part_of_a_field_has_its_headlands():
    parts = shapely.MultiPolygon([box(0, 0, 50, 40), box(60, 0, 110, 40)])
    assert find_headlands(parts, 0, 6).area == pytest.approx(2 * 600)


def test_a_hole_makes_no_headland():
    holed = FIELD.difference(Point(100, 50).buffer(10))
    assert find_headlands(holed, 0, 6).area == pytest.approx(2400)


def test_headlands_are_listed_with_their_width():
    lanes = headland_lanes(FIELD, 0, 6, UTM)
    assert lanes["kind"].tolist() == ["headland"]
    assert lanes["width_m"].tolist() == [6.0]
    assert lanes.crs == UTM
    assert headland_lanes(FIELD, 0, 0, UTM).empty


def test_a_lane_runs_straight_from_where_a_path_enters_to_where_it_leaves():
    """A path that wobbles by a cell is straightened; its area is length × width."""
    path = LineString([(100, 120), (101, 70), (99, 40), (100, -20)])
    lanes = plan_cold_air_lanes(FIELD, paths(path), lane_width=6)
    assert len(lanes) == 1
    lane = lanes.geometry.iloc[0]
    assert lane.area == pytest.approx(100 * 6, rel=0.02)
    assert lane.minimum_rotated_rectangle.area == pytest.approx(lane.area, rel=0.02)
    assert lanes["kind"].tolist() == ["cold-air lane"]


def test_a_lane_reaches_through_the_ground_so_that_air_runs_out():
    path = LineString([(100, 120), (100, -20)])
    lane = plan_cold_air_lanes(FIELD, paths(path)).geometry.iloc[0]
    assert lane.covers(LineString([(100, 100), (100, 0)]))


def test_no_tree_stands_in_a_lane():
    lanes = plan_cold_air_lanes(FIELD, paths(LineString([(50, 120), (150, -20)])))
    ground = FIELD.difference(lanes.union_all())
    layout = lay_rows(ground, spacing=4, row_spacing=5)
    assert (
        not lanes.union_all()
        .buffer(-1e-6)
        .intersects(shapely.MultiPoint(layout.positions))
    )
    assert 350 < len(layout.positions) < 1000


def test_a_lane_along_a_bent_path_follows_it():
    path = LineString([(20, 120), (20, 50), (180, 50), (180, -20)])
    lane = plan_cold_air_lanes(FIELD, paths(path), lane_width=6).geometry.iloc[0]
    assert lane.buffer(0.5).covers(path.intersection(FIELD))


def test_small_paths_keep_no_lane():
    path = paths(LineString([(100, 120), (100, -20)]), catchment=0.3)
    lanes = plan_cold_air_lanes(FIELD, path)
    assert lanes.empty
    assert list(lanes.columns) == ["kind", "width_m", "geometry"]
    assert len(plan_cold_air_lanes(FIELD, path, lane_catchment=0.2)) == 1


def test_without_path_or_ground_there_is_no_lane():
    far = paths(LineString([(900, 0), (900, 100)]))
    for ground, found in ((FIELD, paths()), (Polygon(), far), (FIELD, far)):
        assert plan_cold_air_lanes(ground, found).empty


def test_a_path_in_segments_that_meet_is_one_lane():
    parts = paths(
        LineString([(100, 120), (100, 50)]), LineString([(100, 50), (100, -20)])
    )
    assert len(plan_cold_air_lanes(FIELD, parts)) == 1


def test_plants_keep_off_edge_water_services_and_roots(small_survey):
    site = small_survey.site
    west, south, *_ = site.grid.bounds
    pipe = GeoDataFrame(
        {"kind": ["water pipe"], "certainty": ["surveyed, ± 1 m"]},
        geometry=[LineString([(west + 400, south), (west + 400, south + 600)])],
        crs=site.grid.crs,
    )
    site = replace(site, vectors={**site.vectors, "services": pipe})
    setbacks = find_setbacks(site)
    kinds = set(setbacks["kind"])
    assert {"field edge", "service", "roots", "no-go"} <= kinds
    field = shapely.union_all(list(site.field.geometry))
    left = field.difference(setbacks.union_all())
    assert left.distance(field.boundary) == pytest.approx(3.0, abs=1e-6)
    assert left.distance(pipe.geometry.iloc[0]) == pytest.approx(3.0, abs=1e-6)
    tree = site.vectors["existing_trees"].geometry.iloc[0]
    assert left.distance(tree) == pytest.approx(5.0, abs=0.1)
    hedge = site.vectors["barriers"].geometry.iloc[0]
    assert left.distance(hedge) >= 5.0 - 0.1


def test_setbacks_lie_in_the_field_and_can_be_changed(small_survey):
    site = small_survey.site
    field = shapely.union_all(list(site.field.geometry))
    narrow = find_setbacks(site, edge_setback=1, root_setback=0)
    wide = find_setbacks(site, edge_setback=10, root_setback=12)
    assert narrow.union_all().area < wide.union_all().area
    assert wide.union_all().difference(field).area == pytest.approx(0, abs=1e-6)
    assert list(wide.columns) == ["kind", "width_m", "geometry"]


def test_water_beside_the_field_keeps_its_strip(small_survey):
    site = small_survey.site
    setbacks = find_setbacks(site, water_setback=30)
    strip = setbacks[setbacks["kind"] == "water"].union_all()
    assert strip.area == pytest.approx(500 * 20, rel=0.01)


# Limits: common practice, no source, but 15° = 26.8 % of operator manuals.
@pytest.mark.parametrize(
    ("slope", "aspect", "bearing", "pattern"),
    [
        (1.0, 90.0, 0.0, "grid"),
        (5.0, 200.0, 0.0, "grid"),
        (5.0, 100.0, 100.0, "grid"),
        (14.0, 200.0, 20.0, "grid"),
        (14.0, 350.0, 170.0, "grid"),
        (30.0, 180.0, 90.0, "contour"),
    ],
)
def test_bearing_by_sun_on_level_and_by_machine_on_steep_ground(
    slope, aspect, bearing, pattern
):
    direction = choose_bearing(slope, aspect)
    assert direction.bearing == pytest.approx(bearing)
    assert direction.pattern == pattern
    assert direction.reason.endswith(".")


@given(st.floats(0, 60), st.floats(0, 360))
def test_rows_drain_cold_air_wherever_a_machine_drives_on_a_slope(slope, aspect):
    direction = choose_bearing(slope, aspect)
    assert 0 <= direction.bearing < 180
    across = abs((direction.bearing - aspect + 90) % 180 - 90)
    if 3 <= slope < 26.8:
        assert across <= 45 + 1e-9
    if 10 <= slope < 26.8:
        assert across == pytest.approx(0, abs=1e-6)


def test_slopes_that_cancel_are_level():
    slope, aspect = mean_slope(np.array([5.0, 5.0]), np.array([90.0, 270.0]))
    assert slope == pytest.approx(0, abs=1e-6)
    assert np.isnan(aspect)


def test_the_mean_of_aspects_beside_north_is_north():
    slope, aspect = mean_slope(np.array([5.0, 5.0]), np.array([350.0, 10.0]))
    assert min(aspect, 360 - aspect) == pytest.approx(0, abs=1e-6)
    expected = 100 * np.tan(np.radians(5)) * np.cos(np.radians(10))
    assert slope == pytest.approx(expected)


def test_level_cells_and_missing_ones_have_no_fall():
    slope, aspect = mean_slope(np.array([np.nan]), np.array([np.nan]))
    assert np.isnan(slope)
    assert np.isnan(aspect)
    assert mean_slope(np.array([0.0]), np.array([np.nan]))[0] == 0


def cone():
    grid = Grid(UTM, 0.0, 400.0, 2.0, (200, 200))
    x, y = grid.eastings[None, :], grid.northings[:, None]
    heights = (500 - 0.1 * np.hypot(x - 200, y - 0)).astype(np.float32)
    return grid, heights


def test_the_guide_follows_the_height_line():
    grid, heights = cone()
    ground = box(140, 160, 260, 240)
    guide = find_guide(ground, heights, grid)
    places = shapely.get_coordinates(guide.intersection(ground))
    radius = np.hypot(places[:, 0] - 200, places[:, 1])
    assert radius.mean() == pytest.approx(200, abs=grid.cell_size)
    assert np.ptp(radius) < 0.2


def test_contour_rows_stay_near_one_height():
    """On a cone the rows are height lines: all plants of a row have one height."""
    grid, heights = cone()
    ground = box(140, 160, 260, 240)
    layout = lay_rows(
        ground,
        spacing=4,
        row_spacing=5,
        pattern="contour",
        guide=find_guide(ground, heights, grid),
    )
    height = 500 - 0.1 * np.hypot(layout.positions[:, 0] - 200, layout.positions[:, 1])
    for row in np.unique(layout.row):
        assert np.ptp(height[layout.row == row]) < 0.25
    assert len(layout.lines) > 12


def test_level_ground_and_no_ground_have_no_guide():
    grid, heights = cone()
    assert find_guide(Polygon(), heights, grid) is None
    assert find_guide(box(140, 160, 260, 240), np.full_like(heights, 5.0), grid) is None


@pytest.mark.parametrize(
    ("certainty", "width"),
    [("surveyed, ± 1 m", 3.0), ("from memory, ± 10 m", 10.5), ("", 5.5)],
)
def test_a_service_is_kept_off_as_far_as_its_place_is_unsure(
    small_survey, certainty, width
):
    site = small_survey.site
    west, south, *_ = site.grid.bounds
    line = LineString([(west + 400, south), (west + 400, south + 600)])
    pipe = GeoDataFrame(
        {"kind": ["water pipe"], "certainty": [certainty]},
        geometry=[line],
        crs=site.grid.crs,
    )
    setbacks = find_setbacks(replace(site, vectors={**site.vectors, "services": pipe}))
    service = setbacks.loc[setbacks["kind"] == "service", "geometry"].union_all()
    assert service.bounds[2] - service.bounds[0] == pytest.approx(2 * width)
