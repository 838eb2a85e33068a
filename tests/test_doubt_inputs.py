"""Ranges of the inputs that nobody has measured."""

import numpy as np
import pytest
from scipy.stats import norm

from sitekit.doubt import inputs
from sitekit.doubt.inputs import END_WEIGHT, TO_END, UNSURE, Unsure
from sitekit.layers.catalogue import all_settings

#: Inputs that are no setting: how they are changed stands in `sitekit.doubt.nights`.
OWN_WAY = {"background", "drag", "openness"}
NAMES = [each.name for each in UNSURE]


def test_a_range_of_90_percent_ends_at_1_645_standard_deviations():
    assert norm.cdf(TO_END) - norm.cdf(-TO_END) == pytest.approx(0.9, abs=1e-4)


def test_each_input_is_named_once():
    assert len(NAMES) == len(set(NAMES))


@pytest.mark.parametrize("name", [n for n in NAMES if n not in OWN_WAY])
def test_an_input_is_a_setting_that_a_user_may_change(name):
    assert name in all_settings()


@pytest.mark.parametrize("each", UNSURE, ids=NAMES)
def test_the_default_lies_inside_its_range(each):
    middle = all_settings()[each.name][0] if each.name not in OWN_WAY else 1.0
    low, high = each.ends(middle)
    assert low < middle < high


@pytest.mark.parametrize("each", UNSURE, ids=NAMES)
def test_each_range_says_where_it_comes_from(each):
    assert each.source


def test_a_factor_spreads_alike_to_both_sides_on_the_logarithm():
    low, high = Unsure("production", inputs.AIR, factor=3.0).ends(2.0)
    assert np.log(2.0 / low) == pytest.approx(np.log(high / 2.0))


def test_what_is_added_never_goes_below_nothing():
    assert Unsure("night_lapse", inputs.LAPSE, added=0.5).ends(0.2) == (0.0, 0.7)


@pytest.mark.parametrize("slope", [0.3, -2.0])
def test_two_ends_have_the_variance_of_a_straight_line(slope):
    # Source: the variance of a x is a² for a standard normal x.
    ends = slope * np.array([-TO_END, TO_END])
    assert END_WEIGHT * (ends**2).sum() == pytest.approx(slope**2)


def test_two_ends_come_near_to_the_variance_of_a_log_normal():
    # Source: the mean square of exp(s x) - 1 for a standard normal x is
    # exp(2 s²) - 2 exp(s²/2) + 1.
    s = np.log(2.2) / TO_END
    ends = np.exp(s * np.array([-TO_END, TO_END])) - 1
    wanted = np.exp(2 * s**2) - 2 * np.exp(s**2 / 2) + 1
    assert END_WEIGHT * (ends**2).sum() == pytest.approx(wanted, rel=0.15)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        # Source of the ranges: 10 to 12 m³ m⁻² h⁻¹ of cold air in all (Städtebauliche
        # Klimafibel 6.2.1), of which a shallow share was set by judgement.
        ("production", 0.7, 6.0),
        # Source: Shaw 2001, the wind that breaks a strong inversion.
        ("stream_speed", 1.06, 2.72),
        # Source: Minder et al. 2010, lapse of minima; 1 to 5 degC/km around it.
        ("night_lapse", 0.001, 0.005),
        # Source: Groot & Carlson 1996, Can. J. For. Res. 26.
        ("sky_effect", 2.0, 6.0),
    ],
)
def test_ranges_are_those_that_were_published_or_set(name, low, high):
    each = next(u for u in UNSURE if u.name == name)
    found = each.ends(all_settings()[name][0])
    assert found == pytest.approx((low, high), rel=0.03)


def test_the_strength_of_low_ground_is_the_widest_of_those_that_only_scale():
    scales = {u.name: u.factor for u in UNSURE if u.group == inputs.BACKGROUND}
    assert max(scales, key=scales.__getitem__) == "background"


def test_openness_that_was_guessed_is_less_sure_than_openness_that_was_drawn():
    openness = next(u for u in UNSURE if u.name == "openness")
    assert 0.3 * openness.factor - 0.3 > openness.added
