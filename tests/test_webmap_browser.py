"""The web map in a real browser with the network refused."""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from sitekit.results import Survey
from sitekit.webmap import write_map

playwright = pytest.importorskip(
    "playwright.sync_api", reason="playwright is not installed: no page was opened"
)
pytestmark = pytest.mark.browser

PAYLOADS = (
    '<img src=x onerror="window.ran=1">',
    "`${window.ran=2}`",
    "${window.ran=3}",
    "</script><script>window.ran=4</script>",
)
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def find_chromium(own: str) -> str | None:
    """The browser that playwright brought, else one of the machine."""
    if Path(own).exists():
        return own
    names = ("chromium", "chromium-browser", "google-chrome", "chrome")
    return next((path for n in names if (path := shutil.which(n))), None)


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with playwright.sync_playwright() as started:
        found = find_chromium(started.chromium.executable_path)
        if found is None:
            pytest.skip("no Chromium on this machine: NO PAGE WAS OPENED")
        opened = started.chromium.launch(executable_path=found, args=QUIET)
        yield opened
        opened.close()


@dataclass
class Opened:
    """A page, and everything that it asked for or said."""

    page: object
    requests: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    def count(self, selector: str) -> int:
        return self.page.locator(selector).count()

    def texts(self, selector: str) -> list[str]:
        return self.page.locator(selector).all_inner_texts()

    def run(self, script: str) -> object:
        return self.page.evaluate(script)


@pytest.fixture
def open_map(browser, tmp_path):
    contexts = []

    def open_it(survey: Survey, width: int = 1400, height: int = 900) -> Opened:
        path = tmp_path / "map.html"
        write_map(survey, path, today=date(2026, 11, 25))
        context = browser.new_context(viewport={"width": width, "height": height})
        contexts.append(context)
        context.set_offline(True)
        page = context.new_page()
        opened = Opened(page)
        page.on("request", lambda r: opened.requests.append(r.url))
        page.on("console", lambda m: opened.said.append(m.text))
        page.on("pageerror", lambda e: opened.said.append(str(e)))
        page.goto(path.as_uri())
        page.wait_for_selector("#map_survey[data-ready]")
        return opened

    yield open_it
    for context in contexts:
        context.close()


def frosty(survey: Survey) -> Survey:
    """The same survey with a night offset, its doubt, and poor-crop years."""
    grid = survey.site.grid
    rows = np.indices(grid.shape)[0]
    made = {
        "frost_night_offset": 2 - 6 * rows / 119,
        "frost_night_offset_sd": np.ones(grid.shape),
    }
    layers = survey.layers.assign(
        {n: grid.wrap(v.astype(np.float32), n) for n, v in made.items()}
    )
    table = survey.fruit_by_block.copy()
    table[["poor_crop_years", "low", "high"]] = [2.0, 1.0, 4.0]
    return replace(survey, layers=layers, fruit_by_block=table)


def hostile(survey: Survey) -> Survey:
    """The same survey with every free text hostile."""
    text = " ".join(PAYLOADS)
    blocks, spots = survey.blocks.copy(), survey.spots.copy()
    blocks["name"] = blocks["reason"] = spots["reason"] = text
    notes, trees = survey.notes.copy(), survey.existing_trees.copy()
    notes["text"] = notes["kind"] = trees["fruit"] = trees["reason"] = text
    pockets = survey.frost_pockets.copy()
    pockets["cause"] = text
    water = survey.site.vectors["water"].copy()
    water["name"] = text
    no_go = survey.site.vectors["no_go"].copy()
    no_go["reason"] = text
    vectors = {**survey.site.vectors, "water": water, "no_go": no_go}
    told = replace(
        survey.answer, headline=text, stamp=text, unknowns=(text,), cautions=(text,)
    )
    return replace(
        survey,
        site=replace(survey.site, name=text, vectors=vectors),
        blocks=blocks,
        spots=spots,
        notes=notes,
        existing_trees=trees,
        frost_pockets=pockets,
        answer=told,
        absent={text: text},
    )


def test_the_page_asks_for_nothing_but_itself_and_says_nothing(open_map, small_survey):
    opened = open_map(frosty(small_survey))
    for radio in opened.page.locator("input[name=option]").all():
        radio.check()
    for tick in opened.page.locator("input[type=checkbox]").all():
        tick.click()
    assert len(opened.requests) == 1 + len(
        [r for r in opened.requests if r.startswith("data:")]
    )
    assert opened.requests[0].startswith("file:")
    assert opened.said == []


