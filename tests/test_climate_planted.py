"""The demo's record from end to end: the table is what the planted truth says.

Poor-crop years are told a second time here, in plain Python, from the station's file,
the planted offsets and the planted sums of bloom, with hourly warmth; nothing of the
package's own models of bloom, frost and crop is used for it.
"""

from functools import cache
from math import exp, log

import numpy as np
import pandas as pd
import pytest

from sitekit.climate.crops import count_poor_crops, make_kind
from sitekit.climate.describing import describe_groups, describe_years
from sitekit.climate.fruiting import Shifts
from sitekit.climate.seasons import make_seasons
from sitekit.climate.springs import read_springs, tune_fruit
from sitekit.climate.telling import tell_chill
from sitekit.demo.records import BLOOM_SUMS, degree_days, make_bloom, make_station
from sitekit.demo.truth import PLANTED
from sitekit.fruit import fruit_names, read_fruit
from sitekit.site import Record
from sitekit.words import SITE_CLASSES

FRUITS = {name: read_fruit(name) for name in fruit_names()}
#: Limits of plum, first swelling to after bloom, with shares of the sum of full bloom,
#: and of pear: degC from 28, 27 ... F. Source: Penn State Extension (WSU EB0419, 1989).
LIMITS = {
    "plum": (
        (0.22, 0.33, 0.45, 0.62, 0.79, 0.90, 1.0, 1.25),
        (-10.0, -8.3, -6.7, -4.4, -3.3, -2.8, -2.2, -2.2),
        (-17.8, -16.1, -13.9, -8.9, -5.6, -5.0, -5.0, -5.0),
    ),
    "pear": (
        (0.22, 0.40, 0.60, 0.74, 0.82, 0.90, 1.0, 1.25),
        (-9.4, -6.7, -4.4, -3.9, -3.3, -2.8, -2.2, -2.2),
        (-17.8, -14.4, -9.4, -7.2, -5.6, -5.0, -4.4, -4.4),
    ),
}
NEED = {"plum": 0.25, "pear": 0.125}


def record_of(days, latitude=46.3):
    days = days.rename(columns={"wind_night": "wind", "cloud_night": "cloud"})
    return Record("made", days, 0.0, 0.0, 737.0, latitude, pd.DataFrame())


@pytest.fixture(scope="module")
def springs():
    return read_springs(make_seasons(record_of(make_station())))


@pytest.fixture(scope="module")
def tunings(springs):
    notes = make_bloom().assign(place="")
    notes["day"] = pd.to_datetime(notes["full_bloom"])
    return {
        name: tune_fruit(springs, fruit.varieties, notes[notes["fruit"] == name])
        for name, fruit in FRUITS.items()
    }


def killed(name, share, night):
    """Share of flowers that a night kills at a share of the bloom sum, in plain words."""
    at, t10, t90 = LIMITS[name]
    worst = 0.0
    for step in np.arange(at[0], min(share, 1.6) + 0.005, 0.01):
        upper, lower = np.interp(step, at, t10), np.interp(step, at, t90)
        steep = (upper - lower) / (2 * log(9))
        worst = max(
            worst, 1 / (1 + exp(min((night - (upper + lower) / 2) / steep, 60)))
        )
    return worst


@cache
def station_years():
    days = make_station()
    weight = np.clip((0.6 - days["cloud_night"]) / 0.3, 0, 1) * (days["wind_night"] < 2)
    days = days.assign(clear=weight)
    return [year for _, year in days.groupby(days["date"].dt.year)]


@cache
def plain_poor_years(name, offset):
    """Poor-crop years in ten at an offset, from the station's file."""
    [full] = [heat for kind, heat in BLOOM_SUMS.values() if kind == name]
    poor = 0
    for year in station_years():
        days = year["date"].dt.strftime("%m-%d").to_numpy()
        warmth = degree_days(year["tmin"].to_numpy(), year["tmax"].to_numpy())
        shares = np.cumsum(np.where(days >= "03-01", warmth, 0)) / full
        nights = (year["tmin"] + year["clear"] * offset).to_numpy()
        live = 1.0
        for day in np.flatnonzero((days >= "03-01") & (days < "07-24") & (nights < 0)):
            flowers = [killed(name, shares[day + a], nights[day]) for a in range(-2, 3)]
            live *= 1 - np.mean(flowers)
        poor += live < NEED[name] / 2
    return 10 * poor / len(station_years())


@pytest.mark.parametrize("name", sorted(LIMITS))
@pytest.mark.parametrize("part", ["meadow floor", "hedge foot, middle", "outer shelf"])
def test_poor_years_are_those_of_the_planted_offsets(springs, tunings, name, part):
    offset = PLANTED[part].offset
    kind = make_kind(FRUITS[name], tunings[name])
    points = (np.array([offset]), np.zeros(1), np.zeros(1))
    poor, low, high, _ = count_poor_crops(springs, kind, points)[:, 0]
    truth = plain_poor_years(name, offset)
    # A year or two of thirty may turn on the weight of half-clear nights and on the
    # tuned sum of bloom; the interval must hold the truth.
    assert poor == pytest.approx(truth, abs=1.0)
    assert low <= truth <= high


def test_the_planted_truth_itself_sets_shelf_and_meadow_apart():
    assert plain_poor_years("plum", PLANTED["outer shelf"].offset) <= 1
    assert plain_poor_years("plum", PLANTED["meadow floor"].offset) >= 3


