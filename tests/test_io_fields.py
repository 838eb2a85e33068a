"""Reading of many fields: every form of file, names, layers and doubles."""

import geopandas
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from sitekit.errors import CrsError, InputError
from sitekit.io.fields import _without_doubles, read_fields

UTM = "EPSG:32633"
SQUARES = [shapely.box(x, 0, x + 100, 100) for x in (500_000, 500_300, 500_600)]


def table(names=("a", "b", "c"), column="field", crs=UTM, shapes=SQUARES):
    return geopandas.GeoDataFrame({column: list(names)}, geometry=shapes, crs=crs)


@pytest.mark.parametrize("file", ["f.gpkg", "f.fgb", "f.geojson", "f.parquet"])
def test_every_form_of_table_gives_the_same_fields(tmp_path, file):
    path = tmp_path / file
    fields = table(
        crs="EPSG:4326", shapes=[shapely.box(x, 60, x + 1, 61) for x in (1, 3, 5)]
    )
    if path.suffix == ".parquet":
        fields.to_parquet(path)
    else:
        # FlatGeobuf sorts by place unless told not to.
        options = {"SPATIAL_INDEX": "NO"} if path.suffix == ".fgb" else {}
        fields.to_file(path, **options)
    read = read_fields(path)
    assert list(read["field"]) == ["a", "b", "c"]
    assert read.geometry.geom_equals(fields.geometry).all()
    assert read.crs.to_epsg() == 4326


@pytest.mark.parametrize("column", ["field", "id", "name"])
def test_a_field_is_named_by_its_column(tmp_path, column):
    table(column=column).to_file(tmp_path / "f.gpkg")
    assert list(read_fields(tmp_path / "f.gpkg")["field"]) == ["a", "b", "c"]


def test_the_column_field_comes_before_id_and_name(tmp_path):
    fields = table().assign(id=[7, 8, 9], name=["x", "y", "z"])
    fields.to_file(tmp_path / "f.gpkg")
    assert list(read_fields(tmp_path / "f.gpkg")["field"]) == ["a", "b", "c"]


def test_fields_without_a_name_are_numbered(tmp_path):
    table(column="owner").to_file(tmp_path / "f.gpkg")
    assert list(read_fields(tmp_path / "f.gpkg")["field"]) == ["1", "2", "3"]
    some = table([7.0, None, 9.0], column="id")
    some.to_file(tmp_path / "g.gpkg")
    assert list(read_fields(tmp_path / "g.gpkg")["field"]) == ["7", "2", "9"]


def test_layers_in_two_coordinate_systems_come_to_that_of_the_first(tmp_path):
    path = tmp_path / "f.gpkg"
    table().to_file(path, layer="east")
    table(["d", "e", "f"]).to_crs("EPSG:4326").to_file(path, layer="west")
    read = read_fields(path)
    assert list(read["field"]) == ["a", "b", "c", "d", "e", "f"]
    assert read.crs == UTM
    assert read.area.to_numpy() == pytest.approx(10_000, rel=1e-6)


def test_a_field_without_a_shape_stays_in_the_table(tmp_path):
    shapes = [SQUARES[0], None, shapely.Polygon()]
    table(shapes=shapes).to_file(tmp_path / "f.gpkg")
    read = read_fields(tmp_path / "f.gpkg")
    assert len(read) == 3
    assert [s is None or s.is_empty for s in read.geometry] == [False, True, True]


def test_a_double_name_gets_a_number(tmp_path):
    table(["mere", "mere", "mere"]).to_file(tmp_path / "f.gpkg")
    assert list(read_fields(tmp_path / "f.gpkg")["field"]) == [
        "mere",
        "mere-2",
        "mere-3",
    ]


@given(st.lists(st.sampled_from(["a", "b", "a-2", "a-2-2", "b-3"]), max_size=12))
def test_names_are_never_double_and_the_first_is_kept(names):
    own = _without_doubles(names)
    assert len(set(own)) == len(names)
    for name in set(names):
        assert own[names.index(name)] == name


@pytest.mark.parametrize(
    ("make", "error", "told"),
    [
        (lambda _path: None, InputError, "no such file"),
        (lambda path: path.write_bytes(b""), InputError, "f.gpkg"),
        (lambda path: path.write_text("nothing"), InputError, "f.gpkg"),
        (table()[:0].to_file, InputError, "holds no field"),
        (lambda path: table(crs=None).to_file(path), CrsError, "coordinate system"),
    ],
)
@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_bad_table_is_told_in_a_sentence(tmp_path, make, error, told):
    path = tmp_path / "f.gpkg"
    make(path)
    with pytest.raises(error, match=told):
        read_fields(path)


def test_a_parquet_file_that_is_none_is_told(tmp_path):
    (tmp_path / "f.parquet").write_text("nothing")
    with pytest.raises(InputError, match="cannot be read as GeoParquet"):
        read_fields(tmp_path / "f.parquet")
