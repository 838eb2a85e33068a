"""The cold layer against solutions known in closed form.

Rows are taken to run up the slope, so ``y`` grows with the row.
"""

import numpy as np
import pytest

from sitekit.kernels.night import (
    EDGES,
    BarrierFaces,
    NightGround,
    buoyancy_of,
    run_night,
)

SIDES = ("west", "east")
FOUR_K, FIVE_K = float(buoyancy_of(np.array(4.0))), float(buoyancy_of(np.array(5.0)))


def ground(bed, *, cell=2.0, made=0.0, deficit=5.0, drag=0.03, decay=0.0, **more):
    """Lay a field out; `made` is in metres an hour."""
    bed = np.asarray(bed)

    def field(value):
        return np.broadcast_to(np.asarray(value, bed.dtype), bed.shape)

    return NightGround(
        bed=bed,
        production=field(np.asarray(made) / 3600),
        deficit=field(deficit),
        drag=field(drag),
        decay=field(decay),
        cell_size=cell,
        **more,
    )


def centres(count, cell):
    return (np.arange(count) + 0.5) * cell


def slope(rows, columns, cell, fall, kind=np.float32):
    return np.repeat(centres(rows, cell)[:, None] * fall, columns, axis=1).astype(kind)


def hedge(row, columns, *, height, openness=0.0, foot=0.0, gap=0.0):
    """Make a barrier along the lower side of a row, over the whole width."""
    whole = np.ones(columns)
    return BarrierFaces(
        along=np.ones(columns, np.int64),
        row=np.full(columns, row),
        column=np.arange(columns),
        height=height * whole,
        openness=openness * whole,
        foot=foot * whole,
        gap=gap * whole,
        stretch=whole,
    )


def still(bed, level, deficit=5.0):
    depth = np.maximum(level - bed, 0).astype(bed.dtype)
    return depth, np.full_like(bed, buoyancy_of(np.array(deficit)))


# Source: the lake at rest of Audusse et al. 2004, SIAM J. Sci. Comput. 25.
@pytest.mark.parametrize(("kind", "most"), [(np.float64, 1e-12), (np.float32, 1e-3)])
def test_a_level_lake_of_air_on_rough_ground_stays_at_rest(kind, most):
    row, column = np.mgrid[-40:40, -40:40]
    bowl = 100 + 0.002 * (row**2 + column**2)
    rough = np.random.default_rng(1).normal(0, 0.8, bowl.shape)
    bed = (bowl + rough).astype(kind)
    state = run_night(ground(bed), 3600.0, start=still(bed, 103.0), closed_edges=EDGES)
    assert (state.depth == 0).any()
    assert max(np.abs(state.flux_x).max(), np.abs(state.flux_y).max()) <= most


@pytest.mark.parametrize(("kind", "most"), [(np.float64, 1e-13), (np.float32, 2e-6)])
@pytest.mark.parametrize("closed", [EDGES, SIDES])
def test_air_and_its_buoyancy_are_kept_to_the_last_bit(kind, most, closed):
    rng = np.random.default_rng(2)
    bed = slope(60, 50, 2.0, 0.08, kind) + rng.normal(0, 0.3, (60, 50)).astype(kind)
    made, deficit = rng.uniform(0, 4, bed.shape), rng.uniform(2, 6, bed.shape)
    faces = hedge(25, 50, height=1.5, openness=0.3)
    faces.gap[10:14] = 1.0
    field = ground(bed, made=made, deficit=deficit)
    state = run_night(field, 7200.0, faces=faces, closed_edges=closed)
    assert (state.depth >= 0).all()
    source = field.production.astype(np.float64) * 7200.0 * 4.0
    volume = 4.0 * state.depth.sum(dtype=np.float64) + state.edge_volume
    assert volume == pytest.approx(source.sum(), rel=most)
    content = 4.0 * (state.depth.astype(np.float64) * state.buoyancy).sum()
    expected = (source * buoyancy_of(field.deficit.astype(np.float64))).sum()
    assert content + state.edge_buoyancy == pytest.approx(expected, rel=most)
    assert (state.edge_volume > 0) == (closed == SIDES)


