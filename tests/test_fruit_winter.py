"""Winter: nights of ten and thirty years, classes of hardiness, roots under cover."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import gumbel_l

from sitekit.fruit.winter import (
    BUDS,
    HARDINESS,
    ROOTS,
    SOFT,
    STANDS,
    WINTER_WORDS,
    WOOD,
    WinterNights,
    coldest_in,
    gumbel_factor,
    judge_winter,
    root_temperature,
)


def nights(thirty, ten=None, soft=0.0, root=0.0):
    ten = thirty + 3 if ten is None else ten
    return WinterNights(
        *(np.atleast_1d(np.float32(v)) for v in (ten, thirty, soft, root))
    )


@pytest.mark.parametrize("years", [2, 10, 20, 30, 40, 100])
def test_the_factor_is_that_of_scipy(years):
    # Reference: the least of a year by a left Gumbel of unit spread.
    scale = np.sqrt(6) / np.pi
    expected = gumbel_l(loc=np.euler_gamma * scale, scale=scale).ppf(1 / years)
    assert gumbel_factor(years) == pytest.approx(-expected, abs=1e-9)


def test_the_coldest_night_lies_the_factor_below_the_mean():
    yearly = np.array([[-20.0, -22.0, -24.0], [-10.0, -10.0, -10.0]])
    assert coldest_in(yearly, 30).tolist() == [
        pytest.approx(-22 - 2.189 * 2, abs=1e-3),
        -10,
    ]


def test_a_long_made_record_gives_back_its_thirty_year_night():
    random = np.random.default_rng(4)
    yearly = gumbel_l(loc=-20, scale=3).rvs(4000, random_state=random)
    expected = gumbel_l(loc=-20, scale=3).ppf(1 / 30)
    assert coldest_in(yearly, 30) == pytest.approx(expected, abs=0.4)


def test_classes_rise_from_least_to_most_hardy():
    assert list(HARDINESS) == ["H1", "H2", "H3", "H4", "H5"]
    for before, after in pairwise(HARDINESS.values()):
        assert after.wood < before.wood
        assert after.bud < before.bud
        assert after.root < before.root
    for stands in HARDINESS.values():
        assert stands.wood < stands.bud < stands.root


# Source: Quamme 1976, Can. J. Plant Sci. 56:493: hardened apple wood is hurt at -35 to
# -40, pear at -30 to -35; Krasova 2020: hardy apples -40. Moran 2011, HortScience
# 46:1460: half of apple roots die at -8 to -19.
def test_classes_lie_within_published_limits():
    assert HARDINESS["H4"].wood >= -40
    assert HARDINESS["H5"].wood == -40
    assert -35 <= HARDINESS["H3"].wood <= -30
    assert all(-19 <= h.root <= -8 for h in HARDINESS.values())


@pytest.mark.parametrize(
    ("there", "code"),
    [
        (nights(-20.0), STANDS),
        (nights(-31.0, ten=-28.5), BUDS),
        (nights(-33.0), WOOD),
        (nights(-25.0, root=-26.0), ROOTS),
        (nights(-25.0, soft=-21.0), SOFT),
        (nights(-33.0, soft=-21.0), WOOD),
    ],
)
def test_wood_goes_by_thirty_years_and_buds_by_ten(there, code):
    assert judge_winter(there, "H3").tolist() == [code]


def test_wood_in_autumn_and_after_a_thaw_stands_twelve_degrees_less():
    # Source: Krasova 2020: -40 hardened, -25 thawed, -30 hardened again.
    assert judge_winter(nights(-25.0, soft=-27.0), "H5").tolist() == [STANDS]
    assert judge_winter(nights(-25.0, soft=-28.0), "H5").tolist() == [SOFT]


def test_mulch_and_snow_keep_roots():
    week = nights(-27.0, root=-30.0)
    assert judge_winter(week, "H3", "bare").tolist() == [ROOTS]
    assert judge_winter(week, "H3", "mulch").tolist() == [STANDS]
    temperatures = [
        float(root_temperature(-20.0, c)) for c in ("bare", "mulch", "snow")
    ]
    assert temperatures == pytest.approx([-10.0, -7.0, -3.0])


@given(st.floats(-45, 0), st.floats(0, 8), st.floats(-35, 0), st.floats(-35, 0))
def test_a_hardier_class_never_dies_first(thirty, less, soft, root):
    there = nights(thirty, thirty + less, soft, root)
    codes = [judge_winter(there, h)[0] for h in HARDINESS]
    worst = [code >= SOFT for code in codes]
    assert worst == sorted(worst, reverse=True)
    assert sorted(codes, reverse=True) == codes


@given(st.floats(-45, 0), st.floats(0, 20))
def test_a_colder_place_is_never_kinder(thirty, colder):
    for hardiness in HARDINESS:
        here = judge_winter(nights(thirty), hardiness)[0]
        assert judge_winter(nights(thirty - colder), hardiness)[0] >= here


def test_every_code_has_its_words():
    assert len(WINTER_WORDS) == WOOD + 1
    assert "thirty" in WINTER_WORDS[WOOD]
    assert "thaw" in WINTER_WORDS[SOFT]
    assert "mulch" in WINTER_WORDS[ROOTS]
