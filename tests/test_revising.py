"""A made valley with loggers whose truth is known: corrected, told, written."""

import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit.cli import loggers as loggers_command
from sitekit.cli import revise as revise_command
from sitekit.errors import ConfigError
from sitekit.grid import Grid
from sitekit.io.readings import read_readings
from sitekit.io.schemas import SCHEMAS, empty_frame
from sitekit.loggers import plan_loggers, write_plan
from sitekit.measuring.notes import NOTE_ERROR
from sitekit.report.document import make_report
from sitekit.report.revision import show_revision
from sitekit.revising import revise
from sitekit.site import VECTORS, ElevationModel, Reference, Site
from sitekit.words import SITE_CLASSES
from sitekit.writing import write_survey

UTM = CRS.from_epsg(32633)
TODAY = date(2026, 11, 25)
CELL = 5.0
#: Places of loggers: east and north of the corner of the grid. [m]
PLACES = {"L1": (250, 330), "L2": (250, 60), "L3": (120, 200), "L4": (380, 140)}


def valley():
    """A slope of 12 % above a level floor, shut at its foot."""
    rows, columns = 80, 100
    grid = Grid(UTM, 500_000.0, 5_130_000.0, CELL, (rows, columns))
    north = (rows - np.arange(rows) - 0.5)[:, None] * CELL
    east = (np.arange(columns) + 0.5)[None, :] * CELL
    ground = 300 + 0.12 * np.maximum(north - 90, 0) + 0.002 * np.abs(east - 250)
    ground = (ground + np.where(north < 20, 3.0, 0.0)).astype(np.float32)
    west, south, right, top = grid.bounds
    field = shapely.box(west + 40, south + 40, right - 40, top - 40)
    inside = np.zeros(grid.shape, bool)
    inside[8:72, 8:92] = True
    return Site(
        name="Made Valley", grid=grid, elevation=ground, ground=ground,
        model=ElevationModel(("made.tif",), CELL, "ground", 0.02),
        field=GeoDataFrame({"name": ["slope"]}, geometry=[field], crs=UTM),
        field_mask=inside, water_mask=np.zeros(grid.shape, bool),
        canopy_height=np.zeros(grid.shape, np.float32),
        evergreen=np.zeros(grid.shape, bool),
        vectors={name: empty_frame(SCHEMAS[name], UTM) for name in VECTORS},
        reference=Reference("the house", west + 250, south + 330),
        fruit=("apple", "pear"),
    )  # fmt: skip


def write_readings(folder, offsets, *, swing=12.0, places=PLACES, reference="L1"):
    """Half-hourly readings of 30 days; each logger off by what is given at dawn."""
    folder.mkdir(exist_ok=True)
    west, south = 500_000.0, 5_130_000.0 - 80 * CELL
    rows = [
        f"{n},{west + x},{south + y},{'yes' if n == reference else ''}"
        for n, (x, y) in places.items()
    ]
    (folder / "loggers.csv").write_text(
        "\n".join(["logger,easting,northing,reference", *rows, ""]), encoding="utf-8"
    )
    times = pd.date_range("2025-04-20", periods=48 * 30, freq="30min")
    hours = times.hour + times.minute / 60
    night = 0.5 + 0.5 * np.cos((hours - 4) * np.pi / 12)
    front = 2 * np.sin(np.arange(len(times)) / 90)
    for number, (name, offset) in enumerate(offsets.items()):
        random = np.random.default_rng(number)
        jitter = np.repeat(random.normal(0, 0.2, 30), 48)
        values = 12 + front - swing * night + (offset + jitter) * night**2
        values += random.normal(0, 0.05, len(times))
        lines = [
            f"{t:%Y-%m-%d %H:%M},{v:.2f}" for t, v in zip(times, values, strict=True)
        ]
        (folder / f"{name}.csv").write_text(
            "\n".join(["time,temp", *lines, ""]), encoding="utf-8"
        )
    return folder


