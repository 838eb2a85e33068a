"""Parts of the pack one by one: rules, tables, key, labels, marks on the plan."""

import re
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame

from sitekit.cartography import styles
from sitekit.cartography.drawing import make_figure, make_sheet
from sitekit.handover import column, front, ground, planting_marks, rules, work, zones
from sitekit.handover.flow import Flow
from sitekit.handover.paper import Paper
from sitekit.handover.plan import draw_drawing, plan_sheets
from sitekit.handover.scales import A3, A4, Window
from sitekit.handover.zones import Zone
from sitekit.planting.block_marks import place_block_marks, tape_blocks
from sitekit.results import Baseline, PlantingPlan

DAY = date(2026, 11, 25)


def empty(columns, crs):
    return GeoDataFrame({name: [] for name in columns}, geometry=[], crs=crs)


def make_plants(west, south, crs, *, count=12, years=(1, 2, 0)):
    """One row of pears from west to east, 5 m apart."""
    return GeoDataFrame(
        {
            "id": [f"1-1-{i + 1:02d}" for i in range(count)],
            "block": "1",
            "row": 1,
            "number": range(1, count + 1),
            "fruit": "pear",
            "year": [years[i % len(years)] for i in range(count)],
        },
        geometry=[shapely.Point(west + 300 + 5 * i, south + 440) for i in range(count)],
        crs=crs,
    )


@pytest.fixture
def plan(small_survey):
    grid = small_survey.site.grid
    west, south = grid.west, grid.bounds[1]
    plants = make_plants(west, south, grid.crs)
    baseline = Baseline(
        ("A1", "B1"),
        ((west + 290.0, south + 430.0), (west + 370.0, south + 430.0)),
        (735.0, 735.0),
        0.02,
        True,
    )
    marks = place_block_marks(small_survey.site, plants, baseline)
    points = pd.DataFrame(
        {
            "id": ["A1", "B1", *plants["id"], *marks["id"]],
            "what": ["control mark"] * 2
            + ["tree, pear"] * len(plants)
            + ["control mark"] * len(marks),
            "easting_m": [
                west + 290.0,
                west + 370.0,
                *plants.geometry.x,
                *marks.geometry.x,
            ],
            "northing_m": [south + 430.0] * 2 + [*plants.geometry.y, *marks.geometry.y],
            "level_m": 735.0,
            "tolerance_m": 0.1,
        }
    )
    for name, (x, y) in zip(("from_a_m", "from_b_m"), baseline.points, strict=True):
        away = np.hypot(points["easting_m"] - x, points["northing_m"] - y)
        points[name] = away.round(2)
    none = pd.DataFrame()
    return PlantingPlan(
        block_marks=marks,
        block_tapes=tape_blocks(plants, marks, baseline),
        rows=GeoDataFrame(
            {"block": ["1"], "row": [1]},
            geometry=[shapely.LineString(shapely.get_coordinates(plants.geometry))],
            crs=grid.crs,
        ),
        plants=plants,
        lanes=empty(["kind", "width_m"], grid.crs),
        fence=empty(["id", "kind", "block", "length_m"], grid.crs),
        test_holes=empty(["id", "order", "block", "decides"], grid.crs),
        setting_out=points,
        baseline=baseline,
        need=none,
        quantities=pd.DataFrame(
            {
                "year": [0, 1],
                "item": ["gate", "young pear"],
                "quantity": [1.0, 12.0],
                "unit": ["piece", "piece"],
                "price": [150.0, 22.0],
                "cost": [150.0, np.nan],
                "source": ["the site file", "common practice, no source"],
            }
        ),
        edges=none,
        years=none,
        sentences=("Twelve trees.",),
        missing={},
    )


@pytest.fixture
def planned(small_survey, plan):
    return replace(small_survey, plan=plan)


def written(flow_or_paper):
    pages = flow_or_paper.pages if isinstance(flow_or_paper, Flow) else [flow_or_paper]
    texts = [line.text for page in pages for line in page.letters.lines]
    return re.sub(r"\s+", " ", " ".join(texts).replace("\xa0", " "))


def make_map(bounds=(0.0, 0.0, 100.0, 80.0)):
    """A sheet at 1:1000: a metre of ground is a millimetre of paper."""
    return make_sheet(make_figure(120, 100), bounds, (10, 10, bounds[2] - bounds[0]))


