"""What a lake does to the night: its sign, its order, and how it fades."""

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.io.schemas import SCHEMAS, empty_frame
from sitekit.layers import make_layers
from sitekit.layers import season as usual
from sitekit.layers.lake import (
    HIGHEST,
    ICE_COLD,
    LOWEST,
    LakeYear,
    ice_dates,
    lake_reach,
    lake_term,
    lake_year,
    season_days,
)
from sitekit.layers.lake_inputs import MOST_FETCH, MOST_LAKES, gather_lakes
from sitekit.site import VECTORS, ElevationModel, Site

UTM = CRS.from_epsg(32633)
WEST, NORTH = 500_000.0, 5_130_000.0
SHARE = 0.35
INLAND = np.array([0.0, 100.0, 400.0], np.float32)


def site_with(*lakes, cell=10.0, shape=(60, 60), elevation=700.0, **columns):
    """A level site with lakes, given as shapes in metres from its south-west corner."""
    grid = Grid(UTM, WEST, NORTH, cell, shape)
    west, south, east, north = grid.bounds
    ground = np.full(shape, elevation, np.float32)
    frames = {name: empty_frame(SCHEMAS[name], UTM) for name in VECTORS}
    if lakes:
        table = {"level_m": [elevation] * len(lakes)} | columns
        for name in ("depth_m", "ice_out", "ice_in"):
            table.setdefault(name, [np.nan] * len(lakes))
        moved = [shapely.affinity.translate(lake, west, south) for lake in lakes]
        frames["water"] = GeoDataFrame(table, geometry=moved, crs=UTM)
    x, y = np.meshgrid(grid.eastings, grid.northings)
    water = np.zeros(shape, bool)
    for outline in frames["water"].geometry:
        water |= shapely.contains_xy(outline, x, y)
    return Site(
        name="made ground",
        grid=grid,
        elevation=ground,
        ground=ground,
        model=ElevationModel(("made.tif",), cell, "ground", 0.02),
        field=GeoDataFrame(
            {"name": [""]}, geometry=[shapely.box(west, south, east, north)], crs=UTM
        ),
        field_mask=~water,
        water_mask=water,
        canopy_height=np.zeros(shape, np.float32),
        evergreen=np.zeros(shape, bool),
        vectors=frames,
    )


def term(state, area, distance=INLAND, above=0.0, fetch=1.0):
    """Effect of one lake at distances inland, before it is clipped."""
    distance = np.asarray(distance, np.float32)
    return lake_term(
        state,
        area,
        distance,
        np.full_like(distance, above),
        np.full_like(distance, fetch),
        share=SHARE,
    )


def layers(site, *names, **settings):
    return make_layers(
        names, {"elevation": site.elevation, **gather_lakes(site)}, site.grid, settings
    )


def open_water(water, night, air=None):
    return LakeYear(0.0, water, night if air is None else air, night)


# -- the formula ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("state", "area", "expected"),
    [
        # First frost 19 days later at the shore than 400 m inland, at 0.12 degC a day:
        # 2.3 degC. Common practice for one small lake, no source.
        (open_water(13, 1), 1.46, (3.13, 2.25, 0.83)),
        (open_water(13, 1), 0.20, (1.20, 0.49, 0.03)),
        # Water colder than the day's mean air counts half.
        (open_water(8, 0, air=10), 0.64, (0.79, 0.48, 0.11)),
    ],
)
def test_shore_100_m_and_400_m_inland_have_their_warmth(state, area, expected):
    assert term(state, area) == pytest.approx(expected, abs=0.006)


def test_a_lake_under_ice_warms_nothing_and_cools_a_little():
    # Source of the sign: frozen lakes have little effect on the night (Schatz 2015);
    # air over ice may be the colder (Sjörs 1965 for northern lakes).
    frozen = term(LakeYear(1.0, 4.0, -5.0, -13.0), 1.46)
    assert (frozen < 0).all()
    assert frozen.min() >= -ICE_COLD


