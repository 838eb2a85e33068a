"""Patterns as geometry: their pitch, their place, their direction."""

from math import hypot

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Point, Polygon, box

from sitekit.cartography.hatching import (
    MOST_LINES,
    MOST_SQUARES,
    find_parts,
    make_arrow_heads,
    make_dots,
    make_hatch,
    make_ticks,
)

RING = Point(0, 0).buffer(100, quad_segs=64).difference(Point(0, 0).buffer(40))


@given(
    wide=st.floats(50, 500),
    high=st.floats(50, 500),
    spacing=st.floats(2, 10),
    angle=st.sampled_from([0.0, 30.0, 45.0, -45.0, 90.0]),
)
def test_hatch_lines_cover_a_shape_once_in_each_pitch(
    wide: float, high: float, spacing: float, angle: float
) -> None:
    shape = box(1000, 2000, 1000 + wide, 2000 + high)
    lines = make_hatch(shape, spacing, angle)
    total = sum(line.length for line in lines)
    # Cavalieri's principle: lines a pitch apart measure the area, up to one line
    # too many or too few.
    assert abs(total * spacing - shape.area) <= spacing * hypot(wide, high)
    assert all(shape.buffer(1e-6).covers(line) for line in lines)


def test_hatch_lines_of_neighbours_continue_each_other() -> None:
    whole = make_hatch(box(0, 0, 100, 50), 7)
    halves = make_hatch(box(0, 0, 50, 50), 7) + make_hatch(box(50, 0, 100, 50), 7)
    united = shapely.union_all(halves)
    assert shapely.union_all(whole).buffer(1e-6).covers(united)
    assert united.length == pytest.approx(sum(line.length for line in whole))


def test_hatch_leaves_holes_open() -> None:
    hole = Point(0, 0).buffer(39)
    assert not any(line.intersects(hole) for line in make_hatch(RING, 5))


def test_a_huge_shape_gets_a_wider_pitch_instead_of_endless_lines() -> None:
    assert len(make_hatch(box(0, 0, 10_000, 10_000), 0.01, 0.0)) <= MOST_LINES + 1
    assert len(make_dots(box(0, 0, 10_000, 10_000), 0.01)) <= 2.2 * MOST_SQUARES


def test_nothing_is_hatched_by_nothing() -> None:
    assert make_hatch(Polygon(), 5) == []
    assert make_dots(Polygon(), 5).shape == (0, 2)


@given(pitch=st.floats(4, 15))
def test_two_dots_stand_in_each_square_of_the_pitch(pitch: float) -> None:
    shape = box(0, 0, 300, 300)
    points = make_dots(shape, pitch)
    wanted = 2 * shape.area / pitch**2
    # A row more or less along the rim.
    assert abs(len(points) - wanted) <= 4 * 300 / pitch + 4
    assert shapely.contains_xy(shape, points).all()


@pytest.mark.parametrize("shape", [RING, box(0, 0, 80, 30), RING.reverse()])
def test_ticks_of_a_hollow_point_inward_from_every_ring(shape: Polygon) -> None:
    ticks = make_ticks(shape, 11, 4.5, Polygon())
    assert len(ticks) >= 10
    for tick in ticks:
        assert shape.boundary.distance(Point(tick.coords[0])) < 1e-6
        assert shape.contains(Point(tick.coords[1]))
        assert tick.length == pytest.approx(4.5)


def test_ticks_stand_a_pitch_apart() -> None:
    # Around 240 m of outline, one in 12 m.
    assert len(make_ticks(box(0, 0, 80, 40), 12, 4.5, Polygon())) == 20


def test_no_tick_stands_where_the_outline_is_hidden() -> None:
    water = box(-1, -1, 81, 1)
    ticks = make_ticks(box(0, 0, 80, 40), 12, 4.5, water)
    assert ticks
    assert not any(water.covers(Point(tick.coords[0])) for tick in ticks)


@pytest.mark.parametrize("down", [(0, -1), (1, 0), (-0.6, 0.8)])
def test_arrows_point_the_way_the_line_runs(down: tuple[float, float]) -> None:
    line = LineString([(0, 0), (210 * down[0], 210 * down[1])])
    heads = make_arrow_heads(line, 70, 6)
    assert len(heads) == 3
    for head in heads:
        first, tip, last = (np.array(c) for c in head.coords)
        assert line.distance(Point(tip)) < 1e-6
        for barb in (first, last):
            assert (tip - barb) @ down > 4, "the barbs trail behind the tip"


def test_a_line_too_short_for_an_arrow_has_none() -> None:
    assert make_arrow_heads(LineString([(0, 0), (30, 0)]), 70, 6) == []


def test_parts_are_found_inside_collections() -> None:
    mixed = shapely.GeometryCollection(
        [MultiPolygon([box(0, 0, 1, 1), box(2, 0, 3, 1)]), LineString([(0, 0), (1, 1)])]
    )
    assert len(find_parts(mixed, Polygon)) == 2
    assert len(find_parts(mixed, LineString)) == 1
    assert find_parts(Polygon(), Polygon) == []