def texts_on(sheet):
    return [text.get_text() for text in sheet.axes.texts]


# ------------------------------------------------------------------ rules


def test_tolerances_are_told_for_everything_that_is_set_out():
    told = dict(rules.TOLERANCES)
    assert told["tree or bush"].startswith("±0.10 m")
    assert told["fence corner"] == "±0.25 m"
    assert told["gate"] == "±0.10 m"
    assert "never backwards" in told["drain"]


@pytest.mark.parametrize(
    "stop", ["water", "smears", "drain", "finds", "slope", "peg", "tape", "frozen"]
)
def test_the_work_stops_for(stop):
    assert any(stop in rule.lower() for rule in rules.STOPS)


@pytest.mark.parametrize(
    "hold", ["marking out", "first hole", "10 m", "strip", "fence line", "back-fill"]
)
def test_the_owner_must_see(hold):
    assert any(hold in rule.lower() for rule in rules.HOLDS)


def test_no_rule_promises_anything():
    told = [*rules.HOLDS, *rules.STOPS, *rules.FORM, *rules.CAUTIONS.values()]
    for text in told:
        assert not re.search(r"\b(allowed|safe|frost-free|guaranteed|optimal)\b", text)


def test_the_steepest_planted_ground_is_read_from_the_slope(planned):
    """The ground of this survey rises by 8 in 100 where the row stands."""
    assert np.tan(np.radians(rules.find_steepest(planned))) == pytest.approx(
        0.08, abs=0.02
    )
    assert "about 8 %" in rules.tell_weather(planned).replace("\xa0", " ")


def test_without_a_slope_its_steepness_is_not_known(planned):
    bare = replace(planned, layers=planned.layers.drop_vars("slope"))
    assert np.isnan(rules.find_steepest(bare))
    assert "not known" in rules.tell_weather(bare)


def test_every_weather_rule_defers_to_the_handbook(planned, small_survey):
    assert "handbook decides" in rules.tell_weather(planned)
    assert "handbook decides" in rules.tell_weather(small_survey)


# ------------------------------------------------------------------ the column


@pytest.mark.parametrize(
    ("names", "ordered"),
    [
        (["10", "2", "1"], ["1", "2", "10"]),
        (["2b", "10", "2a"], ["2a", "2b", "10"]),
    ],
)
def test_blocks_are_named_in_the_order_that_people_count(planned, names, ordered):
    plants = planned.plan.plants.head(len(names)).assign(block=names)
    told = column.tell_drawing(
        replace(planned, plan=replace(planned.plan, plants=plants))
    )
    assert [re.search(rf"\b{name}\b", told).start() for name in ordered] == sorted(
        re.search(rf"\b{name}\b", told).start() for name in ordered
    )


def test_one_block_is_a_block_and_many_are_told_from_first_to_last(planned):
    assert column.tell_drawing(planned) == "Block 1: planting plan, 12 plants"
    plants = planned.plan.plants.assign(block=[str(i + 1) for i in range(12)])
    many = replace(planned, plan=replace(planned.plan, plants=plants))
    assert column.tell_drawing(many).startswith("Blocks 1 to 12:")


def draw_column(survey, form=A3):
    paper = Paper(form.width, form.height)
    (window,) = plan_sheets(survey.plan, form).windows
    column.draw_column(paper, survey, form, window, 1, DAY)
    return paper


@pytest.mark.parametrize(
    ("revision", "issue"),
    [("A", "first issue"), ("B", "replaces every earlier revision")],
)
def test_the_title_block_says_which_revision_it_is(planned, revision, issue):
    again = replace(planned, plan=replace(planned.plan, revision=revision))
    told = written(draw_column(again, A3))
    assert f"{revision} 25 Nov 2026 {issue}" in told


@pytest.mark.parametrize("form", [A3, A4])
def test_nothing_in_the_column_leaves_its_paper(planned, form):
    paper = draw_column(planned, form)
    left = form.width - form.edge - form.column
    for line in paper.letters.lines:
        x, y = line.place
        assert left <= x <= form.width - form.edge
        assert form.edge <= y <= form.height - form.edge


@pytest.mark.parametrize("form", [A3, A4])
def test_no_two_texts_of_the_column_stand_on_each_other(planned, form):
    paper = draw_column(planned, form)
    places = [
        (round(x, 1), round(y, 1))
        for x, y in (line.place for line in paper.letters.lines)
    ]
    assert len(places) == len(set(places))


