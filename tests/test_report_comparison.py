"""The page that shows what proposals do."""

import re
import shutil
import subprocess
from base64 import b64decode, b64encode
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pytest
import shapely
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.colors import to_rgb
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from sitekit.cartography.drawing import make_figure, make_sheet, write_figure
from sitekit.cartography.styles import COLD_AIR, FAMILIES
from sitekit.errors import OutputError
from sitekit.grid import Grid
from sitekit.report import comparison_degrees as degrees
from sitekit.report import comparison_maps as maps
from sitekit.report.comparison import (
    CAUTIONS,
    LIMITS,
    STAMP,
    make_comparison,
    write_comparison,
)
from sitekit.report.comparison_key import key_rules
from sitekit.results import Change, Comparison, Survey

TODAY = date(2026, 11, 25)
VOID = {"meta", "link", "img", "br"}
HOSTILE = '<img src=x onerror="alert(1)"> </style></script> `${x}` & \' ]]>'
#: A4 in points of 1/72 inch. Source: ISO 216, 210 x 297 mm.
A4 = (595.28, 841.89)
CHROMIUM = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))),
    None,
)
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]


def make_layers(grid: Grid, freed: NDArray[np.float64]) -> xr.Dataset:
    """Three layers before, after and their difference; `freed` is degC milder."""
    rows, columns = np.indices(grid.shape)
    depth = np.clip((rows - 40 * grid.shape[0] / 120) / 20, 0, 2.4)
    depth *= rows < 0.6 * grid.shape[0]
    before = {
        "pooling_depth": depth,
        "cold_air_depth": depth,
        "frost_night_offset": 0.9 - 1.6 * depth - columns / 400,
    }
    made = {}
    for name, values in before.items():
        gain = freed if name == "frost_night_offset" else np.zeros(grid.shape)
        parts = {"before": values, "after": values + gain, "change": gain}
        for part, field in parts.items():
            full = f"{name}_{part}"
            made[full] = grid.wrap(field.astype(np.float32), full)
    return xr.Dataset(made)


def make_change(survey: Survey, **given: Any) -> Change:
    """One change at the hedge of the small survey, with any part replaced."""
    grid = survey.site.grid
    west, south, *_ = grid.bounds
    place = given.get("place", shapely.Point(west + 200, south + 260))
    rows, columns = np.indices(grid.shape)
    y, x = grid.northings[rows], grid.eastings[columns]
    away = np.hypot(x - west - 200, (y - south - 275) * 2)
    freed = np.where(y > south + 260, 1.4 * np.exp(-((away / 70) ** 2)), 0.0)
    below = np.hypot(x - west - 200, y - south - 238)
    freed -= np.where(y < south + 255, 1.2 * np.exp(-((below / 30) ** 2)), 0.0)
    made = Change(
        name="gap A",
        action="gap",
        verdict="improved, not cured",
        ground_milder_m2=1136.0,
        ground_colder_m2=0.0,
        mean_change_degc=0.41,
        mean_change_sd=0.12,
        receiver="the seed potatoes below",
        sentence="About 0.1 ha of Upper Bank turns 0.5 to 1 °C milder",
        remarks=("the gap carries 12 m³/s of the 30 m³/s that reach it",),
        place=place,
        pool=(y > south + 262)
        & (y < south + 292)
        & (x > west + 160)
        & (x < west + 400),
        layers=make_layers(grid, freed),
        blocks=pd.DataFrame(
            {
                "name": ["Low Meadow", "Upper Bank"],
                "milder_m2": [0.0, 1136.0],
                "colder_m2": [0.0, 0.0],
                "mean_change_degc": [0.0, 0.41],
            }
        ),
    )
    return replace(made, **given)


