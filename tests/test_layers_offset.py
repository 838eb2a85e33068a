"""The night offset: against what it is told, what it adds, and how sure it is."""

import numpy as np
import pytest

from sitekit.layers import offset as module
from sitekit.layers.cover import COVERS, SHORT_GRASS
from sitekit.layers.faces import PIECE
from sitekit.layers.offset import (
    barrier_doubt,
    frost_night_offset,
    frost_night_offset_sd,
    held_air,
    night_cold,
    night_warmth,
)

GRASS = COVERS[SHORT_GRASS]
NINE = np.array(9.0)
NOWHERE = np.empty(0, np.intp)
RNG = np.random.default_rng(11)
WARMTH = RNG.normal(0, 2, (20, 30)).astype(np.float32)
HEIGHT = RNG.uniform(700, 760, (20, 30)).astype(np.float32)
ALL = np.ones((20, 30), bool)


def offset(warmth=WARMTH, height=HEIGHT, field=ALL, at=NOWHERE, hours=NINE, **settings):
    return frost_night_offset(warmth, height, field, at, hours, **settings)


def test_the_offset_is_nil_at_the_reference_place():
    made = offset(at=np.array([4, 7]))
    assert made[4, 7] == 0
    assert made.dtype == np.float32


def test_without_a_place_the_median_of_the_field_is_nil():
    field = np.zeros_like(ALL)
    field[3:9, 4:17] = True
    made = offset(field=field)
    assert np.median(made[field]) == pytest.approx(0, abs=1e-5)
    assert np.median(made) != pytest.approx(0, abs=1e-3)


def test_missing_ground_in_the_field_does_not_spoil_the_median():
    height = HEIGHT.copy()
    height[0, :5] = np.nan
    made = offset(height=height)
    assert np.isnan(made).sum() == 5
    assert np.nanmedian(made) == pytest.approx(0, abs=1e-5)


def test_minima_fall_by_3_degrees_a_kilometre_by_themselves():
    # Source: 2.5 to 3.5 degC/km, minima of late summer in the Cascades (Minder, Mote &
    # Lundquist 2010, J. Geophys. Res. 115, D14122).
    height = np.array([[700.0, 800.0, 1700.0]], np.float32)
    flat = np.zeros_like(height)
    made = offset(flat, height, flat == 0, np.array([0, 0]))
    assert made == pytest.approx(np.array([[0.0, -0.3, -3.0]]), abs=1e-4)
    steeper = offset(flat, height, flat == 0, np.array([0, 0]), night_lapse=0.0065)
    assert steeper[0, 1] == pytest.approx(-0.65, abs=1e-4)


def test_a_longer_night_strengthens_differences_by_the_root_of_its_length():
    # Source: cooling with the root of time (Snyder & de Melo-Abreu 2005, FAO ENRS 10).
    nine, sixteen = (
        offset(hours=np.array(hours), night_lapse=0.0) for hours in (9.0, 16.0)
    )
    assert sixteen == pytest.approx(nine * 4 / 3, abs=1e-4)


def test_the_same_for_all_ground_changes_no_offset():
    assert offset(WARMTH + 5, HEIGHT + 300) == pytest.approx(offset(), abs=1e-3)


def test_the_terms_are_added_and_left_as_they_were():
    terms = [np.full((2, 2), 2.0**n, np.float32) for n in range(8)]
    assert (night_warmth(*terms) == 255).all()
    assert [term[0, 0] for term in terms] == [2.0**n for n in range(8)]


# -- how cold for planting -----------------------------------------------------------------


def test_ground_is_cold_against_the_milder_ground_near_the_field():
    made = np.tile(np.linspace(-4, 0, 50, dtype=np.float32), (10, 1))
    field = np.zeros(made.shape, bool)
    field[:, :10] = True
    none, dry = np.zeros_like(made), np.zeros(made.shape, bool)
    cold = night_cold(made, none, field, dry, cell_size=10.0)
    good = np.percentile(made, 80)
    assert cold == pytest.approx(np.maximum(good - made, 0), abs=1e-3)
    # Warm ground further off than 500 m counts for nothing.
    far = night_cold(made, none, field, dry, cell_size=50.0)
    assert far[0, 0] < cold[0, 0]


def test_held_air_counts_two_degrees_a_metre_and_no_more_than_two_metres():
    made, field = np.zeros((5, 5), np.float32), np.ones((5, 5), bool)
    held = np.zeros_like(made)
    held[0, :3] = (0.5, 2.0, 9.0)
    cold = night_cold(made, held, field, ~field, cell_size=10.0)
    assert cold[0].tolist() == [1, 4, 4, 0, 0]


