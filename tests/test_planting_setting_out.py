"""Setting-out: baseline, tape lengths, triangles, diagonals, scale of the grid."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer
from shapely.geometry import LineString, Point, box

from sitekit.errors import InputError
from sitekit.planting.baseline import (
    choose_baseline,
    crossing_angles,
    sample_heights,
)
from sitekit.planting.fence import plan_fence
from sitekit.planting.plants import number_plants
from sitekit.planting.rows import lay_rows
from sitekit.planting.setting_out import (
    COLUMNS,
    TOLERANCES,
    check_triangles,
    describe_scale,
    list_diagonals,
    make_setting_out,
    name_revision,
    position_step,
    scale_over_100_m,
)
from sitekit.results import Baseline

UTM = CRS.from_epsg(32633)


def marked(site, *places, names=("nail in the rock", "bolt", "peg", "pin")):
    """The site with control marks at places from its south-west corner."""
    west, south, *_ = site.grid.bounds
    points = [Point(west + x, south + y) for x, y in places]
    marks = GeoDataFrame(
        {"name": list(names[: len(points)])}, geometry=points, crs=site.grid.crs
    )
    return replace(site, vectors={**site.vectors, "control_marks": marks})


@pytest.fixture
def site(small_survey):
    return marked(small_survey.site, (200, 270), (500, 275))


@pytest.fixture
def ground(site):
    west, south, *_ = site.grid.bounds
    return box(west + 250, south + 310, west + 330, south + 380)


def test_the_surveyed_height_of_a_mark_stands_before_the_model(site):
    marks = site.vectors["control_marks"].assign(elevation_m=[734.9, np.nan])
    heights = replace(site, vectors={**site.vectors, "control_marks": marks})
    before, after = choose_baseline(site), choose_baseline(heights)
    first = after.names.index("nail in the rock")
    assert after.levels[first] == 734.9
    assert after.levels[1 - first] == before.levels[1 - first]


def plants_on(ground, fruit="pear"):
    laid = {"1": lay_rows(ground, spacing=4, row_spacing=5, bearing=20)}
    return number_plants(laid, {"1": fruit}, {"1": "late"}, UTM)


def nothing():
    return GeoDataFrame({"id": [], "kind": [], "block": []}, geometry=[], crs=UTM)


@pytest.fixture
def listed(site, ground):
    plants = plants_on(ground)
    fence = plan_fence({"1": ground}, nothing(), UTM)
    holes = GeoDataFrame({"id": ["H1"]}, geometry=[ground.centroid], crs=UTM)
    baseline = choose_baseline(site, shapely.get_coordinates(plants.geometry))
    return make_setting_out(site, baseline, plants, fence, holes), baseline, plants


def trilaterate(a, b, from_a, from_b, left):
    """Where two tapes meet: by the cosine rule, not by the code's own way."""
    a, b = np.array(a), np.array(b)
    length = np.linalg.norm(b - a)
    angle_at_a = np.arccos((from_a**2 + length**2 - from_b**2) / (2 * from_a * length))
    east, north = (b - a) / length
    heading = np.arctan2(north, east) + (angle_at_a if left else -angle_at_a)
    return a + from_a * np.array([np.cos(heading), np.sin(heading)])


def test_the_list_has_the_columns_and_the_marks_first(listed):
    table, baseline, plants = listed
    assert tuple(table.columns) == COLUMNS
    assert tuple(table["id"].iloc[:2]) == baseline.names
    assert set(table["what"].iloc[:2]) == {"control mark"}
    assert table["id"].is_unique
    assert len(table) == 2 + len(plants) + 4 + 1 + 1
    assert set(table["what"]) == {
        "control mark",
        "tree, pear",
        "fence corner",
        "gate",
        "test hole",
    }


def test_tapes_from_two_marks_meet_at_every_point(listed):
    """A stranger with two tapes finds each peg to a centimetre or two."""
    table, baseline, _ = listed
    triangles = check_triangles(table, baseline).set_index("id")
    for row in table.iloc[2:].itertuples():
        left = triangles.loc[row.id, "side"] == "left"
        found = trilaterate(*baseline.points, row.from_a_m, row.from_b_m, left)
        sharp = np.sin(np.radians(triangles.loc[row.id, "angle_deg"]))
        assert np.hypot(*(found - [row.easting_m, row.northing_m])) < 0.011 / sharp