def test_the_opened_map_shows_the_answer_and_no_colour_layer(open_map, small_survey):
    opened = open_map(small_survey)
    assert opened.count("#blocks .block") == 3
    assert opened.count(".leaflet-colour-pane img") == 0
    assert opened.count(".leaflet-relief-pane img") == 1
    assert opened.count("path.spot-shape") == 0
    assert opened.count("path.block-shape") == 3
    assert opened.count(".leaflet-pockets-pane path") == 3  # tint, outline, ticks
    # Casing and line for each of three paths, and arrows of three strengths.
    assert opened.count(".leaflet-paths-pane path") == 9
    assert opened.count(".leaflet-field-pane path") == 4
    assert opened.count(".leaflet-barriers-pane path") == 1
    assert opened.texts(".badge b") == ["1", "2", "3"]
    assert "with conditions" in opened.texts(".badge span")
    assert opened.texts(".water-name") == ["Still Mere"]


def test_the_drawing_is_where_the_ground_is(open_map, small_survey):
    opened = open_map(small_survey)
    relief = opened.page.locator(".leaflet-relief-pane img").bounding_box()
    paper = opened.page.locator(".leaflet-paper-pane path").bounding_box()
    for start, size in (("x", "width"), ("y", "height")):
        middle = paper[start] + paper[size] / 2
        assert relief[start] + relief[size] / 2 == pytest.approx(middle, abs=2)
    drawn = opened.run(
        "document.querySelector('.leaflet-paper-pane path').getBBox().width"
    )
    assert relief["width"] == pytest.approx(drawn, abs=2)


def test_the_margin_says_what_is_not_known_and_what_to_beware_of(
    open_map, small_survey
):
    opened = open_map(small_survey)
    shown = " ".join(opened.texts("#not-shown li"))
    assert "no hole has been dug" in shown
    assert "needs records" in shown
    cautions = " ".join(opened.texts("#cautions li"))
    assert "No class here means that there is no frost." in cautions
    assert "Not for setting out" in cautions
    assert opened.texts(".stamp b") == ["From terrain only."]


def test_a_click_on_a_block_opens_its_popup(open_map, small_survey):
    opened = open_map(small_survey)
    opened.page.locator(".badge").first.click()
    assert opened.texts(".leaflet-popup h2") == ["Block 1, Upper Bank"]
    assert opened.texts(".leaflet-popup p b") == ["with conditions"]


def test_a_block_opens_with_enter_and_escape_gives_the_focus_back(
    open_map, small_survey
):
    opened = open_map(small_survey)
    opened.page.locator(".block").nth(1).focus()
    opened.page.keyboard.press("Enter")
    assert opened.texts(".leaflet-popup h2") == ["Block 2, Upper Bank"]
    assert opened.run("document.activeElement.closest('[role=dialog]') !== null")
    opened.page.keyboard.press("Escape")
    assert opened.count(".leaflet-popup h2") == 0
    assert opened.run("document.activeElement.textContent").startswith("2 Upper Bank")


def test_enter_reads_the_ground_in_the_middle_of_the_map(open_map, small_survey):
    opened = open_map(frosty(small_survey))
    opened.page.locator("#map_survey").focus()
    opened.page.keyboard.press("Enter")
    rows = opened.page.locator(".leaflet-popup tr").all()
    told = {
        row.locator("th").inner_text(): row.locator("td").inner_text() for row in rows
    }
    assert "against the house (±" in told["Clear still night"]
    assert told["Slope"] == "8\u00a0%"
    assert told["Drainage"] == "not known"
    assert told["Grid"].startswith("E 5004")
    opened.page.keyboard.press("Escape")
    assert opened.run("document.activeElement.id") == "map_survey"


def test_a_click_beside_the_survey_says_so(open_map, small_survey):
    opened = open_map(small_survey)
    for _ in range(8):
        opened.page.get_by_label("Smaller scale").click()
    opened.page.mouse.click(450, 200)
    assert "Off the survey." in opened.texts(".leaflet-popup-content p")


def test_a_question_shows_its_layer_and_its_key_under_it(open_map, small_survey):
    opened = open_map(frosty(small_survey))
    for radio in opened.page.locator("input[name=option]").all():
        radio.check()
        colour = radio.input_value() != "site_class"
        assert opened.count(".leaflet-colour-pane img") == colour
        keys = opened.page.locator(".key:visible")
        assert keys.count() == 1
        assert 4 <= keys.locator("li").count() <= 7
        name = opened.page.locator(".option.chosen").get_attribute("data-option")
        assert name == radio.input_value()


