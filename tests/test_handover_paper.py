"""Paper in millimetres: text that fits, pages of the right size, true lengths."""

import re
import shutil
import subprocess
from dataclasses import replace
from math import degrees, pi, tan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from sitekit.cartography.drawing import find_family, measure_text
from sitekit.handover import details
from sitekit.handover.details import find_dimensions, find_mound_width
from sitekit.handover.flow import BOTTOM, HEIGHT, Flow, Head, join_figures
from sitekit.handover.paper import Paper, pitch, wrap, write_pages
from sitekit.handover.plan import ARROW, BAR, draw_bar, draw_norths

#: Dots for an inch at which a millimetre is ten dots.
TEN_A_MM = 254


def needs(tool):
    return pytest.mark.skipif(
        shutil.which(tool) is None, reason=f"{tool} is not installed: not measured"
    )


def run(*command):
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def picture(path, folder):
    run("pdftoppm", "-r", str(TEN_A_MM), "-gray", "-png", str(path), str(folder / "p"))
    return np.asarray(Image.open(next(folder.glob("p-*.png"))).convert("L"))


def test_a_line_is_broken_where_it_must_be():
    lines = wrap("one two three four five six seven eight", 10, 30)
    assert len(lines) > 1
    assert " ".join(lines) == "one two three four five six seven eight"
    assert all(measure_text(line, 10) <= 30 for line in lines)