def read(folder):
    return read_readings(folder, UTM, 15.0, "+01:00")


@pytest.fixture(scope="module")
def site():
    return valley()


#: A valley whose floor is far milder than the model says.
MILD = {"L1": 0.0, "L2": -0.5, "L3": -0.2, "L4": -0.3}


@pytest.fixture(scope="module")
def mild(site, tmp_path_factory):
    folder = write_readings(tmp_path_factory.mktemp("mild"), MILD)
    return revise(site, read(folder))


@pytest.fixture(scope="module")
def written(mild, tmp_path_factory):
    survey, revision = mild
    folder = tmp_path_factory.mktemp("written") / "revised"
    return write_survey(survey, folder, today=TODAY, revision=revision)


def at(site, survey, name, layer="frost_night_offset"):
    x, y = PLACES[name]
    west, south = site.grid.bounds[:2]
    return float(site.grid.sample(survey.layers[layer].values, west + x, south + y))


def test_the_map_follows_the_loggers(site, mild):
    survey, revision = mild
    assert revision.changed
    table = revision.loggers.set_index("logger")
    assert table["modelled_before_degc"]["L2"] < -1.5
    for name, offset in MILD.items():
        assert table["observed_degc"][name] == pytest.approx(offset, abs=0.2)
        assert at(site, survey, name) == pytest.approx(offset, abs=0.35)
        assert table["modelled_after_degc"][name] == pytest.approx(
            # The map is read between cells, and ground is rough within them.
            at(site, survey, name),
            abs=0.1,
        )


def test_a_mild_floor_lowers_the_strength_of_the_background(mild):
    weights = mild[1].weights.set_index("term")
    name = next(n for n in weights.index if "low ground" in n)
    assert weights.loc[name, "after"] < 0.8
    assert weights["share"].sum() == pytest.approx(1.0)
    assert weights["share"].is_monotonic_decreasing


def test_the_doubt_shrinks_where_loggers_stand(site, mild):
    doubt = mild[0].layers["frost_night_offset_sd"].to_numpy()[site.field_mask]
    assert at(site, mild[0], "L2", "frost_night_offset_sd") < 0.6 * np.median(doubt)
    assert at(site, mild[0], "L1", "frost_night_offset_sd") < 0.3


def test_verdicts_that_changed_are_told_with_the_reason(mild):
    changes = mild[1].changes
    assert len(changes)
    assert set(changes["fruit"]) <= {"apple", "pear"}
    codes = changes[["before", "after"]].map(SITE_CLASSES.index)
    assert (codes["before"] != codes["after"]).all()
    assert (codes["after"] > codes["before"]).any()
    assert changes["reason"].str.contains("clear still nights").all()
    assert "verdicts withdrawn" in mild[1].summary


def test_the_layers_asked_for_are_those_of_a_usual_survey(site, mild):
    assert "pool_warmth" not in mild[0].layers
    assert "frost_night_offset_sd" in mild[0].layers
    assert "night_cold" not in mild[0].layers
    assert set(mild[0].site.inputs) == {"loggers.csv", *(f"{n}.csv" for n in MILD)}


def test_each_spot_says_how_sure_its_class_is(mild):
    found = set(mild[0].spots["confidence"])
    assert found <= {"low", "fair", "good"}
    assert len(found) > 1


def test_left_out_errors_are_told_for_each_logger(mild):
    errors = mild[1].loggers["left_out_error_degc"]
    assert errors.notna().all()
    assert mild[1].left_out == pytest.approx(np.sqrt((errors**2).mean()))
    assert mild[1].left_out > 0


def test_a_colder_floor_lowers_verdicts(site, tmp_path):
    cold = {"L1": 0.0, "L2": -6.0, "L3": -3.0, "L4": -4.5}
    _, revision = revise(site, read(write_readings(tmp_path, cold)))
    codes = revision.changes[["before", "after"]].map(SITE_CLASSES.index)
    assert (codes["after"] < codes["before"]).any()
    assert "0 lowered" not in revision.summary


