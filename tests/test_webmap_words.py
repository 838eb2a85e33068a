"""What the web map says, before a browser draws it."""

import json
import re
from base64 import b64decode, b64encode
from dataclasses import replace
from datetime import date
from hashlib import sha256
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Transformer

from sitekit.cartography.images import WEB, find_frame
from sitekit.cartography.styles import LAYER_STYLES, find_style
from sitekit.errors import OutputError
from sitekit.grid import Grid
from sitekit.results import Survey
from sitekit.webmap import answer, questions, reading, shapes, spots, write_map
from sitekit.webmap.map import gather, make_page

DAY = date(2026, 11, 25)
HOSTILE = '</script><img src=x onerror="alert(1)">`${alert(2)}'


class Page(HTMLParser):
    """The scripts, styles and attributes of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.texts: dict[str, list[str]] = {"script": [], "style": []}
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        if self.tags and self.tags[-1][0] in self.texts:
            self.texts[self.tags[-1][0]].append(data)

    @property
    def data(self):
        return json.loads(next(t for t in self.texts["script"] if t.startswith("{")))


def with_layer(survey: Survey, name: str, values, units: str = "degC") -> Survey:
    grid = survey.site.grid
    layer = grid.wrap(values.astype(np.float32), name, units=units)
    return replace(survey, layers=survey.layers.assign({name: layer}))


def frosty(survey: Survey) -> Survey:
    """The same survey with a night offset from -4 to +2 degC and its doubt."""
    rows = np.indices(survey.site.grid.shape)[0]
    survey = with_layer(survey, "frost_night_offset", 2 - 6 * rows / 119)
    return with_layer(survey, "frost_night_offset_sd", np.ones(rows.shape))


def options_of(survey: Survey) -> dict[str, dict]:
    return {option["id"]: option for option in questions.ask_ground(survey)[0]}


# --- the page -----------------------------------------------------------------


def test_the_same_survey_and_day_give_the_same_bytes(small_survey, tmp_path):
    for name in ("a.html", "b.html"):
        write_map(small_survey, tmp_path / name, today=DAY)
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


def test_the_policy_names_the_very_scripts_and_style_of_the_page(
    small_survey, tmp_path
):
    write_map(small_survey, tmp_path / "map.html", today=DAY)
    text = (tmp_path / "map.html").read_bytes().decode("utf-8")
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1]
    bodies = re.findall(r"<script>(.*?)</script>|<style>(.*?)</style>", text, re.S)
    assert len(bodies) == 3
    for body in bodies:
        # Source: W3C Content Security Policy Level 3, section 2.3.1 (hash-source).
        digest = sha256("".join(body).encode("utf-8")).digest()
        assert f"'sha256-{b64encode(digest).decode()}'" in policy
    assert policy.startswith("default-src 'none'; img-src data:;")
    assert "unsafe" not in policy


def test_the_page_names_nothing_to_fetch(small_survey):
    page = Page(make_page(small_survey, DAY))
    for _, attributes in page.tags:
        for name in ("src", "href", "action"):
            assert (attributes.get(name) or "data:").startswith("data:")
    assert not any("style" in attributes for _, attributes in page.tags)
    style = "".join(page.texts["style"])
    assert "@import" not in style
    assert set(re.findall(r"url\((.{5})", style)) <= {"data:"}
    assert "sourceMappingURL" not in "".join(page.texts["script"])


def test_hostile_words_stay_inside_the_data(small_survey):
    survey = replace(
        small_survey, answer=replace(small_survey.answer, headline=HOSTILE)
    )
    text = make_page(survey, DAY)
    assert HOSTILE not in text
    assert "<img" not in text
    assert Page(text).data["told"]["headline"] == HOSTILE


def test_the_page_may_be_pinched_larger_and_says_its_language(small_survey):
    page = Page(make_page(small_survey, DAY))
    viewport = next(a for t, a in page.tags if a.get("name") == "viewport")
    assert viewport["content"] == "width=device-width, initial-scale=1"
    assert dict(page.tags)["html"]["lang"] == "en-GB"


def test_a_folder_that_is_not_there_gives_one_clear_sentence(small_survey, tmp_path):
    with pytest.raises(OutputError, match=r"map\.html.*cannot be written"):
        write_map(small_survey, tmp_path / "none" / "map.html", today=DAY)


def test_the_page_of_a_small_survey_is_light_enough_for_a_letter(small_survey):
    assert len(make_page(small_survey, DAY).encode("utf-8")) < 650_000


def test_a_survey_without_any_finding_still_makes_a_page(small_survey):
    bare = {
        name: getattr(small_survey, name).iloc[:0]
        for name in (
            "spots",
            "blocks",
            "frost_pockets",
            "cold_air_paths",
            "contours",
            "existing_trees",
            "notes",
        )
    }
    data = gather(replace(small_survey, **bare), [], DAY)
    assert data["blocks"] == []
    assert data["pockets"] == []
    assert data["first"] == "apple"


# --- words of the margin and the popups -----------------------------------------


def test_the_stamp_is_bold_in_its_first_sentence(small_survey):
    told = answer.tell_answer(small_survey)
    assert told["stamp"] == [
        "From terrain only.",
        "No thermometer has stood on this ground yet.",
    ]


def test_what_is_absent_is_said_with_what_it_needs(small_survey):
    told = answer.tell_answer(small_survey)
    assert told["absent"] == ["Last spring frost, 1 year in 10 later: needs records"]


def test_the_map_opens_with_the_best_fruit_of_the_best_block(small_survey):
    blocks = small_survey.blocks.copy()
    best = (blocks["block"] == 1) & (blocks["fruit"] == "pear")
    blocks.loc[best, "score"] = 75.0
    assert answer.choose_fruit(replace(small_survey, blocks=blocks)) == "pear"


def test_a_block_names_its_class_and_every_fruit_of_that_class(small_survey):
    blocks = {b["block"]: b for b in answer.draw_blocks(small_survey)}
    assert blocks[1]["fruit"]["pear"]["line"] == "with conditions: pears and apples"
    popup = blocks[1]["fruit"]["pear"]["popup"]
    assert popup["title"] == "Block 1, Upper Bank"
    assert popup["lead"] == [
        "with conditions",
        " for pears. Sun 6 h a day while fruit ripens; drainage not tested.",
    ]
    assert ["Size", "8.5\u00a0ha"] in popup["rows"]
    assert any(label == "Confidence" for label, *_ in popup["rows"])


@pytest.mark.parametrize(
    ("chance", "rank", "reason", "told"),
    [
        (
            0.51,
            "low",
            "Cold.",
            "low: holds with 5 chances in ten, the night may be out",
        ),
        (
            0.69,
            "low",
            "Cold.",
            "low: holds with 6 chances in ten, the night may be out",
        ),
        (
            0.7,
            "fair",
            "Cold.",
            "fair: holds with 7 chances in ten, the night may be out",
        ),
        (
            0.02,
            "low",
            "Cold.",
            "low: holds with 1 chance in ten, the night may be out",
        ),
        (0.95, "fair", "Steep; drainage not tested.", "fair: nobody has dug here"),
        (0.95, "good", "Steep.", "good"),
        (
            float("nan"),
            "fair",
            "Steep; drainage not tested.",
            "fair: nobody has dug here",
        ),
        (0.4, "", "", "not known"),
    ],
)
def test_a_popup_says_why_a_class_is_not_surer(
    small_survey, chance, rank, reason, told
):
    row = {"class_chance": chance, "confidence": rank, "reason": reason}
    assert answer.tell_confidence(row, replace(small_survey, years=None)) == told


def test_a_coarse_elevation_is_named_where_confidence_is_low(small_survey):
    site = small_survey.site
    coarse = replace(site, model=replace(site.model, source_cell=30.0))
    made = replace(small_survey, site=coarse)
    row = {"class_chance": 0.99, "confidence": "low", "reason": "Steep."}
    assert answer.tell_confidence(row, made) == "low: the elevation is coarse"


def test_poor_crop_years_are_told_only_where_they_are_known(small_survey):
    for block in answer.draw_blocks(small_survey):
        assert block["fruit"]["apple"]["years"] == []
    table = small_survey.fruit_by_block.copy()
    table[["poor_crop_years", "low", "high"]] = [1.2, 0.3, 2.4]
    for block in answer.draw_blocks(replace(small_survey, fruit_by_block=table)):
        told = block["fruit"]["apple"]
        assert told["years"] == ["1 in ten", "may be 0 to 2"]
        assert told["popup"]["rows"][0] == [
            "Poor-crop years",
            "1 in ten, may be 0 to 2",
            [1, 0, 2],
        ]


def in_years(survey: Survey, poor: float = 1.2) -> Survey:
    """The same survey with years: of two groups the usual one stands first."""
    usual = survey.fruit_by_block.assign(
        group="autumn",
        poor_crop_years=poor,
        low=0.3,
        high=2.4,
        ripening="ripens in 9 years of ten",
        winter="stands the winter (−24\u00a0°C once in 30 years)",
    )
    other = usual.assign(group="late", poor_crop_years=9.0, ripening="never")
    table = pd.concat([usual, other]).sort_values(["block", "fruit"], kind="stable")
    spots = survey.spots.assign(poor_crop_years=poor)
    return replace(survey, fruit_by_block=table, spots=spots)


def test_the_popup_of_a_block_tells_ripening_and_winter_of_the_usual_group(
    small_survey,
):
    block = answer.draw_blocks(in_years(small_survey))[0]
    names = [line[0] for line in block["fruit"]["pear"]["popup"]["rows"]]
    assert names[:3] == ["Poor-crop years", "Ripening", "Winter"]
    rows = dict(line[:2] for line in block["fruit"]["pear"]["popup"]["rows"])
    assert rows["Poor-crop years"] == "1 in ten, may be 0 to 2"
    assert rows["Ripening"] == "ripens in 9 years of ten"
    assert rows["Winter"].startswith("stands the winter")


def test_the_popup_of_a_block_without_a_record_tells_no_years(small_survey):
    block = answer.draw_blocks(small_survey)[0]
    names = {line[0] for line in block["fruit"]["pear"]["popup"]["rows"]}
    assert not names & {"Poor-crop years", "Ripening", "Winter"}


def test_fewer_than_half_a_year_is_not_none(small_survey):
    block = answer.draw_blocks(in_years(small_survey, poor=0.2))[0]
    assert block["fruit"]["pear"]["years"] == ["under 1 in ten", "may be 0 to 2"]


def test_a_spot_tells_its_own_years_and_the_range_of_its_block(small_survey):
    drawn = spots.draw_spots(in_years(small_survey, poor=0.8))
    told = [drawn["texts"][i] for i in drawn["fruit"]["pear"]["rows"][1][3:]]
    assert told[4] == "1 in ten (its block may be 0 to 2)"
    assert told[5] == "ripens in 9 years of ten"
    assert told[6].startswith("stands the winter")
    assert told[7] == "fair: nobody has dug here"


def test_a_spot_without_a_record_tells_no_years(small_survey):
    drawn = spots.draw_spots(small_survey)
    told = [drawn["texts"][i] for i in drawn["fruit"]["pear"]["rows"][1][3:]]
    assert told[4:7] == ["", "", ""]


def test_the_night_of_a_block_is_told_against_the_reference(small_survey):
    block = answer.draw_blocks(frosty(small_survey))[2]
    rows = dict(line[:2] for line in block["fruit"]["apple"]["popup"]["rows"])
    assert rows["Clear still night"] == "−2\u00a0°C against the house (±\u00a01)"


def test_every_spot_of_a_fruit_is_there_and_says_why(small_survey):
    drawn = spots.draw_spots(small_survey)
    assert drawn["every"] == 1
    assert {f: len(v["rows"]) for f, v in drawn["fruit"].items()} == {
        "apple": 84,
        "pear": 84,
    }
    first = drawn["fruit"]["pear"]["rows"][1]
    told = [drawn["texts"][i] for i in first[3:]]
    assert drawn["fruit"]["pear"]["names"][1] == "pear-01-002"
    assert told[1].endswith("drainage not tested.")
    assert told[2] == "8\u00a0%, to the south"
    # A circle a third of the spacing wide: here 30 m apart.
    assert drawn["fruit"]["pear"]["radius"] == pytest.approx(5.0)


def test_a_spot_lies_where_it_was_found_to_a_decimetre(small_survey):
    drawn = spots.draw_spots(small_survey)
    grid = small_survey.site.grid
    pears = small_survey.spots[small_survey.spots["fruit"] == "pear"]
    longitudes, latitudes = grid.degrees(pears.geometry.x, pears.geometry.y)
    rows = np.array(drawn["fruit"]["pear"]["rows"])
    assert np.abs(drawn["origin"][0] + rows[:, 0] / 1e6 - latitudes).max() < 1.5e-6
    assert np.abs(drawn["origin"][1] + rows[:, 1] / 1e6 - longitudes).max() < 1.5e-6


def test_not_for_setting_out_is_said_once(small_survey):
    (own, added) = answer.tell_answer(small_survey)["cautions"]
    assert own == "No class here means that there is no frost."
    assert added.startswith("Not for setting out")
    told = replace(small_survey.answer, cautions=("Not for setting out: no pack.",))
    assert answer.tell_answer(replace(small_survey, answer=told))["cautions"] == [
        "Not for setting out: no pack."
    ]


def test_a_layer_that_is_nowhere_known_is_not_offered(small_survey):
    nothing = np.full(small_survey.site.grid.shape, np.nan)
    survey = with_layer(small_survey, "frost_night_offset", nothing)
    assert "frost_night_offset" not in options_of(survey)


def test_on_good_ground_nothing_limits_yet(small_survey):
    blocks = small_survey.blocks.copy()
    blocks["site_class"] = "good"
    block = answer.draw_blocks(replace(small_survey, blocks=blocks))[0]
    assert block["fruit"]["pear"]["popup"]["rows"][0][0] == "First to limit it"


def test_too_many_spots_are_thinned_and_that_is_said(small_survey, monkeypatch):
    monkeypatch.setattr(spots, "MOST_SPOTS", 50)
    drawn = spots.draw_spots(small_survey)
    assert drawn["every"] == 4
    assert sum(len(f["rows"]) for f in drawn["fruit"].values()) == 42


# --- questions and keys ---------------------------------------------------------


def test_only_layers_of_this_survey_are_asked_about(small_survey):
    assert list(options_of(small_survey)) == [
        "site_class",
        "score",
        "pooling_depth",
        "sunshine_hours_ripening",
        "distance_to_water",
        "wind_exposure",
        "slope",
        "wetness_index",
        "relative_height",
    ]


def test_every_picture_belongs_to_a_question(small_survey):
    options, pictures = questions.ask_ground(small_survey)
    asked = [name for option in options for name in option["layers"].values()]
    assert sorted(asked) == sorted(pictures)


@pytest.mark.parametrize("style", LAYER_STYLES, ids=lambda s: s.pattern)
def test_a_key_has_at_most_seven_rows_and_its_unit_in_the_first(style):
    if not style.breaks:
        style = replace(style, breaks=(100.0, 110.0, 120.0, 130.0, 140.0))
    rows = questions.key_rows(style)
    assert len(rows) == len(style.breaks) + 1 <= 7
    unit = {"date": "", "years in ten": "in ten"}.get(style.unit, style.unit)
    assert rows[0]["text"].endswith(unit)
    assert len({row["text"] for row in rows}) == len(rows)


def test_the_key_of_degrees_is_written_with_signs():
    style = find_style("frost_night_offset")
    assert style is not None
    rows = questions.key_rows(style)
    assert [row["text"] for row in rows] == [
        "under −3\u00a0°C",
        "−3 to −2",
        "−2 to −1",
        "−1 to −0.5",
        "−0.5 to +0.5",
        "+0.5 to +1",
        "over +1",
    ]
    assert [row.get("line", "") for row in rows] == [
        "lines-close",
        "lines-close",
        "lines-middle",
        "lines-wide",
        "",
        "",
        "",
    ]


def test_the_label_of_the_night_names_the_reference(small_survey):
    label = options_of(frosty(small_survey))["frost_night_offset"]["label"]
    assert label == "Clear still night, against the house"


def test_ground_that_is_not_certain_has_dots_instead_of_lines(small_survey):
    survey = frosty(small_survey)
    codes = options_of(survey)["frost_night_offset"]["codes"]["frost_night_offset"]
    assert set(codes) == {"dots", "lines-middle", "lines-close"}
    grid = survey.site.grid

    def holds(code: str, offset: float) -> bool:
        row = round((2 - offset) * 119 / 6)
        where = shapely.Point(*grid.degrees(grid.eastings[80], grid.northings[row]))
        return any(
            shapely.Polygon([p[::-1] for p in rings[0]]).contains(where)
            for rings in codes[code]
        )

    assert holds("dots", -0.6)
    assert holds("dots", 0.8)
    assert holds("lines-middle", -1.5)
    assert not holds("dots", -1.5)
    assert holds("lines-close", -3.0)
    assert not holds("lines-middle", -3.0)


def test_breaks_of_dates_follow_the_site_in_whole_weeks(small_survey):
    days = np.full(small_survey.site.grid.shape, 132.0)
    survey = with_layer(small_survey, "last_spring_frost", days, "day of year")
    rows = options_of(survey)["last_spring_frost"]["rows"]
    assert [row["text"] for row in rows] == [
        "before 29 April",
        "29 April to 6 May",
        "6 May to 13 May",
        "13 May to 20 May",
        "20 May to 27 May",
        "from 27 May",
    ]


@pytest.mark.parametrize(
    ("layer", "value", "question", "said"),
    [
        ("poor_crop_years_pear", 1.4, "What may stand here?", "usual group"),
        ("last_spring_frost", 127.0, "Where is it cold?", "1 year in 10"),
        ("frost_free_days", 151.0, "Is the season long enough?", "middle year"),
        ("heat_sum", 1900.0, "Is the season long enough?", "Over 5 °C"),
    ],
)
def test_layers_of_the_years_have_their_question_and_say_what_they_count(
    small_survey, layer, value, question, said
):
    values = np.full(small_survey.site.grid.shape, value)
    options = options_of(with_layer(small_survey, layer, values))
    option = options[layer.removesuffix("_pear")]
    assert option["question"] == question
    assert said in option["note"]
    assert len(option["rows"]) in (5, 6)


def test_missing_ground_of_a_layer_is_outlined_for_its_question_marks(small_survey):
    slope = small_survey.layers["slope"].to_numpy().copy()
    slope[10:20, 10:30] = np.nan
    survey = with_layer(small_survey, "slope", slope, "degree")
    gaps = options_of(survey)["slope"]["missing"]["slope"]
    assert len(gaps) == 1
    to_grid = Transformer.from_crs(4326, survey.site.grid.crs, always_xy=True)
    corners = [to_grid.transform(p[1], p[0]) for p in gaps[0][0]]
    # 10 rows and 20 columns of 5 m.
    assert shapely.Polygon(corners).area == pytest.approx(5000, rel=0.02)


def test_refused_and_foreign_ground_is_not_called_unknown(small_survey):
    assert options_of(small_survey)["score"]["missing"] == {
        "score_apple": [],
        "score_pear": [],
    }


# --- the reading grid -------------------------------------------------------------


def read_at(made: dict, label: str, row: int, column: int) -> str:
    line = next(line for line in made["lines"] if line["label"] == label)
    cells = np.frombuffer(b64decode(line["cells"]), f"<u{line['bytes']}")
    return str(line["texts"][cells.reshape(made["shape"])[row, column]])


def test_the_reading_says_what_the_layers_say(small_survey):
    made = reading.make_reading(small_survey)
    row, column = (n // 2 for n in made["shape"])
    assert read_at(made, "Slope", row, column) == "8\u00a0%"
    assert read_at(made, "Cold air held", row, column) == "none found"
    assert read_at(made, "Cold air held", row * 7 // 4, column) == "2.5\u00a0m"
    assert re.fullmatch(
        r"\d(\.5)?\u00a0h a day", read_at(made, "Sun while ripening", row, 9)
    )


def test_the_reading_tells_frost_as_a_date_and_heat_to_ten_degree_days(small_survey):
    shape = small_survey.site.grid.shape
    survey = with_layer(small_survey, "last_spring_frost", np.full(shape, 132.0), "d")
    survey = with_layer(survey, "heat_sum", np.full(shape, 1943.0), "degC day")
    made = reading.make_reading(survey)
    row, column = (n // 2 for n in made["shape"])
    assert read_at(made, "Last frost, 1 year in 10 later", row, column) == "12 May"
    assert read_at(made, "Heat sum", row, column) == "1940\u00a0degree days"


def test_the_reading_of_a_night_has_its_doubt(small_survey):
    made = reading.make_reading(frosty(small_survey))
    told = read_at(made, "Clear still night", 3, 20)
    assert told == "+2\u00a0°C against the house (±\u00a01)"


def test_ground_without_a_value_reads_not_known(small_survey):
    held = np.full(small_survey.site.grid.shape, np.nan)
    made = reading.make_reading(with_layer(small_survey, "pooling_depth", held, "m"))
    row, column = (n // 2 for n in made["shape"])
    assert read_at(made, "Cold air held", row, column) == "not known"


def test_the_reading_grid_has_at_most_forty_thousand_cells():
    grid = Grid(CRS.from_epsg(32633), 5e5, 5.13e6, 2.0, (2000, 1500))
    assert np.prod(find_frame(grid, most=reading.MOST_CELLS).shape) <= 40_000


@given(st.floats(-1, 1), st.floats(-1, 1))
def test_coordinates_of_a_reading_are_right_to_a_tenth_of_a_metre(x, y):
    # Reference: PROJ. Ground far from its central meridian, 4 km across.
    grid = Grid(CRS.from_epsg(25832), 660_000.0, 6_655_000.0, 5.0, (800, 800))
    frame = find_frame(grid, most=reading.MOST_CELLS)
    fit = reading.fit_coordinates(grid, frame)
    at = [m + h * v for m, h, v in zip(fit["middle"], fit["half"], (x, y), strict=True)]
    wanted = Transformer.from_crs(WEB, grid.crs, always_xy=True).transform(*at)
    terms = [x**i * y**j for i in range(4) for j in range(4)]
    assert np.dot(terms, fit["east"]) == pytest.approx(wanted[0], abs=0.1)
    assert np.dot(terms, fit["north"]) == pytest.approx(wanted[1], abs=0.1)


# --- shapes -----------------------------------------------------------------------


def test_water_is_drawn_as_far_as_the_data_reach(small_survey):
    site = small_survey.site
    west, south, east, _ = site.grid.bounds
    wide = site.vectors["water"].set_geometry(
        [shapely.box(west - 900, south - 900, east + 900, south + 100)]
    )
    survey = replace(
        small_survey, site=replace(site, vectors={**site.vectors, "water": wide})
    )
    (drawn,) = shapes.draw_water(survey)
    to_grid = Transformer.from_crs(4326, site.grid.crs, always_xy=True)
    corners = np.array([to_grid.transform(p[1], p[0]) for p in drawn["rings"][0][0]])
    assert corners[:, 0].min() == pytest.approx(west, abs=0.2)
    assert drawn["name"] == "Still Mere"


def test_wider_paths_drain_more_ground(small_survey):
    assert [p["strength"] for p in shapes.draw_paths(small_survey)] == [0, 1, 2]


def test_a_hedge_is_grown_and_a_wall_is_built(small_survey):
    site = small_survey.site
    barriers = pd.concat([site.vectors["barriers"]] * 2, ignore_index=True)
    barriers["kind"] = ["hedge", "wall"]
    survey = replace(
        small_survey, site=replace(site, vectors={**site.vectors, "barriers": barriers})
    )
    assert [b["grown"] for b in shapes.draw_barriers(survey)] == [True, False]


def test_a_pocket_tells_its_depth_size_and_cause(small_survey):
    popup = shapes.draw_pockets(small_survey)[0]["popup"]
    assert popup["title"] == "Frost pocket 1"
    assert popup["rows"] == [
        ["Cold air held", "2.4\u00a0m deep"],
        ["Size", "0.9\u00a0ha"],
        ["Runs over at", "712\u00a0m"],
    ]


def test_writing_stands_in_the_middle_of_its_polygon():
    assert shapes.middle(shapely.box(0, 0, 100, 20)) == pytest.approx((50, 10))
    bent = shapely.Polygon([(0, 0), (100, 0), (100, 100), (80, 100), (80, 20), (0, 20)])
    assert bent.contains(shapely.Point(shapes.middle(bent)))


def test_notes_and_trees_say_how_they_stand_to_the_map(small_survey):
    note = shapes.draw_notes(small_survey)[0]["popup"]
    assert note["lead"] == ["", "Fog lay here at dawn."]
    assert ["Against the map", "agrees"] in note["rows"]
    tree = shapes.draw_trees(small_survey)[0]["popup"]
    assert tree["lead"][0] == "with conditions"


def test_ground_without_height_is_white_under_every_question(small_survey):
    elevation = small_survey.site.elevation.copy()
    elevation[5:15, 5:15] = np.nan
    survey = replace(small_survey, site=replace(small_survey.site, elevation=elevation))
    assert len(gather(survey, [], DAY)["missing"]) == 1
