"""Bad input through the command: one sentence, status 2, older outputs untouched."""

import json
import re
import shutil
import sys
from contextlib import chdir, redirect_stderr, redirect_stdout
from io import StringIO

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sitekit.cli import main
from sitekit.errors import SitekitError
from sitekit.request import read_site

WEST, NORTH, CELL, SIDE = 500_000.0, 5_130_360.0, 6.0, 60
EAST, SOUTH = WEST + SIDE * CELL, NORTH - SIDE * CELL
UTM = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
RING = [
    [WEST + 90, SOUTH + 90],
    [WEST + 270, SOUTH + 90],
    [WEST + 270, SOUTH + 270],
    [WEST + 90, SOUTH + 270],
    [WEST + 90, SOUTH + 90],
]
SITE = """\
[site]
name = "Made"
elevation = "elevation.tif"
field = "field.geojson"
[fruit]
kinds = ["pear"]
"""


def slope_south():
    """Ground that falls to the south by 8 %."""
    rows = np.arange(SIDE, dtype=np.float32)
    return np.repeat(150 - 0.08 * CELL * rows[:, None], SIDE, axis=1)


def write_heights(folder, heights, *, name="elevation.tif", **changes):
    profile = {
        "driver": "GTiff",
        "height": heights.shape[0],
        "width": heights.shape[1],
        "count": 1,
        "dtype": heights.dtype,
        "crs": "EPSG:32633",
        "transform": from_origin(WEST, NORTH, CELL, CELL),
        **changes,
    }
    with rasterio.open(folder / name, "w", **profile) as file:
        file.write(heights, 1)


def write_field(folder, kind="Polygon", coordinates=None):
    feature = {
        "type": "Feature",
        "properties": {"name": "Bank"},
        "geometry": {"type": kind, "coordinates": coordinates or [RING]},
    }
    held = {"type": "FeatureCollection", "crs": UTM, "features": [feature]}
    (folder / "field.geojson").write_text(json.dumps(held), encoding="utf-8")


@pytest.fixture
def holding(tmp_path):
    """A small sound holding beside an older survey of it."""
    write_heights(tmp_path, slope_south())
    write_field(tmp_path)
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "map.html").write_text("older", encoding="utf-8")
    listed = json.dumps({"files": ["map.html"]})
    (tmp_path / "out" / "run.json").write_text(listed, encoding="utf-8")
    return tmp_path


def refused(folder, *arguments):
    """Let the command refuse; check how it does so and give back what it says."""
    out, error, status = StringIO(), StringIO(), 0
    argv, sys.argv = sys.argv, ["sitekit", *(arguments or ("survey", "site.toml"))]
    if not arguments:
        sys.argv += ["--out", "out"]
    try:
        with chdir(folder), redirect_stdout(out), redirect_stderr(error):
            main()
    except SystemExit as end:
        status = end.code
    finally:
        sys.argv = argv
    told = " ".join(error.getvalue().split())
    assert status == 2, told
    assert "Traceback" not in told
    assert (folder / "out" / "map.html").read_text(encoding="utf-8") == "older"
    assert {p.name for p in (folder / "out").iterdir()} == {"map.html", "run.json"}
    assert not [p for p in folder.iterdir() if p.name.startswith(".out")]
    assert out.getvalue() == ""
    return told


# Heights that are no heights.


def all_missing():
    return np.full((SIDE, SIDE), np.nan, np.float32)


def all_nodata():
    return np.full((SIDE, SIDE), -9999, np.float32)


def absurd(value):
    heights = slope_south()
    heights[20:40, 20:40] = value
    return heights


@pytest.mark.parametrize(
    ("heights", "nodata"),
    [
        (all_missing(), None),
        (all_missing(), np.nan),
        (all_nodata(), -9999),
        (np.full((SIDE, SIDE), -32768, np.int16), -32768),
        (np.full((SIDE, SIDE), 1e6, np.float32), None),
        (np.full((SIDE, SIDE), -60_000, np.float32), None),
        (np.full((SIDE, SIDE), np.inf, np.float32), None),
    ],
)
def test_an_elevation_without_usable_heights_is_refused_by_name(
    holding, heights, nodata
):
    write_heights(holding, heights, nodata=nodata)
    assert "elevation.tif" in refused(holding)


def test_an_elevation_without_a_coordinate_system_is_refused(holding):
    write_heights(holding, slope_south(), crs=None)
    told = refused(holding)
    assert "elevation.tif" in told
    assert "coordinate" in told


@pytest.mark.parametrize("name", ["elevation.tif", "field.geojson"])
def test_a_missing_file_is_named(holding, name):
    (holding / name).unlink()
    assert name in refused(holding)


