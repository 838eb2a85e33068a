"""The sample rasters are what their README says, small, and free to pass on."""

from pathlib import Path

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import pytest
import rasterio
import shapely
from rasterio.features import geometry_mask
from scipy.ndimage import label

SAMPLES = Path(__file__).parents[1] / "sample_rasters"
README = (SAMPLES / "README.md").read_text(encoding="utf-8")
#: WGS 84 / UTM zone 16 north and 11 north, the zones of the two samples.
ZONES = {"jacksboro_field.geojson": 32616, "lakes_field.gpx": 32611}


def track() -> gpd.GeoDataFrame:
    return gpd.read_file(SAMPLES / "lakes_field.gpx", layer="tracks").to_crs(32611)


def walked() -> shapely.Polygon:
    return shapely.Polygon(shapely.get_coordinates(track().geometry.item()))


def test_every_file_is_small_and_described():
    for path in SAMPLES.iterdir():
        assert path.stat().st_size < 300_000
        assert path.name == "README.md" or f"`{path.name}`" in README


def test_origin_and_licence_are_named():
    for words in (
        "public domain",
        "CC0",
        "topocalc/tests/Lakes/topo.nc",
        "topocalc 0.5.0",
        "jacksboro_fault_dem.npz",
    ):
        assert words in README


def test_the_commands_name_files_that_are_there():
    commands = [line for line in README.splitlines() if line.startswith("sitekit")]
    assert len(commands) == 2
    for command in commands:
        words = command.split()
        for option in ("--elevation", "--field"):
            named = words[words.index(option) + 1]
            assert (SAMPLES.parent / named).is_file()
        assert "--out" in words


def test_jacksboro_is_the_window_of_the_package_that_it_is_said_to_be():
    # Source: jacksboro_fault_dem.npz, sample data of matplotlib (SRTM 3 arc-seconds).
    source = Path(mpl.get_data_path()) / "sample_data" / "jacksboro_fault_dem.npz"
    with np.load(source) as package:
        whole, step = package["elevation"], float(package["dx"])
        west, north = float(package["xmin"]), float(package["ymin"])
    with rasterio.open(SAMPLES / "jacksboro_3arcsec.tif") as raster:
        assert np.array_equal(raster.read(1), whole[150:300, 200:350])
        assert raster.crs.to_epsg() == 4326
        assert raster.dtypes == ("int16",)
        assert raster.bounds.left == pytest.approx(west + 200 * step)
        assert raster.bounds.top == pytest.approx(north - 150 * step)
        assert raster.res == pytest.approx((3 / 3600, 3 / 3600), rel=1e-4)


def test_lakes_is_in_metres_and_holds_its_four_level_lakes():
    # Source: topocalc 0.5.0, topocalc/tests/Lakes/topo.nc (CC0).
    with rasterio.open(SAMPLES / "lakes_50m.tif") as raster:
        assert raster.crs.to_epsg() == 32611
        assert raster.res == (50.0, 50.0)
        assert raster.shape == (168, 156)
        elevation = raster.read(1)
    assert round(float(elevation.min())) == 2384
    assert round(float(elevation.max())) == 3581
    for level in (2732.6, 2731.7, 2751.5, 3196.8):
        parts, count = label(np.abs(elevation - level) < 0.1)
        sizes = [int((parts == part).sum()) for part in range(1, count + 1)]
        assert max(sizes) >= 24  # 6 ha


@pytest.mark.parametrize(
    ("raster_name", "field_name", "hectares"),
    [
        ("jacksboro_3arcsec.tif", "jacksboro_field.geojson", (20, 40)),
        ("lakes_50m.tif", "lakes_field.gpx", (10, 20)),
    ],
)
def test_each_field_lies_well_inside_its_raster(
    raster_name: str, field_name: str, hectares: tuple[float, float]
):
    if field_name.endswith("gpx"):
        field = gpd.GeoSeries([walked()], crs=32611)
    else:
        field = gpd.read_file(SAMPLES / field_name).geometry
    area = field.to_crs(ZONES[field_name]).area.sum() / 10_000
    assert hectares[0] < area < hectares[1]
    assert field.is_valid.all()
    with rasterio.open(SAMPLES / raster_name) as raster:
        box = gpd.GeoSeries([shapely.box(*raster.bounds)], crs=raster.crs)
    room = box.to_crs(ZONES[field_name]).item().boundary
    assert field.to_crs(ZONES[field_name]).distance(room).min() > 1000


def test_the_jacksboro_field_has_valley_floor_and_slope():
    with rasterio.open(SAMPLES / "jacksboro_3arcsec.tif") as raster:
        field = gpd.read_file(SAMPLES / "jacksboro_field.geojson")
        inside = geometry_mask(
            field.geometry, raster.shape, raster.transform, invert=True
        )
        heights = raster.read(1)[inside]
    assert inside.sum() >= 30
    assert heights.max() - heights.min() > 30


def test_the_track_nearly_closes_and_runs_beside_the_lake():
    line = track().geometry.item()
    points = shapely.get_coordinates(line)
    gap = np.hypot(*(points[0] - points[-1]))
    assert 2 < gap < 0.1 * line.length
    with rasterio.open(SAMPLES / "lakes_50m.tif") as raster:
        lake = np.abs(raster.read(1) - 2732.6) < 0.06
        rows, columns = np.nonzero(lake)
        middles = [
            raster.xy(row, column) for row, column in zip(rows, columns, strict=True)
        ]
    assert shapely.MultiPoint(middles).distance(walked()) < 100
