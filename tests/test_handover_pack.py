"""The contractor's pack: what a stranger needs to set out the trees."""

import json
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from PIL import Image

from sitekit.cartography.drawing import measure_text
from sitekit.cartography.notes import list_cautions, tell_use
from sitekit.handover import write_handover
from sitekit.handover.ground import find_axis
from sitekit.handover.pack import make_sheets
from sitekit.handover.paper import Paper, write_pages
from sitekit.handover.plan import draw_page, plan_sheets
from sitekit.handover.planting_marks import find_marker, list_marks
from sitekit.handover.scales import A3, A4
from sitekit.planting.block_marks import place_block_marks, tape_blocks
from sitekit.results import Baseline, PlantingPlan, Survey
from sitekit.writing import write_survey

DAY = date(2026, 11, 25)
BLOCKS = {
    "1": ("pear", (300.0, 310.0), 5.0),
    "2": ("blackcurrant", (300.0, 400.0), 2.0),
}
PARTS = (
    "1  Front sheet",
    "2  Control marks and baseline",
    "3  Setting-out list",
    "4  Drawings and details",
    "5  Quantities",
    "6  No-dig and no-drive ground",
    "7  Services",
    "8  Permits",
    "9  Hold points",
    "10  Stop rules",
    "11  Acceptance checks",
    "12  What the contractor writes back",
)


def make_plants(origin, blocks=BLOCKS, rows=2, numbers=10):
    """Plants in straight rows, so that every coordinate can be told by hand."""
    west, south = origin
    found = []
    for block, (fruit, (x, y), spacing) in blocks.items():
        for row in range(1, rows + 1):
            for number in range(1, numbers + 1):
                name = f"{block}-{row}-{number:02d}"
                place = shapely.Point(
                    west + x + (number - 1) * spacing, south + y + (row - 1) * 5.0
                )
                found.append((name, block, row, number, fruit, row, place))
    columns = ["id", "block", "row", "number", "fruit", "year", "geometry"]
    plants = pd.DataFrame(found, columns=columns)
    return plants.assign(group="autumn", partner="", partner_m=np.nan, lonely=False)


def as_frame(table, crs):
    return GeoDataFrame(table, geometry="geometry", crs=crs)


def make_rows(plants, crs):
    lines = [
        (
            block,
            row,
            part["fruit"].iloc[0],
            shapely.LineString(part["geometry"].tolist()),
        )
        for (block, row), part in plants.groupby(["block", "row"])
    ]
    return as_frame(
        pd.DataFrame(lines, columns=["block", "row", "fruit", "geometry"]), crs
    )


def make_fence(plants, crs):
    ring = shapely.MultiPoint(plants["geometry"].tolist()).envelope.buffer(
        3, join_style="mitre"
    )
    corners = list(ring.exterior.coords)[:-1]
    gate = shapely.LineString(corners[:2]).interpolate(0.5, normalized=True)
    shapes = [
        shapely.LineString(ring.exterior.coords),
        *map(shapely.Point, corners),
        gate,
    ]
    return as_frame(
        pd.DataFrame(
            {
                "id": ["F1", *[f"F1-C{i:02d}" for i in range(1, 5)], "F1-G1"],
                "kind": ["fence line", *["fence corner"] * 4, "gate"],
                "block": "1 and 2",
                "length_m": [ring.length - 4, 0, 0, 0, 0, 4.0],
                "geometry": shapes,
            }
        ),
        crs,
    )


def make_setting_out(baseline, plants, fence, holes, marks):
    bushes = ("blackcurrant",)
    rows = [
        (name, "control mark" if baseline.surveyed else "end of the baseline", *point)
        for name, point in zip(baseline.names, baseline.points, strict=True)
    ]
    rows += [
        (
            p.id,
            f"{'bush' if p.fruit in bushes else 'tree'}, {p.fruit}",
            p.geometry.x,
            p.geometry.y,
        )
        for p in plants.itertuples()
    ]
    for frame in (fence[fence["kind"] != "fence line"], holes):
        kinds = frame["kind"] if "kind" in frame else ["test hole"] * len(frame)
        rows += [
            (name, kind, shape.x, shape.y)
            for name, kind, shape in zip(
                frame["id"], kinds, frame.geometry, strict=True
            )
        ]
    rows += [
        (m.id, "control mark", m.geometry.x, m.geometry.y) for m in marks.itertuples()
    ]
    table = pd.DataFrame(rows, columns=["id", "what", "easting_m", "northing_m"])
    table["level_m"] = 720.0 + 0.08 * (table["northing_m"] - 5_130_300.0)
    for name, (x, y) in zip(("from_a_m", "from_b_m"), baseline.points, strict=True):
        table[name] = np.hypot(table["easting_m"] - x, table["northing_m"] - y).round(2)
    table["tolerance_m"] = 0.10
    return table


