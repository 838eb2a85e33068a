"""The report as a file: complete in itself, escaped, the same every time."""

import re
from base64 import b64decode, b64encode
from dataclasses import replace
from datetime import date
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

from sitekit.errors import OutputError
from sitekit.report import write_report
from sitekit.report.blocks import list_blocks
from sitekit.report.document import MOST_BLOCKS, count_on_page_one, make_report
from sitekit.report.tables import ground_table
from sitekit.results import Measure, Survey
from sitekit.site import Remark

TODAY = date(2026, 11, 25)
VOID = {"meta", "link", "img", "br"}
HOSTILE = '<img src=x onerror="alert(1)"> </style></script> `${x}` & \' ]]>'


class Page(HTMLParser):
    """A page as elements with their attributes, and its text by heading."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.open: list[str] = []
        self.texts: list[tuple[str, str]] = []
        self.feed(text)
        self.close()
        assert self.open == [], "every element is closed"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        assert len(given) == len(attrs), "no attribute twice"
        self.elements.append((tag, given))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag, "elements are nested"

    def handle_data(self, data: str) -> None:
        self.texts.append((self.open[-1] if self.open else "", data))

    def all(self, tag: str) -> list[dict[str, str]]:
        return [given for name, given in self.elements if name == tag]

    def text(self, *tags: str) -> str:
        return " ".join(data for tag, data in self.texts if not tags or tag in tags)

    @property
    def words(self) -> str:
        return " ".join(d for tag, d in self.texts if tag != "style")


@pytest.fixture
def page(small_survey: Survey) -> Page:
    return Page(make_report(small_survey, today=TODAY))


def headings(page: Page) -> list[str]:
    return [data for tag, data in page.texts if tag == "h2"]


def test_the_answer_comes_first_and_the_sources_last(page: Page) -> None:
    assert headings(page) == [
        "The answer",
        "Before you spend",
        "Which fruit where",
        "The ground",
        "The ground by block",
        "Why",
        "Your own trees and notes",
        "How far",
        "Not known",
        "What this elevation can show",
        "Cautions",
        "Where it comes from",
    ]


def test_the_page_says_its_language_and_has_one_title(page: Page) -> None:
    assert page.all("html") == [{"lang": "en-GB"}]
    assert len(page.all("h1")) == 1
    assert page.text("h1") == "Test Holding: where to extend the orchard"


def test_every_head_of_a_table_says_what_it_heads(page: Page) -> None:
    assert len(page.all("table")) >= 4
    assert all(given["scope"] in ("row", "col") for given in page.all("th"))
    assert all(given["aria-label"] for given in page.all("table"))


def test_every_picture_is_told_in_words(page: Page) -> None:
    first, second = (given["alt"] for given in page.all("img"))
    assert "Map of Test Holding" in first
    assert "block 1 Upper Bank, with conditions" in first
    assert "1 frost pocket." in first
    assert "Section south to north through block 1" in second


def test_figures_are_pictures_within_the_file(page: Page) -> None:
    for given in page.all("img"):
        head, data = given["src"].split(",", 1)
        assert head == "data:image/svg+xml;base64"
        assert b64decode(data).lstrip().startswith(b"<?xml")


def test_nothing_is_asked_for_outside_the_file(small_survey: Survey) -> None:
    text = make_report(small_survey, today=TODAY)
    page = Page(text)
    for _, given in page.elements:
        for name in ("src", "href"):
            assert given.get(name, "data:").startswith("data:")
        assert "style" not in given, "a strict policy refuses style attributes"
        assert not [name for name in given if name.startswith("on")]
    style = page.text("style")
    assert "@import" not in style
    assert re.findall(r"url\((?!\"data:)", style) == []
    assert page.all("script") == []


def test_the_policy_allows_this_style_and_no_other(small_survey: Survey) -> None:
    text = make_report(small_survey, today=TODAY)
    style = text.split("<style>")[1].split("</style>")[0]
    digest = b64encode(sha256(style.encode()).digest()).decode()
    # Source: W3C, Content Security Policy Level 3, section 6.7.3.
    wanted = f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'"
    policies = [m["content"] for m in Page(text).all("meta") if "http-equiv" in m]
    assert policies == [wanted]


def test_the_same_survey_gives_the_same_bytes(
    small_survey: Survey, tmp_path: Path
) -> None:
    for name in ("one.html", "two.html"):
        write_report(small_survey, tmp_path / name, today=TODAY)
    one, two = ((tmp_path / n).read_bytes() for n in ("one.html", "two.html"))
    assert one == two
    assert b"\r" not in one


def hostile(survey: Survey) -> Survey:
    """The survey with markup in every text that a user can give."""
    blocks = survey.blocks.assign(name=HOSTILE, reason=HOSTILE, confidence=HOSTILE)
    vectors = dict(survey.site.vectors)
    vectors["water"] = vectors["water"].assign(name=HOSTILE)
    vectors["barriers"] = vectors["barriers"].assign(kind=HOSTILE)
    assert survey.site.reference is not None
    site = replace(
        survey.site,
        name=HOSTILE,
        vectors=vectors,
        reference=replace(survey.site.reference, name=HOSTILE),
        remarks=tuple(
            Remark(kind, HOSTILE, HOSTILE) for kind in ("doubtful", "missing", "mended")
        ),
        inputs={HOSTILE: "0" * 64},
        settings={HOSTILE: HOSTILE},
        model=replace(survey.site.model, sources=(HOSTILE,), attribution=HOSTILE),
    )
    told = replace(
        survey.answer,
        headline=HOSTILE,
        where=HOSTILE,
        fruit=HOSTILE,
        not_there=HOSTILE,
        stamp=HOSTILE,
        measures=(Measure(HOSTILE, HOSTILE),),
        unknowns=(HOSTILE,),
        contradictions=(HOSTILE,),
        agreements=(HOSTILE,),
        resolution=HOSTILE,
        cautions=(HOSTILE,),
    )
    columns = dict.fromkeys(["verdict", "reason"], HOSTILE)
    trees = survey.existing_trees.assign(fruit=HOSTILE, condition=HOSTILE, **columns)
    notes = survey.notes.assign(date=HOSTILE, kind=HOSTILE, text=HOSTILE, **columns)
    return replace(
        survey,
        site=site,
        blocks=blocks,
        answer=told,
        existing_trees=trees,
        notes=notes,
        absent={HOSTILE: HOSTILE},
    )


def test_every_text_of_a_user_is_written_letter_by_letter(
    small_survey: Survey,
) -> None:
    plain = Page(make_report(small_survey, today=TODAY))
    given = Page(make_report(hostile(small_survey), today=TODAY))
    kinds = {tag for tag, _ in given.elements}
    assert kinds <= {tag for tag, _ in plain.elements}
    assert len(given.all("img")) == len(plain.all("img")) == 2
    assert given.words.count('onerror="alert(1)"') >= 20
    assert len(given.all("style")) == 1
    # The foot of the pages stands in the style sheet.
    assert HOSTILE[:10] not in given.text("style")


def test_no_word_of_other_people_stands_in_the_report(page: Page) -> None:
    text = page.words.replace(HOSTILE, "")
    for word in (
        "suitability", "weighting", "raster", "vector", "pixel", "DEM", "DSM", "TPI",
        "TWI", "D8", "katabatic", "phenology", "BBCH", "GDD", "p-value", "ensemble",
        "edaphic", "smart", "AI", "optimal", "safe", "guaranteed", "frost-free",
        "allowed", "NaN", "nan", "None", "n/a",
    ):  # fmt: skip
        assert not re.search(rf"\b{re.escape(word)}\b", text), word


def test_minus_is_a_minus_and_units_keep_their_number(small_survey: Survey) -> None:
    grid = small_survey.site.grid
    night = grid.wrap(np.full(grid.shape, -1.47, np.float32), "night")
    layers = small_survey.layers.assign(
        frost_night_offset=night, frost_night_offset_sd=night * 0 + 0.9
    )
    text = Page(make_report(replace(small_survey, layers=layers), today=TODAY)).words
    assert "−1.5\u00a0°C (±\u00a01)" in text
    assert "Clear still night against the house" in text
    survey = replace(small_survey, layers=layers)
    ours = ground_table(survey, list_blocks(survey)) + text.split("Planning help")[0]
    assert re.search(r"\d\u00a0m\b", ours)
    assert not re.search(r"\d (m|ha|°C|%|h)\b", ours)


def test_cautions_and_the_stamp_are_printed_as_they_come(page: Page) -> None:
    assert "No class here means that there is no frost." in page.words
    assert (
        "From terrain only. No thermometer has stood on this ground yet." in page.words
    )
    assert "not for setting out" in page.words


def test_the_foot_carries_name_date_and_stamp(small_survey: Survey) -> None:
    style = Page(make_report(small_survey, today=TODAY)).text("style")
    assert '"Test Holding, 25 November 2026. From terrain only"' in style
    assert "counter(page)" in style
    assert "size: A4 portrait" in style


def test_coarse_elevation_begins_with_what_to_walk_and_measure(
    small_survey: Survey,
) -> None:
    model = replace(small_survey.site.model, source_cell=30.0)
    coarse = replace(small_survey, site=replace(small_survey.site, model=model))
    assert coarse.site.model.coarse
    found = headings(Page(make_report(coarse, today=TODAY)))
    assert found[:3] == [
        "What this elevation can show",
        "Before you spend",
        "The answer",
    ]
    assert found.count("What this elevation can show") == 1


def test_at_most_three_measures_are_printed(small_survey: Survey) -> None:
    many = tuple(Measure(f"Measure {i}", "It decides.") for i in range(5))
    told = replace(small_survey.answer, measures=many)
    text = Page(make_report(replace(small_survey, answer=told), today=TODAY)).words
    assert "Measure 2." in text
    assert "Measure 3." not in text


def test_contradictions_come_before_agreements(small_survey: Survey) -> None:
    told = replace(
        small_survey.answer, contradictions=("Your plum speaks against it.",)
    )
    text = Page(make_report(replace(small_survey, answer=told), today=TODAY)).words
    against = text.index("the test you can make today")
    assert against < text.index("Your plum speaks against it.")
    assert against < text.index("The note of fog on 12 May 2025")


def test_a_section_without_content_is_left_out(small_survey: Survey) -> None:
    told = replace(
        small_survey.answer, measures=(), cautions=(), agreements=(), resolution=""
    )
    bare = replace(
        small_survey,
        answer=told,
        existing_trees=small_survey.existing_trees.iloc[:0],
        notes=small_survey.notes.iloc[:0],
    )
    found = headings(Page(make_report(bare, today=TODAY)))
    for title in ("Before you spend", "Your own trees and notes"):
        assert title not in found


def test_a_survey_without_blocks_still_tells_the_ground(small_survey: Survey) -> None:
    none = replace(
        small_survey,
        blocks=small_survey.blocks.iloc[:0],
        fruit_by_block=small_survey.fruit_by_block.iloc[:0],
        frost_pockets=small_survey.frost_pockets.iloc[:0],
        cold_air_paths=small_survey.cold_air_paths.iloc[:0],
        contours=small_survey.contours.iloc[:0],
    )
    page = Page(make_report(none, today=TODAY))
    assert "No block was found." in page.words
    assert len(page.all("img")) == 1
    assert "Why" not in headings(page)


def many_blocks(survey: Survey, count: int, name: str) -> Survey:
    west, south, *_ = survey.site.grid.bounds
    first = survey.blocks.iloc[0]
    rows = [
        {**first.drop("geometry").to_dict(), "block": i, "rank": i, "name": name,
         "fruit": fruit}
        for i in range(1, count + 1)
        for fruit in ("apple", "pear", "plum", "sweet_cherry", "sour_cherry", "quince")
    ]  # fmt: skip
    shapes = [
        shapely.box(
            west + 160 + 40 * (row["block"] % 10),
            south + 120 + 40 * (row["block"] // 10),
            west + 190 + 40 * (row["block"] % 10),
            south + 150 + 40 * (row["block"] // 10),
        )
        for row in rows
    ]
    blocks = gpd.GeoDataFrame(rows, geometry=shapes, crs=survey.blocks.crs)
    return replace(survey, blocks=blocks)


def test_page_one_shows_the_best_eight_and_the_rest_follow(
    small_survey: Survey,
) -> None:
    survey = many_blocks(small_survey, 40, "Bank")
    page = Page(make_report(survey, today=TODAY))
    labels = [given["aria-label"] for given in page.all("table")]
    assert "Which fruit where" in labels
    assert "Which fruit where, continued" in labels
    assert f"The best {MOST_BLOCKS} of 40 blocks; the rest follow." in page.words
    heads = [data for tag, data in page.texts if tag == "th"]
    for number in range(1, 41):
        assert f"{number} Bank" in heads


def test_long_texts_leave_less_room_for_blocks(small_survey: Survey) -> None:
    survey = many_blocks(small_survey, 40, "The long ground beyond the upper orchard")
    long = replace(survey.answer, where="Word " * 120, not_there="Word " * 80)
    short = count_on_page_one(survey, list_blocks(survey))
    longer = replace(survey, answer=long)
    assert 2 <= count_on_page_one(longer, list_blocks(longer)) < short <= MOST_BLOCKS


def test_a_place_that_cannot_be_written_is_named(
    small_survey: Survey, tmp_path: Path
) -> None:
    with pytest.raises(OutputError, match="the report cannot be written"):
        write_report(small_survey, tmp_path / "missing" / "report.html", today=TODAY)


def test_sources_name_files_checksums_settings_and_methods(
    small_survey: Survey,
) -> None:
    layers = small_survey.layers.copy()
    layers["slope"].attrs["reference"] = "Horn 1981"
    layers["pooling_depth"].attrs["reference"] = "Horn 1981"
    site = replace(small_survey.site, settings={"relative_height_radius": 200.0})
    text = Page(
        make_report(replace(small_survey, layers=layers, site=site), today=TODAY)
    ).words
    assert "elevation.tif, sha256 000000000000" in text
    assert "relative_height_radius: 200.0" in text
    assert "Slope in per cent; cold air held, depth: Horn 1981." in text
    assert "WGS 84 / UTM zone 33N, cells of 5\u00a0m" in text
    assert re.search(r"Made with sitekit \d", text)


def test_the_methods_name_the_reference_place_of_the_site(small_survey: Survey) -> None:
    layers = small_survey.layers.copy()
    layers["frost_night_offset"] = layers["slope"].assign_attrs(reference="Bates 2010")
    text = Page(make_report(replace(small_survey, layers=layers), today=TODAY)).words
    place = small_survey.site.reference_name
    assert place != "the station"
    assert f"Clear still night, against {place}: Bates 2010." in text


def test_layers_that_were_not_made_are_grouped_by_what_they_need(
    small_survey: Survey,
) -> None:
    absent = {
        "last_spring_frost": "records",
        "poor_crop_years_pear": "records",
        "lake_effect_ice": "dates of ice",
    }
    text = Page(make_report(replace(small_survey, absent=absent), today=TODAY)).words
    assert (
        "Last spring frost, 1 year in 10 later; poor-crop years in ten, pear: "
        "needs records." in text
    )
    assert "Effect of the lake at ice-out: needs dates of ice." in text
