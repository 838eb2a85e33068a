"""What is planted is consistent in itself, and hidden from every survey."""

import ast
from pathlib import Path

import pytest
import shapely

import sitekit
from sitekit.demo.evidence import proposals
from sitekit.demo.places import PLOTS
from sitekit.demo.truth import LOGGERS, MEADOW_CLEARED, MEADOW_SHUT, PLANTED, Planted


def test_no_room_but_the_demo_reads_the_truth():
    root = Path(sitekit.__file__).parent
    readers = set()
    for path in root.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module == "sitekit.demo.truth":
                readers.add(path.relative_to(root).as_posix())
    assert readers == {"demo/readings.py"}


def test_the_lower_the_ground_the_colder_it_is_planted():
    order = ["meadow floor", "meadow rim", "hedge foot, west", "hedge foot, middle"]
    offsets = [PLANTED[part].offset for part in [*order, "upper Hedge Field"]]
    assert offsets == sorted(offsets)
    assert max(PLANTED, key=lambda part: PLANTED[part].offset) == "Down Edge"


@pytest.mark.parametrize("planted", PLANTED.values(), ids=lambda part: part.plot)
def test_every_change_makes_its_part_milder_and_is_not_also_said_to_do_nothing(
    planted: Planted,
):
    assert all(after > planted.offset for after in planted.after.values())
    assert not set(planted.after) & set(planted.unmoved)


def test_changes_that_are_planted_can_be_tried_or_drawn():
    named = {name for part in PLANTED.values() for name in (*part.after, *part.unmoved)}
    assert named - set(proposals()["name"]) == {"lifted foot"}


def test_clearing_lowers_the_pool_by_five_metres():
    assert MEADOW_SHUT.spill - MEADOW_CLEARED.spill == pytest.approx(5.0)
    # Both are filled from the level of the mere.
    for pool in (MEADOW_SHUT, MEADOW_CLEARED):
        assert pool.spill - pool.depth == pytest.approx(702.0)


def test_every_logger_stands_in_its_part_and_in_its_plot():
    for logger in LOGGERS[1:]:
        planted, at = PLANTED[logger.part], shapely.Point(logger.at)
        assert shapely.box(*planted.box).contains(at)
        assert shapely.Polygon(PLOTS[planted.plot]).contains(at)


def test_two_loggers_are_at_fault_and_the_reference_is_none_of_them():
    assert sorted(logger.fault for logger in LOGGERS if logger.fault) == [
        "clock",
        "sun",
    ]
    assert LOGGERS[0].offset == 0
    assert not LOGGERS[0].fault
