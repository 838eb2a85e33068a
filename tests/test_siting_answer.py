"""The answer in words: every branch of it, from hand-made tables."""

from dataclasses import replace

import pytest
import shapely
from geopandas import GeoDataFrame

from sitekit.layers.catalogue import NOTHING
from sitekit.site import ElevationModel, Remark
from sitekit.siting.answer import (
    CAUTIONS,
    STAMP,
    STAMP_WITH_YEARS,
    block_name,
    compose_answer,
    resolution_sentence,
)
from sitekit.siting.maps import NEEDS, name_need
from sitekit.siting.tables import best_fruit, tabulate_fruit
from sitekit.words import SITE_CLASSES

REASON = "Sun 6 h a day while fruit ripens; drainage not tested."


@pytest.fixture(scope="module")
def shelf():
    """Keeps the made survey for all tests of this file; none of them changes it."""
    return {}


@pytest.fixture
def made(request, shelf):
    if not shelf:
        shelf["survey"] = request.getfixturevalue("small_survey")
    return shelf["survey"]


def table(*rows):
    """Blocks from (number, name, fruit, class, score)."""
    columns = ("block", "name", "fruit", "site_class", "score")
    frame = {c: [row[i] for row in rows] for i, c in enumerate(columns)}
    frame["reason"] = [REASON for _ in rows]
    frame["area_m2"] = [15_000.0 for _ in rows]
    return GeoDataFrame(frame, geometry=[shapely.box(0, 0, 1, 1)] * len(rows))


def answer(survey, blocks, *, site=None, absent=None, years=(), **tables):
    nothing = {n: getattr(survey, n).iloc[:0] for n in ("existing_trees", "notes")}
    return compose_answer(
        site or survey.site,
        blocks,
        tables.get("pockets", survey.frost_pockets),
        tables.get("trees", nothing["existing_trees"]),
        tables.get("notes", nothing["notes"]),
        absent or {},
        years,
    )


@pytest.mark.parametrize(
    ("site_class", "headline"),
    [
        ("good", "Start with block 1, Bank: pears and apples."),
        ("with conditions", "Start with block 1, Bank: pears and apples."),
        ("hardy kinds only", "Hardy kinds only: block 1, Bank, pears and apples."),
        (
            "test first",
            "Test before you plant: block 1, Bank comes first, for pears and apples.",
        ),
        (
            "refused",
            "Plant nothing here this year: no ground of this field carries apples "
            "or pears.",
        ),
    ],
)
def test_the_headline_says_no_more_than_the_class_carries(made, site_class, headline):
    blocks = table(
        (1, "Bank", "apple", site_class, 50), (1, "Bank", "pear", site_class, 60)
    )
    assert answer(made, blocks).headline == headline


def test_the_headline_names_only_fruit_of_the_best_class(made):
    blocks = table(
        (1, "", "apple", "test first", 90), (1, "", "pear", "with conditions", 40)
    )
    assert answer(made, blocks).headline == "Start with block 1: pears."


def test_the_headline_names_three_fruit_at_most(made):
    names = ("apple", "pear", "plum", "sour_cherry")
    blocks = table(*[(1, "", f, "good", 90 - i) for i, f in enumerate(names)])
    assert answer(made, blocks).headline.endswith("apples, pears and plums.")


def test_where_nothing_is_accepted_the_answer_says_what_would_change_it(made):
    told = answer(made, table((1, "Mere", "apple", "refused", 0)))
    assert "would change it" in told.where
    assert told.fruit == ""
    assert told.not_there.startswith("Refused for every fruit asked for: block 1, Mere")


def test_where_says_block_size_class_and_reason(made):
    told = answer(made, table((1, "Bank", "pear", "with conditions", 60)))
    assert told.where == f"Block 1, Bank, 1.5\u00a0ha, with conditions. {REASON}"


def test_refused_ground_is_named_without_its_drainage(made):
    blocks = table((1, "Bank", "pear", "good", 60), (2, "Mere", "pear", "refused", 0))
    told = answer(made, blocks).not_there
    assert "block 2, Mere (sun 6 h a day while fruit ripens)" in told
    assert "Bank" not in told


