"""Exchange: CSV, GPX, KML and GeoJSON by their standards."""

import csv
import io
import json
import re
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given
from hypothesis import strategies as st
from pyproj import CRS, Geod
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from sitekit.errors import OutputError
from sitekit.io.exchange import (
    points_of,
    write_geojson,
    write_gpx,
    write_kml,
    write_setting_out_csv,
)

UTM = CRS.from_epsg(32633)
GPX = "{http://www.topografix.com/GPX/1/1}"
KML = "{http://www.opengis.net/kml/2.2}"
# Source: GPX 1.1 Schema Documentation, TopoGrafix 2004: wptType is a sequence.
WPT_ORDER = [
    "ele",
    "time",
    "magvar",
    "geoidheight",
    "name",
    "cmt",
    "desc",
    "src",
    "link",
    "sym",
    "type",
    "fix",
    "sat",
    "hdop",
    "vdop",
    "pdop",
    "ageofdgpsdata",
    "dgpsid",
    "extensions",
]
GPX_ORDER = ["metadata", "wpt", "rte", "trk", "extensions"]
METADATA_ORDER = [
    "name",
    "desc",
    "author",
    "copyright",
    "link",
    "time",
    "keywords",
    "bounds",
    "extensions",
]


def listing(*places, ids=None):
    places = np.array(places, dtype=float).reshape(-1, 2)
    count = len(places)
    return pd.DataFrame(
        {
            "id": ids or [f"1-01-{n + 1:02d}" for n in range(count)],
            "what": ["tree, pear"] * count,
            "easting_m": places[:, 0],
            "northing_m": places[:, 1],
            "level_m": [700.25 if n % 2 else np.nan for n in range(count)],
            "from_a_m": [12.0] * count,
            "from_b_m": [34.567] * count,
            "tolerance_m": [0.1] * count,
        }
    )


@pytest.fixture
def three():
    # Source: UTM by the series of Karney 2011, J. Geodesy 85:475; zone 33:
    # (15° E, 60° N), (18, 60), (16.5, 63).
    return listing(
        (500_000.000, 6_651_411.190),
        (667_294.821, 6_655_205.484),
        (575_973.733, 6_986_475.387),
    )


DEGREES = [(15.0, 60.0), (18.0, 60.0), (16.5, 63.0)]


def read_gpx(path):
    root = ET.fromstring(path.read_bytes())
    return root, root.findall(f"{GPX}wpt")


def check_gpx(path):
    """Check a file by the rules of the GPX 1.1 schema that concern waypoints."""
    root, points = read_gpx(path)
    assert root.tag == f"{GPX}gpx"
    assert root.get("version") == "1.1"
    assert root.get("creator")
    ranks = [GPX_ORDER.index(child.tag.removeprefix(GPX)) for child in root]
    assert ranks == sorted(ranks)
    metadata = root.find(f"{GPX}metadata")
    ranks = [METADATA_ORDER.index(child.tag.removeprefix(GPX)) for child in metadata]
    assert ranks == sorted(ranks)
    for point in points:
        assert set(point.attrib) == {"lat", "lon"}
        assert -90 <= float(point.get("lat")) <= 90
        assert -180 <= float(point.get("lon")) < 180
        ranks = [WPT_ORDER.index(child.tag.removeprefix(GPX)) for child in point]
        assert ranks == sorted(ranks)
        assert len(set(ranks)) == len(ranks)
        for height in point.findall(f"{GPX}ele"):
            assert re.fullmatch(r"-?\d+(\.\d+)?", height.text)
    return points


def test_gpx_keeps_the_rules_and_names_each_row_by_its_id(tmp_path, three):
    write_gpx(tmp_path / "a.gpx", three, UTM, "Plan")
    points = check_gpx(tmp_path / "a.gpx")
    assert [p.findtext(f"{GPX}name") for p in points] == three["id"].tolist()
    assert {p.findtext(f"{GPX}desc") for p in points} == {"tree, pear"}


def test_gpx_is_utf_8_with_a_declaration(tmp_path, three):
    write_gpx(tmp_path / "a.gpx", three, UTM, "Ærlig høst")
    data = (tmp_path / "a.gpx").read_bytes()
    assert data.startswith(b'<?xml version="1.0" encoding="UTF-8"?>')
    assert "Ærlig høst".encode() in data


