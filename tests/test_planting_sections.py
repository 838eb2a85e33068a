"""Need, limits and prices, moved one at a time: what each must do to a tree."""

import pytest

from sitekit.fruit import read_fruit
from sitekit.planting.edges import compare_edges
from sitekit.planting.materials import (
    Kind,
    days_first,
    days_keep,
    guard_height,
    guard_mesh,
    keep_mulch,
    money_first,
    money_keep,
    price_fence,
)
from sitekit.planting.mulch import Shape, mulch_of
from sitekit.planting.need import find_crop, keeping_months, mean_crop, picked
from sitekit.planting.terms import EDGES, Limits, Need, Prices

KIND = Kind(
    bush=False, fenced=False, shape=Shape("strip", 6.0, 8.0), loosened=True, mound=True
)
BUSH = Kind(bush=True, fenced=False, shape=Shape("strip", 2.0, 3.0))
LIMITS, PRICES = Limits(), Prices()


@pytest.mark.parametrize(
    ("price", "times"),
    [
        ("tree", 1.0),
        ("guard", 1.0),
        ("stake", 1.0),
        ("mound", 1.0),
        ("loosening_m2", 4.0),
        ("cardboard_m2", 6.0),
        ("mulch_m3", 0.4 * 6.0),
        ("water_m3", 0.16),
    ],
)
def test_a_price_counts_as_often_as_a_tree_takes_it(price, times):
    more = Prices(**{price: getattr(PRICES, price) + 10.0})
    added = money_first(KIND, LIMITS, more) - money_first(KIND, LIMITS, PRICES)
    assert added == pytest.approx(10.0 * times)


@pytest.mark.parametrize("price", ["tree", "guard", "stake", "fence_m"])
def test_a_bush_pays_for_nothing_that_it_does_not_get(price):
    more = Prices(**{price: 500.0})
    assert money_first(BUSH, LIMITS, more) == money_first(BUSH, LIMITS, PRICES)


@pytest.mark.parametrize(
    ("rate", "first", "later"),
    [
        ("days_tree", 1.0, 0.0),
        ("days_mulch_m3", 2.4, 0.8),
        ("days_care", 0.0, 1.0),
        ("days_fence_m", 0.0, 0.0),
    ],
)
def test_a_rate_of_work_counts_in_its_year(rate, first, later):
    more = Prices(**{rate: getattr(PRICES, rate) + 1.0})
    added = days_first(KIND, LIMITS, more) - days_first(KIND, LIMITS, PRICES)
    kept = days_keep(KIND, LIMITS, more) - days_keep(KIND, LIMITS, PRICES)
    assert (added, kept) == (pytest.approx(first), pytest.approx(later))


def test_a_day_that_is_paid_costs_its_work():
    paid = Prices(day=100.0)
    work = days_first(KIND, LIMITS, paid)
    added = money_first(KIND, LIMITS, paid) - money_first(KIND, LIMITS, PRICES)
    assert added == pytest.approx(100 * work)
    kept = money_keep(KIND, LIMITS, paid) - money_keep(KIND, LIMITS, PRICES)
    assert kept == pytest.approx(100 * days_keep(KIND, LIMITS, paid))


@pytest.mark.parametrize("edge", EDGES)
def test_an_edge_that_holds_more_keeps_more_mulch(edge):
    limits = Limits(edge=edge, grass_creep_m=0.2)
    held = PRICES.edge_holds[edge]
    lost = 0.4 * 0.2 * (1 - held) * 8.0
    kept = keep_mulch(KIND.shape, limits, PRICES)
    assert kept == pytest.approx(0.8 + lost)


@pytest.mark.parametrize("edge", EDGES)
def test_an_edge_costs_its_price_at_first_and_its_wear_later(edge):
    limits = Limits(edge=edge)
    none = Limits(edge="none")
    first = money_first(KIND, limits, PRICES) - money_first(KIND, none, PRICES)
    assert first == pytest.approx(8.0 * PRICES.edge_price[edge])
    later = money_keep(KIND, limits, PRICES)
    assert later == pytest.approx(8 * PRICES.edge_price[edge] / PRICES.edge_years[edge])


@pytest.mark.parametrize("edge", EDGES[1:])
def test_a_better_edge_pays_back_sooner(edge):
    limits = Limits(grass_creep_m=1.0)
    long = {**PRICES.edge_years, edge: 1000.0}
    back = []
    for holds in (0.4, 0.8):
        prices = Prices(
            edge_holds={**PRICES.edge_holds, edge: holds},
            edge_price={**PRICES.edge_price, edge: 5.0},
            edge_years=long,
        )
        table = compare_edges(10.0, limits, prices).set_index("edge")
        back.append(table.loc[edge, "pays_back_years"])
    assert back[1] == pytest.approx(back[0] / 2)


@pytest.mark.parametrize("snow", [0.0, 0.3, 0.8, 1.5])
def test_more_snow_takes_higher_guards_and_more_mesh(snow):
    limits = Limits(snow_m=snow)
    assert guard_height(limits) == pytest.approx(snow + 0.5)
    assert guard_mesh(limits) > guard_mesh(Limits(snow_m=0.0)) - 1e-9


@pytest.mark.parametrize("months", [12.0, 18.0, 36.0])
def test_mulch_that_is_spent_sooner_takes_more_a_year(months):
    limits = Limits(mulch_months=months)
    assert mulch_of(limits).hold == pytest.approx(0.4 * 12 / months)
    assert mulch_of(limits).half_life < mulch_of(Limits(mulch_months=48)).half_life


@pytest.mark.parametrize("corners", [3, 4, 6])
def test_corners_of_a_fence_are_paid_and_take_the_place_of_posts(corners):
    prices = Prices(fence_corner=20.0)
    fence = price_fence(1, 120.0, corners, LIMITS, prices)
    assert fence.posts == 30 - corners
    free = price_fence(1, 120.0, corners, LIMITS, PRICES)
    assert fence.money - free.money == pytest.approx(20 * corners)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.6])
def test_what_is_lost_must_be_picked_besides(share):
    for use, key in (
        ("fresh", "cull"),
        ("stored", "storage_loss"),
        ("juice", "juice_loss"),
        ("dried", "drying_loss"),
    ):
        none = picked(90, use, Need(**{key: 0.0}))
        assert picked(90, use, Need(**{key: share})) == pytest.approx(
            none / (1 - share)
        )


@pytest.mark.parametrize("name", ["apple", "pear", "plum", "sour_cherry"])
def test_a_place_that_is_proven_needs_half_the_trees(name):
    fruit = read_fruit(name)
    cool, proven = (mean_crop(fruit, Need(cool_site=s)) for s in (0.5, 1.0))
    assert proven == 2 * cool


@pytest.mark.parametrize("takes", [0.0, 0.5, 1.0])
def test_poor_years_count_by_what_they_take(takes):
    need = Need(bad_year_takes=takes, on_off=0.0)
    crop = find_crop(10.0, 4, need)
    assert crop.usual == pytest.approx(10 * (1 - 0.4 * takes))
    assert crop.bad == pytest.approx(10 * (1 - takes))


@pytest.mark.parametrize("cellar", [0.0, 2.0, 6.0, 12.0])
def test_every_group_keeps_shorter_in_a_warmer_cellar(cellar):
    for group in ("early", "autumn", "storing", "late keeper", "middle"):
        warmer = keeping_months(group, cellar + 4)
        assert warmer == pytest.approx(keeping_months(group, cellar) / 2)
