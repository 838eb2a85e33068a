"""Blocks, spots, pockets, evidence and the answer, on small made ground."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit import words
from sitekit.grid import Grid
from sitekit.io.schemas import SCHEMAS, empty_frame
from sitekit.pipeline import survey
from sitekit.site import VECTORS, ElevationModel, Site
from sitekit.siting.answer import resolution_sentence
from sitekit.siting.pockets import find_frost_pockets
from sitekit.words import SITE_CLASSES

UTM = CRS.from_epsg(32633)


def make_site(elevation, cell=2.0, field=None, noise=0.02, **vectors):
    """A site from heights alone; the field is all but a rim unless given."""
    grid = Grid(UTM, 500_000.0, 5_130_000.0, cell, elevation.shape)
    west, south, east, north = grid.bounds
    outline = field or shapely.box(west + 20, south + 20, east - 20, north - 20)
    frames = {name: empty_frame(SCHEMAS[name], UTM) for name in VECTORS}
    for name, rows in vectors.items():
        made = GeoDataFrame(rows, crs=UTM)
        for column in frames[name].columns:
            if column not in made:
                made[column] = None
        frames[name] = made
    x, y = np.meshgrid(grid.eastings, grid.northings)
    inside = shapely.contains_xy(outline, x, y)
    water = np.zeros(grid.shape, bool)
    for shape in frames["water"].geometry:
        water |= shapely.contains_xy(shape, x, y)
    heights = elevation.astype(np.float32)
    return Site(
        name="made ground",
        grid=grid,
        elevation=heights,
        ground=heights,
        model=ElevationModel(("made.tif",), cell, "ground", noise),
        field=GeoDataFrame({"name": [""]}, geometry=[outline], crs=UTM),
        field_mask=inside,
        water_mask=water,
        canopy_height=np.zeros(grid.shape, np.float32),
        evergreen=np.zeros(grid.shape, bool),
        vectors=frames,
        given=frozenset(vectors),
    )


def mesh(rows, columns, cell=2.0):
    """East and north of the cell centres from the south-west corner."""
    x = (np.arange(columns) + 0.5) * cell
    y = (rows - np.arange(rows) - 0.5) * cell
    return np.meshgrid(x, y)


def bowl():
    x, y = mesh(160, 160)
    z = 50 + 0.0008 * ((x - 160) ** 2 + (y - 160) ** 2)
    return np.where((np.abs(x - 160) <= 6) & (y < 160), np.minimum(z, 53.0), z)


def at(found, x, y, fruit="apple"):
    """Class of the ground at east and north of the corner."""
    grid = found.site.grid
    code = found.layers[f"site_class_{fruit}"].to_numpy()
    row, column = grid.cells(grid.west + x, grid.bounds[1] + y)
    return SITE_CLASSES[code[row, column]]


@pytest.fixture(scope="module")
def bowl_survey():
    return survey(make_site(bowl()))


def test_the_bottom_of_a_bowl_is_refused_and_its_upper_side_is_not(bowl_survey):
    # An adviser refuses the pool of a bowl and accepts its sides 30 m from it
    # (common practice, no source).
    assert at(bowl_survey, 160, 160) == "refused"
    assert at(bowl_survey, 160, 200) == "refused"
    assert at(bowl_survey, 160, 255) != "refused"


def test_the_rim_of_a_pool_is_for_hardy_kinds(bowl_survey):
    assert at(bowl_survey, 160, 240) == "hardy kinds only"


def test_the_pocket_of_a_bowl_has_its_depth_area_level_and_cause(bowl_survey):
    pocket, rim = bowl_survey.frost_pockets.to_dict("records")
    assert pocket["depth_m"] == pytest.approx(3.0, abs=0.02)
    assert pocket["area_m2"] == pytest.approx(11_504, rel=0.03)
    assert pocket["spill_elevation_m"] == pytest.approx(53.0, abs=0.01)
    assert pocket["cause"] == "hollow in the ground"
    assert pocket["offset_degc"] < -2
    # The pool swells above its lip at night: its rim is cold and holds nothing.
    assert rim["depth_m"] == 0
    assert np.isnan(rim["spill_elevation_m"])


def test_no_ground_is_better_than_with_conditions_without_a_test(bowl_survey):
    spots = bowl_survey.spots
    assert "good" not in set(spots["site_class"])
    accepted = spots[spots["site_class"] != "refused"]
    assert accepted["reason"].str.endswith("drainage not tested.").all()
    assert set(spots.loc[accepted.index, "confidence"]) <= {"fair", "low"}


def test_the_confidence_of_a_spot_is_the_word_for_the_chance_of_its_class(bowl_survey):
    spots = bowl_survey.spots
    assert spots["class_chance"].between(0, 1).all()
    assert (spots.loc[spots["class_chance"] < 0.7, "confidence"] == "low").all()
    sure = spots[spots["class_chance"] >= 0.9]
    assert set(sure["confidence"]) <= {"fair", "good"}
    # Ground that nobody has dug is at most fair, but refused ground may be sure.
    tested = ~sure["reason"].str.endswith("drainage not tested.")
    assert (sure.loc[~tested, "confidence"] == "fair").all()


def test_a_block_has_the_chance_of_its_class_too(bowl_survey):
    blocks = bowl_survey.blocks
    assert list(blocks.columns)[-2:] == ["class_chance", "geometry"]
    assert blocks["class_chance"].between(0, 1).all()


def test_the_bottom_of_a_bowl_is_refused_more_surely_than_its_edge(bowl_survey):
    spots = bowl_survey.spots
    cold = (spots["fruit"] == "apple") & (spots["limiting_factor"] == "night_cold")
    refused = spots[cold & (spots["site_class"] == "refused")]
    coldest = refused["frost_night_offset_degc"].rank(method="first")
    half = refused["class_chance"].groupby(coldest > len(refused) / 2).mean()
    assert half[False] > half[True]


def test_every_spot_has_its_own_name_and_the_columns_of_the_contract(bowl_survey):
    spots = bowl_survey.spots
    assert spots["spot"].is_unique
    assert spots["spot"].str.fullmatch(r"[a-z_]+-\d{2}-\d{3,}").all()
    wanted = [
        "spot",
        "block",
        "row",
        "fruit",
        "score",
        "site_class",
        "limiting_factor",
        "reason",
        "slope_pct",
        "aspect_deg",
        "frost_night_offset_degc",
        "poor_crop_years",
        "confidence",
        "easting_m",
        "northing_m",
        "elevation_m",
        "class_chance",
    ]
    assert [c for c in spots.columns if c != "geometry"] == wanted
    assert set(spots["fruit"]) == {
        "apple",
        "pear",
        "plum",
        "sweet_cherry",
        "sour_cherry",
        "blackcurrant",
    }


def test_spots_stand_inside_the_field_off_its_edge(bowl_survey):
    field = bowl_survey.site.field.geometry.iloc[0]
    assert bowl_survey.spots.within(field.buffer(-2.99)).all()


def test_refused_ground_scores_nothing_and_is_named_by_its_factor(bowl_survey):
    refused = bowl_survey.spots[bowl_survey.spots["site_class"] == "refused"]
    assert (refused["score"] == 0).all()
    assert refused["limiting_factor"].isin(["night_cold", "path_margin", "slope"]).all()


def test_blocks_are_numbered_from_the_best_and_cover_no_ground_twice(bowl_survey):
    blocks = bowl_survey.blocks
    one = blocks[blocks["fruit"] == "apple"].set_index("block").sort_index()
    assert list(one.index) == list(range(1, len(one) + 1))
    best = blocks.groupby("block")["site_class"].agg(
        lambda c: max(map(SITE_CLASSES.index, c))
    )
    assert best.is_monotonic_decreasing
    assert one.geometry.area.sum() == pytest.approx(
        shapely.union_all(one.geometry).area, rel=0.02
    )


def test_ranks_count_every_block_once_for_each_fruit(bowl_survey):
    for _, rows in bowl_survey.blocks.groupby("fruit"):
        assert sorted(rows["rank"]) == list(range(1, len(rows) + 1))


def test_a_test_hole_that_drains_lets_ground_be_called_good():
    _, y = mesh(120, 120)
    slope = 100 + 0.06 * y
    grid = make_site(slope).grid
    hole = shapely.Point(grid.west + 120, grid.bounds[1] + 120)
    site = make_site(slope, ground_tests={"result": ["good"], "geometry": [hole]})
    found = survey(site)
    assert at(found, 120, 120) == "good"
    assert at(found, 120, 170) == "with conditions"


def test_a_test_hole_that_holds_water_refuses_the_ground_around_it():
    _, y = mesh(120, 120)
    slope = 100 + 0.06 * y
    grid = make_site(slope).grid
    hole = shapely.Point(grid.west + 120, grid.bounds[1] + 120)
    found = survey(
        make_site(slope, ground_tests={"result": ["holds water"], "geometry": [hole]})
    )
    assert at(found, 120, 120) == "refused"


def test_level_ground_is_test_first_until_a_hole_is_dug():
    # An old compacted flat shows nothing in the elevation: 0.2 % slope.
    _, y = mesh(150, 150)
    found = survey(make_site(80 + 0.002 * y))
    assert set(found.blocks["site_class"]) == {"test first"}
    assert "water may stand" in found.blocks["reason"].iloc[0]
    assert found.answer.headline.startswith("Test before you plant")


def test_a_coarse_elevation_gets_a_modest_answer():
    _, y = mesh(60, 60, 30.0)
    field = shapely.box(500_500, 5_128_700, 501_000, 5_129_200)
    found = survey(make_site(100 + 0.06 * y, 30.0, field))
    assert set(found.blocks["site_class"]) <= {"test first", "refused"}
    assert set(found.spots["confidence"]) == {"low"}
    assert found.answer.measures[0].what.startswith("Walk the field at dawn")


def hedge_site(openness=0.0):
    _, y = mesh(120, 100)
    z = 100 + 0.04 * y
    grid = make_site(z).grid
    # Its ends run up the slope, so that no air leaves round them.
    corners = [(4, 120), (4, 60), (196, 60), (196, 120)]
    line = shapely.LineString([(grid.west + x, grid.bounds[1] + y) for x, y in corners])
    return make_site(
        z,
        barriers={
            "name": ["low hedge"],
            "kind": ["hedge"],
            "height_m": [2.0],
            "openness": [openness],
            "geometry": [line],
        },
    )


def test_ground_behind_a_hedge_is_refused_and_ground_far_above_it_is_not():
    # A solid hedge of 2 m on a slope of 4 %: refused to 25 m, accepted from 60 m
    # (common practice of orchard advice, no source).
    found = survey(hedge_site())
    assert at(found, 100, 66) == "refused"
    assert at(found, 100, 82) == "refused"
    assert at(found, 100, 90) == "hardy kinds only"
    assert at(found, 100, 125) == "with conditions"
    assert at(found, 100, 45) != "refused"


def test_a_pocket_behind_a_hedge_names_the_hedge():
    found = survey(hedge_site())
    cause = found.frost_pockets["cause"].iloc[0]
    assert cause == "behind a barrier: hedge low hedge, 2.0\u00a0m"


def test_a_deer_mesh_holds_no_air():
    found = survey(hedge_site(openness=0.95))
    assert found.frost_pockets.empty


def test_a_block_never_crosses_a_barrier():
    found = survey(hedge_site())
    line = found.site.vectors["barriers"].geometry.iloc[0]
    for block in found.blocks.geometry:
        assert block.buffer(-1.5).intersection(line).length == 0


def test_no_pocket_where_no_air_is_held():
    _, y = mesh(60, 60)
    site = make_site(100 + 0.1 * y)
    none = np.zeros(site.grid.shape, np.float32)
    pockets = find_frost_pockets(site, none, none, none, none + 9)
    assert pockets.empty
    assert {"pocket", "depth_m", "cause", "spill_elevation_m"} <= set(pockets.columns)


def test_pits_shallower_than_twice_the_noise_are_no_pockets():
    site = make_site(bowl(), noise=2.0)
    depth = np.where(bowl() < 53, 53 - bowl(), 0).astype(np.float32)
    none = np.zeros_like(depth)
    assert find_frost_pockets(site, depth, depth, none, none + 9).empty


def test_a_puddle_in_cold_ground_that_is_no_pocket_has_no_depth_and_no_spill_level():
    site = make_site(bowl())
    low = bowl() < 53
    puddle = np.where(low, 0.2, 0).astype(np.float32)
    offset = np.where(low, -3, 0).astype(np.float32)
    far = np.full_like(puddle, 9)
    pocket = find_frost_pockets(site, puddle, puddle, offset, far).iloc[0]
    assert pocket["depth_m"] == 0
    assert np.isnan(pocket["spill_elevation_m"])
    assert pocket["cause"] == "low ground"


def trees(found_kind, *places):
    grid = make_site(bowl()).grid
    return {
        "fruit": ["apple"] * len(places),
        "condition": list(found_kind),
        "geometry": [
            shapely.Point(grid.west + x, grid.bounds[1] + y) for x, y in places
        ],
    }


def test_trees_that_do_otherwise_than_the_map_says_are_listed():
    found = survey(
        make_site(
            bowl(), existing_trees=trees(("thriving", "dead"), (160, 165), (165, 155))
        )
    )
    assert found.existing_trees["verdict"].tolist() == ["contradicts", "agrees"]
    assert len(found.answer.contradictions) == 1
    assert "Apple tree, thriving" in found.answer.contradictions[0]


def test_no_spot_stands_on_top_of_a_tree():
    found = survey(make_site(bowl(), existing_trees=trees(("thriving",), (160, 260))))
    tree = found.existing_trees.geometry.iloc[0]
    assert found.spots[found.spots["fruit"] == "apple"].distance(tree).min() >= 4.0


@pytest.mark.parametrize(
    ("kind", "x", "y", "verdict"),
    [
        ("fog", 160, 160, "agrees"),
        ("frost", 160, 270, "contradicts"),
        ("early bare", 160, 160, "contradicts"),
        ("early bare", 160, 270, "agrees"),
        ("standing water", 160, 160, "agrees"),
        ("browsing", 160, 160, "not judged"),
    ],
)
def test_a_note_is_set_against_the_map(kind, x, y, verdict):
    grid = make_site(bowl()).grid
    place = shapely.Point(grid.west + x, grid.bounds[1] + y)
    note = {
        "date": ["2025-04-30"],
        "kind": [kind],
        "text": ["seen"],
        "geometry": [place],
    }
    found = survey(make_site(bowl(), notes=note))
    assert found.notes["verdict"].iloc[0] == verdict


def test_water_and_no_go_carry_no_spots():
    _, y = mesh(120, 120)
    z = 100 + 0.06 * y
    grid = make_site(z).grid
    pond = shapely.box(
        grid.west + 60, grid.bounds[1] + 60, grid.west + 120, grid.bounds[1] + 100
    )
    grave = shapely.box(
        grid.west + 150, grid.bounds[1] + 150, grid.west + 190, grid.bounds[1] + 190
    )
    found = survey(
        make_site(
            z,
            water={"name": ["pond"], "geometry": [pond]},
            no_go={"name": ["mound"], "reason": ["old grave"], "geometry": [grave]},
        )
    )
    assert not found.spots.intersects(pond).any()
    assert not found.spots.intersects(grave).any()
    assert np.isnan(found.layers["score_apple"].to_numpy()[found.site.water_mask]).all()


def test_where_all_is_refused_the_answer_says_so_kindly_and_what_would_change_it():
    x, y = mesh(120, 120)
    field = shapely.box(500_100, 5_129_830, 500_140, 5_129_870)
    pit = 50 + 0.004 * ((x - 120) ** 2 + (y - 90) ** 2)
    found = survey(make_site(pit, field=field))
    assert set(found.blocks["site_class"]) == {"refused"}
    assert found.answer.headline.startswith("Plant nothing here this year")
    assert "would change it" in found.answer.where


def test_a_setting_that_is_not_known_names_the_nearest():
    site = replace(make_site(bowl()), settings={"edge_setbak": 4.0})
    with pytest.raises(
        Exception, match=r'unknown setting "edge_setbak"\. Nearest: "edge_setback"'
    ):
        survey(site)


def test_a_setting_changes_the_survey():
    wide = survey(
        replace(make_site(bowl()), settings={"edge_setback": 12.0}, fruit=("apple",))
    )
    usual = survey(replace(make_site(bowl()), fruit=("apple",)))
    assert len(wide.spots) < len(usual.spots)


def test_the_resolution_names_cell_and_smallest_hollow():
    site = make_site(bowl(), noise=0.15)
    assert resolution_sentence(site) == (
        f"Cells of 2{words.NO_BREAK}m show hollows from 6{words.NO_BREAK}m wide and "
        f"0.3{words.NO_BREAK}m deep."
    )


def test_turning_the_ground_turns_the_verdicts():
    usual = survey(replace(make_site(bowl()), fruit=("apple",)))
    turned = survey(replace(make_site(np.rot90(bowl())), fruit=("apple",)))
    np.testing.assert_array_equal(
        np.rot90(usual.layers["pooling_depth"].to_numpy()),
        turned.layers["pooling_depth"].to_numpy(),
    )
    same = np.rot90(usual.layers["site_class_apple"].to_numpy()) == (
        turned.layers["site_class_apple"].to_numpy()
    )
    # Ties of steepest descent on so even a surface are settled by the compass.
    assert same.mean() > 0.95


def test_a_survey_without_a_record_counts_no_years(bowl_survey):
    assert bowl_survey.years is None
    assert bowl_survey.answer.years == ()
    assert bowl_survey.fruit_by_block["poor_crop_years"].isna().all()
    assert bowl_survey.absent["last_spring_frost"].startswith("five complete years")


def test_a_field_smaller_than_a_usual_scrap_is_a_block_all_the_same():
    x, _ = mesh(40, 40)
    corner = shapely.box(500_030, 5_129_940, 500_042, 5_129_952)
    found = survey(make_site(600 + 0.1 * x, field=corner))
    assert set(found.blocks["block"]) == {1}
    assert found.blocks["area_m2"].iloc[0] == pytest.approx(144, abs=20)
    assert len(found.spots)
