"""The grower's trees and notes set against the map, case by case."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame

from sitekit.siting.evidence import NOTE_CHECKS, compare_notes, compare_trees, tell_note
from sitekit.words import CONDITIONS, GOOD, HARDY, REFUSED, SITE_CLASSES, TEST_FIRST

#: A place of the made site that lies well inside its field.
EAST, NORTH = 300.0, 400.0
#: Ground of which nothing is said: dry, sloping, sheltered and mild.
PLAIN = {
    "pooling_depth": 0.0,
    "path_margin": 5.0,
    "night_cold": 0.0,
    "frost_night_offset": 0.5,
    "wetness_index": 5.0,
    "slope": 4.0,
    "wind_exposure": 0.2,
}


@pytest.fixture(scope="module")
def shelf():
    """Keeps the made survey for all tests of this file; none of them changes it."""
    return {}


@pytest.fixture
def made(request, shelf):
    if not shelf:
        shelf["survey"] = request.getfixturevalue("small_survey")
    return shelf["survey"]


class Judged:
    """Places whose class is the same all over, and whose reason is known."""

    def __init__(self, site, code, layers=None):
        self.site = site
        self.code = code
        values = {**PLAIN, **(layers or {})}
        self.layers = {
            name: np.full(site.grid.shape, value, np.float32)
            for name, value in values.items()
        }
        verdict = SimpleNamespace(
            site_class=np.full(site.grid.shape, code, np.uint8),
            score=np.full(site.grid.shape, 61.6, np.float32),
        )
        self.verdicts = {"pear": verdict, "sweet_cherry": verdict}

    def judged(self, fruit, row, column):
        assert fruit in self.verdicts
        return bool(self.site.field_mask[row, column])

    def reason(self, fruit, row, column):
        assert fruit in self.verdicts
        assert self.site.field_mask[row, column]
        return "Cold air lies 2 m deep."


def with_rows(site, layer, shapes, **columns):
    """The site with one vector layer filled anew."""
    frame = GeoDataFrame(columns, geometry=shapes, crs=site.grid.crs)
    return replace(site, vectors={**site.vectors, layer: frame})


def point(site, east=EAST, north=NORTH):
    west, south, *_ = site.grid.bounds
    return shapely.Point(west + east, south + north)


def tree(site, code, *, fruit="pear", condition="thriving", at=None):
    """Set one tree against ground of one class."""
    site = with_rows(
        site,
        "existing_trees",
        [at or point(site)],
        fruit=[fruit],
        condition=[condition],
        name=[""],
    )
    [found] = compare_trees(Judged(site, code)).to_dict("records")
    return found


def note(site, kind, *, at=None, layers=None, date="2025-05-12"):
    """Set one note against ground with given values."""
    site = with_rows(
        site, "notes", [at or point(site)], date=[date], kind=[kind], text=["seen"]
    )
    [found] = compare_notes(Judged(site, GOOD, layers)).to_dict("records")
    return found


@pytest.mark.parametrize(
    ("condition", "code", "verdict"),
    [
        ("thriving", REFUSED, "contradicts"),
        ("thriving", TEST_FIRST, "not judged"),
        ("thriving", HARDY, "agrees"),
        ("thriving", CONDITIONS, "agrees"),
        ("thriving", GOOD, "agrees"),
        ("weak", REFUSED, "agrees"),
        ("weak", TEST_FIRST, "not judged"),
        ("weak", HARDY, "agrees"),
        ("weak", CONDITIONS, "contradicts"),
        ("weak", GOOD, "contradicts"),
        ("dead", REFUSED, "agrees"),
        ("dead", TEST_FIRST, "not judged"),
        ("dead", HARDY, "agrees"),
        ("dead", CONDITIONS, "contradicts"),
        ("dead", GOOD, "contradicts"),
        (None, REFUSED, "not judged"),
        (None, GOOD, "not judged"),
    ],
)
def test_how_a_tree_does_is_set_against_the_class_of_its_ground(
    made, condition, code, verdict
):
    found = tree(made.site, code, condition=condition)
    assert found["verdict"] == verdict
    assert found["site_class"] == SITE_CLASSES[code]


def test_the_reason_of_a_tree_names_class_fruit_and_cause(made):
    found = tree(made.site, REFUSED, fruit="sweet_cherry")
    assert found["reason"] == (
        "the ground is refused for sweet cherry: cold air lies 2 m deep"
    )
    assert found["score"] == 62.0


def test_a_tree_of_a_fruit_that_was_not_asked_for_is_not_judged(made):
    found = tree(made.site, GOOD, fruit="quince")
    assert found["verdict"] == "not judged"
    assert found["site_class"] is None
    assert np.isnan(found["score"])
    assert found["reason"] == "this fruit was not asked for"


@pytest.mark.parametrize(
    ("east", "north"), [(5, 5), (-40, 300), (300, -40), (9000, 300), (300, 9000)]
)
def test_a_tree_outside_the_field_or_off_the_map_is_kept_and_not_judged(
    made, east, north
):
    site = made.site
    found = tree(site, GOOD, at=point(site, east, north))
    assert found["verdict"] == "not judged"
    assert found["reason"] == "it stands outside the ground that was judged"


def test_a_group_of_trees_drawn_as_an_outline_is_judged_at_its_middle(made):
    site = made.site
    found = tree(site, CONDITIONS, at=point(site).buffer(10))
    assert found["verdict"] == "agrees"


def test_every_tree_keeps_its_row_and_what_the_grower_wrote(made):
    site = made.site
    site = with_rows(
        site,
        "existing_trees",
        [point(site), point(site, 5, 5), point(site, 350, 420)],
        fruit=["pear", "pear", "quince"],
        condition=["thriving", "dead", None],
        name=["gate", "mere", "wall"],
    )
    found = compare_trees(Judged(site, GOOD))
    assert found["name"].tolist() == ["gate", "mere", "wall"]
    assert found["verdict"].tolist() == ["agrees", "not judged", "not judged"]
    assert "verdict" not in site.vectors["existing_trees"]


COLD_KINDS = ("fog", "frost", "blossom killed", "late snow")


@pytest.mark.parametrize("kind", COLD_KINDS)
@pytest.mark.parametrize(
    ("layers", "said"),
    [
        ({"pooling_depth": 1.24}, "holds 1.2\u00a0m of cold air"),
        ({"path_margin": 0.9}, "a cold-air path passes here"),
        ({"night_cold": 1.3, "frost_night_offset": -2.0}, "\u22122\u00a0°C here"),
    ],
)
def test_a_note_of_cold_agrees_where_the_map_finds_cold_of_any_kind(
    made, kind, layers, said
):
    found = note(made.site, kind, layers=layers)
    assert found["verdict"] == "agrees"
    assert said in found["reason"]


@pytest.mark.parametrize("kind", COLD_KINDS)
def test_a_note_of_cold_where_the_map_finds_none_asks_for_thermometers(made, kind):
    found = note(made.site, kind)
    assert found["verdict"] == "contradicts"
    assert "two thermometers" in found["reason"]


@pytest.mark.parametrize(
    ("depth", "verdict"), [(0.0, "contradicts"), (0.29, "contradicts"), (0.3, "agrees")]
)
def test_cold_air_bears_a_note_out_from_three_decimetres(made, depth, verdict):
    found = note(made.site, "fog", layers={"pooling_depth": depth + 1e-6})
    assert found["verdict"] == verdict


@pytest.mark.parametrize(
    "layers",
    [{"pooling_depth": 2.0}, {"path_margin": 0.2}, {"night_cold": 2.0}],
)
def test_ground_bare_of_snow_early_speaks_against_cold(made, layers):
    assert note(made.site, "early bare")["verdict"] == "agrees"
    found = note(made.site, "early bare", layers=layers)
    assert found["verdict"] == "contradicts"
    assert "ten clear still nights" in found["reason"]


@pytest.mark.parametrize(
    ("wetness", "slope", "verdict", "said"),
    [
        (9.0, 4.0, "agrees", "gathers water"),
        (12.0, 0.1, "agrees", "gathers water"),
        (5.0, 1.0, "agrees", "is nearly level"),
        (8.9, 1.3, "contradicts", "a test hole decides"),
    ],
)
def test_standing_water_is_set_against_wetness_and_slope(
    made, wetness, slope, verdict, said
):
    layers = {"wetness_index": wetness, "slope": slope}
    found = note(made.site, "standing water", layers=layers)
    assert found["verdict"] == verdict
    assert said in found["reason"]


@pytest.mark.parametrize(
    ("exposure", "verdict", "word"),
    [
        (0.1, "contradicts", "sheltered"),
        (0.4, "contradicts", "half open"),
        (0.5, "agrees", "open"),
        (0.9, "agrees", "very open"),
    ],
)
def test_wind_is_set_against_exposure(made, exposure, verdict, word):
    found = note(made.site, "wind", layers={"wind_exposure": exposure})
    assert (found["verdict"], found["reason"]) == (verdict, f"the map calls it {word}")


@pytest.mark.parametrize("kind", ["nightingale", "", "Fog"])
def test_a_note_of_another_kind_is_not_judged(made, kind):
    assert note(made.site, kind)["verdict"] == "not judged"


@pytest.mark.parametrize("kind", sorted(NOTE_CHECKS))
@pytest.mark.parametrize(
    ("east", "north"), [(-900, 300), (300, -900), (9000, 300), (300, 9000)]
)
def test_a_note_off_the_map_is_kept_and_not_judged(made, kind, east, north):
    site = made.site
    found = note(site, kind, at=point(site, east, north))
    assert found["verdict"] == "not judged"
    assert found["text"] == "seen"


@pytest.mark.parametrize("kind", sorted(NOTE_CHECKS))
def test_no_kind_of_note_agrees_with_all_ground(made, kind):
    cold = {
        "pooling_depth": 2.0,
        "wetness_index": 12.0,
        "slope": 0.0,
        "wind_exposure": 0.9,
    }
    site = made.site
    verdicts = {note(site, kind)["verdict"], note(site, kind, layers=cold)["verdict"]}
    assert verdicts == {"agrees", "contradicts"}


@pytest.mark.parametrize(
    ("when", "told"),
    [
        ("2025-05-12", "12 May 2025"),
        ("2025-05-02T06:30:00", "2 May 2025"),
        ("2024-02-29", "29 February 2024"),
        ("2025-02-29", "2025-02-29"),
        ("last spring", "last spring"),
    ],
)
def test_a_date_is_told_as_people_write_it_and_any_other_text_as_it_stands(when, told):
    assert tell_note("fog", when, "the map agrees") == (
        f"Fog noted on {told}: the map agrees."
    )


def test_without_a_tree_or_a_note_the_verdicts_are_columns_of_text(made):
    columns = {"kind": [], "fruit": [], "condition": []}
    site = with_rows(made.site, "notes", [], **columns)
    places = Judged(with_rows(site, "existing_trees", [], **columns), GOOD)
    notes, trees = compare_notes(places), compare_trees(places)
    assert notes[["verdict", "reason"]].dtypes.eq("object").all()
    assert trees[["site_class", "verdict", "reason"]].dtypes.eq("object").all()
