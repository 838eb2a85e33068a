"""What a night keeps, where it begins and ends, and how it is run."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.kernels.night import (
    EDGES,
    BarrierFaces,
    NightGround,
    buoyancy_of,
    run_night,
)
from sitekit.kernels.night_flux import Step, free_flux
from sitekit.kernels.night_threads import meet

HOUR = 3600.0


def ground(bed, *, cell=4.0, made=0.0, deficit=4.0, drag=0.03, decay=0.0, **more):
    """Lay a field out; `made` is in metres an hour."""
    bed = np.asarray(bed)

    def field(value):
        return np.broadcast_to(np.asarray(value, bed.dtype), bed.shape)

    return NightGround(
        bed=bed,
        production=field(np.asarray(made) / HOUR),
        deficit=field(deficit),
        drag=field(drag),
        decay=field(decay),
        cell_size=cell,
        **more,
    )


def rough(rows=40, columns=30, seed=5, kind=np.float32):
    """A rough hillside with a dip in it."""
    row, column = np.mgrid[0:rows, 0:columns]
    dip = 3 * np.exp(-((row - rows / 2) ** 2 + (column - columns / 2) ** 2) / 30)
    noise = np.random.default_rng(seed).normal(0, 0.1, dip.shape)
    return (0.3 * row - dip + noise).astype(kind)


def barrier(along, row, column, **more):
    """Make faces; what is not said is a wall of 2 m on the grid's own line."""
    count = len(row)
    values = {"height": 2.0, "openness": 0.0, "foot": 0.0, "gap": 0.0, "stretch": 1.0}
    values |= more
    return BarrierFaces(
        along=np.full(count, along),
        row=np.asarray(row),
        column=np.asarray(column),
        **{name: np.full(count, value) for name, value in values.items()},
    )


def lake(bed, level, deficit=4.0):
    depth = np.maximum(level - bed, 0).astype(bed.dtype)
    return depth, np.full_like(bed, buoyancy_of(np.array(deficit)))


def test_one_and_two_threads_give_the_same_bits():
    faces = barrier(1, [19] * 12 + [20] * 12, list(range(12)) * 2, openness=0.3)
    one, two = [
        run_night(ground(rough(), made=2.0), HOUR, faces=faces, threads=threads)
        for threads in (1, 2)
    ]
    assert one.steps == two.steps > 100
    for name in ("depth", "buoyancy", "flux_x", "flux_y", "mean_speed", "pool_hours"):
        np.testing.assert_array_equal(getattr(one, name), getattr(two, name))
    assert one.edge_volume == two.edge_volume > 0


def test_threads_meet_as_often_as_they_come():
    counter, seen = np.zeros(1, np.int64), []

    def walk(name):
        for turn in range(50):
            seen.append((turn, name))
            meet(counter, 2)
            seen.append((turn + 0.5, name))
            meet(counter, 2)

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(walk, "ab"))
    assert [turn for turn, _ in seen] == sorted(turn for turn, _ in seen)
    assert counter[0] == 200


def test_two_halves_of_a_night_are_the_night():
    # On gentle ground: where it is steep and rough the flow never quite settles.
    field = ground(rough() * np.float32(0.3), made=2.0, decay=1 / 5400)
    whole = run_night(field, HOUR, night=2 * HOUR, begin=1800.0)
    first = run_night(field, 1800.0, night=2 * HOUR, begin=1800.0)
    second = run_night(field, 1800.0, night=2 * HOUR, begin=HOUR, start=first)
    np.testing.assert_allclose(second.depth, whole.depth, atol=1e-4)


def test_missing_ground_takes_no_air_and_lets_none_through():
    bed = np.zeros((20, 20), np.float32)
    bed[:, 10] = np.nan
    made = np.zeros(bed.shape)
    made[:, :10] = 1.0
    state = run_night(ground(bed, made=made), HOUR, closed_edges=EDGES)
    np.testing.assert_allclose(state.depth[:, :10], 1.0, atol=1e-4)
    assert (state.depth[:, 10:] == 0).all()


