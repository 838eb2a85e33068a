"""A field comes as polygons, as one walked line that closes, or as corners."""

import json

import pytest
import shapely
from geopandas import GeoDataFrame
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Geod, Transformer
from shapely.affinity import translate

from sitekit.errors import InputError
from sitekit.io.field import field_from_corners, read_field
from sitekit.io.vectors import VectorSource

UTM = CRS.from_epsg(32633)
TO_DEGREES = Transformer.from_crs(UTM, 4326, always_xy=True)
X, Y = 500_000.0, 5_130_000.0


def local(*points):
    return [(X + x, Y + y) for x, y in points]


def square(x=0, y=0, side=200):
    return shapely.box(X + x, Y + y, X + x + side, Y + y + side)


@pytest.fixture
def save(tmp_path):
    def save(*shapes, crs=UTM, file="field.gpkg", **columns):
        GeoDataFrame(columns, geometry=list(shapes), crs=crs).to_file(tmp_path / file)
        return VectorSource(tmp_path / file)

    return save


@pytest.fixture
def walk(tmp_path):
    """Writes a walked track as a phone does."""

    def walk(*segments, name="edge", kind="trk"):
        def part(points):
            tag = "trkpt" if kind == "trk" else "rtept"
            return "".join(
                '<{} lat="{:.9f}" lon="{:.9f}"><ele>700</ele></{}>'.format(
                    tag, *TO_DEGREES.transform(*xy)[::-1], tag
                )
                for xy in points
            )

        inside = "".join(
            f"<trkseg>{part(s)}</trkseg>" if kind == "trk" else part(s)
            for s in segments
        )
        # Source: GPX 1.1 schema.
        (tmp_path / "walk.gpx").write_text(
            '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="phone" '
            'xmlns="http://www.topografix.com/GPX/1/1">'
            f"<{kind}><name>{name}</name>{inside}</{kind}></gpx>"
        )
        return VectorSource(tmp_path / "walk.gpx")

    return walk


def said(reading, kind):
    return [r.text for r in reading.remarks if r.kind == kind]


