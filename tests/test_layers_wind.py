import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.layers.wind import wind_exposure

CELL = 2.0
PLAIN = np.zeros((161, 161), np.float32)
NONE = np.zeros_like(PLAIN)


def ring(radius, height):
    """A hedge all round the middle."""
    row, column = np.mgrid[-80:81, -80:81]
    away = CELL * np.hypot(row, column)
    return np.where(np.abs(away - radius) < 4.5, height, 0.0).astype(np.float32)


def test_a_wide_plain_is_open():
    exposure = wind_exposure(PLAIN, NONE, NONE, cell_size=CELL)
    np.testing.assert_allclose(exposure, 1.0)
    assert exposure.dtype == np.float32


# Source: windbreak practice (extension texts): best shelter to 4-6 heights, useful
# to 10. A ring of 10 m shelters its middle fully at 5 H and not at all at 10 H.
@pytest.mark.parametrize(
    ("heights_off", "low", "high"),
    [(3.0, 0.0, 0.0), (4.0, 0.0, 0.0), (8.0, 0.4, 0.65), (11.0, 1.0, 1.0)],
)
def test_a_hedge_all_round_shelters_by_its_heights(heights_off, low, high):
    hedge = ring(heights_off * 10.0, 10.0)
    middle = wind_exposure(PLAIN, NONE, hedge, cell_size=CELL)[80, 80]
    assert low - 1e-6 <= middle <= high + 1e-6


def test_shelter_of_a_long_hedge_falls_with_distance_to_nothing():
    hedge = NONE.copy()
    hedge[:, 20:22] = 5.0
    exposure = wind_exposure(PLAIN, NONE, hedge, cell_size=CELL)[80, 22:]
    assert (np.diff(exposure) >= -1e-6).all()
    # One side of three directions of eight is covered close to the hedge.
    assert exposure[2] == pytest.approx(5 / 8, abs=1e-6)
    np.testing.assert_allclose(exposure[40:], 1.0)


def test_woodland_shelters_like_a_barrier_of_its_height():
    screen = NONE.copy()
    screen[:, 20:30] = 12.0
    as_wood = wind_exposure(PLAIN, screen, NONE, cell_size=CELL)
    as_barrier = wind_exposure(PLAIN, NONE, screen, cell_size=CELL)
    np.testing.assert_array_equal(as_wood, as_barrier)


def test_a_crest_is_open_and_a_hollow_is_not():
    row, column = np.mgrid[-80:81, -80:81] * CELL
    dome = 30 * np.exp(-(row**2 + column**2) / 60.0**2)
    crest = wind_exposure(dome.astype(np.float32), NONE, NONE, cell_size=CELL)
    hollow = wind_exposure(-dome.astype(np.float32), NONE, NONE, cell_size=CELL)
    assert crest[80, 80] == pytest.approx(1.0)
    assert hollow[80, 80] < 0.4
    assert hollow[80, 80] < crest[80, 60] < crest[80, 80]


def test_the_foot_of_a_steep_bank_is_sheltered_on_one_side():
    # A bank of 30 degree, steeper than the angle of full shelter, to the north.
    north = np.clip(np.arange(160, -1, -1.0) - 80, 0, None) * CELL
    bank = np.repeat(north[:, np.newaxis] * np.tan(np.radians(30)), 161, axis=1)
    exposure = wind_exposure(bank.astype(np.float32), NONE, NONE, cell_size=CELL)
    # The plain below is the lowest ground within 500 m: it lacks 0.4 of the wind.
    assert exposure[80, 80] == pytest.approx(0.6 * 5 / 8, abs=0.02)


def test_high_ground_has_more_wind_than_low_ground_of_the_same_shape():
    # Two level plains, 40 m apart in height, each wide enough to see no slope.
    east = np.arange(400) * CELL
    steps = np.interp(east, [0, 390, 410, 800], [0, 0, 40, 40]).astype(np.float32)
    ground = np.repeat(steps[np.newaxis, :], 60, axis=0)
    none = np.zeros_like(ground)
    exposure = wind_exposure(ground, none, none, cell_size=CELL)
    assert exposure[30, 120] < 0.75 * exposure[30, 280]


def test_roughness_below_the_height_of_the_wind_gives_no_shelter():
    rough = np.random.default_rng(2).uniform(0, 1.5, PLAIN.shape).astype(np.float32)
    exposure = wind_exposure(rough, NONE, NONE, cell_size=CELL)
    np.testing.assert_allclose(exposure, 1.0, atol=0.005)


@pytest.mark.parametrize("turned", [np.fliplr, np.flipud, np.transpose])
def test_the_answer_turns_with_the_map(turned):
    rng = np.random.default_rng(4)
    ground = rng.uniform(0, 30, (24, 24)).astype(np.float32)
    hedge = np.where(rng.random((24, 24)) < 0.05, 3.0, 0.0).astype(np.float32)
    none = np.zeros_like(ground)
    straight = wind_exposure(ground, none, hedge, cell_size=CELL)
    other = wind_exposure(turned(ground), none, turned(hedge), cell_size=CELL)
    np.testing.assert_allclose(other, turned(straight), atol=1e-6)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 999), more=st.floats(0.5, 10.0))
def test_a_higher_barrier_never_opens_ground(seed, more):
    rng = np.random.default_rng(seed)
    ground = rng.uniform(0, 20, (20, 25)).astype(np.float32)
    none = np.zeros_like(ground)
    hedge = np.where(rng.random(ground.shape) < 0.1, 2.0, 0.0).astype(np.float32)
    higher = np.where(hedge > 0, hedge + np.float32(more), hedge)
    before = wind_exposure(ground, none, hedge, cell_size=CELL)
    after = wind_exposure(ground, none, higher, cell_size=CELL)
    assert (after <= before + 1e-6).all()
    assert (before >= 0).all()
    assert (before <= 1).all()


def test_missing_ground_stays_missing_and_shelters_nothing():
    ground = PLAIN[:9, :9].copy()
    ground[4, 4] = np.nan
    none = np.zeros_like(ground)
    exposure = wind_exposure(ground, none, none, cell_size=CELL)
    assert np.isnan(exposure[4, 4])
    assert np.nanmin(exposure) == 1.0
