"""A site on coarser cells."""

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit.doubt.coarse import (
    LEAST_CELL,
    LEAST_FLOW,
    MOST_CELLS,
    MOST_WORK,
    STEPS,
    flow_cell_of,
    make_coarser,
)
from sitekit.grid import Grid
from sitekit.io.schemas import SCHEMAS, empty_frame
from sitekit.site import VECTORS, ElevationModel, Site

UTM = CRS.from_epsg(32633)


def holding(rows=60, columns=90, cell=2.0):
    grid = Grid(UTM, 500_000.0, 5_130_000.0, cell, (rows, columns))
    heights = np.add.outer(
        0.05 * (grid.northings - 5_130_000), 0.02 * (grid.eastings - 500_000)
    ).astype(np.float32)
    field = np.zeros(grid.shape, bool)
    field[10, 10] = True
    water = np.zeros(grid.shape, bool)
    water[:, :45] = True
    return Site(
        name="made ground",
        grid=grid,
        elevation=heights,
        ground=heights + 1,
        model=ElevationModel(("made.tif",), cell, "ground", 0.05),
        field=GeoDataFrame(
            {"name": [""]}, geometry=[shapely.box(*grid.bounds)], crs=UTM
        ),
        field_mask=field,
        water_mask=water,
        canopy_height=np.zeros(grid.shape, np.float32),
        evergreen=~water,
        vectors={name: empty_frame(SCHEMAS[name], grid.crs) for name in VECTORS},
    )


def test_cells_become_8_m_and_the_corner_stays():
    site = holding()
    coarse = make_coarser(site)
    assert coarse.grid.cell_size == LEAST_CELL
    assert (coarse.grid.west, coarse.grid.north) == (site.grid.west, site.grid.north)
    assert coarse.grid.shape == (15, 23)


def test_a_site_that_is_coarse_already_stays_as_it_is():
    site = holding(cell=10.0)
    assert make_coarser(site) is site


def test_heights_are_means_of_squares():
    site = holding()
    coarse = make_coarser(site)
    assert coarse.elevation[0, 0] == pytest.approx(site.elevation[:4, :4].mean())
    assert coarse.ground[2, 1] == pytest.approx(site.ground[8:12, 4:8].mean())


def test_a_square_with_any_field_is_field():
    coarse = make_coarser(holding())
    assert np.argwhere(coarse.field_mask).tolist() == [[2, 2]]


def test_a_square_that_is_mostly_water_is_water():
    coarse = make_coarser(holding())
    assert coarse.water_mask[:, :11].all()
    assert not coarse.water_mask[:, 12:].any()


def test_the_rest_of_the_site_goes_along():
    site = holding()
    coarse = make_coarser(site)
    assert coarse.vectors is site.vectors
    assert coarse.model == site.model
    assert coarse.evergreen[0, -1]


@pytest.mark.parametrize("side", [300, 1000, 2500])
def test_a_large_site_has_no_more_cells_than_are_cheap(side):
    coarse = make_coarser(holding(side, side, 4.0))
    rows, columns = coarse.grid.shape
    assert rows * columns <= MOST_CELLS * 1.05
    assert coarse.grid.cell_size % 4.0 == 0


@pytest.mark.parametrize("side", [60, 300, 1200])
def test_a_night_takes_no_more_work_than_is_cheap(side):
    site = holding(side, side, 8.0)
    cell = flow_cell_of(site)
    assert cell >= LEAST_FLOW
    area = (8.0 * side) ** 2
    assert area / cell**2 * STEPS / cell <= MOST_WORK * 1.001


def test_the_air_of_a_small_site_moves_on_12_m():
    assert flow_cell_of(holding()) == LEAST_FLOW