@given(
    area=st.floats(0.01, 500),
    water=st.floats(-2, 25),
    night=st.floats(-25, 20),
    ice=st.floats(0, 1),
    above=st.floats(-50, 500),
    fetch=st.floats(0, 1.5),
)
def test_the_effect_fades_inland_and_never_changes_sign_on_the_way(
    area, water, night, ice, above, fetch
):
    state = LakeYear(ice, water, night + 8, night)
    inland = term(state, area, [0, 10, 50, 200, 1000, 9000], above, fetch)
    assert (np.diff(np.abs(inland)) <= 1e-6).all()
    assert len(set(np.sign(inland[np.abs(inland) > 1e-6]))) <= 1


@given(
    area=st.floats(0.01, 100),
    more=st.floats(1.01, 10),
    above=st.floats(0, 100),
    higher=st.floats(1, 100),
)
def test_larger_lakes_warm_more_and_higher_ground_is_warmed_less(
    area, more, above, higher
):
    # Source of the sign by size: Scott & Huff 1997, Illinois State Water Survey
    # Contract Report 617 (effect grows with the size of the lake).
    autumn = open_water(13, 1)
    here = term(autumn, area, above=above)
    assert (term(autumn, area * more, above=above) > here).all()
    assert (term(autumn, area, above=above + higher) < here).all()
    assert (term(autumn, area, above=above, fetch=1.2) > here).all()
    # Ground below the water gains no more than the shore.
    assert term(autumn, area, above=-20.0) == pytest.approx(term(autumn, area))


def test_half_a_season_of_ice_halves_the_warmth():
    whole, half = open_water(10, 0), LakeYear(0.5, 10, 0, 0)
    warm = term(whole, 1.0)[0]
    assert term(half, 1.0)[0] == pytest.approx(warm / 2 - 0.5 * ICE_COLD * 2 / 3)


def test_water_counts_as_at_most_15_warmer_and_3_colder_than_the_night():
    assert term(open_water(40, 0), 1.0) == pytest.approx(term(open_water(15, 0), 1.0))
    assert term(open_water(0, 20), 1.0) == pytest.approx(term(open_water(17, 20), 1.0))


def test_the_reach_grows_with_the_root_of_the_area():
    # Own estimate: 250 m for a square kilometre.
    assert lake_reach(4.0) == 2 * lake_reach(1.0) == 500.0


# -- the year of the water -----------------------------------------------------------


def lake(area=1.46, depth=5.0, ice_out=np.nan, ice_in=np.nan):
    return np.array([area, depth, 0.0, ice_out, ice_in])


@pytest.mark.parametrize(
    ("latitude", "height"),
    [(46.3, 200.0), (46.3, 700.0), (60.0, 200.0), (-45.4, 700.0)],
)
def test_autumn_warms_more_than_bloom_and_bloom_more_than_ice(latitude, height):
    # Source of the order: lakes store heat from spring and give it back from late
    # summer on (Scott & Huff 1997; Oxford Companion to Wine on lakeside vineyards).
    bloom = usual.bloom_day(latitude)
    shore = {
        season: term(lake_year(lake(), season, bloom, latitude, height), 1.46)[0]
        for season in ("bloom", "autumn")
    }
    assert shore["autumn"] > shore["bloom"] > 0
    frozen = lake_year(lake(ice_out=110), "ice", bloom, latitude, height)
    assert frozen.ice == 1.0
    assert term(frozen, 1.46)[0] < 0


def test_a_lake_that_is_frozen_through_bloom_cools_it():
    state = lake_year(lake(ice_out=140, ice_in=330), "bloom", 115.0, 60.0, 200.0)
    assert state.ice == 1.0
    assert (term(state, 1.46) < 0).all()


def test_ice_out_in_the_middle_of_bloom_counts_half():
    state = lake_year(lake(ice_out=115.0, ice_in=330.0), "bloom", 115.0, 60.0, 200.0)
    assert state.ice == pytest.approx(10 / 21)
    assert 4.0 <= state.water < 9.0


def test_water_begins_at_4_degrees_after_the_ice_and_goes_back_to_its_curve():
    # Fresh water is densest at 4 degC.
    just_out = lake_year(lake(ice_out=114.0, ice_in=350.0), "bloom", 124.0, 55.0, 100.0)
    long_out = lake_year(lake(ice_out=60.0, ice_in=350.0), "bloom", 124.0, 55.0, 100.0)
    assert 4.0 < just_out.water < long_out.water


