"""Ground that machines and spades keep off."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
import shapely
from geopandas import GeoDataFrame

from sitekit.handover.zones import (
    ROOTS,
    find_work,
    find_zones,
)
from sitekit.planting.services import NO_CERTAINTY, STAND_OFF, find_uncertainty


def make_plan(*places):
    """Only what a zone is measured from: plants, fence, test holes."""
    plants = GeoDataFrame(geometry=[shapely.Point(place) for place in places])
    nothing = GeoDataFrame(geometry=[])
    return SimpleNamespace(plants=plants, fence=nothing, test_holes=nothing)


def with_services(survey, *rows):
    names, kinds, certainties, lines = zip(*rows, strict=True)
    frame = GeoDataFrame(
        {"name": names, "kind": kinds, "certainty": certainties},
        geometry=list(lines),
        crs=survey.site.grid.crs,
    )
    vectors = {**survey.site.vectors, "services": frame}
    return replace(survey, site=replace(survey.site, vectors=vectors))


@pytest.fixture
def near(small_survey):
    west, south = small_survey.site.grid.west, small_survey.site.grid.bounds[1]
    plan = make_plan((west + 300, south + 420), (west + 480, south + 420))
    line = shapely.LineString([(west + 200, south + 430), (west + 600, south + 430)])
    survey = with_services(
        small_survey, ("main", "water", "owner's sketch, ± 2 m", line)
    )
    return replace(survey, plan=plan)


@pytest.mark.parametrize(
    ("told", "metres"),
    [
        ("owner's sketch only, ± 10 m", 10.0),
        ("± 0.5 m, surveyed", 0.5),
        ("seen, ±3 m", 3.0),
        ("± 1,5 m", 1.5),
        ("sure", NO_CERTAINTY),
        ("", NO_CERTAINTY),
    ],
)
def test_how_far_a_line_may_lie_off_is_read_from_its_owners_words(told, metres):
    assert find_uncertainty(told) == metres


def test_a_service_is_kept_as_wide_as_its_place_is_unsure_and_the_stand_off(near):
    zone = find_zones(near)[0]
    assert zone.kind == "service"
    assert zone.uncertainty == 2.0
    _, south, _, north = zone.shape.bounds
    assert north - south == pytest.approx(2 * (2.0 + STAND_OFF))


# Source: trade guidance that mechanical diggers keep 500 mm off buried services.
def test_the_stand_off_is_half_a_metre():
    assert STAND_OFF == 0.5


def test_a_service_is_always_called_indicative(near):
    assert all(
        "indicative only" in zone.reason
        for zone in find_zones(near)
        if zone.kind == "service"
    )


def test_a_service_without_a_name_has_its_kind_for_a_name(near):
    line = near.site.vectors["services"].geometry.iloc[0]
    unnamed = with_services(near, ("", "telegraph", "", line))
    zone = find_zones(replace(unnamed, plan=near.plan))[0]
    assert zone.name == "telegraph"
    assert "not told" in zone.reason


def test_kept_ground_is_kept_with_its_reason(near):
    zone = next(zone for zone in find_zones(near) if zone.kind == "kept ground")
    assert zone.name == "spring"
    assert zone.reason == "spring that feeds the trough"
    assert zone.shape.equals(zone.drawn)


def test_roots_are_kept_about_every_tree_that_stands(near):
    zone = next(zone for zone in find_zones(near) if zone.kind == "roots")
    assert "pear" in zone.name
    assert "thriving" in zone.reason
    assert zone.shape.area == pytest.approx(shapely.Point(0, 0).buffer(ROOTS).area)


def test_what_lies_far_from_the_work_is_not_on_the_sheets(near):
    west, south = near.site.grid.west, near.site.grid.bounds[1]
    away = replace(near, plan=make_plan((west + 700, south + 150)))
    assert find_zones(away) == []


def test_the_work_is_plants_fence_and_test_holes():
    plan = make_plan((0, 0), (10, 0))
    plan.fence = GeoDataFrame(geometry=[shapely.LineString([(0, 5), (10, 5)])])
    plan.test_holes = GeoDataFrame(geometry=[shapely.Point(5, -3)])
    assert find_work(plan).bounds == (0, -3, 10, 5)
