"""A folder is written whole or not at all, and only where nothing foreign lies."""

import errno
import json
import os
import re
import sqlite3
import stat
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rasterio
from hypothesis import given
from hypothesis import strategies as st

import sitekit.writing
from sitekit.errors import OutputError
from sitekit.writing import (
    ROW_COLUMNS,
    check_folder,
    no_rows,
    vector_layers,
    whole_folder,
    write_run,
    write_survey,
)

DAY = date(2026, 3, 1)


def fill(folder, **files):
    """Let a folder hold an older survey: some files and their list."""
    with whole_folder(folder) as new:
        for name, text in files.items():
            (new / name).write_text(text, encoding="utf-8")
        write_run(new, {"site": "older"})


def write_half(folder, problem):
    """Begin a survey and let it fail."""
    with whole_folder(folder) as new:
        (new / "map").write_text("newer", encoding="utf-8")
        raise problem


def contents(folder):
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file()
    }


def strangers(folder):
    """What lies beside a folder; a temporary folder left behind would show."""
    return [p.name for p in folder.parent.iterdir() if p != folder]


@pytest.fixture
def out(tmp_path):
    return tmp_path / "out"


def test_a_folder_that_is_not_there_may_be_written(out):
    check_folder(out)
    assert not out.exists()


def test_an_empty_folder_may_be_written(out):
    out.mkdir()
    check_folder(out)


def test_a_folder_of_an_older_survey_may_be_written(out):
    fill(out, map="older")
    check_folder(out)


def test_a_file_in_the_place_of_the_folder_is_refused_and_kept(out):
    out.write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match=r"is a file\. Name a folder .* --out"):
        check_folder(out)
    assert out.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    "name", ["letter.txt", ".hidden", "layers/mine.tif", "deep/er/picture.png"]
)
def test_a_file_that_sitekit_did_not_write_is_refused_by_name(out, name):
    fill(out, map="older")
    (out / name).parent.mkdir(parents=True, exist_ok=True)
    (out / name).write_text("mine", encoding="utf-8")
    before = contents(out)
    with pytest.raises(OutputError, match=re.escape(name)) as told:
        fill(out, map="newer")
    assert "move that file away" in str(told.value)
    assert contents(out) == before


def test_what_a_later_command_wrote_into_a_folder_of_ours_stays(out):
    fill(out, map="older")
    fill(out / "revised", map="by readings")
    fill(out / "loggers", map="where they go")
    check_folder(out)
    fill(out, map="newer")
    found = contents(out)
    assert found["revised/map"] == b"by readings"
    assert found["loggers/map"] == b"where they go"
    assert found["map"] == b"newer"
    check_folder(out)
    assert not strangers(out)


def test_a_folder_in_it_that_was_written_anew_with_more_files_is_still_ours(out):
    with whole_folder(out) as new:
        fill(new / "survey", map="older")
        write_run(new, {"site": "older"})
    fill(out / "survey", map="newer", report="newer")
    check_folder(out)
    fill(out, map="newest")
    assert set(contents(out)) == {"map", "run.json"}


def test_a_holding_is_never_replaced_by_what_is_made_of_it(out):
    with whole_folder(out, holding=True) as new:
        (new / "site.toml").write_text("mine", encoding="utf-8")
        (new / "elevation.tif").write_text("mine", encoding="utf-8")
        write_run(new, {"site": "a holding"})
    before = contents(out)
    with pytest.raises(OutputError, match="holds a site file and what it names"):
        fill(out, map="newer")
    assert contents(out) == before
    fill(out / "survey", map="newer")
    check_folder(out, holding=True)


def test_a_foreign_file_in_such_a_folder_is_refused_by_name(out):
    fill(out, map="older")
    fill(out / "revised", map="by readings")
    (out / "revised" / "letter.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(
        OutputError, match=r"revised/letter\.txt, which sitekit did not"
    ):
        fill(out, map="newer")
    assert contents(out)["revised/letter.txt"] == b"mine"


