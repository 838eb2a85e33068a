"""Everything about one site is read onto one grid, and every doubt is said."""

import hashlib
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from geopandas import GeoDataFrame
from pyproj import CRS, Transformer

from sitekit.errors import CoverageError, InputError, SitekitError
from sitekit.io.inputs import SiteRequest, read_request
from sitekit.io.records import RecordSource
from sitekit.io.schemas import SCHEMAS
from sitekit.io.vectors import VectorSource
from sitekit.site import VECTORS

UTM = CRS.from_epsg(32633)
WEST, SOUTH, CELL, ROWS, COLUMNS = 500_000.0, 5_130_000.0, 5.0, 120, 160
EAST, NORTH = WEST + COLUMNS * CELL, SOUTH + ROWS * CELL
TO_DEGREES = Transformer.from_crs(UTM, 4326, always_xy=True)
FIELD = shapely.box(WEST + 200, SOUTH + 200, WEST + 600, SOUTH + 400)


def write_raster(path: Path, values, crs="EPSG:32633", cell=CELL) -> Path:
    values = np.asarray(values, np.float32)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=values.shape[0],
        width=values.shape[1],
        count=1,
        dtype="float32",
        crs=crs,
        transform=rasterio.transform.from_origin(WEST, NORTH, cell, cell),
        nodata=-9999.0,
    ) as dataset:
        dataset.write(values, 1)
    return path


def slope(base=700.0, rise=0.08):
    """Ground that rises to the north."""
    northings = (np.arange(ROWS)[::-1] + 0.5) * CELL
    return np.repeat((base + rise * northings)[:, None], COLUMNS, axis=1)


def box(x, y, dx, dy):
    return shapely.box(WEST + x, SOUTH + y, WEST + x + dx, SOUTH + y + dy)


def line(*points):
    return shapely.LineString([(WEST + x, SOUTH + y) for x, y in points])


def point(x, y):
    return shapely.Point(WEST + x, SOUTH + y)


@pytest.fixture
def holding(tmp_path):
    """Writes one layer of holding.gpkg and names it as a source."""

    def write(layer, shapes, crs=UTM, **columns):
        frame = GeoDataFrame(columns, geometry=shapes, crs=crs)
        frame.to_file(tmp_path / "holding.gpkg", layer=layer)
        return VectorSource(tmp_path / "holding.gpkg", layer)

    return write


@pytest.fixture
def request_site(tmp_path, holding):
    """Reads a site of plain ground, with what else is given."""

    def read(elevation=None, field=None, **given):
        path = write_raster(
            tmp_path / "elevation.tif", slope() if elevation is None else elevation
        )
        others = {k: given.pop(k) for k in list(given) if k in VECTORS}
        if "corners" not in given:
            field = field or holding("field", [FIELD], name=["The Shelf"])
        return read_request(
            SiteRequest(elevation=[path], field=field, vectors=others, **given)
        )

    return read


def said(site, kind=None):
    return [
        f"{r.about}: {r.text}" for r in site.remarks if kind is None or r.kind == kind
    ]