def test_tape_lengths_are_between_the_printed_positions(listed):
    table, _, _ = listed
    a, b = table.iloc[0], table.iloc[1]
    for end, column in ((a, "from_a_m"), (b, "from_b_m")):
        away = np.hypot(
            table["easting_m"] - end.easting_m, table["northing_m"] - end.northing_m
        )
        assert np.abs(table[column] - away).max() <= 0.005 + 1e-6
    for column in ("easting_m", "northing_m", "from_a_m", "from_b_m"):
        cents = table[column] * 100
        assert np.abs(cents - cents.round()).max() < 1e-4


def test_a_length_from_the_mark_to_itself_is_nothing(listed):
    table, _, _ = listed
    assert table["from_a_m"].iloc[0] == 0
    assert table["from_b_m"].iloc[1] == 0
    assert table["from_b_m"].iloc[0] == table["from_a_m"].iloc[1]


def test_levels_are_those_of_the_ground(site, listed):
    table, _, _ = listed
    places = table[["easting_m", "northing_m"]].to_numpy()
    expected = sample_heights(site, places)
    assert table["level_m"].to_numpy() == pytest.approx(expected, abs=0.051)


def test_heights_between_cells_lie_on_the_plane(small_survey):
    site = small_survey.site
    grid = site.grid
    x, y = np.meshgrid(grid.eastings, grid.northings)
    plane = (0.02 * (x - grid.west) - 0.05 * (y - grid.north)).astype(np.float32)
    site = replace(site, elevation=plane)
    points = np.array([[grid.west + 123.4, grid.north - 77.7]])
    assert sample_heights(site, points)[0] == pytest.approx(
        0.02 * 123.4 + 0.05 * 77.7, abs=1e-4
    )
    beyond = np.array([[grid.west - 1.0, grid.north]])
    assert np.isnan(sample_heights(site, beyond)).all()


# Tolerances: trade-usual, common practice, no source.
@pytest.mark.parametrize(
    ("what", "tolerance"),
    [("tree", 0.10), ("fence corner", 0.25), ("gate", 0.10), ("drain", 0.25)],
)
def test_tolerances_are_those_of_the_trade(what, tolerance):
    assert TOLERANCES[what] == tolerance


def test_each_point_has_the_tolerance_of_its_kind(listed):
    table, _, _ = listed
    for row in table.iloc[2:].itertuples():
        assert row.tolerance_m == TOLERANCES[row.what.split(",")[0]]


def test_a_blackcurrant_is_a_bush(site, ground):
    plants = plants_on(ground, "blackcurrant")
    table = make_setting_out(site, choose_baseline(site), plants, nothing(), nothing())
    assert set(table["what"].iloc[2:]) == {"bush, blackcurrant"}


def test_loggers_and_drains_are_set_out_too(site):
    logger = GeoDataFrame({"id": ["L1"]}, geometry=[Point(500_300, 5_130_350)], crs=UTM)
    table = make_setting_out(
        site,
        choose_baseline(site),
        plants_on(shapely.Polygon()),
        nothing(),
        nothing(),
        [("logger", logger), ("drain", logger.assign(id="D1"))],
    )
    assert table["what"].iloc[2:].tolist() == ["logger", "drain"]


def test_with_all_ground_refused_only_the_marks_are_left(site):
    empty = plants_on(shapely.Polygon())
    baseline = choose_baseline(site)
    table = make_setting_out(site, baseline, empty, nothing(), nothing())
    assert tuple(table.columns) == COLUMNS
    assert len(table) == 2
    assert check_triangles(table, baseline).empty
    assert list_diagonals(empty).empty


def test_the_two_marks_of_the_site_hold_the_tapes(site):
    baseline = choose_baseline(site)
    assert set(baseline.names) == {"nail in the rock", "bolt"}
    assert baseline.surveyed
    assert baseline.accuracy == pytest.approx(0.02)
    assert np.isfinite(baseline.levels).all()


