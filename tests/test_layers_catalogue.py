"""The catalogue of layers and the engine that makes them."""

import ast
import gc
import subprocess
import sys
import weakref
from pathlib import Path
from typing import Annotated

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS

import sitekit.layers
from sitekit.errors import LayerError
from sitekit.grid import Grid
from sitekit.layers import CATALOGUE
from sitekit.layers.catalogue import (
    GRID_FACTS,
    NOTHING,
    all_settings,
    find_layer,
    layer,
    make_layers,
    order_layers,
)
from sitekit.settings import Setting

GRID = Grid(CRS.from_epsg(32633), 500_000.0, 6_650_000.0, 2.0, (3, 4))
FACTOR = Setting("1", "What to multiply by.", low=0, high=9)


def ones():
    return np.ones(GRID.shape, np.float32)


@pytest.fixture
def own(monkeypatch):
    """A catalogue of four layers of our own: a chain, a fork, a season."""
    monkeypatch.setattr(sitekit.layers.catalogue, "CATALOGUE", {})
    entered = layer(units="m", long_name="twice the ground", reference="none")

    @entered
    def doubled(ground, *, cell_size: float, factor: Annotated[float, FACTOR] = 2.0):
        assert cell_size == GRID.cell_size
        return ground * factor

    @layer(units="m", long_name="a step", reference="none", written=False)
    def step(doubled):
        return doubled + 1

    @layer(units="m", long_name="a sum", reference="none")
    def total(step, doubled):
        return step + doubled

    @layer(
        units="h",
        long_name="sun in the {season} season",
        reference="none",
        seasons=("ripening", "growing"),
    )
    def sun(lamp, *, season: str):
        return lamp + len(season)

    @layer(units="h", long_name="{season}", reference="none", seasons=("ripening",))
    def warmth(sun_of_season, *, season: str):
        return sun_of_season * 10 + len(season)

    return sitekit.layers.catalogue.CATALOGUE


def test_a_layer_names_what_it_needs_and_its_settings(own):
    assert own["total"].needs == ("step", "doubled")
    assert own["doubled"].needs == ("ground",)
    assert own["doubled"].settings == {"factor": (2.0, FACTOR)}
    assert own["total"].settings == {}
    assert all_settings() == {"factor": (2.0, FACTOR)}


def test_a_layer_of_seasons_is_one_layer_a_season(own):
    assert {"sun_ripening", "sun_growing"} <= set(own)
    assert "sun" not in own
    assert own["sun_growing"].fixed == {"season": "growing"}
    assert own["sun_growing"].long_name == "sun in the growing season"


def test_a_layer_of_a_season_needs_the_others_of_the_same_season(own):
    assert own["warmth_ripening"].needs == ("sun_ripening",)
    made, absent = make_layers(["warmth_ripening"], {"lamp": ones()}, GRID)
    assert absent == {}
    assert (made["warmth_ripening"] == 10 * (1 + 8) + 8).all()


def test_entering_a_function_leaves_the_function_as_it_was(own):
    assert own["total"].function(1, 2) == 3


def test_each_layer_comes_after_what_it_needs(own):
    order, absent = order_layers(["total"], ["ground"])
    assert order == ["doubled", "step", "total"]
    assert absent == {}


def test_a_layer_that_takes_much_memory_is_made_before_the_others(own):
    @layer(units="m", long_name="large", reference="none", heavy=1)
    def large(ground):
        return ground

    order, _ = order_layers(["doubled", "large"], ["ground"])
    assert order == ["large", "doubled"]


def test_what_is_at_hand_is_not_made_again(own):
    assert order_layers(["total"], ["step", "doubled"])[0] == ["total"]
    assert order_layers(["step"], ["step"]) == ([], {})


def test_a_layer_that_cannot_be_made_names_the_input_at_the_root(own):
    order, absent = order_layers(["total", "sun_growing"], ["lamp"])
    assert order == ["sun_growing"]
    assert absent["total"] == "ground"
    assert absent["step"] == "ground"


