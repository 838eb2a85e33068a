"""The invented holding Averlow Shelf, written like a user's own folder."""

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from pyproj import Transformer

from sitekit.demo import evidence, places
from sitekit.demo.readings import write_readings
from sitekit.demo.records import write_bloom, write_station
from sitekit.demo.terrain import CELL, SOUTH, WEST, make_terrain

NODATA = -9999.0

#: Layers of ``holding.gpkg``, named as the keys of the site file.
LAYERS: Mapping[str, Callable[[], GeoDataFrame]] = {
    "field": places.field,
    "water": places.water,
    "barriers": places.barriers,
    "woodland": places.woodland,
    "cover": places.cover,
    "no_go": places.no_go,
    "neighbours": places.neighbours,
    "buildings": places.buildings,
    "access": places.access,
    "services": places.services,
    "existing_trees": evidence.existing_trees,
    "mulched": places.mulched,
    "control_marks": places.control_marks,
    "ground_tests": evidence.ground_tests,
    "notes": evidence.notes,
}

README = """\
Averlow Shelf

This land, its people and all names are invented. The ground is a formula, the
weather and the readings are drawn by a seeded generator; nothing was measured.
The coordinates only serve to open a map: no such holding lies there.

elevation.tif        bare ground, 4 m, metres
holding.gpkg         field, water, barriers and all else that stands on it
station_daily.csv    thirty years of minimum and maximum temperature
bloom.csv            when known trees were in blossom
readings/            eight loggers, one spring: loggers.csv says where they stood
proposals.gpkg       four changes to try
site.toml            ties the files together

sitekit survey site.toml
sitekit compare site.toml proposals.gpkg
sitekit revise site.toml readings
"""

SITE = """\
# Averlow Shelf. The land, the people and all names in this folder are invented.

[site]
name = "Averlow Shelf"
elevation = "elevation.tif"
surface = "ground"
{layers}

[records]
file = "station_daily.csv"
station = [{longitude:.6f}, {latitude:.6f}, {height:.0f}]
bloom = "bloom.csv"

[fruit]
kinds = ["pear", "plum", "apple"]

[need]  # kilograms a year, from year nine
pear = 900
plum = 700
apple = 1000

[limits]
by_year = 9  # when the need is to be met
money = [2400, 2400, 1800, 1200]  # a year
mulch_m3 = 18  # wool and straw, a year
mulch_depth_m = 0.15
mulch_left_m = 0.03  # after the months that follow
mulch_months = 18
work_days = 26  # a year
grass_creep_m = 0.3  # a year
keep_mulched_m2 = 40  # of the trial strip; the rest has done its work
"""


def write_holding(folder: Path) -> Path:
    """Write the invented holding Averlow Shelf.

    Parameters
    ----------
    folder : Path
        Where to; made if it is missing. Files of the same names are replaced.

    Returns
    -------
    site : Path
        The site file, ready for ``sitekit survey``.
    """
    folder.mkdir(parents=True, exist_ok=True)
    write_elevation(folder / "elevation.tif", make_terrain(), places.CRS, CELL)
    layers = {name: make() for name, make in LAYERS.items()}
    write_layers(folder / "holding.gpkg", layers)
    write_layers(folder / "proposals.gpkg", {"proposals": evidence.proposals()})
    write_station(folder / "station_daily.csv")
    write_bloom(folder / "bloom.csv")
    write_readings(folder / "readings")
    (folder / "README.txt").write_text(README, encoding="utf-8")
    site = folder / "site.toml"
    site.write_text(_site_text(), encoding="utf-8")
    return site


def write_elevation(
    path: Path,
    elevation: NDArray[np.float64],
    crs: str,
    cell: float,
    corner: tuple[float, float] = (WEST, SOUTH),
) -> None:
    """Write heights as a Float32 GeoTIFF with nodata -9999.

    Parameters
    ----------
    path : Path
        File to write.
    elevation : (row, column) ndarray
        Height of the ground; row 0 is the northernmost. [m]
    crs : str
        Coordinate system.
    cell : float
        Side of a cell. [m]
    corner : tuple of float
        Easting and northing of the lower-left corner. [m]
    """
    rows, columns = elevation.shape
    west, south = corner
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=columns,
        height=rows,
        count=1,
        dtype="float32",
        crs=crs,
        nodata=NODATA,
        transform=Affine(cell, 0, west, 0, -cell, south + rows * cell),
        compress="deflate",
        predictor=3,
    ) as raster:
        raster.write(elevation.astype(np.float32), 1)
        raster.set_band_description(1, "height of the ground, invented land")
        raster.units = ("m",)


def write_layers(path: Path, layers: Mapping[str, GeoDataFrame]) -> None:
    """Write layers into one new GeoPackage, in their order.

    Parameters
    ----------
    path : Path
        File to write; replaced if it is there.
    layers : mapping of str to GeoDataFrame
        Each layer under its name.
    """
    path.unlink(missing_ok=True)
    for name, layer in layers.items():
        layer.to_file(path, layer=name, driver="GPKG", engine="pyogrio")


def _site_text() -> str:
    """Fill in the site file."""
    to_degrees = Transformer.from_crs(places.CRS, 4326, always_xy=True)
    east, north = places.STATION
    longitude, latitude = to_degrees.transform(WEST + east, SOUTH + north)
    return SITE.format(
        layers="\n".join(f'{name} = "holding.gpkg"' for name in LAYERS),
        longitude=longitude,
        latitude=latitude,
        height=places.STATION_HEIGHT,
    )