def test_without_a_reference_the_median_is_the_zero_and_the_map_the_same(
    site, mild, tmp_path
):
    survey, revision = revise(site, read(write_readings(tmp_path, MILD, reference="")))
    assert "median" in revision.reference
    assert at(site, survey, "L2") == pytest.approx(at(site, mild[0], "L2"), abs=0.3)


def test_dull_nights_leave_the_map_as_it_was(site, mild, tmp_path):
    survey, revision = revise(site, read(write_readings(tmp_path, MILD, swing=4.0)))
    assert not revision.changed
    assert revision.summary.startswith("Not enough nights: 0 clear still nights")
    assert at(site, survey, "L2") == pytest.approx(
        mild[1].loggers.set_index("logger")["modelled_before_degc"]["L2"], abs=0.01
    )
    page = str(show_revision(revision))
    assert "Not enough nights" in page
    assert "Verdicts that changed" not in page


def test_one_logger_alone_changes_nothing(site, tmp_path):
    only = {"L1": 0.0}
    _, revision = revise(
        site, read(write_readings(tmp_path, only, places={"L1": PLACES["L1"]}))
    )
    assert not revision.changed
    assert revision.summary.startswith("One logger tells no difference between places")


def test_loggers_at_one_place_change_nothing_and_are_told_so(site, tmp_path):
    places = {"L1": PLACES["L1"], "L2": (250.4, 330)}
    offsets = {"L1": 0.0, "L2": -2.0}
    _, revision = revise(site, read(write_readings(tmp_path, offsets, places=places)))
    assert not revision.changed
    assert revision.summary.startswith("All loggers stand at one place")
    assert "loggers.csv" in revision.summary


def test_loggers_of_two_years_change_nothing_and_are_told_so(site, tmp_path):
    places = {name: PLACES[name] for name in ("L1", "L2")}
    folder = write_readings(tmp_path, {"L1": 0.0, "L2": -2.0}, places=places)
    text = (folder / "L2.csv").read_text(encoding="utf-8").replace("2025-", "2023-")
    (folder / "L2.csv").write_text(text, encoding="utf-8")
    _, revision = revise(site, read(folder))
    assert not revision.changed
    said = {r.about: r.text for r in revision.remarks}
    assert "no night in common with the reference" in said["L2"]
    assert "its year" in said["L2"]


def test_a_logger_off_the_map_is_said_and_left_out(site, tmp_path):
    places = PLACES | {"L4": (9000.0, 9000.0)}
    _, revision = revise(site, read(write_readings(tmp_path, MILD, places=places)))
    assert list(revision.loggers["logger"]) == ["L1", "L2", "L3"]
    assert any("map tells nothing" in r.text for r in revision.remarks)


def with_notes(site, *notes):
    west, south = site.grid.bounds[:2]
    frame = GeoDataFrame(
        {
            "date": ["2025-05-12"] * len(notes),
            "kind": [kind for kind, _, _ in notes],
            "text": [""] * len(notes),
        },
        geometry=[shapely.Point(west + x, south + y) for _, x, y in notes],
        crs=UTM,
    )
    return replace(site, vectors={**site.vectors, "notes": frame})


def test_the_report_says_in_words_what_notes_weigh(site):
    _, revision = revise(with_notes(site, ("fog", 200, 250), ("fog", 220, 250)))
    page = str(show_revision(revision)).replace("\u00a0", " ")
    assert f"to ±{NOTE_ERROR} °C each" in page
    assert "ten at one place weigh little more than two" in page
    assert "Fog, 12 May 2025" in page
    assert "or colder" in page


def test_notes_that_the_map_bears_out_are_listed_as_such(site):
    noted = with_notes(site, ("fog", 200, 250), ("frost", 250, 60), ("wind", 90, 90))
    _, revision = revise(noted)
    assert list(revision.notes["counts"]) == [True, False]
    page = str(show_revision(revision))
    assert "Corrected by 1 note as weak readings" in revision.summary
    assert page.count("the map bears it out") == 1