def test_a_layer_that_is_not_known_names_the_nearest(own):
    with pytest.raises(
        LayerError, match=r'No layer is called "totl"\. Nearest: "total"\.'
    ):
        order_layers(["totl"], ["ground"])
    with pytest.raises(LayerError, match=r'^No layer is called "qqq"\.$'):
        find_layer("qqq")


def test_two_layers_that_need_each_other_are_an_error(own):
    @layer(units="m", long_name="hen", reference="none")
    def hen(egg):
        return egg

    @layer(units="m", long_name="egg", reference="none")
    def egg(hen):
        return hen

    with pytest.raises(RecursionError):
        order_layers(["hen"], [])


def test_layers_asked_for_are_made_and_steps_on_the_way_are_not_kept(own):
    made, absent = make_layers(["total"], {"ground": ones()}, GRID)
    assert set(made) == {"total"}
    assert absent == {}
    assert (made["total"] == 5).all()


def test_a_step_that_is_asked_for_is_kept(own):
    made, _ = make_layers(["step", "total"], {"ground": ones()}, GRID)
    assert list(made) == ["step", "total"]
    assert (made["step"] == 3).all()


def test_each_layer_is_made_once_and_told_before(own):
    told = []
    make_layers(["total", "doubled", "step"], {"ground": ones()}, GRID, {}, told.append)
    assert told == ["doubled", "step", "total"]


def test_a_layer_carries_its_unit_name_and_source(own):
    made, _ = make_layers(["doubled"], {"ground": ones()}, GRID)
    assert made["doubled"].attrs == {
        "units": "m",
        "long_name": "twice the ground",
        "reference": "none",
    }
    np.testing.assert_array_equal(made["x"], GRID.eastings)
    np.testing.assert_array_equal(made["y"], GRID.northings)


def test_a_setting_reaches_the_layer_that_has_it(own):
    made, _ = make_layers(["total"], {"ground": ones()}, GRID, {"factor": 5.0})
    assert (made["total"] == 11).all()


def test_a_setting_of_another_layer_disturbs_none(own):
    made, _ = make_layers(["total"], {"ground": ones()}, GRID, {"radius": 5.0})
    assert (made["total"] == 5).all()


def test_a_fact_of_the_grid_cannot_be_set(own):
    made, _ = make_layers(["doubled"], {"ground": ones()}, GRID, {"cell_size": 99.0})
    assert (made["doubled"] == 2).all()


def test_layers_whose_input_is_missing_are_left_out_and_named(own):
    made, absent = make_layers(["total", "sun_growing"], {"lamp": ones()}, GRID)
    assert set(made) == {"sun_growing"}
    assert absent["total"] == "ground"


def test_a_layer_with_nothing_to_tell_is_absent_and_is_no_layer_of_zeros(own):
    @layer(units="m", long_name="ice", reference="none")
    def ice(lamp):
        return None

    made, absent = make_layers(["ice", "sun_growing"], {"lamp": ones()}, GRID)
    assert set(made) == {"sun_growing"}
    assert absent == {"ice": NOTHING}


def test_a_stack_cannot_be_kept_but_may_be_a_step(own):
    @layer(units="1", long_name="horizon", reference="none", written=False)
    def stack(lamp):
        return np.stack([lamp, lamp])

    @layer(units="1", long_name="lowest", reference="none")
    def lowest(stack):
        return stack.min(axis=0)

    assert set(make_layers(["lowest"], {"lamp": ones()}, GRID)[0]) == {"lowest"}
    with pytest.raises(
        LayerError, match=r'"stack" is a step on the way, not one value'
    ):
        make_layers(["stack"], {"lamp": ones()}, GRID)


def test_a_step_is_let_go_as_soon_as_nothing_needs_it(own):
    alive = {}

    @layer(units="m", long_name="large", reference="none", written=False)
    def large(lamp):
        made = lamp * 2
        alive["large"] = weakref.ref(made)
        return made

    @layer(units="m", long_name="small", reference="none")
    def small(large):
        return large + 1

    @layer(units="m", long_name="last", reference="none")
    def last(small):
        gc.collect()
        alive["at the end"] = alive["large"]() is not None
        return small + 1

    make_layers(["last"], {"lamp": ones()}, GRID)
    assert alive["at the end"] is False


