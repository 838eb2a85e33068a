"""Rows: spacing, pattern, headlands, contours."""

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Polygon, box

from sitekit.errors import SitekitError
from sitekit.planting.rows import (
    Layout,
    lay_rows,
    least_distance,
    select,
    thin_out,
    trees_per_hectare,
)

MILLIMETRE = 0.001
HECTARE = box(500_000, 5_130_000, 500_100, 5_130_100)


def nearest_pair(positions):
    if len(positions) < 2:
        return np.inf
    return cKDTree(positions).query(positions, 2)[0][:, 1].min()


def neighbours(layout):
    """Distances from each plant to the next of its row."""
    same = np.diff(layout.row) == 0
    return np.hypot(*np.diff(layout.positions, axis=0).T)[same]


# Source: trees to the hectare = 10 000 / (row × tree), the definition; the five
# figures are what nursery tables print for these spacings.
@pytest.mark.parametrize(
    ("row_spacing", "spacing", "count"),
    [(4, 5, 500.0), (2.5, 4, 1000.0), (3, 4.5, 740.7), (8, 8, 156.25), (10, 10, 100.0)],
)
def test_a_hectare_holds_the_trees_of_the_tables(row_spacing, spacing, count):
    assert trees_per_hectare(spacing, row_spacing) == pytest.approx(count, abs=0.05)


@pytest.mark.parametrize(
    ("row_spacing", "spacing", "count"),
    [(4, 5, 500), (2.5, 4, 1000), (5, 4, 500), (10, 10, 100)],
)
def test_a_square_hectare_is_filled_by_the_square_pattern(row_spacing, spacing, count):
    layout = lay_rows(HECTARE, spacing=spacing, row_spacing=row_spacing)
    assert len(layout.positions) == count


def test_the_offset_pattern_has_as_many_trees_on_a_large_field():
    large = box(0, 0, 1000, 1000)
    square = lay_rows(large, spacing=5, row_spacing=5, bearing=20)
    offset = lay_rows(large, spacing=5, row_spacing=5, bearing=20, pattern="offset")
    for layout in (square, offset):
        assert len(layout.positions) / 100 == pytest.approx(400, rel=0.02)


def test_the_triangle_pattern_has_its_surplus_over_the_square():
    """Equilateral triangles hold 2 / √3 as many trees as squares of the same side."""
    large = box(0, 0, 800, 800)
    square = lay_rows(large, spacing=5, row_spacing=5)
    triangles = lay_rows(
        large, spacing=5, row_spacing=5 * np.sqrt(3) / 2, pattern="offset"
    )
    share = len(triangles.positions) / len(square.positions)
    assert share == pytest.approx(2 / np.sqrt(3), rel=0.01)
    assert nearest_pair(triangles.positions) == pytest.approx(5.0, abs=MILLIMETRE)


def test_in_the_triangle_pattern_each_tree_inside_has_six_nearest():
    layout = lay_rows(
        box(0, 0, 60, 60), spacing=5, row_spacing=5 * np.sqrt(3) / 2, pattern="offset"
    )
    tree = cKDTree(layout.positions)
    counts = tree.query_ball_point(layout.positions, 5.001, return_length=True) - 1
    inner = box(6, 6, 54, 54).contains(shapely.points(layout.positions))
    assert set(counts[inner]) == {6}


@pytest.mark.parametrize("bearing", [0, 17.5, 45, 90, 133, 179])
def test_spacing_is_exact_to_the_millimetre_in_every_direction(bearing):
    layout = lay_rows(HECTARE, spacing=4.25, row_spacing=5.5, bearing=bearing)
    assert np.abs(neighbours(layout) - 4.25).max() < MILLIMETRE
    across = np.radians(bearing + 90)
    places = layout.positions - layout.positions[0]
    rows = places @ [np.sin(across), np.cos(across)] / 5.5
    assert np.abs(rows - np.round(rows)).max() * 5.5 < MILLIMETRE


@pytest.mark.parametrize("bearing", [0.0, 30.0, 90.0, 150.0])
def test_rows_run_in_their_bearing(bearing):
    layout = lay_rows(HECTARE, spacing=4, row_spacing=5, bearing=bearing)
    first = layout.positions[layout.row == 3]
    east, north = first[-1] - first[0]
    assert np.degrees(np.arctan2(east, north)) % 360 == pytest.approx(bearing)