def test_dates_of_ice_are_estimated_in_winter_and_spring():
    # Break-up later and freeze-up earlier towards the pole: Vøllestad et al. 2021
    # (101 Norwegian lakes).
    out, into = ice_dates(5.0, 60.0, *usual.air_of_year(60.0, 300.0))
    assert 90 < out < 160
    assert into > 300
    later, sooner = ice_dates(5.0, 65.0, *usual.air_of_year(65.0, 300.0))
    assert later > out
    assert sooner < into


def test_deep_lakes_freeze_later_than_shallow_ones():
    # Lakes Wingra, Monona, Mendota froze on 27 November, 10 and 16 December 2013 in
    # the order of their depth and opened within three days of each other.
    # Source: satellite dates, University of Wisconsin SSEC, 21 April 2014.
    air = usual.air_of_year(55.0, 400.0)
    dates = [ice_dates(depth, 55.0, *air) for depth in (2.7, 8.2, 12.8)]
    into = [day for _, day in dates]
    assert (np.diff(into) > 0).all()
    assert len({out for out, _ in dates}) == 1


def test_a_lake_in_mild_air_does_not_freeze():
    assert ice_dates(5.0, 46.3, 10.0, 9.0) is None
    assert lake_year(lake(), "ice", 115.0, 40.0, 0.0) is None


def test_the_seasons_are_a_fortnight_three_weeks_and_the_early_autumn():
    assert season_days("ice", 110, 120, 46.3).tolist() == list(range(96, 110))
    assert season_days("bloom", 110, 120, 46.3).tolist() == list(range(110, 131))
    north = season_days("autumn", 110, 120, 46.3)
    south = season_days("autumn", 110, 120, -46.3)
    assert (south - north) == pytest.approx(usual.HALF_YEAR)
    assert (north[0], north[-1]) == (244, 288)


# -- the lakes of a site ---------------------------------------------------------------


def test_a_straight_shore_of_a_wide_lake_has_the_factor_1():
    # Geometry: half of the directions see water without end.
    site = site_with(shapely.box(-2000, -1500, 2600, 0))
    fetch = gather_lakes(site)["lake_fetch"][0]
    shore = fetch[-1, 15:45]
    assert shore == pytest.approx(1.0, abs=0.06)
    assert (np.diff(fetch[:, 30]) >= -1e-3).all()


@pytest.mark.parametrize(("width", "factor"), [(50.0, 0.59), (200.0, 0.94)])
def test_a_narrow_band_of_water_counts_less(width, factor):
    # By hand: mean over directions of 2 (1 - e^(-f / 100 m)), f = width / sin of the
    # angle to the shore, half of the directions on land.
    angles = np.radians((np.arange(3600) + 0.5) / 10)
    seen = np.where(angles < np.pi, width / np.abs(np.sin(angles)), 0)
    by_hand = 2 * (1 - np.exp(-seen / 100)).mean()
    assert by_hand == pytest.approx(factor, abs=0.03)
    site = site_with(shapely.box(-3000, -width, 3600, 0), cell=5.0)
    shore = gather_lakes(site)["lake_fetch"][0][-1, 20:40]
    assert shore == pytest.approx(factor, abs=0.1)


def test_ground_with_water_on_all_sides_gains_most():
    island = shapely.box(-2000, -2000, 2600, 2600).difference(
        shapely.box(280, 280, 320, 320)
    )
    fetch = gather_lakes(site_with(island))["lake_fetch"][0]
    assert fetch.max() == MOST_FETCH


def test_distance_is_from_the_shore_and_none_on_the_water():
    site = site_with(shapely.box(-2000, -1500, 2600, 200))
    away = gather_lakes(site)["lake_distance"][0]
    y = site.grid.northings - site.grid.bounds[1]
    assert away[:, 30] == pytest.approx(np.maximum(y - 200, 0), abs=0.3)
    assert not away[site.water_mask].any()


