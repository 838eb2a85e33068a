"""A GeoPackage is checked with nothing but SQLite, against the standard's text."""

import re
import sqlite3
from datetime import date

import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from geopandas import GeoDataFrame, read_file
from pyproj import CRS

from sitekit.errors import OutputError
from sitekit.io.geopackage import write_geopackage

UTM = CRS.from_epsg(32633)
SQUARE = shapely.box(500_000, 5_130_000, 500_100, 5_130_100)
TWO = shapely.MultiPolygon(
    [SQUARE, shapely.box(500_200, 5_130_000, 500_300, 5_130_100)]
)
POINT = shapely.Point(500_050, 5_130_050)


def make_frame(shapes, crs=UTM, **columns):
    return GeoDataFrame(columns, geometry=list(shapes), crs=crs)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "site.gpkg"


@pytest.fixture
def whole(path):
    return write_whole(path)


def write_whole(path):
    """Write a file with a layer of every kind that a survey writes."""
    write_geopackage(
        path,
        {
            "field": make_frame([SQUARE], name=["Low Meadow"]),
            "blocks": make_frame(
                [SQUARE, TWO],
                block=[1, 2],
                year=pd.Series([None, 2027], dtype="object"),
                seen=pd.to_datetime(["2025-05-12 04:30", None]),
            ),
            "spots": make_frame([POINT], score=np.array([61.5], np.float32)),
            "rows": make_frame([], row=pd.Series([], dtype="int64")),
            "fruit_by_block": pd.DataFrame({"block": [1], "fruit": ["pear"]}),
        },
        descriptions={"blocks": "Ground of one class"},
        geometry_types={"rows": "LineString"},
    )
    return path


@pytest.fixture(scope="module")
def ask(tmp_path_factory):
    path = write_whole(tmp_path_factory.mktemp("standard") / "site.gpkg")
    connection = sqlite3.connect(path)
    yield lambda question: connection.execute(question).fetchall()
    connection.close()


class TestStandard:
    """Source: OGC 12-128r18, GeoPackage Encoding Standard 1.3.1, clause 1.1 and 2.1."""

    def test_the_header_is_that_of_sqlite(self, whole):
        assert whole.read_bytes()[:16] == b"SQLite format 3\x00"

    def test_the_header_has_the_application_id_and_version(self, ask):
        assert ask("PRAGMA application_id") == [(0x47504B47,)]
        assert ask("PRAGMA user_version") == [(10300,)]

    def test_the_file_is_sound(self, ask):
        assert ask("PRAGMA integrity_check") == [("ok",)]
        assert ask("PRAGMA foreign_key_check") == []

    @pytest.mark.parametrize(
        ("table", "columns"),
        [
            (
                "gpkg_spatial_ref_sys",
                "srs_name srs_id organization organization_coordsys_id definition "
                "description",
            ),
            (
                "gpkg_contents",
                "table_name data_type identifier description last_change min_x min_y "
                "max_x max_y srs_id",
            ),
            (
                "gpkg_geometry_columns",
                "table_name column_name geometry_type_name srs_id z m",
            ),
        ],
    )
    def test_the_tables_that_must_be_there_have_their_columns(
        self, ask, table, columns
    ):
        found = [row[1] for row in ask(f"PRAGMA table_info({table})")]
        assert found[: len(columns.split())] == columns.split()

    def test_the_coordinate_systems_that_must_be_there_are(self, ask):
        known = {row[0] for row in ask("SELECT srs_id FROM gpkg_spatial_ref_sys")}
        assert {4326, -1, 0, 32633} <= known
        used = ask("SELECT srs_id FROM gpkg_contents WHERE srs_id IS NOT NULL")
        assert {row[0] for row in used} <= known

    def test_every_layer_has_its_table_and_nothing_else_is_listed(self, ask):
        listed = dict(ask("SELECT table_name, data_type FROM gpkg_contents"))
        assert listed == {
            "field": "features",
            "blocks": "features",
            "spots": "features",
            "rows": "features",
            "fruit_by_block": "attributes",
        }
        tables = {row[0] for row in ask("SELECT name FROM sqlite_master")}
        assert set(listed) <= tables

    def test_times_of_change_are_utc(self, ask):
        for (changed,) in ask("SELECT last_change FROM gpkg_contents"):
            assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d+Z", changed)

    def test_datetimes_are_utc_and_nulls_are_null(self, ask):
        seen = [row[0] for row in ask("SELECT seen FROM blocks")]
        assert re.fullmatch(r"2025-05-12T04:30:00(\.0+)?Z", seen[0])
        assert seen[1] is None

    @pytest.mark.parametrize("table", ["field", "blocks", "spots", "rows"])
    def test_feature_tables_have_an_integer_primary_key(self, ask, table):
        keys = [row for row in ask(f"PRAGMA table_info({table})") if row[5]]
        assert [(row[1], row[2]) for row in keys] == [("fid", "INTEGER")]

    @pytest.mark.parametrize("table", ["field", "blocks", "spots"])
    def test_geometries_begin_as_they_must_and_name_their_system(self, ask, table):
        for (blob,) in ask(f"SELECT geom FROM {table}"):
            assert blob[:2] == b"GP"
            assert blob[2] == 0
            order = "little" if blob[3] & 1 else "big"
            assert int.from_bytes(blob[4:8], order) == 32633

    def test_kinds_of_geometry_are_said_and_flat(self, ask):
        rows = ask(
            "SELECT table_name, geometry_type_name, z, m FROM gpkg_geometry_columns"
        )
        assert {row[0]: row[1] for row in rows} == {
            "field": "POLYGON",
            "blocks": "MULTIPOLYGON",
            "spots": "POINT",
            "rows": "LINESTRING",
        }
        assert all(row[2:] == (0, 0) for row in rows)

    @pytest.mark.parametrize("table", ["field", "blocks", "spots", "rows"])
    def test_the_index_has_a_row_for_each_shape(self, ask, table):
        features = ask(f"SELECT COUNT(*) FROM {table}")
        assert ask(f"SELECT COUNT(*) FROM rtree_{table}_geom") == features

    def test_the_description_of_a_layer_is_kept(self, ask):
        found = ask("SELECT description FROM gpkg_contents WHERE table_name = 'blocks'")
        assert found == [("Ground of one class",)]