def test_the_inputs_of_the_caller_are_left_alone(own):
    given_arrays = {"ground": ones()}
    make_layers(["total"], given_arrays, GRID)
    assert list(given_arrays) == ["ground"]
    assert (given_arrays["ground"] == 1).all()


def test_no_layers_asked_for_are_no_layers_made(own):
    made, absent = make_layers([], {"ground": ones()}, GRID)
    assert len(made) == 0
    assert absent == {}


def inputs_of_all():
    """Every name that a layer of the real catalogue needs and none makes."""
    needs = {need for entry in CATALOGUE.values() for need in entry.needs}
    return sorted(needs - set(CATALOGUE))


@given(
    st.sets(st.sampled_from(sorted(CATALOGUE)), min_size=1),
    st.sets(st.sampled_from(inputs_of_all())),
)
def test_any_layers_of_the_catalogue_are_ordered_or_absent(names, at_hand):
    order, absent = order_layers(names, at_hand)
    done = set(at_hand)
    for name in order:
        assert set(CATALOGUE[name].needs) <= done
        done.add(name)
    assert len(order) == len(set(order))
    assert names <= done | set(absent)
    assert not set(order) & set(absent)
    assert set(absent.values()) <= set(inputs_of_all()) - at_hand


def test_with_every_input_every_layer_can_be_made():
    order, absent = order_layers(CATALOGUE, inputs_of_all())
    assert absent == {}
    assert set(order) == set(CATALOGUE)


def layers_in(module):
    """Names of the functions in a module of the source that are declared layers."""
    tree = ast.parse(Path(module).read_text(encoding="utf-8"))
    return {
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef)
        for mark in node.decorator_list
        if isinstance(mark, ast.Call) and getattr(mark.func, "id", "") == "layer"
    }


def test_every_layer_in_the_source_stands_in_the_catalogue_of_a_fresh_program():
    folder = Path(sitekit.layers.__file__).parent
    declared = {name for file in folder.glob("*.py") for name in layers_in(file)}
    program = (
        "from sitekit.layers import CATALOGUE;"
        "print(*{entry.function.__name__ for entry in CATALOGUE.values()})"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert len(declared) > 20
    assert set(done.stdout.split()) == declared


@pytest.mark.parametrize("name", sorted(CATALOGUE))
def test_every_layer_says_its_unit_what_it_is_and_where_it_comes_from(name):
    entry = find_layer(name)
    assert entry.name == name
    assert entry.units.strip()
    assert entry.long_name.strip()
    assert entry.reference.strip()
    assert "{" not in entry.long_name
    assert not set(entry.needs) & set(GRID_FACTS)


def test_the_layers_of_the_contract_that_need_no_record_are_written():
    wanted = {
        "elevation",
        "slope",
        "aspect",
        "relative_height",
        "depression_depth",
        "pooling_depth",
        "catchment_area",
        "wetness_index",
        "sky_view_factor",
        "direct_irradiation_growing",
        "direct_irradiation_ripening",
        "sunshine_hours_growing",
        "sunshine_hours_ripening",
        "distance_to_water",
        "lake_effect_ice",
        "lake_effect_bloom",
        "lake_effect_autumn",
        "cold_air_depth",
        "cold_air_speed",
        "frost_night_offset",
        "wind_exposure",
    }
    assert wanted <= {name for name, entry in CATALOGUE.items() if entry.written}


@pytest.mark.parametrize(
    ("name", "units"),
    [
        ("slope", "degree"),
        ("aspect", "degree"),
        ("pooling_depth", "m"),
        ("catchment_area", "m2"),
        ("sunshine_hours_ripening", "h"),
        ("frost_night_offset", "degC"),
        ("lake_effect_bloom", "degC"),
        ("wind_exposure", "1"),
        ("distance_to_water", "m"),
    ],
)
def test_the_units_are_those_of_the_contract(name, units):
    assert CATALOGUE[name].units == units