@pytest.mark.parametrize("size", [(1400, 900), (390, 844)])
def test_no_badge_or_figure_covers_the_words_of_a_badge(open_map, small_survey, size):
    opened = open_map(small_survey, *size)
    boxes = [b.bounding_box() for b in opened.page.locator(".badge > div").all()]
    boxes += [
        f.bounding_box() for f in opened.page.locator(".figure > div:not(.away)").all()
    ]
    for i, a in enumerate(boxes):
        for b in boxes[:i]:
            beside = a["x"] + a["width"] <= b["x"] or b["x"] + b["width"] <= a["x"]
            above = a["y"] + a["height"] <= b["y"] or b["y"] + b["height"] <= a["y"]
            assert beside or above


def test_from_afar_a_rank_gives_way_to_a_better_one(open_map, small_survey):
    opened = open_map(small_survey, 390, 844)
    every = opened.count(".badge")
    for _ in range(3):
        opened.page.click("#buttons button:nth-child(2)")
        opened.page.wait_for_timeout(500)
    shown = opened.page.locator(".badge:not(.away) > div")
    assert 1 <= shown.count() < every
    ranks = [int(b.split()[0]) for b in shown.all_inner_texts()]
    assert min(ranks) == 1
    boxes = [b.bounding_box() for b in shown.all()]
    for i, a in enumerate(boxes):
        for b in boxes[:i]:
            beside = a["x"] + a["width"] <= b["x"] or b["x"] + b["width"] <= a["x"]
            above = a["y"] + a["height"] <= b["y"] or b["y"] + b["height"] <= a["y"]
            assert beside or above


@pytest.mark.parametrize("size", [(1400, 900), (390, 844)])
def test_a_popup_stands_clear_of_scale_and_north(open_map, small_survey, size):
    opened = open_map(frosty(small_survey), *size)
    corner = opened.page.locator(".leaflet-bottom.leaflet-left").bounding_box()
    middle = (corner["x"] + corner["width"] + 20, corner["y"] + corner["height"] - 20)
    opened.page.mouse.click(*middle)
    popup = opened.page.locator(".leaflet-popup-content-wrapper").bounding_box()
    assert popup["y"] + popup["height"] <= corner["y"]


def test_the_printed_sheet_has_the_key_before_the_list_of_blocks(
    open_map, small_survey
):
    opened = open_map(small_survey)
    opened.run("window.dispatchEvent(new Event('beforeprint'))")
    heights = [
        opened.page.locator(name).first.bounding_box()["y"]
        for name in (".option.chosen .key", "#symbols", "#blocks")
    ]
    assert heights == sorted(heights)


def test_from_afar_the_smallest_paths_are_left_out(open_map, small_survey):
    opened = open_map(small_survey)
    for _ in range(6):
        opened.page.get_by_label("Smaller scale").click()
    # Casing and line for two of three paths, and arrows of three strengths.
    assert opened.count(".leaflet-paths-pane path") == 7


def test_under_a_colour_layer_blocks_keep_outline_and_badge_but_no_fill(
    open_map, small_survey
):
    opened = open_map(small_survey)
    fills = "[...document.querySelectorAll('.block-shape')].map(p => p.getAttribute('fill'))"
    assert opened.run(fills) == ["url(#class-3)", "url(#class-1)", "url(#class-0)"]
    opened.page.check("input[value=slope]")
    assert opened.run(fills) == ["none"] * 3
    assert opened.count(".badge") == 3


def test_the_night_has_lines_where_colder_and_dots_where_not_certain(
    open_map, small_survey
):
    opened = open_map(frosty(small_survey))
    opened.page.check("input[value=frost_night_offset]")
    codes = opened.run(
        "[...document.querySelectorAll('.leaflet-codes-pane path')].map(p => p.getAttribute('fill'))"
    )
    assert set(codes) == {"url(#dots)", "url(#lines-middle)", "url(#lines-close)"}


def test_the_fruit_decides_the_blocks_and_their_words(open_map, small_survey):
    blocks = small_survey.blocks.copy()
    pear = (blocks["fruit"] == "pear") & (blocks["block"] == 1)
    blocks.loc[pear, "site_class"] = "hardy kinds only"
    opened = open_map(replace(small_survey, blocks=blocks))
    opened.page.select_option("#fruit", "pear")
    assert opened.texts(".block small")[0] == "hardy kinds only: pears"
    assert "hardy kinds only" in opened.texts(".badge span")
    opened.page.select_option("#fruit", "apple")
    assert opened.texts(".block small")[0] == "with conditions: apples"


