"""Ground for the benchmarks: the real sample made finer, with seeded roughness."""

from pathlib import Path

import geopandas
import numpy as np
import rasterio
import shapely
from affine import Affine
from numpy.typing import NDArray
from scipy.ndimage import zoom

from sitekit.io.inputs import SiteRequest
from sitekit.io.vectors import VectorSource

SAMPLE = Path(__file__).parents[2] / "sample_rasters" / "jacksboro_3arcsec.tif"
CELL = 4.0
WEST, NORTH = 500_000.0, 5_140_000.0


def make_ground(side: int) -> NDArray[np.float32]:
    """Make square ground of `side` cells: the sample by cubic spline, made rough.

    The roughness is a fractal of seeded noise, 0.15 m at one cell.
    """
    with rasterio.open(SAMPLE) as file:
        sample = file.read(1).astype(np.float64)
    ground = zoom(sample, side / sample.shape[0], order=3, mode="nearest")
    ground = ground[:side, :side]
    random = np.random.default_rng(1729)
    size, height = side, 0.15
    while size > 8:
        noise = random.normal(0, height, (size, size))
        ground += zoom(noise, side / size, order=1, mode="nearest")[:side, :side]
        size, height = size // 2, height * 1.6
    # A tenth of the real relief: the slopes of a cell are those of a holding.
    return (600 + (ground - ground.mean()) / 10).astype(np.float32)


def write_site(folder: Path, side: int, cell: float = CELL) -> SiteRequest:
    """Write elevation, field, lake and hedge, and say how they are to be read."""
    ground = make_ground(side)
    span = side * cell
    east, north = WEST + span / 2, NORTH - span / 2
    lake = shapely.Point(east, north - 300).buffer(90)
    rows, columns = np.indices(ground.shape)
    x, y = WEST + (columns + 0.5) * cell, NORTH - (rows + 0.5) * cell
    on_lake = shapely.contains_xy(lake, x, y)
    ground[on_lake] = ground[on_lake].min()
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "count": 1,
        "height": side,
        "width": side,
        "crs": "EPSG:32633",
        "transform": Affine(cell, 0, WEST, 0, -cell, NORTH),
    }
    with rasterio.open(folder / "elevation.tif", "w", **profile) as file:
        file.write(ground, 1)
    shapes = {
        "field": (shapely.box(east - 200, north - 150, east + 200, north + 150), {}),
        "water": (lake, {}),
        "barriers": (
            shapely.LineString([(east - 200, north - 155), (east + 200, north - 160)]),
            {"kind": "hedge", "height_m": 3.5, "openness": 0.3},
        ),
    }
    for name, (shape, columns_of) in shapes.items():
        frame = geopandas.GeoDataFrame(
            {k: [v] for k, v in columns_of.items()}, geometry=[shape], crs=32633
        )
        frame.to_file(folder / f"{name}.gpkg", layer=name)
    return SiteRequest(
        elevation=[folder / "elevation.tif"],
        field=VectorSource(folder / "field.gpkg"),
        vectors={n: VectorSource(folder / f"{n}.gpkg") for n in ("water", "barriers")},
        name="benchmark",
        surface="ground",
        # All of it: without a margin only the ground about the field is read.
        margin=span / 2,
    )
