"""Drawing on paper: scale, symbols, texts that stay where they belong."""

from io import BytesIO
from math import atan2, degrees

import numpy as np
import pytest
import shapely
from matplotlib.collections import Collection, LineCollection
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.image import imread
from pyproj import CRS, Transformer
from shapely import LineString, Point, box

from sitekit.cartography import margin, styles, symbols
from sitekit.cartography.drawing import (
    DOTS,
    MM_PER_INCH,
    Sheet,
    draw_area,
    draw_class,
    draw_relief,
    find_text_box,
    make_figure,
    make_sheet,
    measure_text,
    write_figure,
    write_text,
)
from sitekit.grid import Grid


def blank(side: float = 400.0) -> tuple[Figure, Sheet]:
    """100 mm of paper for a square of ground."""
    figure = make_figure(102, 102)
    return figure, make_sheet(figure, (0, 0, side, side), (1, 1, 100))


def picture(figure: Figure) -> np.ndarray:
    return imread(BytesIO(write_figure(figure, "png")), format="png")


def texts(sheet: Sheet) -> list[str]:
    return [text.get_text() for text in sheet.axes.texts]


def lines_of(sheet: Sheet, colour: str) -> list[np.ndarray]:
    return [
        segment
        for made in sheet.axes.collections
        if isinstance(made, LineCollection)
        and np.allclose(made.get_edgecolor()[0], to_rgba(colour))
        for segment in made.get_segments()
    ]


def test_a_length_on_paper_is_as_much_ground_as_the_scale_says() -> None:
    _, sheet = blank(500.0)
    assert sheet.metres_per_mm == pytest.approx(5.0)
    assert sheet.metres(10) == pytest.approx(50.0)
    # A CSS pixel is 1/96 inch. Source: W3C, CSS Values and Units 3, section 5.2.
    assert sheet.pixels(96) == pytest.approx(25.4 * 5)


def test_the_scale_bar_measures_on_paper_what_it_says() -> None:
    figure, sheet = blank(400.0)
    margin.draw_scale_bar(sheet, (10, 5), 200.0)
    dark = picture(figure)[:, :, :3].sum(axis=2) < 1.0
    # The bar lies 5 mm over the frame, 1 mm of paper under that; its outline is ink.
    row = dark[-round((1 + 5 + 0.1) / MM_PER_INCH * DOTS)]
    inner = np.flatnonzero(row[round(4 / MM_PER_INCH * DOTS) : -40])
    length = (inner[-1] - inner[0]) / DOTS * MM_PER_INCH
    assert length == pytest.approx(50.0, abs=0.4)
    assert "200\u00a0m" in texts(sheet)


@pytest.mark.parametrize(
    ("given", "rounded"), [(270, 200), (200, 200), (99, 50), (1.7, 1), (49.9, 20)]
)
def test_a_scale_bar_has_a_round_length(given: float, rounded: float) -> None:
    assert margin.round_length(given) == rounded


@pytest.mark.parametrize("east_of_middle", [-2.5, 0.0, 2.5])
def test_the_arrow_points_to_true_north(east_of_middle: float) -> None:
    # Source: Snyder 1987, USGS Professional Paper 1395, p. 51: the convergence of a
    # transverse Mercator is about (longitude from the middle) x sin(latitude).
    crs = CRS.from_epsg(32633)
    x, y = Transformer.from_crs(4326, crs, always_xy=True).transform(
        15 + east_of_middle, 60.0
    )
    grid = Grid(crs, x - 50, y + 50, 1.0, (100, 100))
    expected = east_of_middle * np.sin(np.radians(60.0))
    _, sheet = blank()
    margin.draw_north(sheet, (10, 10), grid.convergence)
    foot, tip = lines_of(sheet, styles.INK)[-1][:2]
    grid_bearing = degrees(atan2(tip[0] - foot[0], tip[1] - foot[1]))
    assert grid_bearing == pytest.approx(-expected, abs=0.05)


def test_the_same_drawing_gives_the_same_bytes() -> None:
    def draw() -> tuple[bytes, bytes]:
        figure, sheet = blank()
        symbols.draw_block(sheet, box(50, 50, 200, 200), styles.CLASS_STYLES[2])
        symbols.draw_badge(sheet, box(50, 50, 200, 200), "1", "hardy kinds only")
        return write_figure(figure, "svg"), write_figure(figure, "png")

    assert draw() == draw()


