"""Which stretches of a path keep a lane: those along which the land leads air together."""

from types import SimpleNamespace

import geopandas
import numpy as np
import pytest
import shapely
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.planting.troughs import IN_THE_BED, led_together

GRID = Grid(CRS.from_epsg(32633), 500_000.0, 5_130_000.0, 4.0, (50, 40))
EAST = 500_000.0 + 4.0 * (20 + 0.5)
NORTHINGS = 5_130_000.0 - 4.0 * (np.arange(50) + 0.5)


def path(rows=slice(None), catchment=1.2):
    """A path down one column of cells."""
    line = shapely.LineString([(EAST, north) for north in NORTHINGS[rows]])
    return geopandas.GeoDataFrame(
        {"catchment_ha": [catchment]}, geometry=[line], crs=GRID.crs
    )


def led(margin, paths):
    places = SimpleNamespace(
        layers={"path_margin": margin}, site=SimpleNamespace(grid=GRID)
    )
    return led_together(places, paths)


def test_a_path_in_its_bed_is_kept_whole():
    found = led(np.zeros(GRID.shape, np.float32), path())
    assert found.geometry[0].equals(path().geometry[0])
    assert found["catchment_ha"].tolist() == [1.2]


def test_a_line_down_an_even_slope_is_none():
    found = led(np.full(GRID.shape, np.inf, np.float32), path())
    assert found.empty
    assert list(found.columns) == ["catchment_ha", "geometry"]


@pytest.mark.parametrize("edge", [IN_THE_BED * 0.9, IN_THE_BED * 1.1])
def test_the_edge_of_the_bed_is_a_share_of_the_reach(edge):
    found = led(np.full(GRID.shape, edge, np.float32), path())
    assert len(found) == (1 if edge < IN_THE_BED else 0)


def test_a_path_is_kept_where_the_trough_begins_and_again_where_it_goes_on():
    margin = np.full(GRID.shape, np.inf, np.float32)
    margin[10:20] = 0
    margin[30:45] = 0
    found = led(margin, path())
    assert [round(line.length) for line in found.geometry] == [9 * 4, 14 * 4]
    assert found["catchment_ha"].tolist() == [1.2, 1.2]


def test_a_single_cell_is_no_stretch_and_ground_off_the_map_is_none():
    margin = np.full(GRID.shape, np.inf, np.float32)
    margin[25] = 0
    assert led(margin, path()).empty
    away = path()
    away.geometry = away.translate(1e5, 0)
    assert led(np.zeros(GRID.shape, np.float32), away).empty


def test_no_path_gives_no_stretch():
    assert led(np.zeros(GRID.shape, np.float32), path().iloc[:0]).empty
