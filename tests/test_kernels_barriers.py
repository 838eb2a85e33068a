"""Barriers on the grid: every touched cell, no diagonal leak."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import label

from sitekit.kernels.barriers import raise_barriers

SHAPE = (8, 10)
# In eighths of a cell, so that lines through corners and along sides are common.
places = st.tuples(st.integers(-24, 104), st.integers(-24, 88)).map(
    lambda p: (p[0] / 8, p[1] / 8)
)


def raised(*lines: tuple[float, float, float, float], heights=None, shape=SHAPE):
    barrier_height = np.zeros(shape, np.float32)
    raise_barriers(
        np.array(lines, np.float64).reshape(-1, 4),
        np.array(heights or [1] * len(lines), np.float32),
        barrier_height,
    )
    return barrier_height


def touched(line: tuple[float, float, float, float]) -> NDArray[np.bool_]:
    """Cells that a line touches, sides and corners included, by geometry."""
    rows, columns = np.indices(SHAPE)
    squares = shapely.box(columns, rows, columns + 1, rows + 1)
    return shapely.intersects(squares, shapely.LineString([line[:2], line[2:]]))


def test_a_line_within_a_row_marks_that_row_from_end_to_end():
    assert np.argwhere(raised((2.5, 3.5, 5.5, 3.5))).tolist() == [
        [3, 2],
        [3, 3],
        [3, 4],
        [3, 5],
    ]


def test_a_line_through_a_corner_marks_the_cells_on_both_sides_of_it():
    cells = raised((2.5, 2.5, 4.5, 4.5))
    assert cells[3, 2]
    assert cells[2, 3]
    assert cells.sum() == 7


def test_a_line_along_a_side_marks_the_cells_on_both_sides_of_it():
    cells = raised((2.5, 3.0, 5.5, 3.0))
    assert cells[2:4, 2:6].all()
    assert cells.sum() == 8


def test_a_line_of_no_length_marks_its_cell():
    assert np.argwhere(raised((4.5, 2.5, 4.5, 2.5))).tolist() == [[2, 4]]


def test_the_higher_of_two_barriers_counts_where_they_cross():
    cells = raised((0.5, 3.5, 9.5, 3.5), (4.5, 0.5, 4.5, 7.5), heights=[2, 3])
    assert cells[3, 4] == 3
    assert cells[3, 3] == 2
    crossed = raised((4.5, 0.5, 4.5, 7.5), (0.5, 3.5, 9.5, 3.5), heights=[3, 2])
    np.testing.assert_array_equal(cells, crossed)


def test_barriers_are_added_to_those_that_are_there():
    cells = np.full(SHAPE, 1.5, np.float32)
    line = np.array([[0.5, 3.5, 9.5, 3.5]])
    raise_barriers(line, np.array([1.0], np.float32), cells)
    assert (cells == 1.5).all()


@pytest.mark.parametrize(
    "line",
    [(-9, 3.5, -2, 3.5), (12, -50, 12, 50), (3, 8.5, 5, 40), (2, -3, 4, -0.5)],
)
def test_a_line_off_the_grid_marks_nothing(line):
    assert not raised(line).any()


def test_the_part_of_a_long_line_on_the_grid_is_marked():
    cells = raised((-1e6, 3.5, 1e6, 3.5))
    assert cells[3].all()
    assert cells.sum() == SHAPE[1]


@given(start=places, end=places)
@settings(deadline=None, max_examples=300)
def test_the_marked_cells_are_those_that_the_line_touches(start, end):
    line = (*start, *end)
    if start == end:
        return
    marked = raised(line) > 0
    expected = touched(line)
    # A corner that the line misses by less than rounding may be marked as well.
    assert marked[expected].all()
    rows, columns = np.indices(SHAPE)
    squares = shapely.box(columns, rows, columns + 1, rows + 1)
    near = shapely.distance(squares, shapely.LineString([start, end])) < 1e-8
    assert near[marked].all()


@given(start=places, end=places)
@settings(deadline=None)
def test_a_line_drawn_backward_marks_the_same_cells(start, end):
    np.testing.assert_array_equal(raised((*start, *end)), raised((*end, *start)))


@given(
    left=st.floats(-0.5, 8.5, allow_subnormal=False),
    right=st.floats(-0.5, 8.5, allow_subnormal=False),
)
@settings(deadline=None, max_examples=300)
def test_nothing_passes_diagonally_through_a_line_across_the_grid(left, right):
    open_cells = raised((-1.0, left, 11.0, right)) == 0
    regions, _ = label(open_cells, structure=np.ones((3, 3)))
    rows, columns = np.indices(SHAPE)
    height = left + (columns + 1.5) / 12 * (right - left)
    above = regions[open_cells & (rows + 0.5 < height)]
    below = regions[open_cells & (rows + 0.5 > height)]
    assert not set(above) & set(below)
