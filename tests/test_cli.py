"""The command: what it prints, what it writes, and how it says no."""

import json
import re
import subprocess
import sys
from contextlib import chdir, redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sitekit.cli import main

RASTERS = Path(__file__).parents[1] / "sample_rasters"


class Done:
    """What a command printed and how it ended."""

    def __init__(self, returncode, stdout, stderr):
        self.returncode, self.stdout, self.stderr = returncode, stdout, stderr


def run(*arguments, folder, check=None):
    """Run the command in this process, as the console script does."""
    out, error, status = StringIO(), StringIO(), 0
    argv, sys.argv = sys.argv, ["sitekit", *map(str, arguments)]
    try:
        with chdir(folder), redirect_stdout(out), redirect_stderr(error):
            main()
    except SystemExit as end:
        status = end.code or 0
    finally:
        sys.argv = argv
    done = Done(status, out.getvalue(), error.getvalue())
    if check is not None:
        assert done.returncode == check, done.stderr
    assert "Traceback" not in done.stderr
    return done


@pytest.fixture(scope="module")
def holding(tmp_path_factory):
    """A small site of one's own: a slope, a field on it, a site file."""
    folder = tmp_path_factory.mktemp("holding")
    y, x = np.mgrid[0:90, 0:90] * 4.0
    ground = 100 + 0.08 * (356 - y) - 3 * np.exp(-(((x - 180) / 20) ** 2))
    with rasterio.open(
        folder / "elevation.tif",
        "w",
        driver="GTiff",
        height=90,
        width=90,
        count=1,
        dtype="float32",
        crs="EPSG:32633",
        transform=from_origin(500_000, 5_130_360, 4, 4),
    ) as file:
        file.write(ground.astype("float32"), 1)
    corners = [
        [500_060, 5_130_060],
        [500_300, 5_130_060],
        [500_300, 5_130_300],
        [500_060, 5_130_300],
        [500_060, 5_130_060],
    ]
    field = {
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}},
        "features": [
            {
                "type": "Feature",
                "properties": {"name": "Bank"},
                "geometry": {"type": "Polygon", "coordinates": [corners]},
            }
        ],
    }
    (folder / "field.geojson").write_text(json.dumps(field))
    (folder / "site.toml").write_text(
        '[site]\nname = "Small"\nelevation = "elevation.tif"\nfield = "field.geojson"\n'
        '[fruit]\nkinds = ["apple", "pear"]\n'
    )
    return folder


@pytest.fixture(scope="module")
def surveyed(holding):
    return run("survey", "site.toml", "--out", "out", folder=holding, check=0)


def test_help_of_every_command_shows_an_example(holding):
    for command in ("demo", "new", "check", "survey"):
        done = run(command, "--help", folder=holding, check=0)
        assert f"Example: sitekit {command}" in " ".join(done.stdout.split())
        # What an option takes is told in words, not in types of the language.
        assert not re.search(r"<(list|str|int|float)", done.stdout)


