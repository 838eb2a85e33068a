"""Elevation files of every kind come onto the grid as metres, or are refused."""

import re
import warnings
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from geopandas import GeoDataFrame
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from rasterio.errors import NotGeoreferencedWarning

from sitekit.errors import CoverageError, CrsError, InputError
from sitekit.io.elevation import ElevationReading, read_elevation
from sitekit.io.sources import find_source

WEST, NORTH = 500_000.0, 5_130_400.0


def plane(rows: int = 200, columns: int = 300, dtype: str = "float32") -> np.ndarray:
    """No multiple of any step, so that nothing is smoothed."""
    y, x = np.mgrid[:rows, :columns]
    return (100.013 + 0.0371 * x + 0.0213 * y).astype(dtype)


def write(path: Path, values: np.ndarray, **profile: object) -> Path:
    scale, offset = profile.pop("scale", None), profile.pop("offset", None)
    unit = profile.pop("unit", None)
    chosen = {
        "driver": "GTiff",
        "height": values.shape[0],
        "width": values.shape[1],
        "count": 1,
        "dtype": values.dtype,
        "crs": "EPSG:32633",
        "transform": Affine(2, 0, WEST, 0, -2, NORTH),
    }
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with rasterio.open(path, "w", **{**chosen, **profile}) as file:
            file.write(values, 1)
            if scale is not None:
                file.scales, file.offsets = [scale], [offset]
            if unit is not None:
                file.units = [unit]
    return path


def box(west: float, south: float, east: float, north: float, crs: object = 32633):
    return GeoDataFrame(geometry=[shapely.box(west, south, east, north)], crs=crs)


FIELD = box(WEST + 200, NORTH - 300, WEST + 400, NORTH - 100)


def said(reading: ElevationReading, kind: str) -> str:
    return "\n".join(r.text for r in reading.remarks if r.kind == kind)


# ----------------------------------------------------------- a file as it is


def test_a_plain_file_is_taken_cell_for_cell(tmp_path):
    values = plane()
    reading = read_elevation([write(tmp_path / "a.tif", values)], FIELD)
    np.testing.assert_array_equal(reading.elevation, values)
    assert reading.elevation.dtype == np.float32
    assert reading.ground is reading.elevation
    assert reading.grid.bounds == (WEST, NORTH - 400, WEST + 600, NORTH)
    assert reading.grid.cell_size == 2.0
    assert reading.grid.crs.to_epsg() == 32633
    assert reading.model.sources == ("a.tif",)
    assert reading.remarks[0].about == "a.tif"
    assert (
        reading.remarks[0].text.replace("\u00a0", " ")
        == "2 m, 0.6 × 0.4 km, reaches 100 m beyond the field"
    )


def test_the_field_may_be_in_any_system(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    here = read_elevation([path], FIELD, margin=20)
    there = read_elevation([path], FIELD.to_crs(4326), margin=20)
    assert there.grid.shape[0] - here.grid.shape[0] in (0, 1)
    assert there.grid.crs == here.grid.crs


@pytest.mark.parametrize("dtype", ["int16", "uint16", "int32", "float64", "uint8"])
def test_every_type_of_number_becomes_float32(tmp_path, dtype):
    values = plane(dtype=dtype)
    reading = read_elevation([write(tmp_path / "a.tif", values)], FIELD)
    assert reading.elevation.dtype == np.float32
    np.testing.assert_array_equal(reading.elevation, values.astype(np.float32))


def test_an_ascii_grid_is_read_in_the_system_that_is_given(tmp_path):
    path = tmp_path / "a.asc"
    rows = "\n".join(" ".join(f"{z:.3f}" for z in row) for row in plane())
    path.write_text(
        f"ncols 300\nnrows 200\nxllcorner {WEST}\nyllcorner {NORTH - 400}\n"
        f"cellsize 2\nNODATA_value -9999\n{rows}\n"
    )
    with pytest.raises(CrsError, match=r"a\.asc has no coordinate.*--elevation-crs"):
        read_elevation([path], FIELD)
    reading = read_elevation([path], FIELD, elevation_crs="EPSG:32633")
    np.testing.assert_allclose(reading.elevation, plane(), atol=6e-4)
    assert "taken as EPSG:32633, as given" in said(reading, "read")


def test_a_file_stored_south_up_is_turned_without_resampling(tmp_path):
    values = plane()
    path = write(
        tmp_path / "a.tif",
        np.ascontiguousarray(values[::-1]),
        transform=Affine(2, 0, WEST, 0, 2, NORTH - 400),
    )
    reading = read_elevation([path], FIELD)
    np.testing.assert_array_equal(reading.elevation, values)
    assert reading.grid.north == NORTH
    part = read_elevation([path], FIELD, margin=10)
    row = round((NORTH - part.grid.north) / 2)
    np.testing.assert_array_equal(
        part.elevation, values[row : row + part.grid.shape[0], 95:205]
    )


def test_only_the_window_is_read_of_a_file_larger_than_any_memory(tmp_path):
    # 160 thousand million cells, a terabyte; only two tiles of it were ever written.
    side = 400_000
    path = tmp_path / "huge.tif"
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=side,
        width=side,
        count=1,
        dtype="float32",
        crs="EPSG:32633",
        transform=Affine(2, 0, 100_000, 0, -2, 5_600_000),
        tiled=True,
        blockxsize=4096,
        blockysize=4096,
        sparse_ok=True,
        bigtiff="YES",
        compress="deflate",
    ) as file:
        window = rasterio.windows.Window(200_000, 200_000, 600, 500)
        file.write(plane(500, 600), 1, window=window)
    field = box(500_400, 5_199_400, 500_600, 5_199_600)
    reading = read_elevation([path], field, margin=100)
    assert reading.grid.shape == (200, 200)
    np.testing.assert_array_equal(reading.elevation, plane(500, 600)[150:350, 150:350])