def make_comparison_of(survey: Survey) -> Comparison:
    west, south, *_ = survey.site.grid.bounds
    still = make_layers(survey.site.grid, np.zeros(survey.site.grid.shape))
    hedge = survey.site.vectors["barriers"].geometry.iloc[0]
    changes = (
        make_change(survey),
        make_change(
            survey,
            name="foot of the hedge",
            action="lift",
            place=hedge,
            receiver="ground to the south, below the hedge",
        ),
        make_change(
            survey,
            name="gap B",
            verdict="no change found",
            ground_milder_m2=0.0,
            mean_change_degc=0.02,
            sentence="Gap B in the middle of the hedge: no change found",
            remarks=(),
            place=shapely.Point(west + 470, south + 261),
            layers=still,
        ),
        make_change(
            survey,
            name="inlet bank",
            action="bank",
            verdict="worse",
            ground_milder_m2=0.0,
            ground_colder_m2=2300.0,
            mean_change_degc=-0.6,
            sentence="The bank turns the air onto Upper Bank, which turns colder",
            place=shapely.box(west + 390, south + 400, west + 470, south + 410),
        ),
    )
    return Comparison(survey.site, changes, survey.contours)


@pytest.fixture
def comparison(small_survey: Survey) -> Comparison:
    return make_comparison_of(small_survey)


