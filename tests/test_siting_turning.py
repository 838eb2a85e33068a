"""Verdicts made again with an unsure input at an end of its range."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS
from scipy.stats import beta

from sitekit.climate.fruiting import Fruiting
from sitekit.climate.kinds import USUAL, FruitVerdict
from sitekit.doubt import inputs
from sitekit.doubt.inputs import Unsure
from sitekit.doubt.nights import Carried, Effect
from sitekit.fruit import read_fruit
from sitekit.grid import Grid
from sitekit.io.schemas import SCHEMAS, empty_frame
from sitekit.results import DoubtTold
from sitekit.site import VECTORS, ElevationModel, Remark, Site
from sitekit.siting.blocks import Block
from sitekit.siting.mind import (
    ENDS,
    MOST_SENTENCES,
    SETTLED,
    _tell_change,
    tell_doubt,
)
from sitekit.siting.places import Places
from sitekit.siting.turning import sample_years, turn_verdicts
from sitekit.suitability.ground import Ground, judge
from sitekit.suitability.score import score_fruit
from sitekit.words import CONDITIONS, GOOD, HARDY, REFUSED

UTM = CRS.from_epsg(32633)
SHAPE, CELL = (6, 10), 8.0
#: Limits of the pear: 0.7 of it is left at 1.89, nothing at 2.8. [degC]
PEAR = read_fruit("pear", None)
PEAR = replace(PEAR, factors=tuple(f for f in PEAR.factors if f.layer == "night_cold"))
MILD, COLD = 1.0, 2.5


def made_site(**more):
    grid = Grid(UTM, 500_000.0, 5_130_000.0, CELL, SHAPE)
    heights = np.full(SHAPE, 100, np.float32)
    none = np.zeros(SHAPE, bool)
    site = Site(
        name="made ground",
        grid=grid,
        elevation=heights,
        ground=heights,
        model=ElevationModel(("made.tif",), CELL, "ground", 0.05),
        field=GeoDataFrame(
            {"name": [""]}, geometry=[shapely.box(*grid.bounds)], crs=UTM
        ),
        field_mask=~none,
        water_mask=none,
        canopy_height=np.zeros(SHAPE, np.float32),
        evergreen=none,
        vectors={name: empty_frame(SCHEMAS[name], UTM) for name in VECTORS},
    )
    return replace(site, **more)


def ground(tested=True):
    none = np.zeros(SHAPE, bool)
    soil = np.full(SHAPE, 1 if tested else 0, np.uint8)
    return Ground(soil, none, none, none, none, coarse=False)


def places(site, tested=True):
    """West half mild, east half cold."""
    cold = np.full(SHAPE, MILD, np.float32)
    cold[:, 5:] = COLD
    layers = {"night_cold": cold, "land_slope": np.full(SHAPE, 3.0, np.float32)}
    score = score_fruit(PEAR, layers, np.ones(SHAPE, bool))
    known = ground(tested)
    return Places(
        site, layers, {"pear": judge(score, known, layers["land_slope"])}, known
    )


def blocks():
    west, east = np.zeros(SHAPE, bool), np.zeros(SHAPE, bool)
    west[:, :5], east[:, 5:] = True, True
    shape = shapely.box(0, 0, 40, 48)
    return [
        Block(1, "Bank", np.nonzero(west), shape),
        Block(2, "", np.nonzero(east), shape),
    ]


def effect(name, group, colder, *, high=True, weight=0.2):
    changed = np.full(SHAPE, colder, np.float32)
    return Effect(Unsure(name, group), high, -changed, changed, weight)


def carried(site, *effects):
    return Carried(site.grid, effects)


def turn(*effects, tested=True):
    site = made_site()
    here = places(site, tested)
    return turn_verdicts(blocks(), here, here, carried(site, *effects), None)


def tell(*effects, site=None):
    site = site or made_site()
    here = places(site)
    return tell_doubt(blocks(), here, here, carried(site, *effects), None)


K = effect("background", inputs.BACKGROUND, 1.2)
HEDGE = effect("openness", inputs.OPENNESS, 0.4)
NONE = effect("crest_cold", inputs.SHAPE, 0.0)


# -- verdicts that turn ------------------------------------------------------------------------


def test_there_is_a_row_for_each_block_and_input():
    found = turn(K, HEDGE)
    assert len(found) == 4
    assert set(found["block"]) == {1, 2}
    assert set(found["group"]) == {inputs.BACKGROUND, inputs.OPENNESS}


def test_what_moves_nothing_turns_nothing():
    found = turn(NONE)
    assert (found["before"] == found["after"]).all()
    assert (found["change_degc"] == 0).all()


def test_a_night_colder_than_the_limit_lowers_the_class():
    found = turn(K).set_index("block")
    # 1.0 and 1.2 pass 1.89; 2.5 and 1.2 pass 2.8.
    assert found.loc[1, ["before", "after"]].tolist() == [GOOD, HARDY]
    assert found.loc[2, ["before", "after"]].tolist() == [HARDY, REFUSED]
    assert found.loc[1, "change_degc"] == pytest.approx(-1.2)


def test_a_milder_night_raises_it():
    found = turn(effect("background", inputs.BACKGROUND, -1.2, high=False))
    found = found.set_index("block")
    assert found.loc[2, ["before", "after"]].tolist() == [HARDY, GOOD]
    assert found.loc[1, "after"] == GOOD


def test_what_nobody_has_dug_holds_a_class_down_whatever_the_night():
    found = turn(effect("background", inputs.BACKGROUND, -1.2), tested=False)
    assert (found["after"] == CONDITIONS).all()


def test_each_end_and_each_draw_is_judged_by_itself():
    draws = [effect("elevation_error", inputs.HEIGHTS, c) for c in (0.0, 1.2, -0.1)]
    found = turn(*draws)
    turned = found[found["before"] != found["after"]]
    assert set(turned["effect"]) == {2}


def test_without_blocks_there_is_nothing_to_turn():
    site = made_site()
    here = places(site)
    found = turn_verdicts([], here, here, carried(site, K), None)
    assert found.empty
    assert "after" in found.columns


def test_effects_are_read_on_their_own_coarser_cells():
    site = made_site()
    half = Grid(UTM, site.grid.west, site.grid.north, 2 * CELL, (3, 5))
    colder = np.zeros((3, 5), np.float32)
    colder[:, 2:] = 1.2
    one = Effect(Unsure("drag", inputs.AIR), True, -colder, colder)
    here = places(site)
    found = turn_verdicts(blocks(), here, here, Carried(half, (one,)), None)
    found = found.set_index("block")
    assert found.loc[1, "after"] == GOOD
    assert found.loc[2, "after"] == REFUSED


# -- the length of the record ------------------------------------------------------------------


def found_by_years(poor, instead=USUAL):
    poor = np.array(poor, np.float32)
    ten = np.full(poor.shape, 10, np.float32)
    usual = Fruiting(
        kind=None,
        poor=poor,
        low=poor,
        high=poor,
        worst_night=poor,
        ripe=ten,
        warm=ten,
        long=ten,
        spare=ten,
        winter=np.zeros(poor.shape, np.uint8),
        coldest=-ten,
    )
    code = np.full(poor.shape, GOOD, np.uint8)
    groups = np.full(poor.shape, instead, np.int8)
    return FruitVerdict(code, code, usual, ("early", "late"), groups)


def sampled(poor, share, years=30, instead=USUAL, code=GOOD):
    record = SimpleNamespace(springs=SimpleNamespace(count=years))
    ground_class = np.full(len(poor), code, np.uint8)
    return sample_years(
        found_by_years(poor, instead), ground_class, share, record
    ).tolist()


@pytest.mark.parametrize("bad", [0, 3, 6, 12])
@pytest.mark.parametrize("share", [0.05, 0.95])
def test_other_years_of_the_same_climate_follow_jeffreys(bad, share):
    # Source: Brown, Cai & DasGupta 2001, Statistical Science 16: Jeffreys' interval
    # of a share is that of a beta law with half a case more on either side.
    poor = 10 * beta.ppf(share, bad + 0.5, 30 - bad + 0.5)
    wanted = (GOOD, CONDITIONS, HARDY, REFUSED)[int(np.sum(poor > [2.0, 3.0, 4.0]))]
    assert sampled([bad / 3], share) == [wanted]


def test_a_short_record_leaves_more_open_than_a_long_one():
    # One poor crop in ten: of 10 years it may be 3.4, of 300 years hardly 1.4.
    assert sampled([1.0], 0.95, years=10) == [HARDY]
    assert sampled([1.0], 0.95, years=300) == [GOOD]


def test_years_raise_no_class_over_that_of_the_ground():
    assert sampled([0.0], 0.05, code=CONDITIONS) == [CONDITIONS]


def test_where_another_group_stands_the_years_leave_hardy_kinds():
    assert sampled([6.0], 0.95) == [REFUSED]
    assert sampled([6.0], 0.95, instead=1) == [HARDY]


# -- the words -----------------------------------------------------------------------------------


def test_without_carried_doubt_nothing_is_told():
    site = made_site()
    here = places(site)
    assert tell_doubt(blocks(), here, here, None, None) is None


def test_the_most_decisive_input_comes_first():
    told = tell(HEDGE, NONE, K)
    assert isinstance(told, DoubtTold)
    assert told.verdicts == 2
    assert list(told.inputs["input"])[:2] == [inputs.BACKGROUND, inputs.OPENNESS]
    assert list(told.inputs["turned"])[:2] == [2, 1]
    assert "2 of 2 verdicts hang on it" in told.mind[0]
    assert "1 of 2 verdicts hang on it" in told.mind[1]


def test_a_verdict_turned_by_both_ends_counts_once():
    both = (
        effect("background", inputs.BACKGROUND, 1.2),
        effect("background", inputs.BACKGROUND, -1.2, high=False),
    )
    assert tell(*both).inputs["turned"].tolist() == [2]


def test_degrees_are_the_root_of_the_mean_variance_over_the_field():
    told = tell(effect("background", inputs.BACKGROUND, 1.2, weight=0.25))
    assert told.inputs["degc"].tolist() == pytest.approx([0.6])


def test_an_input_that_can_do_nothing_here_is_not_listed():
    assert inputs.SHAPE not in set(tell(K, NONE).inputs["input"])


def test_a_sentence_names_block_change_class_and_what_settles_it():
    text = tell(K).mind[0]
    assert text.startswith("If low ground here cools twice as strongly")
    assert "block 1, Bank, −1.2\u00a0°C, and pears become “hardy kinds only”" in text
    assert "block 2, −1.2\u00a0°C, and pears become “refused”" in text
    assert text.endswith(f"What settles it: {SETTLED[inputs.BACKGROUND]}.")


def test_what_turns_nothing_but_moves_much_is_told_without_a_class():
    text = tell(effect("lake_share", inputs.LAKE, -0.5)).mind[0]
    assert text.startswith("If the lake warms more")
    assert "+0.5\u00a0°C, and no class changes" in text
    assert "No verdict hangs on it" in text


def test_what_moves_little_and_turns_nothing_is_not_told():
    assert tell(effect("lake_share", inputs.LAKE, 0.1)).mind == ()


def test_no_more_is_told_than_can_be_read():
    many = [
        effect(name, group, 1.2)
        for name, group in (
            ("background", inputs.BACKGROUND),
            ("production", inputs.AIR),
            ("pool_cold", inputs.POOL),
            ("openness", inputs.OPENNESS),
            ("crest_cold", inputs.SHAPE),
            ("night_lapse", inputs.LAPSE),
            ("sky_effect", inputs.SKY),
            ("rest", inputs.REST),
        )
    ]
    assert len(tell(*many).mind) == MOST_SENTENCES


def test_openness_that_was_guessed_is_told_as_guessed():
    said = Remark("doubtful", "barriers", "openness of 1 hedge is not given")
    assert "by a tenth" in tell(HEDGE).mind[0]
    guessed = tell(HEDGE, site=made_site(remarks=(said,)))
    assert guessed.mind[0].startswith("If hedges are twice as open as taken")


def test_air_held_by_wrong_heights_is_told_where_the_night_itself_stays():
    colder = np.full(SHAPE, 1.2, np.float32)
    unsure = Unsure("elevation_error", inputs.HEIGHTS)
    held = Effect(unsure, True, np.zeros(SHAPE, np.float32), colder)
    assert "block 1, Bank, holding more cold air, and" in tell(held).mind[0]


def test_held_air_is_not_named_where_the_class_turns_the_other_way():
    rows = {"change_degc": [0.0], "colder_degc": [-0.3], "before": [GOOD]}
    assert _tell_change(pd.DataFrame({**rows, "after": [HARDY]})) == ""
    rows["before"] = [HARDY]
    text = _tell_change(pd.DataFrame({**rows, "after": [GOOD]}))
    assert text == ", holding less cold air"


@pytest.mark.parametrize("each", inputs.UNSURE, ids=lambda each: each.name)
def test_every_input_has_its_words(each):
    assert each.group in SETTLED
    if each.name != "openness":
        assert all(text.startswith("If ") for text in ENDS[each.name])


def test_a_survey_without_blocks_is_told_without_sentences():
    site = made_site()
    here = places(site)
    told = tell_doubt([], here, here, carried(site, K), None)
    assert told.mind == ()
    assert told.verdicts == 0
    assert isinstance(told.inputs, pd.DataFrame)