# ----------------------------------------------------------------- nodata


@pytest.mark.parametrize(
    ("marker", "declared"),
    [
        (-9999.0, -9999.0),
        (-9999.0, None),
        (-32768.0, None),
        (-32767.0, None),
        (np.nan, None),
        (np.nan, np.nan),
        (3.4028234663852886e38, None),
        (-3.4028234663852886e38, None),
        (-3.3999999521443642e38, -3.3999999521443642e38),
        (np.inf, None),
        (-np.inf, None),
        (9000.5, None),
        (-501.0, None),
        (0.0, 0.0),
    ],
)
def test_missing_cells_in_any_form_become_nan(tmp_path, marker, declared):
    values = plane()
    values[:30, :40] = marker
    reading = read_elevation(
        [write(tmp_path / "a.tif", values, nodata=declared)], FIELD
    )
    assert np.isnan(reading.elevation[:30, :40]).all()
    assert np.isfinite(reading.elevation).sum() == 200 * 300 - 30 * 40
    odd = declared is None and np.isfinite(marker)
    assert ("1,200 cells with impossible heights" in said(reading, "mended")) == odd


def test_an_integer_file_may_leave_its_nodata_unsaid(tmp_path):
    values = plane(dtype="int16")
    values[0, :] = -32768
    reading = read_elevation([write(tmp_path / "a.tif", values)], FIELD)
    assert np.isnan(reading.elevation[0]).all()
    assert np.isfinite(reading.elevation[1:]).all()


def test_heights_of_zero_and_below_the_sea_stay(tmp_path):
    values = plane() - 104
    reading = read_elevation([write(tmp_path / "a.tif", values)], FIELD)
    np.testing.assert_array_equal(reading.elevation, values)


def test_a_mask_inside_the_file_counts(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    with (
        rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True),
        rasterio.open(path, "r+") as file,
    ):
        mask = np.full((200, 300), 255, np.uint8)
        mask[-20:] = 0
        file.write_mask(mask)
    reading = read_elevation([path], FIELD)
    assert np.isnan(reading.elevation[-20:]).all()
    assert np.isfinite(reading.elevation[:-20]).all()


@given(
    share=st.floats(0.0, 0.3),
    marker=st.sampled_from([-9999.0, -32768.0, 3.4e38, np.nan, np.inf]),
    seed=st.integers(0, 100),
)
@settings(max_examples=25, deadline=None)
def test_no_marker_ever_reaches_the_heights(tmp_path_factory, share, marker, seed):
    values = plane(40, 40)
    values[np.random.default_rng(seed).random(values.shape) < share] = marker
    path = write(tmp_path_factory.mktemp("m") / "a.tif", values)
    field = box(WEST + 20, NORTH - 60, WEST + 60, NORTH - 20)
    known = read_elevation([path], field).elevation
    known = known[np.isfinite(known)]
    assert known.min() >= 99
    assert known.max() <= 103


# --------------------------------------------------------- units and scale


def test_scale_and_offset_are_applied(tmp_path):
    stored = np.round((plane() - 90) * 100).astype(np.int16)
    path = write(tmp_path / "a.tif", stored, scale=0.01, offset=90.0, nodata=-1)
    reading = read_elevation([path], FIELD)
    np.testing.assert_allclose(reading.elevation, plane(), atol=0.0051)


