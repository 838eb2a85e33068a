"""Shapes of the map as plain lists: nothing moved, nothing lost, nothing invented."""

from base64 import b64decode
from dataclasses import replace

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from sitekit.cartography.images import WEB, find_frame
from sitekit.grid import Grid
from sitekit.webmap.reading import encode, fit_coordinates
from sitekit.webmap.shapes import (
    draw_mask,
    draw_no_go,
    draw_notes,
    draw_paper,
    draw_trees,
    lines,
    middle,
    place,
    places,
    read_text,
    rings,
    rows,
)

GRID = Grid(CRS.from_epsg(32633), 500_000.0, 5_130_000.0, 5.0, (40, 60))
WEST, SOUTH, EAST, NORTH = GRID.bounds
EASTINGS = st.floats(WEST, EAST)
NORTHINGS = st.floats(SOUTH, NORTH)
BACK = Transformer.from_crs(4326, 32633, always_xy=True)


def to_grid(found):
    latitude, longitude = found
    return BACK.transform(longitude, latitude)


def area_of(polygons):
    """Area of polygons of rings, brought back to the grid. [m²]"""
    return sum(
        shapely.Polygon(
            [to_grid(p) for p in outer], [[to_grid(p) for p in hole] for hole in holes]
        ).area
        for outer, *holes in polygons
    )


@given(EASTINGS, NORTHINGS)
def test_a_place_is_latitude_first_and_right_to_two_decimetres(easting, northing):
    # Source: ISO 6709:2022, latitude before longitude.
    found = place(easting, northing, GRID)
    assert 46 < found[0] < 47
    assert 14.9 < found[1] < 15.1
    assert to_grid(found) == pytest.approx((easting, northing), abs=0.2)


@given(st.lists(st.tuples(EASTINGS, NORTHINGS), min_size=2, max_size=9))
def test_corners_of_a_line_are_the_places_of_its_points_in_order(points):
    found = places(shapely.LineString(points), GRID)
    assert found == [place(*point, GRID) for point in points]


def test_a_hole_stays_a_hole_and_parts_stay_apart():
    ring = shapely.box(WEST, SOUTH, WEST + 90, SOUTH + 90)
    ring = ring.difference(shapely.box(WEST + 30, SOUTH + 30, WEST + 60, SOUTH + 60))
    both = shapely.MultiPolygon([ring, shapely.box(EAST - 20, SOUTH, EAST, NORTH)])
    found = rings(both, GRID)
    assert [len(part) for part in found] == [2, 1]
    assert area_of(found) == pytest.approx(both.area, rel=1e-3)


def test_what_is_no_area_has_no_rings():
    mixed = shapely.GeometryCollection(
        [shapely.Point(WEST, SOUTH), shapely.LineString([(WEST, SOUTH), (EAST, NORTH)])]
    )
    assert rings(mixed, GRID) == []
    assert rings(shapely.Polygon(), GRID) == []


@pytest.mark.parametrize(
    ("shape", "count"),
    [
        (shapely.LineString([(WEST, SOUTH), (EAST, SOUTH)]), 1),
        (shapely.MultiLineString([[(WEST, 0), (EAST, 0)], [(WEST, 9), (EAST, 9)]]), 2),
        (shapely.box(WEST, SOUTH, EAST, NORTH), 1),
        (
            shapely.box(WEST, SOUTH, EAST, NORTH).difference(
                shapely.box(WEST + 9, SOUTH + 9, WEST + 20, SOUTH + 20)
            ),
            2,
        ),
        (shapely.LineString(), 0),
        (shapely.Point(WEST, SOUTH), 0),
    ],
)
def test_lines_and_outlines_become_lines_and_points_none(shape, count):
    assert len(lines(shape, GRID)) == count


@pytest.mark.parametrize(
    "shape",
    [
        shapely.box(0, 0, 100, 60),
        shapely.box(0, 0, 100, 100).difference(shapely.box(20, 20, 100, 80)),
        shapely.box(0, 0, 90, 90).difference(shapely.box(30, 30, 60, 60)),
        shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(50, 0, 99, 40)]),
        shapely.Point(0, 0).buffer(30),
    ],
)
def test_writing_stands_inside_the_largest_part(shape):
    largest = max(shapely.get_parts(shape), key=lambda part: part.area)
    assert largest.contains(shapely.Point(middle(shape)))


def test_writing_of_a_plain_shape_stands_at_its_centre():
    assert middle(shapely.box(0, 0, 100, 60)) == pytest.approx((50, 30))


@pytest.mark.parametrize("side", [1, 4, 12])
def test_a_square_of_cells_is_drawn_with_its_area(side):
    mask = np.zeros(GRID.shape, bool)
    mask[10 : 10 + side, 20 : 20 + side] = True
    assert area_of(draw_mask(mask, GRID)) == pytest.approx((5 * side) ** 2, rel=0.02)


def test_no_cell_draws_nothing():
    assert draw_mask(np.zeros(GRID.shape, bool), GRID) == []


