"""Marks of a block's own: near it, on ground that a peg may stand in, and true."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from shapely.geometry import LineString, Point, box

from sitekit.planting.block_marks import make_block_marks, tape_blocks
from sitekit.planting.lanes import find_setbacks
from sitekit.planting.plants import number_plants
from sitekit.planting.rows import lay_rows
from sitekit.planting.setting_out import make_setting_out
from sitekit.results import Baseline


@pytest.fixture
def site(small_survey):
    return small_survey.site


@pytest.fixture
def baseline(site):
    west, south, *_ = site.grid.bounds
    ends = ((west + 20.0, south + 20.0), (west + 80.0, south + 20.0))
    return Baseline(("nail", "bolt"), ends, (0.0, 0.0), 0.02, surveyed=True)


def planted(site, x, y, name="1"):
    """Sixty by forty metres of pears, from a place counted from the south-west."""
    west, south, *_ = site.grid.bounds
    ground = box(west + x, south + y, west + x + 60, south + y + 40)
    layout = lay_rows(ground, spacing=5, row_spacing=5, bearing=20)
    return number_plants({name: layout}, {name: "pear"}, {name: ""}, site.grid.crs)


def marks_of(site, baseline, plants, **settings):
    return make_block_marks(site, baseline, plants, find_setbacks(site), **settings)


def test_a_block_within_reach_of_the_tapes_needs_no_marks(site, baseline):
    near = planted(site, 20, 25)
    assert marks_of(site, baseline, near).empty
    assert tape_blocks(near, marks_of(site, baseline, near)).empty


def test_a_block_beyond_it_gets_two_and_every_plant_is_within_reach(site, baseline):
    far = planted(site, 300, 300)
    marks = marks_of(site, baseline, far)
    assert marks["id"].tolist() == ["1-M1", "1-M2"]
    tapes = tape_blocks(far, marks)
    assert tapes["id"].tolist() == far["id"].tolist()
    assert tapes[["from_1_m", "from_2_m"]].to_numpy().max() <= 100
    assert marks.geometry.iloc[0].distance(marks.geometry.iloc[1]) >= 10
    assert not marks.intersects(shapely.union_all(list(far.geometry)).convex_hull).any()


def test_tapes_from_the_marks_meet_at_every_plant(site, baseline):
    far = planted(site, 300, 300)
    marks = marks_of(site, baseline, far)
    listed = make_setting_out(
        site,
        baseline,
        far,
        GeoDataFrame({"id": [], "kind": []}, geometry=[], crs=site.grid.crs),
        GeoDataFrame({"id": []}, geometry=[], crs=site.grid.crs),
        [("control mark", marks)],
    ).set_index("id")
    places = ["easting_m", "northing_m"]
    for row in tape_blocks(far, marks).itertuples():
        one, other = listed.loc[[row.mark_1, row.mark_2], places].to_numpy(float)
        length = np.hypot(*(other - one))
        along = (row.from_1_m**2 - row.from_2_m**2 + length**2) / (2 * length)
        off = np.sqrt(max(row.from_1_m**2 - along**2, 0))
        off *= {"left": 1, "right": -1, "line": 0}[row.side]
        way = (other - one) / length
        found = one + along * way + off * np.array([-way[1], way[0]])
        assert found == pytest.approx(
            listed.loc[row.id, places].to_numpy(float), abs=0.05
        )
    assert (listed.loc[marks["id"], "what"] == "control mark").all()
    assert (listed.loc[marks["id"], "tolerance_m"] == 0.25).all()


def test_no_mark_is_driven_in_beside_a_pipe_or_into_water(site, baseline):
    far = planted(site, 300, 300)
    before = marks_of(site, baseline, far)
    pipe = LineString([point.coords[0] for point in before.geometry])
    services = GeoDataFrame(
        {"name": ["main"], "kind": ["water"], "certainty": ["± 2 m"]},
        geometry=[pipe],
        crs=site.grid.crs,
    )
    dug = replace(site, vectors={**site.vectors, "services": services})
    after = marks_of(dug, baseline, far)
    assert len(after) == 2
    assert (before.distance(pipe) < 0.01).all()
    assert (after.distance(pipe) >= 5.0).all()


def test_a_shorter_tape_gives_more_blocks_their_own_marks(site, baseline):
    near = planted(site, 20, 25)
    assert len(marks_of(site, baseline, near, longest_tape=30.0)) == 2


def test_where_no_mark_can_stand_there_is_none(site, baseline):
    far = planted(site, 300, 300)
    whole = GeoDataFrame(
        {"kind": ["no-go"]},
        geometry=[Point(far.geometry.iloc[0]).buffer(500)],
        crs=site.grid.crs,
    )
    assert make_block_marks(site, baseline, far, whole).empty
