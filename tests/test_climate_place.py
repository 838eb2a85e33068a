"""From the station to every cell: at the station's own cell the record comes back."""

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from sitekit.climate.frost import (
    date_exceeded,
    first_frost,
    frost_free_days,
    last_frost,
)
from sitekit.climate.heat import map_frost, map_heat
from sitekit.climate.place import place_station, shift_places, spread_of
from sitekit.climate.seasons import make_seasons
from sitekit.climate.springs import read_springs
from sitekit.fruit.heat import degree_days
from sitekit.grid import Grid
from sitekit.site import ElevationModel, Record, Site

SHAPE = (12, 16)
CELL = 10.0
WEST, NORTH = 500_000.0, 5_130_000.0
STATION = (7, 5)
NO_BLOOM = pd.DataFrame({"fruit": [], "year": [], "day": [], "place": []})


def make_days(first=1996, last=2025, seed=4):
    dates = pd.date_range(f"{first}-01-01", f"{last}-12-31")
    random = np.random.default_rng(seed)
    season = 9 - 9 * np.cos(2 * np.pi * (dates.day_of_year.to_numpy() - 15) / 365.25)
    mean = season + random.normal(0, 2.5, len(dates))
    cloud = random.random(len(dates))
    half = 3 + 4 * (1 - cloud)
    return pd.DataFrame(
        {
            "date": dates,
            "tmin": mean - half,
            "tmax": mean + half,
            "wind": 1.0,
            "cloud": cloud,
        }
    )


def make_record(cell=STATION, elevation=np.nan, days=None, latitude=46.3):
    row, column = cell
    return Record(
        name="the farm",
        days=make_days() if days is None else days,
        easting=WEST + (column + 0.5) * CELL,
        northing=NORTH - (row + 0.5) * CELL,
        elevation=elevation,
        latitude=latitude,
        bloom=NO_BLOOM,
    )


@pytest.fixture(scope="module")
def site():
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]]
    elevation = (700 + 5.0 * (SHAPE[0] - rows)).astype(np.float32)
    field = geopandas.GeoDataFrame(
        {"name": ["a"]},
        geometry=[shapely.box(WEST + 40, NORTH - 100, WEST + 120, NORTH - 20)],
        crs="EPSG:32633",
    )
    inside = (columns >= 4) & (columns < 12) & (rows >= 2) & (rows < 10)
    none = np.zeros(SHAPE, bool)
    return Site(
        name="made",
        grid=Grid(CRS.from_epsg(32633), WEST, NORTH, CELL, SHAPE),
        elevation=elevation,
        ground=elevation,
        model=ElevationModel(("x",), CELL, "ground", 0.05),
        field=field,
        field_mask=inside,
        water_mask=none,
        canopy_height=np.zeros(SHAPE, np.float32),
        evergreen=none,
        vectors={},
    )


@pytest.fixture(scope="module")
def layers():
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(np.float32)
    return {
        "frost_night_offset": (0.3 * (5 - rows) - 0.1 * columns).astype(np.float32),
        "wind_exposure": (0.2 + 0.04 * columns).astype(np.float32),
        "direct_irradiation_growing": (900 + 10 * columns).astype(np.float32),
        "lake_effect_bloom": (0.02 * columns).astype(np.float32),
        "lake_effect_autumn": (0.08 * columns).astype(np.float32),
        "lake_effect_ice": (-0.01 * columns).astype(np.float32),
    }


@pytest.fixture(scope="module")
def springs():
    return read_springs(make_seasons(make_record()))


@pytest.fixture(scope="module")
def shifts(site, layers):
    return shift_places(site, place_station(site, make_record(), layers), layers)


KINDS = ("bloom", "autumn", "winter", "windy", "warmth")


@pytest.mark.parametrize("kind", KINDS)
def test_at_the_station_every_shift_is_nothing(shifts, kind):
    assert getattr(shifts, kind)[STATION] == 0