def test_without_fruit_in_the_site_every_kind_can_be_chosen(open_map, small_survey):
    site = replace(small_survey.site, fruit=())
    opened = open_map(replace(small_survey, site=site))
    options = opened.texts("#fruit option")
    assert sorted(options) == ["apples", "pears"]
    assert opened.run("document.getElementById('fruit').value") in ("apple", "pear")
    scores = opened.page.locator("input[value=score]")
    assert scores.count() == open_map(small_survey).count("input[value=score]")


def test_spots_come_on_request_and_tell_why(open_map, small_survey):
    opened = open_map(small_survey)
    opened.page.check("[data-symbol=spots]")
    assert opened.count("path.spot-shape") == 84
    opened.page.locator("path.spot-shape").nth(40).click()
    assert opened.texts(".leaflet-popup h2")[0].startswith("Spot ")
    opened.page.uncheck("[data-symbol=spots]")
    assert opened.count("path.spot-shape") == 0


def test_thousands_of_spots_are_drawn_on_one_canvas(open_map, small_survey):
    many = small_survey.spots.iloc[np.arange(2500) % 84]
    opened = open_map(replace(small_survey, spots=many.reset_index(drop=True)))
    opened.page.check("[data-symbol=spots]")
    assert opened.count("path.spot-shape") == 0
    assert opened.count(".leaflet-spots-pane canvas") == 1


def test_poor_crop_years_have_ten_boxes(open_map, small_survey):
    opened = open_map(frosty(small_survey))
    assert opened.texts(".block .years")[0].split("\n") == ["2 in ten", "may be 1 to 4"]
    opened.page.locator(".block").first.click()
    fills = opened.run(
        "[...document.querySelectorAll('.leaflet-popup td svg rect')].map(r => r.getAttribute('fill'))"
    )
    assert fills == ["#22302F"] + ["#B0AFA8"] * 3 + ["#FFFFFF"] * 6


def test_a_spot_tells_its_years_and_the_season_of_its_block(open_map, small_survey):
    table = frosty(small_survey).fruit_by_block
    table = table.assign(ripening="ripens in 9 years of ten", winter="stands it")
    spots = small_survey.spots.assign(poor_crop_years=0.2)
    opened = open_map(replace(small_survey, fruit_by_block=table, spots=spots))
    opened.page.check("[data-symbol=spots]")
    opened.page.locator("path.spot-shape").nth(40).click()
    heads = opened.texts(".leaflet-popup th")
    told = dict(zip(heads, opened.texts(".leaflet-popup td"), strict=True))
    assert told["Poor-crop years"] == "under 1 in ten (its block may be 1 to 4)"
    assert told["Ripening, its block"] == "ripens in 9 years of ten"
    assert told["Winter, its block"] == "stands it"
    assert told["Confidence"] == "fair: nobody has dug here"


def test_measuring_gives_whole_metres_and_opens_no_popup(open_map, small_survey):
    opened = open_map(small_survey)
    opened.page.get_by_text("Measure", exact=True).click()
    box = opened.page.locator(".leaflet-field-pane path").nth(2).bounding_box()
    middle = box["y"] + 30
    opened.page.mouse.click(box["x"] + 3, middle)
    opened.page.mouse.click(box["x"] + box["width"] - 3, middle)
    metres = float(opened.texts("#status")[0].split("\u00a0")[0])
    # The part of the field is 500 m wide.
    assert metres == pytest.approx(500, abs=6)
    assert opened.count(".leaflet-popup") == 0
    opened.page.keyboard.press("Escape")
    assert opened.texts("#status") == [""]


def test_hostile_names_do_not_run_and_their_popups_open(open_map, small_survey):
    opened = open_map(hostile(small_survey))
    for row in opened.page.locator(".block").all():
        row.click()
        assert PAYLOADS[0] in opened.texts(".leaflet-popup-content")[0]
        opened.page.keyboard.press("Escape")
    for symbol in ("spots", "no_go", "trees", "notes"):
        opened.page.check(f"[data-symbol={symbol}]")
    opened.page.uncheck("[data-symbol=spots]")
    for pane in ("no_go", "marks", "pockets"):
        opened.page.locator(
            f".leaflet-{pane}-pane path.leaflet-interactive"
        ).first.click()
        assert PAYLOADS[3] in opened.texts(".leaflet-popup-content")[0]
        opened.page.keyboard.press("Escape")
    assert opened.run("window.ran") is None
    assert opened.run("document.images.length") == 1  # the relief
    assert PAYLOADS[0] in opened.texts("h1")[0]
    assert opened.said == []


