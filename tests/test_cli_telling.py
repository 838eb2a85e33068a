"""What the terminal says: few lines, eighty columns, nothing hidden by length."""

import re
import sys
from dataclasses import replace
from io import StringIO
from pathlib import Path
from types import SimpleNamespace

import pytest
from geopandas import GeoDataFrame
from shapely import Point, box

from sitekit.cli.progress import counting, progress
from sitekit.cli.telling import bold, dim, tell_check, tell_region, tell_survey
from sitekit.results import Measure
from sitekit.site import ElevationModel, Remark

OUT = Path("out")
LONG = "a very long word of a name that no column of a terminal could ever hold " * 3


class Terminal(StringIO):
    def isatty(self):
        return True


@pytest.fixture(scope="module")
def shelf():
    """Keeps the made survey for all tests of this file; none of them changes it."""
    return {}


@pytest.fixture
def made(request, shelf):
    if not shelf:
        shelf["survey"] = request.getfixturevalue("small_survey")
    return shelf["survey"]


def blocks(*rows):
    """Blocks from (number, name, fruit, class)."""
    columns = ("block", "name", "fruit", "site_class")
    frame = {c: [row[i] for row in rows] for i, c in enumerate(columns)}
    frame["score"] = [50.0 - i for i in range(len(rows))]
    return GeoDataFrame(frame, geometry=[box(0, 0, 1, 1)] * len(rows))


def region(*rows):
    """Fields of a region from (field, status, rank, reason)."""
    columns = ("field", "status", "rank", "reason")
    frame = {c: [row[i] for row in rows] for i, c in enumerate(columns)}
    table = GeoDataFrame(frame, geometry=[Point(0, 0)] * len(rows))
    return table.astype({"rank": "Int64"})


def test_a_survey_is_told_from_its_answer_to_its_files(made):
    told = tell_survey(made, OUT, 12.4).splitlines()
    assert told[0].startswith("Test Holding: field ")
    assert told[0].endswith("elevation 5\u00a0m")
    assert told[1] == "Start with block 1, Upper Bank: pears and apples."
    assert any(line.startswith("Measure:   Two test holes in block 1") for line in told)
    assert any(line.startswith("Not known: Drainage of blocks 1") for line in told)
    assert told[-1].startswith("Written:   out/map.html  report.html  site.gpkg")
    assert told[-1].endswith("12\u00a0s")


@pytest.mark.parametrize(("trees", "written"), [(3, True), (0, False)])
def test_the_folder_of_the_pack_is_named_where_it_is_written(made, trees, written):
    plan = SimpleNamespace(plants=GeoDataFrame({"id": ["1-1-1"] * trees}))
    told = tell_survey(replace(made, plan=plan), OUT, 12.4).splitlines()[-1]
    assert ("handover/" in told) is written
    assert len(told) <= 80


@pytest.mark.parametrize("text", [LONG, "short", ""])
def test_no_line_is_wider_than_eighty_columns(made, text):
    answer = replace(
        made.answer,
        headline=text,
        measures=(Measure(text, text),),
        unknowns=(text, text),
        resolution=text,
    )
    survey = replace(made, answer=answer, blocks=blocks((1, text, "pear", "good")))
    told = tell_survey(survey, OUT, 1.0).splitlines()
    assert max(map(len, told)) <= 80


def test_a_name_that_is_cut_says_so(made):
    survey = replace(made, blocks=blocks((1, LONG, "pear", "good")))
    assert "…" in tell_survey(survey, OUT, 1.0)


@pytest.mark.parametrize(("count", "more"), [(1, 0), (8, 0), (9, 1), (30, 22)])
def test_eight_blocks_are_told_and_the_rest_counted(made, count, more):
    rows = [(n, f"part {n}", "pear", "good") for n in range(1, count + 1)]
    told = tell_survey(replace(made, blocks=blocks(*rows)), OUT, 1.0)
    assert len(re.findall(r"part \d+", told)) == count - more
    assert (f"and {more} more in report.html" in told) == (more > 0)


@pytest.mark.parametrize(
    ("site_class", "fruit"),
    [
        ("good", "pears"),
        ("with conditions", "pears"),
        ("hardy kinds only", "pears"),
        ("test first", "pears"),
        ("refused", "none"),
    ],
)
def test_refused_ground_carries_no_fruit(made, site_class, fruit):
    survey = replace(made, blocks=blocks((1, "Bank", "pear", site_class)))
    [line] = [x for x in tell_survey(survey, OUT, 1.0).splitlines() if "Bank  " in x]
    assert line.split() == ["1", "Bank", *site_class.split(), fruit]


