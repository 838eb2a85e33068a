"""A site on coarser cells, for nights that are run many times."""

from dataclasses import replace
from math import ceil

import numpy as np

from sitekit.grid import Grid
from sitekit.layers.flow import average
from sitekit.layers.landform import coarser_by
from sitekit.site import Site

#: Least side of a cell of the ground and of the moving air. [m]
LEAST_CELL, LEAST_FLOW = 8.0, 12.0
#: Most cells of the ground.
MOST_CELLS = 25_000
#: Most cells times steps of one night; a night takes some 160 000 m a cell's side
#: steps, so this bounds the time whatever the size of the site.
MOST_WORK, STEPS = 6e7, 160_000.0


def make_coarser(site: Site) -> Site:
    """Put a site on cells so large that its nights are cheap.

    Parameters
    ----------
    site : Site
        The site.

    Returns
    -------
    coarser : Site
        The same ground on squares of whole cells: heights are means, a square with
        any field is field, one that is mostly water is water.
    """
    grid = site.grid
    by_count = grid.cell_size * np.sqrt(grid.shape[0] * grid.shape[1] / MOST_CELLS)
    factor = coarser_by(grid.cell_size, max(LEAST_CELL, float(by_count)))
    if factor == 1:
        return site
    rows, columns = (ceil(n / factor) for n in grid.shape)
    coarse = Grid(
        grid.crs, grid.west, grid.north, grid.cell_size * factor, (rows, columns)
    )

    def share(
        mask: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
    ) -> np.ndarray[tuple[int, ...], np.dtype[np.float32]]:
        return average(mask.astype(np.float32), factor)

    return replace(
        site,
        grid=coarse,
        elevation=average(site.elevation, factor),
        ground=average(site.ground, factor),
        field_mask=share(site.field_mask) > 0,
        water_mask=share(site.water_mask) > 0.5,
        canopy_height=average(site.canopy_height, factor),
        evergreen=share(site.evergreen) > 0.5,
    )


def flow_cell_of(site: Site) -> float:
    """Choose the side of a cell of the moving air.

    Parameters
    ----------
    site : Site
        The site on coarser cells.

    Returns
    -------
    side : float
        12 m, or more where the site is large. [m]
    """
    area = site.grid.cell_area * site.grid.shape[0] * site.grid.shape[1]
    return max(LEAST_FLOW, float(np.cbrt(STEPS * area / MOST_WORK)))