@pytest.mark.parametrize("name", ["elevation.tif", "field.geojson", "site.toml"])
def test_an_empty_file_is_named(holding, name):
    (holding / name).write_bytes(b"")
    assert name in refused(holding)


@pytest.mark.parametrize("name", ["elevation.tif", "field.geojson"])
@pytest.mark.parametrize("kept", [0.02, 0.5])
def test_a_file_cut_off_is_named(holding, name, kept):
    whole = (holding / name).read_bytes()
    (holding / name).write_bytes(whole[: int(kept * len(whole))])
    assert name in refused(holding)


@pytest.mark.parametrize("name", ["elevation.tif", "field.geojson", "site.toml"])
@pytest.mark.parametrize("bytes_", [b"\x00" * 400, b"\xff\xfe\xfd" * 90, b"PK\x03\x04"])
def test_other_bytes_are_refused_by_the_name_of_their_file(holding, name, bytes_):
    (holding / name).write_bytes(bytes_)
    assert name in refused(holding)


@pytest.mark.parametrize("name", ["elevation.tif", "field.geojson"])
def test_a_folder_where_a_file_is_expected_is_refused(holding, name):
    (holding / name).unlink()
    (holding / name).mkdir()
    assert name in refused(holding)


# Fields that are no fields.


def moved(east, north):
    return [[[x + east, y + north] for x, y in RING]]


@pytest.mark.parametrize(
    ("east", "north"), [(5000, 0), (-5000, 0), (0, 90_000), (0, -700), (200, 0)]
)
def test_a_field_that_the_elevation_does_not_reach_is_refused(holding, east, north):
    write_field(holding, coordinates=moved(east, north))
    told = refused(holding)
    assert "field" in told
    assert "elevation" in told


@pytest.mark.parametrize(
    ("kind", "coordinates"),
    [
        ("Point", RING[0]),
        ("MultiPoint", RING[:3]),
        ("LineString", RING[:3]),
        ("LineString", RING[:2]),
        ("MultiLineString", [RING[:2], RING[2:4]]),
    ],
)
def test_a_point_or_an_open_line_is_no_field(holding, kind, coordinates):
    write_field(holding, kind, coordinates)
    assert "field.geojson" in refused(holding)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_corner_that_is_no_number_is_told(holding, value):
    write_field(holding, "Polygon", [[*RING[:1], [value, RING[1][1]], *RING[2:]]])
    said = refused(holding)
    assert "field.geojson, feature 1 has a corner whose coordinates are no num" in said


@pytest.mark.parametrize(
    "features",
    [[], [{"type": "Feature", "properties": {}, "geometry": None}]],
)
def test_a_file_without_any_shape_is_no_field(holding, features):
    held = {"type": "FeatureCollection", "crs": UTM, "features": features}
    (holding / "field.geojson").write_text(json.dumps(held), encoding="utf-8")
    assert "field.geojson" in refused(holding)


def test_a_ring_that_crosses_itself_is_mended_and_that_is_said(holding):
    bow = [RING[0], RING[2], RING[1], RING[3], RING[0]]
    write_field(holding, coordinates=[bow])
    site = read_site(holding / "site.toml")
    assert site.field.is_valid.all()
    # Source: OGC 06-103r4, Simple Features, 6.1.11: a ring crosses itself nowhere.
    # The two wings of the bow have half the area of its square.
    assert site.field_area == pytest.approx(180**2 / 2, rel=0.01)
    assert any(r.kind == "mended" and "field" in r.about for r in site.remarks)


def test_a_closed_line_is_a_field(holding):
    write_field(holding, "LineString", RING)
    assert read_site(holding / "site.toml").field_area == pytest.approx(
        180**2, rel=0.01
    )


# Words of the site file.


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"pear"', '"paer"', 'Nearest: "pear"'),
        ('"pear"', '"raspbery"', "raspbery"),
        ('["pear"]', "7", "kinds"),
        ("kinds", "kind", 'Nearest: "kinds"'),
        ("[fruit]", "[friut]", 'Nearest: "fruit"'),
        ("elevation =", "elevtion =", 'Nearest: "elevation"'),
        ("[fruit]", "[grid]\ncell = 0\n[fruit]", "cell"),
        ("[fruit]", "[grid]\ncell = -5\n[fruit]", "cell"),
        ("[fruit]", "[grid]\ncell = inf\n[fruit]", "cell"),
        ("[fruit]", '[grid]\ncell = "six"\n[fruit]', "cell"),
        ("[fruit]", "[grid]\nmargin = nan\n[fruit]", "margin"),
        ("[fruit]", "[grid]\nmax_cells = 0\n[fruit]", "max_cells"),
        ("[fruit]", '[site]\nname = "Twice"\n[fruit]', "site.toml"),
        ('name = "Made"', "name = Made", "line 2"),
        ('name = "Made"', 'z_unit = "ell"', "z_unit"),
        ('name = "Made"', 'surface = "roof"', "surface"),
        ('name = "Made"', 'elevation_crs = "EPSG:0"', "elevation_crs"),
    ],
)
def test_a_mistake_in_the_site_file_is_told(holding, old, new, said):
    assert old in SITE
    (holding / "site.toml").write_text(SITE.replace(old, new, 1), encoding="utf-8")
    assert said in refused(holding)