def test_a_lake_beyond_the_grid_counts_and_one_beyond_its_reach_does_not():
    near = shapely.box(-1000, -1200, 1600, -100)
    assert len(gather_lakes(site_with(near))["lake_table"]) == 1
    far = shapely.box(-1000, -9000, 1600, -6000)
    assert len(gather_lakes(site_with(far))["lake_table"]) == 0


def test_a_lake_counts_whole_though_most_of_it_lies_off_the_grid():
    site = site_with(shapely.box(-2000, -1500, 2600, 200))
    table = gather_lakes(site)["lake_table"]
    assert table[0, 0] == pytest.approx(4.6 * 1.7)


def test_ponds_are_no_lakes_and_the_largest_lakes_are_kept():
    pond = shapely.box(100, 100, 180, 180)
    assert len(gather_lakes(site_with(pond))["lake_table"]) == 0
    lakes = [shapely.box(600 * i, -200 - 50 * i, 600 * i + 500, 0) for i in range(6)]
    table = gather_lakes(site_with(*lakes, shape=(60, 400)))["lake_table"]
    assert len(table) == MOST_LAKES
    assert (np.diff(table[:, 0]) <= 0).all()
    assert table[0, 0] == pytest.approx(0.5 * 0.45)


def test_depth_and_dates_of_ice_are_read_with_the_lake():
    lake_shape = shapely.box(0, -900, 600, 0)
    site = site_with(lake_shape, depth_m=[12.0], ice_out=[112.0], ice_in=[340.0])
    assert gather_lakes(site)["lake_table"][0].tolist() == pytest.approx(
        [0.54, 12.0, 700.0, 112.0, 340.0]
    )


# -- the layers ------------------------------------------------------------------------

SEASONS = ("ice", "bloom", "autumn")
NAMES = [f"lake_effect_{season}" for season in SEASONS]


def test_without_a_lake_there_is_no_layer_and_no_warmth():
    made, absent = layers(site_with(), *NAMES, "lake_warmth_bloom")
    assert set(absent) == set(NAMES)
    assert not made["lake_warmth_bloom"].any()


def test_a_lake_that_never_freezes_has_no_layer_of_ice():
    made, absent = layers(
        site_with(shapely.box(-900, -900, 1500, 0), elevation=20.0), *NAMES
    )
    assert set(absent) == {"lake_effect_ice"}
    assert float(made["lake_effect_autumn"].min()) > 0


def test_a_lake_that_freezes_has_three_layers_in_the_order_of_the_year():
    site = site_with(shapely.box(-900, -900, 1500, 0), ice_out=[112.0], ice_in=[350.0])
    made, absent = layers(site, *NAMES)
    assert absent == {}
    ice, bloom, autumn = (made[name].to_numpy() for name in NAMES)
    assert (ice <= 0).all()
    assert (autumn > ice).all()
    assert (autumn >= bloom).all()
    assert (bloom >= ice).all()
    # The sum is told between these limits, and fades inland.
    assert autumn.max() <= HIGHEST
    assert ice.min() >= LOWEST
    assert (np.diff(autumn[:, 30]) >= 0).all()


def test_an_unknown_height_is_missing_in_the_layer():
    site = site_with(shapely.box(-900, -900, 1500, 0))
    site.elevation[5, 5] = np.nan
    made, _ = layers(site, "lake_effect_autumn")
    assert np.isnan(made["lake_effect_autumn"].to_numpy()).sum() == 1


@pytest.mark.parametrize("share", [0.15, 0.5])
def test_the_share_of_the_water_that_reaches_the_shore_scales_the_effect(share):
    site = site_with(shapely.box(100, -300, 400, 0), shape=(20, 50))
    other, _ = layers(site, "lake_effect_autumn", lake_share=share)
    usually, _ = layers(site, "lake_effect_autumn")
    warm = usually["lake_effect_autumn"].to_numpy()
    assert warm.max() < HIGHEST * SHARE / 0.5
    expected = pytest.approx(warm * share / SHARE, rel=1e-4, abs=1e-6)
    assert other["lake_effect_autumn"].to_numpy() == expected