def test_the_policy_refuses_a_script_and_a_style_that_were_added(
    open_map, small_survey
):
    opened = open_map(small_survey)
    opened.run(
        """() => {
          const script = document.createElement("script");
          script.textContent = "window.ran = 5";
          document.body.append(script);
          document.querySelector("h1").setAttribute("style", "color: rgb(255, 0, 0)");
        }"""
    )
    assert opened.run("window.ran") is None
    colour = "getComputedStyle(document.querySelector('h1')).color"
    assert opened.run(colour) == "rgb(34, 48, 47)"
    assert any("Content Security Policy" in text for text in opened.said)


@pytest.mark.parametrize("width", [320, 390, 600, 719, 720, 844])
def test_no_width_scrolls_sideways(open_map, small_survey, width):
    opened = open_map(frosty(small_survey), width, 844)
    assert opened.run("document.documentElement.scrollWidth") <= width
    if width < 720:
        opened.page.click("#drawer")
    inner = "document.getElementById('sheet')"
    assert opened.run(f"{inner}.scrollWidth <= {inner}.clientWidth")
    buttons = opened.page.locator("#buttons").bounding_box()
    assert buttons["x"] >= 0
    assert buttons["x"] + buttons["width"] <= width


def test_a_phone_reads_the_answer_in_the_shut_drawer(open_map, small_survey):
    opened = open_map(small_survey, 390, 844)
    box = opened.page.locator("#drawer-answer").bounding_box()
    assert box["y"] >= 844 - 62
    assert box["y"] + box["height"] <= 844
    assert opened.texts("#drawer-answer") == [small_survey.answer.headline]
    assert not opened.page.locator("h1").is_visible()
    opened.page.click("#drawer")
    assert opened.page.locator("h1").is_visible()
    height = opened.page.locator("#margin").bounding_box()["height"]
    assert height == pytest.approx(0.72 * 844, abs=2)


def test_a_phone_has_one_row_of_large_buttons_and_whole_popups(open_map, small_survey):
    opened = open_map(frosty(small_survey), 390, 844)
    boxes = [
        b.bounding_box() for b in opened.page.locator("#buttons button:visible").all()
    ]
    assert len(boxes) == 5
    assert len({b["y"] for b in boxes}) == 1
    assert min(b["height"] for b in boxes) >= 44
    opened.page.click("#drawer")
    opened.page.locator(".block").first.click()
    popup = opened.page.locator(".leaflet-popup-content-wrapper").bounding_box()
    assert popup["x"] >= 0
    assert popup["x"] + popup["width"] <= 390
    assert popup["y"] >= boxes[0]["y"] + boxes[0]["height"]


def test_a_phone_has_the_key_in_a_strip_above_the_drawer(open_map, small_survey):
    opened = open_map(frosty(small_survey), 390, 844)
    assert not opened.page.locator("#strip").is_visible()
    opened.page.click("#drawer")
    opened.page.check("input[value=frost_night_offset]")
    opened.page.click("#drawer")
    assert opened.texts("#strip .limits i") == [
        "",
        "−3",
        "−2",
        "−1",
        "−0.5",
        "+0.5",
        "+1",
    ]
    assert opened.texts("#strip .ends span")[0] == "colder"
    assert opened.texts("#strip .ends span")[2] == "warmer"


def test_the_printed_sheet_keeps_only_what_was_chosen(open_map, small_survey):
    opened = open_map(small_survey)
    opened.page.check("input[value=slope]")
    opened.page.uncheck("[data-symbol=barriers]")
    opened.page.emulate_media(media="print")
    opened.run("window.dispatchEvent(new Event('beforeprint'))")
    assert not opened.page.locator("#buttons").is_visible()
    assert opened.count(".option:visible") == 1
    assert opened.count(".key:visible li") == 6
    assert not opened.page.locator("[data-symbol=barriers]").is_visible()
    assert opened.count(".symbol:visible") == opened.count(
        "input[type=checkbox]:checked"
    )
    frame = opened.page.locator("#frame").bounding_box()
    # 203 mm at 96 dots an inch: A4 landscape less margins and key.
    assert frame["width"] == pytest.approx(203 / 25.4 * 96, abs=1)
    assert frame["height"] / 96 * 25.4 <= 210 - 16
    opened.run("window.dispatchEvent(new Event('afterprint'))")
    assert opened.page.locator("#buttons").is_visible()


def test_every_stop_of_the_keyboard_is_large_enough_and_has_a_name(
    open_map, small_survey
):
    opened = open_map(small_survey)
    for stop in opened.page.locator("button:visible, select:visible").all():
        assert stop.bounding_box()["height"] >= 30
        assert stop.inner_text().strip()
    for label in opened.page.locator(".option label, .symbol label").all():
        assert label.bounding_box()["height"] >= 30
