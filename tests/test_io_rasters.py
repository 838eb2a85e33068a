"""Opening rasters by their first bytes, and writing Cloud Optimized GeoTIFFs."""

import struct
from pathlib import Path

import numpy as np
import pytest
import rasterio
import rasterio.shutil
import shapely
from affine import Affine
from geopandas import GeoDataFrame
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pyproj import CRS
from scipy.io import netcdf_file

from sitekit.errors import InputError
from sitekit.grid import Grid
from sitekit.io.rasters import MAGIC, find_driver, open_raster, read_window, write_cog

UTM = CRS.from_epsg(32633)


def a_grid(rows: int, columns: int, cell: float = 2.0) -> Grid:
    return Grid(UTM, 500_000.0, 5_130_000.0, cell, (rows, columns))


def a_geotiff(path: Path, values: np.ndarray, **profile: object) -> Path:
    chosen = {
        "driver": "GTiff",
        "height": values.shape[0],
        "width": values.shape[1],
        "count": 1,
        "dtype": values.dtype,
        "crs": "EPSG:32633",
        "transform": Affine(2, 0, 500_000, 0, -2, 5_130_000),
    }
    with rasterio.open(path, "w", **{**chosen, **profile}) as file:
        file.write(values, 1)
    return path


def a_vrt(target: Path) -> str:
    return (
        '<VRTDataset rasterXSize="4" rasterYSize="4"><VRTRasterBand dataType="Byte" '
        f'band="1"><SimpleSource><SourceFilename>{target}</SourceFilename>'
        "</SimpleSource></VRTRasterBand></VRTDataset>"
    )


# ------------------------------------------------------------------ opening


@pytest.mark.parametrize("options", [{}, {"BIGTIFF": "YES"}, {"ENDIANNESS": "BIG"}])
def test_a_geotiff_is_known_by_its_first_bytes_whatever_its_name(tmp_path, options):
    path = a_geotiff(tmp_path / "heights.dat", np.ones((4, 4), np.float32), **options)
    assert find_driver(path) == "GTiff"


def test_an_ascii_grid_is_known_also_after_a_byte_order_mark(tmp_path):
    path = tmp_path / "grid.txt"
    path.write_bytes(b"\xef\xbb\xbfNCOLS 2\nNROWS 2\n")
    assert find_driver(path) == "AAIGrid"


@pytest.mark.parametrize(
    "name", ["dem.tif", "dem.asc", "dem.hgt", "dem.vrt", "dem.xyz"]
)
@pytest.mark.parametrize("lead", ["", "  \n", "\ufeff"])
def test_text_that_points_to_other_files_is_refused_whatever_its_name(
    tmp_path, name, lead
):
    secret = a_geotiff(tmp_path / "secret.tif", np.ones((4, 4), np.uint8))
    (tmp_path / name).write_text(lead + a_vrt(secret), encoding="utf-8")
    with (
        pytest.raises(InputError, match="points to other files"),
        open_raster(tmp_path / name),
    ):
        pass


def test_a_file_with_a_known_ending_is_given_to_that_driver_alone(tmp_path):
    # The raster library itself would take this text for a web service description.
    path = tmp_path / "dem.hgt"
    path.write_text("WMTS:somewhere,layer=dem")
    with pytest.raises(InputError, match="cut off or damaged"), open_raster(path):
        pass


@pytest.mark.parametrize(
    "path",
    ["/vsicurl/http://127.0.0.1/a.tif", "http://127.0.0.1/a.tif", "GTIFF_DIR:1:a"],
)
def test_an_address_is_not_a_file(path):
    with pytest.raises(InputError, match="not a file on this machine"):
        find_driver(Path(path))


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(InputError, match=r"gone\.tif is not a file.*Correct the path"):
        find_driver(tmp_path / "gone.tif")


def test_a_folder_is_not_a_file(tmp_path):
    with pytest.raises(InputError, match="not a file"):
        find_driver(tmp_path)


def test_an_empty_file_is_named(tmp_path):
    (tmp_path / "empty.tif").touch()
    with pytest.raises(InputError, match=r"empty\.tif is empty.*again"):
        find_driver(tmp_path / "empty.tif")


@given(st.binary(min_size=1, max_size=40).filter(lambda b: b.strip(b" \t\r\n")))
@settings(max_examples=60, deadline=None)
def test_any_other_bytes_are_refused(tmp_path_factory, head):
    known = tuple(magic for magic, _ in MAGIC)
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    assume(not head.startswith(known) and not start.lower().startswith(known))
    path = tmp_path_factory.mktemp("bytes") / "dem.tif"
    path.write_bytes(head)
    with pytest.raises(InputError, match=r"dem\.tif (is not a raster|holds text)"):
        find_driver(path)