def test_a_folder_of_results_that_is_not_ours_is_refused(out):
    fill(out / "one", map="a survey")
    with pytest.raises(OutputError, match="did not write"):
        check_folder(out)


def test_a_link_to_nowhere_is_a_foreign_file_too(out):
    fill(out, map="older")
    (out / "link").symlink_to(out / "nothing")
    with pytest.raises(OutputError, match="link"):
        check_folder(out)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "not json",
        "[]",
        "3",
        "null",
        '"files"',
        "{}",
        '{"files": null}',
        '{"files": 7}',
        '{"files": []}',
        '{"file": ["map.html"]}',
        "\udcff",
    ],
)
def test_a_list_that_cannot_be_read_makes_no_file_ours(out, text):
    out.mkdir()
    (out / "map.html").write_text("mine", encoding="utf-8")
    (out / "run.json").write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(OutputError, match="did not write"):
        check_folder(out)


def test_a_failure_in_the_middle_leaves_no_trace(out):
    with pytest.raises(ZeroDivisionError):
        write_half(out, ZeroDivisionError())
    assert not out.exists()
    assert strangers(out) == []


def test_a_failure_in_the_middle_leaves_the_older_survey_as_it_was(out):
    fill(out, map="older", report="older too")
    before = contents(out)
    with pytest.raises(KeyboardInterrupt):
        write_half(out, KeyboardInterrupt())
    assert contents(out) == before
    assert strangers(out) == []


def test_nothing_appears_before_all_is_written(out):
    fill(out, map="older")
    with whole_folder(out) as new:
        (new / "map").write_text("newer", encoding="utf-8")
        assert (out / "map").read_text(encoding="utf-8") == "older"
    assert (out / "map").read_text(encoding="utf-8") == "newer"


def test_files_of_the_older_survey_that_the_new_one_lacks_are_gone(out):
    fill(out, map="older", sheet="older")
    fill(out, map="newer")
    assert set(contents(out)) == {"map", "run.json"}
    assert strangers(out) == []


def test_where_the_new_folder_cannot_take_its_place_the_older_one_comes_back(
    out, monkeypatch
):
    fill(out, map="older")
    before = contents(out)
    moved = type(out).replace

    def replace(path, target):
        if (path / "new").exists():
            raise OSError(errno.EXDEV, "another disk")
        return moved(path, target)

    monkeypatch.setattr(type(out), "replace", replace)
    with pytest.raises(OutputError, match="another disk"), whole_folder(out) as new:
        (new / "new").write_text("newer", encoding="utf-8")
    assert contents(out) == before
    assert strangers(out) == []


def test_folders_on_the_way_are_made(out):
    fill(out / "years" / "2026", map="new")
    assert (out / "years" / "2026" / "map").exists()


def test_a_place_below_a_file_is_told_in_one_sentence(out):
    out.write_text("mine", encoding="utf-8")
    with (
        pytest.raises(OutputError, match=r"cannot be written: .*--out"),
        whole_folder(out / "below"),
    ):
        pytest.fail("a folder was offered below a file")


def test_others_may_read_the_folder(out):
    # A temporary folder is closed to others (mkdtemp); a result is not.
    fill(out, map="new")
    assert stat.S_IMODE(out.stat().st_mode) == 0o755


@given(
    names=st.sets(
        st.text(st.characters(codec="ascii", categories=["L", "N"]), min_size=1),
        max_size=6,
    )
)
def test_the_list_names_every_file_and_not_itself(tmp_path_factory, names):
    folder = tmp_path_factory.mktemp("list")
    for name in names:
        # Files in folders of their own, so that no two differ by case alone.
        (folder / str(len(list(folder.iterdir())))).mkdir()
        place = folder / str(len(list(folder.iterdir())) - 1)
        (place / name[:40]).write_text("", encoding="utf-8")
    there = set(contents(folder))
    write_run(folder, {})
    run = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    assert set(run["files"]) == there
    assert run["files"] == sorted(run["files"])
    check_folder(folder)