def test_notes_against_the_map_move_it_weakly(site, mild):
    noted = with_notes(site, *[("fog", 200 + 20 * i, 250) for i in range(10)])
    survey, revision = revise(noted)
    before = mild[1].loggers.set_index("logger")["modelled_before_degc"]
    assert revision.notes["counts"].sum() == 10
    now, then = (revision.notes[f"{n}_degc"] for n in ("after", "before"))
    assert (now < then - 0.2).all()
    assert revision.loggers.empty
    assert "10 notes as weak readings" in revision.summary
    west, south = site.grid.bounds[:2]
    plain, _ = revise(with_notes(site, ("fog", 250, 60)))
    here = (west + 290, south + 250)
    moved = [
        float(site.grid.sample(s.layers["frost_night_offset"].values, *here))
        for s in (survey, plain)
    ]
    assert -2.0 < moved[0] - moved[1] < -0.2
    assert before["L1"] == 0.0


def test_a_note_that_the_map_bears_out_moves_nothing(site):
    _, revision = revise(with_notes(site, ("fog", 250, 60), ("wind", 250, 300)))
    assert not revision.changed
    assert revision.summary.startswith("No readings, and no note against the map")


# -- what is written --------------------------------------------------------------------


def test_the_table_of_loggers_is_written(written):
    table = pd.read_csv(written / "revision.csv")
    assert list(table.columns) == [
        "logger", "nights", "observed_degc", "low_degc", "high_degc",
        "modelled_before_degc", "modelled_after_degc", "left_out_error_degc",
    ]  # fmt: skip
    assert list(table["logger"]) == list(MILD)


def test_the_geopackage_has_the_loggers_and_run_json_lists_all(written):
    layer = gpd.read_file(written / "site.gpkg", layer="loggers")
    assert len(layer) == 4
    assert set(layer.geom_type) == {"Point"}
    run = json.loads((written / "run.json").read_text(encoding="utf-8"))
    assert "revision.csv" in run["files"]
    assert "Corrected by 4 loggers" in run["revision"]


def test_an_unchanged_revision_writes_an_empty_table_and_layer(site, tmp_path):
    survey, revision = revise(site)
    folder = write_survey(survey, tmp_path / "r", today=TODAY, revision=revision)
    assert pd.read_csv(folder / "revision.csv").empty
    assert len(gpd.read_file(folder / "site.gpkg", layer="loggers")) == 0


def test_the_report_tells_what_the_readings_changed(mild, written):
    report = (written / "report.html").read_text(encoding="utf-8")
    for text in (
        "What the readings changed",
        "Verdicts that changed",
        "Error when left out",
        "Which input matters most now",
        "What would change this map again",
        "Corrected by 4 loggers",
    ):
        assert text in report
    assert f"±{NOTE_ERROR}" not in report
    assert "From terrain only" not in report
    assert report == make_report(mild[0], today=TODAY, revision=mild[1])


def test_the_first_two_thermometers_are_asked_for_no_more(mild, site):
    asked = " ".join(
        [*(m.what for m in mild[0].answer.measures), *mild[0].answer.unknowns]
    )
    assert "two thermometers" not in asked.lower()
    plain = revise(site)[0].answer
    assert any("two thermometers" in u.lower() for u in plain.unknowns)


def test_the_report_of_a_survey_without_readings_has_no_such_page(mild):
    assert "What the readings changed" not in make_report(mild[0], today=TODAY)
    assert show_revision(None) == ""


# -- where loggers go -------------------------------------------------------------------


@pytest.fixture(scope="module")
def plan(site):
    return plan_loggers(site, 5)


def test_the_first_two_stand_low_and_20_to_40_m_above(plan):
    heights = plan.places["elevation_m"]
    assert heights[0] == heights.min()
    assert 20 <= heights[1] - heights[0] <= 40


