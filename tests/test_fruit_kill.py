"""Share of flowers that frost kills: through both limits, never less later on."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sitekit.fruit import fruit_names, read_fruit
from sitekit.fruit.kill import (
    COLDEST,
    DEGREE,
    LAST_SHARE,
    SHARE,
    WARMEST,
    kill_share,
    make_kill_table,
    share_columns,
)

CASES = [
    (name, group.name)
    for name in fruit_names()
    for group in read_fruit(name).varieties.groups
]


def table_of(name, group=""):
    varieties = read_fruit(name).varieties
    return make_kill_table(varieties.stages_of(varieties.group(group)))


def look_up(table, temperature, share):
    row = round((temperature - COLDEST) / DEGREE)
    return float(table.killed[row, round(share / SHARE)])


def test_the_curve_passes_through_both_limits():
    for name in fruit_names():
        for stage in read_fruit(name).varieties.stages:
            limits = (stage.t10, stage.t90)
            assert kill_share(stage.t10, *limits) == pytest.approx(0.1, abs=1e-6)
            assert kill_share(stage.t90, *limits) == pytest.approx(0.9, abs=1e-6)


# Source: limits of apple at full bloom 28 and 25 F (Penn State Extension); the logistic
# through them, computed.
@pytest.mark.parametrize(
    ("temperature", "killed"),
    [(-2.0, 0.06), (-2.5, 0.19), (-3.0, 0.47), (-3.5, 0.76), (-4.0, 0.92)],
)
def test_apple_bloom_dies_as_the_curve_says(temperature, killed):
    assert kill_share(temperature, -2.2, -3.9) == pytest.approx(killed, abs=0.006)


def test_half_is_dead_midway_and_the_width_is_as_derived():
    assert kill_share(-3.05, -2.2, -3.9) == pytest.approx(0.5)
    below, above = kill_share(-3.05 - 0.3869, -2.2, -3.9), 1 / (1 + np.exp(-1))
    assert below == pytest.approx(above, abs=1e-4)


def test_curves_of_equal_upper_limits_cross_without_the_running_maximum():
    pink, bloom = kill_share(-1.5, -2.2, -4.4), kill_share(-1.5, -2.2, -3.9)
    assert pink == pytest.approx(0.027, abs=0.001)
    assert bloom == pytest.approx(0.018, abs=0.001)
    table = table_of("apple")
    assert look_up(table, -1.5, 1.0) == pytest.approx(pink, abs=1e-3)


@pytest.mark.parametrize(("name", "group"), CASES)
def test_kill_never_falls_along_the_stages_nor_towards_the_cold(name, group):
    killed = table_of(name, group).killed
    assert (np.diff(killed, axis=1) >= 0).all()
    assert (np.diff(killed, axis=0) <= 0).all()


@pytest.mark.parametrize("name", fruit_names())
def test_the_table_holds_the_limits_of_the_stages(name):
    varieties = read_fruit(name).varieties
    table = table_of(name)
    for stage in varieties.stages_of(varieties.group()):
        assert look_up(table, stage.t90, stage.share) == pytest.approx(0.9, abs=0.03)
        assert look_up(table, stage.t10, stage.share) == pytest.approx(0.1, abs=0.06)


def test_nothing_dies_before_the_first_stage():
    table = table_of("apple")
    assert look_up(table, -15.0, table.first_share - 2 * SHARE) == 0
    assert look_up(table, -15.0, table.first_share) > 0.5


def test_limits_after_bloom_hold_to_the_end():
    table = table_of("plum")
    np.testing.assert_array_equal(table.killed[:, 125], table.killed[:, -1])


def test_limits_lie_on_the_line_between_two_stages():
    table = table_of("apple")
    green, half = (-7.8, -12.2), (-5.0, -9.4)
    middle = kill_share(-8.0, (green[0] + half[0]) / 2, (green[1] + half[1]) / 2)
    between = (look_up(table, -8.0, 0.42) + look_up(table, -8.0, 0.43)) / 2
    assert between == pytest.approx(float(middle), abs=0.02)


def test_the_warmest_row_kills_nothing():
    assert (table_of("apple").killed[-1] == 0).all()
    assert round((WARMEST - COLDEST) / DEGREE) + 1 == table_of("apple").killed.shape[0]
    # What is left out there is not worth counting.
    assert kill_share(WARMEST, -2.2, -3.9) < 0.001


@given(st.floats(0, 2000), st.floats(100, 400))
def test_columns_of_a_heat_sum_stay_within_the_table(heat, full):
    column = share_columns(np.float32([heat]), full)[0]
    assert 0 <= column <= round(LAST_SHARE / SHARE)
    if heat < full * LAST_SHARE:
        assert column * SHARE == pytest.approx(heat / full, abs=SHARE)