def test_a_mark_that_checks_the_others_holds_no_tape(small_survey):
    three = marked(small_survey.site, (200, 270), (260, 275), (500, 275))
    marks = three.vectors["control_marks"].assign(kind=["control", "control", "check"])
    held = replace(three, vectors={**three.vectors, "control_marks": marks})
    assert set(choose_baseline(held).names) == {"nail in the rock", "bolt"}
    only = marks.assign(kind=["control", "check", "check"])
    held = replace(three, vectors={**three.vectors, "control_marks": only})
    assert len(set(choose_baseline(held).names)) == 2


def test_of_three_marks_the_two_with_good_triangles_are_taken(small_survey):
    """A and C lie in line with the plants: their tapes would run side by side."""
    site = marked(small_survey.site, (100, 350), (300, 300), (20, 350))
    west, south, *_ = site.grid.bounds
    wanted = np.array([[west + x, south + 350] for x in range(280, 340, 5)])
    baseline = choose_baseline(site, wanted)
    assert "bolt" in baseline.names


def test_marks_two_metres_apart_are_refused(small_survey):
    site = marked(small_survey.site, (200, 300), (202, 300))
    with pytest.raises(InputError, match=r"at most 2\.0 m apart, tapes need 15 m"):
        choose_baseline(site)


def house_at(site, x, y):
    west, south, *_ = site.grid.bounds
    house = box(west + x, south + y, west + x + 20, south + y + 9)
    frame = GeoDataFrame(
        {"name": [""], "kind": ["house"]}, geometry=[house], crs=site.grid.crs
    )
    return replace(site, vectors={**site.vectors, "buildings": frame})


def test_without_marks_the_corners_of_the_house_hold_the_tapes(small_survey):
    site = house_at(small_survey.site, 400, 270)
    baseline = choose_baseline(site)
    assert not baseline.surveyed
    assert baseline.accuracy == 3.0
    for name in baseline.names:
        assert name.endswith("corner of house")
    assert len(set(baseline.names)) == 2


def test_of_a_track_its_ends_can_be_found(small_survey):
    site = small_survey.site
    west, south, *_ = site.grid.bounds
    corners = np.add([(0, 290), (300, 310), (600, 290)], [west, south])
    track = LineString(corners)
    access = GeoDataFrame(
        {"name": ["low track"], "kind": [""]}, geometry=[track], crs=site.grid.crs
    )
    site = replace(site, vectors={**site.vectors, "access": access})
    names = set(choose_baseline(site).names)
    assert names == {"west end of low track", "east end of low track"}


def test_marks_within_reach_of_a_tape_are_taken_before_far_ones(small_survey):
    site = marked(small_survey.site, (0, 0), (700, 0), (260, 280), (330, 280))
    west, south, *_ = site.grid.bounds
    site.vectors["control_marks"]["name"] = ["far", "farther", "near", "nearer"]
    wanted = np.array([[west + x, south + 330] for x in range(270, 330, 5)])
    assert set(choose_baseline(site, wanted).names) == {"near", "nearer"}


def test_one_mark_is_held_with_a_thing_that_the_owner_names(small_survey):
    site = marked(house_at(small_survey.site, 400, 270), (200, 270))
    baseline = choose_baseline(site)
    assert not baseline.surveyed
    assert "nail in the rock" in baseline.names


def test_without_anything_named_the_corners_of_the_field_are_left(small_survey):
    baseline = choose_baseline(small_survey.site)
    assert all(name.endswith("corner of the field") for name in baseline.names)


def test_the_taped_length_is_kept_to_the_centimetre(small_survey):
    site = house_at(small_survey.site, 400, 270)
    drawn = np.hypot(*np.diff(np.array(choose_baseline(site).points), axis=0)[0])
    taped = choose_baseline(site, taped_length=drawn + 1.3)
    a, b = np.array(taped.points)
    assert np.hypot(*(b - a)) == pytest.approx(drawn + 1.3)


def test_a_taped_length_far_from_the_map_is_refused(small_survey):
    site = house_at(small_survey.site, 400, 270)
    with pytest.raises(InputError, match="tape it again, or mend the map"):
        choose_baseline(site, taped_length=200.0)


def test_a_site_too_small_for_a_baseline_says_so(small_survey):
    with pytest.raises(InputError, match="no two marks or corners"):
        choose_baseline(small_survey.site, least_baseline=5000.0)