def test_the_paper_is_the_whole_grid():
    [[outer]] = draw_paper(GRID)
    assert outer[0] == outer[-1]
    assert area_of([[outer]]) == pytest.approx(
        (EAST - WEST) * (NORTH - SOUTH), rel=1e-3
    )


@pytest.mark.parametrize("value", [None, float("nan"), "", np.nan])
def test_a_text_that_is_not_there_reads_as_empty(value):
    assert read_text({"name": value}, "name") == ""
    assert read_text({}, "name") == ""


@pytest.mark.parametrize(("value", "text"), [("a", "a"), (3, "3"), ("<b>", "<b>")])
def test_a_text_reads_as_it_stands(value, text):
    assert read_text({"name": value}, "name") == text


def test_rows_without_a_shape_are_passed_over():
    frame = GeoDataFrame(
        {"name": ["a", "b"]}, geometry=[None, shapely.Point(WEST, SOUTH)], crs=GRID.crs
    )
    assert [row["name"] for row in rows(frame)] == ["b"]
    assert rows(frame.iloc[:0]) == []


@pytest.mark.parametrize(
    "shape",
    [
        shapely.Point(WEST + 50, SOUTH + 50),
        shapely.LineString([(WEST + 50, SOUTH + 50), (WEST + 90, SOUTH + 50)]),
        shapely.box(WEST + 50, SOUTH + 50, WEST + 90, SOUTH + 90),
    ],
)
def test_no_go_ground_of_any_kind_can_be_seen_and_says_why(small_survey, shape):
    site = small_survey.site
    kept = GeoDataFrame(
        {"name": [""], "reason": ["old well"]}, geometry=[shape], crs=site.grid.crs
    )
    site = replace(site, vectors={**site.vectors, "no_go": kept})
    [drawn] = draw_no_go(replace(small_survey, site=site))
    assert area_of(drawn["rings"]) >= max(shape.area * 0.99, 50)
    assert drawn["popup"]["lead"] == ["", "Old well."]


def test_a_tree_of_which_the_map_says_nothing_has_no_empty_lines(small_survey):
    trees = small_survey.existing_trees.assign(
        verdict=None, condition=None, reason=None, site_class=None
    )
    [drawn] = draw_trees(replace(small_survey, existing_trees=trees))
    assert drawn["popup"]["title"] == "Your tree: pear"
    assert drawn["popup"]["lead"] == ["", ""]
    assert drawn["popup"]["rows"] == []


def test_a_note_says_its_date_and_what_the_map_says(small_survey):
    [drawn] = draw_notes(small_survey)
    told = dict(drawn["popup"]["rows"])
    assert told["Date"] == "2025-05-12"
    assert told["Against the map"] == "agrees"
    assert drawn["popup"]["lead"][1] == "Fog lay here at dawn."


@pytest.mark.parametrize(
    ("distinct", "bytes_"), [(1, 1), (256, 1), (257, 2), (3000, 2)]
)
def test_a_line_of_the_reading_takes_as_few_bytes_as_its_texts_need(distinct, bytes_):
    values = np.arange(3000.0).reshape(50, 60) % distinct
    line = encode("Height", [values], [1.0], str)
    assert line["bytes"] == bytes_
    assert len(line["texts"]) == distinct


@given(st.lists(st.one_of(st.just(np.nan), st.integers(-50, 50)), min_size=1))
def test_every_cell_of_the_reading_finds_its_own_text(values):

    cells = np.array([values], dtype=float)
    line = encode("Height", [cells], [1.0], lambda v: f"{v:.0f}")
    numbers = np.frombuffer(b64decode(line["cells"]), dtype="<u1")
    assert [line["texts"][n] for n in numbers] == [f"{v:.0f}" for v in values]


@pytest.mark.parametrize("step", [0.1, 0.5, 1.0])
def test_a_reading_is_no_finer_than_its_step(step):
    values = np.linspace(0, 10, 400).reshape(20, 20)
    line = encode("Depth", [values], [step], lambda v: f"{v:.3f}")
    assert len(line["texts"]) == round(10 / step) + 1


@pytest.mark.parametrize(
    ("epsg", "west", "north"), [(32633, 5e5, 5.13e6), (32719, 3e5, 5.4e6)]
)
def test_the_page_finds_grid_coordinates_in_both_hemispheres(epsg, west, north):

    grid = Grid(CRS.from_epsg(epsg), west, north, 10.0, (200, 300))
    frame = find_frame(grid, most=40_000)
    fit = fit_coordinates(grid, frame)
    to_web = Transformer.from_crs(grid.crs, WEB, always_xy=True)
    for east, up in [(west + 5, north - 5), (west + 1500, north - 900)]:
        x, y = (
            (value - fit["middle"][i]) / fit["half"][i]
            for i, value in enumerate(to_web.transform(east, up))
        )
        terms = [x**i * y**j for i in range(4) for j in range(4)]
        assert np.dot(fit["east"], terms) == pytest.approx(east, abs=0.1)
        assert np.dot(fit["north"], terms) == pytest.approx(up, abs=0.1)