def test_a_plan_for_two_is_exactly_those(site, plan):
    two = plan_loggers(site, 2).places
    assert list(two["easting_m"]) == list(plan.places["easting_m"][:2])
    assert list(two["northing_m"]) == list(plan.places["northing_m"][:2])


def test_each_logger_leaves_fewer_wrong_verdicts_expected(plan):
    assert len(plan.wrong) == 6
    assert (np.diff(plan.wrong[1:]) <= 1e-9).all()
    assert plan.wrong[-1] < plan.wrong[0]


def test_the_reference_place_gets_one(plan):
    assert plan.places["why"].str.contains("the house").any()


def test_the_plan_is_written_whole(plan, tmp_path):
    folder = write_plan(plan, tmp_path / "loggers", today=TODAY)
    assert sorted(p.name for p in folder.iterdir()) == [
        "loggers.csv", "loggers.gpx", "loggers.html", "run.json",
    ]  # fmt: skip
    table = pd.read_csv(folder / "loggers.csv")
    assert list(table["logger"]) == ["L1", "L2", "L3", "L4", "L5"]
    # Source of the element names: GPX 1.1 Schema Documentation, TopoGrafix 2004.
    root = ET.parse(folder / "loggers.gpx").getroot()
    points = root.findall("{http://www.topografix.com/GPX/1/1}wpt")
    assert [p[1].text for p in points] == list(table["logger"])
    assert float(points[0].get("lat")) == pytest.approx(table["lat"][0], abs=1e-5)
    page = (folder / "loggers.html").read_text(encoding="utf-8")
    for text in (
        "Reading sheet",
        "Off before",
        "1.5 m",
        "Not for setting out",
        "Photo",
        "field edge",
        "cold-air path",
    ):
        assert text in page.replace("\u00a0", " ")
    assert not re.search(r'(src|href)="(?!data:)', page)


def test_the_list_of_a_plan_is_the_table_that_readings_are_read_with(
    site, plan, tmp_path
):
    write_plan(plan, tmp_path / "loggers", today=TODAY)
    folder = write_readings(tmp_path / "readings", dict.fromkeys(("L1", "L2"), 0.0))
    (folder / "loggers.csv").write_text(
        (tmp_path / "loggers" / "loggers.csv").read_text(encoding="utf-8"),
        encoding="utf-8",
    )
    found = read(folder).loggers
    assert found.geometry.x.to_numpy() == pytest.approx(
        plan.places["easting_m"][:2].to_numpy(), abs=0.2
    )


@pytest.mark.parametrize("count", [0, -1, 41])
def test_a_count_that_makes_no_sense_is_told(site, count):
    with pytest.raises(ConfigError, match="--count"):
        plan_loggers(site, count)


# -- the commands -----------------------------------------------------------------------


@pytest.fixture
def read_as_valley(monkeypatch, site):
    monkeypatch.setattr("sitekit.request.read_site", lambda _: site)


def test_revise_prints_its_answer_and_exits_with_0(read_as_valley, tmp_path, capsys):
    readings = write_readings(tmp_path / "readings", MILD, swing=4.0)
    revise_command.run(
        tmp_path / "site.toml", readings, time_zone="+01:00", as_json=True
    )
    told = json.loads(capsys.readouterr().out)
    assert told["summary"].startswith("Not enough nights")
    assert told["left_out_error_degc"] is None
    assert (tmp_path / "revised" / "map.html").is_file()


def test_loggers_prints_places_and_files(read_as_valley, tmp_path, capsys):
    loggers_command.run(tmp_path / "site.toml", count=2, quiet=False)
    out = capsys.readouterr().out
    assert out.startswith("L1")
    assert "loggers.gpx" in out
    assert (tmp_path / "loggers" / "loggers.html").is_file()


def test_both_commands_show_an_example():
    assert revise_command.EXAMPLE.startswith("sitekit revise")
    assert loggers_command.EXAMPLE.startswith("sitekit loggers")
