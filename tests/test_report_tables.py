"""Tables and markup of the report."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from sitekit import words
from sitekit.cartography import styles
from sitekit.cartography.asked import list_fruit
from sitekit.report import swatches, tables
from sitekit.report.blocks import cells_of, list_blocks, middle_value
from sitekit.report.markup import Markup, css_text, element, items, join, table
from sitekit.results import Survey


@given(st.text())
def test_text_never_becomes_markup(text: str) -> None:
    made = element("p", text, title=text)
    assert made.count("<") == 2
    assert made.count(">") == 2
    assert made.count('"') == 2


def test_markup_is_not_escaped_twice() -> None:
    assert join([element("b", "a & b"), " & "]) == "<b>a &amp; b</b> &amp; "
    assert element("img", alt="x") == '<img alt="x">'
    assert items([]) == ""


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])))
def test_a_text_in_a_style_sheet_cannot_end_its_string(text: str) -> None:
    made = css_text(text)
    inner = made[1:-1]
    assert made[0] == made[-1] == '"'
    for letter in '"<>\n;{}':
        assert letter not in inner


def test_a_style_sheet_text_reads_back() -> None:
    # Source: W3C, CSS Syntax Level 3, section 4.3.7: backslash, hex, one space.
    assert css_text("a<b") == '"a\\3c b"'
    assert css_text("The Shelf, 8") == '"The Shelf, 8"'


def test_the_first_cell_of_a_row_is_its_head() -> None:
    made = table(["Block", "Apple"], [["1", "good"]], label="Blocks")
    assert '<th scope="row">1</th><td>good</td>' in made
    assert '<th scope="col">Block</th>' in made


def test_blocks_stand_best_first_with_every_fruit(small_survey: Survey) -> None:
    blocks = list_blocks(small_survey)
    assert [b.number for b in blocks] == [1, 2, 3]
    assert list(blocks[0].classes) == ["apple", "pear"]
    assert blocks[2].best_class == "refused"
    assert list_fruit(small_survey) == ["apple", "pear"]


def test_the_best_class_of_a_block_is_that_of_its_best_fruit(
    small_survey: Survey,
) -> None:
    classes = {"apple": "refused", "pear": "hardy kinds only", "plum": "test first"}
    block = replace(list_blocks(small_survey)[0], classes=classes)
    assert block.best_class == "hardy kinds only"
    assert block.style.name == "hardy kinds only"
    assert replace(block, classes={}).best_class == "test first"


def test_fruit_are_told_six_to_a_table(small_survey: Survey) -> None:
    blocks = [
        replace(b, classes=dict.fromkeys("abcdefgh", "good"))
        for b in list_blocks(small_survey)
    ]
    frame = small_survey.blocks
    wide = frame.loc[frame.index.repeat(4)].assign(fruit=list("abcdefgh") * 3)
    survey = replace(small_survey, blocks=wide)
    made = list(tables.fruit_tables(survey, blocks, "Fruit"))
    assert [text.count('scope="col"') for text in made] == [1 + 6, 1 + 2]


def test_poor_crop_years_stand_under_the_class_with_their_range(
    small_survey: Survey,
) -> None:
    frame = small_survey.fruit_by_block.assign(poor_crop_years=1.3, low=0.2, high=2.1)
    survey = replace(small_survey, fruit_by_block=frame)
    years = tables.find_years(survey)
    assert years[(1, "apple")] == "1 in ten (0\u00a0to\u00a02)"
    made = next(iter(tables.fruit_tables(survey, list_blocks(survey), "Fruit")))
    assert made.count("1 in ten") == 6
    assert tables.find_years(small_survey) == {}, "no record, no years"


def test_an_unknown_class_is_not_known(small_survey: Survey) -> None:
    blocks = [replace(b, classes={}) for b in list_blocks(small_survey)]
    made = next(iter(tables.fruit_tables(small_survey, blocks, "Fruit")))
    assert made.count(words.NOT_KNOWN) == 6
    assert "swatch" not in made


def test_fruit_with_one_reason_share_a_row(small_survey: Survey) -> None:
    block = list_blocks(small_survey)[0]
    assert tables.reason_table([block]).count("<tr>") == 2
    split = replace(block, reasons={"apple": "steep", "pear": "cold"})
    made = tables.reason_table([split])
    assert made.count("<tr>") == 3
    assert "Steep." in made
    assert "apple and pear" in tables.reason_table([block])


def test_the_ground_table_has_a_column_for_each_known_layer(
    small_survey: Survey,
) -> None:
    made = tables.ground_table(small_survey, list_blocks(small_survey))
    assert "Sun a day while fruit ripens" in made
    assert "To the water" in made
    assert "Last spring frost" not in made
    bare = replace(small_survey, layers=small_survey.layers[["slope"]])
    assert tables.ground_table(bare, list_blocks(bare)).count('scope="col"') == 2


def test_slope_is_told_in_per_cent(small_survey: Survey) -> None:
    # tan 4.6 degrees = 0.0805.
    assert "8\u00a0%" in tables.ground_table(small_survey, list_blocks(small_survey))


def test_directions_are_averaged_as_arrows(small_survey: Survey) -> None:
    grid = small_survey.site.grid
    aspect = np.where(np.indices(grid.shape)[1] % 2, 350.0, 10.0).astype(np.float32)
    layers = small_survey.layers.assign(aspect=grid.wrap(aspect, "aspect"))
    survey = replace(small_survey, layers=layers)
    made = tables.ground_table(survey, list_blocks(survey))
    assert "<td>north</td>" in made
    assert "south" not in made


def test_held_air_is_told_at_its_deepest_or_as_none_found(
    small_survey: Survey,
) -> None:
    made = tables.ground_table(small_survey, list_blocks(small_survey))
    assert "none found" in made
    assert "1.7\u00a0m" in made


def test_unknown_ground_is_not_known(small_survey: Survey) -> None:
    layers = small_survey.layers.copy(deep=True)
    for name in ("slope", "pooling_depth", "sunshine_hours_ripening"):
        layers[name][:] = np.nan
    survey = replace(small_survey, layers=layers)
    made = tables.ground_table(survey, list_blocks(survey)[:1])
    assert made.count(words.NOT_KNOWN) == 3
    assert "none found" not in made


def test_the_middle_value_of_a_shape_is_that_of_its_cells(small_survey: Survey) -> None:
    west, south, *_ = small_survey.site.grid.bounds
    shape = shapely.box(west + 100, south + 300, west + 200, south + 340)
    # The plane rises 8 m in 100 m from 700 m; the middle lies 320 m up.
    middle = middle_value(small_survey, "elevation", shape)
    assert middle == pytest.approx(700 + 0.08 * 320, abs=0.3)
    assert cells_of(small_survey, "elevation", shape).size == 20 * 8


def test_a_shape_smaller_than_a_cell_reads_the_cell_it_lies_in(
    small_survey: Survey,
) -> None:
    west, south, *_ = small_survey.site.grid.bounds
    tiny = shapely.box(west + 101, south + 301, west + 101.5, south + 301.5)
    assert cells_of(small_survey, "elevation", tiny).size == 1


def test_a_layer_that_was_not_made_has_no_value(small_survey: Survey) -> None:
    shape = list_blocks(small_survey)[0].shape
    assert np.isnan(middle_value(small_survey, "heat_sum", shape))


def test_what_speaks_against_the_map_comes_first(small_survey: Survey) -> None:
    notes = small_survey.notes.loc[[0, 0]].assign(
        verdict=["agrees", "contradicts"], text=["first written", "second written"]
    )
    made = tables.note_table(replace(small_survey, notes=notes))
    assert made.index("second written") < made.index("first written")
    # The letter on the map stays with its note.
    assert "b  12 May 2025" in made


def test_many_trees_are_counted_not_all_printed(small_survey: Survey) -> None:
    trees = small_survey.existing_trees
    many = trees.loc[[0] * 200].reset_index(drop=True)
    made = tables.tree_table(replace(small_survey, existing_trees=many))
    assert made.count("<tr>") == 1 + tables.MOST_LISTED
    assert "170 more stand in the file site.gpkg." in made


@pytest.mark.parametrize(
    ("layer", "name"),
    [
        ("slope", "Slope in per cent"),
        ("score_sweet_cherry", "Score of every spot, 0 to 100, sweet cherry"),
        ("lake_effect_bloom", "Effect of the lake in bloom"),
        ("sky_view_factor", "Sky view factor"),
    ],
)
def test_layers_are_named_for_people(layer: str, name: str) -> None:
    assert tables.name_layer(layer) == name


def test_a_layer_that_the_map_does_not_show_goes_by_its_long_name() -> None:
    assert tables.name_layer("sky_view_factor", "open sky") == "Open sky"
    assert tables.name_layer("slope", "slope") == "Slope in per cent"


def test_each_class_and_line_has_its_own_little_picture() -> None:
    rules = swatches.swatch_rules()
    drawn = [line.split("{")[1] for line in rules.strip().splitlines()]
    assert len(set(drawn)) == len(drawn) == len(styles.CLASS_STYLES) + 13
    for style in styles.CLASS_STYLES:
        assert f".{swatches.slug(style.name)} {{" in rules
        assert style.fill in swatches.draw_class_swatch(style)
    assert "<" not in rules, "percent-encoded"


def test_a_swatch_stands_beside_a_word_never_alone(small_survey: Survey) -> None:
    made = next(iter(tables.fruit_tables(small_survey, list_blocks(small_survey), "x")))
    assert made.count('class="swatch') == made.count('class="class"') == 6
    assert isinstance(swatches.swatch("good"), Markup)