def test_offset_rows_are_shifted_by_half_a_spacing():
    layout = lay_rows(HECTARE, spacing=6, row_spacing=5, pattern="offset")
    first = layout.positions[layout.row == 1][0]
    second = layout.positions[layout.row == 2][0]
    assert abs(second[1] - first[1]) % 6 == pytest.approx(3.0)
    assert second[0] - first[0] == pytest.approx(5.0)


def test_rows_and_numbers_count_from_one_in_order():
    layout = lay_rows(HECTARE, spacing=10, row_spacing=20)
    assert layout.row.tolist() == sorted(layout.row.tolist())
    for row in range(1, layout.row.max() + 1):
        numbers = layout.number[layout.row == row]
        assert numbers.tolist() == list(range(1, len(numbers) + 1))
    assert len(layout.lines) == layout.row.max()


def test_the_first_row_of_northward_rows_is_the_western_one():
    layout = lay_rows(HECTARE, spacing=10, row_spacing=20, bearing=0)
    assert layout.positions[0, 0] == layout.positions[:, 0].min()
    assert layout.positions[0, 1] == layout.positions[:, 1].min()


def test_headlands_are_kept_at_both_ends_of_the_rows_and_not_beside_them():
    layout = lay_rows(HECTARE, spacing=1, row_spacing=1, bearing=0, headland=6)
    west, south, east, north = HECTARE.bounds
    assert layout.positions[:, 1].min() >= south + 6 - 1e-6
    assert layout.positions[:, 1].max() <= north - 6 + 1e-6
    assert layout.positions[:, 0].min() < west + 1
    assert layout.positions[:, 0].max() > east - 1


def test_a_hole_in_the_ground_has_no_headland():
    """A machine passes beside a tree; it turns at the end of the field."""
    ground = HECTARE.difference(shapely.Point(500_050, 5_130_050).buffer(8))
    layout = lay_rows(ground, spacing=1, row_spacing=1, headland=6)
    away = np.hypot(*(layout.positions - [500_050, 5_130_050]).T)
    assert 8 - 0.05 <= away.min() < 9


def test_the_outline_tells_where_rows_end():
    lane = box(500_000, 5_130_047, 500_100, 5_130_053)
    ground = HECTARE.difference(lane)
    layout = lay_rows(ground, spacing=1, row_spacing=5, headland=6, outline=HECTARE)
    own = lay_rows(ground, spacing=1, row_spacing=5, headland=6)
    north = layout.positions[:, 1]
    assert ((north > 5_130_045) & (north < 5_130_047)).any()
    assert len(own.positions) < len(layout.positions)
    assert not (layout.row == 0).any()


def test_a_row_across_a_lane_is_one_row_in_two_pieces():
    lane = box(500_000, 5_130_047, 500_100, 5_130_053)
    layout = lay_rows(HECTARE.difference(lane), spacing=4, row_spacing=5)
    assert len(layout.lines) == 20
    assert all(line.geom_type == "MultiLineString" for line in layout.lines)
    assert all(not line.intersects(lane.buffer(-0.01)) for line in layout.lines)


def test_ground_that_is_all_refused_gives_no_rows():
    for ground in (Polygon(), shapely.MultiPolygon(), LineString([(0, 0), (1, 1)])):
        layout = lay_rows(ground, spacing=4, row_spacing=5, headland=6)
        assert len(layout.positions) == 0
        assert layout.positions.shape == (0, 2)
        assert layout.lines == ()
        assert layout.row.dtype == layout.number.dtype == np.int64


def test_headlands_wider_than_the_ground_leave_no_rows():
    layout = lay_rows(box(0, 0, 50, 11), spacing=4, row_spacing=5, headland=6)
    assert len(layout.positions) == 0


def test_ground_for_one_plant_gets_one():
    layout = lay_rows(box(0, 0, 3, 3), spacing=4, row_spacing=5)
    assert len(layout.positions) == 1
    assert layout.lines[0].length > 0


def test_a_bow_tie_is_mended():
    tie = Polygon([(0, 0), (40, 40), (40, 0), (0, 40)])
    layout = lay_rows(tie, spacing=4, row_spacing=4)
    assert len(layout.positions) > 30


@pytest.mark.parametrize("spacing", [0, -4, float("nan"), float("inf")])
def test_a_spacing_must_be_more_than_nothing(spacing):
    with pytest.raises(SitekitError, match=r"spacing of plants is .* give more than 0"):
        lay_rows(HECTARE, spacing=spacing, row_spacing=5)
    with pytest.raises(SitekitError, match="row spacing"):
        lay_rows(HECTARE, spacing=4, row_spacing=spacing)


