"""Cold-air paths along which the shape of the land leads the air together."""

import numpy as np
import shapely
from geopandas import GeoDataFrame

from sitekit.siting.places import Places

#: Reaches of a path up to which a point of it lies in the bed of a trough.
IN_THE_BED = 0.3


def led_together(places: Places, paths: GeoDataFrame) -> GeoDataFrame:
    """Keep the stretches of paths along which the land leads the air together.

    On an even slope a line of steepest descent runs anywhere, and no lane helps.

    Parameters
    ----------
    places : Places
        Layers of the site, ``path_margin`` among them.
    paths : GeoDataFrame
        Cold-air paths.

    Returns
    -------
    stretches : GeoDataFrame
        Lines with ``catchment_ha``.
    """
    margin, grid = places.layers["path_margin"], places.site.grid
    lines, catchments = [], []
    for line, catchment in zip(paths.geometry, paths["catchment_ha"], strict=True):
        points = shapely.get_coordinates(line)
        led = grid.sample(margin, points[:, 0], points[:, 1]) < IN_THE_BED
        edges = np.flatnonzero(np.diff(np.r_[False, led, False]))
        for start, stop in edges.reshape(-1, 2):
            if stop - start >= 2:
                lines.append(shapely.LineString(points[start:stop]))
                catchments.append(catchment)
    return GeoDataFrame({"catchment_ha": catchments}, geometry=lines, crs=paths.crs)
