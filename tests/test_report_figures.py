"""The map and the section of the report."""

from dataclasses import replace
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from sitekit.cartography.drawing import write_figure
from sitekit.report.blocks import list_blocks
from sitekit.report.cross_section import ACROSS, MOST_RISE, draw_section, find_section
from sitekit.report.ground_map import (
    HEIGHT,
    WIDTH,
    draw_map,
    find_bounds,
    find_hidden,
    note_letters,
)
from sitekit.results import Survey


def renderer_of(figure: Any) -> Any:
    """What measures texts; only canvases that draw pixels have one."""
    return figure.canvas.get_renderer()


def turned(survey: Survey, quarter: int) -> Survey:
    """The survey on a plane that rises to the north, east, south or west by 8 %."""
    grid = survey.site.grid
    x = np.broadcast_to(grid.eastings - grid.west, grid.shape)
    y = np.broadcast_to((grid.northings - grid.bounds[1])[:, None], grid.shape)
    rise = (y, x, -y, -x)[quarter]
    ground = (700 + 0.08 * rise).astype(np.float32)
    site = replace(
        survey.site,
        elevation=ground,
        ground=ground,
        water_mask=np.zeros(grid.shape, bool),
    )
    return replace(survey, site=site)


def test_the_map_holds_the_field_and_the_water_near_by(small_survey: Survey) -> None:
    frame = shapely.box(*find_bounds(small_survey))
    field = shapely.union_all(small_survey.site.field.geometry.to_numpy())
    assert frame.contains(field)
    assert frame.intersects(small_survey.site.vectors["water"].geometry.iloc[0])
    assert shapely.box(*small_survey.site.grid.bounds).covers(frame)


def test_the_map_does_not_reach_for_water_far_away(small_survey: Survey) -> None:
    west, south, *_ = small_survey.site.grid.bounds
    far = shapely.box(west - 9000, south, west - 8000, south + 100)
    vectors = dict(small_survey.site.vectors)
    vectors["water"] = vectors["water"].set_geometry([far])
    site = replace(small_survey.site, vectors=vectors)
    bounds = find_bounds(replace(small_survey, site=site))
    assert bounds[0] > west


def test_the_map_fits_its_column_and_its_page(small_survey: Survey) -> None:
    wide, high = draw_map(small_survey).get_size_inches() * 25.4
    assert wide == pytest.approx(WIDTH)
    assert high <= HEIGHT


def test_a_tall_field_makes_a_narrower_map(small_survey: Survey) -> None:
    west, south, _, north = small_survey.site.grid.bounds
    strip = shapely.box(west + 300, south + 100, west + 340, north - 60)
    field = small_survey.site.field.iloc[:1].set_geometry([strip])
    site = replace(small_survey.site, field=field)
    figure = draw_map(replace(small_survey, site=site))
    assert figure.get_size_inches()[1] * 25.4 <= HEIGHT + 1e-6
    assert write_figure(figure)


def test_the_map_names_blocks_water_reference_and_heights(
    small_survey: Survey,
) -> None:
    (axes,) = draw_map(small_survey).axes
    texts = {text.get_text() for text in axes.texts}
    assert {"1", "2", "3", "with conditions", "test first", "refused"} <= texts
    assert {"Still Mere", "the house", "true N", "a"} <= texts
    assert {"710", "720", "730", "740"} <= texts


def test_no_text_of_the_map_leaves_its_frame(small_survey: Survey) -> None:
    figure = draw_map(small_survey)
    (axes,) = figure.axes
    renderer = renderer_of(figure)
    frame = axes.get_window_extent(renderer)
    for text in axes.texts:
        box = text.get_window_extent(renderer)
        assert frame.x0 <= box.x0, text.get_text()
        assert box.x1 <= frame.x1, text.get_text()
        assert frame.y0 <= box.y0, text.get_text()
        assert box.y1 <= frame.y1, text.get_text()


def test_the_map_is_the_same_every_time(small_survey: Survey) -> None:
    one, two = (write_figure(draw_map(small_survey)) for _ in range(2))
    assert one == two


def test_the_outline_of_a_pocket_is_hidden_at_the_edge_of_the_data(
    small_survey: Survey,
) -> None:
    hidden = find_hidden(small_survey)
    west, south, east, north = small_survey.site.grid.bounds
    assert hidden.contains(shapely.Point(west, north - 50))
    assert hidden.contains(shapely.Point(west + 100, south + 50)), "on the water"
    assert not hidden.contains(shapely.Point((west + east) / 2, (south + north) / 2))


def test_paths_in_many_pieces_are_joined_before_arrows_are_set(
    small_survey: Survey,
) -> None:
    grid = small_survey.site.grid
    west, south, *_ = grid.bounds
    points = [(west + 450, south + 580 - 5 * i) for i in range(80)]
    pieces = [shapely.LineString(p) for p in pairwise(points)]
    paths = gpd.GeoDataFrame(
        {"catchment_ha": [0.8] * len(pieces)}, geometry=pieces, crs=grid.crs
    )
    whole = paths.iloc[:1].set_geometry([shapely.LineString(points)])
    drawn = [
        write_figure(draw_map(replace(small_survey, cold_air_paths=p)), "png")
        for p in (paths, whole)
    ]
    assert drawn[0] == drawn[1]


def test_notes_have_letters_and_then_figures() -> None:
    letters = note_letters(28)
    assert letters[:2] == ["a", "b"]
    assert letters[25:] == ["z", "27", "28"]
    assert len(set(note_letters(200))) == 200


