"""Barriers as faces: no hole wherever a line runs, gaps by width, crests kept."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage

from sitekit.kernels.night import BarrierFaces
from sitekit.layers.faces import (
    PIECE,
    cut_line,
    find_barrier_faces,
    find_crest_faces,
    join_faces,
    keep_inside,
)
from sitekit.layers.flow import average

SHAPE = (12, 12)


def line_pieces(points, gaps=(), cell=1.0, line=0, **more):
    """Pieces of one line whose corners are given in metres as column and row."""
    values = {"height": 2.0, "openness": 0.0, "foot": 0.0} | more
    return np.array(
        [
            [*a / cell, *b / cell, *values.values(), gap, line, start, stop]
            for a, b, start, stop, gap in cut_line(
                np.asarray(points, float), list(gaps)
            )
        ]
    )


def regions(faces, shape=SHAPE):
    """Number the parts of a grid that no way over four neighbours joins."""
    faces = keep_inside(faces, shape)
    picture = np.ones((2 * shape[0] - 1, 2 * shape[1] - 1), bool)
    picture[1::2, 1::2] = False
    x = faces.along == 0
    picture[2 * faces.row[x], 2 * faces.column[x] - 1] = False
    picture[2 * faces.row[~x] - 1, 2 * faces.column[~x]] = False
    return ndimage.label(picture)[0][::2, ::2]


def kept(faces):
    """Faces by their place."""
    places = zip(
        faces.along.tolist(), faces.row.tolist(), faces.column.tolist(), strict=True
    )
    return {place: faces.height[i] for i, place in enumerate(places)}


#: Heights of a line at the two edges of the grid and at corners between: quarters of
#: a cell, so that middles and corners of cells are often hit exactly.
QUARTERS = st.integers(0, 4 * SHAPE[0]).map(lambda n: n / 4)


@given(
    ys=st.lists(QUARTERS, min_size=2, max_size=5),
    turned=st.booleans(),
    mirrored=st.booleans(),
)
def test_a_line_across_the_grid_leaves_no_way_over_four_neighbours(
    ys, turned, mirrored
):
    xs = np.round(np.linspace(-1, SHAPE[1] + 1, len(ys)) * 2) / 2
    points = np.column_stack([xs, ys])
    points = points[:, ::-1] if turned else points
    points = points[::-1] if mirrored else points
    part = regions(find_barrier_faces(line_pieces(points)))
    part = part.T if turned else part
    middles = np.arange(SHAPE[0]) + 0.5
    north = middles[:, None] < np.interp(middles, xs, ys)[None, :] - 1e-3
    south = middles[:, None] > np.interp(middles, xs, ys)[None, :] + 1e-3
    assert not set(part[north]) & set(part[south])


@pytest.mark.parametrize("corner", [(5.5, 5.5), (6.0, 6.0), (5.5, 6.0), (4.5, 6.5)])
@pytest.mark.parametrize(
    "ends", [((0, 0), (12, 12)), ((0, 3), (12, 8)), ((3, 0), (8, 12))]
)
def test_two_lines_that_meet_exactly_on_a_middle_leave_no_hole(corner, ends):
    first = line_pieces([ends[0], corner])
    second = line_pieces([corner, ends[1]], line=1)
    part = regions(find_barrier_faces(np.concatenate([first, second])))
    assert part[0, 11] != part[11, 0]
    # Every cell lies on one side or the other; none is cut off.
    assert set(np.unique(part)) == {1, 2}


def test_a_line_that_ends_on_another_closes_the_corner():
    wall = line_pieces([(-1, 6.5), (13, 6.5)])
    spur = line_pieces([(4.5, 6.5), (4.5, -1)], line=1)
    part = regions(find_barrier_faces(np.concatenate([wall, spur])))
    assert len({part[0, 0], part[0, 11], part[11, 0]}) == 3


def test_a_line_through_the_middles_of_a_row_passes_on_one_side_of_them_all():
    faces = find_barrier_faces(line_pieces([(-1, 6.5), (13, 6.5)]))
    faces = keep_inside(faces, SHAPE)
    assert set(faces.along) == {1}
    assert len(set(faces.row)) == 1
    assert sorted(faces.column) == list(range(12))


@pytest.mark.parametrize(
    ("degrees", "stretch"), [(0, 1.0), (30, 0.7321), (45, 0.7071), (90, 1.0)]
)
def test_the_stretch_is_the_length_of_the_line_over_that_of_its_staircase(
    degrees, stretch
):
    # Geometry: 1 / (cos + sin) of the angle to the grid.
    way = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    faces = find_barrier_faces(line_pieces([(1.3, 1.3), (1.3, 1.3) + 100 * way]))
    assert faces.stretch == pytest.approx(stretch, abs=1e-4)
    assert faces.stretch.sum() == pytest.approx(100, abs=1.5)


def opened(ends, gap, cell):
    """Width of line that a gap takes out of the faces. [m]"""
    widths = []
    for gaps in ([], [gap]):
        faces = find_barrier_faces(line_pieces(ends, gaps=gaps, cell=cell))
        widths.append(((1 - faces.gap) * faces.stretch).sum() * cell)
    return widths[0] - widths[1]


@pytest.mark.parametrize("cell", [1.0, 2.0, 4.0, 8.0])
@pytest.mark.parametrize("width", [3.0, 14.0])
def test_a_gap_counts_by_its_width_whatever_the_cell(cell, width):
    assert opened([(3, 33), (163, 33)], (70, 70 + width), cell) == pytest.approx(width)


@pytest.mark.parametrize("degrees", [17, 30, 45])
def test_a_gap_in_a_line_across_the_grain_counts_by_its_width(degrees):
    way = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    # One face more or less at either end.
    assert opened([(3, 3), (3, 3) + 200 * way], (80, 95), 2.0) == pytest.approx(
        15, abs=1.5
    )


def test_a_face_that_lies_wholly_in_a_gap_is_none():
    # Air that meets nothing must run as it does elsewhere.
    faces = find_barrier_faces(line_pieces([(0, 3.2), (12, 3.2)], gaps=[(4, 8)]))
    assert sorted(faces.column) == [0, 1, 2, 3, 8, 9, 10, 11]
    assert faces.gap == pytest.approx(0, abs=1e-5)


def test_a_gap_in_one_line_does_not_open_another():
    gapped = line_pieces([(0, 3.2), (12, 3.2)], gaps=[(4.25, 7.75)])
    whole = line_pieces([(0, 9.2), (12, 9.2)], line=1)
    faces = find_barrier_faces(np.concatenate([gapped, whole]))
    assert faces.gap[faces.row == 3].sum() == pytest.approx(1.5)
    assert not faces.gap[faces.row == 9].any()


def test_of_two_barriers_on_one_face_the_higher_stays():
    low = line_pieces([(0, 3.2), (12, 3.2)], height=1.0, openness=0.6)
    high = line_pieces([(4, 3.3), (8, 3.3)], height=3.0, openness=0.1, line=1)
    faces = find_barrier_faces(np.concatenate([low, high]))
    assert len(faces.row) == 12
    assert sorted(faces.height) == [1.0] * 8 + [3.0] * 4
    assert set(faces.openness[faces.height == 3.0]) == {0.1}


@pytest.mark.parametrize("first", [0, 1])
def test_of_two_barriers_as_high_on_one_face_the_less_open_stays(first):
    lines = [
        line_pieces([(0, 3.2), (12, 3.2)], openness=0.6, line=0),
        line_pieces([(0, 3.3), (12, 3.3)], openness=0.1, line=1),
    ]
    faces = find_barrier_faces(np.concatenate([lines[first], lines[1 - first]]))
    assert set(faces.openness) == {0.1}


def test_height_openness_and_slot_of_a_line_go_with_its_faces():
    faces = find_barrier_faces(
        line_pieces([(0, 3.2), (12, 3.2)], height=3.5, openness=0.14, foot=0.75)
    )
    assert (set(faces.height), set(faces.openness), set(faces.foot)) == (
        {3.5},
        {0.14},
        {0.75},
    )


def test_no_barriers_are_no_faces():
    faces = find_barrier_faces(np.empty((0, len(PIECE))))
    assert len(faces.row) == 0
    assert faces.row.dtype == np.int64


def test_faces_off_the_grid_are_left_out():
    faces = find_barrier_faces(line_pieces([(-50, 6.2), (50, 6.2)]))
    inside = keep_inside(faces, SHAPE)
    assert len(faces.row) == 100
    assert sorted(inside.column) == list(range(12))
    # A face on the rim of the grid lies between no two cells.
    rim = find_barrier_faces(line_pieces([(-50, 0.0), (50, 0.0)]))
    assert len(keep_inside(rim, SHAPE).row) == 0


def test_a_line_is_cut_at_its_corners_and_at_the_ends_of_its_gaps():
    pieces = cut_line(np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 6.0]]), [(8.0, 12.0)])
    assert [(start, stop, gap) for _, _, start, stop, gap in pieces] == [
        (0, 8, False),
        (8, 10, True),
        (10, 12, True),
        (12, 16, False),
    ]
    assert pieces[2][1].tolist() == [10, 2]


def bank(width, height=5.0, lowered=slice(0, 0), west=23):
    """A bank that runs north on level ground of 1 m cells, from a column on."""
    fine = np.full((64, 64), 100, np.float32)
    fine[:, west : west + width] += height
    fine[lowered, west : west + width] = 100
    return fine


@pytest.mark.parametrize("west", [22, 23, 24, 25])
@pytest.mark.parametrize("width", [2, 3, 5, 6])
def test_a_bank_narrower_than_two_cells_keeps_its_height(width, west):
    fine = bank(width, west=west)
    coarse = average(fine, 4)
    faces = find_crest_faces(fine, coarse, 4)
    for row in range(16):
        here = (faces.along == 0) & (faces.row == row)
        column = faces.column[here]
        bed = np.maximum(coarse[row, column - 1], coarse[row, column])
        # The way from west to east leads over the highest cell or crest.
        over = max(coarse[row].max(), (bed + faces.height[here]).max(initial=0))
        assert over == pytest.approx(105)
    assert not faces.openness.any()


def test_a_bank_of_two_whole_cells_needs_no_crest():
    fine = np.full((64, 64), 100, np.float32)
    fine[:, 24:32] += 5
    assert len(find_crest_faces(fine, average(fine, 4), 4).row) == 0


def test_crests_are_found_between_rows_as_between_columns():
    fine = bank(3)
    faces = find_crest_faces(fine, average(fine, 4), 4)
    turned = find_crest_faces(fine.T.copy(), average(fine.T.copy(), 4), 4)
    assert kept(turned) == {(1 - a, c, r): h for (a, r, c), h in kept(faces).items()}


def test_a_cut_through_a_bank_narrower_than_a_cell_is_a_gap_of_its_crest():
    fine = bank(3, lowered=slice(32, 33))
    faces = find_crest_faces(fine, average(fine, 4), 4)
    at_cut = (faces.along == 0) & (faces.row == 8)
    assert faces.gap[at_cut].max() == pytest.approx(0.25)
    assert not faces.gap[(faces.along == 0) & (faces.row != 8)].any()


def test_a_smooth_slope_and_missing_ground_have_no_crests():
    fine = (100 + 0.1 * np.arange(64)[None, :] * np.ones((64, 1))).astype(np.float32)
    fine[:9, :9] = np.nan
    assert len(find_crest_faces(fine, average(fine, 4), 4).row) == 0


def test_joined_lists_keep_the_higher_of_two_on_one_face():
    def wall(height):
        one = np.ones(1)
        return BarrierFaces(
            *(np.array([n]) for n in (0, 4, 5)),
            height=height * one,
            openness=0 * one,
            foot=0 * one,
            gap=0.5 * one,
            stretch=0.8 * one,
        )

    joined = join_faces(wall(2.0), wall(3.0), wall(1.0))
    assert kept(joined) == {(0, 4, 5): 3.0}
    # No column changes its meaning on the way.
    assert (joined.gap[0], joined.stretch[0]) == (0.5, 0.8)