class TestPlainSite:
    def test_a_polygon_and_a_raster_are_enough(self, request_site):
        site = request_site(name="High Holding", fruit=["apple"], settings={"a": 1})
        assert site.name == "High Holding"
        assert site.grid.crs == UTM
        assert site.grid.cell_size == CELL
        np.testing.assert_allclose(site.elevation, slope(), atol=1e-3)
        assert site.field["name"].tolist() == ["The Shelf"]
        assert site.field_area == pytest.approx(80_000)
        assert site.fruit == ("apple",)
        assert site.settings == {"a": 1}

    def test_a_cell_is_in_the_field_when_its_centre_is(self, request_site):
        site = request_site()
        assert site.field_mask.sum() * 25 == 80_000
        rows, columns = np.nonzero(site.field_mask)
        inside = shapely.contains_xy(
            FIELD, site.grid.eastings[columns], site.grid.northings[rows]
        )
        assert inside.all()

    def test_every_input_that_is_not_given_is_an_empty_frame(self, request_site):
        site = request_site()
        assert set(site.vectors) == set(VECTORS)
        for name, frame in site.vectors.items():
            assert frame.empty
            assert frame.crs == site.grid.crs
            assert list(frame.columns) == [*SCHEMAS[name].columns, "geometry"]
        assert site.given == frozenset()
        assert not site.water_mask.any()
        assert not site.canopy_height.any()

    def test_every_missing_input_is_said_with_what_it_would_add(self, request_site):
        missing = said(request_site(), "missing")
        assert len(missing) == len(VECTORS) + 2
        assert any(
            text.startswith("records: would add last frosts") for text in missing
        )
        assert any(text.startswith("need: or limits would add") for text in missing)
        assert "ground_tests: would let blocks be judged for drainage" in missing

    def test_each_file_is_hashed(self, request_site, tmp_path):
        site = request_site()
        expected = {
            name: hashlib.sha256((tmp_path / name).read_bytes()).hexdigest()
            for name in ("elevation.tif", "holding.gpkg")
        }
        assert site.inputs == expected

    def test_what_was_read_is_said_a_line_a_file(self, request_site, holding):
        site = request_site(water=holding("mere", [box(0, 0, 800, 150)]))
        read = said(site, "read")
        assert "holding.gpkg: field 8.0\u00a0ha, water 1" in read
        assert any(text.startswith("elevation.tif") for text in read)

    def test_a_field_in_degrees_lands_on_the_same_ground(self, request_site, tmp_path):
        path = tmp_path / "field.geojson"
        GeoDataFrame(geometry=[FIELD], crs=UTM).to_crs(4326).to_file(path)
        site = request_site(field=VectorSource(path))
        assert site.field.crs == UTM
        assert site.field_area == pytest.approx(80_000, rel=1e-4)
        assert site.name == "field"

    def test_corners_from_a_phone_make_a_field(self, request_site):
        corners = [TO_DEGREES.transform(*xy)[::-1] for xy in FIELD.exterior.coords[:-1]]
        site = request_site(corners=corners)
        assert site.field_area == pytest.approx(80_000, rel=1e-4)
        assert any("corners" in text for text in said(site, "doubtful"))

    def test_a_field_that_is_named_goes_before_corners(self, request_site, holding):
        field = holding("field", [FIELD])
        site = request_site(field=field, corners=[(1, 1), (1, 2), (2, 2)])
        assert site.field_area == pytest.approx(80_000)
        assert "corners: not used, since a field is named" in said(site, "doubtful")

    def test_a_shapefile_is_hashed_with_its_columns(self, request_site, tmp_path):
        path = tmp_path / "hedges.shp"
        GeoDataFrame(
            {"height_m": [2.0]}, geometry=[line((0, 1), (9, 1))], crs=UTM
        ).to_file(path)
        site = request_site(barriers=VectorSource(path))
        assert {"hedges.shp", "hedges.dbf", "hedges.prj"} <= set(site.inputs)


class TestMistakes:
    def test_no_field_and_no_elevation_are_said_together(self):
        with pytest.raises(InputError, match="No field is named"):
            read_request(SiteRequest(elevation=[]))

    def test_a_site_without_elevation_says_so(self, holding):
        with pytest.raises(InputError, match="No elevation is named"):
            read_request(SiteRequest(elevation=[], field=holding("field", [FIELD])))

    def test_mistakes_in_several_files_are_said_at_once(self, request_site, tmp_path):
        (tmp_path / "hedges.geojson").touch()
        with pytest.raises(InputError) as caught:
            request_site(
                barriers=VectorSource(tmp_path / "hedges.geojson"),
                water=VectorSource(tmp_path / "mere.geojson"),
                elevation=slope(),
                elevation_crs=None,
            )
        assert len(caught.value.mistakes) == 2
        assert "hedges.geojson is empty" in str(caught.value)
        assert "mere.geojson is not there" in str(caught.value)

    def test_one_mistake_keeps_its_class(self, request_site, holding):
        far = holding("far", [shapely.box(600_000, SOUTH, 600_100, SOUTH + 100)])
        with pytest.raises(CoverageError):
            request_site(field=far)

    def test_swapped_corners_are_asked_about(self, request_site):
        corners = [TO_DEGREES.transform(*xy) for xy in FIELD.exterior.coords[:-1]]
        with pytest.raises(CoverageError, match=r"Corners are read as \[lat, lon\]"):
            request_site(corners=corners)

    def test_of_an_outline_that_was_read_nothing_is_asked_of_corners(self, tmp_path):
        path = write_raster(tmp_path / "elevation.tif", slope())
        away = shapely.affinity.translate(FIELD, 9_000, 0)
        outline = GeoDataFrame(geometry=[away], crs=UTM)
        with pytest.raises(CoverageError) as told:
            read_request(SiteRequest(elevation=[path], outline=outline, name="far"))
        assert "orners" not in str(told.value)

    def test_a_name_that_is_no_input_is_an_error(self, holding, tmp_path):
        path = write_raster(tmp_path / "elevation.tif", slope())
        source = holding("field", [FIELD])
        with pytest.raises(InputError, match='Nearest: "water"'):
            read_request(
                SiteRequest(elevation=[path], field=source, vectors={"watr": source})
            )

    def test_a_field_between_cell_centres_is_an_error(self, request_site, holding):
        thin = holding("field", [box(200.1, 200, 2.2, 100)])
        with pytest.raises(SitekitError, match="no cell"):
            request_site(field=thin)