def make_plan(survey, *, surveyed=True, blocks=BLOCKS, rows=2, numbers=10):
    grid = survey.site.grid
    west, south = grid.west, grid.bounds[1]
    plants = as_frame(make_plants((west, south), blocks, rows, numbers), grid.crs)
    fence = make_fence(plants, grid.crs)
    baseline = Baseline(
        ("nail in rock", "stone gatepost"),
        ((west + 285.0, south + 430.0), (west + 380.0, south + 300.0)),
        (734.4, np.nan),
        0.02 if surveyed else 3.0,
        surveyed,
    )
    holes = as_frame(
        pd.DataFrame(
            {
                "id": ["T1"],
                "order": [1],
                "block": ["1"],
                "decides": ["whether block 1 drains"],
                "geometry": [shapely.Point(west + 322, south + 317)],
            }
        ),
        grid.crs,
    )
    lanes = as_frame(
        pd.DataFrame(
            {
                "kind": ["cold-air lane", "headland"],
                "width_m": [7.0, 6.0],
                "geometry": [
                    shapely.box(west + 351, south + 300, west + 358, south + 420),
                    shapely.box(west + 290, south + 320, west + 350, south + 326),
                ],
            }
        ),
        grid.crs,
    )
    marks = place_block_marks(survey.site, plants, baseline)
    return PlantingPlan(
        block_marks=marks,
        block_tapes=tape_blocks(plants, marks, baseline),
        rows=make_rows(plants, grid.crs),
        plants=plants,
        lanes=lanes,
        fence=fence,
        test_holes=holes,
        setting_out=make_setting_out(baseline, plants, fence, holes, marks),
        baseline=baseline,
        need=pd.DataFrame({"fruit": ["pear"], "group": ["autumn"], "kg": [900.0]}),
        quantities=pd.DataFrame(
            {
                "year": [1, 1, 0],
                "item": ["tree, pear", "mulch, first lay", "fence"],
                "quantity": [20.0, 18.4, 240.0],
                "unit": ["tree", "m³", "m"],
                "price": [22.0, 0.0, 12.0],
                "cost": [440.0, 0.0, 2880.0],
                "source": ["common practice, no source"] * 3,
            }
        ),
        edges=pd.DataFrame(
            {
                "edge": ["spade-cut strip", "steel"],
                "price_m": [0.0, 12.0],
                "days_m": [0.008, 0.003],
                "mulch_saved_m3": [6.0, 5.4],
                "cost": [0.0, 1200.0],
                "pays_back_years": [1.0, np.inf],
                "source": ["common practice, no source"] * 2,
            }
        ),
        years=pd.DataFrame(
            {
                "year": [1, 2],
                "blocks": ["1", "2"],
                "area_m2": [200.0, 150.0],
                "kept_m2": [0.0, 200.0],
                "trees": [20, 20],
                "money": [900.0, 700.0],
                "mulch_m3": [80.0, 90.0],
                "days": [9.0, 8.0],
                "binding": ["mulch", "money"],
                "ceiling_m2": [450.0, 450.0],
            }
        ),
        sentences=("This year 20 trees on 200 m²: mulch is what binds.",),
        missing={"test holes": "no test hole was read; dig T1 and note how it drains"},
    )


def add_vectors(survey):
    """A main that crosses the rows, and its owner's word on it."""
    west, south = survey.site.grid.west, survey.site.grid.bounds[1]
    crs = survey.site.grid.crs
    services = GeoDataFrame(
        {
            "name": ["water main"],
            "kind": ["water"],
            "certainty": ["owner's sketch only, ± 2 m"],
        },
        geometry=[
            shapely.LineString([(west + 250, south + 345), (west + 420, south + 352)])
        ],
        crs=crs,
    )
    vectors = {**survey.site.vectors, "services": services}
    given = survey.site.given | {"services"}
    return replace(survey, site=replace(survey.site, vectors=vectors, given=given))


@pytest.fixture
def planned(small_survey: Survey) -> Survey:
    survey = add_vectors(small_survey)
    return replace(survey, plan=make_plan(survey))


#: The usual pack, written once and only read.
WRITTEN: list[Path] = []


