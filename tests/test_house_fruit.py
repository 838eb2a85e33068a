"""The fruit files against ground: every factor counts somewhere, and fruit differ.

A verdict is a site class with its cause, as map and report tell it. Three grounds are
looked at: the two invented holdings, and a hollow way by formula that has what they
lack: shade of a tall wood, ground hardly above the water, a tested open crest.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from geopandas import GeoDataFrame

from sitekit.demo import write_holding, write_southern_holding
from sitekit.demo.holding import write_elevation
from sitekit.fruit import fruit_names, read_fruit
from sitekit.pipeline import survey
from sitekit.request import read_site
from sitekit.suitability.ground import Cause, judge, make_ground
from sitekit.suitability.score import score_fruit

FRUITS = {name: read_fruit(name) for name in fruit_names()}
FACTORS = [
    (fruit.name, number, factor.layer)
    for fruit in FRUITS.values()
    for number, factor in enumerate(fruit.factors)
]
LAYERS = tuple(
    dict.fromkeys(
        ["slope", "land_slope", *(f.layer for x in FRUITS.values() for f in x.factors)]
    )
)
CELL, ROWS, COLUMNS = 4.0, 150, 100
WEST, SOUTH = 500_000.0, 5_130_000.0


def write_hollow_way(folder):
    """A valley from west to east with a lake in it, a wood, and a crest to the north."""
    north = (ROWS - 0.5 - np.arange(ROWS)) * CELL
    flank = 0.02 * np.abs(north - 200)
    beyond = np.maximum(north - 350, 0)
    bank = np.minimum(0.12 * beyond, 7.8 - 0.02 * (beyond - 65))
    height = 600 + np.where(north > 350, 3 + bank, flank)
    ground = np.repeat(height[:, None], COLUMNS, axis=1).astype(np.float32)
    folder.mkdir()
    write_elevation(folder / "elevation.tif", ground, "EPSG:32633", CELL, (WEST, SOUTH))
    boxes = {
        "field": [(60, 104, 340, 176), (60, 420, 340, 480)],
        "water": [(0, 184, 400, 216)],
        "woodland": [(0, 40, 400, 100)],
    }
    boxes["ground_tests"] = [(w, 440, w + 1, 441) for w in range(80, 340, 40)]
    for name, places in boxes.items():
        shapes = [
            shapely.box(WEST + w, SOUTH + s, WEST + e, SOUTH + n)
            for w, s, e, n in places
        ]
        height_m = [30.0] * len(shapes)
        frame = GeoDataFrame({"height_m": height_m}, geometry=shapes, crs=32633)
        if name == "ground_tests":
            frame = frame.assign(result="good").set_geometry(frame.centroid)
        frame.to_file(folder / f"{name}.geojson")
    keys = "\n".join(f'{name} = "{name}.geojson"' for name in boxes)
    file = folder / "site.toml"
    file.write_text(
        f'[site]\nname = "Hollow Way"\nelevation = "elevation.tif"\n{keys}\n',
        encoding="utf-8",
    )
    return file


@pytest.fixture(scope="module")
def grounds(tmp_path_factory):
    """Each ground as layers, soil and the cells that are judged."""
    folder = tmp_path_factory.mktemp("grounds")
    writers = {
        "averlow": write_holding,
        "tilo": write_southern_holding,
        "hollow_way": write_hollow_way,
    }
    found = {}
    for name, write in writers.items():
        site = replace(read_site(write(folder / name)), layers=LAYERS, fruit=())
        made = survey(site).layers
        layers = {str(n): layer.to_numpy() for n, layer in made.items()}
        judged = site.field_mask & ~site.water_mask
        found[name] = (layers, make_ground(site), judged)
    return found


def verdicts(fruit, ground):
    """Class of every cell, and the name of what decides it."""
    layers, soil, judged = ground
    found = judge(score_fruit(fruit, layers, judged), soil, layers["land_slope"])
    names = dict(enumerate(f.layer for f in fruit.factors))
    names |= {int(cause): cause.name for cause in Cause}
    causes = [names.get(int(code), "") for code in found.cause[judged]]
    return found.site_class[judged], np.array(causes)


@pytest.mark.parametrize(("name", "number", "layer"), FACTORS)
def test_without_any_factor_some_verdict_is_another(grounds, name, number, layer):
    whole = FRUITS[name]
    assert whole.factors[number].layer == layer
    fewer = replace(whole, factors=whole.factors[:number] + whole.factors[number + 1 :])
    changed = {}
    for ground, values in grounds.items():
        (was, why), (now, then) = verdicts(whole, values), verdicts(fewer, values)
        changed[ground] = int(((was != now) | (why != then)).sum())
    assert sum(changed.values()) > 0, f"{layer} decides nothing for {name}: {changed}"


def test_two_fruits_disagree_on_the_demo(grounds):
    apple, _ = verdicts(FRUITS["apple"], grounds["averlow"])
    cherry, _ = verdicts(FRUITS["sweet_cherry"], grounds["averlow"])
    assert (apple > cherry).sum() > 100


def test_every_two_fruits_disagree_somewhere(grounds):
    names = list(FRUITS)
    same = []
    for place, first in enumerate(names):
        for second in names[place + 1 :]:
            scores = [
                score_fruit(FRUITS[n], layers, judged).score[judged]
                for layers, _, judged in grounds.values()
                for n in (first, second)
            ]
            pairs = zip(scores[::2], scores[1::2], strict=True)
            if not any((np.nan_to_num(a) != np.nan_to_num(b)).any() for a, b in pairs):
                same.append((first, second))
    assert same == []


def test_no_class_is_better_than_the_weakest_factor_allows(grounds):
    for fruit in FRUITS.values():
        for layers, soil, judged in grounds.values():
            score = score_fruit(fruit, layers, judged)
            found = judge(score, soil, layers["land_slope"])
            here = score.site_class != 255
            assert (found.site_class[here] <= score.site_class[here]).all()