def test_ground_refused_for_one_fruit_alone_is_not_called_refused(made):
    blocks = table((1, "", "apple", "refused", 0), (1, "", "pear", "good", 60))
    assert answer(made, blocks).not_there == ""


@pytest.mark.parametrize(
    ("count", "more"), [(4, ""), (5, "and 1 more"), (9, "and 5 more")]
)
def test_four_refused_blocks_are_named_and_the_rest_counted(made, count, more):
    blocks = table(*[(n, "", "pear", "refused", 0) for n in range(1, count + 1)])
    told = answer(made, blocks).not_there
    assert told.count("block ") == 4
    assert told.endswith(f"; {more}." if more else ").")


def test_the_fruit_of_the_first_three_blocks_are_told(made):
    blocks = table(*[(n, "", "pear", "good", 60) for n in range(1, 6)])
    told = answer(made, blocks).fruit
    assert told == ("Block 1 pears (good); block 2 pears (good); block 3 pears (good).")


@pytest.mark.parametrize("site_class", SITE_CLASSES)
@pytest.mark.parametrize("coarse", [False, True])
@pytest.mark.parametrize("given", [frozenset(), frozenset({"ground_tests"})])
def test_there_are_one_to_three_measures_and_always_thermometers(
    made, site_class, coarse, given
):
    cell = 30.0 if coarse else 1.0
    site = replace(
        made.site,
        model=ElevationModel(("e.tif",), cell, "ground", 0.1),
        given=given,
    )
    assert site.model.coarse is coarse
    blocks = table((1, "", "pear", site_class, 50))
    measures = [m.what for m in answer(made, blocks, site=site).measures]
    assert 1 <= len(measures) <= 3
    assert any("Two thermometers at 1.5 m" in what for what in measures)
    assert any("test hole" in w for w in measures) == (
        site_class != "refused" and not given
    )
    assert measures[0].startswith("Walk the field") == coarse


def test_test_holes_go_to_the_first_two_blocks_that_may_be_planted(made):
    blocks = table(
        (1, "", "pear", "good", 60),
        (2, "", "pear", "refused", 0),
        (3, "", "pear", "test first", 30),
        (4, "", "pear", "test first", 20),
    )
    measures = [m.what for m in answer(made, blocks).measures]
    assert "Two test holes in blocks 1 and 3" in measures


def test_without_a_pocket_the_thermometer_goes_to_the_lowest_ground(made):
    blocks = table((1, "", "pear", "good", 60))
    low = answer(made, blocks, pockets=made.frost_pockets.iloc[:0])
    assert any("the lowest ground of the field" in m.what for m in low.measures)
    deep = answer(made, blocks)
    assert any("the deepest frost pocket" in m.what for m in deep.measures)


def test_a_guessed_openness_asks_for_a_look_through_the_hedge(made):
    blocks = table((1, "", "pear", "good", 60))
    assert "lowest metre of each hedge" in answer(made, blocks).measures[2].what
    site = replace(made.site, remarks=(Remark("read", "barriers", "1 hedge"),))
    told = answer(made, blocks, site=site)
    assert not any("hedge" in m.what for m in told.measures)


@pytest.mark.parametrize(
    ("given", "said"), [(frozenset(), True), (frozenset({"barriers"}), False)]
)
def test_barriers_that_were_not_given_are_said_to_hold_no_air(made, given, said):
    site = replace(made.site, given=given)
    told = answer(made, table((1, "", "pear", "good", 60)), site=site)
    assert any(text.startswith("Hedges, walls") for text in told.unknowns) == said


def test_layers_that_lack_an_input_are_named_and_others_are_not(made):
    told = answer(
        made,
        table((1, "", "pear", "good", 60)),
        absent={"last_spring_frost": "records", "never_asked": name_need(NOTHING)},
    )
    assert "Not made, for want of records: last spring frost." in told.unknowns
    assert not any("never asked" in text for text in told.unknowns)


def test_the_cautions_name_fires_and_water_on_a_frost_night(made):
    told = " ".join(answer(made, table((1, "", "pear", "good", 60))).cautions)
    for said in ("carbon monoxide", "never unattended", "until its ice has melted"):
        assert said in told