@pytest.fixture
def pack(planned, tmp_path_factory):
    if not WRITTEN:
        folder = tmp_path_factory.mktemp("pack")
        write_handover(planned, folder, today=DAY)
        WRITTEN.append(folder)
    return WRITTEN[0]


def needs(tool):
    return pytest.mark.skipif(
        shutil.which(tool) is None, reason=f"{tool} is not installed: not measured"
    )


def run(*command):
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def read(path, *options):
    return run("pdftotext", *options, str(path), "-")


def flat(text):
    return re.sub(r"\s+", " ", text.replace("\xa0", " "))


def page_size(path):
    found = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", run("pdfinfo", str(path)))
    return tuple(float(side) / 72 * 25.4 for side in found.groups())


def page_count(path):
    return int(re.search(r"Pages:\s+(\d+)", run("pdfinfo", str(path)))[1])


def grey(path, folder, dpi):
    run(
        "pdftoppm",
        "-r",
        str(dpi),
        "-gray",
        "-png",
        "-f",
        "1",
        "-l",
        "1",
        str(path),
        str(folder / "p"),
    )
    return np.asarray(Image.open(next(folder.glob("p-*.png"))).convert("L"))


def test_the_pack_has_its_eleven_files(planned, tmp_path):
    files = write_handover(planned, tmp_path / "handover", today=DAY)
    assert {path.name for path in files} == {
        "plan-a3.pdf",
        "plan-a4.pdf",
        "sheets.pdf",
        "setting_out.csv",
        "block_tapes.csv",
        "setting_out.gpx",
        "setting_out.kml",
        "setting_out.geojson",
        "quantities.csv",
        "plan_years.csv",
        "plants.csv",
    }
    assert all(path.stat().st_size > 0 for path in files)
    assert {path.name for path in (tmp_path / "handover").iterdir()} == {
        path.name for path in files
    }


def test_every_plant_is_listed_with_its_year_and_partner(pack, planned):
    listed = pd.read_csv(pack / "plants.csv")
    assert listed["id"].tolist() == planned.plan.plants["id"].tolist()
    assert {"block", "row", "number", "fruit", "year"} <= set(listed)
    assert "geometry" not in listed


def test_without_a_plan_nothing_is_written(small_survey, tmp_path):
    assert write_handover(small_survey, tmp_path / "handover") == []
    assert not (tmp_path / "handover").exists()


def test_a_plan_without_a_plant_writes_nothing(planned, tmp_path):
    bare = replace(planned.plan, plants=planned.plan.plants.iloc[:0])
    assert write_handover(replace(planned, plan=bare), tmp_path / "handover") == []


# Source: ISO 216: A3 is 297 × 420 mm, A4 210 × 297 mm.
@needs("pdfinfo")
def test_plans_are_on_a3_and_a4_and_sheets_on_upright_a4(pack):
    assert page_size(pack / "plan-a3.pdf") == pytest.approx((420, 297), abs=0.1)
    assert page_size(pack / "plan-a4.pdf") == pytest.approx((297, 210), abs=0.1)
    assert page_size(pack / "sheets.pdf") == pytest.approx((210, 297), abs=0.1)


@needs("pdftoppm")
@pytest.mark.parametrize(
    ("name", "left", "base"), [("plan-a3", 20, 15.5), ("plan-a4", 16, 14.5)]
)
def test_the_scale_bar_of_the_plan_measures_right_on_paper(
    pack, tmp_path, name, left, base
):
    """At 254 dots for an inch a millimetre is ten dots."""
    seen = grey(pack / f"{name}.pdf", tmp_path, 254)
    row = seen[-round((base + 1.1) * 10), (left - 5) * 10 : (left + 110) * 10]
    inked = np.flatnonzero(row < 128)
    assert inked[-1] - inked[0] + 1 == pytest.approx(1002, abs=3)


@needs("pdftoppm")
@needs("pdftotext")
def test_ground_is_drawn_to_the_scale_that_is_told(pack, tmp_path):
    """Two crosses of the grid that stand 40 mm apart carry coordinates that do too."""
    text = read(pack / "plan-a3.pdf", "-layout")
    scale = int(re.search(r"1:(\d+) on A3", text)[1])
    eastings = sorted({int(e) for e in re.findall(r"\bE (\d{6})\b(?!\.)", text)})
    step = np.diff(eastings).min()
    assert step * 1000 / scale == pytest.approx(40.0)


