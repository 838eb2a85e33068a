"""Marks stand where a map-maker would put them."""

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given
from hypothesis import strategies as st

from sitekit.cartography import lines

SQUARE = shapely.box(0, 0, 110, 110)


def test_simplified_lines_move_by_at_most_half_a_cell():
    x = np.arange(0, 500, 1.0)
    wavy = shapely.LineString(np.column_stack([x, 20 * np.sin(x / 30)]))
    (simpler,) = lines.simplify([wavy], 4.0)
    assert simpler.hausdorff_distance(wavy) <= 2.0
    assert shapely.get_num_coordinates(simpler) < 100


def test_a_set_of_lines_that_is_too_heavy_is_simplified_further(monkeypatch):
    monkeypatch.setattr(lines, "MOST_CORNERS", 20)
    x = np.arange(0, 500, 1.0)
    wavy = shapely.LineString(np.column_stack([x, 3 * np.sin(x / 5)]))
    (simpler,) = lines.simplify([wavy], 1.0)
    assert shapely.get_num_coordinates(simpler) <= 20


@given(st.sampled_from([0.5, 1.0, 2.0, 5.0]), st.integers(-20, 100))
def test_every_fifth_height_line_is_strong(interval, first):
    elevations = (first + np.arange(20)) * interval
    assert lines.find_strong(elevations).sum() == 4


def test_figures_keep_away_from_other_writing_and_near_the_field():
    contours = GeoDataFrame(
        {"elevation_m": [10.0 + 2 * i for i in range(16)]},
        geometry=[shapely.LineString([(-500, y), (700, y)]) for y in range(0, 480, 30)],
    )
    figures = lines.place_figures(contours, SQUARE, [(55.0, 0.0)])
    # The other strong heights lie beyond what the reader looks at.
    assert [figure.elevation for figure in figures] == [10.0]
    assert abs(figures[0].easting - 55) > 20
    assert all(-60 < figure.easting < 170 for figure in figures)


def test_height_lines_away_from_the_field_carry_no_figure():
    contours = GeoDataFrame(
        {"elevation_m": [10.0]}, geometry=[shapely.LineString([(900, 0), (990, 90)])]
    )
    assert lines.place_figures(contours, SQUARE, []) == []


def test_no_outline_runs_along_water():
    edge = lines.find_open_edge(SQUARE, shapely.box(-10, -10, 120, 5))
    assert edge.length == pytest.approx(3 * 110 - 2 * 5)
    assert edge.bounds[1] >= 5


def test_ticks_stand_on_the_outline_and_point_inward():
    ticks = lines.place_ticks(SQUARE.boundary, SQUARE)
    assert len(ticks) == 40
    for foot, tip in ticks:
        assert SQUARE.boundary.distance(shapely.Point(foot)) < 1e-6
        assert SQUARE.contains(shapely.Point(tip))
        assert np.hypot(tip[0] - foot[0], tip[1] - foot[1]) == pytest.approx(4.5)


def test_ticks_point_inward_whichever_way_the_outline_runs():
    outline = shapely.LineString(list(SQUARE.exterior.coords)[::-1])
    assert all(
        SQUARE.contains(shapely.Point(tip))
        for _, tip in lines.place_ticks(outline, SQUARE)
    )


def test_a_smoothed_path_moves_by_less_than_a_cell_and_keeps_its_ends():
    corners = [(10 * i, 0) for i in range(10)] + [(90, -10 * i) for i in range(1, 10)]
    stairs = [(x + 10 * (k % 2), y) for k, (x, y) in enumerate(corners)]
    path = shapely.LineString(stairs)
    smoother = lines.smooth(path)
    assert smoother.hausdorff_distance(path) < 10
    assert smoother.length < path.length
    assert smoother.coords[0] == path.coords[0]
    assert smoother.coords[-1] == path.coords[-1]


def test_a_path_of_two_corners_is_left_as_it_is():
    path = shapely.LineString([(0, 0), (30, 40)])
    assert lines.smooth(path).equals(path)


def test_all_heights_are_told_where_few_are_strong():
    contours = GeoDataFrame(
        {"elevation_m": [710.0, 720.0, 730.0]},
        geometry=[shapely.LineString([(-50, y), (150, y)]) for y in (10, 50, 90)],
    )
    assert len(lines.place_figures(contours, SQUARE, [])) == 3


def test_arrows_stand_every_seventy_metres_and_point_along_the_path():
    path = shapely.LineString([(0, 280), (0, 0)])
    arrows = lines.place_arrows(path)
    assert len(arrows) == 4
    for back, tip in arrows:
        assert back[1] - tip[1] == pytest.approx(1.0)
