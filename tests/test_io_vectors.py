"""Vector files are read by what they are, in any shape a grower has them."""

import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS

from sitekit.errors import CrsError, InputError
from sitekit.io.schemas import FIELD, SCHEMAS, empty_frame, fit_columns, unknown_words
from sitekit.io.vectors import (
    VectorSource,
    kind_of_file,
    list_layers,
    mend_shapes,
    read_vector,
    reproject,
)
from sitekit.site import VECTORS

UTM = CRS.from_epsg(32633)
SQUARE = shapely.box(500_000, 5_130_000, 500_200, 5_130_200)


def make_frame(shapes, crs=UTM, **columns):
    return GeoDataFrame(columns, geometry=list(shapes), crs=crs)


def write(path: Path, shapes, crs=UTM, layer=None, **columns) -> VectorSource:
    options = {"layer": layer} if layer else {}
    make_frame(shapes, crs, **columns).to_file(path, **options)
    return VectorSource(path)


def write_json(path: Path, *features, **members) -> VectorSource:
    path.write_text(
        json.dumps({"type": "FeatureCollection", "features": features, **members})
    )
    return VectorSource(path)


def feature(kind, coordinates, **properties):
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": kind, "coordinates": coordinates},
    }


RING = [[[15.0, 46.3], [15.01, 46.3], [15.01, 46.31], [15.0, 46.3]]]


