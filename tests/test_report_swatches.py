"""The little pictures of the key: sound, told apart without colour, self-contained."""

import re
from itertools import combinations
from urllib.parse import unquote
from xml.etree import ElementTree as ET

import pytest

from sitekit.cartography.styles import CLASS_STYLES
from sitekit.report.swatches import (
    draw_class_swatch,
    draw_line_swatches,
    draw_mark_swatches,
    slug,
    swatch_rules,
)

CLASSES = {style.name: draw_class_swatch(style) for style in CLASS_STYLES}
DRAWN = {**CLASSES, **draw_line_swatches(), **draw_mark_swatches()}
# Source: W3C, Scalable Vector Graphics (SVG) 1.1, 1.2: its name space.
SVG = "{http://www.w3.org/2000/svg}"


def without_colour(svg):
    return re.sub(r"#[0-9a-fA-F]{3,8}", "", svg)


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_a_picture_is_well_formed_and_has_its_size(name):
    root = ET.fromstring(DRAWN[name])
    assert root.tag == f"{SVG}svg"
    _, _, width, height = map(float, root.get("viewBox").split())
    assert (width, height) == (float(root.get("width")), float(root.get("height")))
    assert len(root) > 0


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_a_picture_holds_known_shapes_and_fetches_nothing(name):
    root = ET.fromstring(DRAWN[name])
    kinds = {child.tag.removeprefix(SVG) for child in root.iter()}
    assert kinds <= {"svg", "path", "circle", "text"}
    for child in root.iter():
        assert not [key for key in child.attrib if "href" in key]


@pytest.mark.parametrize(("one", "other"), list(combinations(sorted(CLASSES), 2)))
def test_two_classes_differ_in_their_pattern_and_not_in_colour_alone(one, other):
    # Source: W3C, WCAG 2.2, success criterion 1.4.1, use of colour.
    assert without_colour(CLASSES[one]) != without_colour(CLASSES[other])


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_a_picture_has_one_rule_that_carries_it_whole(name):
    rules = [r for r in swatch_rules().splitlines() if r.startswith(f".{slug(name)} ")]
    assert len(rules) == 1
    carried = re.search(r'url\("data:image/svg\+xml,([^"]*)"\)', rules[0])
    assert unquote(carried[1]) == DRAWN[name]


def test_no_two_pictures_share_a_name():
    assert len({slug(name) for name in DRAWN}) == len(DRAWN)


@pytest.mark.parametrize("name", sorted(DRAWN))
def test_the_name_of_a_rule_is_one_word_of_a_style_sheet(name):
    # Source: W3C, CSS Syntax Module Level 3, 4.3.11: identifiers, ASCII part.
    assert re.fullmatch(r"[a-z][a-z0-9-]*", slug(name))