@pytest.mark.parametrize("kept", [6, 40, 100])
def test_a_file_cut_off_in_its_head_is_named(tmp_path, kept):
    whole = a_geotiff(tmp_path / "whole.tif", np.ones((50, 50), np.float32))
    (tmp_path / "cut.tif").write_bytes(whole.read_bytes()[:kept])
    with (
        pytest.raises(InputError, match=r"cut\.tif is cut off or damaged.*again"),
        open_raster(tmp_path / "cut.tif"),
    ):
        pass


def test_a_file_cut_off_in_its_heights_is_named(tmp_path):
    noise = np.random.default_rng(1).normal(size=(300, 300)).astype(np.float32)
    whole = a_geotiff(tmp_path / "whole.tif", noise, compress="deflate")
    (tmp_path / "cut.tif").write_bytes(whole.read_bytes()[:200_000])
    with (
        open_raster(tmp_path / "cut.tif") as dataset,
        pytest.raises(InputError, match=r"cut\.tif is cut off or damaged"),
    ):
        read_window(dataset, (0, 300), (0, 300))


def test_whatever_reads_it_a_file_cut_off_is_named(tmp_path):
    noise = np.random.default_rng(1).normal(size=(300, 300)).astype(np.float32)
    whole = a_geotiff(tmp_path / "whole.tif", noise, compress="deflate")
    (tmp_path / "cut.tif").write_bytes(whole.read_bytes()[:200_000])
    with (
        pytest.raises(InputError, match=r"cut\.tif is cut off or damaged"),
        open_raster(tmp_path / "cut.tif") as dataset,
    ):
        dataset.read()


def test_a_window_is_read_by_rows_and_columns_and_masked(tmp_path):
    values = np.arange(20, dtype=np.float32).reshape(4, 5)
    path = a_geotiff(tmp_path / "a.tif", values, nodata=7.0)
    with open_raster(path) as dataset:
        read = read_window(dataset, (1, 3), (2, 5))
    np.testing.assert_array_equal(read.data, values[1:3, 2:5])
    assert read.mask.tolist() == [[True, False, False], [False, False, False]]


@pytest.mark.parametrize(
    ("driver", "ending"),
    [
        ("HFA", ".img"),
        ("AAIGrid", ".asc"),
        ("netCDF", ".nc"),
        ("GSBG", ".grd"),
        ("EHdr", ".flt"),
    ],
)
def test_common_formats_are_read(tmp_path, driver, ending):
    values = np.random.default_rng(6).uniform(1, 9, (30, 40)).astype(np.float32)
    path = tmp_path / f"a{ending}"
    rasterio.shutil.copy(a_geotiff(tmp_path / "a.tif", values), path, driver=driver)
    with open_raster(path) as dataset:
        read = read_window(dataset, (0, 30), (0, 40))
        assert dataset.transform.almost_equals(Affine(2, 0, 500_000, 0, -2, 5_130_000))
    np.testing.assert_allclose(read, values, rtol=1e-5)


def test_a_geopackage_of_shapes_is_no_raster(tmp_path):
    path = tmp_path / "field.gpkg"
    GeoDataFrame(geometry=[shapely.box(0, 0, 1, 1)], crs=32633).to_file(path)
    with (
        pytest.raises(InputError, match=r"field\.gpkg is .* holds no raster"),
        open_raster(path),
    ):
        pass


def test_a_file_of_several_rasters_asks_for_one(tmp_path):
    path = tmp_path / "two.nc"
    with netcdf_file(path, "w") as file:
        file.createDimension("y", 3)
        file.createDimension("x", 4)
        for name in ("height", "slope"):
            file.createVariable(name, "f4", ("y", "x"))[:] = 1
    with (
        pytest.raises(InputError, match=r"two\.nc holds several rasters or none"),
        open_raster(path),
    ):
        pass


# ------------------------------------------------------------------ writing


def test_a_layer_comes_back_bit_for_bit_with_its_place_unit_and_tags(tmp_path):
    values = np.random.default_rng(2).normal(500, 30, (70, 90)).astype(np.float32)
    values[3, 4] = np.nan
    grid = a_grid(70, 90)
    write_cog(
        tmp_path / "slope.tif",
        values,
        grid,
        units="degree",
        description="slope of the ground",
        nodata=np.nan,
        tags={"reference": "Horn 1981"},
    )
    with rasterio.open(tmp_path / "slope.tif") as file:
        np.testing.assert_array_equal(file.read(1), values)
        assert file.dtypes == ("float32",)
        assert np.isnan(file.nodata)
        assert file.units == ("degree",)
        assert file.descriptions == ("slope of the ground",)
        assert file.tags(1)["reference"] == "Horn 1981"
        # The transform's origin is the outer corner of the first cell.
        # Source: OGC GeoTIFF 1.1 (OGC 19-008r4), PixelIsArea.
        assert file.transform == grid.transform
        assert file.xy(0, 0) == (grid.eastings[0], grid.northings[0])
        assert file.crs.to_epsg() == 32633