# Cooling goes with √t, at most four times the mean: a sixteenth of the night's air
# is never made.
def test_a_night_makes_air_with_the_root_of_time():
    level = np.zeros((4, 4))
    half, whole = [
        run_night(ground(level, made=0.1), time, night=9 * HOUR, closed_edges=EDGES)
        for time in (2.25 * HOUR, 9 * HOUR)
    ]
    np.testing.assert_allclose(whole.depth, 0.9 * (15 / 16), rtol=1e-3)
    np.testing.assert_allclose(half.depth, 0.9 * (1 / 2 - 1 / 16), rtol=1e-3)


def test_level_ground_tends_to_what_is_made_in_the_time_of_mixing():
    level = np.zeros((4, 4))
    field = ground(level, made=2.0, decay=1 / 5400)
    state = run_night(field, 3 * HOUR, closed_edges=EDGES)
    expected = 2.0 * 1.5 * (1 - np.exp(-3 / 1.5))
    np.testing.assert_allclose(state.depth, expected, rtol=2e-3)


def test_open_water_takes_air_away_at_its_own_velocity():
    level = np.zeros((6, 6))
    field = ground(level, decay=5e-4, open_water=np.ones((6, 6), bool))
    deep = run_night(field, 600.0, start=lake(level, 1.0), closed_edges=EDGES)
    # The rate follows the depth every tenth step only.
    np.testing.assert_allclose(deep.depth, 0.7, atol=0.01)
    # Shallower than 0.3 m the loss goes with the depth.
    thin = run_night(field, 600.0, start=lake(level, 0.2), closed_edges=EDGES)
    np.testing.assert_allclose(thin.depth, 0.2 * np.exp(-1.0), rtol=0.01)


def test_mean_depth_and_speed_are_those_of_the_last_hour():
    # Steady flow down a plane carries what is made above, q = s L.
    bed = np.repeat(np.arange(50.0)[:, None] * 0.4, 3, axis=1)
    state = run_night(
        ground(bed, cell=8.0, made=1.6), 4 * HOUR, closed_edges=("west", "east")
    )
    np.testing.assert_allclose(state.mean_depth, state.depth, rtol=1e-4)
    above = 400 - 8 * (np.arange(50) + 0.5)
    speed = 1.6 / HOUR * above / state.depth[:, 1]
    np.testing.assert_allclose(state.mean_speed[:, 1], speed, rtol=1e-3)
    assert (state.pool_hours == 0).all()


def test_a_pool_counts_its_hours():
    level = np.zeros((6, 6))
    deep, thin = [
        run_night(ground(level), 2 * HOUR, start=lake(level, h), closed_edges=EDGES)
        for h in (1.5, 0.9)
    ]
    np.testing.assert_allclose(deep.pool_hours, 2.0, rtol=1e-6)
    assert (thin.pool_hours == 0).all()


@pytest.mark.parametrize("edge", EDGES)
def test_an_open_edge_drains_and_a_rising_one_does_not(edge):
    away = {"north": 0, "south": 19, "west": 0, "east": 19}[edge]
    toward = np.abs(np.arange(20.0) - away) * 0.2
    bed = np.tile(toward, (20, 1))
    bed = bed.T if edge in ("north", "south") else bed
    others = tuple(e for e in EDGES if e != edge)
    falling = run_night(ground(bed, made=2.0), HOUR, closed_edges=others)
    rising = run_night(ground(-bed, made=2.0), HOUR, closed_edges=others)
    volume = 2.0 * 20 * 20 * 16.0
    kept = falling.depth.sum() * 16.0
    assert falling.edge_volume == pytest.approx(volume - kept, rel=1e-9)
    assert falling.edge_volume > 0.5 * volume
    assert rising.edge_volume == 0.0


@pytest.mark.parametrize("more", [{"openness": 1.0}, {"gap": 1.0}, {"foot": 2.0}])
def test_a_barrier_that_stands_open_is_hardly_one(more):
    row, column = [20] * 30, list(range(30))
    free = run_night(ground(rough(), made=2.0), 2 * HOUR)
    faces = barrier(1, row, column, **more)
    open_ = run_night(ground(rough(), made=2.0), 2 * HOUR, faces=faces)
    wall = run_night(ground(rough(), made=2.0), 2 * HOUR, faces=barrier(1, row, column))
    assert np.abs(open_.depth - free.depth).max() < 0.15
    assert np.abs(wall.depth - free.depth).max() > 1.0