def test_at_the_station_the_record_comes_back_unchanged(shifts, springs):
    last, free = map_frost(springs, shifts)
    heat = map_heat(springs, shifts)
    own_last = last_frost(springs.lowest, springs.split)
    own_first = first_frost(springs.lowest, springs.split)
    assert last[STATION] == pytest.approx(date_exceeded(own_last, 0.1) + 1, abs=1e-4)
    expected = np.median(frost_free_days(own_last, own_first, 366))
    assert free[STATION] == pytest.approx(expected, abs=1e-4)
    days = np.arange(366)
    season = (days >= springs.season[:, :1]) & (days < springs.season[:, 1:])
    sums = degree_days(springs.lowest.astype(float), springs.highest.astype(float), 5.0)
    own_heat = np.median(np.nansum(np.where(season, sums, 0), axis=1))
    assert heat[STATION] == pytest.approx(own_heat, rel=1e-6)


def test_height_cools_windy_nights_and_days_by_the_lapse_rate(site, layers):
    # 6.5 degC per km: 100 m are 0.65 degC; Rolland 2003, J. Climate 16: 5.5 to 6.5.
    station = place_station(site, make_record(), layers)
    flat = {**layers, "wind_exposure": np.full(SHAPE, 0.5, np.float32)}
    flat["direct_irradiation_growing"] = np.full(SHAPE, 900, np.float32)
    shifts = shift_places(site, station, flat)
    climb = site.elevation - site.elevation[STATION]
    np.testing.assert_allclose(shifts.windy, -0.0065 * climb, atol=1e-5)
    np.testing.assert_allclose(shifts.warmth, -0.0065 * climb, atol=1e-5)
    steeper = shift_places(site, station, flat, lapse_rate=9.8)
    np.testing.assert_allclose(steeper.warmth, -0.0098 * climb, atol=1e-5)


def test_clear_still_nights_follow_the_offset_and_not_the_height(shifts, layers):
    offset = layers["frost_night_offset"]
    np.testing.assert_allclose(shifts.bloom, offset - offset[STATION], atol=1e-6)


def test_outside_bloom_the_lake_of_the_season_takes_its_place(shifts, layers):
    offset = layers["frost_night_offset"] - layers["lake_effect_bloom"]
    for name, kind in (("autumn", shifts.autumn), ("ice", shifts.winter)):
        expected = offset + layers[f"lake_effect_{name}"]
        np.testing.assert_allclose(kind, expected - expected[STATION], atol=1e-5)


def test_exposed_ground_is_colder_on_windy_nights_and_sunny_ground_warmer_by_day(
    shifts,
):
    row = STATION[0]
    assert (np.diff(shifts.windy[row]) < 0).all()
    assert (np.diff(shifts.warmth[row]) > 0).all()


def test_without_a_lake_the_seasons_are_alike(site, layers):
    bare = {n: v for n, v in layers.items() if not n.startswith("lake")}
    shifts = shift_places(site, place_station(site, make_record(), bare), bare)
    np.testing.assert_array_equal(shifts.bloom, shifts.autumn)
    np.testing.assert_array_equal(shifts.bloom, shifts.winter)


# -- where the station stands ----------------------------------------------------------


def test_a_station_off_the_ground_is_as_cold_as_the_reference(site, layers):
    away = make_record(cell=(500, 500), elevation=720.0)
    station = place_station(site, away, layers)
    assert station.cell is None
    assert "as cold as the field's median" in station.remarks[0]
    shifts = shift_places(site, station, layers)
    np.testing.assert_array_equal(shifts.bloom, layers["frost_night_offset"])


def test_a_station_whose_height_is_not_told_stands_as_high_as_the_field(site, layers):
    station = place_station(site, make_record(cell=(500, 500)), layers)
    assert station.elevation == np.median(site.elevation[site.field_mask])
    assert "its height is not given" in station.remarks[0]


@pytest.mark.parametrize(
    ("cell", "height", "told"),
    [
        ((6000, 5), 730.0, "60 km away"),
        ((500, 500), 300.0, "m lower"),
        ((500, 500), 1200.0, "m higher"),
    ],
)
def test_a_station_far_or_high_is_said_and_less_sure(site, layers, cell, height, told):
    station = place_station(site, make_record(cell=cell, elevation=height), layers)
    assert any(told in remark and "less sure" in remark for remark in station.remarks)
    assert station.spread > 1.3