def test_air_is_held_by_the_land_or_where_it_stands_half_the_night():
    depth = np.float32([[0.0, 2.3, 2.3, 2.3, 0.3]])
    hours = np.float32([[0.0, 9.0, 4.5, 1.0, 0.0]])
    air = np.stack([depth, 0 * depth, 0 * depth, hours])
    by_land = np.float32([[1.5, 0.0, 0.0, 0.0, 0.0]])
    hedge = np.float32([[0.0, 0.0, 0.0, 0.0, 1.8]])
    held = held_air(by_land, air, np.array(9.0), hedge, cell_size=10.0)
    assert held[0] == pytest.approx([1.5, 1.8, 1.8, 1.8 / 4.5, 0.0], abs=1e-6)
    # Far from any barrier a pool that swells above its lip is not held.
    for barrier, cell in ((hedge, 100.0), (0 * hedge, 10.0)):
        far = held_air(by_land, air, np.array(9.0), barrier, cell_size=cell)
        assert far.tolist() == by_land.tolist()


def test_water_is_no_ground_to_be_measured_against():
    made = np.array([[3.0] * 5 + [0.0] * 5], np.float32)
    water = made > 0
    cold = night_cold(made, 0 * made, ~water, water, cell_size=10.0)
    assert not cold.any()


# -- how sure --------------------------------------------------------------------------------


def doubt(made=0.0, background=0.0, barrier=0.0, height=0.0, known=True, at=NOWHERE):
    shape = (5, 5)
    offset_map, background_map = (
        np.zeros(shape, np.float32),
        np.zeros(shape, np.float32),
    )
    offset_map[2, 2], background_map[2, 2] = made, background
    return frost_night_offset_sd(
        offset_map,
        background_map,
        np.full(shape, barrier, np.float32),
        np.full(shape, height, np.float32),
        np.full(shape, known),
        np.ones(shape, bool),
        at,
    )


@pytest.mark.parametrize(
    ("what", "expected"),
    [
        ({}, 0.8),
        ({"made": -3.0}, np.hypot(0.8, 1.2)),
        ({"background": 2.0}, np.hypot(0.8, 1.0)),
        ({"barrier": 0.6}, 1.0),
        ({"height": 0.6}, 1.0),
        ({"known": False}, np.hypot(0.8, 0.5)),
    ],
)
def test_the_doubt_has_its_parts_in_quadrature(what, expected):
    assert doubt(**what)[2, 2] == pytest.approx(expected)


def test_at_the_reference_place_there_is_little_doubt():
    made = doubt(at=np.array([1, 1]), known=False)
    assert made[1, 1] == pytest.approx(0.2)
    assert np.delete(made.ravel(), 6).min() > 0.8


def test_the_background_is_doubted_by_its_difference_to_the_reference_place():
    made = doubt(background=2.0, at=np.array([2, 2]))
    assert made[0, 0] == pytest.approx(np.hypot(0.8, 1.0))


def barrier_night(pieces, rows=60):
    columns = 40
    y = (rows - np.arange(rows) - 0.5)[:, None] * 4 * np.ones(columns)
    bed = (100 + 0.04 * y).astype(np.float32)
    sources = np.stack(
        [
            np.full_like(bed, 2.0 / 3600),
            np.full_like(bed, GRASS.deficit),
            np.full_like(bed, GRASS.drag),
            np.full_like(bed, 1 / 5400),
        ]
    )
    return barrier_doubt(
        bed,
        sources,
        bed < 0,
        pieces,
        NINE,
        cell_size=4.0,
        closed_edges=("west", "east"),
    )


def hedge(openness):
    return np.array([[0, 44, 40, 44, 2.0, openness, 0, 0, 0, 0, 160]])


def test_without_barriers_nothing_is_doubted_and_no_night_is_run(monkeypatch):
    monkeypatch.setattr(module, "standard_night", None)
    assert not barrier_night(np.empty((0, len(PIECE)))).any()


def test_the_openness_of_a_thin_hedge_is_doubted_above_it_and_nowhere_else():
    made = barrier_night(hedge(0.15))
    assert made[40:44].max() > 0.2
    assert made[:20].max() < 0.05
    assert made[50:].max() < 0.05
    assert made.min() >= 0


def test_an_open_fence_is_doubted_less_than_a_thin_hedge():
    assert barrier_night(hedge(0.95)).max() < barrier_night(hedge(0.15)).max() / 3


def test_the_doubt_leaves_the_barriers_as_they_were():
    pieces = hedge(0.15)
    barrier_night(pieces)
    assert (pieces == hedge(0.15)).all()


def test_the_doubt_is_found_on_the_ground_around_the_barriers(monkeypatch):
    # The hedge lies 176 m from the northern edge; from 800 m below it on there is
    # nothing to see.
    made = barrier_night(hedge(0.15), rows=300)
    assert not made[44 + 201 :].any()
    monkeypatch.setattr(module, "AROUND", 5000.0)
    whole = barrier_night(hedge(0.15), rows=300)
    assert whole.max() > 0.2
    np.testing.assert_allclose(made, whole, atol=0.03)
