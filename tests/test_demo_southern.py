"""The southern holding turns round every month and every slope."""

import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import richdem
from numpy.typing import NDArray
from pyproj import Proj, Transformer
from rasterio.features import geometry_mask

from sitekit.config import SiteModel
from sitekit.demo import write_southern_holding
from sitekit.demo.southern import CELL, HOLLOW, SIZE, make_southern_terrain
from sitekit.kernels.terrain import aspect


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_southern_holding(tmp_path_factory.mktemp("tilo")).parent


def facing(folder: Path, plot: str, bearings: NDArray[np.floating]) -> float:
    """Mean grid bearing of a plot, as a vector. [degree]"""
    field = gpd.read_file(folder / "holding.gpkg", layer="field")
    shape = field[field["name"] == plot].geometry
    with rasterio.open(folder / "elevation.tif") as raster:
        inside = geometry_mask(shape, raster.shape, raster.transform, invert=True)
    angles = np.radians(bearings[inside])
    angles = angles[np.isfinite(angles)]
    return float(
        np.degrees(np.arctan2(np.sin(angles).mean(), np.cos(angles).mean())) % 360
    )


def test_it_lies_at_45_4_south_in_a_southern_zone(folder: Path):
    with rasterio.open(folder / "elevation.tif") as raster:
        assert raster.crs.to_epsg() == 32719
        assert raster.res == (5.0, 5.0)
        middle = raster.transform @ (SIZE / 2, SIZE / 2)
    longitude, latitude = Transformer.from_crs(32719, 4326, always_xy=True).transform(
        *middle
    )
    assert latitude == pytest.approx(-45.4, abs=0.05)
    assert -72 < longitude < -66


def test_grid_north_is_visibly_not_true_north_there():
    factors = Proj(32719).get_factors(-71.70, -45.41)
    assert abs(factors.meridian_convergence) > 1.5
    assert factors.meridional_scale == pytest.approx(1, abs=0.005)


def test_the_sunny_plot_faces_north_and_the_other_south(folder: Path):
    # Source: Horn 1981, Proc. IEEE 69, as richdem computes it, is the reference.
    elevation = richdem.rdarray(make_southern_terrain(), no_data=-9999)
    elevation.geotransform = (0, CELL, 0, 0, 0, -CELL)
    reference = np.asarray(richdem.TerrainAttribute(elevation, attrib="aspect"))
    north = facing(folder, "Ladera del Sol", reference)
    assert min(north, 360 - north) < 5
    assert facing(folder, "Ladera de Sombra", reference) == pytest.approx(180, abs=5)


def test_our_own_aspect_agrees(folder: Path):
    own = aspect(make_southern_terrain().astype(np.float32), CELL)
    north = facing(folder, "Ladera del Sol", own)
    assert min(north, 360 - north) < 5


def test_a_hollow_lies_on_the_bench_of_the_sunny_side():
    elevation = make_southern_terrain()
    raster = richdem.rdarray(elevation.copy(), no_data=-9999)
    depth = np.asarray(richdem.FillDepressions(raster, in_place=False)) - elevation
    row, column = np.unravel_index(depth.argmax(), depth.shape)
    east, north = (column + 0.5) * CELL, (SIZE - row - 0.5) * CELL
    assert 1 < depth.max() < 4
    assert np.hypot(east - HOLLOW[0], north - HOLLOW[1]) < 30


def test_the_lake_never_freezes_and_goes_on_past_the_elevation(folder: Path):
    water = gpd.read_file(folder / "holding.gpkg", layer="water")
    assert "ice_in" not in water.columns
    with rasterio.open(folder / "elevation.tif") as raster:
        inside = geometry_mask(
            water.geometry, raster.shape, raster.transform, invert=True
        )
        assert np.all(raster.read(1)[inside] == 210.0)
        assert water.total_bounds[2] > raster.bounds.right


def test_its_summer_is_in_january_and_bloom_in_late_october(folder: Path):
    days = pd.read_csv(folder / "station_daily.csv", parse_dates=["date"])
    middle = (days["tmin"] + days["tmax"]) / 2
    monthly = middle.groupby(days["date"].dt.month).mean()
    assert monthly.idxmax() in {1, 2}
    assert monthly.idxmin() == 7
    spring = days[days["date"].dt.month.isin([9, 10, 11, 12])]
    late = spring[spring["tmin"] <= 0]["date"].dt.strftime("%m-%d").max()
    assert "11-01" < late < "11-20"


def test_its_site_file_is_understood_and_says_invented(folder: Path):
    text = (folder / "site.toml").read_text(encoding="utf-8")
    model = SiteModel.model_validate(tomllib.loads(text))
    assert model.site.name == "Bahía del Tilo"
    assert "invented" in text.splitlines()[0]
    assert "invented" in (folder / "README.txt").read_text(encoding="utf-8")


def test_no_text_says_that_south_is_warm(folder: Path):
    for name in ("site.toml", "README.txt"):
        text = (folder / name).read_text(encoding="utf-8").casefold()
        assert "south-facing" not in text
        assert "warm" not in text


def test_two_calls_write_the_same_record(folder: Path, tmp_path: Path):
    again = write_southern_holding(tmp_path / "b").parent
    for name in ("station_daily.csv", "elevation.tif", "site.toml"):
        assert (again / name).read_bytes() == (folder / name).read_bytes()