def test_parts_come_in_the_order_of_their_offsets(springs, tunings):
    offsets = np.sort([part.offset for part in PLANTED.values()])
    still = np.zeros(offsets.size)
    for name, fruit in FRUITS.items():
        kind = make_kind(fruit, tunings[name])
        poor = count_poor_crops(springs, kind, (offsets, still, still))[0]
        assert (np.diff(poor) <= 0).all()
        assert poor[0] > poor[-1]


@pytest.fixture(scope="module")
def table(springs, tunings):
    parts = list(PLANTED.values())
    offsets = np.array([part.offset for part in parts])
    still = np.zeros(offsets.size)
    shifts = Shifts(offsets, offsets, offsets, still, still)
    ground = pd.DataFrame(
        [
            (number, name, "good", "nothing speaks against it")
            for number in range(1, len(parts) + 1)
            for name in FRUITS
        ],
        columns=["block", "fruit", "site_class", "reason"],
    )
    found = describe_groups(springs, list(FRUITS.values()), tunings, shifts, ground)
    names = dict(enumerate(PLANTED, start=1))
    return found.assign(part=found["block"].map(names))


def row_of(table, part, fruit):
    group = FRUITS[fruit].varieties.usual
    [row] = table[
        (table["part"] == part) & (table["fruit"] == fruit) & (table["group"] == group)
    ].to_dict("records")
    return row


def rank(row):
    return SITE_CLASSES.index(row["site_class"])


@pytest.mark.parametrize("fruit", ["plum", "pear"])
def test_pears_and_plums_go_to_the_shelf_and_not_to_the_meadow(table, fruit):
    shelf, meadow = (row_of(table, p, fruit) for p in ("outer shelf", "meadow floor"))
    assert shelf["site_class"] == "good"
    assert rank(meadow) <= SITE_CLASSES.index("hardy kinds only")
    assert meadow["reason"].startswith("Spring frost spoils the crop in")
    assert "of ten" in meadow["reason"]


def test_cherries_lose_the_meadow_altogether(table):
    for fruit in ("sour_cherry", "sweet_cherry"):
        assert row_of(table, "meadow floor", fruit)["site_class"] == "refused"


def test_juice_apples_stand_on_the_upper_hedge_field(table):
    assert row_of(table, "upper Hedge Field", "apple")["site_class"] == "good"


def test_the_valley_ripens_and_keeps_its_fruit_through_the_winter(table):
    shelf = table[table["part"] == "outer shelf"]
    usual = shelf[shelf["fruit"] != "pear"]
    assert usual["ripening"].str.startswith("ripens in 10 years").sum() > 10
    assert usual["winter"].str.startswith("stands the winter").all()


@pytest.mark.parametrize("year", [2003, 2024])
def test_the_two_remembered_springs_took_the_plums(springs, tunings, year):
    kind = make_kind(FRUITS["plum"], tunings["plum"])
    years = describe_years(springs, kind, (-1.6, 0.0, 0.0)).set_index("year")
    assert years.loc[year, "crop"] < 0.5
    assert years.loc[year, "last_frost"] > years.loc[year, "opens"]
    assert years["crop"].median() > 0.9


def made_record(mean, swing, latitude, years=8):
    """Days of made years of a place, as a record."""
    dates = pd.date_range("2001-01-01", periods=365 * years)
    random = np.random.default_rng(7)
    warmest = 200 if latitude > 0 else 17
    middle = mean + swing * np.cos(2 * np.pi * (dates.day_of_year - warmest) / 365.25)
    middle = middle.to_numpy() + random.normal(0, 1.5, len(dates))
    days = pd.DataFrame({"date": dates, "tmin": middle - 5, "tmax": middle + 5})
    return record_of(days, latitude)


@pytest.mark.parametrize(("mean", "swing"), [(5.52, 10.89), (3.06, 12.32)])
def test_northern_records_refuse_storing_pears_and_late_keepers(mean, swing):
    # Made years of a lake at 60 and an inland place at 63 degrees north.
    springs = read_springs(make_seasons(made_record(mean, swing, 60.0)))
    here = Shifts(*(np.zeros(1) for _ in range(5)))
    fruits = [FRUITS["pear"], FRUITS["apple"]]
    ground = pd.DataFrame(
        [(1, f.name, "good", "nothing speaks against it") for f in fruits],
        columns=["block", "fruit", "site_class", "reason"],
    )
    table = describe_groups(springs, fruits, {}, here, ground).set_index("group")
    refused = table[table["site_class"] == "refused"].index
    assert {"storing", "late keeper"} <= set(refused)
    late = table.loc["late keeper"]
    assert "runs out" in late["reason"] or "run out" in late["reason"]


@pytest.mark.parametrize("latitude", [30.0, -30.0])
def test_a_warm_record_makes_chill_the_limit_on_both_sides_of_the_equator(latitude):
    warm = read_springs(make_seasons(made_record(22.0, 4.0, latitude)))
    cool = read_springs(make_seasons(made_record(10.0, 9.0, latitude)))
    fruits = list(FRUITS.values())
    assert tell_chill(warm, fruits).startswith("Winter chill is the limit for apple")
    assert tell_chill(cool, fruits).startswith("Winter chill is not limiting")