def test_an_unknown_pattern_is_refused_with_those_known():
    with pytest.raises(SitekitError, match="grid, offset, contour"):
        lay_rows(HECTARE, spacing=4, row_spacing=5, pattern="spiral")


def test_contour_rows_need_a_height_line():
    with pytest.raises(SitekitError, match="height line"):
        lay_rows(HECTARE, spacing=4, row_spacing=5, pattern="contour")


def test_the_same_ground_gives_the_same_rows():
    one = lay_rows(HECTARE, spacing=4, row_spacing=5, bearing=33)
    two = lay_rows(HECTARE, spacing=4, row_spacing=5, bearing=33)
    assert np.array_equal(one.positions, two.positions)


def test_no_start_of_the_grid_that_was_tried_holds_more():
    ground = box(0, 0, 41, 41)
    layout = lay_rows(ground, spacing=4, row_spacing=5)
    for start in np.ndindex(4, 4):
        x, y = (np.array(start) + 0.5) / 4 * (5, 4)
        count = len(np.arange(x, 41, 5)) * len(np.arange(y, 41, 4))
        assert count <= len(layout.positions)


def arc_guide(radius, centre=(0.0, 0.0)):
    turn = np.radians(np.arange(20, 160.5, 0.5))
    return LineString(
        np.column_stack(
            [centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn)]
        )
    )


def test_contour_rows_on_a_round_hill_lie_on_circles():
    """Height lines of a cone are circles, and rows beside one are too."""
    ground = box(-60, 110, 60, 190)
    layout = lay_rows(
        ground, spacing=4, row_spacing=5, pattern="contour", guide=arc_guide(150)
    )
    radius = np.hypot(*layout.positions.T)
    off = (radius - 150) / 5
    assert np.abs(off - np.round(off)).max() * 5 < 0.01
    assert len(np.unique(np.round(off))) == len(layout.lines) > 10


def test_contour_rows_keep_their_taped_spacing():
    layout = lay_rows(
        box(-60, 110, 60, 190),
        spacing=4,
        row_spacing=5,
        pattern="contour",
        guide=arc_guide(150),
    )
    steps = neighbours(layout)
    inside_a_piece = steps < 8
    assert inside_a_piece.sum() > 300
    assert np.abs(steps[inside_a_piece] - 4).max() < MILLIMETRE
    assert nearest_pair(layout.positions) >= 4 - MILLIMETRE


def test_contour_rows_on_a_plane_are_straight():
    guide = LineString([(-300, 20), (300, 60)])
    layout = lay_rows(
        box(0, 0, 100, 80), spacing=4, row_spacing=5, pattern="contour", guide=guide
    )
    assert np.isnan(layout.bearing)
    normal = np.array([-40, 600]) / np.hypot(40, 600)
    off = (layout.positions - [-300, 20]) @ normal / 5
    assert np.abs(off - np.round(off)).max() * 5 < MILLIMETRE


@given(st.integers(0, 1000), st.floats(3, 8), st.floats(3, 8))
@settings(deadline=None, max_examples=25)
def test_contour_rows_stay_apart_on_any_bends(seed, spacing, row_spacing):
    draw = np.random.default_rng(seed)
    along = np.arange(-150, 250, 5.0)
    bends = 20 * np.sin(along / draw.uniform(8, 60) + draw.uniform(0, 6))
    guide = LineString(np.column_stack([along, 50 + bends]))
    ground = box(0, 0, 100, 100).difference(shapely.Point(40, 40).buffer(9))
    layout = lay_rows(
        ground,
        spacing=spacing,
        row_spacing=row_spacing,
        pattern="contour",
        guide=guide,
    )
    least = least_distance(spacing, row_spacing, "contour")
    assert len(layout.positions) > 0
    assert nearest_pair(layout.positions) >= least - MILLIMETRE
    points = shapely.points(layout.positions)
    assert ground.buffer(1e-6).covers(points).all()


@st.composite
def grounds(draw):
    """A star-shaped field with a hole, anywhere on earth's grids."""
    count = draw(st.integers(4, 12))
    sizes = draw(st.lists(st.floats(15, 70), min_size=count, max_size=count))
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)
    shell = np.column_stack([sizes * np.cos(turn), sizes * np.sin(turn)])
    x, y = draw(st.floats(-20, 20)), draw(st.floats(-20, 20))
    hole = shapely.Point(x, y).buffer(draw(st.floats(1, 12)))
    north = draw(st.sampled_from([0.0, 5_130_000.0, 8_900_000.0]))
    ground = Polygon(shell).buffer(0).difference(hole)
    return shapely.affinity.translate(ground, 500_000.0, north)