def test_the_title_block_names_scale_sheet_date_and_revision(planned):
    text = written(draw_column(planned))
    for said in (
        "Test Holding",
        "on A3",
        "1 of 1",
        "25 Nov 2026",
        "Revision",
        "EPSG:32633",
    ):
        assert said in text


def test_the_key_holds_only_what_is_on_the_sheet(planned):
    text = written(draw_column(planned))
    assert "pear, plant this year" in text
    assert "pear, later year" in text
    assert "pear, no year pays for it yet" in text
    assert "fence, corner, gate" not in text
    assert "test hole" not in text
    assert "frost pocket" not in text


def test_the_list_says_how_many_of_its_points_are_shown(planned):
    text = written(draw_column(planned))
    assert "Setting out: 16 of the 16 points on this sheet" in text
    assert "All 16 in sheets.pdf, part 3." in text


@pytest.mark.parametrize("room", [17.0, 20.0, 23.0, 26.0, 60.0])
def test_the_number_of_points_told_is_the_number_listed(planned, room):
    (window,) = plan_sheets(planned.plan, A4).windows
    paper = Paper(A4.width, A4.height)
    made = column.Column(paper, 220.0, 290.0, 100.0 + room, 100.0, A4.text)
    column._draw_list(made, planned, window)
    text = written(paper)
    told = int(re.search(r"Setting out: (\d+) of", text).group(1))
    assert told == sum(f" {i} " in text for i in ["A", *planned.plan.plants["id"]]) + (
        " B " in text
    ) + sum(f" {i} " in text for i in planned.plan.block_marks["id"])


def test_only_points_of_the_sheet_are_in_its_list(planned):
    west, south = planned.site.grid.west, planned.site.grid.bounds[1]
    own = (west + 299.0, south + 400.0, west + 326.0, south + 450.0)
    paper = Paper(A3.width, A3.height)
    column.draw_column(paper, planned, A3, Window(1, 500, own, own, {}), 2, DAY)
    text = written(paper)
    assert "1-1-06" in text
    assert "1-1-07" not in text
    listed = planned.plan.setting_out
    west, south, east, north = own
    inside = listed["easting_m"].between(west, east) & listed["northing_m"].between(
        south, north
    )
    assert f"{inside.sum()} points on this sheet" in text
    assert inside.sum() >= 6


# ------------------------------------------------------------------ marks


def test_this_year_is_filled_and_later_is_hollow(plan):
    marks = planting_marks.list_marks(plan.plants)
    assert marks["pear", "this year"].fill == styles.INK
    assert marks["pear", "later"].fill == "white"
    assert marks["pear", "later"].edge == styles.INK
    assert marks["pear", "not paid"].edge != styles.INK


def test_a_key_lists_no_fruit_that_is_not_planted(plan):
    first = plan.plants[plan.plants["year"] == 1]
    assert set(planting_marks.list_marks(first)) == {("pear", "this year")}


@pytest.mark.parametrize(
    ("year", "when"), [(1, "this year"), (3, "later"), (0, "not paid")]
)
def test_when_a_plant_is_planted_is_told_from_its_year(year, when):
    assert planting_marks.find_when(pd.Series([year])).tolist() == [when]


def test_every_known_fruit_has_a_shape_of_its_own():
    shapes = list(planting_marks.SHAPES.values())
    assert len(shapes) == len(set(shapes))
    assert not set(shapes) & set(planting_marks.SPARE)


def test_ids_stand_at_both_ends_and_at_every_fifth_plant(planned):
    (window,) = plan_sheets(planned.plan, A3).windows
    paper = Paper(A3.width, A3.height)
    sheet = make_sheet(paper.figure, window.bounds, (A3.left, A3.bottom, A3.drawing[0]))
    planting_marks.draw_rows(sheet, planned)
    assert {"row 1", "1-1-01", "1-1-05", "1-1-10", "1-1-12"} <= set(texts_on(sheet))
    assert "1-1-03" not in texts_on(sheet)