@pytest.mark.parametrize(
    ("cell", "surface", "told"),
    [(5.0, "ground", False), (30.0, "ground", True), (1.0, "canopy", True)],
)
def test_a_coarse_elevation_says_at_once_what_it_can_show(made, cell, surface, told):
    site = replace(made.site, model=ElevationModel(("e.tif",), cell, surface, 0.1))
    text = tell_survey(replace(made, site=site), OUT, 1.0)
    assert (made.answer.resolution in text.replace("\n", " ")) == told


def test_a_check_tells_each_kind_of_remark_under_its_own_head(made):
    kinds = ("missing", "doubtful", "mended", "read")
    remarks = tuple(Remark(kind, "no_go", f"what is {kind}") for kind in kinds)
    told = tell_check(replace(made.site, remarks=remarks)).splitlines()
    heads = [line.split()[0] for line in told[:4]]
    assert heads == ["Read", "Mended", "Doubtful", "Missing"]
    assert "no go" in told[0]
    assert told[-1] == "Ready for: survey."
    assert "show hollows from" in told[-2]


def test_a_head_stands_once_above_several_remarks(made):
    remarks = tuple(Remark("read", f"file {n}", "taken") for n in range(4))
    told = tell_check(replace(made.site, remarks=remarks))
    assert len([line for line in told.splitlines() if line.startswith("Read ")]) == 1
    assert all(f"file {n}" in told for n in range(4))


@pytest.mark.parametrize("text", [LONG, ""])
def test_every_word_of_a_remark_is_told_within_eighty_columns(made, text):
    remarks = (Remark("doubtful", LONG, text),)
    told = tell_check(replace(made.site, remarks=remarks)).splitlines()[:-2]
    assert max(map(len, told)) <= 80
    assert told[0].startswith(f"Doubtful  {LONG[:60]}")
    assert [w for line in told[1:] for w in line.split()] == text.split()


def test_a_region_tells_its_best_fields_first_and_counts_all():
    told = tell_region(
        region(
            ("Low", "done", 2, "cold air"),
            ("High", "done", 1, "sun"),
            ("Far", "failed", None, "no elevation there"),
        ),
        OUT,
    ).splitlines()
    assert told[0] == "3 fields: 2 surveyed, 1 failed"
    assert told[1:3] == ["1  High: sun", "2  Low: cold air"]
    assert told[3:] == [
        "",
        "Failed:",
        "   Far: no elevation there",
        "Written: out/fields.gpkg  fields.parquet",
    ]


@pytest.mark.parametrize(("lost", "more"), [(0, 0), (8, 0), (11, 3)])
def test_eight_failures_are_told_and_the_rest_counted(lost, more):
    rows = [(f"field {n}", "failed", None, "no heights") for n in range(lost)]
    told = tell_region(region(("Good", "done", 1, "sun"), *rows), OUT)
    assert told.count("no heights") == lost - more
    assert ("Failed:" in told) == (lost > 0)
    assert (f"and {more} more in fields.gpkg" in told) == (more > 0)


@pytest.mark.parametrize("write", [bold, dim])
def test_in_a_pipe_no_control_signs_are_written(write, monkeypatch):
    monkeypatch.setattr(sys, "stdout", StringIO())
    assert write("text") == "text"
    monkeypatch.setattr(sys, "stdout", Terminal())
    # Source: ECMA-48, 5th edition, 8.3.117, select graphic rendition.
    assert re.fullmatch("\033\\[[12]mtext\033\\[0m", write("text"))


@pytest.mark.parametrize(("stream", "quiet"), [(StringIO, False), (Terminal, True)])
def test_progress_says_nothing_in_a_pipe_or_when_asked_to_be_quiet(
    monkeypatch, stream, quiet
):
    error = stream()
    monkeypatch.setattr(sys, "stderr", error)
    with progress(quiet=quiet) as on_step:
        on_step("cold_air")
    with counting(quiet=quiet) as (on_done, on_start):
        on_start("somewhere")
        on_done(1, 2)
    assert error.getvalue() == ""


@pytest.mark.parametrize(("kept", "said"), [(False, True), (True, False)])
def test_a_terminal_is_told_of_a_first_run_that_compiles(
    monkeypatch, tmp_path, kept, said
):
    if kept:
        (tmp_path / "kernel.nbi").write_bytes(b"")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    error = Terminal()
    monkeypatch.setattr(sys, "stderr", error)
    with progress(quiet=False) as on_step:
        on_step("cold_air")
    assert ("First run: compiling" in error.getvalue()) == said


def test_a_long_file_name_is_neither_cut_nor_changed(small_survey):
    about = "station_daily_2025.csv"
    remark = Remark("read", about, "1996 to 2025, 10958 days")
    told = tell_check(replace(small_survey.site, remarks=(remark,))).splitlines()
    assert told[0] == f"Read      {about}"
    assert told[1].strip() == "1996 to 2025, 10958 days"