def test_too_many_cells_are_refused_with_a_cell_that_fits(holding):
    text = SITE + "[grid]\ncell = 1.0\nmax_cells = 5000\n"
    (holding / "site.toml").write_text(text, encoding="utf-8")
    told = refused(holding)
    assert "max_cells" in told
    fitting = re.search(r"Set cell to ([\d.]+) or more", told)
    assert fitting
    wish = text.replace("cell = 1.0", f"cell = {fitting[1]}")
    (holding / "site.toml").write_text(wish, encoding="utf-8")
    rows, columns = read_site(holding / "site.toml").grid.shape
    assert rows * columns <= 5000


def test_a_site_file_that_is_not_there_is_named(holding):
    assert "nowhere.toml" in refused(holding, "survey", "nowhere.toml", "--out", "out")


def test_a_folder_with_a_foreign_file_is_refused_before_anything_is_read(holding):
    other = holding / "other"
    other.mkdir()
    (other / "letter.txt").write_text("mine", encoding="utf-8")
    (holding / "elevation.tif").unlink()
    told = refused(holding, "survey", "site.toml", "--out", "other")
    assert "letter.txt" in told
    assert (other / "letter.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("place", ["field.geojson", "field.geojson/below"])
def test_a_file_where_the_folder_should_be_is_refused(holding, place):
    before = (holding / "field.geojson").read_bytes()
    assert "--out" in refused(holding, "survey", "site.toml", "--out", place)
    assert (holding / "field.geojson").read_bytes() == before


@pytest.mark.parametrize("value", [1e6, -60_000.0, np.inf, -np.inf])
def test_a_patch_of_impossible_heights_is_taken_as_missing_and_that_is_said(
    holding, value
):
    write_heights(holding, absurd(value))
    site = read_site(holding / "site.toml")
    known = site.ground[np.isfinite(site.ground)]
    assert known.min() > 100
    assert known.max() < 160
    said = {r.kind: r.text for r in site.remarks if r.about == "elevation.tif"}
    kind = "impossible" if np.isfinite(value) else "infinite"
    assert said["mended"] == f"400 cells with {kind} heights taken as missing"
    assert any("left without height" in r.text for r in site.remarks)


# Every form in which ground can be missing.


@pytest.mark.parametrize(
    ("kind", "nodata", "missing"),
    [
        (np.float32, None, np.nan),
        (np.float32, np.nan, np.nan),
        (np.float32, -9999.0, -9999.0),
        (np.float32, -32767.0, -32767.0),
        (np.float32, -3.4028234663852886e38, -3.4028234663852886e38),
        (np.float64, -9999.0, -9999.0),
        (np.int16, -32768, -32768),
        (np.int16, -9999, -9999),
        (np.int32, -2147483648, -2147483648),
        (np.uint16, 65535, 65535),
        (np.uint16, 0, 0),
    ],
)
def test_missing_ground_is_missing_in_every_form(holding, kind, nodata, missing):
    heights = slope_south()
    heights[0:20, 0:20] = np.nan
    stored = np.where(np.isnan(heights), missing, heights).astype(kind)
    write_heights(holding, stored, nodata=nodata)
    (holding / "site.toml").write_text(f"{SITE}[grid]\ncell = 6.0\n", encoding="utf-8")
    site = read_site(holding / "site.toml")
    known = site.ground[np.isfinite(site.ground)]
    assert known.min() >= slope_south().min() - 1
    assert known.max() <= slope_south().max() + 1


def test_ground_masked_by_a_band_of_its_own_is_missing(holding):
    with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True):
        heights = absurd(7.0)
        write_heights(holding, heights)
        with rasterio.open(holding / "elevation.tif", "r+") as file:
            file.write_mask(heights != 7.0)
    site = read_site(holding / "site.toml")
    assert np.nanmin(site.ground) > 100


def test_the_sound_holding_is_read(holding):
    # Without this the refusals above could have any other cause.
    site = read_site(holding / "site.toml")
    assert site.field_area == pytest.approx(180**2, rel=0.01)
    shutil.rmtree(holding / "out")
    (holding / "elevation.tif").unlink()
    with pytest.raises(SitekitError, match=r"elevation\.tif"):
        read_site(holding / "site.toml")
