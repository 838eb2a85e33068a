"""Places of loggers: chosen by what each would decide, within the rules of siting."""

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.fruit import read_fruit
from sitekit.grid import Grid
from sitekit.io.schemas import SCHEMAS, empty_frame
from sitekit.measuring.candidates import (
    FROM_EDGE,
    find_candidates,
    make_ground,
    thin,
)
from sitekit.measuring.correction import (
    SENSOR,
    TERMS,
    Observed,
    fit_correction,
)
from sitekit.measuring.places import (
    APART,
    Ground,
    choose_places,
    expect_wrong,
)
from sitekit.measuring.revision import Terms
from sitekit.site import VECTORS, ElevationModel, Reference, Site

UTM = CRS.from_epsg(32633)
NAMES = list(TERMS)


def holding(seed, places=200, candidates=60):
    """A made-up slope with a cold foot, and places to stand on it."""
    random = np.random.default_rng(seed)
    points = random.uniform(0, 600, (places + candidates, 2))
    height = 0.1 * points[:, 1] + random.normal(0, 2, len(points)).clip(-3, 3)
    terms = np.zeros((len(points), len(NAMES)))
    terms[:, 0] = 0.055 * np.minimum(height - height.min(), 60)
    terms[:, NAMES.index("pool_warmth")] = -2 * np.exp(-np.maximum(height, 0) / 8)
    terms -= terms[0]
    cold = np.maximum(terms.sum(axis=1).max() - terms.sum(axis=1), 0)
    own = slice(None, places)
    there = slice(places, None)
    return Ground(
        terms=terms[own],
        points=points[own],
        cold=cold[own],
        candidate_terms=terms[there],
        candidates=points[there],
        heights=height[there],
        limits=[1.5, 2.8],
        anchor=points[0],
    )


@pytest.mark.parametrize("seed", range(8))
def test_a_choice_beats_places_at_random(seed):
    ground = holding(seed)
    chosen = choose_places(ground, 6).chosen
    random = np.random.default_rng(seed)
    drawn = [
        expect_wrong(ground, list(random.choice(60, 6, replace=False)))
        for _ in range(30)
    ]
    assert expect_wrong(ground, chosen) < np.median(drawn)
    assert np.mean(expect_wrong(ground, chosen) < np.array(drawn)) > 0.8


@pytest.mark.parametrize("seed", range(4))
def test_what_is_expected_comes_true_on_drawn_holdings(seed):
    """The expected share of wrong verdicts is that of truths drawn from the doubt."""
    ground = holding(seed, places=120)
    chosen = list(choose_places(ground, 4).chosen)
    random = np.random.default_rng(seed)
    spread = np.array(list(TERMS.values()))
    joined = np.vstack([ground.points, ground.candidates[chosen]])
    terms = np.vstack([ground.terms, ground.candidate_terms[chosen]])
    near = np.exp(-np.linalg.norm(joined[:, None] - joined[None], axis=2) / 80.0)
    anchor = np.exp(-np.linalg.norm(joined - ground.anchor, axis=1) / 80.0)
    residual = 0.75**2 * (near - anchor[:, None] - anchor[None] + 1)
    whole = (terms * spread**2) @ terms.T + residual
    count = len(ground.points)
    truths = random.multivariate_normal(
        np.zeros(len(joined)), whole + 1e-9 * np.eye(len(joined)), 400
    )
    noise = SENSOR**2 * np.eye(4) + 9.0
    gain = whole[:count, count:] @ np.linalg.inv(whole[count:, count:] + noise)
    seen = truths[:, count:] + random.normal(0, SENSOR, (400, 4))
    seen += random.normal(0, 3.0, (400, 1))
    found = seen @ gain.T
    # A warmer offset is less cold: verdicts are made from cold less what is found.
    wrong = [
        (
            (ground.cold - found < limit) != (ground.cold - truths[:, :count] < limit)
        ).mean()
        for limit in ground.limits
    ]
    assert expect_wrong(ground, chosen) == pytest.approx(np.mean(wrong), abs=0.02)


def test_more_loggers_never_make_it_worse():
    wrong = choose_places(holding(1), 8).wrong
    assert len(wrong) == 9
    assert wrong[-1] < wrong[1]


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), count=st.integers(1, 8))
def test_loggers_stand_apart_and_the_first_two_low_and_above(seed, count):
    ground = holding(seed, places=60, candidates=40)
    chosen = choose_places(ground, count).chosen
    assert len(set(chosen)) == len(chosen) <= count
    heights = ground.heights[list(chosen)]
    assert heights[0] == ground.heights.min()
    if count > 1:
        assert 20 <= heights[1] - heights[0] <= 40
    if count > 2:
        places = ground.candidates[list(chosen)]
        for index in range(2, len(chosen)):
            gaps = np.linalg.norm(places[:index] - places[index], axis=1)
            assert gaps.min() >= APART


def test_on_level_ground_there_is_no_upper_place():
    ground = holding(2)
    level = Ground(**{**ground.__dict__, "heights": np.zeros(len(ground.heights))})
    assert len(choose_places(level, 1).chosen) == 1
    assert len(choose_places(level, 3).chosen) == 3