class Page(HTMLParser):
    """A page as elements with their attributes, and its texts."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.open: list[str] = []
        self.texts: list[tuple[str, str]] = []
        self.feed(text)
        self.close()
        assert self.open == [], "every element is closed"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        made = {name: value or "" for name, value in attrs}
        assert len(made) == len(attrs), "no attribute twice"
        self.elements.append((tag, made))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag, "elements are nested"

    def handle_data(self, data: str) -> None:
        self.texts.append((self.open[-1] if self.open else "", data))

    def all(self, tag: str) -> list[dict[str, str]]:
        return [made for name, made in self.elements if name == tag]

    def text(self, *tags: str) -> str:
        return " ".join(data for tag, data in self.texts if not tags or tag in tags)

    @property
    def words(self) -> str:
        told = " ".join(data for tag, data in self.texts if tag != "style")
        return told.replace("\u00a0", " ")


def rows_of(text: str, label: str) -> list[list[str]]:
    """The cells of the body of one table."""
    body = text.split(f'aria-label="{label}"')[1].split("<tbody>")[1]
    return [
        [re.sub("<[^>]*>", "", cell) for cell in re.findall(r"<t[hd].*?</t[hd]>", row)]
        for row in body.split("</tbody>")[0].split("</tr>")[:-1]
    ]


def test_the_best_change_is_told_first_then_all_of_them(
    comparison: Comparison,
) -> None:
    page = Page(make_comparison(comparison, today=TODAY))
    order = [data for tag, data in page.texts if tag == "h2"]
    assert order == [
        "The answer",
        "All proposals",
        "gap A",
        "foot of the hedge",
        "gap B",
        "inlet bank",
        "Cautions",
        "How far to trust it",
        "Where it comes from",
    ]
    best = comparison.changes[0].sentence.replace("\u00a0", " ")
    assert page.words.index(f"{best}.") < page.words.index("All proposals")


def test_proposals_that_failed_are_named_under_the_answer(
    comparison: Comparison,
) -> None:
    answer = make_comparison(comparison, today=TODAY).split("All proposals")[0]
    assert "Tried too, no change found: gap B." in answer
    assert "Tried too, and worse than now: inlet bank." in answer


def test_the_table_has_a_row_for_each_proposal(comparison: Comparison) -> None:
    rows = rows_of(make_comparison(comparison, today=TODAY), "All proposals")
    assert [row[0] for row in rows] == [change.name for change in comparison.changes]
    assert rows[0] == [
        "gap A",
        "gap",
        "improved, not cured",
        "0.1\u00a0ha",
        "none found",
        "+0.5\u00a0°C (±\u00a00.5)",
        "the seed potatoes below",
    ]
    assert rows[3][2:6] == [
        "worse",
        "none found",
        "0.2\u00a0ha",
        "−0.5\u00a0°C (±\u00a00.5)",
    ]


def test_actions_are_told_in_words_of_the_trade(comparison: Comparison) -> None:
    rows = rows_of(make_comparison(comparison, today=TODAY), "All proposals")
    assert [row[1] for row in rows] == ["gap", "foot lifted", "gap", "bank"]


def test_means_are_told_to_half_a_degree_only(comparison: Comparison) -> None:
    small = replace(comparison.changes[0], mean_change_degc=0.19, mean_change_sd=0.74)
    text = make_comparison(replace(comparison, changes=(small,)), today=TODAY)
    assert rows_of(text, "All proposals")[0][5] == "±0\u00a0°C (±\u00a00.5)"


def test_each_proposal_is_reached_from_the_table(comparison: Comparison) -> None:
    page = Page(make_comparison(comparison, today=TODAY))
    wanted = {has["href"].removeprefix("#") for has in page.all("a")}
    assert wanted == {has["id"] for has in page.all("section") if "id" in has}
    assert len(wanted) == len(comparison.changes)


def test_each_change_shows_three_maps_remarks_and_parts_of_the_field(
    comparison: Comparison,
) -> None:
    text = make_comparison(comparison, today=TODAY)
    page = Page(text)
    assert len(page.all("img")) == 3 * len(comparison.changes)
    assert "The gap carries 12 m³/s of the 30 m³/s that reach it." in page.words
    parts = rows_of(text, "gap A, by part of the field")
    assert parts == [
        ["Low Meadow", "none found", "none found", "±0\u00a0°C"],
        ["Upper Bank", "0.1\u00a0ha", "none found", "+0.5\u00a0°C"],
    ]


def test_a_map_is_told_in_words(comparison: Comparison) -> None:
    page = Page(make_comparison(comparison, today=TODAY))
    told = [has["alt"] for has in page.all("img")][:3]
    for title, alt in zip(maps.MAPS.values(), told, strict=True):
        assert alt.startswith(f"{title}, map of the ground around gap A: ")
    assert told[2].endswith(
        "change on a clear still night from −1\u00a0°C to +1.5\u00a0°C."
    )


def test_cautions_limits_and_the_stamp_are_printed(comparison: Comparison) -> None:
    words = Page(make_comparison(comparison, today=TODAY)).words
    for text in (*CAUTIONS, *LIMITS, STAMP):
        assert text in words
    assert STAMP.startswith("From terrain only.")


def test_the_foot_carries_name_date_stamp_and_page(comparison: Comparison) -> None:
    style = Page(make_comparison(comparison, today=TODAY)).text("style")
    assert '"Test Holding, 25 November 2026. From terrain only"' in style
    assert 'counter(page) " of " counter(pages)' in style


def test_nothing_is_asked_for_outside_the_file(comparison: Comparison) -> None:
    page = Page(make_comparison(comparison, today=TODAY))
    for _, has in page.elements:
        assert has.get("src", "data:").startswith("data:")
        assert has.get("href", "data:").startswith(("data:", "#change-"))
        assert "style" not in has, "a strict policy refuses style attributes"
        assert not [name for name in has if name.startswith("on")]
    assert page.all("script") == []
    style = page.text("style")
    assert "@import" not in style
    assert re.findall(r"url\((?!\"data:)", style) == []
    for has in page.all("img"):
        head, data = has["src"].split(",", 1)
        assert head == "data:image/svg+xml;base64"
        assert not re.search(rb'href="(?!#|data:)', b64decode(data))


def test_the_policy_allows_this_style_and_no_other(comparison: Comparison) -> None:
    text = make_comparison(comparison, today=TODAY)
    style = text.split("<style>")[1].split("</style>")[0]
    digest = b64encode(sha256(style.encode()).digest()).decode()
    # Source: W3C, Content Security Policy Level 3, section 6.7.3.
    wanted = f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'"
    policies = [m["content"] for m in Page(text).all("meta") if "http-equiv" in m]
    assert policies == [wanted]


def test_the_same_comparison_gives_the_same_bytes(
    comparison: Comparison, tmp_path: Path
) -> None:
    for name in ("one.html", "two.html"):
        write_comparison(comparison, tmp_path / name, today=TODAY)
    one, two = ((tmp_path / n).read_bytes() for n in ("one.html", "two.html"))
    assert one == two
    assert b"\r" not in one


def hostile(comparison: Comparison) -> Comparison:
    """The comparison with markup in every text that a user can give."""
    site = comparison.site
    west, south, *_ = site.grid.bounds
    ground = shapely.box(west + 150, south + 180, west + 300, south + 250)
    vectors = dict(site.vectors)
    for name in ("neighbours", "buildings"):
        vectors[name] = site.field.iloc[:1].assign(name=HOSTILE).set_geometry([ground])
    vectors["barriers"] = vectors["barriers"].assign(kind=HOSTILE)
    assert site.reference is not None
    site = replace(
        site,
        name=HOSTILE,
        vectors=vectors,
        field=site.field.assign(name=HOSTILE),
        reference=replace(site.reference, name=HOSTILE),
        inputs={HOSTILE: "0" * 64},
    )
    changes = tuple(
        replace(
            change,
            name=HOSTILE,
            action=HOSTILE,
            verdict=HOSTILE,
            receiver=HOSTILE,
            sentence=HOSTILE,
            remarks=(HOSTILE,),
            blocks=change.blocks.assign(name=HOSTILE),
        )
        for change in comparison.changes
    )
    return replace(comparison, site=site, changes=changes)


def test_every_text_of_a_user_is_written_letter_by_letter(
    comparison: Comparison,
) -> None:
    plain = Page(make_comparison(comparison, today=TODAY))
    page = Page(make_comparison(hostile(comparison), today=TODAY))
    assert {tag for tag, _ in page.elements} <= {tag for tag, _ in plain.elements}
    assert len(page.all("img")) == len(plain.all("img"))
    assert len(page.all("style")) == 1
    # Four changes: name twice, action, verdict twice, receiver, sentence, remark, parts.
    assert page.words.count('onerror="alert(1)"') >= 4 * 10
    assert HOSTILE[:10] not in page.text("style")
    for made in page.all("img"):
        figure = ET.fromstring(b64decode(made["src"].split(",", 1)[1]))
        for part in figure.iter():
            assert part.tag.rpartition("}")[2] not in ("script", "foreignObject", "img")
            assert not [name for name in part.attrib if name.startswith("on")]


def test_no_word_of_other_people_stands_on_the_page(comparison: Comparison) -> None:
    text = Page(make_comparison(comparison, today=TODAY)).words
    for word in (
        "suitability", "weighting", "raster", "vector", "pixel", "DEM", "DSM",
        "katabatic", "p-value", "ensemble", "smart", "AI", "optimal", "safe",
        "guaranteed", "frost-free", "allowed", "cured.", "NaN", "nan", "None", "n/a",
    ):  # fmt: skip
        assert not re.search(
            rf"\b{re.escape(word)}(?!\w)", text.replace("no cure", "")
        ), word


def test_without_a_proposal_the_page_says_so(comparison: Comparison) -> None:
    page = Page(make_comparison(replace(comparison, changes=()), today=TODAY))
    assert "No proposal was tried." in page.words
    assert page.all("table") == page.all("img") == []


def test_a_change_without_remarks_and_parts_leaves_them_out(
    comparison: Comparison,
) -> None:
    bare = replace(
        comparison.changes[0], remarks=(), blocks=comparison.changes[0].blocks.iloc[:0]
    )
    text = make_comparison(replace(comparison, changes=(bare,)), today=TODAY)
    assert "What else to know" not in text
    assert text.count("<table") == 1


def test_a_place_that_cannot_be_written_is_named(
    comparison: Comparison, tmp_path: Path
) -> None:
    with pytest.raises(OutputError, match="the comparison cannot be written"):
        write_comparison(comparison, tmp_path / "missing" / "a.html", today=TODAY)


def test_the_window_shows_fifty_metres_around_and_the_pool(
    comparison: Comparison,
) -> None:
    change = comparison.changes[0]
    frame = shapely.box(*maps.find_window(comparison.site, change))
    assert frame.covers(change.place.buffer(50).envelope)
    west, south, *_ = comparison.site.grid.bounds
    assert frame.covers(shapely.box(west + 165, south + 265, west + 345, south + 290))


def test_ground_far_from_the_change_stays_out_of_the_window(
    comparison: Comparison,
) -> None:
    west, south, *_ = comparison.site.grid.bounds
    pool = np.zeros(comparison.site.grid.shape, bool)
    pool[:, -3:] = True
    change = replace(
        comparison.changes[2], pool=pool, place=shapely.Point(west + 300, south + 260)
    )
    window = maps.find_window(comparison.site, change)
    assert window[2] < west + 300 + 2 * maps.AROUND


@settings(max_examples=30, deadline=None)
@given(
    x=st.floats(0, 800),
    y=st.floats(0, 600),
    wide=st.floats(0, 700),
    high=st.floats(0, 500),
)
def test_the_window_stays_on_the_grid_and_is_a_fit_shape(
    x: float, y: float, wide: float, high: float
) -> None:
    limits = (500_000.0, 5_130_000.0, 500_800.0, 5_130_600.0)
    low = (limits[0] + x, limits[1] + y)
    asked = (*low, low[0] + wide + 100, low[1] + high + 100)
    west, south, east, north = maps._shape_window(asked, limits)
    assert (
        shapely.box(*limits).buffer(1e-6).covers(shapely.box(west, south, east, north))
    )
    shape = (north - south) / (east - west)
    assert maps.LOWEST * 0.99 <= shape <= maps.HIGHEST * 1.01


def test_the_three_maps_have_one_scale_and_one_frame(comparison: Comparison) -> None:
    figures = maps.draw_maps(comparison, comparison.changes[0])
    assert list(figures) == ["before", "after", "change"]
    frames = {
        (axes.get_xlim(), axes.get_ylim(), tuple(figure.get_size_inches()))
        for figure in figures.values()
        for axes in figure.axes
    }
    assert len(frames) == 1
    wide, high = figures["before"].get_size_inches() * 25.4
    assert wide == pytest.approx(maps.WIDTH)
    assert high <= maps.HEIGHT


def test_maps_carry_scale_north_place_and_names(comparison: Comparison) -> None:
    figures = maps.draw_maps(comparison, comparison.changes[0])
    texts = {
        name: {text.get_text() for text in figure.axes[0].texts}
        for name, figure in figures.items()
    }
    assert "50\u00a0m" in texts["before"]
    assert "gap" not in texts["before"]
    for name in ("after", "change"):
        assert {"true N", "gap", "Low Meadow"} <= texts[name]


@given(rows=st.integers(1, 12), columns=st.integers(1, 12))
def test_a_smooth_outline_moves_by_less_than_a_cell(rows: int, columns: int) -> None:
    ring = shapely.box(0, 0, columns * 5, rows * 5).exterior
    smooth = maps._smooth(ring, 5.0)
    assert smooth.is_closed
    assert smooth.hausdorff_distance(ring) < 5.0


@pytest.mark.parametrize(
    "place",
    [
        shapely.Point(500_010, 5_130_010),
        shapely.LineString([(500_001, 5_130_001), (500_014, 5_130_019)]),
        shapely.MultiPoint([(500_002, 5_130_002), (500_012, 5_130_012)]),
        shapely.box(500_002, 5_130_002, 500_009, 5_130_004),
    ],
)
@pytest.mark.parametrize("shape", [(4, 3), (2, 40), (40, 2)])
def test_tiny_ground_is_drawn_as_far_as_it_goes(
    small_survey: Survey, shape: tuple[int, int], place: BaseGeometry
) -> None:
    grid = Grid(
        small_survey.site.grid.crs, 500_000.0, 5_130_000.0 + 5 * shape[0], 5.0, shape
    )
    flat = np.zeros(shape, np.float32)
    site = replace(
        small_survey.site,
        grid=grid,
        elevation=flat,
        ground=flat,
        water_mask=np.zeros(shape, bool),
    )
    change = replace(
        make_change(small_survey),
        place=place,
        pool=np.ones(shape, bool),
        layers=make_layers(grid, np.zeros(shape)),
    )
    bounds = maps.find_window(site, change)
    assert bounds == pytest.approx(grid.bounds)
    tiny = Comparison(site, (change,), small_survey.contours.iloc[:0])
    for figure in maps.draw_maps(tiny, change).values():
        assert figure.get_size_inches()[1] * 25.4 <= maps.HEIGHT + 1e-6
        assert write_figure(figure).startswith(b"<?xml")


def draw(survey: Survey, value: float, *, difference: bool) -> Any:
    """One map of one value all over; its axes."""
    site = replace(
        survey.site,
        elevation=np.full(survey.site.grid.shape, 700, np.float32),
        water_mask=np.zeros(survey.site.grid.shape, bool),
    )
    bounds = site.grid.bounds
    sheet = make_sheet(make_figure(58, 44), bounds, (0.5, 0.5, 57))
    values = np.full(site.grid.shape, value, np.float32)
    degrees.draw_degrees(sheet, values, site, difference=difference)
    return sheet.axes


@pytest.mark.parametrize(
    ("value", "colour"),
    [
        (-4.0, 0), (-2.5, 1), (-1.5, 2), (-0.7, 3), (0.0, 4), (0.7, 5), (2.0, 6),
    ],
)  # fmt: skip
def test_a_degree_has_one_colour_before_after_and_as_a_change(
    small_survey: Survey, value: float, colour: int
) -> None:
    wanted = np.array(to_rgb(FAMILIES["difference"][colour]))
    for difference in (False, True):
        picture = np.asarray(
            draw(small_survey, value, difference=difference).images[-1].get_array()
        )
        # Level ground is toned a little by the relief, all colours alike.
        tone = picture[0, 0, :3] / wanted
        assert np.ptp(tone) < 0.01
        assert 0.85 < tone[0] <= 1


def test_a_change_below_half_a_degree_has_no_tint(small_survey: Survey) -> None:
    for value, opacity in ((-0.49, 0), (0.0, 0), (0.49, 0), (0.5, 1), (-0.51, 1)):
        picture = draw(small_survey, value, difference=True).images[-1].get_array()
        assert np.all(np.asarray(picture)[..., 3] == opacity), value
    picture = draw(small_survey, 0.0, difference=False).images[-1].get_array()
    assert np.all(np.asarray(picture)[..., 3] == 1)


def level_lines(axes: Any) -> list[float]:
    """Heights of the level lines, from low to high. [m]"""
    found = [
        collection
        for collection in axes.collections
        if np.allclose(collection.get_edgecolor()[0, :3], to_rgb(COLD_AIR))
    ]
    return sorted(
        {float(path.vertices[0, 1]) for made in found for path in made.get_paths()}
    )


def test_level_lines_stand_closer_where_it_is_colder(small_survey: Survey) -> None:
    pixel = 800 / 57 * 25.4 / 96
    for value, pitch in ((-0.7, 9.0), (-1.5, 6.0), (-2.5, 3.5), (-4.0, 3.5)):
        steps = np.diff(level_lines(draw(small_survey, value, difference=False)))
        assert steps == pytest.approx(pitch * pixel), value
    for value in (0.0, 2.0):
        assert level_lines(draw(small_survey, value, difference=False)) == []


def test_ground_that_is_not_known_is_white_with_question_marks(
    small_survey: Survey,
) -> None:
    axes = draw(small_survey, np.nan, difference=True)
    picture = np.asarray(axes.images[-1].get_array())
    assert np.all(picture == 1)
    marks = [text.get_text() for text in axes.texts]
    assert len(marks) > 20
    assert set(marks) == {"?"}


def test_beside_unknown_ground_the_nearest_cell_is_read(small_survey: Survey) -> None:
    grid = Grid(small_survey.site.grid.crs, 0.0, 10.0, 5.0, (2, 2))
    values = np.array([[1.0, np.nan], [1.0, 1.0]], np.float32)
    lattice = (np.array([1.0, 4.9, 5.1, 9.0]), np.array([9.0]))
    read = degrees.sample(values, grid, lattice)[0]
    assert read[:2] == pytest.approx([1.0, 1.0])
    assert np.isnan(read[2:]).all()


@given(st.lists(st.booleans(), max_size=40))
def test_runs_cover_just_the_true_values(values: list[bool]) -> None:
    row = np.array(values, bool)
    rebuilt = np.zeros_like(row)
    for start, end in degrees.find_runs(row):
        assert not rebuilt[max(start - 1, 0) : end + 1].any()
        rebuilt[start : end + 1] = True
    assert np.array_equal(rebuilt, row)


def test_the_key_has_a_picture_for_each_class_and_line(comparison: Comparison) -> None:
    page = Page(make_comparison(comparison, today=TODAY))
    style = page.text("style")
    shown = {
        name
        for has in page.all("span")
        if has["class"].startswith("swatch")
        for name in has["class"].split()
        if name not in ("swatch", "line")
    }
    assert {f"degrees-{code}" for code in range(7)} <= shown
    assert {"place-of-the-change", "ground-asked-about", "hedge-or-wood"} <= shown
    for name in shown:
        assert f".{name} {{ background-image" in style
    for colour in FAMILIES["difference"]:
        assert colour.removeprefix("#") in key_rules()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    playwright = pytest.importorskip("playwright.sync_api", reason="no playwright")
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine: the page was not opened")
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


@pytest.fixture(params=["plain", "hostile"])
def opened(
    request: pytest.FixtureRequest,
    browser: Any,
    comparison: Comparison,
    tmp_path: Path,
) -> Iterator[Any]:
    shown = comparison if request.param == "plain" else hostile(comparison)
    path = tmp_path / "compare.html"
    write_comparison(shown, path, today=TODAY)
    page = browser.new_page()
    page.told = []
    page.asked = []
    page.on("console", lambda message: page.told.append(message.text))
    page.on("pageerror", lambda error: page.told.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    page.goto(path.as_uri())
    yield page
    page.close()


@pytest.mark.browser
def test_opening_asks_for_nothing_and_complains_of_nothing(opened: Any) -> None:
    assert [url for url in opened.asked if not url.startswith("data:")] == [opened.url]
    assert opened.told == []
    sizes = opened.eval_on_selector_all("img", "all => all.map(i => i.naturalWidth)")
    assert len(sizes) == 12
    assert min(sizes) > 150


@pytest.mark.browser
def test_a_phone_scrolls_down_only(opened: Any) -> None:
    for width in (320, 390, 844, 1200):
        opened.set_viewport_size({"width": width, "height": 844})
        wide = opened.evaluate("document.documentElement.scrollWidth")
        assert wide <= width


@pytest.mark.browser
def test_it_prints_on_a4_with_each_change_whole(opened: Any, tmp_path: Path) -> None:
    tools = [shutil.which(name) for name in ("pdfinfo", "pdftotext")]
    if None in tools:
        pytest.skip("no pdfinfo or pdftotext on this machine: print was not checked")
    path = tmp_path / "compare.pdf"
    opened.pdf(path=str(path), prefer_css_page_size=True)
    size, text = (
        subprocess.run(
            [str(tool), str(path), *more], check=True, capture_output=True, text=True
        ).stdout
        for tool, more in zip(tools, ([], ["-"]), strict=True)
    )
    width, height = re.findall(r"Page size:\s+([\d.]+) x ([\d.]+)", size)[0]
    assert (float(width), float(height)) == pytest.approx(A4, abs=1)
    pages = text.split("\f")[:-1]
    for number, page in enumerate(pages, start=1):
        assert f"{number} of {len(pages)}" in page
        assert page.count("With the change") == page.count("Part of the field")
