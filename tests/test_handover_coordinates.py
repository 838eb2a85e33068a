"""Coordinates in words, norths, and how fine a position is printed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Geod, Transformer

from sitekit.grid import Grid
from sitekit.handover.coordinates import (
    PHONE,
    baseline_length,
    find_true_north,
    name_grid,
    tell_baseline,
    tell_norths,
    write_level,
    write_position,
)
from sitekit.results import Baseline


def grid_at(code, easting, northing):
    return Grid(CRS.from_epsg(code), easting - 50, northing + 50, 1.0, (100, 100))


def make_baseline(*, surveyed=True, accuracy=0.02):
    return Baseline(
        ("nail", "post"),
        ((100.0, 200.0), (130.0, 240.0)),
        (7.0, 8.0),
        accuracy,
        surveyed,
    )


@pytest.mark.parametrize(
    ("code", "easting", "northing", "words"),
    [
        (32633, 500_000, 5_130_000, ("UTM zone 33N", "WGS 84", "EPSG:32633")),
        (27700, 400_000, 100_000, ("British National Grid", "OSGB36", "EPSG:27700")),
        (3006, 500_000, 6_600_000, ("SWEREF99 TM", "EPSG:3006")),
        (32719, 500_000, 4_900_000, ("UTM zone 19S", "WGS 84", "EPSG:32719")),
    ],
)
def test_the_coordinate_system_is_named_in_words(code, easting, northing, words):
    named = name_grid(grid_at(code, easting, northing))
    assert named.startswith("metres, ")
    assert all(word in named for word in words)


def test_a_system_without_a_number_is_named_all_the_same():
    crs = CRS.from_proj4("+proj=tmerc +lat_0=46 +lon_0=15 +ellps=GRS80 +units=m")
    named = name_grid(Grid(crs, 0, 0, 1.0, (10, 10)))
    assert named.startswith("metres, ")
    assert "EPSG" not in named


# Source: transverse Mercator of UTM zone 33 at 18 degrees east, 60 degrees north:
# easting 667294.821, convergence +2.598673 degrees (checked with PROJ's factors).
def test_true_north_lies_west_of_grid_north_east_of_the_middle_line():
    grid = grid_at(32633, 667_294.821, 6_655_205.484)
    assert find_true_north(grid) == pytest.approx(-2.598673, abs=1e-3)
    assert tell_norths(grid) == "True north lies 2.6° west of grid north."


def test_true_north_lies_east_of_grid_north_west_of_the_middle_line():
    grid = grid_at(32633, 332_705.179, 6_655_205.484)
    assert tell_norths(grid) == "True north lies 2.6° east of grid north."


def test_on_the_middle_line_both_norths_agree():
    grid = grid_at(32633, 500_000, 5_130_000)
    assert tell_norths(grid) == "Grid north and true north agree within 0.1°."


@given(st.floats(200_000, 800_000), st.floats(1_000_000, 7_500_000))
def test_true_north_is_where_a_step_along_the_meridian_leads(easting, northing):
    """A way from the outside: go 1 km due north on the ellipsoid, look at the grid."""
    grid = grid_at(32633, easting, northing)
    to_degrees = Transformer.from_crs(32633, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform(*grid.centre)
    ahead = Geod(ellps="WGS84").fwd(longitude, latitude, 0.0, 1000.0)[:2]
    x, y = Transformer.from_crs(4326, 32633, always_xy=True).transform(*ahead)
    turn = np.degrees(np.arctan2(x - grid.centre[0], y - grid.centre[1]))
    assert find_true_north(grid) == pytest.approx(turn, abs=0.01)


@pytest.mark.parametrize(
    ("value", "step", "text"),
    [
        (500_497.514, 0.01, "500497.51"),
        (500_497.514, 1.0, "500498"),
        (500_497.514, 2.0, "500498"),
        (500_497.514, 5.0, "500500"),
        (500_497.514, 20.0, "500500"),
        (float("nan"), 1.0, "not known"),
    ],
)
def test_a_position_is_no_finer_than_its_step(value, step, text):
    assert write_position(value, step) == text


def test_a_level_is_written_to_a_decimetre_or_called_unknown():
    assert write_level(734.56) == "734.6"
    assert write_level(float("nan")) == "not known"


def test_the_baseline_is_as_long_as_pythagoras_says():
    assert baseline_length(make_baseline()) == pytest.approx(50.0)


def test_control_marks_are_told_with_their_length_to_tape_first():
    told = tell_baseline(make_baseline(), 0.01)
    assert 'control mark "nail"' in told
    assert "50.00 m" in told
    assert "tape it first" in told


def test_without_control_marks_the_error_of_the_outline_is_told_and_diagonals_asked():
    told = tell_baseline(make_baseline(surveyed=False, accuracy=3.0), 5.0)
    assert told.startswith("No control marks were given.")
    assert "±3 m" in told
    assert "printed to 5 m" in told
    assert "diagonals" in told


# Source: accuracy of phones in the open and under trees, from studies of consumer
# receivers; common practice, no source, that neither is set out by.
def test_a_phone_is_not_for_setting_out():
    assert "not for setting out" in PHONE
