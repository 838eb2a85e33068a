"""The report in a browser and on paper."""

import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
import shapely

from sitekit.report import write_report
from sitekit.results import Survey

CHROMIUM = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))),
    None,
)
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
#: A4 in points of 1/72 inch. Source: ISO 216, 210 x 297 mm.
A4 = (595.28, 841.89)

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    playwright = pytest.importorskip("playwright.sync_api", reason="no playwright")
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine: the printed report was not checked")
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield opened
        opened.close()


def wide_survey(survey: Survey, count: int) -> Survey:
    """The survey with many blocks, six fruit, years and long names."""
    west, south, *_ = survey.site.grid.bounds
    first = survey.blocks.iloc[0].drop("geometry").to_dict()
    fruit = ("apple", "pear", "plum", "sweet_cherry", "sour_cherry", "blackcurrant")
    classes = ("with conditions", "hardy kinds only", "test first", "refused")
    rows = [
        {
            **first,
            "block": i,
            "rank": i,
            "fruit": name,
            "name": f"The long ground behind the wood, part {i}",
            "site_class": classes[i * 4 // (count + 1)],
        }
        for i in range(1, count + 1)
        for name in fruit
    ]
    shapes = [
        shapely.box(x, y, x + 45, y + 40)
        for x, y in (
            (west + 160 + 48 * (r["block"] % 10), south + 310 + 45 * (r["block"] // 10))
            for r in rows
        )
    ]
    blocks = gpd.GeoDataFrame(rows, geometry=shapes, crs=survey.blocks.crs)
    years = blocks[["block", "fruit", "site_class", "reason"]].assign(
        group="", poor_crop_years=2.0, low=1.0, high=4.0, ripening=None, winter=None
    )
    return replace(survey, blocks=blocks, fruit_by_block=years)


@pytest.fixture(params=["small", "wide"])
def survey(request: pytest.FixtureRequest, small_survey: Survey) -> Survey:
    return small_survey if request.param == "small" else wide_survey(small_survey, 40)


@pytest.fixture
def opened(browser: Any, survey: Survey, tmp_path: Path) -> Iterator[Any]:
    path = tmp_path / "report.html"
    write_report(survey, path, today=date(2026, 11, 25))
    page = browser.new_page()
    page.told = []
    page.asked = []
    page.on("console", lambda message: page.told.append(message.text))
    page.on("pageerror", lambda error: page.told.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    page.goto(path.as_uri())
    yield page
    page.close()


def pages_of(page: Any, folder: Path) -> list[str]:
    """Print and read the text of each page."""
    path = folder / "report.pdf"
    page.pdf(path=str(path), prefer_css_page_size=True)
    reader = shutil.which("pdftotext")
    if reader is None:
        pytest.skip("no pdftotext on this machine: page breaks were not checked")
    done = subprocess.run(
        [reader, "-layout", str(path), "-"], check=True, capture_output=True, text=True
    )
    return done.stdout.split("\f")[:-1]


def test_opening_asks_for_nothing_and_complains_of_nothing(opened: Any) -> None:
    assert [url for url in opened.asked if not url.startswith("data:")] == [opened.url]
    assert opened.told == []


def test_every_figure_is_shown(opened: Any) -> None:
    sizes = opened.eval_on_selector_all("img", "all => all.map(i => i.naturalWidth)")
    assert len(sizes) == 2
    assert min(sizes) > 300


def test_the_policy_refuses_a_style_that_is_added(opened: Any) -> None:
    colour = opened.evaluate(
        """() => { const s = document.createElement('style');
        s.textContent = 'h1 { color: rgb(1, 2, 3) }'; document.head.append(s);
        return getComputedStyle(document.querySelector('h1')).color; }"""
    )
    assert colour != "rgb(1, 2, 3)"


def test_a_phone_scrolls_down_only(opened: Any) -> None:
    for width in (320, 390, 844):
        opened.set_viewport_size({"width": width, "height": 844})
        wide = opened.evaluate("document.documentElement.scrollWidth")
        assert wide <= width


def test_it_prints_on_a4(opened: Any, tmp_path: Path) -> None:
    reader = shutil.which("pdfinfo")
    if reader is None:
        pytest.skip("no pdfinfo on this machine: the paper size was not checked")
    path = tmp_path / "report.pdf"
    opened.pdf(path=str(path), prefer_css_page_size=True)
    done = subprocess.run(
        [reader, str(path)], check=True, capture_output=True, text=True
    )
    size = next(line for line in done.stdout.splitlines() if "Page size" in line)
    wide, high = (float(part) for part in size.split()[2:5:2])
    assert (wide, high) == pytest.approx(A4, abs=1.0)


def test_page_one_is_complete_by_itself(
    opened: Any, survey: Survey, tmp_path: Path
) -> None:
    first, second, *_ = pages_of(opened, tmp_path)
    for text in (
        survey.answer.headline,
        "Before you",
        survey.answer.measures[-1].what,
        "Which fruit",
        "neither good nor bad",
    ):
        assert text in first, text
    assert "The ground" not in first
    assert "The ground" in second, "the map begins page two"


def test_no_figure_is_parted_from_its_caption(opened: Any) -> None:
    kept = opened.evaluate(
        """() => { const parts = [...document.querySelectorAll('figure, tr, .whole')];
        return parts.length; }"""
    )
    assert kept > 5
    opened.emulate_media(media="print")
    rules = opened.eval_on_selector_all(
        "figure", "all => all.map(f => getComputedStyle(f).breakInside)"
    )
    assert set(rules) == {"avoid"}
    # 265 mm of a page hold each figure with its caption at the width of print.
    opened.set_viewport_size({"width": round(182 / 25.4 * 96), "height": 1000})
    heights = opened.eval_on_selector_all(
        "figure", "all => all.map(f => f.getBoundingClientRect().height)"
    )
    assert max(heights) < 265 / 25.4 * 96


def test_captions_stand_on_the_page_of_the_map(opened: Any, tmp_path: Path) -> None:
    pages = pages_of(opened, tmp_path)
    holding = [i for i, text in enumerate(pages) if "The holding." in text]
    assert holding == [1]


def test_every_page_carries_name_date_stamp_and_number(
    opened: Any, tmp_path: Path
) -> None:
    pages = pages_of(opened, tmp_path)
    assert len(pages) >= 3
    for number, text in enumerate(pages, start=1):
        assert "Test Holding, 25 November 2026. From terrain only" in text
        assert f"{number} of {len(pages)}" in text
        body = text.replace(f"{number} of {len(pages)}", "")
        assert len(body.split()) > 12, "no page is left empty"


def test_forty_blocks_are_all_printed(opened: Any, tmp_path: Path) -> None:
    text = "\n".join(pages_of(opened, tmp_path))
    count = opened.eval_on_selector_all(".fruit tbody tr", "all => all.length")
    assert count in (3, 40)
    assert text.count("Which fruit") >= 1
