"""Nights, bloom, air and water through the year where no record tells them."""

import numpy as np
import pandas as pd
import pytest
from pvlib.solarposition import sun_rise_set_transit_spa

from sitekit.layers import season
from sitekit.layers.night import night_length

#: Latitude, date, length of the night [h] and strength against one of 9 h.
#: Source of the strength: cooling goes with the root of time (Snyder & de Melo-Abreu
#: 2005, FAO ENRS 10, ch. 5).
NIGHTS = [(46.3, "2026-04-25", 10.0, 1.05), (60.0, "2026-05-15", 6.9, 0.87)]


@pytest.mark.parametrize(("latitude", "date", "hours", "strength"), NIGHTS)
def test_the_nights_of_bloom_have_their_length_and_strength(
    latitude, date, hours, strength
):
    day = pd.Timestamp(date).day_of_year
    found = season.night_hours(latitude, day)
    assert found == pytest.approx(hours, abs=0.15)
    assert season.night_strength(found) == pytest.approx(strength, abs=0.01)


@pytest.mark.parametrize("latitude", [60.0, 46.3, 35.9, 10.0, -45.4])
@pytest.mark.parametrize("month", range(1, 13))
def test_nights_are_as_long_as_by_the_solar_position_algorithm(latitude, month):
    # Source: Reda & Andreas 2004, Solar Energy 76 (as in pvlib).
    day = pd.DatetimeIndex([f"2026-{month:02d}-21"]).tz_localize("UTC")
    times = sun_rise_set_transit_spa(day, latitude, 0.0)
    light = (times["sunset"] - times["sunrise"]).dt.total_seconds().iloc[0] / 3600
    found = season.night_hours(latitude, day.day_of_year[0])
    assert found == pytest.approx(24 - light, abs=0.12)


def test_polar_days_still_count_two_hours_and_polar_nights_the_whole_day():
    assert season.night_hours(75.0, 172) == 2.0
    assert season.night_hours(75.0, 355) == pytest.approx(24.0)


def test_an_hour_of_nine_cools_a_third_as_much():
    # The root of time: Snyder & de Melo-Abreu 2005, FAO ENRS 10, ch. 5.
    assert season.night_strength(9.0) == 1.0
    assert season.night_strength(1.0) == pytest.approx(1 / 3)


@pytest.mark.parametrize("latitude", [30.0, 46.3, 60.0])
def test_bloom_comes_half_a_year_later_in_the_south(latitude):
    north, south = season.bloom_day(latitude), season.bloom_day(-latitude)
    assert (south - north) % season.YEAR == pytest.approx(season.HALF_YEAR, abs=0.5)
    # The night of bloom is as long there as here.
    here = season.night_hours(latitude, north)
    assert season.night_hours(-latitude, south) == pytest.approx(here, abs=0.25)


def test_bloom_comes_later_towards_the_pole_and_stays_in_spring():
    # Common practice, no source: 25 April at 46.3° N, 15 May at 60° N.
    days = [season.bloom_day(latitude) for latitude in (5, 35, 46.3, 60, 89)]
    assert days == sorted(days)
    assert (round(days[2]), round(days[3])) == (115, 135)
    assert (days[0], days[-1]) == (60.0, 165.0)


def test_the_standard_night_is_that_of_bloom_unless_told_otherwise():
    at_bloom = season.night_hours(46.3, 115)
    assert night_length(latitude=46.3) == pytest.approx(at_bloom, abs=0.01)
    other = night_length(latitude=46.3, bloom_date=150.0)
    assert other == pytest.approx(season.night_hours(46.3, 150))
    assert other < at_bloom
    assert night_length(latitude=46.3, bloom_date=150.0, night_hours=13.3) == 13.3
    assert night_length(latitude=46.3, night_hours=0.5) == 2.0


@pytest.mark.parametrize(("depth", "days"), [(2.7, 6), (8.0, 17), (14.0, 25)])
def test_water_follows_the_air_by_its_depth(depth, days):
    # Own estimate: 2.2 days for each metre, at most 12 m.
    time, share, delay = season.lag_of_water(depth)
    assert round(delay) == days
    assert time == pytest.approx(2.2 * min(depth, 12))
    assert 0.7 < share < 1


def test_deeper_water_swings_less_and_later():
    shares = [season.lag_of_water(depth)[1] for depth in (1, 3, 6, 12)]
    delays = [season.lag_of_water(depth)[2] for depth in (1, 3, 6, 12)]
    assert shares == sorted(shares, reverse=True)
    assert delays == sorted(delays)
    assert season.lag_of_water(200.0) == season.lag_of_water(12.0)


def test_water_given_by_its_lag_solves_the_balance_of_a_mixed_layer():
    # A layer that relaxes to the air with time t: dT/dt = (air - T) / t.
    time, share, delay = season.lag_of_water(8.0)
    days = np.arange(0.0, 365.0)

    def water(at):
        return season.air_on(at - delay, 8.0, 10.0 * share, 46.3)

    slope = (water(days + 0.5) - water(days - 0.5)) / 1.0
    balance = (season.air_on(days, 8.0, 10.0, 46.3) - water(days)) / time
    assert slope == pytest.approx(balance, abs=1e-4)


def test_the_air_is_warmest_in_july_north_and_in_january_south():
    days = np.arange(1.0, 366.0)
    assert days[np.argmax(season.air_on(days, 8, 10, 46.3))] == 200
    assert days[np.argmax(season.air_on(days, 8, 10, -46.3))] == pytest.approx(
        17, abs=1
    )


def test_the_air_is_colder_with_height_and_latitude():
    # Source of the fall with height: 6.5 degC/km, standard atmosphere (ISO 2533).
    low, high = season.air_of_year(46.3, 0.0), season.air_of_year(46.3, 1000.0)
    assert low[0] - high[0] == pytest.approx(6.5)
    assert low[1] == high[1]
    assert season.air_of_year(60.0, 0.0)[0] < low[0]
    assert season.air_of_year(-46.3, 0.0) == low


def test_ice_stays_longer_towards_the_pole():
    # Own estimate after break-up dates of northern lakes.
    assert season.melt_delay(50.0) == 30.0
    assert season.melt_delay(70.0) == 45.0
    assert season.melt_delay(-60.0) == season.melt_delay(60.0)
    assert season.melt_delay(10.0) == 10.0