def test_without_marks_positions_are_no_finer_than_the_outline(small_survey, ground):
    site = small_survey.site
    baseline = choose_baseline(site)
    plants = plants_on(ground)
    table = make_setting_out(site, baseline, plants, nothing(), nothing())
    for column in ("easting_m", "northing_m"):
        assert (table[column] % 5 == 0).all()
    assert set(table["what"].iloc[:2]) == {"end of the baseline"}
    places = shapely.get_coordinates(plants.geometry.to_numpy())
    away = np.hypot(*(places - np.array(baseline.points)[0]).T)
    assert np.abs(table["from_a_m"].iloc[2:] - away).max() <= 0.005 + 1e-9


def test_without_marks_the_tapes_still_keep_the_spacing(small_survey, ground):
    """Rows are straight and evenly spaced although the map is metres out."""
    site = small_survey.site
    plants = plants_on(ground)
    baseline = choose_baseline(site, shapely.get_coordinates(plants.geometry))
    table = make_setting_out(site, baseline, plants, nothing(), nothing())
    sides = check_triangles(table, baseline).set_index("id")["side"]
    row = table[table["id"].str.startswith("1-08-")]
    assert len(row) > 10
    pegs = [
        trilaterate(*baseline.points, p.from_a_m, p.from_b_m, sides[p.id] == "left")
        for p in row.itertuples()
    ]
    steps = np.hypot(*np.diff(pegs, axis=0).T)
    assert steps == pytest.approx(4.0, abs=0.1)


@pytest.mark.parametrize(
    ("accuracy", "step"), [(3.0, 5.0), (2.0, 2.0), (1.0, 1.0), (0.3, 0.5), (7.0, 10.0)]
)
def test_the_step_of_positions_is_round_and_no_finer_than_the_error(accuracy, step):
    ends = ((0.0, 0.0), (30.0, 0.0))
    baseline = Baseline(("a", "b"), ends, (0.0, 0.0), accuracy, False)
    assert position_step(baseline) == pytest.approx(step)
    assert position_step(replace(baseline, surveyed=True)) == 0.01


def test_angles_at_the_points_are_those_of_school_triangles():
    ends = np.array([[0.0, 0.0], [10.0, 0.0]])
    points = np.array([[5.0, 5.0], [5.0, 5 * np.sqrt(3)], [5.0, 0.0], [100.0, 0.0]])
    assert crossing_angles(points, ends) == pytest.approx([90, 60, 180, 0])


def straight(points):
    """A list of points before a baseline of 40 m along the east."""
    ends = ((1000.0, 1000.0), (1040.0, 1000.0))
    places = np.array([*ends, *points])
    table = pd.DataFrame(
        {
            "id": [str(n) for n in range(len(places))],
            "easting_m": places[:, 0],
            "northing_m": places[:, 1],
            "from_a_m": np.hypot(*(places - ends[0]).T).round(2),
            "from_b_m": np.hypot(*(places - ends[1]).T).round(2),
        }
    )
    return table, Baseline(("A", "B"), ends, (0.0, 0.0), 0.02, True)


def test_flat_triangles_are_flagged():
    """At 113 m off a baseline of 40 m the tapes cross at 20.06 degrees."""
    high = 20 / np.tan(np.radians(10))
    points = [(1020, 1000 + high - 1), (1020, 1000 + high + 1), (1020, 1003)]
    triangles = check_triangles(*straight(points))
    assert triangles["poor"].tolist() == [False, True, True]
    assert triangles["angle_deg"].iloc[0] > 20 > triangles["angle_deg"].iloc[1]


def test_the_side_is_told_looking_from_a_to_b():
    points = [(1020, 1030), (1020, 970), (1020, 1000)]
    triangles = check_triangles(*straight(points))
    assert triangles["side"].tolist() == ["left", "right", "on the line"]
    assert triangles["poor"].tolist() == [False, False, True]


@given(st.floats(-200, 200), st.floats(-200, 200))
@settings(deadline=None)
def test_two_tapes_and_a_side_find_the_point(x, y):
    table, baseline = straight([(round(1000 + x, 2), round(1000 + y, 2))])
    triangle = check_triangles(table, baseline).iloc[0]
    if triangle["poor"]:
        return
    row = table.iloc[2]
    found = trilaterate(
        *baseline.points, row.from_a_m, row.from_b_m, triangle["side"] == "left"
    )
    assert np.hypot(found[0] - 1000 - x, found[1] - 1000 - y) < 0.05


