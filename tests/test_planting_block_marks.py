"""Marks beside the blocks: short tapes that lead a stranger to every plant."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sitekit.planting.block_marks import (
    TOLERANCE,
    list_mark_checks,
    place_block_marks,
    tape_blocks,
)
from sitekit.results import Baseline


def plant_grid(site, *, block="1", at=(250, 310), rows=4, numbers=6, spacing=5.0):
    """A block of plants in straight rows, from the grid's south-west corner."""
    west, south, *_ = site.grid.bounds
    found = [
        (
            f"{block}-{row + 1}-{number + 1:02d}",
            block,
            shapely.Point(
                west + at[0] + number * spacing, south + at[1] + row * spacing
            ),
        )
        for row in range(rows)
        for number in range(numbers)
    ]
    table = pd.DataFrame(found, columns=["id", "block", "geometry"])
    return GeoDataFrame(table, geometry="geometry", crs=site.grid.crs)


def baseline_of(site, *, surveyed=True):
    west, south, *_ = site.grid.bounds
    ends = ((west + 100.0, south + 100.0), (west + 180.0, south + 100.0))
    return Baseline(("nail", "bolt"), ends, (np.nan, np.nan), 0.02, surveyed)


def trilaterate(one, other, first, second):
    """The point left of the way from one mark to the other, by its two tapes.

    Intersection of two circles, plane geometry.
    """
    way = other - one
    length = np.hypot(*way)
    along = (first**2 - second**2 + length**2) / (2 * length)
    off = np.sqrt(max(first**2 - along**2, 0.0))
    unit = way / length
    return one + unit * along + np.array([-unit[1], unit[0]]) * off


def place_of(frame):
    return {
        name: np.array([shape.x, shape.y])
        for name, shape in zip(frame["id"], frame.geometry, strict=True)
    }


@pytest.fixture
def site(small_survey):
    return small_survey.site


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    rows=st.integers(1, 9),
    numbers=st.integers(1, 25),
    spacing=st.floats(1.0, 7.0),
    surveyed=st.booleans(),
)
def test_two_tapes_lead_back_to_every_plant(site, rows, numbers, spacing, surveyed):
    plants = plant_grid(site, rows=rows, numbers=numbers, spacing=spacing)
    baseline = baseline_of(site, surveyed=surveyed)
    marks = place_block_marks(site, plants, baseline)
    pegs, places = place_of(marks), place_of(plants)
    for row in tape_blocks(plants, marks, baseline).itertuples():
        found = trilaterate(
            pegs[row.mark_1], pegs[row.mark_2], row.from_mark_1_m, row.from_mark_2_m
        )
        # Lengths are rounded to 0.01 m, and flat tapes stretch that.
        assert np.hypot(*(found - places[row.id])) < 0.10


def test_marks_are_named_after_their_block_and_never_a_or_b(site):
    plants = plant_grid(site, block="2a")
    marks = place_block_marks(site, plants, baseline_of(site))
    assert list(marks["id"]) == ["B2a-M1", "B2a-M2"]
    assert set(marks["block"]) == {"2a"}


def test_a_usual_block_is_taped_by_short_tapes_from_two_marks(site):
    plants = plant_grid(site)
    baseline = baseline_of(site)
    marks = place_block_marks(site, plants, baseline)
    tapes = tape_blocks(plants, marks, baseline)
    assert len(marks) == 2
    assert tapes[["from_mark_1_m", "from_mark_2_m"]].to_numpy().max() < 40
    assert tapes["angle_deg"].between(30, 150).all()
    assert list(tapes["id"]) == list(plants["id"])


@pytest.mark.parametrize("longest", [40.0, 60.0])
def test_a_long_block_gets_more_marks_so_that_no_tape_is_too_long(site, longest):
    plants = plant_grid(site, rows=4, numbers=40)
    baseline = baseline_of(site)
    marks = place_block_marks(site, plants, baseline, longest_tape=longest)
    tapes = tape_blocks(plants, marks, baseline)
    assert len(marks) > 2
    assert tapes[["from_mark_1_m", "from_mark_2_m"]].to_numpy().max() <= longest


def test_marks_stand_on_open_ground(site):
    plants = plant_grid(site, rows=4, numbers=6)
    before = place_block_marks(site, plants, baseline_of(site))
    pond = before.geometry.iloc[0].buffer(1.0)
    water = GeoDataFrame({"name": ["pond"]}, geometry=[pond], crs=site.grid.crs)
    wet = replace(site, vectors={**site.vectors, "water": water})
    after = place_block_marks(wet, plants, baseline_of(site))
    assert before.intersects(pond).any()
    assert not after.intersects(pond).any()


def test_no_mark_is_driven_in_where_a_pipe_may_lie(site):
    plants = plant_grid(site)
    before = place_block_marks(site, plants, baseline_of(site))
    pipe = shapely.LineString([point.coords[0] for point in before.geometry])
    services = GeoDataFrame(
        {"name": ["main"], "kind": ["water"], "certainty": ["± 2 m"]},
        geometry=[pipe],
        crs=site.grid.crs,
    )
    dug = replace(site, vectors={**site.vectors, "services": services})
    after = place_block_marks(dug, plants, baseline_of(site))
    assert before.distance(pipe).max() < 0.01
    assert after.distance(pipe).min() >= 2.0


def test_no_mark_stands_on_a_plant_of_another_block(site):
    one = plant_grid(site)
    mark = place_block_marks(site, one, baseline_of(site)).geometry.iloc[0]
    west, south, *_ = site.grid.bounds
    other = plant_grid(
        site, block="2", at=(mark.x - west, mark.y - south), rows=1, numbers=1
    )
    both = GeoDataFrame(pd.concat([one, other], ignore_index=True), crs=one.crs)
    marks = place_block_marks(site, both, baseline_of(site))
    away = [float(both.distance(peg).min()) for peg in marks.geometry]
    assert min(away) >= 0.5


def test_the_length_from_mark_to_mark_is_taped_before_any_plant(site):
    plants = plant_grid(site, numbers=40)
    marks = place_block_marks(site, plants, baseline_of(site))
    checks = list_mark_checks(marks)
    places = place_of(marks)
    assert len(checks) == len(marks) - 1
    for row in checks.itertuples():
        length = np.hypot(*(places[row.from_id] - places[row.to_id]))
        assert row.length_m == pytest.approx(length, abs=0.006)
        assert row.tolerance_m == 2 * TOLERANCE


def test_without_plants_there_are_no_marks(site):
    none = plant_grid(site, rows=0)
    marks = place_block_marks(site, none, baseline_of(site))
    assert marks.empty
    assert tape_blocks(none, marks, baseline_of(site)).empty
    assert list_mark_checks(marks).empty