@pytest.mark.parametrize("kind", ["svg", "png"])
@pytest.mark.parametrize(
    "name", ["$x_1$ and $", r"$\frac{", "<script>", "山の畑", "a\\b%", "%s {0}"]
)
def test_a_name_is_written_letter_by_letter(name: str, kind: str) -> None:
    figure, sheet = blank()
    write_text(sheet, (200, 200), name, 8, order=9)
    assert write_figure(figure, kind)  # type: ignore[arg-type]
    assert texts(sheet) == [name]
    assert measure_text(name, 8) > 0


def test_a_vector_figure_asks_for_nothing_outside_itself() -> None:
    figure, _ = blank()
    svg = write_figure(figure).decode()
    assert "<script" not in svg
    for part in svg.split('href="')[1:]:
        assert part.startswith(("#", "data:"))


def test_wider_words_are_measured_wider() -> None:
    assert measure_text("mmmm", 8) > 2 * measure_text("iiii", 8)
    assert measure_text("word", 16) == pytest.approx(
        2 * measure_text("word", 8), rel=0.1
    )


def test_a_text_may_stand_only_in_the_frame_and_only_once() -> None:
    _, sheet = blank()
    middle = find_text_box(sheet, (200, 200), "Low Meadow", 8)
    assert sheet.claim(middle)
    assert not sheet.claim(middle), "taken"
    assert not sheet.claim(find_text_box(sheet, (5, 200), "Low Meadow", 8)), "outside"


def test_a_block_with_room_shows_rank_and_class() -> None:
    _, sheet = blank()
    assert symbols.draw_badge(sheet, box(50, 50, 350, 200), "12", "with conditions")
    assert texts(sheet) == ["12", "with conditions"]


def test_a_narrow_block_shows_its_rank_alone() -> None:
    _, sheet = blank()
    assert symbols.draw_badge(sheet, box(50, 50, 80, 350), "3", "with conditions")
    assert "3" in texts(sheet)
    assert "with conditions" not in texts(sheet)


def test_badges_do_not_cover_each_other() -> None:
    _, sheet = blank()
    for rank in range(1, 30):
        symbols.draw_badge(sheet, box(100, 100, 300, 300), str(rank), "good")
    for one, other in zip(sheet.taken, sheet.taken[1:], strict=False):
        assert not one.intersects(other)
    assert all(sheet.frame.contains(place) for place in sheet.taken)


def test_a_block_off_the_map_has_no_badge() -> None:
    _, sheet = blank()
    assert not symbols.draw_badge(sheet, box(500, 500, 600, 600), "1", "good")


def test_a_frost_pocket_has_no_outline_along_water() -> None:
    _, sheet = blank()
    water = box(0, 0, 400, 100)
    symbols.draw_frost_pocket(sheet, box(50, 100, 350, 200), water.buffer(1))
    drawn = lines_of(sheet, styles.COLD_AIR)
    assert drawn
    lowest = min(line[:, 1].min() for line in drawn)
    assert lowest >= 101
    highest = max(line[:, 1].max() for line in drawn)
    assert highest == 200


def test_a_cold_air_path_is_as_wide_as_its_catchment() -> None:
    _, sheet = blank()
    widths = []
    for hectares in (0.6, 3.0, 9.0):
        before = len(sheet.axes.collections)
        symbols.draw_cold_air_path(sheet, LineString([(200, 390), (200, 10)]), hectares)
        casing, line = sheet.axes.collections[before:]
        widths.append(line.get_linewidths()[0])
        assert casing.get_linewidths()[0] > line.get_linewidths()[0]
    assert widths == sorted(widths)
    assert len(set(widths)) == 3


def dashes(made: Collection) -> tuple[float, ...]:
    return tuple(made.get_linestyles()[0][1] or ())


def test_what_grows_is_beaded_and_what_is_built_is_barred() -> None:
    for kind, beaded in (("hedge", True), ("wood", True), ("wall", False), ("", False)):
        _, sheet = blank()
        symbols.draw_barrier(sheet, LineString([(10, 10), (300, 10)]), kind)
        made = sheet.axes.collections[-1]
        on, off = dashes(made)
        assert (on < 0.2) == beaded
        assert off > 0
        assert (made.get_capstyle() == "round") == beaded