# Source: uniform flow, u = √(b h S / C), the balance of fall and drag.
@pytest.mark.parametrize(
    ("fall", "turned", "speed"),
    [
        (0.02, 0.0, 0.3399),
        (0.1, 0.0, 0.7601),
        (0.25, 0.0, 1.2018),
        (0.1, 37.0, 0.7601),
        (0.1, 45.0, 0.7601),
    ],
)
def test_uniform_flow_has_the_speed_of_the_balance_at_any_slope(fall, turned, speed):
    north, east = np.cos(np.radians(turned)), np.sin(np.radians(turned))
    width = 24 if turned == 0 else 200
    row, column = np.mgrid[0:200, 0:width] * 8.0
    bed = (fall * (north * row + east * column)).astype(np.float32)
    noise = np.random.default_rng(3).uniform(0.95, 1.05, bed.shape)
    start = noise.astype(np.float32), np.full_like(bed, FIVE_K)
    closed = SIDES if turned == 0 else ()
    state = run_night(ground(bed, cell=8.0), 400.0, start=start, closed_edges=closed)
    middle = np.s_[60:90, 8:16] if turned == 0 else np.s_[60:90, 60:90]
    down = 0.5 * (state.flux_y[:-1] + state.flux_y[1:])[middle].mean(dtype=np.float64)
    right = 0.5 * (state.flux_x[:, :-1] + state.flux_x[:, 1:])[middle].mean()
    depth = state.depth[middle].mean()
    assert depth == pytest.approx(1.0, abs=0.01)
    assert np.hypot(down, right) / depth == pytest.approx(speed, rel=0.01)
    assert np.degrees(np.arctan2(-right, -down)) == pytest.approx(turned, abs=0.2)


# Source: steady growth down a plane, q = s L and h = (q / √(b S / C))^⅔.
@pytest.mark.parametrize(("cell", "most"), [(2.0, 0.005), (4.0, 0.01), (8.0, 0.02)])
def test_flow_grows_down_a_plane_by_what_is_made(cell, most):
    bed = slope(int(400 / cell), 3, cell, 0.05)
    state = run_night(ground(bed, cell=cell, made=1.6), 3 * 3600.0, closed_edges=SIDES)
    np.testing.assert_allclose(-state.flux_y[0], 0.17778, atol=1e-4)
    # The foot of the plane is its open end; depth one metre from it.
    flux = 1.6 / 3600 * (400 - cell / 2)
    depth = (flux / np.sqrt(FIVE_K * 0.05 / 0.03)) ** (2 / 3)
    if cell == 2.0:
        assert depth == pytest.approx(0.4775, abs=1e-4)
    np.testing.assert_allclose(state.depth[0], depth, rtol=most)


# Source: the Riemann problem of the equations without advection of momentum,
# ⅔ √b (h_l^1.5 - h_m^1.5) = √(b (h_m² - h_r²) (h_m - h_r) / 2).
def test_a_broken_dam_has_the_middle_state_of_its_equations():
    bed = np.zeros((3, 200), np.float32)
    depth = np.where(np.arange(200) < 100, 2.0, 1.0)
    start = np.broadcast_to(depth, bed.shape).astype(np.float32), bed + FIVE_K
    state = run_night(
        ground(bed, cell=1.0, drag=0.0),
        60.0,
        start=(start[0], start[1].astype(np.float32)),
        closed_edges=EDGES,
    )
    middle = np.s_[1, 96:105]
    assert state.depth[middle].mean() == pytest.approx(1.5412, rel=0.01)
    speed = (state.flux_x[middle] / state.depth[middle]).mean()
    assert speed == pytest.approx(0.1648, rel=0.04)


@pytest.mark.parametrize("cell", [2.0, 1.0])
def test_air_poured_into_a_cone_stands_as_high_as_its_volume(cell):
    half = int(56 / cell)
    row, column = np.mgrid[-half:half, -half:half] * cell + cell / 2
    away = np.hypot(row, column)
    bed = np.minimum(5 * away / 50, 5.0).astype(np.float32)
    poured = away < 12
    made = np.where(poured, 837.76 / (poured.sum() * cell**2) * 2, 0.0)
    filling = run_night(ground(bed, cell=cell, made=made), 1800.0, closed_edges=EDGES)
    state = run_night(ground(bed, cell=cell), 3600.0, start=filling, closed_edges=EDGES)
    level = (bed + state.depth)[away < 15]
    # The volume of a cone: π 20² · 2 / 3 = 837.76 m³ stand 2 m above its apex.
    assert level.mean() == pytest.approx(2.0, rel=0.005)
    assert np.ptp(level) < 0.02