@needs("pdftotext")
@pytest.mark.parametrize("name", ["plan-a3", "plan-a4"])
def test_a_plan_tells_all_that_its_reader_needs(pack, name):
    text = flat(read(pack / f"{name}.pdf"))
    for said in (
        "Test Holding",
        "Print at 100 %: the bar measures 100 mm.",
        "Scale",
        "Revision",
        "25 Nov 2026",
        "UTM zone 33N on WGS 84 (EPSG:32633)",
        "Grid north and true north agree within 0.1°.",
        "indicative only",
        "no machine within 500 mm",
        "Stop at once",
        "Stop and call",
        "Key",
        "cold-air lane, 7 m",
        "no dig, no drive",
        "Phone positions are not for setting out.",
        "pear, plant this year",
        "blackcurrant, later year",
        "1-1-01",
        "2-2-10",
    ):
        assert said in text, said


@needs("pdftotext")
def test_both_ends_of_the_baseline_stand_on_the_plan_with_their_coordinates(pack):
    text = flat(read(pack / "plan-a3.pdf"))
    assert 'A "nail in rock" E 500285.00 N 5130430.00 level 734.4' in text
    assert 'B "stone gatepost" E 500380.00 N 5130300.00 level not known' in text


@needs("pdftotext")
def test_the_twelve_parts_are_there_in_their_order(pack):
    text = flat(read(pack / "sheets.pdf"))
    places = [text.rfind(part.replace("  ", " ")) for part in PARTS]
    assert min(places) >= 0
    headings = [text.find(part.replace("  ", " ")) for part in PARTS]
    assert headings[0] < min(headings[1:])
    assert places[2:] == sorted(places[2:])


@needs("pdftotext")
def test_every_point_is_in_the_list_with_its_tapes(planned, pack):
    text = read(pack / "sheets.pdf", "-layout")
    own = planned.plan.block_tapes.set_index("id")
    for row in planned.plan.setting_out.itertuples():
        lines = [line for line in text.splitlines() if line.strip().startswith(row.id)]
        wanted = (f"{row.from_a_m:.2f}", f"{row.from_b_m:.2f}")
        if row.id in own.index:
            tapes = own.loc[row.id]
            wanted = (
                f"{tapes['mark_1']} {tapes['from_mark_1_m']:.2f}",
                f"{tapes['mark_2']} {tapes['from_mark_2_m']:.2f}",
            )
        assert any(all(w in line for w in wanted) for line in lines), row.id


def left_of(one, other, first, second):
    """Where two circles about two marks meet, left of the way between them."""
    way = other - one
    length = np.hypot(*way)
    along = (first**2 - second**2 + length**2) / (2 * length)
    off = np.sqrt(max(first**2 - along**2, 0.0))
    way = way / length
    return one + along * way + off * np.array([-way[1], way[0]])


@needs("pdftotext")
def test_a_stranger_finds_the_marks_and_from_them_every_plant(planned, pack):
    """Only A, B and printed tapes are used; positions printed are what comes out."""
    text = read(pack / "sheets.pdf", "-layout")
    place = r".*?(\d{6}\.\d\d)\s+(\d{7}\.\d\d)\s+[\d.]+\s+"
    ends = dict(zip("AB", map(np.array, planned.plan.baseline.points), strict=True))
    tapes = r"(A) (\d+\.\d\d)\s+(B) (\d+\.\d\d)\s+0\.10\s+(\w+)"
    marks = re.findall(r"^\s*(B\d-M\d)\s" + place + tapes, text, re.MULTILINE)
    assert [row[0] for row in marks] == ["B1-M1", "B1-M2", "B2-M1", "B2-M2"]
    for name, east, north, _, first, _, second, side in marks:
        pair = (ends["A"], ends["B"], float(first), float(second))
        if side == "right":
            pair = (ends["B"], ends["A"], float(second), float(first))
        found = left_of(*pair)
        assert np.hypot(*(found - [float(east), float(north)])) < 0.10, name
        ends[name] = np.array([float(east), float(north)])
    tapes = r"(B\d-M\d) (\d+\.\d\d)\s+(B\d-M\d) (\d+\.\d\d)\s+0\.10\s+left"
    rows = re.findall(r"^\s*(\d-\d-\d\d)\s" + place + tapes, text, re.MULTILINE)
    assert len(rows) == 40
    for name, east, north, one, first, other, second in rows:
        found = left_of(ends[one], ends[other], float(first), float(second))
        assert np.hypot(*(found - [float(east), float(north)])) < 0.05, name
        assert max(float(first), float(second)) <= 60.0