def test_plants_stand_on_paper_where_they_stand_on_the_ground(planned):
    (window,) = plan_sheets(planned.plan, A3).windows
    paper = Paper(A3.width, A3.height)
    sheet = make_sheet(paper.figure, window.bounds, (A3.left, A3.bottom, A3.drawing[0]))
    planting_marks.draw_rows(sheet, planned)
    drawn = np.vstack(
        [
            np.asarray(marks.get_offsets())
            for marks in sheet.axes.collections
            if len(marks.get_offsets()) and marks.get_offsets()[0][0] > 1000
        ]
    )
    wanted = shapely.get_coordinates(planned.plan.plants.geometry)
    assert {tuple(p) for p in drawn.round(3)} == {tuple(p) for p in wanted.round(3)}


def test_a_drawing_is_as_large_as_its_scale_makes_it(planned):
    (window,) = plan_sheets(planned.plan, A3).windows
    paper = Paper(A3.width, A3.height)
    sheet = make_sheet(paper.figure, window.bounds, (A3.left, A3.bottom, A3.drawing[0]))
    box = sheet.axes.get_position()
    assert box.width * A3.width == pytest.approx(A3.drawing[0])
    assert box.height * A3.height == pytest.approx(A3.drawing[1])
    assert sheet.metres_per_mm * 1000 == pytest.approx(window.scale)


def test_the_whole_drawing_can_be_made_without_fence_lanes_or_holes(planned):
    (window,) = plan_sheets(planned.plan, A4).windows
    paper = Paper(A4.width, A4.height)
    sheet = make_sheet(paper.figure, window.bounds, (A4.left, A4.bottom, A4.drawing[0]))
    draw_drawing(sheet, planned, window)
    assert any("A1" in text for text in texts_on(sheet))


def test_a_drawing_without_a_plan_stays_empty(small_survey):
    sheet = make_map()
    before = len(sheet.axes.collections)
    draw_drawing(sheet, small_survey, Window(1, 1000, sheet.bounds, sheet.bounds, {}))
    assert len(sheet.axes.collections) == before


# ------------------------------------------------------------------ the ground


def test_a_label_gives_way_and_is_left_out_where_there_is_no_room():
    sheet = make_map()
    places = ((0.0, 3.0), (0.0, -3.0))
    assert ground.write_label(sheet, (50, 40), "first", 6, places)
    assert ground.write_label(sheet, (50, 40), "second", 6, places)
    assert not ground.write_label(sheet, (50, 40), "third", 6, places)
    assert texts_on(sheet) == ["first", "second"]
    assert sheet.axes.texts[0].get_position()[1] > sheet.axes.texts[1].get_position()[1]


def test_no_label_leaves_the_frame():
    sheet = make_map()
    assert not ground.write_label(
        sheet, (99.5, 40), "long words here", 8, ((0.0, 0.0),)
    )


def test_a_label_beside_its_point_does_not_cover_it():
    sheet = make_map()
    assert ground.write_label(sheet, (50, 40), "beside", 6, ((3, 0),), beside=True)
    assert sheet.axes.texts[0].get_position()[0] > 53


def test_crosses_stand_every_forty_millimetres_with_their_coordinates():
    paper = Paper(420, 297)
    bounds = (500_000.0, 5_130_000.0, 500_144.0, 5_130_126.0)
    sheet = make_sheet(paper.figure, bounds, (18, 34, 288))
    eastings = ground.draw_ticks(sheet, (18, 34), 500)
    assert np.diff(eastings).tolist() == [20.0] * (len(eastings) - 1)
    told = {text.get_text(): text.get_position() for text in paper.axes.texts}
    assert told["E 500040"][0] - told["E 500020"][0] == pytest.approx(40.0)
    assert told["N 5130040"][1] - told["N 5130020"][1] == pytest.approx(40.0)
    # 20 m of ground from the western edge are 40 mm from the drawing's left side.
    assert told["E 500020"][0] == pytest.approx(18 + 40)


def test_a_service_carries_its_uncertainty_and_indicative_only_on_the_line_itself():
    sheet = make_map()
    line = shapely.LineString([(5, 40), (95, 45)])
    zone = Zone("main", "service", "sketch", 2.0, line, line.buffer(2.5))
    ground.draw_zone(sheet, zone)
    (text,) = sheet.axes.texts
    assert text.get_text() == "NO DIG  main, ± 2 m: indicative only"
    assert line.distance(shapely.Point(text.get_position())) < 7.0
    assert text.get_color() == styles.NO_DIG


