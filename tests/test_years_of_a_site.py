"""Years of ten on a whole site: the invented holding with its thirty-year record."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio

from sitekit.climate.crops import count_poor_crops, make_kind
from sitekit.climate.seasons import make_seasons
from sitekit.climate.springs import read_springs
from sitekit.climate.years import FEWEST, count_years
from sitekit.demo.holding import write_holding
from sitekit.demo.records import BLOOM_SUMS
from sitekit.demo.terrain import SOUTH, WEST
from sitekit.demo.truth import PLANTED
from sitekit.fruit import read_fruit
from sitekit.pipeline import survey
from sitekit.request import read_site
from sitekit.siting.maps import CLIMATE, NEEDS
from sitekit.siting.years import FACTORS
from sitekit.suitability.reasons import UNTESTED
from sitekit.words import SITE_CLASSES
from sitekit.writing import write_survey

FRUIT = ("apple", "pear", "plum")


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    return read_site(write_holding(tmp_path_factory.mktemp("demo")))


@pytest.fixture(scope="module")
def found(site):
    return survey(site)


@pytest.fixture(scope="module")
def bare(site):
    """The same holding without its record."""
    return survey(replace(site, records=()))


@pytest.fixture(scope="module")
def colder(site):
    """The same warmth by day, so that bloom stays; its nights are colder."""
    (record,) = site.records
    spring = record.days["date"].dt.month.isin([4, 5])
    cold = record.days.assign(tmin=record.days["tmin"] - 3.0 * spring)
    return survey(replace(site, records=(replace(record, days=cold),)))


def median(found, name, box):
    """Middle of a layer over a planted part."""
    x, y = found.site.grid.eastings - WEST, found.site.grid.northings - SOUTH
    west, south, east, north = box
    rows = (y > south) & (y < north)
    columns = (x > west) & (x < east)
    return float(np.nanmedian(found.layers[name].to_numpy()[np.ix_(rows, columns)]))


def test_the_record_and_the_notes_of_bloom_are_read(site):
    (record,) = site.records
    assert (record.days["date"].iloc[0].year, record.days["date"].iloc[-1].year) == (
        1996,
        2025,
    )
    assert set(record.bloom["fruit"]) == {"apple", "pear", "plum"}
    assert "station_daily.csv" in site.inputs
    assert any(
        r.about == "station_daily.csv" and r.kind == "read" for r in site.remarks
    )


def test_notes_of_bloom_bring_back_the_sums_that_were_planted(site, found):
    fruits = [read_fruit(name) for name in FRUIT]
    arrays = {str(n): v.to_numpy() for n, v in found.layers.items()}
    years = count_years(site, arrays, fruits)
    for fruit in ("pear", "plum"):
        planted = next(total for kind, total in BLOOM_SUMS.values() if kind == fruit)
        kind = make_kind(read_fruit(fruit), years.tunings[fruit])
        assert kind.full_bloom == pytest.approx(planted, rel=0.06)
        assert years.tunings[fruit].error < 5


def test_poor_crops_are_those_of_the_planted_offsets(site, found):
    # The planted offset through the record alone, beside what the survey tells.
    springs = read_springs(make_seasons(site.records[0]))
    kind = make_kind(read_fruit("plum"))
    for name in ("outer shelf", "upper Hedge Field", "Down Edge", "meadow floor"):
        part = PLANTED[name]
        point = tuple(np.array([value]) for value in (part.offset, 0.0, 0.0))
        poor, low, high, _ = count_poor_crops(springs, kind, point)[:, 0]
        told = median(found, "poor_crop_years_plum", part.box)
        assert low - 0.5 <= told <= high + 0.5, name
        assert told == pytest.approx(poor, abs=2.5), name


def test_the_plum_goes_to_the_shelf_and_not_to_the_meadow(found):
    shelf = median(found, "poor_crop_years_plum", PLANTED["outer shelf"].box)
    meadow = median(found, "poor_crop_years_plum", PLANTED["meadow floor"].box)
    assert shelf < 2
    assert meadow > 4
    table = found.fruit_by_block.merge(
        found.blocks[["block", "fruit", "name"]], on=["block", "fruit"]
    )
    plum = table[(table["fruit"] == "plum") & (table["group"] == "middle")]
    best = plum.groupby("name")["site_class"].agg(
        lambda names: max(map(SITE_CLASSES.index, names))
    )
    assert best["The Shelf"] >= SITE_CLASSES.index("with conditions")
    assert best["Mere Meadow"] == SITE_CLASSES.index("refused")


def test_every_group_of_every_fruit_has_a_row_on_every_block(found):
    table = found.fruit_by_block
    groups = {
        name: {g.name for g in read_fruit(name).varieties.groups} for name in FRUIT
    }
    blocks = set(found.blocks["block"])
    assert len(table) == len(blocks) * sum(map(len, groups.values()))
    for (_, fruit), here in table.groupby(["block", "fruit"]):
        assert set(here["group"]) == groups[fruit]
    assert (
        (table["low"] <= table["poor_crop_years"])
        & (table["poor_crop_years"] <= table["high"])
    ).all()


def test_the_usual_group_has_the_class_of_the_block(found):
    usual = {name: read_fruit(name).varieties.group().name for name in FRUIT}
    table = found.fruit_by_block
    own = table[table["group"] == table["fruit"].map(usual)]
    both = own.merge(found.blocks, on=["block", "fruit"], suffixes=("", "_block"))
    assert len(both) == len(found.blocks)
    left = (both["site_class"] == "refused") & (both["site_class_block"] != "refused")
    assert (both.loc[left, "site_class_block"] == "hardy kinds only").all()
    same = both[~left]
    assert (same["site_class"] == same["site_class_block"]).all()
    assert (same["reason"] == same["reason_block"]).all()


def test_a_reason_ends_with_untested_drainage_once_or_not_at_all(found):
    for reason in [*found.fruit_by_block["reason"], *found.spots["reason"]]:
        assert reason.count(UNTESTED) in (0, 1)
        assert reason.endswith((f"{UNTESTED}.", ".")), reason
        if UNTESTED in reason:
            assert reason.endswith(f"{UNTESTED}.")


def test_no_class_is_better_for_its_years(found, bare):
    keys = ["fruit", "easting_m", "northing_m"]
    both = found.spots.merge(bare.spots, on=keys, suffixes=("", "_ground"))
    codes = both["site_class"].map(SITE_CLASSES.index)
    ground = both["site_class_ground"].map(SITE_CLASSES.index)
    assert (codes <= ground).all()


def test_a_spot_that_the_years_lower_says_which_years(colder, bare):
    keys = ["fruit", "easting_m", "northing_m"]
    both = colder.spots.merge(bare.spots, on=keys, suffixes=("", "_ground"))
    codes = both["site_class"].map(SITE_CLASSES.index)
    lowered = both[codes < both["site_class_ground"].map(SITE_CLASSES.index)]
    assert len(lowered)
    assert set(lowered["limiting_factor"]) <= set(FACTORS.values())
    assert lowered["reason"].str.contains("of ten|winter|freez").all()


def test_spots_and_layers_tell_the_same_years(found):
    spots = found.spots[found.spots["fruit"] == "plum"]
    layer = found.layers["poor_crop_years_plum"].to_numpy()
    there = found.site.grid.sample(layer, spots["easting_m"], spots["northing_m"])
    assert np.abs(spots["poor_crop_years"] - there).max() < 0.25


def test_without_a_record_everything_is_as_before_and_says_so(bare):
    assert not set(CLIMATE) & set(bare.layers)
    assert not any(str(n).startswith("poor_crop_years") for n in bare.layers)
    assert {bare.absent[name] for name in CLIMATE} == {NEEDS}
    assert bare.spots["poor_crop_years"].isna().all()
    assert bare.fruit_by_block["group"].isna().all()
    assert bare.answer.years == ()
    assert bare.answer.stamp.startswith("From terrain only")


def test_with_a_record_the_answer_tells_of_it(found):
    text = " ".join(found.answer.years)
    assert "30 complete years, 1996 to 2025" in text
    assert "Last frost (0 °C)" in text
    assert "Nothing is carried on" in text
    assert found.answer.stamp.startswith("From terrain and the record")
    assert not any("Years: without a record" in u for u in found.answer.unknowns)


def test_a_short_record_counts_nothing(site):
    (record,) = site.records
    few = record.days[record.days["date"].dt.year >= 2026 - FEWEST + 1]
    short = replace(site, records=(replace(record, days=few.reset_index(drop=True)),))
    assert count_years(short, {}, []) is None


def test_layers_of_climate_are_written_with_unit_and_meaning(found, tmp_path):
    write_survey(found, tmp_path / "survey")
    for name, (units, long_name, _) in CLIMATE.items():
        with rasterio.open(tmp_path / "survey" / "layers" / f"{name}.tif") as raster:
            assert raster.units == (units,)
            assert raster.descriptions == (long_name,)
            assert np.isnan(raster.nodata)
    table = pyogrio.read_dataframe(
        tmp_path / "survey" / "site.gpkg", layer="fruit_by_block"
    )
    assert len(table) == len(found.fruit_by_block)
    run = json.loads((tmp_path / "survey" / "run.json").read_text())
    assert "station_daily.csv" in run["inputs"]


def test_layers_can_be_asked_for_by_name(site):
    asked = survey(replace(site, layers=("slope", "heat_sum", "poor_crop_years_pear")))
    names = {str(n) for n in asked.layers}
    assert {"slope", "heat_sum", "poor_crop_years_pear"} <= names
    assert not {"frost_free_days", "last_spring_frost", "poor_crop_years_plum"} & names


def test_a_colder_record_has_more_poor_years(found, colder):
    for name in FRUIT:
        layer = f"poor_crop_years_{name}"
        now, then = found.layers[layer].to_numpy(), colder.layers[layer].to_numpy()
        assert np.nanmean(then) > np.nanmean(now) + 0.5


def test_a_warming_record_is_said_and_both_halves_are_told(site):
    (record,) = site.records
    drift = (record.days["date"].dt.year - 2010) * 0.3
    warm = record.days.assign(
        tmin=record.days["tmin"] + drift, tmax=record.days["tmax"] + drift
    )
    told = survey(
        replace(site, records=(replace(record, days=warm),), layers=("slope",))
    )
    text = next(t for t in told.answer.years if t.startswith("Last frost of spring"))
    assert "days earlier in ten years" in text
    assert "no sure trend" not in text
    assert "The second half" in text
    assert pd.notna(told.fruit_by_block["poor_crop_years"]).all()
