"""The table of fruit and block: every group, its years, and the reason in a sentence."""

import numpy as np
import pandas as pd
import pytest

from sitekit.climate.crops import crop_by_year, make_kind
from sitekit.climate.describing import describe_groups, describe_years, tell_halves
from sitekit.climate.fruiting import Shifts
from sitekit.climate.springs import Springs
from sitekit.climate.telling import (
    UNKNOWN_WINTER,
    tell_chill,
    tell_poor_crops,
    tell_ripening,
    tell_winter,
)
from sitekit.fruit import parse_fruit, read_fruit
from sitekit.fruit.winter import ROOTS, STANDS
from sitekit.words import SITE_CLASSES

COLUMNS = [
    "block",
    "fruit",
    "group",
    "site_class",
    "poor_crop_years",
    "low",
    "high",
    "ripening",
    "winter",
    "reason",
]
PLAIN = """
name = "medlar"
spacing_m = 3
row_spacing_m = 4
[[factor]]
layer = "slope"
curve = "falling"
points = [10, 20]
lack = "with conditions"
say = "the slope is {value}"
"""
FRUITS = [read_fruit("plum"), read_fruit("apple"), parse_fruit(PLAIN, "medlar.toml")]
NEVER = ("safe", "allowed", "frost-free", "guaranteed", "optimal")


def made_springs(mean=9.5, swing=9.5, winters=0, years=10):
    random = np.random.default_rng(11)
    day = np.arange(366)
    middle = mean + swing * np.cos(2 * np.pi * (day - 200) / 365)
    weather = random.normal(0, 1.2, (years, 372))
    daily = middle + sum(weather[:, i : i + 366] for i in range(7))
    clear = random.uniform(0, 1, (years, 366)).astype(np.float32)
    hours = np.repeat(daily[:winters, np.r_[274:366, 0:151]], 24, axis=1)
    return Springs(
        years=np.arange(2001, 2001 + years),
        lowest=(daily - 4 - 5 * clear).astype(np.float32),
        highest=(daily + 4 + 5 * clear).astype(np.float32),
        clear=clear,
        starts=np.array([f"{2001 + i}-01-01" for i in range(years)], "datetime64[D]"),
        first=np.full(years, 59),
        split=np.full(years, 204),
        season=np.tile([90, 304], (years, 1)),
        soft=np.zeros((years, 366), bool),
        winters=hours.reshape(winters, 243 * 24),
    )


SPRINGS = made_springs()
#: Block 1 is the shelf, block 2 the meadow, block 4 lies between.
SHIFTS = Shifts(
    *(np.array(v, float) for v in [[1.5, -4.5, -1.5]] * 3 + [[0.0] * 3] * 2)
)


def blocks():
    rows = [
        (block, fruit.name, code, f"the ground of block {block} is {code}")
        for block, code in ((1, "good"), (2, "with conditions"), (4, "refused"))
        for fruit in FRUITS
    ]
    return pd.DataFrame(rows, columns=["block", "fruit", "site_class", "reason"])


@pytest.fixture(scope="module")
def table():
    return describe_groups(SPRINGS, FRUITS, {}, SHIFTS, blocks())


def test_every_group_of_every_fruit_has_a_row_on_every_block(table):
    assert list(table.columns) == COLUMNS
    groups = sum(len(f.varieties.groups) for f in FRUITS[:2]) + 1
    assert len(table) == 3 * groups
    assert table["block"].tolist() == sorted(table["block"])
    assert table["fruit"].drop_duplicates().tolist() == ["plum", "apple", "medlar"]


def test_the_years_never_raise_a_class(table):
    joined = table.merge(blocks(), on=["block", "fruit"], suffixes=("", "_ground"))
    now = joined["site_class"].map(SITE_CLASSES.index)
    ground = joined["site_class_ground"].map(SITE_CLASSES.index)
    assert (now <= ground).all()
    assert (now < ground).any()


def test_the_reason_tells_why_the_plum_goes_to_the_shelf_and_not_to_the_meadow(table):
    plums = table[(table["fruit"] == "plum") & (table["group"] == "middle")]
    shelf, meadow, between = (plums[plums["block"] == b].iloc[0] for b in (1, 2, 4))
    order = [SITE_CLASSES.index(row["site_class"]) for row in (meadow, shelf)]
    assert order == sorted(order)
    assert order[0] < order[1]
    assert meadow["reason"].startswith("Spring frost spoils the crop in")
    assert shelf["poor_crop_years"] < meadow["poor_crop_years"]
    assert between["reason"].startswith("the ground of block 4 is refused")


def test_every_row_has_one_sentence_of_reason_in_plain_words(table):
    for reason in table["reason"]:
        assert reason
        assert reason.rstrip(".").count(". ") == 0
        assert not any(word in reason.lower() for word in NEVER)