class TestSchemas:
    def test_every_vector_input_of_a_site_has_a_schema(self):
        assert tuple(SCHEMAS) == VECTORS

    @pytest.mark.parametrize("name", VECTORS)
    def test_an_empty_frame_has_its_columns_and_the_grid_s_system(self, name):
        frame = empty_frame(SCHEMAS[name], UTM)
        assert len(frame) == 0
        assert frame.crs == UTM
        assert list(frame.columns) == [*SCHEMAS[name].columns, "geometry"]

    @pytest.mark.parametrize("name", VECTORS)
    def test_a_frame_with_nothing_but_shapes_gets_every_column(self, name):
        frame = fit_columns(make_frame([SQUARE]), SCHEMAS[name], "x")
        assert list(frame.columns) == [*SCHEMAS[name].columns, "geometry"]
        assert (frame.dtypes == empty_frame(SCHEMAS[name], UTM).dtypes).all()

    def test_column_names_may_differ_in_case(self):
        frame = make_frame([SQUARE], Height_M=[3.5], KIND=["Hedge"])
        read = fit_columns(frame, SCHEMAS["barriers"], "x")
        assert read["height_m"].tolist() == [3.5]
        assert read["kind"].tolist() == ["hedge"]

    def test_numbers_written_as_text_are_read(self):
        frame = make_frame([SQUARE, SQUARE], height_m=["3.5", None])
        read = fit_columns(frame, SCHEMAS["barriers"], "x")["height_m"]
        assert read[0] == 3.5
        assert np.isnan(read[1])

    def test_a_height_with_its_unit_is_an_error_that_names_the_feature(self):
        frame = make_frame([SQUARE, SQUARE], height_m=["3", "3.5 m"])
        with pytest.raises(InputError, match=r'feature 2: height_m is "3.5 m"'):
            fit_columns(frame, SCHEMAS["barriers"], "hedges.geojson")

    @pytest.mark.parametrize("openness", [-0.1, 1.01, 30.0, float("inf")])
    def test_an_openness_outside_0_to_1_is_an_error(self, openness):
        frame = make_frame([SQUARE], openness=[openness])
        with pytest.raises(InputError, match=r"feature 1: openness .* between 0 and 1"):
            fit_columns(frame, SCHEMAS["barriers"], "hedges.geojson")

    def test_every_wrong_value_has_its_own_sentence(self):
        frame = make_frame([SQUARE, SQUARE], openness=[2.0, 3.0], height_m=["a", "b"])
        with pytest.raises(InputError) as caught:
            fit_columns(frame, SCHEMAS["barriers"], "hedges.geojson")
        assert len(caught.value.mistakes) == 4

    @pytest.mark.parametrize(
        ("value", "day"),
        [
            (90, 90.0),
            ("90", 90.0),
            ("2025-03-31", 90.0),
            (pd.Timestamp("2025-03-31"), 90.0),
        ],
    )
    def test_ice_may_go_on_a_day_of_the_year_or_a_date(self, value, day):
        frame = make_frame([SQUARE], ice_out=[value])
        assert fit_columns(frame, SCHEMAS["water"], "x")["ice_out"].tolist() == [day]

    @pytest.mark.parametrize("value", ["spring", 0, 367])
    def test_another_ice_day_is_an_error(self, value):
        frame = make_frame([SQUARE], ice_out=[value])
        with pytest.raises(InputError, match="ice_out"):
            fit_columns(frame, SCHEMAS["water"], "x")

    @pytest.mark.parametrize(
        ("value", "expected"),
        [
            (True, True),
            ("yes", True),
            (1, True),
            (0.0, False),
            ("No", False),
            (None, False),
        ],
    )
    def test_evergreen_is_read_as_people_write_it(self, value, expected):
        frame = make_frame([SQUARE], evergreen=pd.Series([value], dtype=object))
        read = fit_columns(frame, SCHEMAS["woodland"], "x")["evergreen"]
        assert read.tolist() == [expected]

    def test_free_columns_of_ground_tests_are_kept_and_others_are_not(self):
        point = shapely.Point(500_000, 5_130_000)
        frame = make_frame([point], result=["slow"], mm_per_hour=[4.0])
        assert fit_columns(frame, SCHEMAS["ground_tests"], "x")["mm_per_hour"][0] == 4.0
        assert "mm_per_hour" not in fit_columns(frame, SCHEMAS["notes"], "x")

    def test_an_unknown_word_is_said_with_the_nearest_known(self):
        frame = make_frame([SQUARE], condition=["thrivin"])
        frame = fit_columns(frame, SCHEMAS["existing_trees"], "x")
        (said,) = unknown_words(frame, SCHEMAS["existing_trees"])
        assert 'Nearest: "thriving"' in said

    def test_a_test_hole_without_a_result_is_said(self):
        points = [shapely.Point(500_000 + x, 5_130_000) for x in (0, 5, 10)]
        frame = make_frame(points, result=["slow", None, ""])
        frame = fit_columns(frame, SCHEMAS["ground_tests"], "x")
        (said,) = unknown_words(frame, SCHEMAS["ground_tests"])
        assert said == "2 of 3 have no result and are left out."

    def test_a_date_of_a_note_becomes_text(self):
        frame = make_frame([SQUARE], date=[pd.Timestamp("2025-05-12")])
        assert fit_columns(frame, SCHEMAS["notes"], "x")["date"][0] == "2025-05-12"