def test_gpx_places_are_the_worked_ones(tmp_path, three):
    write_gpx(tmp_path / "a.gpx", three, UTM, "Plan")
    points = check_gpx(tmp_path / "a.gpx")
    for point, (longitude, latitude) in zip(points, DEGREES, strict=True):
        assert float(point.get("lon")) == pytest.approx(longitude, abs=1e-7)
        assert float(point.get("lat")) == pytest.approx(latitude, abs=1e-7)


# Source: EPSG Guidance Note 7-2, transverse Mercator, worked example:
# E 577274.99, N 69740.50 is 50°30' N, 0°30' E. The datum is left unknown, so that
# no shift between datums comes in.
def test_a_place_is_the_worked_example_of_epsg(tmp_path):
    crs = CRS.from_proj4(
        "+proj=tmerc +lat_0=49 +lon_0=-2 +k=0.9996013 +x_0=400000 +y_0=-100000 "
        "+a=6377563.396 +rf=299.32496 +units=m"
    )
    write_gpx(tmp_path / "a.gpx", listing((577_274.99, 69_740.50)), crs, "Plan")
    (point,) = check_gpx(tmp_path / "a.gpx")
    assert float(point.get("lat")) == pytest.approx(50.5, abs=1.1e-7)
    assert float(point.get("lon")) == pytest.approx(0.5, abs=1.1e-7)


# Source: ICSM, GDA94 Technical Manual: Flinders Peak is at 37°57'03.72030" S,
# 144°25'29.52440" E and at 273741.297, 5796489.777 of MGA zone 55. GDA94 and WGS 84
# are the same to the metre by definition.
def test_a_southern_point_has_a_negative_latitude(tmp_path):
    table = listing((273_741.297, 5_796_489.777))
    write_gpx(tmp_path / "a.gpx", table, CRS.from_epsg(28355), "Plan")
    (point,) = check_gpx(tmp_path / "a.gpx")
    south = -(37 + 57 / 60 + 3.72030 / 3600)
    east = 144 + 25 / 60 + 29.52440 / 3600
    assert float(point.get("lat")) == pytest.approx(south, abs=2e-5)
    assert float(point.get("lon")) == pytest.approx(east, abs=2e-5)


# Source: the same manual, test line Flinders Peak to Buninyong: 54972.271 m.
def test_places_written_lie_as_far_apart_as_in_the_handbook(tmp_path):
    table = listing((273_741.297, 5_796_489.777), (228_854.052, 5_828_259.038))
    write_gpx(tmp_path / "a.gpx", table, CRS.from_epsg(28355), "Plan")
    one, two = check_gpx(tmp_path / "a.gpx")
    _, _, length = Geod(ellps="GRS80").inv(
        *(float(p.get(k)) for p in (one, two) for k in ("lon", "lat"))
    )
    assert length == pytest.approx(54_972.271, abs=0.03)


def test_gpx_ends_before_the_line_of_180_degrees(tmp_path):
    table = listing((180.0, 10.0), (-180.0, 10.0))
    write_gpx(tmp_path / "a.gpx", table, CRS.from_epsg(4326), "Plan")
    points = check_gpx(tmp_path / "a.gpx")
    assert {float(p.get("lon")) for p in points} == {-180.0}


def test_gpx_has_a_height_only_where_one_is_known(tmp_path, three):
    write_gpx(tmp_path / "a.gpx", three, UTM, "Plan")
    heights = [p.findtext(f"{GPX}ele") for p in check_gpx(tmp_path / "a.gpx")]
    assert heights == [None, "700.2", None]


def test_files_for_a_phone_say_what_a_phone_is_not_for(tmp_path, three):
    write_gpx(tmp_path / "a.gpx", three, UTM, "Plan")
    write_kml(tmp_path / "a.kml", three, UTM, "Plan")
    for name in ("a.gpx", "a.kml"):
        text = (tmp_path / name).read_text(encoding="utf-8")
        assert "a phone is metres off" in text
        assert "Set out by tape" in text


NASTY = 'Trees & <b>"hedges"</b>\x00\x0b ]]> \ud7ff'