def test_the_diagonals_of_a_block_obey_pythagoras():
    laid = {"1": lay_rows(box(0, 0, 40, 30), spacing=5, row_spacing=5)}
    plants = number_plants(laid, {"1": "pear"}, {"1": "late"}, UTM)
    diagonals = list_diagonals(plants)
    assert len(diagonals) == 2
    assert diagonals["length_m"].tolist() == pytest.approx(
        [np.hypot(35, 25)] * 2, abs=0.005
    )
    named = {*diagonals["from_id"], *diagonals["to_id"]}
    assert named == {"1-01-01", "1-01-06", "1-08-01", "1-08-06"}


def test_a_block_of_one_row_or_one_plant_has_fewer_diagonals():
    laid = {
        "1": lay_rows(box(0, 0, 3, 30), spacing=5, row_spacing=5),
        "2": lay_rows(box(50, 0, 53, 3), spacing=5, row_spacing=5),
    }
    plants = number_plants(
        laid, dict.fromkeys(laid, "pear"), dict.fromkeys(laid, "late"), UTM
    )
    diagonals = list_diagonals(plants)
    assert diagonals["block"].tolist() == ["1"]
    assert diagonals["length_m"].tolist() == [25.0]


# Source: UTM has the scale 0.9996 on its middle line by definition; at 18° E, 60° N
# in zone 33 it is 0.99994300 (Karney 2011, J. Geodesy 85:475, the series).
@pytest.mark.parametrize(
    ("longitude", "latitude", "scale"), [(15, 60, 0.9996), (18, 60, 0.99994300)]
)
def test_what_the_grid_adds_over_100_m(longitude, latitude, scale):
    place = Transformer.from_crs(4326, UTM, always_xy=True).transform(
        longitude, latitude
    )
    added = scale_over_100_m(UTM, *place)
    assert added == pytest.approx(100 / scale - 100, abs=1e-5)


# Source: ICSM, GDA94 Technical Manual, test line Flinders Peak, zone 55:
# point scale 1.00023056.
def test_the_scale_of_a_southern_grid_is_that_of_the_handbook():
    crs = CRS.from_epsg(28355)
    added = scale_over_100_m(crs, 273_741.297, 5_796_489.777)
    assert added == pytest.approx(100 / 1.00023056 - 100, abs=1e-5)
    assert "shorter" in describe_scale(crs, 273_741.297, 5_796_489.777)


def test_the_sheet_speaks_of_the_scale_from_10_mm_upward():
    assert describe_scale(UTM, 500_000, 6_651_411) == (
        "100 m of this grid is 40 mm longer on level ground: tape 100.04 m for "
        "100.00 m."
    )
    assert describe_scale(UTM, 667_294.821, 6_655_205.484) == ""


def gates_at(*places, names=("low gate", "high gate")):
    return GeoDataFrame(
        {"name": list(names[: len(places)])},
        geometry=[Point(place) for place in places],
        crs=UTM,
    )


def test_a_fence_stands_three_metres_outside_a_square_block():
    fence = plan_fence({"1": box(0, 0, 50, 50)}, gates_at(), UTM)
    line = fence[fence["kind"] == "fence line"]
    assert line.geometry.iloc[0].length == pytest.approx(4 * 56)
    assert line["length_m"].iloc[0] == pytest.approx(4 * 56 - 4)
    assert (fence["kind"] == "fence corner").sum() == 4
    assert (fence["kind"] == "gate").sum() == 1
    assert list(fence.columns) == ["id", "kind", "block", "length_m", "geometry"]
    assert fence["id"].is_unique


# Break-even of guards at 25 a tree against a fence at 12 or 8 a metre, 3 m outside a
# square block at 5 m spacing: computed, 114 and 55 trees.
@pytest.mark.parametrize(("price", "trees"), [(12, 114), (8, 55)])
def test_guards_cost_as_much_as_the_fence_at_the_known_number_of_trees(price, trees):
    def costs_more(count):
        side = 5 * np.sqrt(count)
        fence = plan_fence({"1": box(0, 0, side, side)}, gates_at(), UTM)
        line = fence[fence["kind"] == "fence line"].geometry.iloc[0]
        return line.length * price > 25 * count

    assert costs_more(trees - 1)
    assert not costs_more(trees + 1)