class TestKinds:
    @pytest.mark.parametrize(
        ("name", "kind"),
        [
            ("a.gpkg", "GeoPackage"),
            ("a.geojson", "GeoJSON"),
            ("a.shp", "Shapefile"),
            ("a.kml", "KML"),
            ("a.fgb", "FlatGeobuf"),
            ("a.tab", "MapInfo"),
            ("a.mif", "MapInfo"),
        ],
    )
    def test_a_file_is_known_by_its_bytes_whatever_it_is_called(
        self, tmp_path, name, kind
    ):
        shape = SQUARE
        frame = make_frame([shape], name=["x"])
        if kind == "KML":
            frame = frame.to_crs(4326)
        frame.to_file(tmp_path / name, driver="KML" if kind == "KML" else None)
        assert kind_of_file(tmp_path / name) == kind
        read = read_vector(VectorSource(tmp_path / name), "field", FIELD)
        area = read.to_crs(UTM).area.sum()
        assert area == pytest.approx(SQUARE.area, rel=1e-4)

    def test_a_list_of_other_files_under_another_name_is_refused(self, tmp_path):
        write(tmp_path / "secret.gpkg", [SQUARE])
        path = tmp_path / "field.geojson"
        path.write_text(
            '<OGRVRTDataSource><OGRVRTLayer name="secret"><SrcDataSource>'
            f"{tmp_path / 'secret.gpkg'}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
        )
        with pytest.raises(InputError, match=r"field\.geojson only points to other"):
            read_vector(VectorSource(path), "field", FIELD)

    def test_a_list_of_other_files_behind_a_comment_is_refused(self, tmp_path):
        path = tmp_path / "a.gpx"
        path.write_text("<!-- <gpx> -->\n<OGRVRTDataSource/>")
        with pytest.raises(InputError, match="only points to other files"):
            kind_of_file(path)

    def test_a_chain_of_steps_in_json_is_refused(self, tmp_path):
        path = tmp_path / "a.json"
        path.write_text(
            '{"type": "gdal_streamed_alg", "command_line": "vector read x"}'
        )
        with pytest.raises(InputError, match="only points to other files"):
            kind_of_file(path)

    @pytest.mark.parametrize(
        "address",
        [
            "https://example.org/field.geojson",
            "/vsicurl/https://x/y.gpkg",
            "s3://b/f.gpkg",
        ],
    )
    def test_an_address_is_refused(self, address):
        with pytest.raises(InputError, match="is an address, not a file"):
            kind_of_file(Path(address))

    def test_a_missing_file_a_folder_and_an_empty_file_are_told_apart(self, tmp_path):
        (tmp_path / "empty.geojson").touch()
        for name, said in (
            ("none.geojson", "is not there"),
            ("", "is a folder"),
            ("empty.geojson", "is empty"),
        ):
            with pytest.raises(InputError, match=said):
                kind_of_file(tmp_path / name)

    def test_something_else_is_refused_with_what_is_read(self, tmp_path):
        path = tmp_path / "field.pdf"
        path.write_bytes(b"%PDF-1.7")
        with pytest.raises(InputError, match="Save it as GeoPackage, GeoJSON"):
            kind_of_file(path)


class TestCutOff:
    @pytest.mark.parametrize("name", ["a.geojson", "a.gpkg", "a.kml", "a.fgb", "a.shp"])
    @pytest.mark.parametrize("kept", [0.5, 0.9])
    def test_half_a_file_is_an_error_and_not_half_a_field(self, tmp_path, name, kept):
        shapes = [SQUARE.buffer(i, quad_segs=500) for i in range(1, 60)]
        frame = make_frame(shapes, name=[f"part {i}" for i in range(1, 60)])
        if name.endswith(("geojson", "kml")):
            frame = frame.to_crs(4326)
        path = tmp_path / name
        frame.to_file(path, driver="KML" if name == "a.kml" else None)
        with path.open("r+b") as stream:
            stream.truncate(int(path.stat().st_size * kept))
        with pytest.raises(InputError, match=r"a\.\w+ .*cut off.*again"):
            read_vector(VectorSource(path), "field", FIELD)

    def test_a_ring_of_two_points_is_an_error_with_the_file_s_name(self, tmp_path):
        source = write_json(
            tmp_path / "a.geojson", feature("Polygon", [[[15, 46], [15.1, 46]]])
        )
        with pytest.raises(InputError, match=r"a\.geojson"):
            read_vector(source, "field", FIELD)


