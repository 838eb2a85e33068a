"""What is done to heights: small holes filled, steps smoothed, noise told."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from geopandas import GeoDataFrame
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from sitekit.io.elevation import ElevationReading, read_elevation
from sitekit.io.noise import estimate_noise
from sitekit.io.terracing import find_level_water, find_step, smooth_terraces
from sitekit.io.voids import LARGEST_FILLED, fill_voids

WEST, NORTH = 500_000.0, 5_130_000.0


def plane(rows: int, columns: int, down: float = 0.031, right: float = 0.017):
    y, x = np.mgrid[:rows, :columns]
    return (150 + down * y + right * x).astype(np.float32)


def hills(rows: int = 200, columns: int = 240, cell: float = 10.0) -> np.ndarray:
    """Rolling ground, slopes up to 12 %, bent over some hundred metres."""
    y, x = np.mgrid[:rows, :columns] * cell
    z = 400 + 0.02 * x + 9 * np.sin(x / 190) * np.cos(y / 240) + 5 * np.sin(y / 130)
    return z.astype(np.float64)


def read(folder: Path, values: np.ndarray, size: float, **wish) -> ElevationReading:
    path = folder / "a.tif"
    rows, columns = values.shape
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=rows,
        width=columns,
        count=1,
        dtype=values.dtype,
        crs="EPSG:32633",
        transform=Affine(size, 0, WEST, 0, -size, NORTH),
    ) as file:
        file.write(values, 1)
    x, y = WEST + columns * size / 2, NORTH - rows * size / 2
    field = shapely.box(x - 4 * size, y - 4 * size, x + 4 * size, y + 4 * size)
    return read_elevation([path], GeoDataFrame(geometry=[field], crs=32633), **wish)


def said(reading: ElevationReading, kind: str) -> str:
    texts = [r.text for r in reading.remarks if r.kind == kind]
    return "\n".join(texts).replace("\u00a0", " ")


# ------------------------------------------------------------------- voids


@given(seed=st.integers(0, 1000), size=st.integers(1, LARGEST_FILLED))
@settings(max_examples=40, deadline=None)
def test_a_small_hole_in_a_plane_is_filled_by_that_plane(seed, size):
    rng = np.random.default_rng(seed)
    whole = plane(30, 30)
    hole = np.zeros(whole.shape, bool)
    hole[15, 15] = True
    while hole.sum() < size:
        ring = ndimage.binary_dilation(hole) & ~hole
        ring[[0, 1, -2, -1]] = ring[:, [0, 1, -2, -1]] = False
        pick = rng.choice(np.flatnonzero(ring))
        hole.flat[pick] = True
    holed = np.where(hole, np.float32(np.nan), whole)
    voids = fill_voids(holed)
    np.testing.assert_allclose(voids.elevation, whole, atol=2e-4)
    assert (voids.filled, voids.filled_cells, voids.left) == (1, size, 0)
    np.testing.assert_array_equal(np.isnan(holed), hole)


def test_a_filled_hole_lies_between_its_rim():
    rng = np.random.default_rng(8)
    z = rng.uniform(100, 110, (40, 40)).astype(np.float32)
    z[10:15, 20:25] = np.nan
    filled = fill_voids(z).elevation[10:15, 20:25]
    rim = np.concatenate([z[9, 19:26], z[15, 19:26], z[9:16, 19], z[9:16, 25]])
    assert rim.min() <= filled.min()
    assert filled.max() <= rim.max()


def test_a_hole_of_one_cell_is_the_mean_of_its_four_neighbours():
    z = np.float32([[0, 1, 0], [3, np.nan, 5], [0, 7, 0]])
    assert fill_voids(z).elevation[1, 1] == pytest.approx(4.0)


def test_a_large_hole_is_left_and_counted():
    z = plane(40, 40)
    z[10:16, 10:15] = np.nan
    voids = fill_voids(z)
    assert np.isnan(voids.elevation).sum() == 30
    assert (voids.filled, voids.left, voids.left_cells) == (0, 1, 30)


@pytest.mark.parametrize("place", [(0, 10), (39, 10), (10, 0), (10, 39), (0, 0)])
def test_a_hole_at_the_edge_is_no_hole(place):
    z = plane(40, 40)
    z[place] = np.nan
    voids = fill_voids(z)
    assert np.isnan(voids.elevation[place])
    assert (voids.filled, voids.left) == (0, 0)


def test_cells_that_touch_at_a_corner_are_one_hole():
    z = plane(20, 20)
    for i in range(1, 10):
        z[i, i] = np.nan
    z[0, 0] = np.nan
    # The chain of corners leads to the edge.
    assert fill_voids(z).filled == 0


def test_a_model_without_holes_is_not_copied():
    z = plane(10, 10)
    assert fill_voids(z).elevation is z


def test_holes_are_told_with_their_number_and_area(tmp_path):
    z = plane(200, 200)
    z[20:22, 30:33] = np.nan
    z[60, 60] = np.nan
    z[100:110, 150:160] = np.nan
    reading = read(tmp_path, z, 5)
    assert "2 small holes (7 cells) filled from the rim" in said(reading, "mended")
    assert "1 larger hole (0.2 ha) left without height" in said(reading, "doubtful")
    assert np.isnan(reading.elevation).sum() == 100


# ------------------------------------------------------------------- steps


@pytest.mark.parametrize("step", [1.0, 0.5, 0.1, 0.3048, 1200 / 3937])
def test_the_step_of_rounded_heights_is_found(step):
    rounded = (np.round(hills() / step) * step).astype(np.float32)
    assert find_step(rounded) == pytest.approx(step, abs=1e-5)


@pytest.mark.parametrize("kind", ["hills", "centimetres", "noise", "level"])
def test_heights_that_are_continuous_have_no_step(kind):
    z = {
        "hills": hills(),
        "centimetres": np.round(hills(), 2),
        "noise": hills() + np.random.default_rng(1).normal(0, 0.05, (200, 240)),
        "level": np.full((30, 30), 420.0),
    }[kind]
    assert find_step(z.astype(np.float32)) == 0.0


def test_an_even_plane_of_round_numbers_is_no_terrace():
    # 10 % on 5 m cells: every height is a multiple of half a metre.
    z = np.repeat(100 + 0.5 * np.arange(60, dtype=np.float32)[:, None], 80, axis=1)
    assert find_step(z) == 0.0


def test_one_height_off_the_steps_is_enough_to_leave_them():
    rounded = np.round(hills()).astype(np.float32)
    rounded[77, 91] += 0.25
    assert find_step(rounded) == 0.0


def test_nothing_but_missing_cells_has_no_step():
    assert find_step(np.full((5, 5), np.nan, np.float32)) == 0.0


def test_smoothing_brings_the_slopes_back():
    # A step of 1 m on 10 m cells reads as 10 % where the ground is nearly level.
    true = hills()
    rounded = np.round(true).astype(np.float32)
    ground = smooth_terraces(rounded, step=1.0, cell_area=100.0)
    slopes = [np.hypot(*np.gradient(z, 10.0)) for z in (true, rounded, ground)]
    errors = [np.sqrt(np.mean((s - slopes[0]) ** 2)) for s in slopes[1:]]
    assert errors[1] < 0.5 * errors[0]
    heights = [np.sqrt(np.mean((z - true) ** 2)) for z in (rounded, ground)]
    # Rounding alone: step / √12. Source: Widrow and Kollár 2008, Quantization Noise.
    assert heights[0] == pytest.approx(1 / np.sqrt(12), rel=0.03)
    assert heights[1] < 0.75 * heights[0]


@given(step=st.sampled_from([0.1, 0.5, 1.0]), seed=st.integers(0, 50))
@settings(max_examples=25, deadline=None)
def test_nothing_moves_by_more_than_half_a_step(step, seed):
    rng = np.random.default_rng(seed)
    rough = hills(60, 60) + rng.normal(0, 3 * step, (60, 60))
    rough[rng.random((60, 60)) < 0.05] = np.nan
    rounded = (np.round(rough / step) * step).astype(np.float32)
    ground = smooth_terraces(rounded, step=step, cell_area=100.0)
    np.testing.assert_array_equal(np.isnan(ground), np.isnan(rounded))
    assert np.nanmax(np.abs(ground - rounded)) <= step / 2 + 1e-3


def test_a_bank_higher_than_a_step_stays_where_it_is():
    z = np.where(np.arange(60) < 30, 100.0, 110.0) * np.ones((60, 1))
    ground = smooth_terraces(z.astype(np.float32), step=1.0, cell_area=100.0)
    np.testing.assert_allclose(ground, z, atol=0.51)
    np.testing.assert_array_equal(ground[:, 29:31], z[:, 29:31])


def test_a_rounded_plane_keeps_its_slope_up_to_the_edge():
    true = plane(80, 80, down=0.23, right=0.11).astype(np.float64)
    ground = smooth_terraces(
        np.round(true).astype(np.float32), step=1.0, cell_area=100.0
    )
    assert np.abs(ground - true).mean() < 0.15
    edge = np.abs(ground - true)
    edge[4:-4, 4:-4] = 0
    assert edge.max() <= 0.6


def _lake(step: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """A lake of 5 ha at 410 m with an outlet, in ground that rises 5 %."""
    y, x = np.mgrid[:120, :120] * 10.0
    distance = np.hypot(x - 600, y - 600)
    shore = 126.0
    z = 410 + np.maximum(0, distance - shore) * 0.05 + 0.6
    z[60:62, 72:] = 409.0
    lake = distance <= shore
    z[lake] = 410.0
    return (np.round(z / step) * step).astype(np.float32), lake


def test_level_water_stays_level_and_the_shore_stays_a_shore():
    z, lake = _lake()
    found = find_level_water(z, cell_area=100.0)
    # The channel is lower than the lake: its outlet, a few cells of the rim.
    assert (found & lake).sum() >= 0.95 * lake.sum()
    assert (found & ~lake).sum() <= 0.05 * lake.sum()
    ground = smooth_terraces(z, step=1.0, cell_area=100.0)
    assert np.unique(ground[found]).tolist() == [410.0]


def test_a_terrace_of_rounding_is_not_taken_as_water():
    y = np.arange(200)[:, None] * 10.0
    z = np.round(300 + 0.008 * y + np.zeros((1, 200))).astype(np.float32)
    # Each terrace is 125 m wide and 25 ha large, with lower ground along one side.
    assert not find_level_water(z[20:180], cell_area=100.0)[20:140].any()


def test_level_ground_below_1_ha_is_no_water():
    z, _ = _lake()
    assert not find_level_water(z, cell_area=10.0).any()


def test_steps_are_told_with_the_slope_that_they_feign(tmp_path):
    rounded = np.round(hills()).astype(np.int16)
    reading = read(tmp_path, rounded, 10)
    assert reading.model.step == 1.0
    assert reading.ground is not reading.elevation
    np.testing.assert_array_equal(reading.elevation, rounded)
    # One step over two cells: 1 m / 20 m.
    assert "steps of 1 m, which alone read as slopes up to 5 %" in said(
        reading, "mended"
    )
    assert reading.model.noise >= 1 / np.sqrt(12) - 1e-6


def test_whole_feet_are_steps_of_a_foot(tmp_path):
    feet = np.round(hills() / 0.3048).astype(np.int16)
    reading = read(tmp_path, feet, 10, z_unit="ft")
    assert reading.model.step == pytest.approx(0.3048)


def test_continuous_heights_are_not_smoothed(tmp_path):
    reading = read(tmp_path, hills().astype(np.float32), 10)
    assert reading.model.step == 0
    assert reading.ground is reading.elevation
    assert "steps" not in said(reading, "mended")


def test_small_holes_are_filled_in_the_smoothed_ground_too(tmp_path):
    rounded = np.round(hills()).astype(np.float32)
    rounded[90:93, 40:43] = np.nan
    reading = read(tmp_path, rounded, 10)
    assert np.isfinite(reading.elevation).all()
    assert np.isfinite(reading.ground).all()


# ------------------------------------------------------------------- noise


@given(noise=st.floats(0.01, 2.0), seed=st.integers(0, 200))
@settings(max_examples=30, deadline=None)
def test_noise_on_rolling_ground_is_told_within_a_fifth(noise, seed):
    rng = np.random.default_rng(seed)
    z = hills() + rng.normal(0, noise, (200, 240))
    assert estimate_noise(z.astype(np.float32)) == pytest.approx(noise, rel=0.2)


def test_noise_is_told_beside_a_lake_and_walls_and_holes():
    rng = np.random.default_rng(3)
    z = hills() + rng.normal(0, 0.15, (200, 240))
    z[:, :120] = 405.0
    z[::17, 150] += 20
    z[40:60, 160:200] = np.nan
    assert estimate_noise(z.astype(np.float32)) == pytest.approx(0.15, rel=0.2)


@given(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))
@settings(max_examples=20, deadline=None)
def test_a_plane_has_no_noise(down, right):
    assert estimate_noise(plane(50, 50, down, right)) < 1e-4


def test_ground_curved_along_the_axes_has_no_noise():
    y, x = np.mgrid[:60, :60] / 10.0
    assert estimate_noise((100 + x**2 - 2 * y**2).astype(np.float32)) < 1e-4


@pytest.mark.parametrize("shape", [(1, 1), (2, 9), (9, 2)])
def test_too_few_cells_tell_nothing(shape):
    assert estimate_noise(np.ones(shape, np.float32)) == 0.0


def test_the_noise_of_warped_heights_is_that_of_the_file(tmp_path):
    rng = np.random.default_rng(5)
    noisy = (hills() + rng.normal(0, 0.2, (200, 240))).astype(np.float32)
    assert read(tmp_path, noisy, 10, cell=9).model.noise == pytest.approx(0.2, rel=0.2)