def test_the_command_runs_as_a_module_and_says_its_version(holding):
    done = subprocess.run(
        [sys.executable, "-m", "sitekit", "--version"],
        cwd=holding,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.startswith("sitekit 0.")


def test_help_needs_none_of_the_heavy_libraries():
    # A promise of speed that needs no clock: what --help imports.
    code = (
        "import sys, sitekit.cli.app; heavy = {'numpy', 'pandas', 'numba', 'rasterio', "
        "'folium', 'matplotlib', 'xarray', 'scipy'}; print(heavy & set(sys.modules))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "set()"


def test_survey_writes_everything_of_the_contract_and_nothing_else(surveyed, holding):
    out = holding / "out"
    assert {p.name for p in out.iterdir()} == {
        "map.html",
        "report.html",
        "site.gpkg",
        "layers",
        "run.json",
    }
    listed = json.loads((out / "run.json").read_text(encoding="utf-8"))
    there = {p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file()}
    assert set(listed["files"]) == there - {"run.json"}
    assert set(listed["inputs"]) == {
        "elevation.tif",
        "field.geojson",
        "site.toml",
    }
    assert all(len(h) == 64 for h in listed["inputs"].values())


def test_survey_tells_the_answer_in_a_few_lines_of_eighty_columns(surveyed):
    lines = surveyed.stdout.splitlines()
    assert lines[0].startswith("Small: field 5.8")
    assert len(lines) <= 22
    assert max(map(len, lines)) <= 80
    assert any(line.startswith("Written:") for line in lines)
    assert surveyed.stderr == ""


def test_survey_again_replaces_its_own_folder(surveyed, holding):
    done = run("survey", "site.toml", "--out", "out", "--json", folder=holding, check=0)
    told = json.loads(done.stdout)
    assert told["site"] == "Small"
    assert {b["fruit"] for b in told["blocks"]} == {"apple", "pear"}
    assert not [p for p in holding.iterdir() if p.name.startswith(".out")]


def test_a_folder_with_a_foreign_file_is_refused_and_left_alone(surveyed, holding):
    foreign = holding / "out" / "my-notes.txt"
    foreign.write_text("mine")
    before = (holding / "out" / "map.html").read_bytes()
    done = run("survey", "site.toml", "--out", "out", folder=holding, check=2)
    assert "out holds my-notes.txt, which sitekit did not write" in done.stderr
    assert (holding / "out" / "map.html").read_bytes() == before
    foreign.unlink()


def test_a_folder_that_is_a_file_is_refused(holding):
    done = run("survey", "site.toml", "--out", "field.geojson", folder=holding, check=2)
    assert "field.geojson is a file" in done.stderr


def test_quiet_says_nothing(holding, tmp_path):
    done = run(
        "survey",
        "site.toml",
        "--out",
        tmp_path / "q",
        "--quiet",
        folder=holding,
        check=0,
    )
    assert (done.stdout, done.stderr) == ("", "")


def test_the_same_without_a_site_file(holding, tmp_path):
    run(
        "survey",
        "--elevation",
        "elevation.tif",
        "--field",
        "field.geojson",
        "--fruit",
        "plum",
        "--cell",
        "6",
        "--out",
        tmp_path / "plain",
        folder=holding,
        check=0,
    )
    with rasterio.open(tmp_path / "plain" / "layers" / "slope.tif") as layer:
        assert layer.res == (6.0, 6.0)
        assert layer.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG"


def test_check_computes_nothing_and_lists_settings(holding):
    done = run("check", "site.toml", "--json", folder=holding, check=0)
    told = json.loads(done.stdout)
    assert told["settings"]["relative_height_radius"]["default"] == 150.0
    assert "show hollows from" in told["resolution"]
    plain = run("check", "site.toml", folder=holding, check=0)
    assert plain.stdout.startswith("Read")
    assert "Missing" in plain.stdout
    assert max(map(len, plain.stdout.splitlines())) <= 80


def test_new_writes_a_file_that_says_what_to_fill_in_and_keeps_an_older_one(tmp_path):
    run("new", "mine", folder=tmp_path, check=0)
    assert "[site]" in (tmp_path / "mine" / "site.toml").read_text(encoding="utf-8")
    again = run("new", "mine", folder=tmp_path, check=2)
    assert "it is there already" in again.stderr


def site_with(holding, tmp_path, **changes):
    """The site file of the small holding with lines changed."""
    text = (holding / "site.toml").read_text()
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    text = text.replace(
        '"elevation.tif"', f'"{(holding / "elevation.tif").as_posix()}"'
    )
    text = text.replace(
        '"field.geojson"', f'"{(holding / "field.geojson").as_posix()}"'
    )
    (tmp_path / "site.toml").write_text(text)
    return tmp_path / "site.toml"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            'name = "Small"',
            'nmae = "Small"',
            'unknown key "nmae" in [site]. Nearest: "name".',
        ),
        ('"apple"', '"aple"', 'No fruit is called "aple". Nearest: "apple".'),
        (
            "[fruit]",
            "[settings]\nedge_setbak = 2\n[fruit]",
            'unknown setting "edge_setbak"',
        ),
        ("[fruit]", "[settings]\nedge_setback = -2\n[fruit]", "it must lie from 0"),
        (
            "[fruit]",
            '[outputs]\nlayers = ["slop"]\n[fruit]',
            'No layer is called "slop"',
        ),
        ("[fruit]", "[grid]\ncell = 0.0\n[fruit]", "cell"),
        ("[fruit]", "[grid]\ncell = nan\n[fruit]", "cell"),
        ("field.geojson", "fjeld.geojson", "fjeld.geojson"),
    ],
)
def test_a_mistake_in_the_site_file_is_told_with_its_line(
    holding, tmp_path, old, new, said
):
    site = site_with(holding, tmp_path, change=(old, new))
    done = run("survey", site, "--out", tmp_path / "no", folder=tmp_path, check=2)
    assert said in done.stderr
    assert "site.toml, line" in done.stderr
    assert "Nothing was written" in done.stderr
    assert not (tmp_path / "no").exists()


