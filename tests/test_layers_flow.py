"""The standard night: cells made coarser and brought back, barriers on any cell."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sitekit.kernels.refine import refine
from sitekit.layers import flow
from sitekit.layers.cover import COVERS, SHORT_GRASS
from sitekit.layers.faces import PIECE
from sitekit.layers.flow import average, double, standard_night
from sitekit.layers.terms import pool_warmth, still_warmth

GRASS = COVERS[SHORT_GRASS]
NO_BARRIER = np.empty((0, len(PIECE)))
HEIGHTS = st.floats(-100, 4000, width=32)


def mesh(rows, columns, cell):
    """East and north of the cell middles from the south-west corner."""
    x = (np.arange(columns) + 0.5) * cell
    y = (rows - np.arange(rows) - 0.5) * cell
    return np.meshgrid(x, y)


def night(
    elevation, cell, *, pieces=NO_BARRIER, hours=9.0, factor=1, water=None, closed=()
):
    """A standard night over short grass."""
    bed = elevation.astype(np.float32)
    water = np.zeros(bed.shape, bool) if water is None else water
    made = np.where(water, 0, 2.0 / 3600 * GRASS.production)
    decay = np.where(water, 0.0005, 1 / (1.5 * 3600))
    sources = [made, bed * 0 + GRASS.deficit, bed * 0 + GRASS.drag, decay]
    sources = np.nan_to_num(np.stack(sources)).astype(np.float32)
    return standard_night(
        bed,
        sources,
        water,
        pieces,
        hours,
        cell_size=cell,
        factor=factor,
        closed_edges=closed,
    )


def felt(air):
    """What the air does to a thermometer at 1.5 m. [degC]"""
    stack = np.stack([air.depth, air.speed, air.deficit, air.pool_hours])
    return pool_warmth(stack) + still_warmth(stack)


#: Edges of a slope that goes on to both sides.
SIDES = ("west", "east")


def wall(row, columns, *, height=2.0, gap=None):
    """A wall along a row, and a gap from and to along it, in cells."""
    cuts = [0, *(gap or ()), columns]
    return np.array(
        [
            [a, row, b, row, height, 0, 0, i == 1 and gap is not None, 0, a, b]
            for i, (a, b) in enumerate(pairwise(cuts))
        ],
        float,
    )


# -- coarser and finer -----------------------------------------------------------------


@given(arrays(np.float32, (12, 8), elements=HEIGHTS), st.sampled_from([2, 4]))
def test_means_keep_the_mean_of_the_whole(values, factor):
    means = average(values, factor)
    assert means.shape == (12 // factor, 8 // factor)
    assert float(means.mean(dtype=float)) == pytest.approx(
        float(values.mean(dtype=float)), rel=1e-5, abs=1e-3
    )


def test_a_square_with_a_missing_cell_has_the_mean_of_the_others():
    values = np.array([[1, 2, 9], [3, np.nan, np.nan]], np.float32)
    assert average(values, 2) == pytest.approx(np.array([[2.0, 9.0]]))
    assert np.isnan(average(np.full((4, 4), np.nan, np.float32), 2)).all()


@pytest.mark.parametrize("factor", [2, 3, 4])
def test_a_plane_comes_back_from_coarser_cells_as_it_was(factor):
    x, y = mesh(48, 60, 2.0)
    plane = (100 + 0.03 * x + 0.05 * y).astype(np.float32)
    back = refine(average(plane, factor), factor, plane.shape)
    inner = (slice(factor, -factor), slice(factor, -factor))
    assert back[inner] == pytest.approx(plane[inner], abs=1e-3)


def test_nothing_is_interpolated_where_the_cells_are_the_same():
    values = np.arange(12, dtype=np.float32).reshape(3, 4)
    assert (refine(values, 1, values.shape) == values).all()
    assert (average(values, 1) == values).all()


@given(arrays(np.float32, (5, 7), elements=HEIGHTS))
def test_values_brought_back_stay_between_those_they_came_from(values):
    back = refine(values, 4, (18, 27))
    assert back.shape == (18, 27)
    assert back.min() >= values.min() - 1e-2
    assert back.max() <= values.max() + 1e-2


def test_doubled_cells_repeat_and_are_cut_to_the_shape():
    values = np.array([[1, 2], [3, 4]], np.float32)
    assert double(values, (3, 4)).tolist() == [[1, 1, 2, 2], [1, 1, 2, 2], [3, 3, 4, 4]]


def test_the_wedge_behind_a_wall_ends_at_the_wall_on_any_flow_cell():
    _, y = mesh(120, 40, 1.0)
    ground = 100 + 0.05 * y
    air = night(ground, 1.0, pieces=wall(80, 40), factor=4, closed=SIDES)
    depth = air.depth[:, 20]
    # The last metre above the wall and the first below it, two metres apart.
    assert depth[79] > 1.9
    assert depth[80] < 0.6
    assert (np.diff(depth[60:80]) > 0).all()


# -- the night -------------------------------------------------------------------------


def valley(cell=4.0, rows=110, columns=70):
    """A valley that falls south, with a hollow in its floor and a side gully."""
    x, y = mesh(rows, columns, cell)
    across = np.abs(x - x.mean())
    z = 100 + 0.02 * y + 0.12 * np.maximum(across - 30, 0)
    z -= 4 * np.exp(-((x - x.mean()) ** 2 + (y - y.mean()) ** 2) / 40**2)
    return z - 2 * np.exp(-(((y - 250) / 12) ** 2)) * (x > x.mean())


def test_a_coarse_start_tells_a_valley_as_the_whole_night_does(monkeypatch):
    # Measured for this method: rms 0.02, 99 of 100 cells within 0.16 degC.
    whole = felt(night(valley(), 4.0))
    monkeypatch.setattr(flow, "COARSE_START_FROM", 0)
    started = felt(night(valley(), 4.0))
    difference = started - whole
    assert whole.min() < -1.5
    assert 0 < np.sqrt((difference**2).mean()) < 0.05
    assert np.quantile(np.abs(difference), 0.99) < 0.2


def test_hours_under_a_pool_are_those_of_the_whole_night(monkeypatch):
    whole = night(valley(), 4.0).pool_hours
    monkeypatch.setattr(flow, "COARSE_START_FROM", 0)
    started = night(valley(), 4.0).pool_hours
    assert whole.max() > 5
    assert started.max() == pytest.approx(whole.max(), abs=0.5)
    assert started.sum() == pytest.approx(whole.sum(), rel=0.1)


def test_large_cells_run_the_whole_night_as_they_are(monkeypatch):
    # Doubled cells of 50 m lose the gullies that 25 m keep.
    ground = valley(cell=16.0, rows=40, columns=30)
    whole = night(ground, 16.0).depth
    monkeypatch.setattr(flow, "COARSE_START_FROM", 0)
    assert (night(ground, 16.0).depth == whole).all()


def bowl(cell, rows, side=240.0):
    x, y = mesh(rows, rows, cell)
    return 50 + 0.0012 * ((x - side / 2) ** 2 + (y - side / 2) ** 2)


def test_deep_air_comes_back_with_a_level_surface():
    ground = bowl(2.0, 120)
    air = night(ground, 2.0, factor=4)
    pool = air.depth > 2.0
    assert pool.sum() > 500
    surface = (ground + air.depth)[pool]
    # On 8 m cells the ground alone steps by 0.8 m from one to the next.
    assert surface.std() < 0.05
    assert np.ptp(ground[pool]) > 2


def test_the_air_of_coarser_cells_is_that_of_finer_ones():
    _, y = mesh(120, 120, 2.0)
    ground = bowl(2.0, 120) + 0.05 * y
    fine, coarse = (felt(night(ground, 2.0, factor=f)) for f in (1, 4))
    inner = (slice(8, -8), slice(8, -8))
    assert np.sqrt(((fine - coarse)[inner] ** 2).mean()) < 0.2


def test_no_air_lies_where_the_ground_is_missing_and_none_is_lost_there():
    ground = bowl(4.0, 60)
    ground[:8, :8] = np.nan
    air = night(ground, 4.0, hours=3.0)
    known = np.isfinite(ground)
    assert np.isfinite(air.depth[known]).all()
    assert air.depth[known].max() > 1


def test_water_makes_no_cold_air_and_takes_it_away():
    _, y = mesh(60, 40, 4.0)
    ground = np.where(y < 80, 100.0, 100 + 0.06 * (y - 80))
    over_grass = night(ground, 4.0)
    over_water = night(ground, 4.0, water=y < 80)
    middle = (y > 30) & (y < 60)
    assert over_water.depth[middle].mean() < 0.6 * over_grass.depth[middle].mean()
    assert over_water.depth[y > 160] == pytest.approx(
        over_grass.depth[y > 160], abs=0.02
    )


@pytest.mark.parametrize("cell", [2.0, 4.0, 8.0])
def test_a_wall_across_a_slope_holds_the_same_air_on_any_cell(cell):
    # Sign: a wall across the slope makes the uphill side colder (Snyder & de
    # Melo-Abreu 2005, FAO ENRS 10, ch. 6). Depth above a solid 2 m wall 180 m below
    # the top of a 4 % slope: 2.3 m at 1 m, own calculation on 2 m cells.
    rows, columns = round(240 / cell), round(96 / cell)
    _, y = mesh(rows, columns, cell)
    pieces = wall((240 - 64) / cell, columns)
    air = night(100 + 0.04 * y, cell, pieces=pieces, closed=SIDES)
    above = air.depth[(y > 64) & (y < 64 + 9)].mean()
    below = air.depth[(y < 60) & (y > 40)].mean()
    # Mean ground of the strip lies 0.18 m above the foot of the wall.
    assert above == pytest.approx(2.15, abs=0.2)
    assert below < 0.5


@pytest.mark.parametrize("cell", [2.0, 4.0])
def test_a_gap_narrower_than_a_large_cell_lets_air_out_on_any_cell(cell):
    rows, columns = round(240 / cell), round(96 / cell)
    x, y = mesh(rows, columns, cell)
    ground = 100 + 0.04 * y + 0.01 * x
    row = (240 - 64) / cell
    shut = night(ground, cell, pieces=wall(row, columns), closed=SIDES)
    gapped = wall(row, columns, gap=(0.0, 12.0 / cell))
    opened = night(ground, cell, pieces=gapped, closed=SIDES)
    corner = (x < 24) & (y > 64) & (y < 76)
    gained = shut.depth[corner].mean() - opened.depth[corner].mean()
    assert gained > 0.5


def test_a_bank_narrower_than_coarse_cells_still_dams_the_air():
    x, y = mesh(160, 60, 1.0)
    ground = 100 + 0.03 * y + np.where(np.abs(y - 40) <= 1.5, 2.0, 0)
    fine = night(ground, 1.0, hours=4.0, closed=SIDES)
    coarse = night(ground, 1.0, factor=4, hours=4.0, closed=SIDES)
    above = (y > 46) & (y < 56) & (x > 10) & (x < 50)
    assert fine.depth[above].mean() > 0.8
    assert coarse.depth[above].mean() == pytest.approx(
        fine.depth[above].mean(), abs=0.25
    )


@pytest.mark.parametrize("rows", [5, 6, 9])
def test_a_grid_that_ends_within_a_coarse_cell_runs_like_any_other(rows):
    # Five rows are two coarse cells of four, not of three.
    x, _ = mesh(rows, 24, 2.0)
    air = night(100 + 0.05 * x, 2.0, factor=4, hours=2.5)
    assert np.isfinite(air.depth).all()
    assert air.depth.shape == (rows, 24)
    assert air.depth.max() > 0.05
