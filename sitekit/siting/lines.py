"""Cold-air paths and height lines."""

from itertools import pairwise
from typing import Annotated

import numpy as np
import shapely
from contourpy import contour_generator
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from sitekit.grid import Grid
from sitekit.kernels.accumulation import trace_channels
from sitekit.settings import Setting
from sitekit.site import Site
from sitekit.siting.shapes import cut_grid, window_of

#: Height lines aimed at over the ground that is drawn.
LINES_WANTED = 25
STEPS = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
#: Ground around the field for which height lines are drawn. [m]
DRAWN_AROUND = 500.0


def find_cold_air_paths(
    site: Site,
    flow_direction: NDArray[np.uint8],
    catchment_area: NDArray[np.float32],
    *,
    path_catchment: Annotated[
        float, Setting("ha", "Ground that a cold-air path must drain.", low=0.01)
    ] = 0.5,
) -> GeoDataFrame:
    """Draw the lines down which cold air runs together.

    Parameters
    ----------
    site : Site
        The site.
    flow_direction : (row, column) ndarray of uint8
        Direction of steepest descent on the filled ground.
    catchment_area : (row, column) ndarray
        Ground that drains through each cell. [m²]
    path_catchment : float
        Smallest catchment of a path. [ha]

    Returns
    -------
    paths : GeoDataFrame
        Lines, upstream to downstream, split where they join, off the water;
        ``catchment_ha`` at their lower end.
    """
    on_land = np.where(site.water_mask, np.float32(0), catchment_area)
    cells, starts = trace_channels(flow_direction, on_land, path_catchment * 10_000)
    rows, columns = np.divmod(cells, site.grid.shape[1])
    points = np.column_stack([site.grid.eastings[columns], site.grid.northings[rows]])
    sizes = on_land.ravel()[cells]
    lines, catchments = [], []
    for start, stop in pairwise(starts):
        if stop - start < 2:
            continue
        lines.append(shapely.LineString(points[start:stop]))
        # The last point belongs to the next path, below the place where they join.
        catchments.append(float(sizes[stop - 2]) / 10_000)
    return GeoDataFrame({"catchment_ha": catchments}, geometry=lines, crs=site.grid.crs)


def choose_step(elevation: NDArray[np.float32]) -> float:
    """Choose the height between two lines.

    Parameters
    ----------
    elevation : ndarray
        Heights of the ground that is drawn. [m]

    Returns
    -------
    step : float
        Height between lines. [m]
    """
    spread = float(np.nanmax(elevation) - np.nanmin(elevation))
    return next((s for s in STEPS if spread / s <= LINES_WANTED), STEPS[-1])


def draw_contours(site: Site) -> GeoDataFrame:
    """Draw height lines over the field and 500 m around it.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    contours : GeoDataFrame
        Lines with ``elevation_m``.
    """
    margin = int(DRAWN_AROUND / site.grid.cell_size)
    rows, columns = window_of(site.field_mask, margin)
    ground = site.ground[rows, columns]
    return contours_of(ground, cut_grid(site.grid, rows, columns), choose_step(ground))


def contours_of(
    elevation: NDArray[np.float32], grid: Grid, step: float
) -> GeoDataFrame:
    """Draw height lines of a surface.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Heights; missing cells interrupt the lines. [m]
    grid : Grid
        Their grid.
    step : float
        Height between lines. [m]

    Returns
    -------
    contours : GeoDataFrame
        Lines with ``elevation_m``.
    """
    generator = contour_generator(
        grid.eastings, grid.northings, np.ma.masked_invalid(elevation)
    )
    first = np.ceil(np.nanmin(elevation) / step) * step
    levels, lines = [], []
    for level in np.arange(first, float(np.nanmax(elevation)), step):
        for line in generator.lines(level):
            levels.append(float(level))
            lines.append(shapely.LineString(np.asarray(line)))
    return GeoDataFrame({"elevation_m": levels}, geometry=lines, crs=grid.crs)