def test_barriers_act_alike_in_both_directions():
    bed = rough(36, 36, kind=np.float64)
    column = np.arange(4, 30)
    row = np.full(len(column), 18)
    straight = run_night(
        ground(bed, made=2.0), HOUR, faces=barrier(1, row, column, openness=0.2)
    )
    turned = run_night(
        ground(bed.T.copy(), made=2.0),
        HOUR,
        faces=barrier(0, column, row, openness=0.2),
    )
    np.testing.assert_allclose(turned.depth.T, straight.depth, atol=1e-9)


def test_a_line_on_a_staircase_passes_less_by_its_stretch():
    bed = np.repeat(np.arange(30.0)[:, None] * 0.2, 3, axis=1)
    depths = [
        run_night(
            ground(bed, made=2.0),
            4 * HOUR,
            closed_edges=("west", "east"),
            faces=barrier(1, [8] * 3, [0, 1, 2], openness=0.1, stretch=stretch),
        ).depth[8, 1]
        for stretch in (1.0, 0.7)
    ]
    # Flow through a screen goes with depth to 1.5 and with the stretch.
    assert depths[1] / depths[0] == pytest.approx(0.7 ** (-2 / 3), rel=0.05)


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    closed=st.sets(st.sampled_from(EDGES)),
    made=st.floats(0.1, 8.0),
)
def test_no_air_is_lost_and_no_depth_is_negative(seed, closed, made):
    rng = np.random.default_rng(seed)
    bed = rng.uniform(0, 6, (12, 10))
    faces = barrier(
        0,
        rng.integers(0, 12, 9),
        rng.integers(1, 10, 9),
        height=rng.uniform(0.2, 3),
        openness=rng.uniform(0, 1),
        foot=rng.uniform(0, 0.5),
    )
    field = ground(bed, cell=2.0, made=made)
    state = run_night(field, 1200.0, closed_edges=closed, faces=faces)
    assert (state.depth >= 0).all()
    assert np.isfinite(state.flux_x).all()
    volume = 4.0 * state.depth.sum() + state.edge_volume
    assert volume == pytest.approx(4.0 * field.production.sum() * 1200.0, rel=1e-11)


@settings(max_examples=100, deadline=None)
@given(
    flux=st.floats(-2, 2),
    aside=st.floats(-2, 2),
    beds=st.tuples(st.floats(0, 3), st.floats(0, 3)),
    depths=st.tuples(st.floats(0, 3), st.floats(0, 3)),
    gravity=st.tuples(st.floats(0.02, 0.2), st.floats(0.02, 0.2)),
    drag=st.floats(0.01, 0.3),
)
def test_the_flux_of_a_face_is_the_formula_written_out(
    flux, aside, beds, depths, gravity, drag
):
    seconds, cell = 1.5, 4.0
    step = dict.fromkeys(Step._fields, 0.0)
    step |= {"thin": 1e-4, "push": seconds / cell / 2, "hold": seconds / 2}
    step |= {"inertia": 5.6}
    found = free_flux(
        flux, flux, aside, beds, depths, gravity, (drag, drag), Step(**step)
    )
    level = np.array(beds) + np.array(depths)
    over = level.max() - max(beds)
    if over <= 1e-4:
        assert found == 0.0
        return
    # The equations as they are published, with the step lengthened by the limit.
    mean, whole = sum(gravity) / 2, np.hypot(flux, aside)
    pull = mean * over * (level[1] - level[0]) + over**2 * (gravity[1] - gravity[0]) / 2
    long = seconds * max(1.0, 2.8 * whole**2 / (mean * over**3))
    expected = (flux - long * pull / cell) / (1 + long * drag * whole / over**2)
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("shape", "seconds"), [((1, 9), 60.0), ((9, 9), 0.0)])
def test_a_night_without_room_or_time_is_an_error(shape, seconds):
    with pytest.raises(ValueError, match="two rows, two columns and a time"):
        run_night(ground(np.zeros(shape)), seconds)