@needs("pdftotext")
def test_the_marks_of_a_block_are_taped_to_each_other_first(pack):
    text = flat(read(pack / "sheets.pdf", "-layout"))
    part = text[text.rfind("Marks beside the blocks: peg these next") :]
    assert re.search(r"B1-M1 \d+\.\d\d m \d+\.\d\d m B1-M2 \d+\.\d\d m 0\.10 m", part)


def test_the_tapes_of_the_blocks_are_a_table_too(planned, pack):
    table = pd.read_csv(pack / "block_tapes.csv", dtype={"block": str})
    assert list(table["id"]) == list(planned.plan.plants["id"])
    assert list(table["mark_1"].unique()) == ["B1-M1", "B2-M1"]


@needs("pdftotext")
def test_each_part_holds_a_value_of_this_site_or_says_what_is_missing(pack):
    text = flat(read(pack / "sheets.pdf"))
    cut = [text.rfind(part.replace("  ", " ")) for part in PARTS[1:]]
    bodies = [
        text[: cut[0]],
        *[text[a:b] for a, b in zip(cut, [*cut[1:], None], strict=True)],
    ]
    values = (
        "40 plants",
        "A to B measures 161.01 m",
        "52 points",
        "1:1000 on A3",
        "blackcurrant 20; pear 20",
        "1 cold-air lane, 7 m wide",
        "± 2 m",
        "m of fence",
        "Begin with 1-1-01",
        "steepest planted ground is about 8 %",
        "Tape 4 of 40 plants",
        "planned 20",
    )
    for body, value in zip(bodies, values, strict=True):
        assert value in body, value


@needs("pdftotext")
def test_what_is_missing_is_said_on_the_front_sheet(pack):
    text = flat(read(pack / "sheets.pdf"))
    assert "What this pack lacks" in text
    assert "dig T1 and note how it drains" in text


@needs("pdftotext")
@pytest.mark.parametrize(
    "caution",
    [
        "ask the national one-call service",
        "no machine within 500 mm",
        "Overhead lines",
        "unsupported trench",
        "Treated timber",
        "certified energisers",
        "trained people",
        "without agreement",
        "ask first",
        "caught animals",
        "No poison",
        "licensed practice of the place",
        "no class means that frost stays away",
        "phone positions are not for setting out",
        "machine's handbook",
    ],
)
def test_the_cautions_stand_on_the_sheets(pack, caution):
    assert caution in flat(read(pack / "sheets.pdf"))


@needs("pdftotext")
@pytest.mark.parametrize("name", ["plan-a3", "plan-a4", "sheets"])
def test_nothing_is_promised(pack, name):
    text = read(pack / f"{name}.pdf").lower()
    for word in (
        r"\ballowed\b",
        r"\bsafe\b",
        "frost-free",
        r"\bguaranteed\b",
        r"\boptimal\b",
    ):
        assert re.search(word, text) is None, word


@needs("pdftotext")
def test_diagonals_are_given_for_each_block(pack):
    text = flat(read(pack / "sheets.pdf", "-layout"))
    # Rows of ten at 5 m, two rows 5 m apart: a diagonal of 45 m by 5 m.
    assert f"{np.hypot(45, 5):.2f} m" in text
    assert f"{np.hypot(18, 5):.2f} m" in text


@needs("pdftotext")
def test_without_control_marks_positions_are_no_finer_than_the_outline(
    planned, tmp_path
):
    survey = replace(planned, plan=make_plan(planned, surveyed=False))
    write_handover(survey, tmp_path, today=DAY)
    text = flat(read(tmp_path / "sheets.pdf"))
    assert "No control marks were given." in text
    assert "printed to 5 m" in text
    assert "Taped diagonals" in text
    assert not re.search(r"\b50\d{4}\.\d", text)
    eastings = {int(e) for e in re.findall(r"\b(500\d{3})\b", text)}
    assert eastings
    assert all(easting % 5 == 0 for easting in eastings)
    plan = flat(read(tmp_path / "plan-a3.pdf"))
    assert "end of the baseline" in plan
    assert not re.search(r"E 50\d{4}\.\d", plan)


@needs("pdftotext")
def test_without_services_it_says_that_this_proves_nothing(small_survey, tmp_path):
    survey = replace(small_survey, plan=make_plan(small_survey))
    write_handover(survey, tmp_path, today=DAY)
    text = flat(read(tmp_path / "sheets.pdf"))
    assert "Missing: the site file names no record of services" in text
    assert "Empty paper proves nothing." in text