def test_a_zone_off_the_sheet_is_not_drawn():
    sheet = make_map()
    shape = shapely.Point(500, 500).buffer(5)
    before = len(sheet.axes.collections)
    ground.draw_zone(sheet, Zone("far", "kept ground", "", 0.0, shape, shape))
    assert len(sheet.axes.collections) == before


def make_lanes(count):
    shapes = [shapely.box(5 + 9 * i, 10, 9 + 9 * i, 50 + i) for i in range(count)]
    frame = {"kind": ["cold-air lane"] * count, "width_m": [4.0] * count}
    return GeoDataFrame(frame, geometry=shapes, crs=32633)


def test_lanes_are_all_drawn_but_only_the_largest_are_named(small_survey):
    sheet = make_map()
    ground.draw_lanes(sheet, small_survey, make_lanes(9))
    named = [text for text in texts_on(sheet) if text.startswith("cold-air lane")]
    assert 1 <= len(named) <= ground.NAMED_LANES
    assert named[0] == "cold-air lane, 4 m"


def test_a_headland_says_that_machines_turn_there(small_survey):
    sheet = make_map()
    lane = make_lanes(1).assign(kind="headland")
    lane = lane.set_geometry(lane.translate(xoff=45))
    ground.draw_lanes(sheet, small_survey, lane)
    assert texts_on(sheet) == ["headland, 4 m: turning"]


# ------------------------------------------------------------------ the parts


def test_an_unknown_cost_is_called_not_known(plan):
    flow = Flow("foot")
    work.write_quantities(flow, plan)
    text = written(flow)
    assert "not known" in text
    assert "once" in text
    assert "[2] Common practice, no source." in text


def test_sources_are_told_once_each_below_the_table(plan):
    flow = Flow("foot")
    doubled = pd.concat([plan.quantities, plan.quantities], ignore_index=True)
    work.write_quantities(flow, replace(plan, quantities=doubled))
    assert written(flow).count("Common practice, no source.") == 1


def test_without_a_gate_the_narrowest_way_in_is_to_be_measured(planned):
    flow = Flow("foot")
    work.write_zones(flow, planned, planned.plan)
    assert "Gates: none is planned; measure the narrowest way in" in written(flow)


def test_kept_ground_is_listed_with_its_area_and_distance(planned):
    flow = Flow("foot")
    work.write_zones(flow, planned, planned.plan)
    text = written(flow)
    assert "spring that feeds the trough" in text
    # A circle of 12 m radius about (300, 400); the row begins at (300, 440).
    assert "450 m²" in text
    assert "28.0 m" in text


def with_service(survey, certainty, north):
    west, south = survey.site.grid.west, survey.site.grid.bounds[1]
    line = shapely.LineString(
        [(west + 280, south + north), (west + 400, south + north)]
    )
    frame = GeoDataFrame(
        {"name": ["main"], "kind": ["water"], "certainty": [certainty]},
        geometry=[line],
        crs=survey.site.grid.crs,
    )
    vectors = {**survey.site.vectors, "services": frame}
    given = survey.site.given | {"services"}
    return replace(survey, site=replace(survey.site, vectors=vectors, given=given))


@pytest.mark.parametrize(
    ("certainty", "north", "said"),
    [
        ("± 2 m", 450, "No plant stands where one of these lines may lie"),
        ("± 12 m", 450, "12 plants within reach of a line: 1-1-01"),
        ("± 1 m", 440, "12 plants within reach of a line"),
    ],
)
def test_plants_where_a_line_may_lie_are_named(planned, certainty, north, said):
    survey = with_service(planned, certainty, north)
    flow = Flow("foot")
    work.write_services(flow, survey, survey.plan)
    assert said in written(flow)


def test_a_service_that_is_far_away_is_said_to_be(planned):
    survey = with_service(planned, "± 2 m", 130)
    flow = Flow("foot")
    work.write_services(flow, survey, survey.plan)
    assert "None of the lines given lies near the work." in written(flow)


def test_without_services_the_part_says_what_would_mend_it(planned):
    flow = Flow("foot")
    told = replace(planned.plan, missing={"services": "Give [site] services."})
    work.write_services(flow, planned, told)
    assert "Missing: Give [site] services." in written(flow)


