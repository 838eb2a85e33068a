"""The demo writes a folder like a user's own, the same at every call, all invented."""

import tomllib
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely

from sitekit.config import SiteModel
from sitekit.demo import write_holding
from sitekit.demo.evidence import HOLES, NOT_TESTED, judge_hole
from sitekit.demo.holding import LAYERS
from sitekit.demo.places import PLOTS
from sitekit.demo.terrain import SOUTH, WEST, make_terrain
from sitekit.demo.truth import PLANTED
from sitekit.io.barriers import settle_barriers
from sitekit.io.schemas import SCHEMAS, fit_columns, unknown_words
from sitekit.site import VECTORS


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_holding(tmp_path_factory.mktemp("averlow")).parent


def layer(folder: Path, name: str, file: str = "holding.gpkg") -> gpd.GeoDataFrame:
    return gpd.read_file(folder / file, layer=name)


def local(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The same, in metres from the corner of the holding."""
    return frame.set_geometry(frame.translate(-WEST, -SOUTH))


def test_the_elevation_reopens_as_bare_ground_in_metres(folder: Path):
    with rasterio.open(folder / "elevation.tif") as raster:
        assert raster.crs.to_epsg() == 32633
        assert raster.dtypes == ("float32",)
        assert raster.nodata == -9999
        assert raster.res == (4.0, 4.0)
        assert (raster.bounds.left, raster.bounds.bottom) == (500_000, 5_130_000)
        assert raster.units == ("m",)
        assert np.array_equal(raster.read(1), make_terrain().astype(np.float32))


def test_every_layer_is_named_as_its_key_of_the_site_file(folder: Path):
    names = [name for name, _ in pyogrio.list_layers(folder / "holding.gpkg")]
    assert names == list(LAYERS)
    assert set(names) == {"field", *VECTORS}


@pytest.mark.parametrize("name", sorted(SCHEMAS))
def test_every_layer_has_columns_and_words_that_the_reader_knows(
    folder: Path, name: str
):
    frame = layer(folder, name)
    assert frame.crs.to_epsg() == 32633
    assert frame.is_valid.all()
    assert not frame.is_empty.any()
    fitted = fit_columns(frame, SCHEMAS[name], "holding.gpkg")
    assert unknown_words(fitted, SCHEMAS[name]) == []


def test_the_four_plots_are_apart_and_cover_9_4_hectares(folder: Path):
    field = layer(folder, "field")
    assert list(field["name"]) == [
        "Mere Meadow",
        "Hedge Field",
        "The Shelf",
        "Down Edge",
    ]
    assert field.area.sum() / 10_000 == pytest.approx(9.4, abs=0.05)
    assert field.union_all().area == pytest.approx(field.area.sum())


@pytest.mark.parametrize("part", sorted(PLANTED))
def test_each_planted_part_has_its_middle_and_a_quarter_in_its_plot(part: str):
    planted = PLANTED[part]
    box, plot = shapely.box(*planted.box), shapely.Polygon(PLOTS[planted.plot])
    assert plot.contains(box.centroid)
    assert plot.intersection(box).area > 0.25 * box.area


def test_no_plot_lies_in_the_mere_and_the_mere_is_counted_whole(folder: Path):
    water = local(layer(folder, "water"))
    assert water["name"].tolist() == ["Lannet Mere"]
    assert water.area.sum() / 10_000 == pytest.approx(64, abs=0.5)
    assert water["depth_m"].item() == 14
    assert water["ice_in"].item() < water["ice_out"].item() < 70
    assert not local(layer(folder, "field")).intersects(water.union_all()).any()
    assert water.total_bounds[2] > 1200


def test_the_mere_is_level_in_the_elevation_wherever_it_is_drawn(folder: Path):
    with rasterio.open(folder / "elevation.tif") as raster:
        inside = rasterio.features.geometry_mask(
            layer(folder, "water").geometry,
            raster.shape,
            raster.transform,
            invert=True,
        )
        assert inside.sum() > 5000
        assert np.all(raster.read(1)[inside] == 702.0)


def test_hedge_wall_and_spruce_are_barriers_of_the_stated_height(folder: Path):
    barriers = layer(folder, "barriers").set_index("kind")
    assert barriers.loc["hedge", ["height_m", "openness"]].tolist() == [3.5, 0.14]
    assert barriers.loc["wall", ["height_m", "openness"]].tolist() == [3.0, 0.0]
    assert barriers.loc["wood", ["height_m", "openness"]].tolist() == [5.0, 0.1]
    hedge = local(layer(folder, "barriers")).geometry.iloc[0]
    assert hedge.bounds == (120, 302, 820, 302)


def test_nothing_of_the_barriers_is_doubtful(folder: Path):
    water = fit_columns(layer(folder, "water"), SCHEMAS["water"], "holding.gpkg")
    frame = fit_columns(layer(folder, "barriers"), SCHEMAS["barriers"], "holding.gpkg")
    _, remarks = settle_barriers(frame, water, "holding.gpkg")
    assert [remark for remark in remarks if remark.kind == "doubtful"] == []


def test_the_house_stands_off_the_field_and_the_station_is_the_reference(folder: Path):
    buildings = layer(folder, "buildings")
    house = buildings[buildings["kind"] == "house"].geometry.item()
    assert not layer(folder, "field").intersects(house).any()
    assert (
        "reference"
        not in tomllib.loads((folder / "site.toml").read_text(encoding="utf-8"))["site"]
    )


def test_the_seed_potatoes_lie_below_gap_a_and_off_the_holding(folder: Path):
    neighbours = local(layer(folder, "neighbours"))
    gap = local(layer(folder, "proposals", "proposals.gpkg")).geometry.iloc[0]
    potatoes = neighbours.geometry.iloc[0]
    assert potatoes.bounds[3] < gap.y < potatoes.bounds[3] + 10
    assert potatoes.bounds[0] < gap.x < potatoes.bounds[2]
    assert not local(layer(folder, "field")).intersects(potatoes).any()


def test_fourteen_holes_were_dug_with_all_three_results(folder: Path):
    holes = layer(folder, "ground_tests")
    assert len(holes) == 14
    assert set(holes["result"]) == {"good", "slow", "holds water"}
    emptied = holes["fill_2_h"] < 24
    assert np.allclose(
        holes["fill_2_h"][emptied] * holes["mm_per_h"][emptied], 300, rtol=0.05
    )
    assert (holes["fill_1_h"] <= holes["fill_2_h"]).all()


def test_holes_beside_the_springs_hold_water_and_no_good_hole_lies_there(folder: Path):
    springs = layer(folder, "no_go")
    wet = springs[springs["name"].str.contains("spring")].union_all()
    holes = layer(folder, "ground_tests")
    near = holes.distance(wet) < 25
    assert set(holes["result"][near]) == {"holds water"}


@pytest.mark.parametrize(
    ("fall", "state"), [(96, "good"), (25, "good"), (18, "slow"), (3, "holds water")]
)
def test_the_fall_of_water_names_the_state_of_the_ground(fall: float, state: str):
    # Source: 25 mm an hour as the limit of slow ground is common practice, no source.
    assert judge_hole(fall) == state


def test_six_suspect_places_are_left_untested():
    dug = shapely.MultiPoint([(east, north) for east, north, _ in HOLES])
    plots = shapely.MultiPolygon([shapely.Polygon(p) for p in PLOTS.values()])
    assert len(NOT_TESTED) == 6
    for place in map(shapely.Point, NOT_TESTED):
        assert plots.covers(place)
        assert dug.distance(place) > 25


def test_ten_notes_are_dated_and_of_all_kinds(folder: Path):
    notes = layer(folder, "notes")
    assert len(notes) == 10
    assert set(notes["kind"]) == set(SCHEMAS["notes"].columns["kind"].choices)
    assert pd.to_datetime(notes["date"]).dt.year.between(2024, 2025).all()


def test_killed_blossom_is_noted_the_day_after_a_frost_of_the_record(folder: Path):
    notes = layer(folder, "notes")
    days = pd.read_csv(folder / "station_daily.csv").set_index("date")
    killed = notes[notes["kind"] == "blossom killed"]["date"].item()
    assert days.loc[str(killed)[:10], "tmin"] < -2


def test_two_trees_tell_against_their_ground(folder: Path):
    trees = local(layer(folder, "existing_trees"))
    field = local(layer(folder, "field"))
    meadow, shelf = (
        field[field["name"] == name].union_all()
        for name in ("Mere Meadow", "The Shelf")
    )
    assert trees[trees.within(meadow)]["condition"].tolist().count("thriving") == 1
    outer = trees.within(shelf) & (trees.geometry.x > 470)
    assert trees[outer]["condition"].tolist().count("weak") == 1
    assert set(trees["condition"]) == {"thriving", "weak", "dead"}


def test_trees_with_notes_of_bloom_carry_six_dates(folder: Path):
    trees = layer(folder, "existing_trees").set_index("name")
    assert len(trees.loc["shelf pear", "bloom"].split(", ")) == 6
    assert not trees.loc["dell apple", "bloom"]


def test_four_proposals_can_be_tried(folder: Path):
    proposals = layer(folder, "proposals", "proposals.gpkg").set_index("name")
    assert proposals["action"].to_dict() == {
        "gap A": "gap",
        "gap B": "gap",
        "Neck clearing": "remove",
        "inlet bank": "bank",
    }
    barriers = layer(folder, "barriers").set_index("kind").geometry
    assert proposals.geometry["gap A"].distance(barriers["hedge"]) < 0.01
    assert proposals.geometry["gap B"].distance(barriers["hedge"]) < 0.01
    assert proposals.geometry["Neck clearing"].equals(barriers["wood"])
    assert proposals.loc["gap A", "width_m"] == 14
    assert proposals.loc["inlet bank", "height_m"] == 2.5


def test_the_site_file_is_understood_and_names_files_that_are_there(folder: Path):
    text = (folder / "site.toml").read_text(encoding="utf-8")
    told = tomllib.loads(text)
    model = SiteModel.model_validate(told)
    assert model.site.name == "Averlow Shelf"
    assert sum(told["need"].values()) == 2600
    assert sum(told["limits"]["money"]) == 7800
    named = {value for value in told["site"].values() if str(value).endswith(".gpkg")}
    for file in {*named, told["site"]["elevation"], told["records"]["file"]}:
        assert (folder / file).is_file()


def test_the_first_line_of_the_site_file_and_the_readme_say_invented(folder: Path):
    for name in ("site.toml", "README.txt"):
        text = (folder / name).read_text(encoding="utf-8")
        assert "invented" in text.split("\n[")[0]
    first = (folder / "site.toml").read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("#")
    assert "invented" in first


def test_people_are_named_by_role_and_no_place_of_the_world_stands_in_it(folder: Path):
    texts = [
        (folder / name).read_text(encoding="utf-8")
        for name in ("site.toml", "README.txt", "bloom.csv", "readings/loggers.csv")
    ]
    texts += [
        str(value)
        for name in LAYERS
        for column in layer(folder, name).drop(columns="geometry").to_numpy()
        for value in column
    ]
    words = " ".join(texts).casefold()
    for word in ("mr ", "mrs ", "ltd", "gmbh", "@", "http", "austria", "slovenia", "™"):
        assert word not in words


def test_two_calls_write_the_same_bytes(folder: Path, tmp_path: Path):
    again = write_holding(tmp_path / "again").parent
    files = [
        path.relative_to(folder)
        for path in folder.rglob("*")
        if path.suffix in {".csv", ".toml", ".txt", ".tif"}
    ]
    assert len(files) == 14
    for file in files:
        assert (again / file).read_bytes() == (folder / file).read_bytes(), file


def test_a_second_call_into_the_same_folder_replaces_the_files(folder: Path):
    before = sorted(path.name for path in folder.rglob("*"))
    write_holding(folder)
    assert sorted(path.name for path in folder.rglob("*")) == before
    assert len(layer(folder, "field")) == 4
