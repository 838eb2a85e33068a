"""The files of the demo, read as a survey reads them, hold the planted pools."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from scipy.ndimage import label

from sitekit.demo import write_holding
from sitekit.demo.evidence import proposals
from sitekit.demo.terrain import CELL, SOUTH, WEST
from sitekit.demo.truth import (
    HEDGE_AREA,
    HEDGE_DEPTH,
    MEADOW_CLEARED,
    MEADOW_SHUT,
    Pool,
)
from sitekit.io.inputs import SiteRequest, read_request
from sitekit.io.vectors import VectorSource
from sitekit.layers.cold_air import pooling_depth
from sitekit.layers.inputs import draw_barriers
from sitekit.site import VECTORS, Site

SHALLOW = 0.05


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    folder = write_holding(tmp_path_factory.mktemp("averlow")).parent
    package = folder / "holding.gpkg"
    return read_request(
        SiteRequest(
            elevation=[Path(folder / "elevation.tif")],
            field=VectorSource(package, "field"),
            vectors={name: VectorSource(package, name) for name in VECTORS},
        )
    )


def change(name: str) -> GeoDataFrame:
    return proposals().set_index("name").loc[name]


def pools(site: Site, barriers: GeoDataFrame) -> NDArray[np.float32]:
    blocking = barriers["height_m"] * (1 - barriers["openness"])
    drawn = draw_barriers(barriers, blocking.to_numpy(dtype=float), site.grid)
    return pooling_depth(site.elevation, drawn)


def with_gap(site: Site, name: str) -> GeoDataFrame:
    """The barriers with a proposed gap cut out of the hedge."""
    planned = change(name)
    reach = planned["width_m"] / 2
    east, north = planned["geometry"].x, planned["geometry"].y
    hole = shapely.box(east - reach, north - 2, east + reach, north + 2)
    barriers = site.vectors["barriers"].copy()
    hedge = barriers["kind"] == "hedge"
    barriers.loc[hedge, "geometry"] = barriers[hedge].difference(hole)
    return barriers


def local(site: Site) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return site.grid.eastings[None, :] - WEST, site.grid.northings[:, None] - SOUTH


def hedge_pool(site: Site, depth: NDArray[np.float32]) -> NDArray[np.bool_]:
    parts, _ = label(depth > SHALLOW, np.ones((3, 3)))
    row, column = site.grid.cells(WEST + 130, SOUTH + 308)
    return (parts == parts[row, column]) & (depth > SHALLOW)


def judge_meadow(site: Site, depth: NDArray[np.float32], pool: Pool) -> None:
    east, north = local(site)
    meadow = np.where((east < 1096) & (north < 260), depth, 0)
    land = (meadow > SHALLOW) & ~site.water_mask & (north > 120)
    assert meadow.max() == pytest.approx(pool.depth, rel=0.1)
    assert land.sum() * CELL**2 == pytest.approx(pool.land, rel=0.1)


def test_the_files_give_the_whole_grid_untouched(site: Site):
    assert site.grid.shape == (225, 300)
    assert site.grid.bounds == (500_000, 5_130_000, 501_200, 5_130_900)
    assert site.reference is not None
    assert site.reference.name == "the house"


def test_the_meadow_pool_is_shut_by_the_spruce_as_planted(site: Site):
    judge_meadow(site, pools(site, site.vectors["barriers"]), MEADOW_SHUT)


def test_clearing_the_neck_lowers_the_pool_as_planted(site: Site):
    spruce = site.vectors["barriers"].geometry.geom_equals(
        change("Neck clearing")["geometry"]
    )
    assert spruce.sum() == 1
    judge_meadow(site, pools(site, site.vectors["barriers"][~spruce]), MEADOW_CLEARED)


def test_the_hedge_pool_is_as_planted(site: Site):
    depth = pools(site, site.vectors["barriers"])
    pool = hedge_pool(site, depth)
    assert depth[pool].max() == pytest.approx(HEDGE_DEPTH, rel=0.1)
    assert pool.sum() * CELL**2 == pytest.approx(HEDGE_AREA, rel=0.1)


def test_gap_b_leaves_the_hedge_pool_as_it_is(site: Site):
    before = hedge_pool(site, pools(site, site.vectors["barriers"]))
    after = hedge_pool(site, pools(site, with_gap(site, "gap B")))
    assert after.sum() == before.sum()


def test_gap_a_empties_the_hedge_pool(site: Site):
    east, north = local(site)
    foot = (north > 304) & (north < 330) & (east > 126) & (east < 400)
    depth = pools(site, with_gap(site, "gap A"))
    assert depth[foot].max() < 0.3


def test_the_shelf_holds_no_pool(site: Site):
    east, north = local(site)
    shelf = (north > 484) & (north < 546) & (east > 396) & (east < 762)
    assert pools(site, site.vectors["barriers"])[shelf].max() < 0.3
