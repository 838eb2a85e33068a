"""Open sky and direct sun: against closed forms, pvlib and handbook tables."""

import tracemalloc
from math import atan, cos, degrees, pi, radians, sin, sqrt, tan

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from pvlib.irradiance import beam_component
from pvlib.location import Location
from pyproj import CRS

from sitekit.errors import ConfigError
from sitekit.grid import Grid
from sitekit.kernels.horizon import MISSING
from sitekit.layers.catalogue import CATALOGUE, make_layers
from sitekit.layers.sun import (
    direct_irradiation,
    find_season,
    horizon_angle,
    sky_view_factor,
    sun_track,
    sunlight,
    sunshine_hours,
)

LEVEL_GROUND = np.full((1, 1), 100.0, np.float32)
TWELVE_PER_CENT = degrees(atan(0.12))


def sky(surface: NDArray[np.float64], cell_size: float = 1.0) -> NDArray[np.float32]:
    """Open sky over a surface without trees."""
    surface = surface.astype(np.float32)
    codes = horizon_angle(surface, np.zeros_like(surface), cell_size=cell_size)
    return sky_view_factor(codes)


def sky_in_gap(trees: NDArray[np.bool_], height: float) -> float:
    """Open sky in the middle of a gap in woodland on level ground."""
    ground = np.zeros(trees.shape, np.float32)
    canopy = np.where(trees, np.float32(height), np.float32(0))
    share = sky_view_factor(horizon_angle(ground, canopy, cell_size=1.0))
    return float(share[trees.shape[0] // 2, trees.shape[1] // 2])


def on_slopes(
    slopes: list[float],
    aspects: list[float],
    *,
    latitude: float,
    days: str,
    **more: float,
) -> NDArray[np.float32]:
    """Energy and hours on planes without a horizon, in the days as in the north."""
    track = sun_track(
        LEVEL_GROUND,
        season="ripening",
        latitude=latitude,
        ripening_season=days,
        **more,
    )
    return under(track, slopes, aspects)


def under(
    track: NDArray[np.float64], slopes: list[float], aspects: list[float]
) -> NDArray[np.float32]:
    """Energy and hours on planes without a horizon."""
    sums = sunlight(
        np.zeros((32, 1, len(slopes)), np.uint8),
        np.array([slopes], np.float32),
        np.array([aspects], np.float32),
        track,
        season="ripening",
        convergence=0.0,
    )
    return sums[:, 0]


def outside_the_air(
    latitude: float, day: int, minutes: float = 2.0
) -> NDArray[np.float64]:
    """A day's sun outside the air, from the formulae of FAO-56.

    Source: Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage
    Paper 56, equations 21 to 24: solar constant 0.0820 MJ m-2 min-1.
    """
    turn = 2 * pi * day / 365
    declination = 0.409 * sin(turn - 1.39)
    hour_angle = np.radians(np.arange(-180 + minutes / 8, 180, minutes / 4))
    phi = radians(latitude)
    up = sin(phi) * sin(declination) + cos(phi) * cos(declination) * np.cos(hour_angle)
    east = -cos(declination) * np.sin(hour_angle)
    north = cos(phi) * sin(declination) - sin(phi) * cos(declination) * np.cos(
        hour_angle
    )
    energy = 0.0820 * (1 + 0.033 * cos(turn)) * minutes
    track = np.stack(
        [
            np.degrees(np.arctan2(east, north)) % 360,
            np.degrees(np.arcsin(up)),
            np.full(up.shape, 0.01),
            np.full(up.shape, energy),
            np.full(up.shape, minutes / 60),
        ]
    )
    return track[:, up > 0]


# ---------------------------------------------------------------- open sky


@pytest.mark.parametrize("steepness", [10.0, 20.0, 30.0, 45.0, 60.0])
def test_a_long_trench_leaves_the_cosine_of_its_walls_open(steepness):
    # Source: geometry, mean of cos² of the horizon: cos b between two walls.
    x = np.abs(np.arange(-90, 91))
    walls = np.where(x >= 60, 60 * tan(radians(steepness)), 0.0)
    trench = np.repeat(walls[None, :], 1801, axis=0)
    assert sky(trench)[900, 90] == pytest.approx(cos(radians(steepness)), abs=0.006)


@pytest.mark.parametrize("steepness", [10.0, 20.0, 30.0, 45.0, 60.0])
def test_a_basin_leaves_the_square_of_the_cosine_open(steepness):
    # Source: geometry, cos² b under an even horizon b.
    y, x = np.mgrid[-150:151, -150:151]
    rim = np.where(np.hypot(x, y) >= 100, 100 * tan(radians(steepness)), 0.0)
    assert sky(rim)[150, 150] == pytest.approx(cos(radians(steepness)) ** 2, abs=0.005)


@pytest.mark.parametrize("steepness", [10.0, 20.0, 30.0, 45.0, 60.0])
@pytest.mark.parametrize("faced", [0.0, 70.0, 200.0])
def test_a_plane_leaves_half_of_one_plus_its_cosine_open(steepness, faced):
    # Source: Bendix 2004, Geländeklimatologie, p. 63, eq. 3.15: (1 + cos b) / 2.
    y, x = np.mgrid[0:40, 0:60] * tan(radians(steepness))
    plane = 900 - sin(radians(faced)) * x + cos(radians(faced)) * y
    expected = (1 + cos(radians(steepness))) / 2
    assert np.abs(sky(plane)[2:-2, 2:-2] - expected).max() <= 0.003


@pytest.mark.parametrize(
    ("depth_over_radius", "share"), [(0.2, 0.9), (0.5, 0.75), (1.0, 0.5)]
)
def test_the_floor_of_a_spherical_bowl_sees_what_the_sphere_lacks(
    depth_over_radius, share
):
    # Source: geometry, 1 - area of the cap / (4 pi R²); a half sphere leaves 0.5.
    y, x = np.mgrid[-200:201, -200:201]
    radius = 180 / sqrt(1 - (1 - depth_over_radius) ** 2)
    inside = np.minimum(np.hypot(x, y), 180)
    bowl = radius - np.sqrt(np.maximum(radius**2 - inside**2, 0))
    assert sky(bowl)[200, 200] == pytest.approx(share, abs=0.01)


@pytest.mark.parametrize(
    ("width_over_height", "share"), [(0.6, 0.2873), (1.0, 0.4472), (2.0, 0.7071)]
)
def test_a_strip_in_a_wood_opens_with_its_width(width_over_height, share):
    # Source: geometry, cos(atan(2 H / W)) in the middle of a strip.
    x = np.abs(np.arange(-90, 91))
    trees = np.repeat((x >= 60)[None, :], 1801, axis=0)
    assert sky_in_gap(trees, 120 / width_over_height) == pytest.approx(share, abs=0.012)


@pytest.mark.parametrize(
    ("width_over_height", "share"), [(1.0, 0.2), (2.0, 0.5), (2.2, 0.5475)]
)
def test_a_round_gap_in_a_wood_opens_with_its_width(width_over_height, share):
    # Source: geometry, cos²(atan(2 H / D)) in the middle of a round gap.
    y, x = np.mgrid[-150:151, -150:151]
    trees = np.hypot(x, y) >= 120
    assert sky_in_gap(trees, 240 / width_over_height) == pytest.approx(share, abs=0.01)


def test_missing_ground_has_no_open_sky():
    surface = np.zeros((6, 6))
    surface[2, 3] = np.nan
    share = sky(surface)
    assert np.isnan(share[2, 3])
    assert np.isnan(share).sum() == 1
    assert np.nanmin(share) == 1.0


# ---------------------------------------------------------------- the beam on slopes


def test_the_sun_stands_where_the_reference_algorithm_puts_it():
    # Source: Reda & Andreas 2004, NREL/TP-560-34302, table A5.1: 17 October 2003,
    # zenith 50.111622 at azimuth 194.340241. Another year moves the declination by
    # up to 0.18 degree.
    track = sun_track(
        LEVEL_GROUND,
        season="ripening",
        latitude=39.742476,
        sun_step_minutes=1.0,
        ripening_season="10-17 to 10-17",
    )
    rise = np.interp(194.340241, track[0], track[1])
    assert 90 - rise == pytest.approx(50.111622, abs=0.2)


def test_the_beam_meets_a_slope_at_the_angle_of_the_reference_algorithm():
    # Source: Reda & Andreas 2004, NREL/TP-560-34302, table A5.1: slope 30 turned
    # to 170 degrees, incidence 25.187000; beam ratio to level ground 1.41109.
    sun = np.array([[194.340241], [90 - 50.111622], [1.0], [1.0], [1.0]])
    slope, flat = under(sun, [30.0, 0.0], [170.0, np.nan])[0]
    assert slope == pytest.approx(cos(radians(25.187)), abs=1e-5)
    assert slope / flat == pytest.approx(1.41109, abs=1e-4)


@pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")
@pytest.mark.parametrize(
    ("latitude", "longitude", "season", "days"),
    [
        (60.0, 15.0, "growing", ("2025-05-01", "2025-10-01")),
        (47.0, -70.0, "ripening", ("2025-09-01", "2025-10-16")),
        (-41.0, 147.0, "growing", ("2025-11-01", "2026-04-01")),
        (-41.0, 147.0, "ripening", ("2025-03-01", "2025-04-16")),
    ],
)
def test_seasons_agree_with_every_five_minutes_of_every_day(
    latitude, longitude, season, days
):
    # Source: pvlib's own location model (Ineichen & Perez 2002, turbidity 3) with
    # its other sun, the ephemeris, at the true longitude.
    place = Location(latitude, longitude, altitude=100.0)
    times = pd.date_range(*days, freq="5min", tz="UTC", inclusive="left")
    sun = place.get_solarposition(times, method="ephemeris", temperature=12)
    beam = place.get_clearsky(times, linke_turbidity=3.0, solar_position=sun)["dni"]
    slopes = [0.0, TWELVE_PER_CENT, TWELVE_PER_CENT, 30.0, 30.0, 20.0]
    aspects = [180.0, 0.0, 180.0, 90.0, 250.0, 340.0]
    expected = [
        beam_component(s, a, sun["apparent_zenith"], sun["azimuth"], beam).sum() / 12e3
        for s, a in zip(slopes, aspects, strict=True)
    ]
    track = sun_track(LEVEL_GROUND, season=season, latitude=latitude)
    found, hours = under(track, slopes, aspects)
    assert found == pytest.approx(expected, rel=0.005)
    lit = (sun["apparent_elevation"] > 0).mean() * 24
    assert hours == pytest.approx(lit, abs=0.05)


@pytest.mark.parametrize("minutes", [5.0, 15.0, 30.0])
def test_the_step_of_time_does_not_matter(minutes):
    args = ([TWELVE_PER_CENT] * 3, [0.0, 100.0, 180.0])
    finest = on_slopes(
        *args, latitude=60.0, days="09-01 to 10-15", sun_step_minutes=1.0
    )
    found = on_slopes(
        *args, latitude=60.0, days="09-01 to 10-15", sun_step_minutes=minutes
    )
    assert found[0] == pytest.approx(finest[0], rel=0.002)
    assert found[1] == pytest.approx(finest[1], abs=0.1)


def test_higher_ground_and_clearer_air_let_more_beam_through():
    def energy(height: float, haze: float) -> float:
        track = sun_track(
            np.full((2, 2), height, np.float32),
            season="growing",
            latitude=50.0,
            linke_turbidity=haze,
        )
        return float(under(track, [0.0], [np.nan])[0, 0])

    assert energy(0.0, 3.0) < energy(800.0, 3.0) < energy(800.0, 2.0)


def test_level_ground_outside_the_air_gets_the_handbook_totals():
    # Source: Allen et al. 1998, FAO-56, annex 2 table 2.6, 60 N, 15th of each month.
    days = [15, 46, 74, 105, 135, 166, 196, 227, 258, 288, 319, 349]
    table = [3.3, 8.3, 16.6, 27.5, 36.6, 41.2, 39.2, 31.2, 20.6, 10.9, 4.4, 2.2]
    found = [under(outside_the_air(60.0, d), [0.0], [np.nan])[0, 0] for d in days]
    assert found == pytest.approx(table, abs=0.15)


def test_a_slope_to_the_pole_is_level_ground_nearer_the_pole():
    # Source: Lee 1963 / geometry (equivalent latitude): at the equinox a slope of
    # b at latitude L gets what level ground gets at L -/+ b: cos(L -/+ b) / cos L.
    day = 365 * 1.39 / (2 * pi)
    track = outside_the_air(60.0, day, minutes=0.5)
    south, north, flat = under(track, [10.0, 10.0, 0.0], [180.0, 0.0, np.nan])[0]
    assert south / flat == pytest.approx(1.285575, abs=2e-4)
    assert north / flat == pytest.approx(0.684040, abs=2e-4)


@pytest.mark.parametrize(
    ("day", "totals"),
    [
        (80, [18.64, 21.44, 15.70, 24.07, 18.92, 18.92, 12.64, 28.77, 6.26]),
        (135, [36.66, 37.63, 35.54, 38.50, 36.59, 36.59, 34.15, 39.71, 30.61]),
        (172, [41.33, 41.55, 41.04, 41.78, 41.13, 41.13, 40.43, 41.87, 38.30]),
    ],
)
def test_daily_totals_on_slopes_agree_with_integrals_at_sixty_north(day, totals):
    # Source: computed once from the equations of FAO-56 (Allen et al. 1998) on
    # inclined planes with their own horizon; geometry.
    slopes = [0.0, 5.0, 5.0, 10.0, 10.0, 10.0, 10.0, 20.0, 20.0]
    aspects = [0.0, 180.0, 0.0, 180.0, 90.0, 270.0, 0.0, 180.0, 0.0]
    found = under(outside_the_air(60.0, day), slopes, aspects)[0]
    assert found == pytest.approx(totals, abs=0.06)


@pytest.mark.parametrize("latitude", [60.0, 61.5, 63.0])
def test_north_slopes_lose_their_sun_in_autumn_and_not_at_midsummer(latitude):
    # Source: geometry of the beam on a plane. Outside the air a 12 % north slope
    # gets 98 to 100 % of level ground at midsummer; through the air, which dims the
    # low sun that it faces, about 95 %.
    slopes = [0.0, TWELVE_PER_CENT, TWELVE_PER_CENT]
    aspects = [np.nan, 0.0, 180.0]
    outside = under(outside_the_air(latitude, 172), slopes, aspects)[0]
    summer = on_slopes(slopes, aspects, latitude=latitude, days="06-21 to 06-21")[0]
    autumn = on_slopes(slopes, aspects, latitude=latitude, days="10-01 to 10-01")[0]
    assert 0.98 <= outside[1] / outside[0] <= 1.0
    assert 0.94 <= summer[1] / summer[0] <= 1.0
    assert 0.705 <= autumn[1] / autumn[0] <= 0.75
    assert 1.235 <= autumn[2] / autumn[0] <= 1.285


def test_east_and_west_slopes_get_the_same():
    # Source: Sjörs 1965, The Plant Cover of Sweden, p. 12 (north slopes inferior);
    # symmetry of the clear-sky beam about noon.
    east, west, north, south = on_slopes(
        [15.0] * 4, [90.0, 270.0, 0.0, 180.0], latitude=60.0, days="09-01 to 10-15"
    )[0]
    assert east == pytest.approx(west, rel=0.003)
    assert north < east < south


def test_in_the_south_the_north_slope_is_the_sunny_one():
    north, south = on_slopes(
        [10.0] * 2, [0.0, 180.0], latitude=-42.0, days="09-01 to 10-15"
    )[0]
    assert north > 1.3 * south


# ---------------------------------------------------------------- hours and seasons


@pytest.mark.parametrize(
    ("day", "geometric", "with_air_and_disc"),
    [
        ("03-20", 12.0, 12.228),
        ("04-15", 14.39, 14.592),
        ("05-15", 16.95, 17.173),
        ("06-21", 18.5, 18.869),
        ("11-03", 8.2, 8.513),
        ("12-21", 5.45, 5.870),
    ],
)
def test_days_are_as_long_as_the_almanac_says(day, geometric, with_air_and_disc):
    # Source: Reda & Andreas 2004 by pvlib, 60 N 15 E in 2025, upper limb with
    # refraction; ours is the middle of the disc with refraction, so a little less.
    hours = on_slopes([0.0], [np.nan], latitude=60.0, days=f"{day} to {day}")[1, 0]
    assert geometric < hours
    assert hours == pytest.approx(with_air_and_disc - 0.1, abs=0.1)


def test_a_day_in_the_south_is_as_long_as_the_handbook_says():
    # Source: Allen et al. 1998, FAO-56, example 9: 20 S on 3 September, 11.7 h.
    hours = on_slopes([0.0], [np.nan], latitude=-20.0, days="03-03 to 03-03")[1, 0]
    assert hours == pytest.approx(11.7, abs=0.15)


@settings(max_examples=40, deadline=None)
@given(
    st.floats(-90, 90),
    st.sampled_from(["06-21 to 06-21", "12-21 to 12-21", "09-01 to 10-15"]),
)
def test_no_latitude_gives_missing_sun_or_more_than_the_day(latitude, days):
    energy, hours = on_slopes(
        [0.0, 20.0], [np.nan, 140.0], latitude=latitude, days=days
    )
    assert (energy >= 0).all()
    assert (hours >= 0).all()
    assert (hours <= 24.0001).all()


def test_polar_day_and_polar_night_are_whole():
    # Source: geometry, 70 N: 24 h at midsummer and none at midwinter.
    day = on_slopes([0.0], [np.nan], latitude=70.0, days="06-21 to 06-21")
    night = on_slopes([0.0], [np.nan], latitude=70.0, days="12-21 to 12-21")
    assert day[1, 0] == pytest.approx(24.0, abs=1e-3)
    assert night.tolist() == [[0.0], [0.0]]


@pytest.mark.parametrize(
    ("text", "southern", "first", "days"),
    [
        ("05-01 to 09-30", False, (5, 1), 153),
        ("05-01 to 09-30", True, (11, 1), 151),
        ("09-01 to 10-15", True, (3, 1), 46),
        ("11-01 to 03-31", False, (11, 1), 151),
        ("08-31 to 08-31", True, (2, 28), 1),
    ],
)
def test_seasons_shift_by_six_months_in_the_south(text, southern, first, days):
    start, length = find_season("growing_season", text, southern=southern)
    assert (start.month, start.day) == first
    assert length == days


@pytest.mark.parametrize("text", ["", "May", "05-01", "05-01 to 31-09", "1 to 2 to 3"])
def test_a_season_that_cannot_be_read_is_told_with_its_key(text):
    with pytest.raises(ConfigError, match=r"growing_season.*not two days of the year"):
        sun_track(LEVEL_GROUND, season="growing", latitude=50.0, growing_season=text)


# ---------------------------------------------------------------- shadow


def lit_cells(track: NDArray[np.float64], height: float, cells: int) -> int:
    """How many cells of 1 m lie in the shadow to the north of a wood."""
    ground = np.zeros((cells + 60, 41), np.float32)
    canopy = ground.copy()
    canopy[-30:] = height
    codes = horizon_angle(ground, canopy, cell_size=1.0)
    hours = sunlight(
        codes, ground, ground * np.nan, track, season="ripening", convergence=0.0
    )[1, :-30, 20]
    return int((hours < track[4].sum() / 2).sum())


@pytest.mark.parametrize(
    ("altitude", "length"),
    [(5, 114.30), (10, 56.71), (15, 37.32), (20, 27.47), (30, 17.32), (45, 10.0)],
)
def test_a_wood_throws_the_shadow_of_its_height_over_the_tangent(altitude, length):
    # Source: geometry, 10 m / tan(altitude); the horizon is kept to 0.18 degree.
    sun = np.array([[180.0], [altitude], [0.01], [1.0], [1.0]])
    assert lit_cells(sun, 10.0, 160) == pytest.approx(length, rel=0.04, abs=1.0)


@pytest.mark.parametrize(
    ("day", "latitude", "length"),
    [
        ("06-21", 60.0, 11.2),
        ("10-01", 60.0, 29.3),
        ("10-01", 63.0, 33.5),
    ],
)
def test_a_wood_shades_the_noon_of_autumn_three_times_as_far_as_in_june(
    day, latitude, length
):
    # Source: geometry, 15 m wood at the noon height of the sun.
    track = sun_track(
        LEVEL_GROUND,
        season="ripening",
        latitude=latitude,
        ripening_season=f"{day} to {day}",
    )
    noon = track[:, [track[1].argmax()]]
    assert lit_cells(noon, 15.0, 60) == pytest.approx(length, rel=0.05, abs=1.0)


def test_ground_north_of_a_wood_loses_autumn_sun_and_ground_south_of_it_does_not():
    ground = np.zeros((81, 81), np.float32)
    canopy = ground.copy()
    canopy[38:43, 20:61] = 15.0
    codes = horizon_angle(ground, canopy, cell_size=2.0)
    track = sun_track(ground, season="ripening", latitude=60.0)
    energy, hours = sunlight(
        codes, ground, ground * np.nan, track, season="ripening", convergence=0.0
    )
    flat, day = under(track, [0.0], [np.nan])[:, 0]
    assert energy[34, 40] < 0.35 * flat
    assert energy[47, 40] > 0.93 * flat
    assert hours[34, 40] < 0.6 * day
    assert energy[34].min() < energy[28].min() < energy[20].min()


def test_a_ridge_to_the_west_takes_the_evening_and_not_the_morning():
    ground = np.zeros((61, 121), np.float32)
    ground[:, 20] = 200.0
    codes = horizon_angle(ground, np.zeros_like(ground), cell_size=10.0)
    level = ground * np.nan
    flat = np.zeros_like(ground)
    track = sun_track(ground, season="growing", latitude=50.0)
    morning, evening = track[:, track[0] < 180], track[:, track[0] >= 180]
    kept = {"season": "growing", "convergence": 0.0}
    before = sunlight(codes, flat, level, morning, **kept)[1, 30, 40]
    after = sunlight(codes, flat, level, evening, **kept)[1, 30, 40]
    assert before == pytest.approx(under(morning, [0.0], [np.nan])[1, 0], abs=0.01)
    assert after < 0.75 * before


def hill(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """A valley side with a hill to its south-west; x east, y north, metres."""
    return (
        60 * np.exp(-((x + 160) ** 2 + (y + 120) ** 2) / 8000)
        + 0.15 * y
        + 40 * np.exp(-((x - 250) ** 2) / 5000)
    )


def on_hill(turn: float, latitude: float = 55.0) -> NDArray[np.float32]:
    """Sun in the middle of the hill on a grid whose north bears `turn`."""
    y, x = np.mgrid[400:-401:-5, -400:401:5].astype(float)
    c, s = cos(radians(turn)), sin(radians(turn))
    east, north = x * c + y * s, y * c - x * s
    ground = hill(east, north).astype(np.float32)
    d = 0.5
    zx = (hill(east + d, north) - hill(east - d, north)) / (2 * d)
    zy = (hill(east, north + d) - hill(east, north - d)) / (2 * d)
    slope = np.degrees(np.arctan(np.hypot(zx, zy))).astype(np.float32)
    aspect = (np.degrees(np.arctan2(-zx, -zy)) % 360).astype(np.float32)
    codes = horizon_angle(ground, np.zeros_like(ground), cell_size=5.0)
    track = sun_track(ground, season="ripening", latitude=latitude)
    return sunlight(codes, slope, aspect, track, season="ripening", convergence=turn)[
        :, 80, 80
    ]


@pytest.mark.parametrize("turn", [-90.0, -3.0, 4.5, 30.0, 180.0])
def test_a_turned_grid_gives_the_same_sun(turn):
    assert on_hill(turn) == pytest.approx(on_hill(0.0), rel=0.015)


def test_a_turn_the_wrong_way_would_show():
    y, x = np.mgrid[400:-401:-5, -400:401:5].astype(float)
    ground = hill(x, y).astype(np.float32)
    codes = horizon_angle(ground, np.zeros_like(ground), cell_size=5.0)
    track = sun_track(ground, season="ripening", latitude=55.0)
    slope, aspect = np.full_like(ground, 8.0), np.full_like(ground, 200.0)
    found = [
        sunlight(codes, slope, aspect, track, season="ripening", convergence=c)
        for c in (-30.0, 30.0)
    ]
    assert np.abs(found[0] - found[1])[1, 80, 80] > 0.3


def test_mirrored_ground_gets_the_same_sun_six_months_apart():
    # Source: geometry. The orbit makes 4 %; the sun of 1 March stands 0.7 degree
    # off that of 1 September mirrored, which single shaded cells feel more.
    random = np.random.default_rng(3)
    ground = random.normal(size=(60, 60)).cumsum(0).cumsum(1).astype(np.float32)
    ground *= 40 / np.abs(ground).max()
    zy, zx = np.gradient(ground, 10.0)
    slope = np.degrees(np.arctan(np.hypot(zx, zy))).astype(np.float32)
    aspect = (np.degrees(np.arctan2(-zx, zy)) % 360).astype(np.float32)

    def sums(mirrored: bool, season: str) -> NDArray[np.float32]:
        z, b, a = ground, slope, aspect
        if mirrored:
            z, b, a = z[::-1], b[::-1], (180 - a[::-1]) % 360
        codes = horizon_angle(z, np.zeros_like(z), cell_size=10.0)
        track = sun_track(z, season=season, latitude=-45.0 if mirrored else 45.0)
        return sunlight(codes, b, a, track, season=season, convergence=0.0)

    for season in ("growing", "ripening"):
        south, north = sums(True, season)[:, ::-1], sums(False, season)
        most = north.max(axis=(1, 2), keepdims=True)
        assert (np.abs(south - north) / most).max() <= 0.1
        assert south.mean(axis=(1, 2)) == pytest.approx(
            north.mean(axis=(1, 2)), rel=0.04
        )


def test_missing_ground_has_no_sun_and_level_ground_has():
    codes = np.zeros((8, 1, 3), np.uint8)
    codes[:, 0, 1] = MISSING
    slope = np.array([[0.0, 3.0, np.nan]], np.float32)
    aspect = np.array([[np.nan, 90.0, np.nan]], np.float32)
    track = sun_track(LEVEL_GROUND, season="growing", latitude=50.0)
    sums = sunlight(codes, slope, aspect, track, season="growing", convergence=0.0)
    assert np.isnan(sums).tolist() == [[[False, True, True]]] * 2


def test_ground_that_is_all_missing_still_has_a_sun():
    missing = np.full((2, 2), np.nan, np.float32)
    track = sun_track(missing, season="growing", latitude=50.0)
    assert np.isfinite(track).all()


# ---------------------------------------------------------------- the engine


def test_the_engine_makes_both_seasons_from_terrain_and_woodland():
    grid = Grid(CRS.from_epsg(32633), 500_000.0, 6_650_300.0, 5.0, (60, 80))
    rows = grid.shape[0]
    ground = np.repeat(np.linspace(130, 100, rows, dtype=np.float32)[:, None], 80, 1)
    canopy = np.zeros_like(ground)
    canopy[45:, 30:50] = 15.0
    given_layers = {
        "elevation": ground,
        "canopy_height": canopy,
        "slope": np.full_like(ground, 5.8),
        "aspect": np.full_like(ground, 180.0),
    }
    names = [
        f"{kind}_{season}"
        for kind in ("direct_irradiation", "sunshine_hours")
        for season in ("growing", "ripening")
    ]
    layers, absent = make_layers([*names, "sky_view_factor"], given_layers, grid)
    assert not absent
    assert not any(np.isnan(layers[name]).any() for name in layers)
    hours = layers["sunshine_hours_ripening"]
    assert hours.attrs["units"] == "h"
    assert hours.attrs["long_name"] == "sun hours a day, ripening"
    assert hours[42, 40] < hours[42, 5] - 2
    assert float(layers["sky_view_factor"][42, 40]) < 0.9
    assert {str(layers[n].dtype) for n in names} == {"float32"}


def test_the_layers_picked_are_those_of_the_stack():
    stack = np.arange(8, dtype=np.float32).reshape(2, 2, 2)
    assert (direct_irradiation(stack, season="growing") == stack[0]).all()
    assert (sunshine_hours(stack, season="growing") == stack[1]).all()


def test_steps_on_the_way_are_not_written():
    for name in ("horizon_angle", "sun_track_growing", "sunlight_ripening"):
        assert not CATALOGUE[name].written


def test_horizons_and_sun_need_little_memory():
    ground = np.random.default_rng(1).random((400, 500), dtype=np.float32)
    canopy = np.zeros_like(ground)
    track = sun_track(ground, season="growing", latitude=55.0, sun_step_minutes=60.0)
    tracemalloc.start()
    codes = horizon_angle(ground, canopy, cell_size=2.0)
    sky_view_factor(codes)
    sunlight(codes, canopy, ground, track, season="growing", convergence=0.0)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak / ground.size < 60