def test_water_near_the_work_asks_for_a_permit_first(planned):
    flow = Flow("foot")
    work.write_permits(flow, planned, planned.plan)
    # The mere ends 100 m north of the southern edge, the row stands at 440 m.
    assert "nearest water 340 m from the work, beyond the 50 m" in written(flow)


def test_the_area_to_ask_for_is_that_of_the_blocks_not_of_what_lies_between(planned):
    plants = planned.plan.plants
    half = len(plants) // 2
    far = plants.geometry.iloc[half:].translate(xoff=2000.0)
    moved = plants.assign(
        block=["1"] * half + ["2"] * (len(plants) - half),
        geometry=[*plants.geometry.iloc[:half], *far],
    )
    plan = replace(planned.plan, plants=moved)
    assert zones.planted_area(plan) <= zones.planted_area(planned.plan) + 1e-6


def test_what_is_known_of_monuments_is_looked_up_in_part_six(planned):
    flow = Flow("foot")
    work.write_permits(flow, planned, planned.plan)
    known = "part 6 names what is known" in written(flow)
    assert known is (len(planned.site.vectors["no_go"]) > 0)


def test_hold_points_name_the_first_hole(planned):
    flow = Flow("foot")
    work.write_rules(flow, planned, planned.plan)
    text = written(flow)
    assert "Begin with 1-1-01." in text
    assert "16 points in all." in text
    assert "No fence here." in text


@pytest.mark.parametrize(("count", "taped"), [(12, 2), (40, 4), (41, 5), (5, 1)])
def test_one_plant_in_ten_is_taped_rounded_up(planned, count, taped):
    grid = planned.site.grid
    plants = make_plants(grid.west, grid.bounds[1], grid.crs, count=count)
    flow = Flow("foot")
    work.write_acceptance(flow, replace(planned.plan, plants=plants))
    text = written(flow)
    assert f"Tape {taped} of {count} plants" in text
    listed = text.split("Plants to tape")[1]
    assert len(re.findall(r"1-1-\d\d", listed)) == taped


def test_the_form_asks_for_all_that_must_come_back(planned):
    flow = Flow("foot")
    work.write_form(flow, planned, planned.plan)
    text = written(flow)
    assert all(asked in text for asked in rules.FORM)
    assert "block 1 pear 12" in text


def test_an_input_that_is_missing_is_told_under_its_part(plan):
    flow = Flow("foot")
    lacking = replace(
        plan, missing={"snow_m": "Usual snow is assumed.", "need": "None."}
    )
    assert front.tell_missing(flow, lacking, "snow_m")
    assert not front.tell_missing(flow, lacking, "services")
    assert written(flow) == "Missing: Usual snow is assumed."


def test_the_check_lengths_are_those_of_the_list(planned):
    flow = Flow("foot")
    front.write_marks(flow, planned, planned.plan)
    points = planned.plan.setting_out.set_index("id")
    text = written(flow)
    assert f"A to 1-1-01 {points.loc['1-1-01', 'from_a_m']:.2f} m" in text
    assert f"B to 1-1-01 {points.loc['1-1-01', 'from_b_m']:.2f} m" in text
    assert "A to B 80.00 m" in text


# Source: scale of UTM on its middle line, 0.9996: 100 m of grid are 100.04 m of ground.
def test_what_the_grid_adds_to_a_tape_is_told(planned):
    flow = Flow("foot")
    front.write_marks(flow, planned, planned.plan)
    assert "100 m of this grid is 40 mm longer on level ground" in written(flow)


def test_the_contents_lead_to_the_pages_of_the_parts(planned):
    flow = Flow("foot")
    sheets = [plan_sheets(planned.plan, form) for form in (A3, A4)]
    place = front.write_front(flow, planned, planned.plan, sheets, DAY)
    flow.turn()
    flow.part("2  Control marks and baseline")
    front.write_contents(flow, place, 0.0)
    first = [line.text for line in flow.pages[0].letters.lines]
    assert "2  Control marks and baseline" in first
    assert "page 2" in first


@pytest.mark.parametrize(
    ("part", "cautions"),
    [
        (work.write_zones, ("slopes", "overhead", "frost", "saws")),
        (work.write_services, ("digging",)),
        (work.write_permits, ("permission", "water", "wildlife", "fence", "standing")),
        (work.write_rules, ("digging", "holes")),
    ],
)
def test_cautions_stand_on_the_part_where_they_apply(planned, part, cautions):
    flow = Flow("foot")
    part(flow, planned, planned.plan)
    text = written(flow)
    for name in cautions:
        assert rules.CAUTIONS[name] in text, name


