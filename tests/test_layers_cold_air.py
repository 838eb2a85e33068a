"""Held cold air on ground whose pools are known, and the ways that it takes."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.kernels.barriers import raise_barriers
from sitekit.layers import make_layers
from sitekit.layers.catalogue import CATALOGUE, order_layers
from sitekit.layers.cold_air import (
    catchment_area,
    depression_depth,
    filled_elevation,
    flow_direction,
    pooling_depth,
)

CELL = 2.0
#: Deeper than this counts as a pool in the scenarios. [m]
POOL = 0.05
Line = tuple[float, float, float, float]


class Ground:
    """Ground from a formula; x east, y north, in metres, cells of 2 m.

    Closed sides are given a wall that no air passes.
    """

    def __init__(
        self,
        width: float,
        length: float,
        height: Callable[[NDArray[np.float64], NDArray[np.float64]], object],
        closed: str = "WEN",
    ) -> None:
        self.length = length
        x = np.arange(CELL / 2, width, CELL)
        y = np.arange(length - CELL / 2, 0, -CELL)
        self.x, self.y = np.meshgrid(x, y)
        self.elevation = np.asarray(height(self.x, self.y), np.float32)
        self.sides = ((int("N" in closed), 0), (int("W" in closed), int("E" in closed)))

    def barriers(self, *lines: Line, height: float) -> NDArray[np.float32]:
        barrier_height = np.zeros_like(self.elevation)
        ends = [
            (x0 / CELL, (self.length - y0) / CELL, x1 / CELL, (self.length - y1) / CELL)
            for x0, y0, x1, y1 in lines
        ]
        heights = np.full(len(ends), height, np.float32)
        raise_barriers(np.array(ends, np.float64), heights, barrier_height)
        return barrier_height

    def pool(self, barrier_height: NDArray[np.float32] | None = None):
        if barrier_height is None:
            barrier_height = np.zeros_like(self.elevation)
        walled = np.pad(self.elevation, self.sides, constant_values=9999)
        raised = np.pad(barrier_height, self.sides)
        depth = pooling_depth(walled, raised)
        rows, columns = self.elevation.shape
        return depth[depth.shape[0] - rows :, self.sides[1][0] :][:, :columns]


def area(depth: NDArray[np.float32]) -> float:
    return float((depth > POOL).sum() * CELL**2)


# The scenarios of this file are constructed: their values follow from the formula of
# the ground.


def slope_behind_a_hedge(tilt: float = 0.0) -> Ground:
    """A slope of 4 % that falls south; the hedge stands along y = 60."""
    return Ground(200, 240, lambda x, y: 100 + 0.04 * y + tilt * x)


@pytest.mark.parametrize(
    ("effective", "deepest", "reach", "pooled"),
    [(2.0, 1.92, 49, 9600), (1.0, 0.92, 23, 4400)],
)
def test_a_hedge_across_a_slope_holds_air_above_it(effective, deepest, reach, pooled):
    ground = slope_behind_a_hedge()
    depth = ground.pool(ground.barriers((0, 60, 200, 60), height=effective))
    assert depth.max() == pytest.approx(deepest, abs=1e-3)
    assert ground.y[depth > POOL].max() - 60 == reach
    assert area(depth) == pooled
    assert not depth[ground.y < 60].any()


def test_a_gap_in_a_hedge_on_even_ground_lets_all_air_out():
    ground = slope_behind_a_hedge()
    gap = ground.barriers((0, 60, 91, 60), (107, 60, 200, 60), height=2)
    assert ground.pool(gap).max() < 0.1
    assert area(ground.pool(gap)) == 0


def test_a_gap_helps_only_at_the_low_end_of_a_tilted_hedge():
    ground = slope_behind_a_hedge(tilt=0.01)
    high = ground.pool(
        ground.barriers((0, 60, 141.9, 60), (158.1, 60, 200, 60), height=2)
    )
    assert high.max() == pytest.approx(1.40, abs=0.005)
    assert area(high) == pytest.approx(2448, rel=0.01)
    row, column = np.unravel_index(high.argmax(), high.shape)
    assert ground.x[row, column] == 1
    low = ground.pool(ground.barriers((16.1, 60, 200, 60), height=2))
    assert area(low) == 0


def test_a_closed_hedge_on_tilted_ground_holds_air_at_its_low_end():
    ground = slope_behind_a_hedge(tilt=0.01)
    depth = ground.pool(ground.barriers((0, 60, 200, 60), height=2))
    assert depth[ground.x == 1].max() > 1.9
    assert depth[ground.x == 199].max() < depth[ground.x == 1].max()


def bowl(outlet: float) -> Ground:
    """A bowl with a channel of 12 m to the south, its floor at a height."""

    def height(x, y):
        z = 50 + 0.0008 * ((x - 160) ** 2 + (y - 160) ** 2)
        channel = (np.abs(x - 160) < 6) & (y < 160)
        return np.where(channel, np.minimum(z, outlet), z)

    return Ground(320, 320, height, closed="")


def test_a_bowl_holds_air_up_to_the_floor_of_its_outlet():
    ground = bowl(53.0)
    depth = ground.pool()
    assert depth.max() == pytest.approx(3.0, abs=0.005)
    assert area(depth) == 11_504
    middle = ground.x - 160, ground.y - 160
    assert np.hypot(*middle)[depth > POOL].max() == pytest.approx(60, abs=1)


def test_wood_in_the_outlet_of_a_bowl_doubles_the_pool():
    ground = bowl(53.0)
    blocked = ground.barriers((150, 40, 170, 40), height=3)
    depth = ground.pool(blocked)
    assert depth.max() == pytest.approx(6.0, abs=0.005)
    assert area(depth) == pytest.approx(23_704, rel=0.01)


def test_cutting_the_outlet_of_a_bowl_down_empties_most_of_it():
    depth = bowl(50.5).pool()
    assert depth.max() == pytest.approx(0.5, abs=0.005)
    assert area(depth) == pytest.approx(1_792, rel=0.03)


def terrace(fall: float) -> Ground:
    """Lake, bank of 25 % to 10 m, terrace that falls inward, slope of 12 %."""

    def height(x, y):
        back = 10 - fall * 80
        return np.interp(y, [0, 40, 80, 160, 240], [0, 0, 10, back, back + 9.6]) + 0 * x

    return Ground(100, 240, height, closed="WEN")


def test_a_terrace_that_tilts_back_holds_air_at_the_foot_of_the_hill():
    ground = terrace(0.01)
    depth = ground.pool()
    assert depth.max() == pytest.approx(0.78, abs=0.005)
    pooled = ground.y[depth > POOL]
    assert (pooled.min(), pooled.max()) == (87, 165)


def test_a_terrace_that_falls_outward_holds_no_air():
    assert terrace(-0.02).pool().max() == 0


def test_a_swale_that_is_open_below_holds_no_air_but_gathers_it():
    ground = Ground(
        300, 300, lambda x, y: 40 + 0.003 * y - np.exp(-(((x - 150) / 20) ** 2))
    )
    assert ground.pool().max() == 0
    direction = flow_direction(filled_elevation(ground.elevation))
    gathered = catchment_area(direction, cell_size=CELL)
    axis = gathered[np.abs(ground.x - 150) < 2].max()
    assert axis == pytest.approx(14_000, rel=0.03)
    assert gathered[np.abs(ground.x - 150) > 60].max() < axis / 3


def test_a_shallow_dish_on_sloping_ground_shows_half_its_depth():
    def height(x, y):
        across = ((x - 150) / 30) ** 2 + ((y - 150) / 40) ** 2
        return 80 + 0.002 * y - 0.15 * np.clip(1 - across, 0, None)

    # Derived: the lowest point lies 10.67 m south of the middle, 0.0807 m below the
    # southern rim.
    depth = Ground(300, 300, height).pool()
    assert depth.max() == pytest.approx(0.0807, abs=0.003)


def test_air_that_stands_over_a_wall_is_counted_from_its_top():
    elevation = np.float32([[9] * 6, [9, 2, 2, 2, 5, 0], [9] * 6])
    wall = np.zeros_like(elevation)
    wall[1, 2] = 1
    assert pooling_depth(elevation, wall)[1].tolist() == [0, 3, 2, 3, 0, 0]


def test_a_wall_that_stands_above_the_air_holds_none_itself():
    elevation = np.float32([[9] * 5, [9, 2, 1, 0, 0], [9] * 5])
    wall = np.zeros_like(elevation)
    wall[1, 2] = 2
    assert pooling_depth(elevation, wall)[1].tolist() == [0, 1, 0, 0, 0]


def test_a_barrier_without_height_changes_nothing():
    elevation = np.random.default_rng(4).random((40, 40)).astype(np.float32)
    depth = pooling_depth(elevation, np.zeros_like(elevation))
    filled = filled_elevation(elevation)
    np.testing.assert_array_equal(depth, depression_depth(elevation, filled))


@given(
    elevation=arrays(np.float32, (8, 8), elements=st.integers(0, 9).map(float)),
    height=st.integers(0, 5),
)
@settings(deadline=None)
def test_barriers_never_lower_the_surface_of_the_air_beside_them(elevation, height):
    wall = np.zeros_like(elevation)
    wall[4] = height
    without = pooling_depth(elevation, np.zeros_like(wall))
    beside = wall == 0
    assert (pooling_depth(elevation, wall)[beside] >= without[beside]).all()


def test_missing_stripes_hold_no_air_and_make_none():
    ground = np.full((20, 20), 5, np.float32)
    ground[5:15, 5:15] = 1
    ground[::4] = np.nan
    filled = filled_elevation(ground)
    depth = depression_depth(ground, filled)
    assert (np.isnan(depth) == np.isnan(ground)).all()
    assert np.nanmax(depth) == 0
    direction = flow_direction(filled)
    passing = catchment_area(direction, cell_size=1.0)
    assert (np.isnan(passing) == np.isnan(ground)).all()


def test_pools_do_not_depend_on_the_height_above_the_sea():
    rng = np.random.default_rng(8)
    # Exact in float32 at both heights.
    ground = (rng.integers(0, 64, (30, 30)) / 16).astype(np.float32)
    high = ground + np.float32(2048)
    low_depth = depression_depth(ground, filled_elevation(ground))
    high_depth = depression_depth(high, filled_elevation(high))
    np.testing.assert_array_equal(low_depth, high_depth)


def test_the_filling_is_made_once_for_depth_and_direction():
    order, absent = order_layers(
        ["depression_depth", "catchment_area"], ["survey_elevation"]
    )
    assert not absent
    assert order.count("filled_elevation") == 1
    assert CATALOGUE["depression_depth"].needs == ("elevation", "filled_elevation")


def test_steps_on_the_way_are_not_written():
    written = {n for n in CATALOGUE if CATALOGUE[n].written}
    assert {"depression_depth", "pooling_depth", "catchment_area"} <= written
    assert not {"filled_elevation", "flow_direction"} & written


def test_pooling_is_told_as_absent_where_no_barriers_were_read():
    _, absent = order_layers(["pooling_depth"], ["survey_elevation"])
    assert absent == {"pooling_depth": "barrier_height"}


def test_the_layers_of_a_grid_come_out_of_the_engine_with_their_units():
    ground = bowl(53.0)
    grid = Grid(CRS.from_epsg(32633), 5e5, 5.2e6, CELL, ground.elevation.shape)
    given = {
        "survey_elevation": ground.elevation,
        "barrier_height": np.zeros(grid.shape, np.float32),
    }
    names = ["depression_depth", "pooling_depth", "catchment_area"]
    layers, absent = make_layers(names, given, grid)
    assert not absent
    assert {n: layers[n].attrs["units"] for n in names} == {
        "depression_depth": "m",
        "pooling_depth": "m",
        "catchment_area": "m2",
    }
    assert all(layers[n].dtype == np.float32 for n in names)
    # All of the bowl drains out through the channel.
    assert layers["catchment_area"].max() > 0.5 * 320 * 320


def test_a_closed_edge_is_no_outlet():
    # A valley floor that falls to the west, shut there: it fills to the lower side.
    floor = np.repeat(np.float32([[0, 1, 2, 3]]), 4, axis=0)
    none = np.zeros_like(floor)
    assert (pooling_depth(floor, none) == 0).all()
    shut = pooling_depth(floor, none, closed_edges=("west", "north", "south"))
    np.testing.assert_array_equal(shut[0], [3, 2, 1, 0])
    assert (pooling_depth(floor, none, closed_edges=("east",)) == 0).all()