class TestPolygons:
    def test_one_polygon_keeps_its_name_and_area(self, save):
        reading = read_field(save(square(), name=["Low Meadow"]))
        assert reading.frame["name"].tolist() == ["Low Meadow"]
        assert reading.frame.crs == UTM
        assert reading.area == pytest.approx(40_000, rel=1e-9)
        assert reading.remarks == ()

    def test_several_features_and_parts_are_one_row_each(self, save):
        two = shapely.MultiPolygon([square(300), square(600)])
        reading = read_field(save(square(), two, name=["a", "b"]))
        assert reading.frame["name"].tolist() == ["a", "b", "b"]
        assert reading.area == pytest.approx(120_000)

    def test_a_field_without_names_has_empty_ones(self, save):
        assert read_field(save(square())).frame["name"].tolist() == [""]

    def test_a_hole_stays_a_hole(self, save):
        ring = square().difference(square(50, 50, 50))
        assert read_field(save(ring)).area == pytest.approx(37_500)

    def test_area_is_true_in_a_file_in_web_mercator(self, save):
        # At 46.3° N web Mercator shows areas 1/cos² = 2.1 times too large.
        source = save(*GeoDataFrame(geometry=[square()], crs=UTM).to_crs(3857).geometry,
                      crs=CRS.from_epsg(3857))  # fmt: skip
        assert read_field(source).area == pytest.approx(40_000, rel=1e-6)

    def test_area_agrees_with_the_geodesic(self, tmp_path):
        # Source: Karney 2013, J. Geodesy 87, as in PROJ's geodesic routines.
        ring = [[15.2, 60.0], [15.202, 60.0], [15.202, 60.001], [15.2, 60.001]]
        path = tmp_path / "f.geojson"
        path.write_text(
            json.dumps({"type": "Polygon", "coordinates": [[*ring, ring[0]]]})
        )
        area, _ = Geod(ellps="WGS84").polygon_area_perimeter(*zip(*ring, strict=True))
        assert read_field(VectorSource(path)).area == pytest.approx(area, rel=2e-3)

    def test_a_crossed_outline_is_mended_and_said_with_its_change(self, save):
        bow = shapely.Polygon(local((0, 0), (100, 100), (100, 0), (0, 100)))
        reading = read_field(save(bow))
        assert reading.frame.geometry.is_valid.all()
        assert set(reading.frame.geom_type) == {"Polygon"}
        assert reading.area == pytest.approx(5_000)
        (text,) = said(reading, "mended")
        assert "crosses itself" in text
        assert "5000" in text

    def test_ground_that_two_parts_share_is_counted_once(self, save):
        reading = read_field(save(square(), square(100), name=["a", "b"]))
        assert reading.area == pytest.approx(60_000)
        assert reading.frame["name"].tolist() == ["a", "b"]
        assert any("overlap by 2.0\u00a0ha" in text for text in said(reading, "mended"))

    def test_neighbouring_parts_are_left_as_they_are(self, save):
        reading = read_field(save(square(), square(200)))
        assert reading.area == pytest.approx(80_000)
        assert reading.remarks == ()

    def test_lines_beside_polygons_are_left_out_and_said(self, tmp_path):
        path = tmp_path / "f.geojson"
        frame = GeoDataFrame(
            geometry=[square(), shapely.LineString(local((0, 0), (9, 9)))], crs=UTM
        )
        frame.to_crs(4326).to_file(path)
        reading = read_field(VectorSource(path))
        assert reading.area == pytest.approx(40_000, rel=1e-4)
        assert "1 left out" in said(reading, "mended")[0]

    def test_a_layer_without_a_shape_is_an_error(self, tmp_path):
        path = tmp_path / "f.geojson"
        path.write_text('{"type": "FeatureCollection", "features": []}')
        with pytest.raises(InputError, match="holds no shape"):
            read_field(VectorSource(path))

    @pytest.mark.parametrize("side", [0.001, 3.0])
    def test_hardly_any_area_is_an_error(self, save, side):
        with pytest.raises(InputError, match="at least 100 m²"):
            read_field(save(square(side=side)))

    def test_points_are_an_error_that_says_what_to_do(self, save):
        with pytest.raises(InputError, match=r"holds points.*record a track"):
            read_field(
                save(*[shapely.Point(xy) for xy in local((0, 0), (9, 0), (9, 9))])
            )