class TestWater:
    def test_given_water_is_kept_whole_beyond_the_elevation(
        self, request_site, holding
    ):
        mere = box(-4000, -3000, 8000, 3100)
        site = request_site(
            water=holding("mere", [mere], name=["Mere"], depth_m=[14.0])
        )
        assert site.vectors["water"].area.sum() == pytest.approx(mere.area)
        assert site.water_mask.sum() * 25 == 800 * 100
        assert "water" in site.given
        assert not any("outside the elevation" in text for text in said(site))

    def test_the_level_of_given_water_is_the_median_on_it(self, request_site, holding):
        ground = slope()
        ground[100:] = 703.25
        site = request_site(ground, water=holding("mere", [box(0, 0, 800, 100)]))
        assert site.vectors["water"]["level_m"].tolist() == [pytest.approx(703.25)]

    def test_level_ground_is_found_as_water_and_said(self, request_site):
        ground = slope()
        ground[100:] = 705.0
        site = request_site(ground)
        assert site.water_mask[100:].all()
        assert not site.water_mask[:100].any()
        assert site.has_water
        assert "water" not in site.given
        assert any(
            "level ground is taken for water" in t for t in said(site, "doubtful")
        )
        assert not any(text.startswith("water") for text in said(site, "missing"))

    def test_given_water_stops_the_search(self, request_site, holding):
        ground = slope()
        ground[100:] = 705.0
        site = request_site(ground, water=holding("pond", [box(0, 500, 50, 50)]))
        assert site.water_mask.sum() == 100


class TestBarriersAndWoods:
    def test_a_hedge_without_height_is_left_out_by_name(self, request_site, holding):
        source = holding(
            "hedges",
            [line((0, 10), (90, 10)), line((0, 50), (90, 50))],
            name=["Old Beech", ""],
            kind=["hedge", "wall"],
            height_m=[0.0, 1.4],
        )
        site = request_site(barriers=source)
        assert site.vectors["barriers"]["kind"].tolist() == ["wall"]
        assert any(
            'hedge "Old Beech" has no height' in t for t in said(site, "doubtful")
        )

    def test_an_openness_of_30_is_an_error(self, request_site, holding):
        source = holding("hedges", [line((0, 1), (9, 1))], openness=[30.0])
        with pytest.raises(InputError, match="feature 1: openness is 30"):
            request_site(barriers=source)

    def test_barriers_beyond_the_elevation_are_left_out_and_said(
        self, request_site, holding
    ):
        source = holding(
            "hedges",
            [line((-100, 10), (90, 10)), line((-900, 50), (-800, 50))],
            kind=["wall", "wall"],
            height_m=[2.0, 2.0],
        )
        site = request_site(barriers=source)
        assert site.vectors["barriers"].length.tolist() == [pytest.approx(90)]
        assert any("1 of 2 barriers lie outside" in text for text in said(site))

    def test_woods_give_their_height_less_what_their_crowns_leave_open(
        self, request_site, holding
    ):
        source = holding(
            "woods",
            [box(0, 0, 100, 100), box(50, 0, 100, 100)],
            height_m=[20.0, 12.0],
            openness=[0.25, None],
            evergreen=[True, False],
        )
        site = request_site(woodland=source)
        canopy = site.canopy_height[100:, :]
        assert np.unique(canopy).tolist() == [0.0, 12.0, 15.0]
        assert (canopy[:, :20] == 15.0).all()
        assert (canopy[:, 20:30] == 12.0).all()
        assert site.evergreen[100:, :20].all()
        assert not site.evergreen[:, 20:].any()

    def test_woods_may_be_a_raster_of_canopy_heights(self, request_site, tmp_path):
        heights = np.zeros((ROWS, COLUMNS))
        heights[10:20, 30:50] = 18.0
        heights[60, 60] = -9999.0
        path = write_raster(tmp_path / "canopy.tif", heights)
        site = request_site(woodland=VectorSource(path))
        np.testing.assert_allclose(
            site.canopy_height, np.maximum(heights, 0.0), atol=1e-4
        )
        woods = site.vectors["woodland"]
        assert woods["height_m"].tolist() == [18.0]
        assert woods.area.tolist() == [pytest.approx(200 * 25)]
        assert "woodland" in site.given
        assert any("evergreen" in text for text in said(site, "doubtful"))

    def test_a_raster_of_heights_above_the_sea_is_an_error(
        self, request_site, tmp_path
    ):
        path = write_raster(tmp_path / "surface.tif", slope() + 10)
        with pytest.raises(InputError, match="heights above the sea"):
            request_site(woodland=VectorSource(path))


