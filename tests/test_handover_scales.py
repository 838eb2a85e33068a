"""Scale of the plan, and the sheets of a site that is too large for one."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.handover.scales import (
    A3,
    A4,
    AROUND,
    OVERLAP,
    SCALES,
    choose_scale,
    cut_sheets,
    find_nearest,
)


def points(*places):
    return [shapely.Point(place) for place in places]


# Source: ISO 216, sizes of trimmed paper: A3 297 × 420 mm, A4 210 × 297 mm.
@pytest.mark.parametrize(("form", "width", "height"), [(A3, 420, 297), (A4, 297, 210)])
def test_the_formats_are_those_of_the_standard(form, width, height):
    assert (form.width, form.height) == (width, height)


@pytest.mark.parametrize("form", [A3, A4])
def test_drawing_and_column_lie_side_by_side_within_the_frame(form):
    right = form.left + form.drawing[0]
    assert form.edge < form.left
    assert right < form.width - form.edge - form.column
    assert form.bottom + form.drawing[1] < form.height - form.edge


# The drawing is 288 × 252 mm: at 1:500 it holds 144 × 126 m.
@pytest.mark.parametrize(
    ("wide", "high", "scale"),
    [
        (28, 25, 100),
        (29, 25, 200),
        (57, 50, 200),
        (72, 63, 250),
        (73, 63, 500),
        (144, 126, 500),
        (145, 126, 1000),
        (288, 252, 1000),
    ],
)
def test_the_largest_scale_that_holds_all_is_taken(wide, high, scale):
    assert choose_scale((0, 0, wide, high), A3.drawing, 5.0) == scale


def test_bushes_that_would_run_together_on_paper_need_a_larger_scale():
    assert choose_scale((0, 0, 200, 200), A3.drawing, 5.0) == 1000
    assert choose_scale((0, 0, 200, 200), A3.drawing, 1.5) == 500


def test_a_site_that_fits_nowhere_is_cut_at_a_scale_at_which_plants_stand_apart():
    assert choose_scale((0, 0, 900, 900), A3.drawing, 5.0) == 1000
    assert choose_scale((0, 0, 900, 900), A3.drawing, 3.0) == 500


@given(
    wide=st.floats(1, 2000),
    high=st.floats(1, 2000),
    nearest=st.floats(0.5, 10),
)
def test_every_scale_is_a_standard_one(wide, high, nearest):
    assert choose_scale((0, 0, wide, high), A4.drawing, nearest) in SCALES


def test_a_small_site_is_one_sheet_with_ground_around_it():
    (sheet,) = cut_sheets(points((0, 0), (60, 40)), A3, 5.0)
    west, south, east, north = sheet.bounds
    assert sheet.number == 1
    assert sheet.beside == {}
    assert west <= -AROUND
    assert south <= -AROUND
    assert east >= 60 + AROUND
    assert north >= 40 + AROUND


@pytest.mark.parametrize("form", [A3, A4])
def test_the_ground_on_a_sheet_is_its_paper_times_the_scale(form):
    for sheet in cut_sheets(points((0, 0), (700, 30), (350, 500)), form, 5.0):
        west, south, east, north = sheet.bounds
        assert east - west == pytest.approx(form.drawing[0] * sheet.scale / 1000)
        assert north - south == pytest.approx(form.drawing[1] * sheet.scale / 1000)


def test_sheets_are_numbered_from_the_north_west_and_know_their_neighbours():
    corners = points((0, 0), (500, 0), (0, 450), (500, 450))
    sheets = cut_sheets(corners, A3, 5.0)
    assert [sheet.number for sheet in sheets] == [1, 2, 3, 4]
    first, second, third, fourth = sheets
    assert first.beside == {"east": 2, "south": 3}
    assert second.beside == {"west": 1, "south": 4}
    assert third.beside == {"north": 1, "east": 4}
    assert fourth.beside == {"north": 2, "west": 3}
    assert first.bounds[1] > third.bounds[1]
    assert first.bounds[0] < second.bounds[0]


def test_neighbours_meet_at_the_match_line_and_repeat_a_strip():
    first, second = cut_sheets(points((0, 0), (500, 0)), A3, 5.0)
    lap = OVERLAP * first.scale / 1000
    assert first.own[2] == pytest.approx(second.own[0])
    assert first.bounds[2] - second.bounds[0] == pytest.approx(2 * lap)


def test_a_sheet_on_which_nothing_stands_is_left_out():
    sheets = cut_sheets(points((0, 0), (900, 0), (0, 800), (900, 800)), A3, 5.0)
    assert len(sheets) == 4
    assert all(
        number in {sheet.number for sheet in sheets}
        for sheet in sheets
        for number in sheet.beside.values()
    )


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 1500), st.floats(0, 1500)), min_size=1, max_size=30)
)
def test_everything_stands_on_some_sheet(places):
    things = points(*places)
    sheets = cut_sheets(things, A4, 5.0)
    shown = shapely.union_all([shapely.box(*sheet.bounds) for sheet in sheets])
    assert all(shown.buffer(1e-6).covers(thing) for thing in things)


def test_how_near_plants_stand_does_not_hang_on_two_of_them():
    lattice = np.array([(4.5 * i, 5.0 * j) for i in range(10) for j in range(10)])
    odd = np.vstack([lattice, lattice[0] + 0.5])
    assert find_nearest(lattice) == pytest.approx(4.5)
    assert find_nearest(odd) == pytest.approx(4.5)
    assert find_nearest(lattice[:1]) == 1.0