def test_names_with_marks_of_markup_are_only_names(tmp_path):
    table = listing((500_000, 6_651_411), ids=[NASTY])
    write_gpx(tmp_path / "a.gpx", table, UTM, NASTY)
    write_kml(tmp_path / "a.kml", table, UTM, NASTY)
    (point,) = check_gpx(tmp_path / "a.gpx")
    clean = NASTY.replace("\x00", "").replace("\x0b", "")
    assert point.findtext(f"{GPX}name") == clean
    root = ET.fromstring((tmp_path / "a.kml").read_bytes())
    assert root.find(f".//{KML}Placemark").findtext(f"{KML}name") == clean


@given(st.text(max_size=30))
def test_any_name_makes_a_readable_file(tmp_path_factory, name):
    path = tmp_path_factory.getbasetemp() / "any.gpx"
    write_gpx(path, listing((500_000, 6_651_411), ids=[name or "x"]), UTM, name)
    check_gpx(path)


def test_an_empty_list_is_a_valid_file_of_each_kind(tmp_path):
    table = listing()
    write_gpx(tmp_path / "a.gpx", table, UTM, "Plan")
    assert check_gpx(tmp_path / "a.gpx") == []
    write_kml(tmp_path / "a.kml", table, UTM, "Plan")
    assert ET.fromstring((tmp_path / "a.kml").read_bytes()).find(f"{KML}Document")
    write_geojson(tmp_path / "a.geojson", points_of(table, UTM))
    assert json.loads((tmp_path / "a.geojson").read_text()) == {
        "type": "FeatureCollection",
        "features": [],
    }
    write_setting_out_csv(tmp_path / "a.csv", table)
    assert (tmp_path / "a.csv").read_text().strip() == ",".join(table.columns)


# Source: OGC 07-147r2, KML 2.2, 16.10: coordinates are longitude,latitude[,altitude]
# without spaces inside a tuple.
def test_kml_has_one_placemark_a_row_longitude_first(tmp_path, three):
    write_kml(tmp_path / "a.kml", three, UTM, "Plan")
    root = ET.fromstring((tmp_path / "a.kml").read_bytes())
    assert root.tag == f"{KML}kml"
    marks = root.findall(f"{KML}Document/{KML}Placemark")
    assert [mark.findtext(f"{KML}name") for mark in marks] == three["id"].tolist()
    for mark, place in zip(marks, DEGREES, strict=True):
        text = mark.findtext(f"{KML}Point/{KML}coordinates")
        assert re.fullmatch(r"-?\d+\.\d+,-?\d+\.\d+", text)
        assert [float(part) for part in text.split(",")] == pytest.approx(place)


def test_kml_features_begin_with_their_name_as_the_schema_orders(tmp_path, three):
    write_kml(tmp_path / "a.kml", three, UTM, "Plan")
    root = ET.fromstring((tmp_path / "a.kml").read_bytes())
    for mark in root.iter(f"{KML}Placemark"):
        tags = [child.tag.removeprefix(KML) for child in mark]
        assert tags == ["name", "description", "Point"]


def features(*shapes, crs=UTM, **columns):
    return GeoDataFrame(columns, geometry=list(shapes), crs=crs)


def read_geojson(path):
    return json.loads(path.read_text(encoding="utf-8"))


def signed_area(ring):
    x, y = np.array(ring).T
    return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum() / 2)


# Source: RFC 7946, sections 3 and 4.
def test_geojson_is_a_collection_of_whole_features_without_crs(tmp_path, three):
    write_geojson(tmp_path / "a.geojson", points_of(three, UTM))
    whole = read_geojson(tmp_path / "a.geojson")
    assert set(whole) == {"type", "features"}
    assert whole["type"] == "FeatureCollection"
    for feature, place in zip(whole["features"], DEGREES, strict=True):
        assert set(feature) == {"type", "geometry", "properties"}
        assert feature["type"] == "Feature"
        assert feature["geometry"]["type"] == "Point"
        assert feature["geometry"]["coordinates"] == pytest.approx(place, abs=1e-7)


def test_geojson_properties_are_the_columns_and_unknown_is_null(tmp_path, three):
    write_geojson(tmp_path / "a.geojson", points_of(three, UTM))
    first, second, _ = read_geojson(tmp_path / "a.geojson")["features"]
    assert set(first["properties"]) == set(three.columns)
    assert first["properties"]["level_m"] is None
    assert second["properties"]["level_m"] == 700.25