def test_a_stored_9999_below_zero_is_a_height_where_the_scale_makes_it_one(tmp_path):
    stored = np.full((200, 300), -9999, np.int16)
    stored[:, ::2] = -9000
    path = write(tmp_path / "a.tif", stored, scale=0.01, offset=200.0, nodata=-1)
    heights = read_elevation([path], FIELD).elevation
    np.testing.assert_allclose(np.unique(heights), [100.01, 110.0], atol=1e-4)


@pytest.mark.parametrize(
    ("z_unit", "metres"),
    [
        ("m", 1.0),
        # Source: international yard and pound agreement 1959: 1 ft = 0.3048 m;
        # US survey foot = 1200/3937 m (Federal Register 1959-07-01).
        ("ft", 0.3048),
        ("us-ft", 0.3048006096),
    ],
)
def test_the_unit_of_height_may_be_given(tmp_path, z_unit, metres):
    path = write(tmp_path / "a.tif", plane())
    reading = read_elevation([path], FIELD, z_unit=z_unit)
    expected = plane().astype(np.float64) * metres
    np.testing.assert_allclose(reading.elevation, expected, rtol=1e-7)
    assert "does not say its unit" not in said(reading, "doubtful")


def test_a_file_that_says_no_unit_is_in_metres_and_that_is_said(tmp_path):
    reading = read_elevation([write(tmp_path / "a.tif", plane())], FIELD)
    assert "does not say its unit of height; taken as metres" in said(
        reading, "doubtful"
    )


@pytest.mark.parametrize(
    ("vertical", "metres"),
    [(5703, 1.0), (8228, 0.3048), (6360, 1200 / 3937)],
)
def test_the_vertical_part_of_a_compound_system_tells_the_unit(
    tmp_path, vertical, metres
):
    # EPSG:5703 NAVD88 height (m), 8228 NAVD88 height (ft), 6360 (ftUS).
    # Source: EPSG dataset, vertical CRS of these codes.
    compound = CRS.from_user_input(f"EPSG:32633+{vertical}")
    path = write(tmp_path / "a.tif", plane(), crs=compound.to_wkt())
    reading = read_elevation([path], FIELD)
    np.testing.assert_allclose(
        reading.elevation, plane().astype(np.float64) * metres, rtol=1e-6
    )
    assert "does not say" not in said(reading, "doubtful")
    assert len(reading.grid.crs.axis_info) == 2
    assert reading.grid.crs == CRS.from_epsg(32633)


def test_the_given_unit_stands_above_that_of_the_file(tmp_path):
    compound = CRS.from_user_input("EPSG:32633+8228")
    path = write(tmp_path / "a.tif", plane(), crs=compound.to_wkt())
    reading = read_elevation([path], FIELD, z_unit="m")
    np.testing.assert_array_equal(reading.elevation, plane())


def test_the_unit_of_the_band_counts(tmp_path):
    path = write(tmp_path / "a.tif", plane(), unit="ft")
    heights = read_elevation([path], FIELD).elevation
    np.testing.assert_allclose(heights, plane() * 0.3048, rtol=1e-6)


# ------------------------------------------------------------ refused files


def test_a_file_without_a_place_is_refused(tmp_path):
    path = write(tmp_path / "a.tif", plane(), crs=None, transform=Affine.identity())
    with pytest.raises(InputError, match=r"a\.tif does not say where it lies"):
        read_elevation([path], FIELD, elevation_crs="EPSG:32633")


@pytest.mark.parametrize("size", [0.0, np.nan, np.inf])
def test_cells_of_no_size_are_refused(tmp_path, size):
    path = write(
        tmp_path / "a.tif", plane(), transform=Affine(size, 0, WEST, 0, -2, NORTH)
    )
    with pytest.raises(InputError, match=r"a\.tif .*of size zero"):
        read_elevation([path], FIELD)


@pytest.mark.parametrize("size", ["0", "nan", "inf"])
def test_an_ascii_grid_with_cells_of_no_size_is_refused(tmp_path, size):
    path = tmp_path / "a.asc"
    path.write_text(
        f"ncols 2\nnrows 2\nxllcorner 0\nyllcorner 0\ncellsize {size}\n1 2\n3 4\n"
    )
    with pytest.raises(InputError, match=r"a\.asc .*of size zero"):
        read_elevation([path], FIELD, elevation_crs="EPSG:32633")


def test_a_picture_is_refused(tmp_path):
    path = write(tmp_path / "a.tif", plane(dtype="uint8"), count=3, photometric="RGB")
    with pytest.raises(InputError, match=r"a\.tif is a picture, not heights"):
        read_elevation([path], FIELD)