@given(
    grounds(),
    st.floats(1.5, 10),
    st.floats(1.5, 10),
    st.floats(0, 180, exclude_max=True),
    st.sampled_from(["grid", "offset"]),
    st.floats(0, 8),
)
@settings(deadline=None, max_examples=80)
def test_rows_hold_their_promises_on_any_ground(
    ground, spacing, row_spacing, bearing, pattern, headland
):
    layout = lay_rows(
        ground,
        spacing=spacing,
        row_spacing=row_spacing,
        bearing=bearing,
        pattern=pattern,
        headland=headland,
    )
    points = shapely.points(layout.positions)
    assert ground.buffer(1e-6).covers(points).all()
    least = least_distance(spacing, row_spacing, pattern)
    assert nearest_pair(layout.positions) >= least - MILLIMETRE
    steps = neighbours(layout) / spacing
    assert np.abs(steps - np.round(steps)).max(initial=0) * spacing < MILLIMETRE
    assert len({*zip(layout.row, layout.number, strict=True)}) == len(points)
    assert set(layout.row) == set(range(1, len(layout.lines) + 1))
    for line in layout.lines:
        assert ground.buffer(MILLIMETRE / 10).covers(line)


@given(grounds(), st.floats(0.5, 10), st.floats(0, 180))
@settings(deadline=None, max_examples=40)
def test_from_every_plant_a_machine_reaches_the_headland(ground, headland, bearing):
    layout = lay_rows(
        ground, spacing=4, row_spacing=4, bearing=bearing, headland=headland
    )
    push = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    filled = shapely.union_all(
        [Polygon(part.exterior) for part in shapely.get_parts(ground)]
    ).buffer(1e-5)
    for place in layout.positions:
        span = LineString([place - headland * push, place + headland * push])
        assert filled.covers(span)


def block(west, bearing=0.0):
    return lay_rows(
        box(west, 0, west + 40, 40), spacing=4, row_spacing=5, bearing=bearing
    )


def test_neighbouring_blocks_keep_the_spacing():
    one, two = thin_out([block(0), block(36, bearing=37)])
    assert len(one.positions) == len(block(0).positions)
    both = np.vstack([one.positions, two.positions])
    assert nearest_pair(both) >= 4 - MILLIMETRE
    assert len(two.positions) < len(block(36, bearing=37).positions)


def test_the_wider_of_two_spacings_is_kept_between_blocks():
    wide = lay_rows(box(0, 0, 40, 40), spacing=8, row_spacing=8)
    _, near = thin_out([wide, block(40)])
    away, _ = cKDTree(wide.positions).query(near.positions)
    assert away.min() >= 8 - MILLIMETRE


def test_plants_that_stand_already_keep_their_room():
    stands = np.array([[20.0, 20.0]])
    (layout,) = thin_out([block(0)], stands, least=6.0)
    assert np.hypot(*(layout.positions - stands[0]).T).min() >= 6 - MILLIMETRE


def test_thinned_rows_are_counted_anew():
    stands = np.array([[2.0, y] for y in np.arange(0, 41, 2.0)])
    (layout,) = thin_out([block(0)], stands)
    assert set(layout.row) == set(range(1, len(layout.lines) + 1))
    assert layout.number.min() == 1


def test_thinning_nothing_gives_nothing():
    assert thin_out([]) == []
    empty = lay_rows(Polygon(), spacing=4, row_spacing=5)
    kept = thin_out([empty, block(0), empty])
    assert [len(layout.positions) for layout in kept] == [0, 80, 0]


def test_choosing_no_plant_leaves_an_empty_layout():
    layout = select(block(0), np.zeros(80, bool))
    assert isinstance(layout, Layout)
    assert layout.lines == ()
    assert len(layout.row) == 0


def test_a_grid_in_the_south_is_laid_like_one_in_the_north():
    """Northings of southern zones are large and have no sign of their own."""
    assert CRS.from_epsg(32719).is_projected
    south = lay_rows(
        box(300_000, 4_600_000, 300_100, 4_600_100), spacing=4, row_spacing=5
    )
    north = lay_rows(HECTARE, spacing=4, row_spacing=5)
    assert np.allclose(
        south.positions - [300_000, 4_600_000], north.positions - [500_000, 5_130_000]
    )