def test_details_carry_the_cautions_of_wood_and_of_open_holes(planned):
    flow = Flow("foot")
    sheets = [plan_sheets(planned.plan, form) for form in (A3, A4)]
    front.write_drawings(flow, planned, planned.plan, sheets)
    text = written(flow)
    assert rules.CAUTIONS["wood"] in text
    assert rules.CAUTIONS["holes"] in text
    assert "fall of 1:200 or more" in text
    assert "plan-a3.pdf: 1:500 on A3, 1 sheet." in text


def test_no_caution_is_left_on_no_sheet(planned):
    flow = Flow("foot")
    sheets = [plan_sheets(planned.plan, form) for form in (A3, A4)]
    front.write_front(flow, planned, planned.plan, sheets, DAY)
    front.write_drawings(flow, planned, planned.plan, sheets)
    for part in (
        work.write_zones,
        work.write_services,
        work.write_permits,
        work.write_rules,
    ):
        part(flow, planned, planned.plan)
    text = written(flow)
    assert [name for name, said in rules.CAUTIONS.items() if said not in text] == []


def test_years_are_told_with_what_binds(plan):
    years = pd.DataFrame(
        {
            "year": [1, 2],
            "blocks": ["1", "1, 2"],
            "area_m2": [89.2, 33.8],
            "kept_m2": [40.0, 129.2],
            "trees": [14, 5],
            "money": [728.0, 260.0],
            "mulch_m3": [17.39, 17.99],
            "days": [4.96, 5.21],
            "binding": ["mulch of that year", "working days"],
            "ceiling_m2": [180.0, 180.0],
        }
    )
    flow = Flow("foot")
    work.write_quantities(flow, replace(plan, years=years))
    text = written(flow)
    assert "By year" in text
    assert "mulch of that year" in text
    assert "working days" in text
    assert "Twelve trees." in text
    assert "728" in text
    assert "17.4" in text


def test_an_edge_that_never_pays_back_is_said_not_to(plan):
    edges = pd.DataFrame(
        {
            "edge": ["steel", "spade-cut strip"],
            "price_m": [12.0, 0.0],
            "days_m": [0.003, 0.008],
            "mulch_saved_m3": [5.4, 6.0],
            "cost": [1200.0, 0.0],
            "pays_back_years": [np.inf, 2.0],
            "source": ["common practice, no source"] * 2,
        }
    )
    flow = Flow("foot")
    work.write_quantities(flow, replace(plan, edges=edges))
    text = written(flow)
    assert "Ways to hold the edge of the mulch" in text
    assert "never" in text
    assert "inf" not in text


def test_nothing_is_missing_is_said_too(planned):
    sheets = [plan_sheets(planned.plan, form) for form in (A3, A4)]
    flow = Flow("foot")
    front.write_front(flow, planned, planned.plan, sheets, DAY)
    assert "No part lacks an input." in written(flow)
    lacking = replace(planned.plan, missing={"snow_m": "Usual snow is assumed 0.3 m."})
    flow = Flow("foot")
    front.write_front(flow, planned, lacking, sheets, DAY)
    assert "Snow: Usual snow is assumed 0.3 m." in written(flow)


@pytest.mark.parametrize("form", [A3, A4])
def test_every_plant_and_both_ends_of_the_baseline_are_on_the_plan(planned, form):
    sheets = plan_sheets(planned.plan, form)
    shown = shapely.union_all([shapely.box(*w.bounds) for w in sheets.windows])
    places = [
        *planned.plan.plants.geometry,
        *map(shapely.Point, planned.plan.baseline.points),
    ]
    assert all(shown.contains(place) for place in places)


def test_lanes_of_one_kind_are_told_together(planned):
    flow = Flow("foot")
    lanes = make_lanes(3)
    work.write_zones(flow, planned, replace(planned.plan, lanes=lanes))
    text = written(flow)
    # Three lanes 4 m wide and 40, 41 and 42 m long: 492 m².
    assert "3 cold-air lanes, 4 m wide, 490 m² in all, kept open" in text
    assert "no spoil, no stack" in text
