"""From ground to the list that a stranger sets out by, in both hemispheres."""

from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS
from scipy.spatial import cKDTree
from shapely.geometry import Point, box

from sitekit.errors import InputError
from sitekit.io.exchange import write_gpx
from sitekit.planting.fence import plan_fence
from sitekit.planting.lanes import find_headlands
from sitekit.planting.plants import (
    check_inside,
    find_partners,
    list_rows,
    number_plants,
)
from sitekit.planting.rows import lay_rows, thin_out

NORTH = (32633, 500_000.0, 5_130_000.0)
SOUTH = (32719, 288_000.0, 4_968_000.0)
SPACING, ROW_SPACING = 4.0, 5.0


def grounds(east, north):
    """Twenty blocks side by side, in two ranks, without a gap between them."""
    return {
        str(number): box(
            east + 50 * (number % 10),
            north + 40 * (number // 10),
            east + 50 * (number % 10) + 50,
            north + 40 * (number // 10) + 40,
        )
        for number in range(20)
    }


def planted(zone, east, north):
    blocks = grounds(east, north)
    layouts = thin_out(
        [
            lay_rows(
                ground,
                spacing=SPACING,
                row_spacing=ROW_SPACING,
                bearing=17.0 * number % 180,
                pattern="offset" if number % 3 else "grid",
            )
            for number, ground in enumerate(blocks.values())
        ]
    )
    laid = dict(zip(blocks, layouts, strict=True))
    fruit = {block: "apple" if int(block) % 2 else "pear" for block in laid}
    group = dict.fromkeys(laid, ("early", "late"))
    crs = CRS.from_epsg(zone)
    return (
        blocks,
        list_rows(laid, fruit, group, crs),
        number_plants(laid, fruit, group, crs),
    )


@pytest.fixture(scope="module", params=[NORTH, SOUTH], ids=["north", "south"])
def orchard(request):
    return request.param, *planted(*request.param)


def test_blocks_of_any_bearing_keep_the_spacing_across_their_borders(orchard):
    _, _, _, plants = orchard
    places = shapely.get_coordinates(plants.geometry.to_numpy())
    assert len(places) > 1500
    assert cKDTree(places).query(places, 2)[0][:, 1].min() >= SPACING - 0.001


def test_every_plant_is_in_its_block_and_has_its_own_id(orchard):
    _, blocks, _, plants = orchard
    assert plants["id"].is_unique
    for block, part in plants.groupby("block"):
        assert part.within(blocks[block].buffer(1e-6)).all()
    check_inside(plants, shapely.union_all(list(blocks.values())).buffer(1e-6))


def test_rows_hold_all_plants_on_their_lines(orchard):
    _, _, rows, plants = orchard
    assert rows["plants"].sum() == len(plants)
    lines = rows.set_index(["block", "row"]).geometry
    for (block, row), part in plants.groupby(["block", "row"]):
        assert part.distance(lines.loc[(block, row)]).max() < 1e-6


def test_each_plant_has_a_partner_in_the_next_row(orchard):
    _, _, _, plants = orchard
    bloom = np.tile([120.0, 132.0], (len(plants), 1))
    found = find_partners(plants, bloom)
    assert not found["lonely"].any()
    by_id = found.set_index("id")
    chosen = by_id.loc[found["partner"]]
    assert (chosen["fruit"].to_numpy() == found["fruit"].to_numpy()).all()
    assert (chosen["group"].to_numpy() != found["group"].to_numpy()).all()


def test_one_fence_holds_all_blocks_that_touch(orchard):
    (zone, *_), blocks, _, plants = orchard
    gates = GeoDataFrame({"name": []}, geometry=[], crs=zone)
    fence = plan_fence(blocks, gates, CRS.from_epsg(zone))
    line = fence[fence["kind"] == "fence line"].geometry
    assert len(line) == 1
    assert line.iloc[0].length == pytest.approx(2 * (506 + 86))
    assert plants.distance(line.iloc[0]).min() >= 3 - 1e-6


def test_a_receiver_shows_the_points_in_their_hemisphere(orchard, tmp_path):
    (zone, *_), _, _, plants = orchard
    table = plants[["id"]].assign(
        what="tree", easting_m=plants.geometry.x, northing_m=plants.geometry.y
    )
    table["level_m"] = np.nan
    write_gpx(tmp_path / "a.gpx", table, CRS.from_epsg(zone), "Plan")
    points = list(ET.fromstring((tmp_path / "a.gpx").read_bytes()))[1:]
    assert len(points) == len(plants)
    sign = 1 if zone == NORTH[0] else -1
    assert all(sign * float(point.get("lat")) > 0 for point in points)


def test_an_edit_of_the_boundary_is_noticed(orchard):
    _, blocks, _, plants = orchard
    less = shapely.union_all(list(blocks.values())[:-1])
    with pytest.raises(InputError, match="beyond the field"):
        check_inside(plants, less)


def test_a_tree_in_the_middle_costs_its_circle_and_no_row():
    ground = box(0, 0, 60, 60)
    root = Point(30, 30).buffer(5)
    whole = lay_rows(ground, spacing=4, row_spacing=5)
    holed = lay_rows(ground.difference(root), spacing=4, row_spacing=5)
    assert len(holed.lines) == len(whole.lines)
    assert 0 < len(whole.positions) - len(holed.positions) < 9


def test_wider_headlands_leave_fewer_plants():
    ground = box(0, 0, 60, 60)
    counts = [
        len(lay_rows(ground, spacing=4, row_spacing=5, headland=depth).positions)
        for depth in (0, 4, 8, 12)
    ]
    assert counts == sorted(counts, reverse=True)
    assert len(set(counts)) == 4
    assert find_headlands(ground, 0, 12).area == pytest.approx(2 * 12 * 60)