def test_classes_are_bytes_and_their_overviews_hold_only_classes(tmp_path):
    values = np.random.default_rng(3).choice([0, 4, 255], (1100, 1100)).astype(np.uint8)
    write_cog(
        tmp_path / "site_class_pear.tif",
        values,
        a_grid(1100, 1100),
        units="code",
        description="site class",
        nodata=255,
        tags={"class_0": "refused", "class_4": "good"},
    )
    with rasterio.open(tmp_path / "site_class_pear.tif") as file:
        assert file.dtypes == ("uint8",)
        assert file.nodata == 255
        assert file.tags(1)["class_4"] == "good"
        small = file.read(1, out_shape=(275, 275))
        assert set(np.unique(small)) == {0, 4, 255}


def _directories(data: bytes) -> list[tuple[int, dict[int, tuple[int, int, bytes]]]]:
    """List the image directories of a classic little-endian TIFF, by hand."""
    # Source: TIFF revision 6.0, section 2.
    assert data[:4] == b"II*\0"
    at = struct.unpack("<I", data[4:8])[0]
    found = []
    while at:
        (count,) = struct.unpack("<H", data[at : at + 2])
        entries = {}
        for i in range(count):
            entry = data[at + 2 + 12 * i : at + 14 + 12 * i]
            tag, kind, number = struct.unpack("<HHI", entry[:8])
            entries[tag] = (kind, number, entry[8:])
        found.append((at, entries))
        at = struct.unpack("<I", data[at + 2 + 12 * count : at + 6 + 12 * count])[0]
    return found


def _numbers(data: bytes, entry: tuple[int, int, bytes]) -> list[int]:
    kind, count, value = entry
    form = {3: "H", 4: "I"}[kind]
    size = struct.calcsize(form) * count
    if size > 4:
        start = struct.unpack("<I", value)[0]
        value = data[start : start + size]
    return list(struct.unpack(f"<{count}{form}", value[:size]))


def test_a_large_layer_is_laid_out_as_a_cloud_optimized_geotiff(tmp_path):
    # Source: cogeotiff/cog-spec, spec.md: directories first, full size before
    # overviews by falling size; tiles in the reverse order; tiled and with internal
    # overviews above 512 cells.
    path = tmp_path / "big.tif"
    rng = np.random.default_rng(4)
    values = rng.normal(0, 1, (1300, 1500)).astype(np.float32)
    write_cog(
        path, values, a_grid(1300, 1500), units="m", description="big", nodata=np.nan
    )
    data = path.read_bytes()
    directories = _directories(data)
    widths = [_numbers(data, entries[256])[0] for _, entries in directories]
    assert widths[0] == 1500
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] <= 512
    first_tiles = []
    for _, entries in directories:
        assert _numbers(data, entries[322]) == _numbers(data, entries[323]) == [512]
        first_tiles.append(min(_numbers(data, entries[324])))
    assert first_tiles == sorted(first_tiles, reverse=True)
    places = [place for place, _ in directories]
    assert places == sorted(places)
    assert places[-1] < min(first_tiles)
    ghost = data[8 : places[0]].decode("latin-1")
    assert ghost.startswith("GDAL_STRUCTURAL_METADATA_SIZE=")
    assert "LAYOUT=IFDS_BEFORE_DATA" in ghost
    assert not list(tmp_path.glob("*.ovr"))
    with rasterio.open(path) as file:
        assert file.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"
        assert file.compression.value == "DEFLATE"
        np.testing.assert_array_equal(file.read(1), values)


def test_overviews_of_heights_are_means(tmp_path):
    values = np.add.outer(np.arange(1024), np.arange(1024)).astype(np.float32)
    write_cog(
        tmp_path / "a.tif",
        values,
        a_grid(1024, 1024),
        units="m",
        description="plane",
        nodata=np.nan,
    )
    with rasterio.open(tmp_path / "a.tif", overview_level=0) as file:
        half = file.read(1)
    np.testing.assert_allclose(half, values.reshape(512, 2, 512, 2).mean(axis=(1, 3)))