@settings(deadline=None, max_examples=60)
@given(st.text(alphabet="abc xyzWi-", max_size=120), st.floats(15, 80))
def test_no_line_is_wider_than_its_room_and_no_letter_is_lost(text, width):
    lines = wrap(text, 8, width)
    assert all(measure_text(line, 8) <= width + 0.01 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_a_word_that_is_wider_than_its_room_is_cut():
    assert len(wrap("W" * 60, 10, 30)) > 1


def test_bold_letters_need_more_room():
    text = "word " * 20
    assert len(wrap(text, 10, 60, bold=True)) >= len(wrap(text, 10, 60))


# Source: 1 pt is 1/72 inch, an inch 25.4 mm.
def test_lines_stand_apart_by_their_letters_and_a_third():
    assert pitch(72 / 25.4) == pytest.approx(1.3)


@needs("pdfinfo")
@pytest.mark.parametrize(("width", "height"), [(420, 297), (297, 210), (210, 297)])
def test_a_page_is_as_large_as_its_paper(tmp_path, width, height):
    write_pages(tmp_path / "a.pdf", [Paper(width, height)], "A page")
    told = run("pdfinfo", str(tmp_path / "a.pdf"))
    found = re.search(r"Page size:\s+([\d.]+) x ([\d.]+) pts", told)
    assert float(found[1]) == pytest.approx(width * 72 / 25.4, abs=0.1)
    assert float(found[2]) == pytest.approx(height * 72 / 25.4, abs=0.1)


@needs("pdffonts")
def test_the_letters_are_in_the_file(tmp_path):
    page = Paper(210, 297)
    page.write((20, 20), "Setting out", 10)
    page.write((20, 30), "Setting out", 10, bold=True)
    write_pages(tmp_path / "a.pdf", [page], "A page")
    fonts = run("pdffonts", str(tmp_path / "a.pdf")).splitlines()[2:]
    assert fonts
    assert all("TrueType" in line and " yes " in line for line in fonts)


def test_the_same_pages_give_the_same_bytes(tmp_path):
    for name in ("a.pdf", "b.pdf"):
        page = Paper(210, 297)
        page.write((20, 20), "Setting out", 10)
        write_pages(tmp_path / name, [page], "A page")
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@needs("pdftoppm")
@pytest.mark.parametrize("scale", [100, 500, 1000])
def test_the_scale_bar_measures_a_hundred_millimetres_on_paper(tmp_path, scale):
    page = Paper(297, 210)
    draw_bar(page, (30, 40), scale)
    write_pages(tmp_path / "a.pdf", [page], "A bar")
    seen = picture(tmp_path / "a.pdf", tmp_path)
    # The middle of the bar is 1.1 mm above its foot.
    row = seen[-round((40 + 1.1) * 10)]
    inked = np.flatnonzero(row < 128)
    # From the left of the first outline to the right of the last one: 0.5 pt more.
    assert inked[-1] - inked[0] + 1 == pytest.approx(BAR * 10 + 1.8, abs=2)
    # Three pieces of five are full, and the outlines of the white ones.
    assert len(inked) == pytest.approx(3 * 200, abs=12)


@needs("pdftoppm")
@pytest.mark.parametrize("turn", [-2.6, 0.0, 2.6])
def test_the_arrow_to_true_north_is_turned_as_on_the_ground(tmp_path, turn):
    page = Paper(297, 210)
    draw_norths(page, (100, 50), turn)
    write_pages(tmp_path / "a.pdf", [page], "Norths")
    seen = picture(tmp_path / "a.pdf", tmp_path) < 128

    def shaft(height):
        """Middle of the shaft so high above its foot. [mm]"""
        row = np.flatnonzero(seen[-round((50 + height) * 10), 950:1040])
        return (row.min() + row.max()) / 2 / 10

    measured = degrees(np.arctan2(shaft(10.0) - shaft(1.0), 9.0))
    assert measured == pytest.approx(turn, abs=0.7)


def test_grid_north_points_straight_up():
    page = Paper(297, 210)
    draw_norths(page, (100, 50), 3.0)
    (grid,) = [c for c in page.axes.collections if c.get_gid() == "grid north"]
    (true,) = [c for c in page.axes.collections if c.get_gid() == "true north"]
    (foot, tip) = grid.get_segments()[0]
    assert tip[0] == foot[0]
    assert tip[1] - foot[1] == pytest.approx(ARROW)
    (foot, tip, _) = true.get_segments()[0]
    assert (tip[0] - foot[0]) / (tip[1] - foot[1]) == pytest.approx(tan(3 * pi / 180))


def test_a_flow_turns_the_page_before_its_foot():
    flow = Flow("foot")
    for _ in range(120):
        flow.text("A line of text that stands alone.")
        assert flow.top >= BOTTOM - 2
    assert len(flow.pages) > 1


def test_a_table_has_its_head_again_on_each_page():
    flow = Flow("foot")
    heads = [Head("number", 40), Head("word", 60, "right")]
    flow.table(heads, [[str(i), "word"] for i in range(150)])
    for page in flow.pages:
        written = [line.text for line in page.letters.lines]
        assert "number" in written


@given(st.lists(st.integers(0, 99_999_999), min_size=2, max_size=6))
def test_figures_in_one_line_end_where_their_columns_do(numbers):
    size, ends = 7.8, [25.0 * (i + 1) for i in range(len(numbers))]
    figures = [(end, f"{n / 100:.2f}") for end, n in zip(ends, numbers, strict=True)]
    line = join_figures(figures, size)
    assert [part for part in line.split(" ") if part] == [text for _, text in figures]
    half = measure_text(" ", size) / 2
    for i, (end, _) in enumerate(figures):
        rest = re.match(rf"(?:\s*\S+){{{i + 1}}}", line)[0]
        after = measure_text(line, size) - measure_text(rest, size)
        assert ends[-1] - after == pytest.approx(end, abs=half * (len(numbers) - i))


def test_a_drawing_is_not_parted_from_its_room():
    flow = Flow("foot")
    flow.space(HEIGHT - BOTTOM - 40)
    places = []
    flow.drawing(80.0, lambda _, corner: places.append(corner))
    assert len(flow.pages) == 2
    assert places[0][1] >= BOTTOM


def test_every_page_is_numbered():
    flow = Flow("Test Holding")
    flow.turn()
    pages = flow.finish()
    for number, page in enumerate(pages, start=1):
        written = [line.text for line in page.letters.lines]
        assert f"{number} of 2" in written
        assert "Test Holding" in written


def test_points_have_a_box_to_tick_or_a_number():
    flow = Flow("foot")
    flow.points(["one", "two"])
    assert len(flow.paper.axes.patches) == 2
    flow.points(["one", "two"], numbered=True)
    written = [line.text for line in flow.paper.letters.lines]
    assert {"1", "2"} <= set(written)


# Source: volume of a spherical cap, pi h (3 a² + h²) / 6 (any handbook of geometry).
@given(st.floats(0.1, 5.0), st.floats(0.2, 0.8))
def test_a_mound_is_as_wide_as_its_soil_makes_it(soil, height):
    width = find_mound_width(soil, height)
    radius = width / 2
    if width > 0:
        assert pi * height * (3 * radius**2 + height**2) / 6 == pytest.approx(soil)


def test_no_soil_makes_no_mound():
    assert find_mound_width(0.0, 0.4) == 0.0


def test_the_guard_stands_above_the_usual_snow(small_survey):
    site = replace(small_survey.site, limits={"snow_m": 1.1})
    size = find_dimensions(replace(small_survey, site=site))
    assert size.snow == 1.1
    assert size.guard_height > 1.1
    usual = find_dimensions(small_survey)
    assert size.guard_height - usual.guard_height == pytest.approx(1.1 - usual.snow)


# Source: extension advice against voles: mesh of a quarter inch (6 mm) or finer,
# dug in by 4 to 6 inches (10 to 15 cm).
def test_the_guard_keeps_voles_out(small_survey):
    size = find_dimensions(small_survey)
    assert size.mesh_mm <= 6.4
    assert 0.10 <= size.guard_dug <= 0.15


# Common practice, no source: a planting hole is wide and shallow.
def test_the_hole_is_wide_and_shallow(small_survey):
    size = find_dimensions(small_survey)
    assert size.hole_width > 2 * size.hole_depth


@pytest.mark.parametrize(
    ("draw", "words"),
    [
        (details.draw_hole, ("1.00 m, wide", "0.30 m, shallow", "sides and bottom")),
        (details.draw_guard, ("m above ground", "dug in", "mesh")),
        (details.draw_mound, ("m³ of soil", "2.48 m")),
        (details.draw_edge, ("as laid", "clear of the stem", "Edge held by")),
    ],
)
def test_each_detail_has_its_dimensions_and_its_scale(small_survey, draw, words):
    page = Paper(210, 297)
    draw(page, (20, 100), find_dimensions(small_survey))
    written = " ".join(line.text for line in page.letters.lines)
    assert "1:25" in written
    assert all(word in written for word in words)


def test_a_detail_is_drawn_to_its_scale(small_survey):
    """A hole 1 m wide is 40 mm wide on paper at 1:25."""
    page = Paper(210, 297)
    size = find_dimensions(small_survey)
    section = details.Section(page, (100.0, 100.0))
    left, right = (
        section.at(-size.hole_width / 2, 0),
        section.at(size.hole_width / 2, 0),
    )
    assert right[0] - left[0] == pytest.approx(40.0)


def test_details_stay_in_the_room_that_is_kept_for_them(small_survey):
    size = find_dimensions(small_survey)
    room = {
        details.draw_planting: 80.0,
        details.draw_mound: 58.0,
        details.draw_edge: 62.0,
    }
    for draw, height in room.items():
        page = Paper(210, 297)
        draw(page, (20, 100), size)
        for line in page.letters.lines:
            assert 99.0 <= line.place[1] <= 100.0 + height
            assert 15.0 <= line.place[0] <= 195.0


@needs("pdftoppm")
@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize("align", ["left", "center", "right"])
def test_a_line_lies_as_the_library_lays_its_own(bold, align, tmp_path):
    # Against matplotlib's text on the same page: where the ink begins and ends.
    words, ink = "Setting out 1234.56", []
    for name in ("ours", "theirs"):
        page = Paper(100, 20)
        if name == "ours":
            page.write((50, 8), words, 9, bold=bold, align=align)
        else:
            weight, family = ("bold" if bold else "normal"), find_family()[:1]
            look = {"fontsize": 9, "ha": align, "family": family, "weight": weight}
            page.axes.text(50, 8, words, va="baseline", **look)
        folder = tmp_path / name
        folder.mkdir()
        write_pages(folder / "page.pdf", [page], name)
        dark = picture(folder / "page.pdf", folder) < 128
        ink.append(np.flatnonzero(dark.any(axis=0))[[0, -1]])
    # Ten dots are a millimetre.
    assert np.abs(ink[0] - ink[1]).max() <= 2
