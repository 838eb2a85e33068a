"""From a site file to a request: every mistake at once, each with its line."""

from dataclasses import replace

import pytest

from sitekit.errors import ConfigError
from sitekit.request import check_request, read_site_file, request_from_file

SITE = """\
[site]
name = "Made"
elevation = ["north.tif", "south.tif"]
field = "field.geojson"
"""


@pytest.fixture
def folder(tmp_path):
    for name in ("north.tif", "south.tif", "field.geojson", "days.csv", "bloom.csv"):
        (tmp_path / name).write_text("", encoding="utf-8")
    (tmp_path / "fruit").mkdir()
    return tmp_path


def read(folder, more=""):
    path = folder / "site.toml"
    path.write_text(SITE + more, encoding="utf-8")
    return request_from_file(read_site_file(path))


def test_files_are_found_beside_the_site_file(folder):
    made = read(folder)
    assert made.elevation == (folder / "north.tif", folder / "south.tif")
    assert made.field.file == folder / "field.geojson"
    assert made.name == "Made"


def test_what_is_not_given_is_left_open(folder):
    made = read(folder)
    assert (made.cell, made.margin, made.max_cells, made.reference) == (None,) * 4
    assert made.records.files == ()
    assert made.fruit_folder is None
    assert dict(made.settings) == {}


@pytest.mark.parametrize(
    ("more", "name", "value"),
    [
        ("[grid]\ncell = 2.5\n", "cell", 2.5),
        ("[grid]\nmargin = 0\n", "margin", 0),
        ("[grid]\nmax_cells = 9000\n", "max_cells", 9000),
        ('[fruit]\nkinds = ["pear", "plum"]\n', "fruit", ("pear", "plum")),
        ('[outputs]\nlayers = ["slope"]\n', "layers", ("slope",)),
        ("[settings]\nedge_setback = 4.0\n", "settings", {"edge_setback": 4.0}),
    ],
)
def test_what_is_given_is_passed_on(folder, more, name, value):
    assert getattr(read(folder, more), name) == value


def test_records_are_found_beside_the_site_file(folder):
    more = '[records]\nfile = "days.csv"\nunit = "degF"\nbloom = "bloom.csv"\n'
    records = read(folder, more).records
    assert records.files == (folder / "days.csv",)
    assert records.bloom == folder / "bloom.csv"
    assert records.unit == "degF"


def test_flowering_days_may_stand_in_the_site_file(folder):
    more = '[records]\nfile = "days.csv"\nbloom = {pear = "04-20"}\n'
    assert read(folder, more).records.bloom == {"pear": "04-20"}


def test_mistakes_of_every_kind_are_told_at_once_with_their_lines(folder):
    more = (
        '[fruit]\nkinds = ["paer"]\n[settings]\nedge_setbak = 2\n'
        '[outputs]\nlayers = ["slop"]\n'
    )
    with pytest.raises(ConfigError) as told:
        read(folder, more)
    mistakes = told.value.mistakes
    assert len(mistakes) == 3
    for mistake, line in zip(mistakes, (6, 8, 10), strict=True):
        assert f"line {line}" in mistake
        assert "Nearest" in mistake


def test_keys_and_names_that_are_not_known_are_told_at_once(folder):
    more = 'watr = "mere.gpkg"\n[settings]\nedge_setbak = 2\n[fruit]\nfolder = "no"\n'
    with pytest.raises(ConfigError) as told:
        read(folder, more)
    lines = [mistake.partition(":")[0] for mistake in told.value.mistakes]
    assert lines == [f"site.toml, line {line}" for line in (5, 7, 9)]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('columns = {tmn = "low"}', 'unknown name "tmn".* Nearest: "tmin"'),
        ('bloom = {aple = "05-02"}', 'No fruit is called "aple". Nearest: "apple"'),
    ],
)
def test_names_within_the_records_are_checked_as_well(folder, line, said):
    with pytest.raises(ConfigError, match=f"line 6: {said}"):
        read(folder, f"[records]\n{line}\n")


@pytest.mark.parametrize("name", ["EPSG:1", "UTM", "EPSG:5773"])
def test_a_coordinate_system_that_is_not_known_is_told_with_its_line(folder, name):
    with pytest.raises(ConfigError, match=f'line 5: elevation_crs "{name}" is not'):
        read(folder, f'elevation_crs = "{name}"\n')


@pytest.mark.parametrize("value", ["-1.0", '"wide"', "nan", "true"])
def test_a_setting_of_no_meaning_is_refused_by_name(folder, value):
    with pytest.raises(ConfigError, match="edge_setback"):
        read(folder, f"[settings]\nedge_setback = {value}\n")


def test_a_request_made_by_hand_is_checked_alike(folder):
    sound = read(folder)
    check_request(sound)

    wrong = replace(sound, fruit=("paer",), layers=("slop",), settings={"edge": 1})
    with pytest.raises(ConfigError) as told:
        check_request(wrong)
    assert len(told.value.mistakes) == 3