@needs("pdftotext")
def test_another_site_has_another_pack(planned, pack, tmp_path):
    limits = {"snow_m": 0.9, "mulch_depth_m": 0.25, "edge": "steel"}
    site = replace(planned.site, name="Other Holding", limits=limits)
    folder = tmp_path / "other"
    write_handover(replace(planned, site=site), folder, today=DAY)
    text = flat(read(folder / "sheets.pdf"))
    assert "Other Holding" in text
    assert "usual snow 0.90 m" in text
    assert "Edge held by: steel" in text
    assert "0.25 m as laid" in text
    assert "usual snow 0.90 m" not in flat(read(pack / "sheets.pdf"))


@needs("pdftotext")
def test_a_hostile_name_is_only_text(planned, tmp_path):
    site = replace(planned.site, name=r'$\frac{1}{0}$ <b>"Farm"</b> \n %s')
    write_handover(replace(planned, site=site), tmp_path, today=DAY)
    assert '<b>"Farm"</b>' in flat(read(tmp_path / "sheets.pdf"))


def test_the_points_are_the_same_in_every_format(planned, pack):
    listed = pd.read_csv(pack / "setting_out.csv")
    assert list(listed.columns) == [
        "id",
        "what",
        "easting_m",
        "northing_m",
        "level_m",
        "from_a_m",
        "from_b_m",
        "tolerance_m",
    ]
    ids = listed["id"].tolist()
    assert ids == planned.plan.setting_out["id"].tolist()
    features = json.loads((pack / "setting_out.geojson").read_text())["features"]
    assert [feature["properties"]["id"] for feature in features] == ids
    gpx = ET.parse(pack / "setting_out.gpx")
    space = {"g": "http://www.topografix.com/GPX/1/1"}
    assert [e.text for e in gpx.iterfind("g:wpt/g:name", space)] == ids
    kml = ET.parse(pack / "setting_out.kml")
    space = {"k": "http://www.opengis.net/kml/2.2"}
    assert [e.text for e in kml.iterfind(".//k:Placemark/k:name", space)] == ids


def test_quantities_and_years_are_tables_of_their_own(planned, pack):
    quantities = pd.read_csv(pack / "quantities.csv")
    assert quantities["item"].tolist() == planned.plan.quantities["item"].tolist()
    assert quantities["cost"].sum() == pytest.approx(3320.0)
    years = pd.read_csv(pack / "plan_years.csv")
    assert years["binding"].tolist() == ["mulch", "money"]


def test_the_same_plan_gives_the_same_bytes(planned, pack, tmp_path):
    write_handover(planned, tmp_path / "again", today=DAY)
    for path in sorted((tmp_path / "again").iterdir()):
        assert path.read_bytes() == (pack / path.name).read_bytes(), path.name


@needs("pdftotext")
def test_a_site_that_fits_no_sheet_has_match_lines(planned, tmp_path):
    west, south = planned.site.grid.west, planned.site.grid.bounds[1]
    plan = planned.plan
    far = replace(
        plan.baseline,
        points=((west + 20.0, south + 560.0), (west + 760.0, south + 120.0)),
    )
    write_handover(
        replace(planned, plan=replace(plan, baseline=far)), tmp_path, today=DAY
    )
    assert page_count(tmp_path / "plan-a3.pdf") > 1
    text = flat(read(tmp_path / "plan-a3.pdf"))
    assert "match line: goes on on sheet" in text
    assert f"1 of {page_count(tmp_path / 'plan-a3.pdf')}" in text