@pytest.mark.parametrize("clockwise", [True, False])
def test_outer_rings_run_anticlockwise_and_holes_clockwise(tmp_path, clockwise):
    """RFC 7946, 3.1.6: the right-hand rule."""
    x, y = 500_000, 5_130_000
    shell = [(x, y), (x + 90, y), (x + 90, y + 90), (x, y + 90), (x, y)]
    hole = [(x + 30, y + 30), (x + 60, y + 30), (x + 60, y + 60), (x + 30, y + 30)]
    turn = -1 if clockwise else 1
    shape = Polygon(shell[::turn], [hole[::turn]])
    write_geojson(tmp_path / "a.geojson", features(shape, MultiPolygon([shape])))
    one, many = (
        feature["geometry"]
        for feature in read_geojson(tmp_path / "a.geojson")["features"]
    )
    for rings in (one["coordinates"], many["coordinates"][0]):
        assert signed_area(rings[0]) > 0 > signed_area(rings[1])
        for ring in rings:
            assert ring[0] == ring[-1]
            assert len(ring) >= 4


@given(st.integers(0, 5000))
def test_rings_turn_right_in_both_hemispheres(tmp_path_factory, seed):
    draw = np.random.default_rng(seed)
    zone = draw.choice([32601, 32633, 32660, 32719, 32755])
    centre = Point(500_000, draw.uniform(1e6, 9e6))
    ring = shapely.reverse(centre.buffer(draw.uniform(5, 500)))
    path = tmp_path_factory.getbasetemp() / "ring.geojson"
    write_geojson(path, features(ring, crs=CRS.from_epsg(int(zone))))
    (feature,) = read_geojson(path)["features"]
    assert signed_area(feature["geometry"]["coordinates"][0]) > 0


def test_geojson_has_seven_decimals_at_most(tmp_path):
    write_geojson(tmp_path / "a.geojson", features(box(500_000, 0, 500_007, 9)))
    text = (tmp_path / "a.geojson").read_text()
    digits = re.findall(r"\d+\.(\d+)", text)
    assert max(map(len, digits)) <= 7


def test_every_kind_of_value_and_shape_is_written(tmp_path):
    frame = features(
        LineString([(500_000, 0), (500_010, 10)]),
        None,
        whole=np.array([1, 2]),
        part=[0.5, np.inf],
        flag=[True, False],
        when=[pd.Timestamp("2026-05-01"), pd.NaT],
        text=["Größe", None],
    )
    write_geojson(tmp_path / "a.geojson", frame)
    one, two = read_geojson(tmp_path / "a.geojson")["features"]
    assert one["geometry"]["type"] == "LineString"
    assert two["geometry"] is None
    assert one["properties"]["whole"] == 1
    assert one["properties"]["flag"] is True
    assert one["properties"]["text"] == "Größe"
    assert one["properties"]["when"].startswith("2026-05-01")
    assert two["properties"]["part"] is None
    assert two["properties"]["when"] is None
    assert two["properties"]["text"] is None


def test_features_without_coordinate_system_are_refused(tmp_path):
    with pytest.raises(OutputError, match=r"a\.geojson: .*no coordinate system"):
        write_geojson(tmp_path / "a.geojson", features(Point(0, 0), crs=None))


def test_csv_has_a_line_a_row_and_hundredths(tmp_path, three):
    write_setting_out_csv(tmp_path / "a.csv", three)
    data = (tmp_path / "a.csv").read_bytes().decode("utf-8")
    rows = list(csv.DictReader(io.StringIO(data, newline="")))
    assert list(rows[0]) == list(three.columns)
    assert rows[0]["easting_m"] == "500000.00"
    assert rows[0]["from_b_m"] == "34.57"
    assert rows[0]["level_m"] == ""
    assert rows[1]["level_m"] == "700.2"
    assert rows[0]["what"] == "tree, pear"
    assert data.count("\r\n") == 4


def test_csv_leaves_the_list_as_it_was(tmp_path, three):
    before = three.copy()
    write_setting_out_csv(tmp_path / "a.csv", three)
    assert three.equals(before)


@pytest.mark.parametrize("write", [write_gpx, write_kml])
def test_a_place_that_cannot_be_written_is_told(tmp_path, three, write):
    with pytest.raises(OutputError, match="cannot be written"):
        write(tmp_path / "missing" / "a.file", three, UTM, "Plan")
    with pytest.raises(OutputError, match="cannot be written"):
        write_setting_out_csv(tmp_path / "missing" / "a.csv", three)