def test_a_barrier_given_as_an_area_is_drawn_along_its_edge() -> None:
    _, sheet = blank()
    symbols.draw_barrier(sheet, box(10, 10, 50, 20), "hedge")
    assert len(lines_of(sheet, styles.HEDGE)) == 1


def test_the_name_of_water_stands_in_the_water_or_nowhere() -> None:
    _, sheet = blank()
    lake = box(0, 0, 400, 100)
    symbols.draw_water_name(sheet, lake, "Still Mere")
    assert lake.contains(sheet.taken[-1])
    before = len(sheet.axes.texts)
    symbols.draw_water_name(sheet, box(0, 200, 400, 204), "A very long brook name")
    assert len(sheet.axes.texts) == before


def test_every_fifth_height_line_carries_its_figure() -> None:
    _, sheet = blank()
    heights = [float(h) for h in range(700, 732, 2)]
    lines = [LineString([(0, (h - 699) * 12), (400, (h - 699) * 12)]) for h in heights]
    symbols.draw_heights(sheet, lines, heights)
    assert texts(sheet) == ["700", "710", "720", "730"]


def test_figures_never_leave_the_frame() -> None:
    _, sheet = blank()
    symbols.draw_heights(sheet, [LineString([(-500, 200), (900, 210)])], [710.0])
    assert all(sheet.frame.contains(place) for place in sheet.taken)
    assert texts(sheet) == ["710"]


def test_relief_keeps_its_place_and_leaves_unknown_ground_as_paper() -> None:
    figure, sheet = blank(400.0)
    grid = Grid(CRS.from_epsg(32633), 0.0, 400.0, 10.0, (40, 40))
    elevation = np.tile(np.arange(40) * 8.0, (40, 1)).astype(np.float32)
    elevation[:, 20:] = np.nan
    draw_relief(sheet, elevation, grid)
    made = picture(figure)[200:-200, :, :3].mean(axis=0)
    known, unknown = made[100:350].mean(), made[450:750]
    paper = np.array([0xF6, 0xF2, 0xE7]) / 255
    assert unknown == pytest.approx(np.tile(paper, (300, 1)), abs=0.01)
    # The ground rises to the east and is lit from the west: not as pale as paper.
    assert known < paper.mean() - 0.05
    assert sheet.axes.get_xlim() == (0, 400)


def test_holes_of_a_shape_stay_open() -> None:
    figure, sheet = blank()
    ring = Point(200, 200).buffer(150).difference(Point(200, 200).buffer(60))
    draw_area(sheet, ring, "#000000", 1.0, order=5)
    made = picture(figure)
    middle = made.shape[0] // 2
    assert made[middle, middle, :3].min() > 0.8
    assert made[middle, middle + 200, :3].max() < 0.1


@pytest.mark.parametrize("style", styles.CLASS_STYLES, ids=lambda s: s.name)
def test_patterns_stay_inside_their_shape(style: styles.ClassStyle) -> None:
    figure, sheet = blank()
    draw_class(sheet, box(150, 150, 250, 250), style, order=5)
    drawn = picture(figure)[:, :, :3]
    empty = picture(blank()[0])[:, :, :3]
    changed = np.abs(drawn - empty).sum(axis=2) > 0.05
    rows, columns = np.nonzero(changed)
    per_metre = DOTS / MM_PER_INCH / sheet.metres_per_mm
    assert changed.any()
    for places in (rows, columns):
        reach = (places.max() - places.min()) / per_metre
        assert 95 <= reach <= 104


def test_trees_are_drawn_by_their_condition() -> None:
    paths = []
    for condition in ("thriving", "weak", "dead"):
        figure, sheet = blank()
        symbols.draw_tree(sheet, (200, 200), condition)
        paths.append(write_figure(figure, "png"))
    assert len(set(paths)) == 3


def test_a_field_edge_is_dashed_long_and_short() -> None:
    _, sheet = blank()
    symbols.draw_field_edge(sheet, box(50, 50, 300, 300))
    assert len(dashes(sheet.axes.collections[-1])) == 4
    assert shapely.box(*sheet.bounds).equals(sheet.frame)