class TestCrs:
    def test_a_shapefile_without_prj_is_an_error(self, tmp_path):
        source = write(tmp_path / "a.shp", [SQUARE], name=["x"])
        (tmp_path / "a.prj").unlink()
        with pytest.raises(CrsError, match="names no coordinate system"):
            read_vector(source, "field", FIELD)

    def test_geojson_is_longitude_and_latitude(self, tmp_path):
        # Source: RFC 7946, section 4: the coordinate system is WGS 84.
        source = write_json(tmp_path / "a.geojson", feature("Polygon", RING))
        assert read_vector(source, "field", FIELD).crs.to_epsg() == 4326

    def test_geojson_with_metres_in_it_is_an_error(self, tmp_path):
        ring = [[list(xy) for xy in SQUARE.exterior.coords]]
        source = write_json(tmp_path / "a.geojson", feature("Polygon", ring))
        with pytest.raises(CrsError, match="is no longitude and latitude"):
            read_vector(source, "field", FIELD)

    def test_reprojecting_agrees_with_a_published_point(self):
        # Source: EPSG Guidance Note 7-2, method 9807, worked example on the
        # British National Grid: 50°30'N 0°30'E is 577274.99, 69740.50.
        frame = make_frame([shapely.Point(0.5, 50.5)], CRS.from_epsg(4277))
        moved = reproject(frame, CRS.from_epsg(27700), "x")
        assert moved.geometry[0].x == pytest.approx(577_274.99, abs=0.02)
        assert moved.geometry[0].y == pytest.approx(69_740.50, abs=0.02)

    def test_coordinates_that_cannot_be_projected_are_an_error(self):
        south = make_frame([shapely.Point(0, -45)], CRS.from_epsg(4326))
        northern_half = CRS.from_proj4("+proj=ortho +lat_0=90")
        with pytest.raises(CrsError, match="cannot be brought"):
            reproject(south, northern_half, "other_half.geojson")

    def test_a_plan_without_a_place_on_earth_is_an_error(self):
        local = CRS.from_wkt(
            'ENGCRS["building plan",EDATUM["gate post"],CS[Cartesian,2],'
            'AXIS["x",east],AXIS["y",north],LENGTHUNIT["metre",1]]'
        )
        with pytest.raises(CrsError, match="cannot be brought"):
            reproject(make_frame([SQUARE], local), UTM, "plan.gpkg")


class TestLayers:
    def test_a_bare_file_name_means_its_only_layer(self, tmp_path):
        source = write(tmp_path / "a.gpkg", [SQUARE], layer="anything")
        assert len(read_vector(source, "field", FIELD)) == 1

    def test_else_the_layer_named_as_the_key(self, tmp_path):
        write(tmp_path / "a.gpkg", [SQUARE], layer="woods")
        source = write(tmp_path / "a.gpkg", [SQUARE, SQUARE], layer="Water")
        assert len(read_vector(source, "water", SCHEMAS["water"])) == 2

    def test_else_an_error_that_lists_the_layers(self, tmp_path):
        write(tmp_path / "a.gpkg", [SQUARE], layer="woods")
        source = write(tmp_path / "a.gpkg", [SQUARE], layer="mere")
        with pytest.raises(InputError, match="with one of: woods, mere"):
            read_vector(source, "water", SCHEMAS["water"])

    def test_a_layer_is_named(self, tmp_path):
        write(tmp_path / "a.gpkg", [SQUARE], layer="woods")
        write(tmp_path / "a.gpkg", [SQUARE, SQUARE], layer="mere")
        source = VectorSource(tmp_path / "a.gpkg", "mere")
        assert len(read_vector(source, "water", SCHEMAS["water"])) == 2

    def test_a_layer_that_is_not_there_is_an_error_with_the_nearest(self, tmp_path):
        write(tmp_path / "a.gpkg", [SQUARE], layer="mere")
        with pytest.raises(InputError, match=r'no layer "meer". Nearest: "mere"'):
            read_vector(
                VectorSource(tmp_path / "a.gpkg", "meer"), "water", SCHEMAS["water"]
            )

    def test_layers_are_listed_with_their_number_of_features(self, tmp_path):
        write(tmp_path / "a.gpkg", [SQUARE], layer="woods")
        assert list_layers(tmp_path / "a.gpkg") == {"woods": 1}

    def test_of_a_gpx_file_points_are_the_waypoints(self, tmp_path):
        # Source: GPX 1.1 schema: wpt, rte, trk in this order; WGS 84.
        path = tmp_path / "a.gpx"
        path.write_text(
            '<?xml version="1.0"?><gpx version="1.1" creator="x" '
            'xmlns="http://www.topografix.com/GPX/1/1">'
            '<wpt lat="46.3" lon="15.0"><ele>700</ele><name>T1</name></wpt>'
            '<trk><name>edge</name><trkseg><trkpt lat="46.3" lon="15.0"/>'
            '<trkpt lat="46.31" lon="15.0"/></trkseg></trk></gpx>'
        )
        trees = read_vector(
            VectorSource(path), "existing_trees", SCHEMAS["existing_trees"]
        )
        assert trees.geom_type.tolist() == ["Point"]
        assert trees["name"].tolist() == ["T1"]
        assert not trees.has_z.any()
        field = read_vector(VectorSource(path), "field", FIELD)
        assert field.geom_type.tolist() == ["LineString"]