class TestWalkedLine:
    EDGE = local((0, 0), (200, 0), (200, 200), (0, 200))

    def test_a_track_that_closes_is_a_field(self, walk):
        reading = read_field(walk([*self.EDGE, self.EDGE[0]]))
        assert reading.area == pytest.approx(40_000, rel=1e-4)
        assert reading.frame["name"].tolist() == ["edge"]
        assert said(reading, "mended") == []

    def test_a_phone_track_is_doubtful_by_3_to_5_m(self, walk):
        reading = read_field(walk([*self.EDGE, self.EDGE[0]]))
        assert "good to 3 to 5 m" in said(reading, "doubtful")[0]

    def test_a_small_gap_is_closed_and_said(self, walk):
        reading = read_field(walk([*self.EDGE, *local((0, 50))]))
        assert said(reading, "mended") == [
            "a gap of 50\u00a0m between end and start is closed"
        ]
        assert reading.area == pytest.approx(40_000, rel=1e-4)

    @given(gap=st.floats(1, 199))
    @settings(max_examples=20, deadline=None)
    def test_a_gap_under_a_tenth_of_the_length_is_closed_and_no_other(
        self, tmp_path_factory, gap
    ):
        line = shapely.LineString([*self.EDGE, *local((0, gap))])
        path = tmp_path_factory.mktemp("f") / "f.fgb"
        GeoDataFrame(geometry=[line], crs=UTM).to_file(path)
        ratio = gap / line.length
        if ratio < 0.0999:
            assert read_field(VectorSource(path)).area > 39_000
        elif ratio > 0.1001:
            with pytest.raises(InputError, match="is an open line"):
                read_field(VectorSource(path))

    def test_an_open_line_is_an_error_that_names_the_gap(self, walk):
        with pytest.raises(InputError, match="open line: 200 m are missing"):
            read_field(walk(self.EDGE))

    def test_a_route_and_a_track_with_a_pause_are_read_alike(self, walk):
        ring = [*self.EDGE, self.EDGE[0]]
        assert read_field(walk(ring, kind="rte")).area == pytest.approx(
            40_000, rel=1e-4
        )
        paused = read_field(
            walk(ring[:2] + local((200, 90)), local((200, 100)) + ring[2:])
        )
        assert paused.area == pytest.approx(40_000, rel=1e-4)

    def test_a_line_drawn_in_another_program_has_no_phone_doubt(self, save):
        reading = read_field(save(shapely.LineString([*self.EDGE, self.EDGE[0]])))
        assert reading.area == pytest.approx(40_000)
        assert reading.remarks == ()

    def test_a_track_that_crosses_itself_is_mended_and_said(self, walk):
        # Walked on 30 m past the start, a little inside: a loop round the corner.
        track = [*local((-5, 10)), *self.EDGE, *local((0, 5), (30, -5), (35, 10))]
        reading = read_field(walk(track))
        assert reading.frame.geometry.is_valid.all()
        assert len(reading.frame) == 1
        assert reading.area == pytest.approx(40_000, rel=0.02)
        assert any("crosses itself" in text for text in said(reading, "mended"))

    def test_several_lines_are_an_error(self, save):
        line = shapely.LineString([*self.EDGE, self.EDGE[0]])
        with pytest.raises(InputError, match="holds 2 lines"):
            read_field(save(line, translate(line, 900), name=["a", "b"]))
        with pytest.raises(InputError, match="holds 2 lines"):
            read_field(save(line, translate(line, 900)))

    def test_there_and_back_on_one_line_encloses_nothing(self, save):
        line = shapely.LineString(local((0, 0), (200, 0), (0, 0)))
        with pytest.raises(InputError, match="encloses no ground"):
            read_field(save(line))


class TestCorners:
    CORNERS = ((46.30, 15.00), (46.30, 15.01), (46.31, 15.01), (46.31, 15.00))

    def test_corners_are_latitude_then_longitude(self):
        reading = field_from_corners(self.CORNERS)
        assert reading.frame.total_bounds.tolist() == [15.00, 46.30, 15.01, 46.31]
        geodesic, _ = Geod(ellps="WGS84").polygon_area_perimeter(
            [c[1] for c in self.CORNERS], [c[0] for c in self.CORNERS]
        )
        assert reading.area == pytest.approx(geodesic, rel=2e-3)
        assert "latitude, longitude" in said(reading, "doubtful")[0]

    def test_the_first_corner_may_be_given_again(self):
        closed = field_from_corners([*self.CORNERS, self.CORNERS[0]])
        assert closed.area == pytest.approx(field_from_corners(self.CORNERS).area)

    @pytest.mark.parametrize("corners", [(), CORNERS[:2], (CORNERS[0],) * 4])
    def test_fewer_than_three_corners_are_an_error(self, corners):
        with pytest.raises(InputError, match="at least three corners"):
            field_from_corners(corners)

    def test_swapped_corners_with_an_impossible_latitude_are_named(self):
        east = [(116.0, 40.0), (116.01, 40.0), (116.01, 40.01)]
        with pytest.raises(InputError, match=r"latitude 116 .*swapped"):
            field_from_corners(east)

    @pytest.mark.parametrize(
        "corner", [(46.0, 400.0), (float("nan"), 15.0), (46.0, float("inf"))]
    )
    def test_other_impossible_numbers_are_an_error(self, corner):
        with pytest.raises(InputError, match="corners"):
            field_from_corners([*self.CORNERS, corner])

    def test_corners_in_the_wrong_order_are_mended_and_said(self):
        a, b, c, d = self.CORNERS
        reading = field_from_corners([a, c, b, d])
        assert any("crosses itself" in text for text in said(reading, "mended"))
