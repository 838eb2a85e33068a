"""Partners of pollination by the days on which both are in flower at the spot."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.fruit import fruit_names, read_fruit
from sitekit.fruit.pollination import find_partners, open_days, shared_days

DAYS = np.arange(200)
#: Two springs of eight and of five degree days a day from day 60.
SUMS = np.stack([np.maximum(DAYS - 60, 0) * rate for rate in (8.0, 5.0)]).astype(
    np.float32
)


def test_flowers_are_open_from_the_first_to_petal_fall():
    opens, falls = open_days(SUMS, 240.0)
    assert opens.tolist() == [60 + 27, 60 + 44]
    assert falls.tolist() == [60 + 38, 60 + 60]
    # Source: Meland 2017, Acta Hort. 1162: sweet cherry ends about 14 d after first.
    assert (falls - opens).tolist() == [pytest.approx(14, abs=4)] * 2


def test_a_group_shares_all_its_days_with_itself():
    opens, falls = open_days(SUMS, 263.0)
    assert shared_days(SUMS, 263.0, 263.0).tolist() == (falls - opens).tolist()


def test_kinds_that_never_meet_share_none():
    assert shared_days(SUMS, 147.0, 300.0).tolist() == [0, 0]


def test_a_slow_spring_keeps_flowers_together_longer():
    quick, slow = shared_days(SUMS, 263.0, 300.0)
    assert 0 < quick < slow


@given(st.floats(150, 300), st.floats(150, 300))
def test_sharing_is_mutual_and_never_more_than_either_is_open(one, other):
    there, back = shared_days(SUMS, one, other), shared_days(SUMS, other, one)
    np.testing.assert_array_equal(there, back)
    opens, falls = open_days(SUMS, one)
    assert (there <= falls - opens).all()


def test_early_and_late_apples_may_meet_too_briefly():
    apple = read_fruit("apple").varieties
    partners = find_partners(apple, apple.group("late-blooming storing"), SUMS)
    assert "late-blooming autumn" in partners
    quick = find_partners(apple, apple.group("late-blooming storing"), 3 * SUMS[:1])
    assert "late-blooming autumn" in quick
    assert "early" not in quick
    assert set(quick) < set(partners)


@pytest.mark.parametrize("name", fruit_names())
def test_a_second_kind_of_the_same_group_is_always_a_partner(name):
    varieties = read_fruit(name).varieties
    for group in varieties.groups:
        assert group.name in find_partners(varieties, group, SUMS)


def test_own_notes_move_all_groups_alike():
    pear = read_fruit("pear").varieties
    moved = replace(
        pear,
        groups=tuple(replace(g, bloom_sum=0.9 * g.bloom_sum) for g in pear.groups),
    )
    by_factor = find_partners(pear, pear.groups[0], SUMS, factor=0.9)
    assert by_factor == find_partners(moved, moved.groups[0], SUMS)
