"""The one grid: its system, cell, edges and size."""

from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from geopandas import GeoDataFrame
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from sitekit.errors import GridError
from sitekit.io import extent
from sitekit.io.elevation import ElevationReading, read_elevation
from sitekit.io.extent import Wish
from sitekit.io.projection import (
    find_horizontal,
    find_spacing,
    find_utm,
    find_utm_zone,
    serves,
)

WEST, NORTH = 500_000.0, 5_130_400.0
SAMPLES = Path(__file__).parents[2] / "shared" / "observations" / "elevation-samples"


def write(
    path: Path, values: np.ndarray, transform: Affine, crs: object = 32633, **profile
) -> Path:
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=values.shape[0],
        width=values.shape[1],
        count=1,
        dtype=values.dtype,
        crs=CRS.from_user_input(crs).to_wkt(),
        transform=transform,
        **profile,
    ) as file:
        file.write(values, 1)
    return path


def north_up(cell: float, west: float = WEST, north: float = NORTH) -> Affine:
    return Affine(cell, 0, west, 0, -cell, north)


def box(west: float, south: float, east: float, north: float, crs: object = 32633):
    return GeoDataFrame(geometry=[shapely.box(west, south, east, north)], crs=crs)


def surface(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Gentle hills on UTM 33, in no step."""
    return 300 + 0.02 * (x - WEST) + 8 * np.sin(x / 170) * np.cos(y / 210)


def sampled(path: Path, crs: object, transform: Affine, shape: tuple[int, int]) -> Path:
    """Write the hills as any raster sees them: the value at each cell's centre."""
    rows, columns = np.mgrid[: shape[0], : shape[1]] + 0.5
    t = transform
    x = t.a * columns + t.b * rows + t.c
    y = t.d * columns + t.e * rows + t.f
    to_utm = Transformer.from_crs(CRS.from_user_input(crs), 32633, always_xy=True)
    heights = surface(*to_utm.transform(x, y)).astype(np.float32)
    return write(path, heights, transform, crs)


def error_of(reading: ElevationReading, rim: int = 3) -> float:
    """Largest error against the hills, off the rim."""
    x, y = np.meshgrid(reading.grid.eastings, reading.grid.northings)
    to_utm = Transformer.from_crs(reading.grid.crs, 32633, always_xy=True)
    error = np.abs(reading.elevation - surface(*to_utm.transform(x, y)))
    return float(np.nanmax(error[rim:-rim, rim:-rim]))


def said(reading: ElevationReading, kind: str) -> str:
    return "\n".join(
        r.text.replace("\u00a0", " ") for r in reading.remarks if r.kind == kind
    )


@pytest.fixture
def hills(tmp_path) -> Path:
    return sampled(tmp_path / "hills.tif", 32633, north_up(5), (400, 500))


FIELD = box(WEST + 900, NORTH - 1100, WEST + 1100, NORTH - 900)


# ------------------------------------------------------------------- zones


@pytest.mark.parametrize(
    ("longitude", "latitude", "zone"),
    [
        # Source: DMA TM 8358.2 (1989), The Universal Grids (from memory): zones of 6 degrees from
        # 180 W, 32V widened over southern Norway, 31X to 37X over Svalbard.
        (5.33, 60.39, 32),
        (2.99, 60, 31),
        (3, 56, 32),
        (3, 55.999, 31),
        (11.999, 63.999, 32),
        (12, 60, 33),
        (5, 64, 31),
        (15.63, 78.22, 33),
        (8.99, 78, 31),
        (9, 78, 33),
        (20.99, 78, 33),
        (21, 78, 35),
        (33, 80, 37),
        (18.96, 69.65, 34),
        (25.73, 66.5, 35),
        (14.6, 63.2, 33),
        (180, 0, 1),
        (-180, 0, 1),
    ],
)
def test_the_zone_of_a_place(longitude, latitude, zone):
    assert find_utm_zone(longitude, latitude) == zone


@given(st.floats(-180, 180), st.floats(-80, 55.9))
def test_a_place_lies_within_three_degrees_of_its_meridian(longitude, latitude):
    zone = find_utm_zone(longitude, latitude)
    off = (longitude - (6 * zone - 183) + 180) % 360 - 180
    assert abs(off) <= 3 + 1e-9


@pytest.mark.parametrize(
    ("longitude", "latitude", "easting", "northing"),
    [
        # UTM of WGS 84. The first follows from the definition (false easting on the
        # meridian, 0.9996 of the meridian arc); the others are computed values that
        # hold the zone and its parameters fast, no printed source.
        (15.0, 60.0, 500000.000, 6651411.190),
        (10.7522, 59.9139, 597979.903, 6643118.991),
        (25.72, 66.50, 443048.068, 7376226.707),
        (16.5, 63.0, 575973.733, 6986475.387),
    ],
)
def test_utm_coordinates_of_a_place(longitude, latitude, easting, northing):
    there = Transformer.from_crs(4326, find_utm(longitude, latitude), always_xy=True)
    x, y = there.transform(longitude, latitude)
    assert x == pytest.approx(easting, abs=1e-3)
    assert y == pytest.approx(northing, abs=1e-3)


def test_the_southern_half_has_its_own_system():
    assert find_utm(-72.5, -45.4).to_epsg() == 32718


# ------------------------------------------------------------ which system


@pytest.mark.parametrize(
    ("epsg", "longitude", "latitude"),
    [
        # National grids to be taken as they are. Source: EPSG dataset.
        (3006, 15.0, 60.0),
        (3067, 25.0, 62.0),
        (25832, 8.0, 60.0),
        (25833, 15.0, 66.0),
        (25835, 28.0, 70.0),
        (3057, -19.0, 65.0),
        (8088, -19.0, 65.0),
        (3301, 25.0, 58.7),
        (27700, -2.0, 52.0),
        (2154, 3.0, 46.5),
        (2056, 8.0, 46.8),
    ],
)
def test_national_grids_serve(epsg, longitude, latitude):
    assert serves(CRS.from_epsg(epsg), longitude, latitude)


@pytest.mark.parametrize(
    ("crs", "longitude", "latitude"),
    [
        (4326, 15.0, 60.0),  # degrees
        (3857, 15.0, 60.0),  # Web Mercator: twice too long
        (3857, 15.0, 0.01),  # and on the equator 0.67 % off along the meridian
        (3395, 15.0, 46.0),  # World Mercator
        (2263, -74.0, 40.7),  # US survey feet
        ("ESRI:102003", -119.0, 37.0),  # equal area, 1 % off
        (32633, 29.0, 60.0),  # UTM far off its zone
        (2048, 19.0, -33.0),  # axes west and south
    ],
)
def test_degrees_feet_and_stretched_metres_do_not_serve(crs, longitude, latitude):
    assert not serves(CRS.from_user_input(crs), longitude, latitude)


@pytest.mark.parametrize(
    ("latitude", "metres"),
    # Source: length of a degree of latitude on WGS 84, NGA TR8350.2 ellipsoid
    # (series of the meridian arc): 110574.28 at 0, 111131.78 at 45, 111412.29 at 60.
    [(0, 110574.28), (45, 111131.78), (60, 111412.29), (65, 111492.61)],
)
def test_the_spacing_of_rows_is_measured_on_the_ground(latitude, metres):
    step = 3 / 3600
    spacing = find_spacing(CRS.from_epsg(4326), north_up(step, 10, 70), 12, latitude)
    assert spacing == pytest.approx(metres * step, abs=1e-4)


def test_web_mercator_rows_are_half_as_long_at_60_degrees():
    # Along the meridian on the ellipsoid M / a × cos φ, with M the radius of
    # curvature. Source: Snyder 1987, USGS PP 1395, chapter 4 (from memory).
    spacing = find_spacing(CRS.from_epsg(3857), north_up(10), 15, 60)
    e2 = 0.00669437999014
    meridian = (1 - e2) / (1 - e2 * np.sin(np.radians(60)) ** 2) ** 1.5
    assert spacing == pytest.approx(10 * meridian * 0.5, abs=1e-4)


def test_the_horizontal_part_of_a_compound_system_is_taken():
    assert find_horizontal(CRS.from_user_input("EPSG:3006+5613")).to_epsg() == 3006


# ------------------------------------------------------------------ warping


@pytest.mark.parametrize(
    ("crs", "spacing", "cell"),
    [
        (4326, 1 / 3600, 30.9),  # 15.9 × 30.9 m at 59° N in many national files
        (3857, 20.0, 10.3),
        (3395, 20.0, 10.3),
    ],
)
def test_other_systems_are_warped_to_utm_at_their_true_spacing(
    tmp_path, crs, spacing, cell
):
    there = Transformer.from_crs(4326, crs, always_xy=True)
    x, y = there.transform(15.02, 59.0)
    wide = 200 if crs == 4326 else 300
    path = sampled(tmp_path / "a.tif", crs, north_up(spacing, x, y), (200, wide))
    field = GeoDataFrame(
        geometry=[shapely.box(15.035, 58.986, 15.038, 58.988)], crs=4326
    )
    reading = read_elevation([path], field)
    assert reading.grid.crs.to_epsg() == 32633
    assert reading.grid.cell_size == cell
    # The hills bend by 8 m over 170 m: the cubic kernel keeps them.
    assert error_of(reading) < (0.2 if crs == 4326 else 0.02)
    assert "resampled to" in said(reading, "mended")
    for edge in (0, -1):
        assert np.isfinite(reading.elevation[edge]).any()
        assert np.isfinite(reading.elevation[:, edge]).any()


def test_a_slope_of_ten_per_cent_stays_one_where_degrees_are_narrow(tmp_path):
    # Source: length of a degree of longitude on WGS 84 at 60° N, 55800.00 m (NGA
    # TR8350.2): degrees taken as square would make 5 % of it.
    rows, columns = np.mgrid[:120, :240]
    step = 1 / 3600
    heights = (200 + 0.1 * columns * step * 55800.0 + 0.003 * rows).astype(np.float32)
    path = write(tmp_path / "a.tif", heights, north_up(step, 14.97, 60.0167), 4326)
    field = box(14.999, 59.999, 15.001, 60.001, 4326)
    reading = read_elevation([path], field)
    rise = np.gradient(
        reading.elevation[20:-20, 20:-20], reading.grid.cell_size, axis=1
    )
    assert np.nanmean(rise) == pytest.approx(0.1, rel=2e-3)


def test_feet_on_the_ground_are_warped_to_metres(tmp_path):
    there = Transformer.from_crs(4326, 2263, always_xy=True)
    x, y = there.transform(-74.0, 40.8)
    heights = (10.03 + 0.017 * np.arange(300 * 300)).reshape(300, 300) % 90
    path = write(tmp_path / "a.tif", heights.astype("f4"), north_up(10, x, y), 2263)
    reading = read_elevation([path], box(-73.997, 40.793, -73.995, 40.795, 4326))
    assert reading.grid.crs.to_epsg() == 32618
    assert reading.grid.cell_size == 3.0


def test_a_rotated_raster_is_turned_north_up(tmp_path):
    transform = north_up(5) @ Affine.rotation(20)
    path = sampled(tmp_path / "a.tif", 32633, transform, (400, 400))
    middle = transform @ (200, 200)
    field = box(middle[0] - 50, middle[1] - 50, middle[0] + 50, middle[1] + 50)
    reading = read_elevation([path], field, margin=300)
    assert reading.grid.crs.to_epsg() == 32633
    assert reading.grid.cell_size == 5.0
    assert np.isfinite(reading.elevation).all()
    assert error_of(reading) < 0.01


def test_cells_that_are_not_square_are_made_so(tmp_path):
    path = sampled(
        tmp_path / "a.tif", 32633, Affine(5, 0, WEST, 0, -6, NORTH), (400, 400)
    )
    reading = read_elevation([path], FIELD, margin=200)
    assert reading.grid.cell_size == 6.0
    assert error_of(reading) < 0.01


def test_a_hole_stays_a_hole_when_it_is_warped(tmp_path):
    path = sampled(
        tmp_path / "a.tif", 3857, north_up(20, 1_672_000, 8_180_000), (200, 200)
    )
    with rasterio.open(path, "r+") as file:
        heights = file.read(1)
        heights[80:120, 80:120] = -9999
        file.write(heights, 1)
    there = Transformer.from_crs(3857, 4326, always_xy=True)
    lon, lat = there.transform(1_672_000 + 600, 8_180_000 - 600)
    reading = read_elevation([path], box(lon, lat, lon + 0.002, lat + 0.001, 4326))
    known = reading.elevation[np.isfinite(reading.elevation)]
    assert known.min() > 250
    missing = np.isnan(reading.elevation[80:120, 80:120]).mean()
    assert missing > 0.8


def test_longitudes_from_0_to_360_are_understood(tmp_path):
    heights = (100.3 + 0.0137 * np.arange(60 * 80)).reshape(60, 80).astype("f4")
    step = 1 / 3600
    far = write(tmp_path / "far.tif", heights, north_up(step, 288, -45), 4326)
    near = write(tmp_path / "near.tif", heights, north_up(step, -72, -45), 4326)
    field = box(-71.99, -45.01, -71.985, -45.005, 4326)
    one, other = read_elevation([far], field), read_elevation([near], field)
    assert one.grid == other.grid
    assert one.grid.crs.to_epsg() == 32719
    np.testing.assert_allclose(one.elevation, other.elevation, atol=1e-3)


def test_axes_that_point_west_and_south_are_turned(tmp_path):
    # EPSG:2048, transverse Mercator (south orientated). Source: EPSG dataset,
    # method 9808. West of a place its first coordinate is larger.
    there = Transformer.from_crs(32734, 2048, always_xy=True)
    here = Transformer.from_crs(2048, 32734, always_xy=True)
    x, y = there.transform(300_000, 6_250_000)
    transform = Affine(-10, 0, x, 0, 10, y)
    rows, columns = np.mgrid[:60, :80] + 0.5
    eastings, northings = here.transform(x - 10 * columns, y + 10 * rows)
    heights = 200 + 0.013 * (eastings - 300_000) + 0.031 * (northings - 6_250_000)
    path = write(tmp_path / "a.tif", heights.astype("f4"), transform, 2048)
    field = box(300_300, 6_249_700, 300_400, 6_249_800, 32734)
    reading = read_elevation([path], field)
    assert reading.grid.crs.to_epsg() == 32734
    east, north = np.meshgrid(reading.grid.eastings, reading.grid.northings)
    plane = 200 + 0.013 * (east - 300_000) + 0.031 * (north - 6_250_000)
    error = np.abs(reading.elevation - plane)[4:-4, 4:-4]
    assert np.nanmax(error) < 0.01


@pytest.mark.parametrize("shape", [(1, 1), (2, 2), (1, 80)])
def test_elevation_of_a_few_cells_is_read_all_the_same(tmp_path, shape):
    heights = np.full(shape, 100.3, np.float32)
    path = write(tmp_path / "a.tif", heights, north_up(10))
    reading = read_elevation([path], box(WEST + 2, NORTH - 8, WEST + 8, NORTH - 2))
    np.testing.assert_array_equal(reading.elevation, heights)


def test_a_field_smaller_than_a_cell_keeps_the_cell_that_holds_it(hills):
    field = box(WEST + 302, NORTH - 308, WEST + 302.5, NORTH - 307.5)
    reading = read_elevation([hills], field, margin=0)
    assert reading.grid.shape == (1, 1)
    assert reading.grid.bounds == (WEST + 300, NORTH - 310, WEST + 305, NORTH - 305)


# ------------------------------------------------------------------- edges


def test_the_margin_is_clipped_and_snapped_and_never_padded(hills):
    reading = read_elevation([hills], FIELD, margin=1000)
    assert reading.grid.bounds == (WEST, NORTH - 2000, WEST + 2100, NORTH)
    assert np.isfinite(reading.elevation).all()


@given(
    margin=st.floats(0, 900),
    west=st.floats(900, 1200),
    south=st.floats(-1100, -900),
)
@settings(max_examples=30, deadline=None)
def test_cells_stay_on_those_of_the_file(tmp_path_factory, margin, west, south):
    path = tmp_path_factory.getbasetemp() / "snap.tif"
    if not path.exists():
        sampled(path, 32633, north_up(5), (400, 500))
    field = box(WEST + west, NORTH + south, WEST + west + 130, NORTH + south + 90)
    reading = read_elevation([path], field, margin=margin)
    grid = reading.grid
    assert (grid.west - WEST) % 5 == 0
    assert (NORTH - grid.north) % 5 == 0
    w, s, e, n = field.total_bounds
    around = np.array([w - margin, s - margin, -e - margin, -n - margin])
    edges = np.array([grid.bounds[0], grid.bounds[1], -grid.bounds[2], -grid.bounds[3]])
    inside = np.maximum(around, [WEST, NORTH - 2000, -WEST - 2500, -NORTH])
    # Outward to the next cell edge, no further.
    assert (edges <= inside + 0.006).all()
    assert (edges > inside - 5.006).all()
    assert error_of(reading) < 1e-3


def test_small_elevation_is_taken_whole_and_large_one_around_the_field(
    hills, monkeypatch
):
    assert read_elevation([hills], FIELD).grid.shape == (400, 500)
    monkeypatch.setattr(extent, "WHOLE", 400 * 500 - 1)
    reading = read_elevation([hills], FIELD)
    assert reading.grid.shape == (400, 420)


def test_the_margin_gives_way_before_the_cell_does(hills):
    reading = read_elevation([hills], FIELD, max_cells=170_000)
    assert reading.grid.shape == (400, 420)
    assert reading.grid.cell_size == 5


def test_a_coarse_model_of_a_continent_is_not_taken_whole(tmp_path):
    rows, columns = np.mgrid[:900, :1800]
    heights = (200 + 0.013 * rows + 0.0071 * columns).astype(np.float32)
    path = write(tmp_path / "a.tif", heights, north_up(0.02, 0.0, 65.0), 4326)
    reading = read_elevation([path], box(15.0, 55.0, 15.02, 55.01, 4326))
    assert max(reading.grid.shape) < 5
    assert reading.grid.cell_size == pytest.approx(0.02 * 111323.5, abs=0.1)


# --------------------------------------------------------------------- cell


def test_a_coarser_cell_that_fits_is_the_mean_of_whole_cells(hills):
    fine = read_elevation([hills], FIELD).elevation
    reading = read_elevation([hills], FIELD, cell=10)
    expected = fine.reshape(200, 2, 250, 2).mean(axis=(1, 3))
    np.testing.assert_allclose(reading.elevation, expected, rtol=1e-6)
    assert reading.grid.cell_size == 10
    assert "resampled" not in said(reading, "mended")


def test_means_leave_missing_cells_out(tmp_path):
    heights = np.tile(np.float32([[1.37, 2.11], [4.93, np.nan]]), (60, 60))
    heights[:2, :2] = np.nan
    path = write(tmp_path / "a.tif", heights, north_up(1))
    reading = read_elevation(
        [path], box(WEST + 40, NORTH - 80, WEST + 80, NORTH - 40), cell=2
    )
    assert np.isnan(reading.elevation[0, 0])
    assert reading.elevation[5, 5] == pytest.approx((1.37 + 2.11 + 4.93) / 3)


def test_a_cell_that_does_not_fit_is_resampled(hills):
    reading = read_elevation([hills], FIELD, cell=7.5)
    assert reading.grid.cell_size == 7.5
    assert error_of(reading) < 0.01
    assert "resampled to 7.5 m (cubic), its cells do not fit" in said(reading, "mended")


@pytest.mark.parametrize(
    ("wish", "coarse"), [({}, False), ({"cell": 30}, True), ({"max_cells": 400}, True)]
)
def test_a_coarser_grid_shows_no_more_than_its_own_cells(hills, wish, coarse):
    reading = read_elevation([hills], FIELD, **wish)
    assert reading.model.source_cell == 5
    assert reading.model.shown_cell == reading.grid.cell_size
    assert reading.model.coarse is coarse


def test_a_much_coarser_cell_that_does_not_fit_is_averaged_first(hills):
    reading = read_elevation([hills], FIELD, cell=32)
    assert reading.grid.cell_size == 32
    # Means over 30 m of hills 8 m high and 170 m / 2π long differ this much.
    assert error_of(reading) < 0.3


def test_a_finer_cell_is_made_but_shows_no_more_and_that_is_said(hills):
    reading = read_elevation([hills], FIELD, cell=2)
    assert reading.grid.cell_size == 2
    assert reading.model.source_cell == 5
    assert "2 m is finer than the elevation (5 m)" in said(reading, "doubtful")


@pytest.mark.parametrize(("native", "cell"), [(0.25, 1.0), (0.5, 1.0), (0.4, 1.2)])
def test_cells_below_1_m_are_averaged_and_that_is_said(tmp_path, native, cell):
    path = sampled(tmp_path / "a.tif", 32633, north_up(native), (480, 480))
    field = box(WEST + 30, NORTH - 80, WEST + 60, NORTH - 40)
    reading = read_elevation([path], field)
    assert reading.grid.cell_size == pytest.approx(cell)
    assert f"set to {cell:g} m" in said(reading, "mended")
    assert error_of(reading) < 0.01


def test_a_cell_below_1_m_that_is_asked_for_is_not_made(tmp_path):
    path = sampled(tmp_path / "a.tif", 32633, north_up(1), (200, 200))
    field = box(WEST + 30, NORTH - 80, WEST + 60, NORTH - 40)
    reading = read_elevation([path], field, cell=0.5)
    assert reading.grid.cell_size == 1.0
    assert "finer than 1 m" in said(reading, "mended")


@pytest.mark.parametrize("cell", [0.0, -1.0, float("nan"), float("inf")])
def test_a_cell_without_meaning_is_refused(hills, cell):
    with pytest.raises(GridError, match=r"cell of .* has no meaning"):
        read_elevation([hills], FIELD, cell=cell)


def test_all_mistakes_are_listed_at_once():
    with pytest.raises(GridError, match="margin") as caught:
        Wish(cell=0.0, margin=-5.0, max_cells=0)
    assert len(caught.value.mistakes) == 3


def test_a_cell_larger_than_the_elevation_is_refused(hills):
    with pytest.raises(GridError, match=r"5000\u00a0m is larger than the elevation"):
        read_elevation([hills], FIELD, cell=5000)


# -------------------------------------------------------------------- size


def test_too_many_cells_are_coarsened_to_whole_groups_and_that_is_said(hills):
    reading = read_elevation([hills], FIELD, max_cells=60_000)
    assert reading.grid.cell_size == 10
    assert "168,000 cells, above the limit of 60,000; coarsened to 10 m" in said(
        reading, "mended"
    )


def test_a_cell_asked_for_is_refused_with_the_one_that_fits(hills):
    with pytest.raises(GridError) as caught:
        read_elevation([hills], FIELD, cell=5, max_cells=60_000)
    told = str(caught.value).replace("\u00a0", " ")
    assert told == (
        "A cell of 5 m makes 168,000 cells, above the 60,000 that max_cells allows. "
        "Set cell to 10 or more, or a smaller margin."
    )
    assert (
        read_elevation([hills], FIELD, cell=10, max_cells=60_000).grid.cell_size == 10
    )


def test_the_memory_of_the_machine_is_a_limit_too(hills, monkeypatch):
    monkeypatch.setattr(extent, "find_memory_cells", lambda: 60_000)
    assert read_elevation([hills], FIELD).grid.cell_size == 10
    with pytest.raises(
        GridError, match=r"memory of this machine allows\. Set cell to 10"
    ):
        read_elevation([hills], FIELD, cell=5)


def test_cells_wider_than_the_field_are_refused(hills):
    with pytest.raises(GridError, match="wider than the field"):
        read_elevation([hills], FIELD, max_cells=20)


def test_half_of_the_free_memory_is_taken(monkeypatch):
    monkeypatch.setattr(extent, "_find_free_memory", lambda: 16 * 10**9)
    assert extent.find_memory_cells() == 40_000_000
    monkeypatch.setattr(extent, "_find_free_memory", lambda: 10**12)
    assert extent.find_memory_cells() == extent.MOST
    monkeypatch.undo()
    assert extent.WHOLE <= extent.find_memory_cells() <= extent.MOST


# ------------------------------------------------------------------ mosaics


def test_tiles_on_one_lattice_join_without_resampling(tmp_path, hills):
    with rasterio.open(hills) as file:
        heights = file.read(1)
    paths = []
    for row in (0, 200):
        for column in (0, 250):
            tile = np.ascontiguousarray(heights[row : row + 200, column : column + 250])
            corner = north_up(5, WEST + 5 * column, NORTH - 5 * row)
            paths.append(write(tmp_path / f"{row}-{column}.tif", tile, corner))
    reading = read_elevation(paths[::-1], FIELD)
    np.testing.assert_array_equal(reading.elevation, heights)
    assert said(reading, "mended") == ""
    assert "0-0.tif" in reading.model.sources


def test_where_tiles_overlap_the_first_given_stands(tmp_path):
    low = write(tmp_path / "low.tif", np.full((400, 500), 100.13, "f4"), north_up(5))
    part = np.full((200, 500), 200.17, np.float32)
    part[:, 240:] = np.nan
    high = write(tmp_path / "high.tif", part, north_up(5))
    first_low = read_elevation([low, high], FIELD).elevation
    first_high = read_elevation([high, low], FIELD).elevation
    assert np.unique(first_low).tolist() == [np.float32(100.13)]
    assert (first_high[:200, :240] == np.float32(200.17)).all()
    assert (first_high[:, 240:] == np.float32(100.13)).all()
    assert (first_high[200:] == np.float32(100.13)).all()


def test_a_tile_off_the_lattice_is_resampled_and_that_is_said(tmp_path, hills):
    # Two tiles 2.5 m off each other: a plain merge would shift one silently.
    off = sampled(
        tmp_path / "off.tif", 32633, north_up(5, WEST + 2497.5, NORTH), (400, 200)
    )
    field = box(WEST + 2300, NORTH - 1100, WEST + 2700, NORTH - 900)
    reading = read_elevation([hills, off], field)
    assert (reading.grid.west - WEST) % 5 == 0
    assert error_of(reading) < 0.06
    mended = [r for r in reading.remarks if r.kind == "mended"]
    assert [r.about for r in mended] == ["off.tif"]


def test_tiles_in_two_systems_join_on_that_of_the_field(tmp_path, hills):
    there = Transformer.from_crs(32633, 32632, always_xy=True)
    x, y = there.transform(WEST + 2000, NORTH + 300)
    other = sampled(tmp_path / "zone32.tif", 32632, north_up(5, x, y), (500, 400))
    field = box(WEST + 2300, NORTH - 1100, WEST + 2600, NORTH - 900)
    reading = read_elevation([hills, other], field)
    assert reading.grid.crs.to_epsg() == 32633
    # Beyond the centres of a tile's outermost cells nothing lies to interpolate.
    assert error_of(reading) < 0.15
    assert "from WGS 84 / UTM zone 32N" in said(reading, "mended")


def test_neighbouring_tiles_in_degrees_show_no_seam(tmp_path):
    step = 1 / 3600
    whole = sampled(
        tmp_path / "whole.tif", 4326, north_up(step, 15.0, 59.02), (120, 200)
    )
    west = sampled(tmp_path / "w.tif", 4326, north_up(step, 15.0, 59.02), (120, 100))
    corner = north_up(step, 15.0 + 100 * step, 59.02)
    east = sampled(tmp_path / "e.tif", 4326, corner, (120, 100))
    field = box(15.026, 59.0, 15.029, 59.004, 4326)
    once = read_elevation([whole], field)
    joined = read_elevation([west, east], field)
    assert joined.grid == once.grid
    np.testing.assert_allclose(joined.elevation, once.elevation, atol=1e-3)


def test_a_tile_away_from_the_site_is_left_out_and_does_not_count(tmp_path, hills):
    away = write(
        tmp_path / "away.tif", np.full((9, 9), 5.3, "f4"), north_up(50, WEST + 40_000)
    )
    reading = read_elevation([away, hills], FIELD, margin=100)
    assert reading.model.sources == ("hills.tif",)
    assert reading.model.source_cell == 5
    assert "not needed" in said(reading, "read")


def test_the_coarsest_of_the_files_counts(tmp_path, hills):
    coarse = sampled(
        tmp_path / "coarse.tif", 32633, north_up(25, WEST + 2500), (80, 80)
    )
    reading = read_elevation([hills, coarse], FIELD)
    assert reading.grid.cell_size == 5
    assert reading.model.source_cell == 25
    assert reading.model.surface == "canopy"


# -------------------------------------------------------------- real ground


@pytest.fixture
def appalachians(tmp_path) -> Path:
    """A fault in the Appalachians, 3 arc-seconds; ships with matplotlib."""
    # Source: matplotlib sample data, jacksboro_fault_dem.npz (NASA SRTM).
    shipped = Path(mpl.get_data_path()) / "sample_data" / "jacksboro_fault_dem.npz"
    with np.load(shipped) as data:
        heights = data["elevation"]
        transform = Affine(
            float(data["dx"]),
            0,
            float(data["xmin"]),
            0,
            -float(data["dy"]),
            float(data["ymax"]),
        )
    return write(tmp_path / "appalachians.tif", heights, transform, 4326)


def test_a_real_model_in_degrees_comes_to_utm(appalachians):
    with rasterio.open(appalachians) as file:
        b, given_heights = file.bounds, file.read(1)
    lon, lat = (b.left + b.right) / 2, (b.bottom + b.top) / 2
    reading = read_elevation(
        [appalachians], box(lon, lat, lon + 0.004, lat + 0.003, 4326)
    )
    # Three arc-seconds of latitude at 36.5° N are 92.5 m.
    # Source: meridian arc of WGS 84 (NGA TR8350.2).
    assert reading.model.source_cell == pytest.approx(92.47, abs=0.05)
    assert reading.grid.cell_size == 92.5
    assert reading.grid.crs.to_epsg() == 32616
    assert reading.model.step == 1.0
    assert reading.model.surface == "canopy"
    assert np.nanmin(reading.elevation) == pytest.approx(given_heights.min(), abs=15)
    assert np.nanmax(reading.elevation) == pytest.approx(given_heights.max(), abs=15)
    assert np.nanmean(reading.elevation) == pytest.approx(given_heights.mean(), abs=2)


def sample(name: str) -> tuple[Path, GeoDataFrame]:
    path = SAMPLES / name
    if not path.is_file():
        pytest.skip(f"the measured sample {name} is not beside this checkout")
    with rasterio.open(path) as file:
        b, crs = file.bounds, file.crs
    x, y = (b.left + b.right) / 2, (b.bottom + b.top) / 2
    return path, box(x - 300, y - 300, x + 300, y + 300, crs)


@pytest.mark.observations
def test_measured_lakes_in_utm_are_taken_cell_for_cell():
    path, field = sample("lakes-50m.tif")
    reading = read_elevation([path], field)
    with rasterio.open(path) as file:
        np.testing.assert_array_equal(reading.elevation, file.read(1))
        assert reading.grid.transform == file.transform
    assert reading.model.step == 0


@pytest.mark.observations
def test_measured_reservoirs_stay_level_through_warping_and_smoothing():
    path, field = sample("reservoirs-30m.tif")
    reading = read_elevation([path], field)
    assert reading.grid.crs.to_epsg() == 32611
    assert reading.model.step == 1.0
    assert reading.grid.cell_size == pytest.approx(29.7, abs=0.11)
    level = np.abs(reading.elevation - 1001) <= 0.005
    still = np.abs(reading.ground - 1001) <= 0.005
    # 259.6 ha at exactly 1,001 m in the file; the cubic kernel takes the shore.
    assert 150 < level.sum() * reading.grid.cell_area / 1e4 < 262
    assert still.sum() >= 0.95 * level.sum()
    # No height moves by more than rounding took, but for the kernel's overshoot.
    moved = np.abs(reading.ground - reading.elevation)
    assert np.nanmean(moved) > 0.05
    assert np.nanmax(moved) <= 0.8


@pytest.mark.observations
def test_a_measured_basin_in_world_mercator_is_brought_to_true_size():
    path, field = sample("basin-30m-world-mercator.tif")
    reading = read_elevation([path], field)
    assert reading.grid.crs.to_epsg() == 32613
    assert reading.grid.cell_size == 24.3
    with rasterio.open(path) as file:
        stored = file.read(1, masked=True)
    assert np.nanmedian(reading.elevation) == pytest.approx(
        float(np.ma.median(stored)), abs=2
    )
    assert np.nanmax(reading.elevation) == pytest.approx(float(stored.max()), abs=3)