def test_all_mistakes_are_told_at_once(holding, tmp_path):
    site = site_with(
        holding,
        tmp_path,
        a=('name = "Small"', 'nmae = "Small"'),
        b=("[fruit]", "[fruits]"),
    )
    done = run("check", site, folder=tmp_path, check=2)
    assert done.stderr.count("site.toml, line") == 2


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "name a site file, or both --elevation and --field"),
        (("--elevation", "elevation.tif"), "both --elevation and --field"),
        (("site.toml", "--cell", "5"), "--cell stands beside it"),
        (
            ("--elevation", "elevation.tif", "--field", "field.geojson", "--cell", "0"),
            "--cell",
        ),
        (
            (
                "--elevation",
                "elevation.tif",
                "--field",
                "field.geojson",
                "--cell",
                "nan",
            ),
            "--cell",
        ),
        (
            (
                "--elevation",
                "elevation.tif",
                "--field",
                "field.geojson",
                "--z-unit",
                "ell",
            ),
            "z-unit",
        ),
        (
            (
                "--elevation",
                "elevation.tif",
                "--field",
                "field.geojson",
                "--station",
                "x",
            ),
            "station",
        ),
        (
            (
                "--elevation",
                "elevation.tif",
                "--field",
                "field.geojson",
                "--station",
                "nan,46.3,700",
            ),
            "station",
        ),
        (("--elevation", "nothing.tif", "--field", "field.geojson"), "nothing.tif"),
        (("--elevation", "field.geojson", "--field", "field.geojson"), "field.geojson"),
        (("--no-such-option",), "No such option"),
    ],
)
def test_bad_usage_ends_with_status_2_and_one_sentence(
    holding, tmp_path, arguments, said
):
    done = run("survey", *arguments, "--out", tmp_path / "no", folder=holding, check=2)
    assert said in done.stderr
    assert not (tmp_path / "no").exists()


def test_the_coarse_real_sample_gets_a_modest_answer(tmp_path):
    run(
        "survey",
        "--elevation",
        RASTERS / "jacksboro_3arcsec.tif",
        "--field",
        RASTERS / "jacksboro_field.geojson",
        "--out",
        "real",
        "--json",
        folder=tmp_path,
        check=0,
    )
    run_file = json.loads((tmp_path / "real" / "run.json").read_text(encoding="utf-8"))
    assert any(
        "canopy" in w["text"] or "canopy" in w["about"] for w in run_file["warnings"]
    )


def test_the_lake_sample_finds_its_water_and_reads_a_walked_track(tmp_path):
    done = run(
        "survey",
        "--elevation",
        RASTERS / "lakes_50m.tif",
        "--field",
        RASTERS / "lakes_field.gpx",
        "--out",
        "lakes",
        "--json",
        folder=tmp_path,
        check=0,
    )
    told = json.loads(done.stdout)
    assert {b["site_class"] for b in told["blocks"]} <= {"test first", "refused"}
    assert (tmp_path / "lakes" / "layers" / "distance_to_water.tif").exists()


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('[settings]\nclosed_edges = ["wets"]', 'holds "wets"; allowed: west, east'),
        ('[outputs]\nlayers = ["night_air"]', "is a step on the way"),
    ],
)
def test_what_cannot_be_a_setting_or_a_layer_is_told(holding, tmp_path, line, said):
    site = site_with(holding, tmp_path, change=("[fruit]", f"{line}\n[fruit]"))
    done = run("survey", site, "--out", tmp_path / "no", folder=tmp_path, check=2)
    assert said in done.stderr