class TestOtherInputs:
    def test_a_spring_drawn_as_a_point_keeps_ground_about_it(
        self, request_site, holding
    ):
        site = request_site(
            no_go=holding("no_go", [point(300, 300)], reason=["spring"])
        )
        assert site.vectors["no_go"].geom_type.tolist() == ["Polygon"]
        assert site.vectors["no_go"].area[0] == pytest.approx(np.pi * 25, rel=0.01)
        assert any("have no extent" in text for text in said(site, "doubtful"))

    def test_points_off_the_elevation_are_left_out(self, request_site, holding):
        source = holding(
            "trees", [point(300, 300), point(-50, 0)], fruit=["Sweet Cherry", "plum"]
        )
        site = request_site(existing_trees=source)
        assert site.vectors["existing_trees"]["fruit"].tolist() == ["sweet_cherry"]

    def test_a_layer_without_a_feature_is_doubtful_and_not_given(
        self, request_site, tmp_path
    ):
        path = tmp_path / "notes.geojson"
        path.write_text('{"type": "FeatureCollection", "features": []}')
        site = request_site(notes=VectorSource(path))
        assert "notes" not in site.given
        assert any("holds no feature for notes" in t for t in said(site, "doubtful"))

    def test_an_unknown_word_is_said(self, request_site, holding):
        source = holding("notes", [point(300, 300)], kind=["fogg"], text=["seen"])
        site = request_site(notes=source)
        assert any('Nearest: "fog"' in text for text in said(site, "doubtful"))

    def test_a_crossed_outline_is_mended_and_said(self, request_site, holding):
        bow = shapely.Polygon(
            [(WEST + x, SOUTH + y) for x, y in ((0, 0), (50, 50), (50, 0), (0, 50))]
        )
        site = request_site(mulched=holding("mulch", [bow]))
        assert site.vectors["mulched"].area.sum() == pytest.approx(1250)
        assert any("cross themselves" in text for text in said(site, "mended"))


class TestReference:
    def test_the_place_that_is_named_comes_first(self, request_site):
        place = TO_DEGREES.transform(WEST + 100, SOUTH + 100)
        site = request_site(reference=place, records=RecordSource(station=place))
        assert site.reference.name == "the reference place"
        assert site.reference.easting == pytest.approx(WEST + 100, abs=0.01)

    def test_a_reference_off_the_elevation_is_an_error(self, request_site):
        with pytest.raises(InputError, match="lies off the elevation"):
            request_site(reference=[14.0, 46.0])

    def test_then_the_station_where_it_is_on_the_grid(self, request_site, holding):
        place = [*TO_DEGREES.transform(WEST + 100, SOUTH + 100), 708.0]
        house = holding("house", [box(700, 500, 10, 10)])
        assert (
            request_site(records=RecordSource(station=place)).reference.name
            == "the station"
        )
        far = RecordSource(station=[14.0, 46.0, 300.0])
        away = request_site(records=far, buildings=house)
        assert away.reference.name == "the house"

    def test_then_the_house_and_not_the_larger_barn(self, request_site, holding):
        source = holding(
            "buildings",
            [box(700, 500, 10, 10), box(600, 500, 40, 20)],
            kind=["House", "barn"],
        )
        reference = request_site(buildings=source).reference
        assert reference.easting == pytest.approx(WEST + 705)

    def test_else_the_largest_building(self, request_site, holding):
        source = holding("buildings", [box(700, 500, 10, 10), box(600, 500, 40, 20)])
        reference = request_site(buildings=source).reference
        assert reference.easting == pytest.approx(WEST + 620)

    def test_at_last_no_place_but_the_median_of_the_field(self, request_site):
        site = request_site()
        assert site.reference is None
        assert site.reference_name == "the field's median"
