"""Poor-crop years from a record: what must never turn round, and the planted truth."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.climate.crops import count_poor_crops, crop_by_year, make_kind
from sitekit.climate.springs import Springs, sum_of
from sitekit.demo.records import make_station
from sitekit.fruit import fruit_names, parse_fruit, read_fruit
from sitekit.fruit.bloom import Tuning, find_day
from sitekit.fruit.kill import kill_share

FRUITS = {name: read_fruit(name) for name in fruit_names()}
YEARS = 12


def springs_of(lowest, highest, clear):
    """Springs of a northern record that starts each row on 1 January."""
    years = np.arange(2001, 2001 + len(lowest))
    return Springs(
        years=years,
        lowest=lowest.astype(np.float32),
        highest=highest.astype(np.float32),
        clear=clear.astype(np.float32),
        starts=np.array([f"{y}-01-01" for y in years], "datetime64[D]"),
        first=np.full(len(lowest), 59),
        split=np.full(len(lowest), 204),
        season=np.tile([90, 304], (len(lowest), 1)),
        soft=np.zeros(lowest.shape, bool),
        winters=np.empty((0, 24)),
    )


def made_springs(seed=2, years=YEARS):
    """Made years that differ, with a wide range of the day and clear nights at random."""
    random = np.random.default_rng(seed)
    day = np.arange(366)
    middle = 9 + 9.5 * np.cos(2 * np.pi * (day - 200) / 365)
    weather = random.normal(0, 1, (years, 366 + 6))
    weather = sum(weather[:, i : i + 366] for i in range(7)) * 1.2
    clear = random.uniform(0, 1, (years, 366))
    mean = middle + weather
    return springs_of(mean - 4 - 6 * clear, mean + 4 + 6 * clear, clear)


MADE = made_springs()


def points(*places):
    return tuple(np.array(values, float) for values in zip(*places, strict=True))


def poor(name, place, springs=MADE, group="", tuning=None):
    kind = make_kind(FRUITS[name], tuning, group)
    return count_poor_crops(springs, kind, points(place))[:, 0]


def plain_crops(springs, kind, shift):
    """The same crops told flower by flower and night by night."""
    stages = kind.varieties.stages_of(kind.group)
    at = [s.share for s in stages]
    steps = np.arange(0, 1.601, 0.01)
    limits = [
        np.interp(steps, at, [getattr(s, t) for s in stages]) for t in ("t10", "t90")
    ]
    sums = sum_of(springs, shift[2]) / kind.full_bloom
    crops = []
    for year in range(springs.count):
        live = 1.0
        for day in range(59, 204):
            clear = springs.clear[year, day]
            night = (
                springs.lowest[year, day] + clear * shift[0] + (1 - clear) * shift[1]
            )
            dead = []
            for apart in range(-2, 3):
                come = min(sums[year, day - apart], 1.6)
                upto = (steps >= at[0] - 0.005) & (steps <= come + 0.005)
                kills = kill_share(night, limits[0][upto], limits[1][upto])
                dead.append(kills.max(initial=0.0))
            live *= 1 - np.mean(dead)
        crops.append(min(1, live / kind.need))
    return np.array(crops)


@pytest.mark.parametrize("name", ["apple", "sweet_cherry", "blackcurrant"])
def test_crops_are_those_told_night_by_night(name):
    springs = made_springs(years=4)
    kind = make_kind(FRUITS[name])
    shift = (-2.0, -0.5, -0.3)
    found = crop_by_year(springs, kind, shift)
    np.testing.assert_allclose(found, plain_crops(springs, kind, shift), atol=0.03)
    assert found.min() < 0.9


def test_poor_years_are_years_with_less_than_half_a_crop():
    kind = make_kind(FRUITS["sour_cherry"])
    crops = crop_by_year(MADE, kind, (-2.0, -0.5, -0.3))
    expected = 10 * (crops < 0.5).mean()
    assert 0 < expected < 10
    assert poor("sour_cherry", (-2.0, -0.5, -0.3))[0] == pytest.approx(expected)


def test_bloom_differs_by_year_and_by_place():
    sums = {warm: sum_of(MADE, warm) for warm in (0.0, -1.0)}
    bloom = {warm: find_day(s, 263.0) for warm, s in sums.items()}
    assert np.unique(bloom[0.0]).size > 4
    assert (bloom[-1.0] > bloom[0.0]).all()
    assert np.unique(bloom[-1.0] - bloom[0.0]).size > 1


def test_a_colder_place_blooms_later_and_may_do_better():
    better = [
        poor(name, (-1.0, -1.0, -1.0))[0] < poor(name, (-1.0, -1.0, 0.0))[0]
        for name in FRUITS
    ]
    assert any(better)


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from(sorted(FRUITS)),
    st.floats(-3, 1),
    st.floats(0, 3),
    st.floats(-1, 1),
    st.integers(0, 5),
)
def test_at_the_same_bloom_colder_nights_never_give_fewer_poor_years(
    name, still, colder, warm, seed
):
    springs = made_springs(seed, 6)
    here = poor(name, (still, 0.0, warm), springs)
    there = poor(name, (still - colder, 0.0, warm), springs)
    assert (there >= here - 1e-9).all()


@settings(max_examples=25, deadline=None)
@given(
    st.sampled_from(sorted(FRUITS)),
    st.floats(-3, 1),
    st.floats(0, 0.3),
    st.integers(0, 5),
)
def test_later_bloom_is_never_worse_at_one_spot(name, still, later, seed):
    springs = made_springs(seed, 6)
    usual = poor(name, (still, 0.0, 0.0), springs)
    late = poor(name, (still, 0.0, 0.0), springs, tuning=Tuning(factor=1 + later))
    assert (late <= usual + 1e-9).all()


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(sorted(FRUITS)), st.floats(-3, 1), st.floats(-8, 2))
def test_an_added_night_of_frost_never_gives_fewer_poor_years(name, still, frost):
    lowest = MADE.lowest.copy()
    lowest[:, 125] = np.minimum(lowest[:, 125], frost)
    # The days stay as warm as they were, so that bloom comes on the same dates.
    highest = MADE.highest + (MADE.lowest - lowest)
    added = replace(MADE, lowest=lowest, highest=highest)
    kind = make_kind(FRUITS[name])
    before = crop_by_year(MADE, kind, (still, 0.0, 0.0))
    after = crop_by_year(added, kind, (still, 0.0, 0.0))
    late = find_day(sum_of(MADE, 0.0), kind.full_bloom * 1.25) < 123
    assert (after[late] <= before[late] + 1e-9).all()


def test_late_and_hardy_groups_are_never_worse_than_early_ones():
    for place in ((-2.5, -0.5, -0.2), (-1.0, 0.0, 0.0), (0.5, 0.0, 0.2)):
        usual = poor("apple", place)[0]
        assert poor("apple", place, group="late-blooming autumn")[0] <= usual
        assert poor("apple", place, group="early")[0] >= usual
        early = poor("blackcurrant", place)[0]
        assert poor("blackcurrant", place, group="northern early")[0] <= early


def test_the_worst_night_alone_is_the_better_end():
    for name in FRUITS:
        years, low, high, worst = poor(name, (-2.5, -0.5, 0.0))
        assert worst <= years
        assert low <= years <= high


def test_a_bee_poor_spring_needs_more_blossom():
    place = points((-2.5, -0.5, 0.0))
    usual, scarce = (
        count_poor_crops(MADE, make_kind(FRUITS["apple"], few_bees=few), place)
        for few in (False, True)
    )
    assert (scarce >= usual).all()
    assert scarce[0, 0] > usual[0, 0]


def test_own_notes_narrow_the_interval():
    # Bloom is known to 5 days without own notes and to 3 with four own years.
    widths = []
    for error in (5.0, 3.0):
        tuning = Tuning(error=error)
        found = [poor(n, (-2.0, 0.0, 0.0), tuning=tuning) for n in FRUITS]
        widths.append(np.mean([high - low for _, low, high, _ in found]))
    assert widths[1] < widths[0]


def test_a_doubtful_night_widens_the_interval():
    kind = make_kind(FRUITS["pear"])
    place = points((-2.0, 0.0, 0.0))
    near, far = (count_poor_crops(MADE, kind, place, s)[:, 0] for s in (0.5, 2.5))
    assert near[0] == far[0]
    assert far[2] - far[1] > near[2] - near[1]


def test_more_years_narrow_the_interval():
    short, long = made_springs(1, 10), made_springs(1, 10)
    long = springs_of(
        *(np.vstack([x] * 3) for x in (long.lowest, long.highest, long.clear))
    )
    # At a mild place, where errors of the model do not outweigh the years.
    one, three = (poor("plum", (1.0, 0.0, 0.0), s) for s in (short, long))
    assert one[0] == pytest.approx(three[0])
    assert three[2] - three[1] < one[2] - one[1]


def test_the_interval_covers_what_long_records_say():
    # Coverage: thirty made years against six hundred of the same weather, the same
    # place; model errors only widen it.
    kind = make_kind(FRUITS["plum"], Tuning(error=3.0))
    place = points((-2.0, 0.0, 0.0))
    truth = count_poor_crops(made_springs(99, 600), kind, place)[0, 0]
    held = 0
    for seed in range(40):
        _, low, high, _ = count_poor_crops(made_springs(seed, 30), kind, place)[:, 0]
        held += low <= truth <= high
    assert held >= 36


def test_a_record_without_frost_has_no_poor_year():
    mild = replace(MADE, lowest=MADE.lowest + 30, highest=MADE.highest + 30)
    years, low, _, worst = poor("sweet_cherry", (0.0, 0.0, 0.0), mild)
    assert (years, low, worst) == (0, 0, 0)


def test_missing_nights_kill_nothing():
    gaps = MADE.lowest.copy()
    gaps[:, ::40] = np.nan
    assert np.isfinite(poor("apple", (0.0, 0.0, 0.0), replace(MADE, lowest=gaps))).all()


def test_a_fruit_without_groups_is_told_in_no_years():
    text = (
        "spacing_m = 3\nrow_spacing_m = 4\n[[factor]]\nlayer = 'slope'\n"
        "curve = 'falling'\npoints = [10, 20]\nlack = 'with conditions'\n"
        "say = 'the slope is {value}'\n"
    )
    with pytest.raises(ValueError, match="no groups"):
        make_kind(parse_fruit(text, "medlar.toml"))


def test_the_demo_says_what_was_planted():
    # Averlow: planted offsets of the shelf and of the floor of the meadow, and the two
    # famous springs of 2003 and 2024.
    days = make_station()
    shape = (30, 366)
    row = days["date"].dt.year.to_numpy() - 1996
    column = days["date"].dt.day_of_year.to_numpy() - 1
    lowest, highest, clear = np.full((3, *shape), np.nan)
    lowest[row, column], highest[row, column] = days["tmin"], days["tmax"]
    clear[row, column] = np.clip((0.6 - days["cloud_night"]) / 0.3, 0, 1)
    springs = springs_of(lowest, highest, np.nan_to_num(clear))
    tuning = Tuning(186 / 190, 6, 3.0)
    shelf, meadow = (0.5, 0.0, 0.0), (-3.3, 0.2, 0.2)
    plum = {p: poor("plum", p, springs, tuning=tuning) for p in (shelf, meadow)}
    assert plum[shelf][0] <= 1
    assert plum[meadow][0] >= 3
    assert plum[shelf][2] < plum[meadow][0]
    crops = crop_by_year(springs, make_kind(FRUITS["plum"], tuning), (-1.5, 0.0, 0.0))
    famous = [2003 - 1996, 2024 - 1996]
    assert (crops[famous] < 0.5).all()
