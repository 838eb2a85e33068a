"""A second invented holding, south of the equator: Bahía del Tilo.

There the sunny slope faces north, bloom falls in October and frost ends in
November. It exists to catch whatever takes the north for granted.
"""

from pathlib import Path

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from pyproj import Transformer
from shapely.affinity import translate

from sitekit.demo.climate import Climate
from sitekit.demo.holding import write_elevation, write_layers
from sitekit.demo.records import write_station

CRS = "EPSG:32719"
CELL, SIZE = 5.0, 180
#: Lower-left corner. [m]
WEST, SOUTH = 288_000.0, 4_968_000.0
LAKE_LEVEL = 210.0
#: The lake lies between these lines, in metres north of the corner.
SHORES = (400.0, 500.0)
#: Distance from the shore and height above the lake on both sides: a bench half-way.
_DISTANCES = [0, 30, 150, 230, 420]
_RISES = [0, 2, 17, 19, 42]
#: A hollow on the bench of the north-facing side: place, depth and reach. [m]
HOLLOW, HOLLOW_DEPTH, HOLLOW_REACH = (250.0, 210.0), 4.0, 34.0

PLOTS = {
    "Ladera del Sol": (380.0, 190.0, 640.0, 360.0),
    "Ladera de Sombra": (380.0, 540.0, 640.0, 640.0),
}
STATION = (700.0, 205.0)
STATION_HEIGHT = 228.0

WEATHER = Climate(
    seed=27,
    mean=9.8,
    swing=6.0,
    coldest=190,
    spread=2.4,
    span=(4.0, 16.0),
    wind=2.6,
)

README = """\
Bahía del Tilo

This land and all names are invented. The ground is a formula and the weather is
drawn by a seeded generator; nothing was measured. The coordinates only serve to
open a map.

sitekit survey site.toml
"""

SITE = """\
# Bahía del Tilo. The land and all names in this folder are invented.

[site]
name = "Bahía del Tilo"
elevation = "elevation.tif"
surface = "ground"
field = "holding.gpkg"
water = "holding.gpkg"

[records]
file = "station_daily.csv"
station = [{longitude:.6f}, {latitude:.6f}, {height:.0f}]

[fruit]
kinds = ["apple", "sour_cherry", "pear"]

[need]
people = 9
kg_a_head = 55

[limits]
money = [3000, 2000, 2000]  # a year
mulch_m3 = 40  # wood chips, a year
snow_m = 0.1

[prices]
fence_m = 9  # red deer
guard = 30
"""


def make_southern_terrain() -> NDArray[np.float64]:
    """Make the height of the ground of Bahía del Tilo.

    Returns
    -------
    elevation : (180, 180) ndarray of float64
        A lake along the middle, a slope that faces south above it, one that
        faces north below it on the map; row 0 is the northernmost. [m]
    """
    east = (np.arange(SIZE) + 0.5) * CELL
    x, y = np.meshgrid(east, east[::-1])
    away = np.maximum(SHORES[0] - y, y - SHORES[1])
    apart = np.hypot(x - HOLLOW[0], y - HOLLOW[1]) / HOLLOW_REACH
    height: NDArray[np.float64] = LAKE_LEVEL + np.interp(away, _DISTANCES, _RISES)
    height -= HOLLOW_DEPTH * np.exp(-(apart**2))
    return height


def write_southern_holding(folder: Path) -> Path:
    """Write the invented holding Bahía del Tilo.

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
    elevation = make_southern_terrain()
    write_elevation(folder / "elevation.tif", elevation, CRS, CELL, (WEST, SOUTH))
    write_layers(folder / "holding.gpkg", {"field": _field(), "water": _water()})
    write_station(folder / "station_daily.csv", WEATHER)
    (folder / "README.txt").write_text(README, encoding="utf-8")
    site = folder / "site.toml"
    to_degrees = Transformer.from_crs(CRS, 4326, always_xy=True)
    longitude, latitude = to_degrees.transform(WEST + STATION[0], SOUTH + STATION[1])
    text = SITE.format(longitude=longitude, latitude=latitude, height=STATION_HEIGHT)
    site.write_text(text, encoding="utf-8")
    return site


def _field() -> GeoDataFrame:
    """Make the two plots, one on each side of the lake."""
    boxes = [translate(shapely.box(*box), WEST, SOUTH) for box in PLOTS.values()]
    return GeoDataFrame({"name": list(PLOTS)}, geometry=boxes, crs=CRS)


def _water() -> GeoDataFrame:
    """Make the lake, which goes on past both ends of the elevation; never frozen."""
    lake = translate(shapely.box(-900, SHORES[0], 1900, SHORES[1]), WEST, SOUTH)
    known = {"name": ["Lago del Tilo"], "depth_m": [40.0]}
    return GeoDataFrame(known, geometry=[lake], crs=CRS)