class TestShapes:
    def test_a_wrong_shape_is_an_error_that_says_what_to_draw(self, tmp_path):
        source = write_json(
            tmp_path / "mere.geojson",
            feature("Polygon", RING),
            feature("Point", [15.0, 46.3]),
        )
        with pytest.raises(
            InputError, match=r"feature 2 is a point. Draw polygons here"
        ):
            read_vector(source, "water", SCHEMAS["water"])

    def test_a_shape_of_several_parts_becomes_one_row_a_part(self, tmp_path):
        two = shapely.MultiPolygon(
            [SQUARE, shapely.box(500_300, 5_130_000, 500_400, 5_130_100)]
        )
        source = write(tmp_path / "a.gpkg", [two], name=["ponds"])
        frame = read_vector(source, "water", SCHEMAS["water"])
        assert frame["name"].tolist() == ["ponds", "ponds"]
        assert frame.index.tolist() == [0, 1]

    def test_features_without_a_shape_are_passed_over(self, tmp_path):
        source = write(tmp_path / "a.gpkg", [SQUARE, None], name=["a", "b"])
        assert len(read_vector(source, "water", SCHEMAS["water"])) == 1

    def test_the_third_coordinate_is_dropped(self, tmp_path):
        source = write(tmp_path / "a.gpkg", [shapely.force_3d(SQUARE, 7.0)])
        assert not read_vector(source, "water", SCHEMAS["water"]).has_z.any()

    def test_a_crossed_outline_is_mended_into_polygons(self):
        bow = shapely.Polygon([(0, 0), (10, 10), (10, 0), (0, 10)])
        mended, count = mend_shapes(make_frame([SQUARE, bow], name=["a", "b"]))
        assert count == 1
        assert mended.geometry.is_valid.all()
        assert mended["name"].tolist() == ["a", "b", "b"]
        assert mended.area.sum() == pytest.approx(SQUARE.area + 50)

    def test_lines_and_sound_polygons_are_left_as_they_are(self):
        frame = make_frame(
            [SQUARE, shapely.LineString([(0, 0), (1, 1), (0, 1), (1, 0)])]
        )
        mended, count = mend_shapes(frame)
        assert count == 0
        assert mended is frame

    def test_a_file_beside_its_damaged_index_is_an_error(self, tmp_path):
        source = write(tmp_path / "a.shp", [SQUARE, SQUARE], name=["x", "y"])
        shutil.copy(tmp_path / "a.prj", tmp_path / "b.prj")
        (tmp_path / "b.shp").write_bytes(source.file.read_bytes()[:40])
        with pytest.raises(InputError, match=r"b\.shp"):
            read_vector(VectorSource(tmp_path / "b.shp"), "field", FIELD)
