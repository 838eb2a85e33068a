"""A site: what was read, and what follows from it at once."""

import dataclasses

import pytest
import shapely

from sitekit.io.schemas import SCHEMAS
from sitekit.site import VECTORS, ElevationModel, Reference, Remark


@pytest.fixture
def site(small_survey):
    return small_survey.site


@pytest.mark.parametrize(
    ("cell", "surface", "coarse"),
    [
        (1.0, "ground", False),
        (5.0, "ground", False),
        (5.003, "ground", False),
        (5.1, "ground", True),
        (30.0, "ground", True),
        (1.0, "canopy", True),
        (30.0, "canopy", True),
    ],
)
def test_cells_over_five_metres_and_tree_tops_carry_no_verdict(cell, surface, coarse):
    assert ElevationModel(("dem.tif",), cell, surface, 0.1).coarse is coarse


def test_a_model_is_continuous_and_without_origin_unless_said():
    model = ElevationModel(("dem.tif",), 1.0, "ground", 0.1)
    assert model.step == 0
    assert model.attribution == ""


def test_offsets_are_told_against_the_named_place(site):
    assert site.reference_name == "the house"
    moved = dataclasses.replace(site, reference=Reference("the station", 0.0, 0.0))
    assert moved.reference_name == "the station"


def test_without_a_place_offsets_are_told_against_the_median_of_the_field(site):
    assert dataclasses.replace(site, reference=None).reference_name == (
        "the field's median"
    )


def test_a_site_has_water_where_there_is_a_polygon_of_it(site):
    assert site.has_water
    dry = dict(site.vectors) | {"water": site.vectors["water"].iloc[:0]}
    assert not dataclasses.replace(site, vectors=dry).has_water


def test_the_area_of_the_field_is_that_of_all_its_parts(site):
    # Boxes of 500 m by 140 m and by 200 m.
    assert site.field_area == pytest.approx(500 * 140 + 500 * 200)
    field = site.field.copy()
    field.geometry = [shapely.Point(0, 0).buffer(0), shapely.box(0, 0, 3, 4)]
    assert dataclasses.replace(site, field=field).field_area == pytest.approx(12)


def test_a_site_cannot_be_changed(site):
    with pytest.raises(dataclasses.FrozenInstanceError, match="name"):
        site.name = "elsewhere"


def test_two_sites_do_not_share_what_was_changed_in_one(site):
    bare = {
        field.name: getattr(site, field.name)
        for field in dataclasses.fields(site)
        if field.default_factory is dataclasses.MISSING
    }
    one, other = type(site)(**bare), type(site)(**bare)
    one.settings["flow_cell"] = 3.0
    assert other.settings == {}


def test_every_vector_input_has_a_schema_and_no_other_has():
    assert set(SCHEMAS) == set(VECTORS)
    assert len(VECTORS) == len(set(VECTORS))


def test_a_remark_keeps_what_was_said():
    remark = Remark("mended", "field.gpx", "a gap of 3 m is closed")
    assert (remark.kind, remark.about) == ("mended", "field.gpx")
    assert remark == Remark("mended", "field.gpx", "a gap of 3 m is closed")