def test_intervals_hold_their_middle(table):
    known = table.dropna(subset="poor_crop_years")
    assert (known["low"] <= known["poor_crop_years"]).all()
    assert (known["poor_crop_years"] <= known["high"]).all()
    assert known["high"].max() <= 10


def test_a_fruit_without_groups_keeps_the_row_of_the_ground(table):
    rows = table[table["fruit"] == "medlar"]
    assert rows["group"].isna().all()
    assert rows["poor_crop_years"].isna().all()
    assert rows["site_class"].tolist() == ["good", "with conditions", "refused"]


def test_ripening_and_winter_are_told_in_words(table):
    known = table[table["fruit"] != "medlar"]
    assert known["ripening"].str.match(r"ripens in (no|\d+) years? of ten").all()
    assert known["winter"].str.contains("once in 30 years").all()


@pytest.mark.parametrize(
    ("years", "text"),
    [
        ((0.0, 0.0, 0.6), "in fewer than 1 year of ten (0 to 1)"),
        ((1.0, 0.2, 3.2), "in 1 year of ten (0 to 3)"),
        ((6.3, 4.4, 8.1), "in 6 years of ten (4 to 8)"),
    ],
)
def test_poor_crops_are_told_in_whole_years_with_their_range(years, text):
    assert tell_poor_crops(*years).endswith(text)


@pytest.mark.parametrize(
    ("years", "text"),
    [
        ((9.4, 10, 9.4), "ripens in 9 years of ten"),
        ((0.2, 10, 0.2), "in no year of ten: the days run out, though the warmth"),
        ((3.0, 3.0, 9.5), "3 years of ten: the warmth runs out, though the days"),
        ((2.0, 2.0, 4.0), "ripens in 2 years of ten: the warmth runs out"),
    ],
)
def test_what_runs_out_is_told(years, text):
    told = tell_ripening(*years)
    assert text in told
    assert ("though" in told) == ("though" in text)


def test_winter_is_told_with_its_coldest_night():
    assert (
        tell_winter(STANDS, -21.6) == "stands the winter (−22\u00a0°C once in 30 years)"
    )
    assert "mulch or snow" in tell_winter(ROOTS, -30.0)
    assert tell_winter(UNKNOWN_WINTER, np.nan) == "not known"


def test_chill_is_one_line_and_the_limit_in_a_warm_climate():
    usual = tell_chill(made_springs(winters=6), FRUITS)
    warm = tell_chill(made_springs(22.0, 4.0, winters=6), FRUITS)
    assert usual.startswith("Winter chill is not limiting")
    assert warm.startswith("Winter chill is the limit for plum, apple")
    assert "\n" not in usual + warm


def test_a_record_too_short_for_a_winter_says_so():
    assert "not counted" in tell_chill(SPRINGS, FRUITS)


def test_every_year_is_told_with_bloom_frost_and_crop():
    kind = make_kind(FRUITS[0])
    years = describe_years(SPRINGS, kind, (-2.0, 0.0, 0.0))
    assert years["year"].tolist() == SPRINGS.years.tolist()
    assert (years["opens"] < years["full_bloom"]).all()
    assert (years["full_bloom"] < years["falls"]).all()
    assert (years["full_bloom"].dt.year == years["year"]).all()
    np.testing.assert_array_equal(
        years["crop"], crop_by_year(SPRINGS, kind, (-2.0, 0.0, 0.0))
    )
    row = years.iloc[3]
    first, last = (row[c].day_of_year - 1 for c in ("opens", "falls"))
    nights = SPRINGS.nights(-2.0, 0.0)[3, first : last + 1]
    assert row["coldest"] == pytest.approx(nights.min())
    frosts = np.flatnonzero(SPRINGS.nights(-2.0, 0.0)[3, :204] <= -2.2)
    assert row["last_frost"].day_of_year - 1 == frosts[-1]


def test_a_year_too_cold_for_bloom_has_no_dates():
    years = describe_years(made_springs(-15.0), make_kind(FRUITS[0]), (0.0, 0.0, 0.0))
    assert years["full_bloom"].isna().all()
    assert years["coldest"].isna().all()
    warm = describe_years(made_springs(30.0), make_kind(FRUITS[0]), (0.0, 0.0, 0.0))
    assert warm["last_frost"].isna().all()
    assert (years["crop"] == 1).all()


def test_both_halves_of_the_record_are_told():
    years = pd.DataFrame(
        {"year": range(2001, 2011), "crop": [1.0, 0.2] * 4 + [0.1, 0.2]}
    )
    assert tell_halves(years) == (
        "Poor crops by the two halves of the record: 2 of 5 (2001 to 2005), "
        "4 of 5 (2006 to 2010)."
    )