def test_the_list_keeps_letters_that_are_not_ascii(tmp_path):
    write_run(tmp_path, {"site": "Brühl 5 m²"})
    assert "Brühl 5 m²" in (tmp_path / "run.json").read_text(encoding="utf-8")


def test_the_layer_of_rows_without_a_plan_is_empty_and_keeps_its_columns(small_survey):
    rows = no_rows(small_survey.site.grid.crs)
    assert rows.empty
    assert [c for c in rows.columns if c != "geometry"] == list(ROW_COLUMNS)
    assert {"block", "row", "fruit", "group", "plants", "length_m"} <= set(rows.columns)
    assert rows.crs == small_survey.site.grid.crs


def test_every_table_of_the_geopackage_is_gathered_and_on_the_grid(small_survey):
    layers = vector_layers(small_survey)
    assert list(layers) == [
        "field",
        "water",
        "barriers",
        "no_go",
        "contours",
        "frost_pockets",
        "cold_air_paths",
        "spots",
        "blocks",
        "rows",
        "existing_trees",
        "notes",
        "fruit_by_block",
    ]
    for name, table in layers.items():
        if name == "fruit_by_block":
            assert type(table) is pd.DataFrame
        else:
            assert table.crs == small_survey.site.grid.crs, name


@pytest.fixture(scope="module")
def shelf():
    """Keeps what was written once for all tests of this file."""
    return {}


@pytest.fixture
def written(small_survey, shelf, tmp_path_factory):
    """One survey made by hand, its folder, and the steps that were told."""
    if not shelf:
        steps = []
        folder = tmp_path_factory.mktemp("written") / "out"
        told = write_survey(small_survey, folder, today=DAY, on_step=steps.append)
        assert told == folder
        shelf["written"] = (small_survey, folder, steps)
    return shelf["written"]


def test_a_survey_is_its_map_report_geopackage_layers_and_list(written):
    survey, folder, _ = written
    assert set(contents(folder)) == {
        "map.html",
        "report.html",
        "site.gpkg",
        "run.json",
        *(f"layers/{name}.tif" for name in survey.layers),
    }


def test_each_file_is_told_before_it_is_written(written):
    _, folder, steps = written
    assert set(steps) == set(contents(folder)) - {"run.json"}
    assert len(steps) == len(set(steps))


def test_the_run_says_what_was_surveyed_and_when(written):
    survey, folder, _ = written
    run = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    grid = survey.site.grid
    assert run["date"] == "2026-03-01"
    assert run["site"] == "Test Holding"
    assert run["crs"] == "EPSG:32633"
    assert (run["rows"], run["columns"], run["cell_m"]) == (*grid.shape, 5.0)
    assert run["fruit"] == ["apple", "pear"]
    assert run["inputs"] == {"elevation.tif": "0" * 64}
    assert run["absent_layers"] == {"last_spring_frost": "records"}
    assert run["seconds"] == {"layers": 1.2, "spots": 0.3}


def test_the_run_warns_of_what_is_doubtful_or_missing_only(written):
    _, folder, _ = written
    run = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    assert [w["kind"] for w in run["warnings"]] == ["doubtful", "missing"]
    assert run["warnings"][0]["about"] == "barriers"
    assert "0.3 is used" in run["warnings"][0]["text"]


@pytest.mark.parametrize("name", ["slope", "elevation", "pooling_depth", "score_apple"])
def test_a_layer_is_written_bit_for_bit_with_unit_place_and_missing_ground(
    written, name
):
    survey, folder, _ = written
    layer = survey.layers[name]
    with rasterio.open(folder / "layers" / f"{name}.tif") as file:
        assert np.array_equal(file.read(1), layer.to_numpy(), equal_nan=True)
        assert file.dtypes == ("float32",)
        assert np.isnan(file.nodata)
        assert file.units == (layer.attrs["units"],)
        assert file.descriptions == (layer.attrs["long_name"],)
        assert file.crs.to_epsg() == 32633
        assert file.bounds == pytest.approx(survey.site.grid.bounds)
        # Source: OGC 21-026, OGC Cloud Optimized GeoTIFF Standard, 7.2: tiles.
        assert file.profile["tiled"]