class TestColumns:
    def test_an_empty_layer_keeps_its_columns(self, whole):
        rows = read_file(whole, layer="rows")
        assert rows.empty
        assert "row" in rows.columns
        assert rows.crs == UTM

    def test_whole_numbers_with_nulls_stay_whole(self, ask):
        assert ask("SELECT year, typeof(year) FROM blocks") == [
            (None, "null"),
            (2027, "integer"),
        ]

    def test_nan_becomes_null(self, path):
        write_geopackage(path, {"a": make_frame([POINT, POINT], x=[1.5, np.nan])})
        with sqlite3.connect(path) as connection:
            assert connection.execute("SELECT x FROM a").fetchall() == [(1.5,), (None,)]
        connection.close()

    @pytest.mark.parametrize(
        ("values", "stored"),
        [
            ([True, None], [1, None]),
            ([1.5, None, 2], [1.5, None, 2.0]),
            (["pear", None, 3], ["pear", None, "3"]),
            ([date(2025, 5, 12), None], ["2025-05-12", None]),
            ([None, None], [None, None]),
        ],
    )
    def test_mixed_columns_are_settled(self, path, values, stored):
        column = pd.Series(values, dtype=object)
        write_geopackage(path, {"a": make_frame([POINT] * len(values), x=column)})
        connection = sqlite3.connect(path)
        found = [row[0] for row in connection.execute("SELECT x FROM a")]
        connection.close()
        assert found == stored

    def test_times_of_another_zone_become_utc(self, path):
        when = pd.to_datetime(["2025-05-12 06:30"]).tz_localize("Etc/GMT-2")
        write_geopackage(path, {"a": make_frame([POINT], seen=when)})
        seen = read_file(path, layer="a")["seen"]
        assert seen[0] == pd.Timestamp("2025-05-12 04:30", tz="UTC")

    def test_words_kept_as_categories_are_text(self, path):
        words = pd.Categorical(["good", "refused"])
        write_geopackage(path, {"a": make_frame([POINT, POINT], x=words)})
        assert read_file(path, layer="a")["x"].tolist() == ["good", "refused"]

    def test_what_is_written_reads_back_the_same(self, path):
        frame = make_frame([SQUARE, TWO], name=["a", "b"], area_m2=[1.0, 2.0])
        write_geopackage(path, {"blocks": frame})
        back = read_file(path, layer="blocks")
        assert back["area_m2"].tolist() == [1.0, 2.0]
        assert back.geometry.geom_equals(frame.geometry).all()
        assert back.area.tolist() == frame.area.tolist()

    def test_the_frame_that_is_written_is_not_changed(self, path):
        frame = make_frame([POINT], seen=pd.to_datetime(["2025-05-12"]))
        before = frame.copy()
        write_geopackage(path, {"a": frame})
        pd.testing.assert_frame_equal(frame, before)


class TestPlace:
    def test_no_layer_of_an_older_file_stays(self, whole):
        write_geopackage(whole, {"field": make_frame([SQUARE])})
        assert [str(name) for name, _ in pyogrio.list_layers(whole)] == ["field"]

    def test_nothing_else_is_left_in_the_folder(self, whole):
        assert [file.name for file in whole.parent.iterdir()] == ["site.gpkg"]

    def test_a_failure_leaves_the_older_file_as_it_was(self, whole):
        before = whole.read_bytes()
        with pytest.raises(OutputError):
            write_geopackage(
                whole,
                {"field": make_frame([SQUARE]), "a": make_frame([SQUARE], crs=None)},
            )
        assert whole.read_bytes() == before

    def test_a_folder_that_is_not_there_is_an_error(self, tmp_path):
        with pytest.raises(OutputError, match="cannot be written"):
            write_geopackage(tmp_path / "no" / "a.gpkg", {"a": make_frame([SQUARE])})


class TestRefused:
    def test_a_layer_without_coordinate_system(self, path):
        with pytest.raises(OutputError, match="a has no coordinate system"):
            write_geopackage(path, {"a": make_frame([SQUARE], crs=None)})

    def test_a_layer_of_mixed_kinds(self, path):
        with pytest.raises(OutputError, match="mixes Point and Polygon"):
            write_geopackage(path, {"a": make_frame([SQUARE, POINT])})

    @pytest.mark.parametrize("name", ['a";drop table x;--', "a b", "", "1a", "gemäß"])
    def test_a_name_that_breaks_other_programs(self, path, name):
        with pytest.raises(OutputError, match="cannot name a layer"):
            write_geopackage(path, {name: make_frame([SQUARE])})

    @pytest.mark.parametrize("column", ["fid", "FID", "geom"])
    def test_a_column_that_the_file_keeps_for_itself(self, path, column):
        with pytest.raises(OutputError, match="keeps for itself"):
            write_geopackage(path, {"a": make_frame([SQUARE], **{column: [1]})})

    def test_columns_that_differ_by_case_only(self, path):
        with pytest.raises(OutputError, match="stands twice"):
            write_geopackage(path, {"a": make_frame([SQUARE], Name=["a"], name=["b"])})