@pytest.mark.parametrize(
    ("distance", "climb", "spread"),
    [(0, 0, 1.0), (9_000, 90, 1.0), (60_000, 0, 2.0), (0, 300, 1.8), (0, -300, 1.8)],
)
def test_the_spread_grows_beyond_10_km_and_100_m(distance, climb, spread):
    assert spread_of(distance, climb) == pytest.approx(spread)


# -- layers ----------------------------------------------------------------------------


def test_colder_ground_has_its_last_frost_later_and_a_shorter_season(shifts, springs):
    last, free = map_frost(springs, shifts)
    low, high = (11, 5), (0, 5)
    assert shifts.bloom[low] < -1 < 1 < shifts.bloom[high]
    assert last[low] > last[high]
    assert free[low] < free[high]


def test_a_table_gives_what_each_cell_gives_alone(shifts, springs):
    last, _ = map_frost(springs, shifts)
    for cell in ((2, 3), (9, 12)):
        nights = springs.nights(float(shifts.bloom[cell]), float(shifts.windy[cell]))
        exact = date_exceeded(last_frost(nights, springs.split), 0.1) + 1
        assert last[cell] == pytest.approx(exact, abs=2.5)


def test_missing_ground_stays_missing(site, layers, springs):
    holes = {n: v.copy() for n, v in layers.items()}
    holes["frost_night_offset"][0, 0] = np.nan
    shifts = shift_places(site, place_station(site, make_record(), holes), holes)
    last, free = map_frost(springs, shifts)
    assert np.isnan(last[0, 0])
    assert np.isnan(free[0, 0])
    assert np.isfinite(free).sum() == SHAPE[0] * SHAPE[1] - 1


# -- seasons ---------------------------------------------------------------------------


def test_a_record_is_cut_into_calendar_years_in_the_north():
    seasons = make_seasons(make_record(days=make_days(2019, 2021)))
    assert seasons.years.tolist() == [2019, 2020, 2021]
    assert not seasons.south
    assert np.isnan(seasons.tmin[:, 365]).tolist() == [True, False, True]
    assert seasons.complete.all()
    days = make_days(2019, 2021)
    leap = days.loc[days["date"] == "2020-02-29", "tmin"].item()
    assert seasons.tmin[1, 59] == leap


def test_a_record_of_the_south_is_cut_in_july():
    seasons = make_seasons(make_record(days=make_days(2019, 2021), latitude=-41.0))
    assert seasons.south
    assert seasons.years.tolist() == [2018, 2019, 2020, 2021]
    assert str(seasons.starts[1]) == "2019-07-01"
    # 2018 has its autumn only, 2021 its spring only.
    assert seasons.complete.tolist() == [False, True, True, False]
    days = make_days(2019, 2021)
    last = days.loc[days["date"] == "2020-06-30", "tmin"].item()
    assert seasons.tmin[1, 365] == last


@pytest.mark.parametrize(("missing", "complete"), [(10, True), (11, False)])
def test_more_than_ten_missing_days_end_a_season(missing, complete):
    # Moller & Gillies 2007, Utah climate center: at most 10 missing days.
    days = make_days(2019, 2019)
    begin = int(np.flatnonzero(days["date"] == "2019-05-01")[0])
    days.loc[begin : begin + missing - 1, "tmin"] = np.nan
    assert make_seasons(make_record(days=days)).complete.tolist() == [complete]


def test_days_missing_in_winter_do_not_count():
    days = make_days(2019, 2019).iloc[50:]
    assert make_seasons(make_record(days=days)).complete.tolist() == [True]


@settings(max_examples=20, deadline=None)
@given(st.booleans(), st.integers(1, 300), st.integers(1, 60))
def test_every_day_has_one_place(south, start, gap):
    days = make_days(2018, 2020).drop(range(start, start + gap)).reset_index(drop=True)
    record = make_record(days=days, latitude=-41.0 if south else 46.3)
    seasons = make_seasons(record)
    assert np.isfinite(seasons.tmin).sum() == len(days)
    assert np.nansum(seasons.tmax) == pytest.approx(days["tmax"].sum())
