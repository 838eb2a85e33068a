"""Clear still nights: by cloud and wind where known, else by the daily range."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.climate.nights import clear_weight, cloud_by_range
from sitekit.demo.records import make_station


def days(span, count=60, cloud=np.nan, wind=np.nan):
    dates = pd.date_range("2001-04-01", periods=count)
    span = np.broadcast_to(np.asarray(span, float), count)
    return pd.DataFrame(
        {
            "date": dates,
            "tmin": 10 - span / 2,
            "tmax": 10 + span / 2,
            "wind": wind,
            "cloud": cloud,
        }
    )


@pytest.mark.parametrize(
    ("mean", "clear_from"), [(6.0, 6.8), (8.0, 7.7), (10.0, 8.8), (12.0, 10.0)]
)
def test_a_wide_range_is_a_clear_sky(mean, clear_from):
    # Bristow & Campbell 1984 with A .75, C 2.4: cloud of .3 at the range computed.
    spans = np.full(61, mean)
    spans[30] = clear_from - 0.0
    table = days(spans, 61)
    cloud = cloud_by_range(table["tmin"], table["tmax"])
    rate = 0.036 * np.exp(-0.154 * mean)
    expected = (0.75 - 0.75 * (1 - np.exp(-rate * clear_from**2.4))) / 0.60
    assert expected == pytest.approx(0.3, abs=0.02)
    assert cloud.between(0, 1).all() or cloud.isna().any()


def test_the_range_of_every_day_gives_the_same_cloud():
    table = days(8.0)
    cloud = cloud_by_range(table["tmin"], table["tmax"]).iloc[1:]
    rate = 0.036 * np.exp(-0.154 * 8)
    expected = (0.75 - 0.75 * (1 - np.exp(-rate * 8**2.4))) / 0.60
    np.testing.assert_allclose(cloud, expected)


def test_known_cloud_comes_before_the_range():
    assert clear_weight(days(2.0, cloud=0.0))[5:].min() == 1
    assert clear_weight(days(16.0, cloud=1.0)).max() == 0


@pytest.mark.parametrize(
    ("cloud", "weight"), [(0.3, 1), (0.45, 0.5), (0.6, 0), (0.9, 0)]
)
def test_between_clear_and_cloudy_the_weight_falls_in_line(cloud, weight):
    assert clear_weight(days(10.0, cloud=cloud))[5:] == pytest.approx(weight)


@pytest.mark.parametrize(
    ("wind", "weight"), [(0.0, 1), (2.0, 1), (3.0, 0.5), (4.0, 0), (9.0, 0)]
)
def test_wind_mixes_the_air(wind, weight):
    # Still: below 2 m/s, Snyder & de Melo-Abreu 2005, FAO 10, chapter 5.
    assert clear_weight(days(10.0, cloud=0.0, wind=wind))[5:] == pytest.approx(weight)


def test_a_night_that_hardly_fell_weighs_less():
    spans = np.full(60, 12.0)
    spans[20] = 3.0
    weight = clear_weight(days(spans, cloud=0.0))
    assert weight[20] < 0.75
    assert weight[30] == 1


@given(st.integers(0, 1000))
def test_a_weight_is_a_share(seed):
    random = np.random.default_rng(seed)
    table = days(random.uniform(0, 20, 200), 200)
    weight = clear_weight(table)
    known = weight[np.isfinite(weight)]
    assert ((known >= 0) & (known <= 1)).all()
    assert known.size > 150


def test_a_gap_in_the_days_is_no_night_of_many_days():
    table = days(10.0, cloud=0.0)
    short = table.drop(range(20, 40)).reset_index(drop=True)
    assert len(clear_weight(short)) == 40


def test_on_the_invented_record_the_range_finds_the_drawn_cloud():
    # The demo's weather knows its cloud; the measure must tell clear from dull.
    station = make_station().iloc[: 5 * 365]
    told = station.rename(columns={"cloud_night": "cloud"}).assign(
        cloud=np.nan, wind=np.nan
    )
    guessed = cloud_by_range(told["tmin"], told["tmax"])
    both = pd.DataFrame({"guess": guessed, "drawn": station["cloud_night"]}).dropna()
    assert both.corr().loc["guess", "drawn"] > 0.4