def test_a_second_band_is_left_and_that_is_said(tmp_path):
    path = write(tmp_path / "a.tif", plane(), count=2)
    assert "has 2 bands" in said(read_elevation([path], FIELD), "doubtful")


def test_a_local_system_without_a_place_on_earth_is_refused(tmp_path):
    local = 'LOCAL_CS["site grid",UNIT["metre",1]]'
    path = write(tmp_path / "a.tif", plane(), crs=local)
    with pytest.raises(CrsError, match=r"local system .*no place on Earth"):
        read_elevation([path], FIELD)


@pytest.mark.parametrize("text", ["EPSG:999999", "nonsense"])
def test_an_unknown_system_that_is_given_is_named(tmp_path, text):
    path = write(tmp_path / "a.tif", plane(), crs=None)
    with pytest.raises(CrsError, match=f'--elevation-crs "{text}" is not'):
        read_elevation([path], FIELD, elevation_crs=text)


def test_a_system_that_is_given_must_lie_on_the_ground(tmp_path):
    path = write(tmp_path / "a.tif", plane(), crs=None)
    with pytest.raises(CrsError, match="not a map or geographic"):
        read_elevation([path], FIELD, elevation_crs="EPSG:5703")


def test_the_files_own_system_stands_above_the_one_given(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    reading = read_elevation([path], FIELD, elevation_crs="EPSG:25833")
    assert reading.grid.crs.to_epsg() == 32633
    assert "that stands, not EPSG:25833" in said(reading, "doubtful")


@pytest.mark.parametrize("marker", [np.nan, -9999.0])
def test_a_file_of_nothing_but_nodata_is_refused(tmp_path, marker):
    values = np.full((200, 300), marker, np.float32)
    path = write(tmp_path / "a.tif", values, nodata=marker)
    with pytest.raises(InputError, match=r"a\.tif has no height around the field"):
        read_elevation([path], FIELD)


def test_heights_that_are_all_absurd_point_to_the_unit(tmp_path):
    path = write(tmp_path / "a.tif", plane() * 1000)
    with pytest.raises(InputError, match=r"a\.tif lies between.*unit with z_unit"):
        read_elevation([path], FIELD)


def test_a_file_cut_off_is_named_among_several(tmp_path):
    noise = plane() + np.random.default_rng(5).random((200, 300)).astype(np.float32)
    good = write(tmp_path / "good.tif", noise)
    whole = write(tmp_path / "whole.tif", noise, compress="deflate")
    cut = tmp_path / "cut.tif"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    for paths in ([good, cut], [cut, good]):
        with pytest.raises(InputError, match=r"cut\.tif is cut off") as caught:
            read_elevation(paths, FIELD)
        assert "good.tif" not in str(caught.value)


def test_no_file_at_all_is_refused():
    with pytest.raises(InputError, match="Name at least one elevation file"):
        read_elevation([], FIELD)


def test_a_field_without_system_or_area_is_refused(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    with pytest.raises(InputError, match="field has no coordinate system"):
        read_elevation([path], FIELD.set_crs(None, allow_override=True))
    with pytest.raises(InputError, match="field has no area"):
        read_elevation([path], FIELD.iloc[:0])


def test_a_field_nowhere_on_earth_is_refused(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    with pytest.raises(InputError, match="field lies nowhere on Earth in WGS 84 / UTM"):
        read_elevation([path], box(1e30, 1e30, 2e30, 2e30))


@pytest.mark.parametrize("shape", ["bow tie", "line", "nothing"])
def test_a_field_without_area_is_refused_whatever_its_shape(tmp_path, shape):
    path = write(tmp_path / "a.tif", plane())
    x, y = WEST + 100, NORTH - 300
    corners = [(x, y), (x + 100, y + 100), (x + 100, y), (x, y + 100)]
    drawn = {
        "bow tie": shapely.Polygon(corners),
        "line": shapely.LineString(corners),
        "nothing": shapely.Polygon(),
    }[shape]
    with pytest.raises(InputError, match="field has no area"):
        read_elevation([path], GeoDataFrame(geometry=[drawn], crs=32633))


# ---------------------------------------------------------- field and cover


def test_a_field_beside_the_elevation_is_told_how_far(tmp_path):
    path = write(tmp_path / "elevation.tif", plane())
    away = box(WEST + 600 + 3200, NORTH - 300, WEST + 4000, NORTH - 100)
    with pytest.raises(CoverageError) as caught:
        read_elevation([path], away)
    assert str(caught.value).replace("\u00a0", " ") == (
        "The field lies 3.2 km outside elevation.tif. Give elevation that covers it, "
        "or correct the field's coordinates."
    )


def test_a_field_with_latitude_and_longitude_swapped_is_told_so_too(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    swapped = box(46.31, 15.001, 46.312, 15.003, crs=4326)
    with pytest.raises(CoverageError) as caught:
        read_elevation([path], swapped)
    told = re.search(r"lies ([\d,]+)\u00a0km outside", str(caught.value))
    assert told is not None
    assert 4000 < float(told[1].replace(",", "")) < 5500


def test_a_field_on_the_other_side_of_the_earth_is_told_so(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    with pytest.raises(CoverageError, match=r"lies (19,9|20,0)\d\d\u00a0km outside"):
        read_elevation([path], box(-165.0, -46.3, -164.99, -46.29, crs=4326))


def test_a_field_at_the_pole_is_told_how_far(tmp_path):
    # Source: quarter meridian of WGS 84, 10,001.97 km, less the arc to 46.33° N,
    # 5,132.6 km (both from memory, so the range is wide).
    path = write(tmp_path / "a.tif", plane())
    with pytest.raises(CoverageError, match=r"lies 4,8[5-9]\d\u00a0km outside"):
        read_elevation([path], box(10, 89.9, 11, 89.99, crs=4326))


def test_a_field_partly_outside_is_told_its_share(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    partly = box(WEST + 450, NORTH - 300, WEST + 650, NORTH - 100)
    with pytest.raises(CoverageError, match=r"a\.tif covers only 75\u00a0% of the"):
        read_elevation([path], partly)


def test_a_field_up_to_the_very_edge_is_inside(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    whole = box(WEST, NORTH - 400, WEST + 600, NORTH)
    assert read_elevation([path], whole, margin=0).grid.shape == (200, 300)


def test_two_files_may_share_the_field(tmp_path):
    west = write(tmp_path / "west.tif", plane()[:, :150])
    east = write(
        tmp_path / "east.tif",
        np.ascontiguousarray(plane()[:, 150:]),
        transform=Affine(2, 0, WEST + 300, 0, -2, NORTH),
    )
    np.testing.assert_array_equal(
        read_elevation([east, west], FIELD).elevation, plane()
    )
    with pytest.raises(CoverageError, match=r"west\.tif covers only 50"):
        read_elevation([west], FIELD)


def test_missing_cells_in_the_field_are_said_with_their_area(tmp_path):
    values = plane()
    values[50:100, 100:150] = np.nan
    reading = read_elevation([write(tmp_path / "a.tif", values)], FIELD)
    assert "1.0\u00a0ha of the field has no height" in said(reading, "doubtful")


def test_a_field_without_any_height_is_refused(tmp_path):
    values = plane()
    values[45:155, 95:205] = np.nan
    path = write(tmp_path / "a.tif", values)
    with pytest.raises(CoverageError, match="no height anywhere in the field"):
        read_elevation([path], FIELD)


# --------------------------------------------------------- what is described


def test_a_file_is_described_without_reading_its_heights(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    path.write_bytes(path.read_bytes()[:5000])
    source = find_source(path, elevation_crs=None, z_unit=None)
    assert source.shape == (200, 300)
    assert source.square


def test_the_licence_that_a_file_names_is_kept(tmp_path):
    path = write(tmp_path / "a.tif", plane())
    with rasterio.open(path, "r+") as file:
        file.update_tags(TIFFTAG_COPYRIGHT="Open survey, free use")
    reading = read_elevation([path], FIELD)
    assert reading.model.attribution == "Open survey, free use"


@pytest.mark.parametrize(
    ("cell", "asked", "surface", "coarse"),
    [
        (2, None, "ground", False),
        (20, None, "ground", True),
        (21, None, "canopy", True),
        (21, "ground", "ground", True),
        (2, "canopy", "canopy", True),
    ],
)
def test_above_20_m_cells_the_top_of_the_canopy_is_assumed(
    tmp_path, cell, asked, surface, coarse
):
    path = write(
        tmp_path / "a.tif", plane(), transform=Affine(cell, 0, WEST, 0, -cell, NORTH)
    )
    field = box(WEST + 100, NORTH - 200, WEST + 300, NORTH - 100)
    reading = read_elevation([path], field, surface=asked)
    assert reading.model.surface == surface
    assert reading.model.coarse == coarse
    assert ("canopy's top" in said(reading, "doubtful")) == (surface == "canopy")
    assumed = surface == "canopy" and asked is None
    assert ("taken as such above 20" in said(reading, "doubtful")) == assumed