@pytest.mark.parametrize(
    ("quarter", "direction"),
    [
        (0, "south to north"),
        (1, "west to east"),
        (2, "north to south"),
        (3, "east to west"),
    ],
)
def test_the_section_runs_up_the_slope(
    small_survey: Survey, quarter: int, direction: str
) -> None:
    survey = turned(small_survey, quarter)
    block = list_blocks(survey)[0]
    section = find_section(survey, block, find_bounds(survey))
    assert section is not None
    assert section.direction == direction
    assert section.line.intersects(block.shape)
    assert section.height[-1] > section.height[0]
    # The plane rises by 8 %.
    rise = section.height[-1] - section.height[0]
    assert rise / section.line.length == pytest.approx(0.08, rel=0.02)


def test_the_section_begins_in_the_water_and_ends_on_the_hill(
    small_survey: Survey,
) -> None:
    bounds = find_bounds(small_survey)
    section = find_section(small_survey, list_blocks(small_survey)[0], bounds)
    assert section is not None
    assert section.water[0]
    assert not section.water[-1]
    assert section.height.argmax() == len(section.height) - 1
    assert shapely.box(*bounds).covers(section.line)


def test_held_cold_air_is_not_drawn_on_water_nor_where_shallow(
    small_survey: Survey,
) -> None:
    bounds = find_bounds(small_survey)
    section = find_section(small_survey, list_blocks(small_survey)[0], bounds)
    assert section is not None
    assert section.pool_depth > 1
    held = section.cold_air[section.cold_air > 0]
    assert held.min() >= 0.3
    assert not (section.cold_air[section.water] > 0).any()


@pytest.mark.parametrize(("rise", "least"), [(0.005, 8), (0.08, 2), (0.6, 1)])
def test_the_stretch_makes_gentle_ground_visible(
    small_survey: Survey, rise: float, least: int
) -> None:
    survey = turned(small_survey, 0)
    ground = 700 + (survey.site.elevation - 700) * np.float32(rise / 0.08)
    survey = replace(survey, site=replace(survey.site, elevation=ground))
    section = find_section(survey, list_blocks(survey)[0], find_bounds(survey))
    assert section is not None
    assert section.stretch >= least
    drawn = float(np.ptp(section.height)) / section.metres_per_mm
    assert drawn <= max(MOST_RISE, rise * ACROSS * 1.01)


def test_level_ground_has_no_section(small_survey: Survey) -> None:
    flat = np.full(small_survey.site.grid.shape, 700, np.float32)
    survey = replace(
        small_survey, site=replace(small_survey.site, elevation=flat, ground=flat)
    )
    assert find_section(survey, list_blocks(survey)[0], find_bounds(survey)) is None


def test_without_any_height_there_is_no_section(small_survey: Survey) -> None:
    nothing = np.full(small_survey.site.grid.shape, np.nan, np.float32)
    survey = replace(small_survey, site=replace(small_survey.site, elevation=nothing))
    assert find_section(survey, list_blocks(survey)[0], find_bounds(survey)) is None


def test_the_section_names_blocks_pool_and_barrier(small_survey: Survey) -> None:
    blocks = list_blocks(small_survey)
    section = find_section(small_survey, blocks[0], find_bounds(small_survey))
    assert section is not None
    (axes,) = draw_section(small_survey, section, blocks).axes
    texts = [text.get_text() for text in axes.texts]
    assert "1 with conditions" in texts
    assert "hedge, 3.5\u00a0m high" in texts
    assert any(text.startswith("cold air held up to 70") for text in texts)
    assert f"south to north; heights drawn ×{section.stretch}" in texts


def test_texts_of_the_section_stay_on_the_paper(small_survey: Survey) -> None:
    blocks = list_blocks(small_survey)
    section = find_section(small_survey, blocks[0], find_bounds(small_survey))
    assert section is not None
    figure = draw_section(small_survey, section, blocks)
    renderer = renderer_of(figure)
    wide, high = figure.get_size_inches() * figure.dpi
    (axes,) = figure.axes
    figure.draw_without_rendering()
    low, high_x = axes.get_xlim()
    ticks = [
        t.label1 for t in axes.xaxis.get_major_ticks() if low <= t.get_loc() <= high_x
    ]
    for text in (*axes.texts, *ticks):
        box = text.get_window_extent(renderer)
        assert box.x0 >= -1, text.get_text()
        assert box.x1 <= wide + 1, text.get_text()
        assert box.y0 >= -1, text.get_text()
        assert box.y1 <= high + 1, text.get_text()


def test_no_rank_covers_the_letter_of_a_note(small_survey: Survey) -> None:
    """Notes stand just where the ranks of the blocks stand without them."""
    numbers = {str(n) for n in small_survey.blocks["block"]}
    bare = draw_map(replace(small_survey, notes=small_survey.notes.iloc[:0]))
    ranks = [text for text in bare.axes[0].texts if text.get_text() in numbers]
    assert ranks
    notes = small_survey.notes.iloc[[0] * len(ranks)].set_geometry(
        [shapely.Point(text.get_position()) for text in ranks]
    )
    figure = draw_map(replace(small_survey, notes=notes))
    renderer = renderer_of(figure)
    boxes = {
        text.get_text(): text.get_window_extent(renderer)
        for text in figure.axes[0].texts
    }
    letters = [boxes[letter] for letter in note_letters(len(notes))]
    drawn = [boxes[text.get_text()] for text in ranks]
    assert not any(rank.overlaps(letter) for rank in drawn for letter in letters)