def test_gates_lie_on_the_fence_where_they_were_wanted():
    fence = plan_fence(
        {"1": box(0, 0, 50, 50)}, gates_at((20, -8), (56, 30)), UTM, gate_width=3.5
    )
    gates = fence[fence["kind"] == "gate"]
    assert [(p.x, p.y) for p in gates.geometry] == [(20, -3), (53, 30)]
    assert gates["length_m"].tolist() == [3.5, 3.5]
    line = fence[fence["kind"] == "fence line"]
    assert line["length_m"].iloc[0] == pytest.approx(4 * 56 - 7)


def test_a_gate_in_no_fence_is_an_error():
    with pytest.raises(InputError, match='The gate "low gate" lies in no fence'):
        plan_fence({"1": box(0, 0, 50, 50)}, gates_at((300, 300)), UTM)
    with pytest.raises(InputError, match="no fence"):
        plan_fence({}, gates_at((0, 0)), UTM)


def test_every_gate_in_no_fence_is_told_at_once():
    with pytest.raises(InputError) as caught:
        plan_fence({"1": box(0, 0, 50, 50)}, gates_at((300, 0), (0, 300)), UTM)
    assert len(caught.value.mistakes) == 2


def test_blocks_whose_fences_meet_share_one():
    blocks = {
        "1": box(0, 0, 50, 50),
        "2": box(54, 0, 100, 50),
        "3": box(300, 0, 350, 50),
    }
    fence = plan_fence(blocks, gates_at(), UTM)
    lines = fence[fence["kind"] == "fence line"]
    assert lines["block"].tolist() == ["1 and 2", "3"]
    assert lines["id"].tolist() == ["F1", "F2"]


def test_a_fence_does_not_leave_the_ground_it_is_kept_in():
    field = box(-1, -1, 80, 80)
    fence = plan_fence({"1": box(0, 0, 50, 50)}, gates_at(), UTM, within=field)
    line = fence[fence["kind"] == "fence line"].geometry.iloc[0]
    assert field.covers(line)
    assert line.length == pytest.approx(4 * 54)


def test_without_blocks_there_is_no_fence_and_its_columns_are_there():
    for blocks in ({}, {"1": shapely.Polygon()}):
        fence = plan_fence(blocks, gates_at(), UTM)
        assert fence.empty
        assert list(fence.columns) == ["id", "kind", "block", "length_m", "geometry"]


@given(st.integers(0, 10_000), st.floats(0.5, 10))
@settings(deadline=None, max_examples=40)
def test_no_plant_stands_nearer_to_its_fence_than_was_asked(seed, offset):
    draw = np.random.default_rng(seed)
    cells = [box(x, y, x + 4, y + 4) for x, y in 4 * draw.integers(0, 12, (30, 2))]
    block = max(shapely.get_parts(shapely.union_all(cells)), key=lambda part: part.area)
    fence = plan_fence({"1": block}, gates_at(), UTM, fence_offset=offset)
    line = fence[fence["kind"] == "fence line"].geometry.iloc[0]
    assert line.distance(block) >= offset - 1e-6
    assert shapely.Polygon(line).covers(block)
    gates = fence[fence["kind"] == "gate"].geometry
    assert (gates.distance(line) < 1e-6).all()


def test_a_line_of_plants_can_be_fenced():
    fence = plan_fence({"1": LineString([(0, 0), (40, 0)])}, gates_at(), UTM)
    line = fence[fence["kind"] == "fence line"].geometry.iloc[0]
    assert line.distance(LineString([(0, 0), (40, 0)])) >= 3 - 1e-6


def test_a_revision_is_written_in_capitals_and_nothing_else():
    assert name_revision() == "A"
    assert name_revision(pack_revision=" c ") == "C"


@pytest.mark.parametrize("given", ["", "A/2", "final", "é"])
def test_what_is_no_revision_is_refused(given):
    with pytest.raises(InputError, match=r"pack_revision.*as B or B2"):
        name_revision(pack_revision=given)
