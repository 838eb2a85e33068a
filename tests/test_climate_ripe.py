"""Ripening and winter of places, from the years of a record."""

import numpy as np
import pytest

from sitekit.climate.crops import make_kind
from sitekit.climate.ripe import count_ripe_years, find_winter
from sitekit.climate.springs import Springs
from sitekit.fruit import read_fruit
from sitekit.fruit.winter import gumbel_factor

APPLE, PEAR = read_fruit("apple"), read_fruit("pear")
HERE = tuple(np.zeros(1) for _ in range(3))


def springs_of(mean, swing, years=8, half=5.0, spread=1.0):
    """Made sinusoidal years, each a little warmer or colder."""
    random = np.random.default_rng(5)
    day = np.arange(366)
    middle = mean + swing * np.cos(2 * np.pi * (day + 1 - 200) / 365)
    middle = middle + random.normal(0, spread, (years, 1))
    middle = (middle + random.normal(0, 2, (years, 366))).astype(np.float32)
    soft = ((day >= 273) & (day < 334)) | ((day >= 59) & (day < 104))
    return Springs(
        years=np.arange(2001, 2001 + years),
        lowest=middle - half,
        highest=middle + half,
        clear=np.full((years, 366), 0.5, np.float32),
        starts=np.array([f"{2001 + i}-01-01" for i in range(years)], "datetime64[D]"),
        first=np.full(years, 59),
        split=np.full(years, 204),
        season=np.tile([90, 304], (years, 1)),
        soft=np.tile(soft, (years, 1)),
        winters=np.empty((0, 24)),
    )


LAKE, INLAND, VALLEY = (
    springs_of(5.52, 10.89),
    springs_of(3.06, 12.32),
    springs_of(10.0, 9.9),
)


def ripe(springs, fruit, group, shift=(0.0, 0.0, 0.0)):
    points = tuple(np.array([s]) for s in shift)
    return count_ripe_years(springs, [make_kind(fruit, group=group)], points)[:, 0]


@pytest.mark.parametrize("springs", [LAKE, INLAND])
def test_northern_years_refuse_storing_pears_and_late_keepers(springs):
    assert ripe(springs, PEAR, "storing")[0] < 2
    assert ripe(springs, APPLE, "late keeper")[0] < 2


def test_a_valley_further_south_ripens_them():
    assert ripe(VALLEY, APPLE, "storing")[0] > 8


def test_groups_are_counted_side_by_side_as_alone():
    kinds = [make_kind(APPLE, group=g) for g in ("early", "storing")]
    together = count_ripe_years(LAKE, kinds, HERE)
    alone = [ripe(LAKE, APPLE, g) for g in ("early", "storing")]
    np.testing.assert_allclose(together[:, 0], np.concatenate(alone))


def test_a_warmer_slope_ripens_oftener():
    years = [ripe(LAKE, APPLE, "storing", (0.0, 0.0, w))[0] for w in (-1, 0, 1, 2)]
    assert years == sorted(years)
    assert years[-1] > years[0]


def test_nights_of_frost_take_days_and_not_warmth():
    here = ripe(VALLEY, APPLE, "late keeper")
    hollow = ripe(VALLEY, APPLE, "late keeper", (-8.0, 0.0, 0.0))
    assert hollow[1] == here[1]
    assert hollow[2] < here[2]
    assert hollow[3] < here[3]


def test_coldest_nights_are_those_of_gumbel_at_the_station():
    ten, thirty, soft, week = find_winter(LAKE, HERE[:2])[:, 0]
    yearly = LAKE.lowest.min(axis=1).astype(float)
    expected = yearly.mean() - gumbel_factor(30) * yearly.std(ddof=1)
    assert thirty == pytest.approx(expected, abs=1e-3)
    assert thirty < ten < soft
    assert week > thirty


def test_a_hollow_is_colder_in_winter_by_its_offset_on_clear_nights():
    points = (np.array([0.0, -4.0, 0.0]), np.array([0.0, 0.0, -1.0]))
    found = find_winter(LAKE, points)
    # Every made night is half a clear one.
    assert found[1, 1] - found[1, 0] == pytest.approx(-2, abs=1e-3)
    assert found[1, 2] - found[1, 0] == pytest.approx(-0.5, abs=1e-3)
    assert found[3, 2] - found[3, 0] == pytest.approx(-1, abs=1e-3)


def test_one_year_tells_nothing_of_winters():
    assert np.isnan(find_winter(springs_of(5.5, 10.9, years=1), HERE[:2])).all()


def test_a_year_without_its_winter_says_nothing_of_winters():
    lowest = LAKE.lowest.copy()
    lowest[0, :60] = np.nan
    gaps = Springs(**{**vars(LAKE), "lowest": lowest})
    fewer = Springs(
        **{n: v[1:] for n, v in vars(LAKE).items() if n != "winters"},
        winters=LAKE.winters,
    )
    np.testing.assert_array_equal(
        find_winter(gaps, HERE[:2]), find_winter(fewer, HERE[:2])
    )


def test_a_gap_is_no_cold_night():
    lowest = LAKE.lowest.copy()
    lowest[:, 200:205] = np.nan
    gaps = Springs(**{**vars(LAKE), "lowest": lowest})
    np.testing.assert_array_equal(
        find_winter(gaps, HERE[:2])[:3], find_winter(LAKE, HERE[:2])[:3]
    )
