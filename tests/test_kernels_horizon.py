"""Horizons by sweeps: against closed forms and against plain ray marching."""

from math import atan, ceil, cos, degrees, floor, radians, sin, tan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numba import njit
from numpy.typing import NDArray

from sitekit.kernels.horizon import CODE_STEP, MISSING, find_horizons

#: An angle is rounded to the nearest code.
HALF_A_CODE = CODE_STEP / 2 + 0.002
#: The eight directions in which lines run through the centres of cells.
THROUGH_CENTRES = {0: (-1, 0), 1: (-1, 1), 2: (0, 1), 3: (1, 1)} | {
    4: (1, 0),
    5: (1, -1),
    6: (0, -1),
    7: (-1, -1),
}

heights = arrays(
    np.float32,
    st.tuples(st.integers(1, 12), st.integers(1, 12)),
    elements=st.floats(0, 100, width=32) | st.just(np.nan),
)


def angles(
    surface: NDArray[np.float32], directions: int = 8, cell_size: float = 10.0
) -> NDArray[np.float64]:
    """Horizon seen from the surface itself. [degree]."""
    return find_horizons(surface, surface, directions, cell_size) * CODE_STEP


def walked(
    surface: NDArray[np.float32], observer: NDArray[np.float32], step: tuple[int, int]
) -> NDArray[np.float64]:
    """Walk from each cell to the edge, cell by cell; NaN where it is missing."""
    found = np.full(surface.shape, np.nan)
    length = 10.0 * np.hypot(*step)
    for row, column in np.argwhere(~np.isnan(observer)):
        steepest, r, c, run = 0.0, row + step[0], column + step[1], length
        while 0 <= r < surface.shape[0] and 0 <= c < surface.shape[1]:
            if not np.isnan(surface[r, c]):
                rise = float(surface[r, c]) - float(observer[row, column])
                steepest = max(steepest, rise / run)
            r, c, run = r + step[0], c + step[1], run + length
        found[row, column] = degrees(atan(steepest))
    return found


@njit
def marched(surface, azimuth, cell_size, per_cell):
    """March a ray from each cell over the surface interpolated both ways."""
    rows, columns = surface.shape
    east, north = sin(radians(azimuth)), cos(radians(azimuth))
    found = np.zeros(surface.shape)
    for row in range(rows):
        for column in range(columns):
            k = per_cell
            while True:
                y = row - north * k / per_cell
                x = column + east * k / per_cell
                top, left = floor(y), floor(x)
                if top < 0 or left < 0 or ceil(y) >= rows or ceil(x) >= columns:
                    break
                below, right = ceil(y), ceil(x)
                u, v = y - top, x - left
                upper = surface[top, left] * (1 - v) + surface[top, right] * v
                lower = surface[below, left] * (1 - v) + surface[below, right] * v
                rise = upper * (1 - u) + lower * u - surface[row, column]
                found[row, column] = max(
                    found[row, column], rise / (k / per_cell * cell_size)
                )
                k += 1
    return np.arctan(found)


def rough(size: int, relief: float, noise: float) -> NDArray[np.float32]:
    """A fractal surface with noise from cell to cell."""
    random = np.random.default_rng(7)
    wave = np.hypot(np.fft.fftfreq(size)[:, None], np.fft.rfftfreq(size)[None])
    wave[0, 0] = np.inf
    bumps = random.normal(size=wave.shape) + 1j * random.normal(size=wave.shape)
    surface = np.fft.irfft2(bumps / wave**2, (size, size))
    surface *= relief / surface.std()
    return (surface + random.normal(0, noise, surface.shape)).astype(np.float32)


@pytest.mark.parametrize(
    ("height", "distance", "cell_size", "angle"),
    [
        (10.0, 100.0, 10.0, 5.7106),
        (50.0, 300.0, 10.0, 9.4623),
        (300.0, 5000.0, 50.0, 3.4336),
    ],
)
@pytest.mark.parametrize("quarter", range(4))
def test_a_wall_far_off_stands_at_the_angle_of_its_height_over_its_distance(
    height, distance, cell_size, angle, quarter
):
    # Source: geometry, atan(h / d), flat earth.
    steps = round(distance / cell_size)
    surface = np.zeros((2 * steps + 1, 2 * steps + 1), np.float32)
    surface[0, :] = height
    surface = np.ascontiguousarray(np.rot90(surface, -quarter))
    found = angles(surface, 4, cell_size)[:, steps, steps]
    assert found[quarter] == pytest.approx(angle, abs=HALF_A_CODE)
    assert np.delete(found, quarter).max() == 0.0