def test_a_bowl_gives_the_same_answer_from_every_side():
    row, column = np.mgrid[-30:30, -30:30] + 0.5
    bed = (0.004 * (row**2 + column**2)).astype(np.float32)
    depth = run_night(ground(bed, made=2.0), 7200.0).depth
    for other in (depth.T, depth[::-1], depth[:, ::-1]):
        np.testing.assert_allclose(other, depth, atol=1e-4)


# Source: flow through and over a barrier as an orifice, a porous screen and a
# broad-crested weir in series with the free flow.
@pytest.mark.parametrize(
    ("height", "openness", "foot", "depth", "most"),
    [
        (2.0, 0.0, 0.0, 2.444, 0.005),
        (2.0, 0.1, 0.0, 1.505, 0.03),
        (2.0, 0.3, 0.0, 0.694, 0.03),
        (2.0, 0.5, 0.0, 0.457, 0.03),
        (2.0, 0.95, 0.0, 0.273, 0.03),
        (2.0, 0.0, 0.75, 0.419, 0.03),
        (None, 0.0, 0.0, 0.271, 0.03),
    ],
)
def test_a_hedge_backs_air_up_by_what_it_lets_through(
    height, openness, foot, depth, most
):
    bed = slope(120, 3, 2.0, 0.04)
    faces = height and hedge(30, 3, height=height, openness=openness, foot=foot)
    state = run_night(
        ground(bed, made=1.2, deficit=4.0),
        8 * 3600.0,
        faces=faces,
        closed_edges=SIDES,
    )
    np.testing.assert_allclose(-state.flux_y[30], 0.060, rtol=0.005)
    assert state.depth[30, 1] == pytest.approx(depth, rel=most)


def test_a_wall_keeps_air_out_as_well_as_in():
    bed = np.zeros((100, 20), np.float32)
    made = np.zeros(bed.shape)
    made[:30] = 1.4 * 200 / 60
    walled, free = [
        run_night(
            ground(bed),
            8 * 3600.0,
            start=run_night(
                ground(bed, made=made), 3600.0, faces=faces, closed_edges=EDGES
            ),
            faces=faces,
            closed_edges=EDGES,
        ).depth
        for faces in (hedge(50, 20, height=3.0), None)
    ]
    # The volume is kept; a seiche of some millimetres dies away slowly.
    assert walled[:50].mean() == pytest.approx(2.8, abs=1e-3)
    np.testing.assert_allclose(walled[:50], 2.8, atol=0.006)
    assert (walled[50:] == 0).all()
    np.testing.assert_allclose(free, 1.4, atol=0.01)


def test_no_chequerboard_grows_in_a_smooth_gully():
    row, column = np.mgrid[0:80, -30:30] * 2.0
    bed = (0.06 * row + 0.002 * column**2).astype(np.float32)
    depth = run_night(ground(bed, made=2.0), 5400.0).depth.astype(np.float64)
    around = depth[:-2, 1:-1] + depth[2:, 1:-1] + depth[1:-1, :-2] + depth[1:-1, 2:]
    sign = (-1.0) ** np.add.outer(np.arange(78), np.arange(58))
    assert depth.max() > 0.1
    assert abs((sign * (depth[1:-1, 1:-1] - around / 4)).mean()) < 1e-6


def test_a_gap_passes_about_the_same_on_any_cell():
    passed = []
    for cell in (2.0, 4.0, 8.0):
        rows, columns = int(240 / cell), int(200 / cell)
        bed = slope(rows, columns, cell, 0.04)
        bed += (0.01 * centres(columns, cell)).astype(np.float32)
        faces = hedge(int(64 / cell), columns, height=2.0)
        faces.gap[:] = np.clip(3.0 / cell - np.arange(columns), 0, 1)
        state = run_night(
            ground(bed, cell=cell, made=1.2, deficit=4.0),
            4 * 3600.0,
            faces=faces,
            closed_edges=("west", "east", "south"),
        )
        passed.append(-state.flux_y[int(64 / cell), : int(8 / cell)].sum() * cell)
    np.testing.assert_allclose(passed, np.mean(passed), rtol=0.25)