def test_a_test_hole_is_told_how_to_dig_and_how_to_read(made):
    site = replace(made.site, given=frozenset())
    blocks = table((1, "", "pear", "with conditions", 60))
    told = answer(made, blocks, site=site).measures[0].decides
    # Source: common practice, no source: 30 cm, two fillings, four hours.
    for said in ("30 cm deep", "filled twice", "within four hours", "next day"):
        assert said in told


def test_years_are_unknown_without_a_record_and_told_with_one(made):
    blocks = table((1, "", "pear", "good", 60))
    without = answer(made, blocks)
    assert without.stamp == STAMP
    assert any(text.startswith("Years:") for text in without.unknowns)
    lacking = answer(made, blocks, absent={"frost_free_days": NEEDS})
    # Said once, as years: not again as layers, and never in words of a promise.
    assert lacking.unknowns == without.unknowns
    assert f"Years: without {NEEDS} no poor-crop years are counted." in lacking.unknowns
    counted = answer(made, blocks, years=("Frost in 3 years of 10.",))
    assert counted.stamp == STAMP_WITH_YEARS
    assert counted.years == ("Frost in 3 years of 10.",)
    assert not any(text.startswith("Years:") for text in counted.unknowns)


def test_evidence_is_sorted_into_what_speaks_for_and_against(made):
    notes = made.notes.copy()
    told = answer(made, made.blocks, notes=notes)
    assert len(told.agreements) == 1
    assert told.contradictions == ()
    notes["verdict"] = "contradicts"
    told = answer(made, made.blocks, notes=notes)
    assert told.agreements == ()
    assert "12 May 2025" in told.contradictions[0]


@pytest.mark.parametrize(
    "word", ["guarantee", "frost-free", "optimal", "no risk", "allowed"]
)
def test_no_caution_promises_anything(word):
    assert not any(word in caution.lower() for caution in CAUTIONS)


@pytest.mark.parametrize("word", ["digging", "neighbour", "local code", "setting out"])
def test_the_cautions_cover_digging_neighbours_codes_and_setting_out(word):
    assert any(word in caution for caution in CAUTIONS)


@pytest.mark.parametrize(
    ("cell", "noise", "step", "wide", "deep"),
    [
        (1.0, 0.02, 0.0, "3\u00a0m", "0.1\u00a0m"),
        (1.0, 0.10, 0.0, "3\u00a0m", "0.2\u00a0m"),
        (5.0, 0.10, 1.0, "15\u00a0m", "1.0\u00a0m"),
        (30.0, 5.0, 1.0, "90\u00a0m", "10\u00a0m"),
    ],
)
def test_a_hollow_must_be_three_cells_wide_and_above_noise_and_step(
    made, cell, noise, step, wide, deep
):
    model = ElevationModel(("e.tif",), cell, "ground", noise, step=step)
    told = resolution_sentence(replace(made.site, model=model))
    assert f"hollows from {wide} wide and {deep} deep" in told


def test_heights_of_tree_tops_are_said_to_be_so(made):
    model = ElevationModel(("e.tif",), 1.0, "canopy", 0.1)
    told = resolution_sentence(replace(made.site, model=model))
    assert "tree tops and roofs" in told


@pytest.mark.parametrize(("name", "told"), [("Bank", "block 7, Bank"), ("", "block 7")])
def test_a_block_has_a_number_and_a_name_where_it_has_one(name, told):
    assert block_name(table((7, name, "pear", "good", 1)), 7) == told


def test_the_best_fruit_of_a_block_are_those_of_its_best_class_by_score():
    blocks = table(
        (1, "", "apple", "good", 71),
        (1, "", "pear", "with conditions", 99),
        (1, "", "plum", "good", 80),
        (2, "", "quince", "good", 100),
    )
    assert best_fruit(blocks, 1) == ("good", ["plum", "apple"])
    assert best_fruit(blocks, 2) == ("good", ["quince"])


def test_the_table_of_fruit_leaves_empty_what_waits_for_records():
    blocks = table((1, "", "apple", "good", 71), (2, "", "pear", "refused", 0))
    found = tabulate_fruit(blocks)
    assert found["site_class"].tolist() == ["good", "refused"]
    assert found["reason"].tolist() == [REASON, REASON]
    waiting = ["group", "poor_crop_years", "low", "high", "ripening", "winter"]
    assert found[waiting].isna().all(axis=None)