@pytest.mark.parametrize("steepness", [3.0, 12.0, 30.0, 60.0])
@pytest.mark.parametrize("faced", [0.0, 25.0, 140.0, 300.0])
def test_a_plane_rises_by_the_cosine_of_the_turn_from_its_fall_line(steepness, faced):
    # Source: geometry, tan H = -tan b cos(azimuth - aspect).
    y, x = np.mgrid[0:90, 0:150]
    fall = tan(radians(steepness))
    east, north = sin(radians(faced)), cos(radians(faced))
    surface = (500 - fall * (east * 5.0 * x - north * 5.0 * y)).astype(np.float32)
    azimuths = np.arange(32) * 360 / 32
    expected = np.degrees(
        np.arctan(np.maximum(0, -fall * np.cos(np.radians(azimuths - faced))))
    )
    found = angles(surface, 32, 5.0)[:, 1:-1, 1:-1]
    misses = np.abs(found - expected[:, None, None]).max(axis=(1, 2))
    assert misses.max() <= HALF_A_CODE


@settings(max_examples=60, deadline=None)
@given(heights, st.integers(0, 30))
def test_the_sweep_sees_what_a_walk_from_every_cell_sees(surface, tree):
    observer = surface.copy()
    surface = surface + np.float32(tree)
    codes = find_horizons(surface, observer, 8, 10.0)
    for direction, step in THROUGH_CENTRES.items():
        expected = walked(surface, observer, step)
        missing = np.isnan(expected)
        assert (codes[direction][missing] == MISSING).all()
        found = codes[direction] * CODE_STEP
        assert np.abs(found - expected)[~missing].max(initial=0) <= HALF_A_CODE


def test_wide_grids_are_swept_without_seams():
    surface = rough(150, 60.0, 1.0)[:20]
    codes = find_horizons(surface, surface, 8, 10.0)
    for direction, step in THROUGH_CENTRES.items():
        miss = np.abs(codes[direction] * CODE_STEP - walked(surface, surface, step))
        assert miss.max() <= HALF_A_CODE


@pytest.mark.parametrize(
    ("relief", "noise"), [(0.0, 0.5), (40.0, 0.15), (60.0, 0.15), (100.0, 0.15)]
)
def test_open_sky_on_rough_ground_agrees_with_a_dense_march_of_rays(relief, noise):
    # Source: our own march of rays in eighths of a cell, both ways interpolated,
    # nothing shared with the sweep.
    surface = rough(160, max(relief, 1e-6), noise)
    codes = find_horizons(surface, surface, 16, 10.0)
    swept = np.cos(np.radians(codes * CODE_STEP)) ** 2
    rays = [np.cos(marched(surface, 22.5 * k, 10.0, 8)) ** 2 for k in range(16)]
    inside = (slice(5, -5), slice(5, -5))
    difference = (swept.mean(axis=0) - np.mean(rays, axis=0))[inside]
    assert abs(difference.mean()) <= 0.003
    assert np.abs(difference).mean() <= 0.005


@settings(max_examples=40, deadline=None)
@given(heights, st.sampled_from([4, 8, 16, 32]))
def test_turning_the_ground_a_quarter_turns_the_horizon(surface, directions):
    codes = find_horizons(surface, surface, directions, 10.0)
    turned = np.ascontiguousarray(np.rot90(surface, -1))
    found = find_horizons(turned, turned, directions, 10.0)
    expected = np.roll(np.rot90(codes, -1, axes=(1, 2)), directions // 4, axis=0)
    assert np.abs(found.astype(int) - expected).max() <= 1


@settings(max_examples=40, deadline=None)
@given(heights, st.floats(0.1, 50.0))
def test_a_higher_surface_never_lowers_the_horizon(surface, more):
    ground = find_horizons(surface, surface, 16, 10.0).astype(int)
    under_trees = find_horizons(surface + np.float32(more), surface, 16, 10.0)
    assert (under_trees.astype(int) >= ground - 1).all()


def test_missing_ground_neither_sees_nor_shades():
    surface = np.zeros((9, 9), np.float32)
    surface[4, 6] = np.nan
    codes = find_horizons(surface, surface, 16, 1.0)
    assert (codes[:, 4, 6] == MISSING).all()
    codes[:, 4, 6] = 0
    assert not codes.any()


def test_a_wall_behind_missing_ground_is_still_seen():
    surface = np.zeros((3, 12), np.float32)
    surface[:, 11] = 10.0
    surface[:, 5:9] = np.nan
    codes = find_horizons(surface, surface, 4, 1.0)
    assert codes[1, 1, 1] * CODE_STEP == pytest.approx(45.0, abs=HALF_A_CODE)


def test_a_cell_is_not_shaded_by_its_own_trees():
    ground = np.zeros((5, 5), np.float32)
    surface = ground.copy()
    surface[2, 2] = 20.0
    codes = find_horizons(surface, ground, 8, 5.0)
    assert not codes[:, 2, 2].any()
    assert codes[2, 2, 1] * CODE_STEP == pytest.approx(75.96, abs=HALF_A_CODE)


@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (7, 1)])
def test_the_smallest_grids_have_an_open_horizon(shape):
    assert not find_horizons(
        np.zeros(shape, np.float32), np.zeros(shape, np.float32), 16, 1.0
    ).any()
