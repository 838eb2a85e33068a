"""The key of a plan sheet, and marks that must never be taken for others."""

import pytest
import shapely

from sitekit.cartography.drawing import make_figure, make_sheet
from sitekit.handover import ground, planting_marks
from sitekit.handover.key import LINES, draw_symbol
from sitekit.handover.paper import Paper

SIGNS = (
    *LINES,
    "control",
    "hole",
    "tree",
    "zone",
    "roots",
    "lane",
    "pocket",
)


def make_map():
    """A sheet at 1:1000: a metre of ground is a millimetre of paper."""
    return make_sheet(make_figure(120, 100), (0.0, 0.0, 100.0, 80.0), (10, 10, 100.0))


def drawn(axes):
    """What each collection of an axes looks like: its paths and its inks."""
    return [
        (
            [path.vertices.tobytes() for path in marks.get_paths()],
            marks.get_facecolor().tobytes(),
        )
        for marks in axes.collections
    ]


@pytest.mark.parametrize("sign", SIGNS)
def test_every_sign_is_drawn(sign):
    paper = Paper(100.0, 100.0)
    before = len(paper.axes.collections) + len(paper.axes.patches)
    draw_symbol(paper, sign, (20.0, 50.0))
    assert len(paper.axes.collections) + len(paper.axes.patches) > before


def test_no_two_signs_of_the_key_look_alike():
    looks = []
    for sign in SIGNS:
        paper = Paper(100.0, 100.0)
        draw_symbol(paper, sign, (20.0, 50.0))
        lines = [
            (
                marks.get_edgecolor().tolist(),
                list(marks.get_linewidth()),
                list(marks.get_linestyle()),
                [path.vertices.tolist() for path in marks.get_paths()],
            )
            for marks in paper.axes.collections
        ]
        looks.append(str(lines))
    assert len(set(looks)) == len(SIGNS)


@pytest.mark.parametrize("when", ["this year", "later", "not paid"])
@pytest.mark.parametrize("fruit", [*planting_marks.SHAPES, "old kind"])
def test_a_standing_tree_is_never_drawn_as_one_that_is_planted(fruit, when):
    fill = "#22302F" if when == "this year" else "white"
    mark = planting_marks.PlantMark(
        planting_marks.find_marker(fruit, [fruit]), fill, "#22302F", ""
    )
    plant, tree = make_map(), make_map()
    empty = len(plant.axes.collections)
    planting_marks.draw_mark_of(plant.axes, (50.0, 40.0), mark, 2.1)
    ground.draw_standing_tree(tree.axes, (50.0, 40.0), dead=False)
    # A plant is one shape; a standing tree is a ring with a cross in it.
    assert len(drawn(plant.axes)) - empty == 1
    assert len(drawn(tree.axes)) - empty == 2


def test_a_dead_tree_is_crossed_out():
    alive, dead = make_map(), make_map()
    ground.draw_standing_tree(alive.axes, (50.0, 40.0), dead=False)
    ground.draw_standing_tree(dead.axes, (50.0, 40.0), dead=True)
    assert drawn(alive.axes) != drawn(dead.axes)


def test_a_control_mark_has_its_name_even_where_no_place_is_free():
    sheet = make_map()
    sheet.taken.append(shapely.box(0.0, 0.0, 100.0, 80.0))
    planting_marks.name_mark(sheet, (50.0, 40.0), ('B  "rock"  level 731.6', "B"))
    assert [text.get_text() for text in sheet.axes.texts] == ["B"]


def test_a_control_mark_gives_its_long_name_where_there_is_room():
    sheet = make_map()
    planting_marks.name_mark(sheet, (20.0, 40.0), ('B  "rock"  level 731.6', "B"))
    assert [text.get_text() for text in sheet.axes.texts] == ['B  "rock"  level 731.6']


@pytest.mark.parametrize(("east", "side"), [(1.0, 1), (99.0, -1)])
def test_a_name_at_the_edge_of_the_sheet_stands_inside_it(east, side):
    sheet = make_map()
    sheet.taken.append(shapely.box(0.0, 0.0, 100.0, 80.0))
    planting_marks.name_mark(sheet, (east, 40.0), ("B",))
    x, _ = sheet.axes.texts[0].get_position()
    assert (x - east) * side > 0