def test_the_two_settle_k_better_than_two_side_by_side():
    ground = holding(3)
    pair = list(choose_places(ground, 2).chosen)
    beside = [
        pair[0],
        int(np.argsort(np.abs(ground.heights - ground.heights[pair[0]]))[1]),
    ]
    spreads = []
    for which in (pair, beside):
        terms = ground.candidate_terms[which]
        fitted = fit_correction(
            Observed(
                terms,
                ground.candidates[which],
                terms.sum(axis=1),
                0.1**2 * np.eye(2),
                np.ones(2, bool),
            )
        )
        spreads.append(fitted.spread[0])
    assert spreads[0] < 0.9 * spreads[1]


# -- candidates -------------------------------------------------------------------------


def made_site():
    grid = Grid(UTM, 500_000.0, 5_130_000.0, 5.0, (60, 80))
    west, south, east, north = grid.bounds
    frames = {name: empty_frame(SCHEMAS[name], UTM) for name in VECTORS}
    hedge = shapely.LineString([(west + 60, south + 150), (east - 60, south + 150)])
    frames["barriers"] = GeoDataFrame(
        {"name": [""], "kind": ["hedge"], "height_m": [2.0], "openness": [0.3]},
        geometry=[hedge], crs=UTM,
    )  # fmt: skip
    frames["water"] = GeoDataFrame(
        {"name": ["pond"]},
        geometry=[shapely.box(west, south, east, south + 30)],
        crs=UTM,
    )
    frames["woodland"] = GeoDataFrame(
        {"name": ["wood"]},
        geometry=[shapely.box(west + 300, south + 200, east, north)], crs=UTM,
    )  # fmt: skip
    field = shapely.box(west + 40, south + 40, east - 40, north - 40)
    inside = np.zeros(grid.shape, bool)
    inside[8:52, 8:72] = True
    ground = (100 + 0.1 * (grid.northings - south)[:, None] + np.zeros(80)).astype(
        np.float32
    )
    return Site(
        name="made", grid=grid, elevation=ground, ground=ground,
        model=ElevationModel(("made.tif",), 5.0, "ground", 0.02),
        field=GeoDataFrame({"name": [""]}, geometry=[field], crs=UTM),
        field_mask=inside, water_mask=np.zeros(grid.shape, bool),
        canopy_height=np.zeros(grid.shape, np.float32),
        evergreen=np.zeros(grid.shape, bool), vectors=frames,
        reference=Reference("the house", west + 20, north - 20),
    )  # fmt: skip


@pytest.fixture
def found():
    site = made_site()
    west, south = site.grid.bounds[:2]
    depth = np.zeros(site.grid.shape, np.float32)
    depth[45, 30] = 1.2
    pocket = shapely.box(west + 100, south + 50, west + 300, south + 120)
    pockets = GeoDataFrame({"pocket": [1]}, geometry=[pocket], crs=UTM)
    blocks = GeoDataFrame(
        {"block": [3, 3]},
        geometry=[shapely.box(west + 60, south + 160, west + 200, south + 240)] * 2,
        crs=UTM,
    )
    return site, find_candidates(site, {"pooling_depth": depth}, pockets, blocks)


def test_places_of_every_purpose_are_found(found):
    _, candidates = found
    told = " | ".join(c.why for c in candidates)
    for words in (
        "the reference: the house",
        "deepest ground of frost pocket 1",
        "one side of a hedge",
        "the other side of a hedge",
        "shore",
        "middle of block 3",
        "open ground",
    ):
        assert words in told
    assert candidates[0].why.startswith("the reference")
    assert all(c.photo for c in candidates)


def test_the_deepest_ground_is_where_most_air_is_held(found):
    site, candidates = found
    (deepest,) = [c for c in candidates if c.why.startswith("deepest")]
    assert deepest.easting == site.grid.eastings[30]
    assert deepest.northing == site.grid.northings[45]


def test_no_place_is_near_a_hedge_in_water_or_wood(found):
    site, candidates = found
    for candidate in candidates[1:]:
        point = shapely.Point(candidate.easting, candidate.northing)
        for name in ("barriers", "woodland"):
            assert site.vectors[name].distance(point).min() >= FROM_EDGE - 1e-6
        assert site.vectors["water"].distance(point).min() > 0.9


def test_ground_and_candidates_are_read_from_the_same_terms(found):
    site, candidates = found
    random = np.random.default_rng(1)
    stack = tuple(
        random.normal(0, 1, site.grid.shape).astype(np.float32) for _ in NAMES
    )
    stack[2][:, 40:] = np.nan
    cold = np.full(site.grid.shape, 2.0, np.float32)
    terms = Terms(stack, 1.0, None)
    ground, kept = make_ground(
        site, {"night_cold": cold}, terms, candidates, [read_fruit("pear", None)]
    )
    assert len(kept) == len(ground.candidates) < len(candidates)
    assert np.isfinite(ground.terms).all()
    assert np.isfinite(ground.candidate_terms).all()
    assert ground.limits == [1.5, 2.8]
    assert ground.heights[0] == pytest.approx(
        site.grid.sample(site.elevation, *ground.candidates[0])
    )


@settings(max_examples=50, deadline=None)
@given(rows=st.integers(3, 90), columns=st.integers(3, 90), most=st.integers(4, 200))
def test_a_net_has_about_as_many_cells_as_asked(rows, columns, most):
    cells = thin(np.ones((rows, columns), bool), most)
    assert 1 <= len(cells) <= 2 * most + rows + columns
    assert len(np.unique(cells, axis=0)) == len(cells)