@pytest.mark.parametrize("fruit", ["apple", "pear"])
def test_classes_are_bytes_and_255_is_ground_not_judged(written, fruit):
    survey, folder, _ = written
    with rasterio.open(folder / "layers" / f"site_class_{fruit}.tif") as file:
        codes = file.read(1)
        assert file.dtypes == ("uint8",)
        assert file.nodata == 255
    assert ((codes == 255) == ~survey.site.field_mask).all()


# Source: OGC 12-128r18, GeoPackage Encoding Standard 1.3.1, clauses 1.1.1 and 2.1.
def ask(folder, question):
    link = sqlite3.connect(folder / "site.gpkg")
    try:
        return link.execute(question).fetchall()
    finally:
        link.close()


def test_the_geopackage_says_that_it_is_one(written):
    [(number,)] = ask(written[1], "PRAGMA application_id")
    assert number.to_bytes(4, "big") == b"GPKG"
    [(version,)] = ask(written[1], "PRAGMA user_version")
    assert version >= 10200


def test_the_geopackage_is_a_sound_database(written):
    assert ask(written[1], "PRAGMA integrity_check") == [("ok",)]
    assert ask(written[1], "PRAGMA foreign_key_check") == []


@pytest.mark.parametrize(
    "table", ["gpkg_contents", "gpkg_spatial_ref_sys", "gpkg_geometry_columns"]
)
def test_the_geopackage_has_the_tables_that_the_standard_requires(written, table):
    named = ask(written[1], "SELECT name FROM sqlite_master WHERE type = 'table'")
    assert (table,) in named


@pytest.mark.parametrize("number", [-1, 0, 4326, 32633])
def test_the_geopackage_defines_its_coordinate_systems(written, number):
    known = ask(written[1], "SELECT srs_id FROM gpkg_spatial_ref_sys")
    assert (number,) in known


def test_each_table_of_shapes_has_one_kind_of_geometry_and_holds_only_that(written):
    columns = ask(
        written[1],
        "SELECT table_name, column_name, geometry_type_name, srs_id "
        "FROM gpkg_geometry_columns",
    )
    assert len(columns) == 12
    for table, _, kind, crs in columns:
        assert kind != "GEOMETRY", table
        assert crs == 32633, table


def test_the_table_of_fruit_and_block_is_one_of_attributes(written):
    kinds = dict(ask(written[1], "SELECT table_name, data_type FROM gpkg_contents"))
    assert kinds.pop("fruit_by_block") == "attributes"
    assert set(kinds.values()) == {"features"}


@pytest.mark.parametrize(
    "step", ["write_cog", "write_geopackage", "write_report", "write_map", "write_run"]
)
def test_a_full_disk_at_any_step_leaves_the_older_survey_untouched(
    written, tmp_path, monkeypatch, step
):
    survey, _, _ = written
    out = tmp_path / "out"
    fill(out, map="older")
    before = contents(out)

    def full(*given, **_):
        # The file is begun, as on a disk that fills up, and cannot be ended.
        path = next(thing for thing in given if isinstance(thing, Path))
        (path / "begun" if path.is_dir() else path).write_text("begun")
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    for name in ("write_cog", "write_geopackage", "write_report", "write_map"):
        monkeypatch.setattr(sitekit.writing, name, lambda *_, **__: None)
    monkeypatch.setattr(sitekit.writing, step, full)
    with pytest.raises(OutputError, match="No space left"):
        write_survey(survey, out, today=DAY)
    assert contents(out) == before
    assert strangers(out) == []


def test_a_name_with_markup_is_only_text_in_map_and_report(written):
    _, folder, _ = written
    for name in ("map.html", "report.html"):
        page = (folder / name).read_text(encoding="utf-8")
        assert "<img src=x" not in page
