"""Fields an hour over the sample ground, with one and two workers."""

import tempfile
from pathlib import Path
from time import perf_counter

import geopandas
import numpy as np
import rasterio
import shapely
from telling import say

from sitekit.region import RegionRequest, survey_region

GROUND = Path(__file__).parents[2] / "sample_rasters" / "jacksboro_3arcsec.tif"
FIELDS = 64
#: Terrain only: no cold air is made.
STILL = {"production": 0.0}


def make_fields(count):
    """Draw fields of 7.5 ha at random places of the sample."""
    with rasterio.open(GROUND) as ground:
        whole = geopandas.GeoSeries([shapely.box(*ground.bounds)], crs=ground.crs)
    zone = whole.estimate_utm_crs()
    west, south, east, north = whole.to_crs(zone).total_bounds
    random = np.random.default_rng(1)
    places = random.uniform(
        (west + 1500, south + 1500), (east - 1800, north - 1750), (count, 2)
    )
    shapes = [shapely.box(x, y, x + 300, y + 250) for x, y in places]
    names = [str(i) for i in range(count)]
    return geopandas.GeoDataFrame({"field": names}, geometry=shapes, crs=zone)


def seconds(workers, settings):
    """Time a region, from the moment that the workers are up."""
    request = RegionRequest(
        make_fields(FIELDS), (GROUND,), ("apple",), workers=workers, settings=settings
    )
    times = []
    with tempfile.TemporaryDirectory() as kept:
        survey_region(
            request,
            Path(kept),
            on_done=lambda done, _: times.append((done, perf_counter())),
        )
    # The first batches load what is compiled; they do not count.
    first = next(i for i, (done, _) in enumerate(times) if done >= 16 * workers)
    done, start = times[first]
    return (times[-1][1] - start) / (FIELDS - done)


def run():
    """Print fields an hour and the gain of the second worker."""
    for name, settings in (("terrain only", STILL), ("moving air", {})):
        one, two = seconds(1, settings), seconds(2, settings)
        say(
            f"{name}: {3600 / one:,.0f} fields an hour with one worker, "
            f"{3600 / two:,.0f} with two, {one / two:.2f} times"
        )


if __name__ == "__main__":
    run()