@pytest.fixture(scope="module")
def many():
    """Blocks for 2 000 plants: twenty of ten rows of ten."""
    return {
        str(i + 1): (
            "pear" if i % 2 else "apple",
            (20.0 + 70 * (i % 5), 20.0 + 70 * (i // 5)),
            5.0,
        )
        for i in range(20)
    }


@needs("pdftotext")
def test_two_thousand_plants_are_all_in_the_list(planned, many, tmp_path):
    plan = make_plan(planned, blocks=many, rows=10, numbers=10)
    assert len(plan.plants) == 2000
    write_handover(replace(planned, plan=plan), tmp_path, today=DAY)
    text = read(tmp_path / "sheets.pdf")
    found = set(re.findall(r"\b\d{1,2}-\d{1,2}-\d\d\b", text))
    assert set(plan.plants["id"]) <= found
    # About fifty points a page, and the rest of the parts.
    assert 2000 / 60 < page_count(tmp_path / "sheets.pdf") < 70
    assert page_count(tmp_path / "plan-a3.pdf") <= 9


def test_the_map_and_the_report_point_to_the_pack(planned, small_survey):
    told = list_cautions(planned)
    assert any("handover/" in caution for caution in told)
    assert not any(caution.startswith("Not for setting out") for caution in told)
    assert tell_use(planned) == "Planning help; to set out, use the pack in handover/."
    assert tell_use(small_survey) == "Planning help, not for setting out."
    assert any(c.startswith("Not for setting out") for c in list_cautions(small_survey))


def test_the_pack_is_written_with_the_survey_and_listed_in_the_run(planned, tmp_path):
    write_survey(planned, tmp_path / "out", today=DAY)
    listed = json.loads((tmp_path / "out" / "run.json").read_text())["files"]
    assert "handover/plan-a3.pdf" in listed
    assert "handover/setting_out.gpx" in listed
    page = (tmp_path / "out" / "report.html").read_text()
    assert "not for setting out." not in page
    assert "use the pack in handover/" in page


def test_plants_are_shown_by_fruit_and_year(planned):
    marks = list_marks(planned.plan.plants)
    assert (
        marks["pear", "this year"].marker != marks["blackcurrant", "this year"].marker
    )
    assert marks["pear", "this year"].fill != marks["pear", "later"].fill
    assert marks["pear", "this year"].marker == marks["pear", "later"].marker


def test_fruit_of_ones_own_have_shapes_of_their_own():
    fruits = ["pear", "quince", "medlar"]
    assert len({find_marker(fruit, fruits) for fruit in fruits}) == 3


def test_an_arrow_in_a_lane_points_downhill(planned):
    """The ground of this survey rises to the north, so cold air runs south."""
    west, south = planned.site.grid.west, planned.site.grid.bounds[1]
    lane = shapely.box(west + 351, south + 300, west + 358, south + 420)
    start, *_, end = find_axis(lane, planned).coords
    assert start[1] > end[1]
    assert start[0] == pytest.approx(west + 354.5)


def test_an_arrow_in_a_lane_follows_the_path_that_runs_in_it(planned):
    west, south = planned.site.grid.west, planned.site.grid.bounds[1]
    lane = shapely.box(west + 446, south + 300, west + 460, south + 560)
    axis = find_axis(lane, planned)
    path = shapely.union_all(planned.cold_air_paths.geometry.to_list())
    assert path.buffer(0.01).covers(axis)
    assert axis.coords[0][1] > axis.coords[-1][1]


def boxes_of(page):
    """What every text of a page covers, told by its letters alone. [mm]."""
    found = []
    for line in page.letters.lines:
        words, size = line.text, line.font.get_size_in_points()
        if not words.strip():
            continue
        bold = 1.06 if line.font.get_weight() == "bold" else 1.0
        wide, high = measure_text(words, size) * bold, size * 25.4 / 72
        x, y = line.place
        left = {"left": x, "center": x - wide / 2, "right": x - wide}[line.align]
        found.append((words, shapely.box(left, y, left + wide, y + 0.65 * high)))
    return found


def overlaps(boxes):
    shapes = [box for _, box in boxes]
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    return [
        (boxes[i][0], boxes[j][0])
        for i, j in zip(one, other, strict=True)
        if i < j and shapes[i].intersection(shapes[j]).area > 0.01
    ]


def test_texts_on_each_other_would_be_seen():
    page = Paper(210, 297)
    page.write((30, 100), "one and another", 9)
    page.write((40, 100.5), "one", 9)
    page.write((30, 110), "a third", 9)
    assert overlaps(boxes_of(page)) == [("one and another", "one")]


@pytest.fixture
def sheets(planned):
    drawn = [plan_sheets(planned.plan, form) for form in (A3, A4)]
    return make_sheets(planned, planned.plan, drawn, DAY)


def test_no_two_texts_of_the_sheets_stand_on_each_other(sheets):
    for number, page in enumerate(sheets, start=1):
        assert overlaps(boxes_of(page)) == [], number


def test_no_text_of_the_sheets_leaves_its_page(sheets):
    paper = shapely.box(10, 5, 200, 292)
    for page in sheets:
        for words, box in boxes_of(page):
            assert paper.covers(box), words


# Source: from memory, smallest type that is read at arm's length: 5.5 pt on plans,
# 7.5 pt on pages; common practice, no source.
def test_no_letter_of_the_sheets_is_too_small_to_read_in_the_field(sheets):
    for page in sheets:
        sizes = [line.font.get_size_in_points() for line in page.letters.lines]
        assert min(sizes) >= 6.5
        assert np.median(sizes) >= 7.5


@pytest.mark.parametrize("form", [A3, A4])
def test_no_letter_of_the_plan_is_too_small_to_read(planned, form):
    drawn = plan_sheets(planned.plan, form)
    page = draw_page(planned, drawn, drawn.windows[0], DAY)
    for axes in page.figure.axes:
        assert min(text.get_fontsize() for text in axes.texts) >= 5.5


@pytest.mark.parametrize("form", [A3, A4])
def test_no_text_of_the_plans_column_is_cut_by_its_frame(planned, form):
    drawn = plan_sheets(planned.plan, form)
    page = draw_page(planned, drawn, drawn.windows[0], DAY)
    inner = shapely.box(
        form.edge, form.edge, form.width - form.edge, form.height - form.edge
    )
    for words, box in boxes_of(page):
        assert inner.covers(box), words


@pytest.mark.parametrize("form", [A3, A4])
def test_labels_of_the_drawing_keep_clear_of_each_other(planned, form):
    """A label is laid only where there is room, and never over a plant."""
    drawn = plan_sheets(planned.plan, form)
    page = draw_page(planned, drawn, drawn.windows[0], DAY)
    plot = page.figure.axes[1]
    scale = drawn.scale / 1000
    boxes = []
    for text in plot.texts:
        if text.get_rotation() or text.get_text() == "?":
            continue
        wide = measure_text(text.get_text(), text.get_fontsize()) * scale
        high = 0.7 * text.get_fontsize() * 25.4 / 72 * scale
        x, y = text.get_position()
        boxes.append(
            (
                text.get_text(),
                shapely.box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2),
            )
        )
    assert overlaps(boxes) == []
    plants = shapely.MultiPoint(planned.plan.plants.geometry.to_list())
    assert not any(box.contains(point) for _, box in boxes for point in plants.geoms)


@needs("pdftotext")
def test_text_is_as_wide_on_paper_as_it_was_measured(tmp_path):
    """The words of the file itself say where they begin and end."""
    page = Paper(210, 297)
    words = ["setting-out", "500497.51", "Diagonals", "WWWiii"]
    for i, word in enumerate(words):
        page.write((30, 100 + 10 * i), word, 9)
    write_pages(tmp_path / "a.pdf", [page], "Words")
    told = read(tmp_path / "a.pdf", "-bbox")
    for word in words:
        left, right = re.search(
            rf'xMin="([\d.]+)".*?xMax="([\d.]+)".*?>{word}<', told
        ).groups()
        wide = (float(right) - float(left)) * 25.4 / 72
        assert wide == pytest.approx(measure_text(word, 9), rel=0.03)


@needs("pdftoppm")
def test_two_plants_are_as_far_apart_on_paper_as_the_scale_says(planned, tmp_path):
    """Two lone trees 40 m apart, looked for as dots on the printed sheet."""
    west, south = planned.site.grid.west, planned.site.grid.bounds[1]
    plants = planned.plan.plants.iloc[[0, 1]].copy()
    plants["year"] = 1
    plants["geometry"] = [
        shapely.Point(west + 310, south + 450),
        shapely.Point(west + 350, south + 450),
    ]
    nothing = {
        "rows": planned.plan.rows.iloc[:0],
        "lanes": planned.plan.lanes.iloc[:0],
        "fence": planned.plan.fence.iloc[:0],
        "test_holes": planned.plan.test_holes.iloc[:0],
    }
    bare = replace(
        planned,
        plan=replace(planned.plan, plants=plants, **nothing),
        contours=planned.contours.iloc[:0],
    )
    drawn = plan_sheets(bare.plan, A3)
    (window,) = drawn.windows
    write_pages(tmp_path / "a.pdf", [draw_page(bare, drawn, window, DAY)], "Two trees")
    seen = grey(tmp_path / "a.pdf", tmp_path, 254) < 100

    def dot(x):
        """Middle of the ink within 1.5 mm of where a tree should be. [px]"""
        across = (A3.left + (x - window.bounds[0]) * 1000 / drawn.scale) * 10
        up = (A3.bottom + (south + 450 - window.bounds[1]) * 1000 / drawn.scale) * 10
        row, middle = seen.shape[0] - round(up), round(across)
        patch = seen[row - 9 : row + 10, middle - 15 : middle + 16]
        columns = np.nonzero(patch)[1]
        assert columns.size > 60
        return middle - 15 + (columns.min() + columns.max()) / 2

    measured = (dot(west + 350) - dot(west + 310)) / 10
    assert measured == pytest.approx(40 * 1000 / drawn.scale, abs=0.2)
