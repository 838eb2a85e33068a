"""The site file: right values come through, and every mistake is told by its line."""

from pathlib import Path

import pytest
from pydantic import BaseModel

from sitekit.config import SiteModel, read_config, write_template
from sitekit.config.template import LEAST
from sitekit.errors import ConfigError, OutputError
from sitekit.planting.terms import Limits, Need, Prices, terms_of
from sitekit.site import VECTORS

LEAST_FILE = """[site]
elevation = "elevation.tif"
field = "field.geojson"
"""

#: The contract: sections and keys of the site file.
KEYS = {
    "site": {
        "name", "elevation", "elevation_crs", "z_unit", "surface", "field", "corners",
        "reference", *VECTORS,
    },
    "records": {"file", "station", "columns", "unit", "bloom"},
    "grid": {"cell", "margin", "max_cells"},
    "fruit": {"kinds", "folder"},
    "need": set(terms_of(Need)),
    "limits": set(terms_of(Limits)),
    "prices": set(terms_of(Prices)),
    "outputs": {"folder", "layers"},
    "settings": set(),
}  # fmt: skip


@pytest.fixture
def read(tmp_path):
    """Reads a site file; the two files of the least one are there."""
    for name in ("elevation.tif", "field.geojson", "holding.gpkg"):
        (tmp_path / name).touch()

    def read(text, **options):
        path = tmp_path / "site.toml"
        path.write_text(text, encoding="utf-8")
        return read_config(path, **options)

    return read


@pytest.fixture
def mistakes(read):
    """Reads a wrong site file and gives its sentences."""

    def find(text, **options):
        with pytest.raises(ConfigError) as caught:
            read(text, **options)
        return list(caught.value.mistakes)

    return find


def sections():
    return {
        name: set(type(default).model_fields)
        if isinstance(default := field.get_default(), BaseModel)
        else set()
        for name, field in SiteModel.model_fields.items()
    }


class TestRight:
    def test_sections_and_keys_are_those_of_the_contract(self):
        assert sections() == KEYS

    def test_the_least_site_file(self, read, tmp_path):
        site_file = read(LEAST_FILE)
        assert site_file.elevation == (tmp_path / "elevation.tif",)
        assert site_file.field == (tmp_path / "field.geojson", None)
        assert site_file.vectors == {}
        assert site_file.folder == tmp_path
        assert site_file.contents.grid.cell is None
        assert site_file.contents.records.unit == "degC"

    def test_a_file_may_name_its_layer(self, read, tmp_path):
        text = LEAST_FILE + 'water = {file = "holding.gpkg", layer = "mere"}\n'
        assert read(text).vectors == {"water": (tmp_path / "holding.gpkg", "mere")}

    def test_several_elevations_are_a_list(self, read):
        text = LEAST_FILE.replace(
            '"elevation.tif"', '["elevation.tif", "holding.gpkg"]'
        )
        assert len(read(text).elevation) == 2

    def test_a_raster_and_a_record_may_be_named_as_other_files_are(
        self, read, tmp_path
    ):
        text = LEAST_FILE.replace('"elevation.tif"', '{file = "elevation.tif"}')
        site_file = read(text + '[records]\nfile = {file = "holding.gpkg"}\n')
        assert site_file.elevation == (tmp_path / "elevation.tif",)
        assert site_file.contents.records.file == ("holding.gpkg",)

    def test_places_are_lon_lat_and_may_have_a_height(self, read):
        text = LEAST_FILE + (
            "reference = [15.0, 46.3]\n[records]\nstation = [15, 46.3, 705]\n"
        )
        contents = read(text).contents
        assert contents.site.reference == (15.0, 46.3)
        assert contents.records.station == (15.0, 46.3, 705.0)

    def test_corners_are_lat_lon_and_stand_for_the_field(self, read):
        corners = "[\n  [46.30, 15.00],\n  [46.30, 15.01],\n  [46.31, 15.01]\n]"
        site_file = read(f'[site]\nelevation = "elevation.tif"\ncorners = {corners}\n')
        assert site_file.field is None
        assert site_file.contents.site.corners[0] == (46.30, 15.00)

    def test_free_tables_hold_numbers_text_and_lists(self, read):
        text = LEAST_FILE + ("[settings]\nflow_cell = 10\nclosed_edges = ['west']\n")
        contents = read(text).contents
        assert contents.settings == {"flow_cell": 10, "closed_edges": ("west",)}

    def test_a_byte_order_mark_of_an_editor_is_no_mistake(self, tmp_path, read):
        read(LEAST_FILE)
        path = tmp_path / "site.toml"
        path.write_bytes(b"\xef\xbb\xbf" + LEAST_FILE.encode())
        assert read_config(path).elevation

    def test_a_number_may_be_written_without_decimals(self, read):
        assert (
            read(LEAST_FILE + "[grid]\ncell = 5\nmargin = 0\n").contents.grid.cell == 5
        )

    def test_before_fetching_no_elevation_is_needed(self, read):
        read('[site]\nfield = "field.geojson"\n', need_elevation=False)
        text = '[site]\nelevation = "to_come.tif"\nfield = "field.geojson"\n'
        assert read(text, need_elevation=False).elevation[0].name == "to_come.tif"

    def test_the_models_cannot_be_changed(self, read):
        contents = read(LEAST_FILE).contents
        with pytest.raises(ValueError, match="frozen"):
            contents.site.name = "other"


class TestLines:
    def test_the_line_of_a_setting_is_known(self, read):
        site_file = read(LEAST_FILE + "\n[settings]\n# why\nflow_cell = 10\n")
        assert site_file.line_of("settings", "flow_cell") == 7
        assert site_file.where("settings", "flow_cell") == "site.toml, line 7"

    def test_a_key_that_is_not_there_has_the_line_of_its_section(self, read):
        site_file = read(LEAST_FILE + "[settings]\nflow_cell = 10\n")
        assert site_file.line_of("settings", "other") == 4
        assert site_file.line_of("prices", "tree") is None
        assert site_file.where("prices", "tree") == "site.toml"

    def test_lists_over_several_lines_do_not_look_like_sections(self, read):
        text = (
            LEAST_FILE + "corners = [\n[46.3, 15.0],\n[46.3, 15.1],\n[46.4, 15.1]\n]\n"
        )
        site_file = read(text + "name = 'x'\n")
        assert site_file.line_of("site", "corners") == 4
        assert site_file.line_of("site", "name") == 9

    @pytest.mark.parametrize(
        "text",
        [
            'site.elevation = "elevation.tif"\nsite.field = "field.geojson"\n'
            'site."water" = "nothing.gpkg"\n',
            LEAST_FILE.replace('elevation = "elevation.tif"\n', "")
            + '[site.water]\nfile = "nothing.gpkg"\n[site.x]\n',
        ],
    )
    def test_dotted_keys_and_tables_of_their_own_are_found(self, mistakes, text):
        assert any(m.startswith("site.toml, line 3: water") for m in mistakes(text))


class TestMistakes:
    def test_an_unknown_key_names_its_line_and_the_nearest(self, mistakes):
        text = LEAST_FILE + '\n# hedges\nbariers = "holding.gpkg"\n'
        assert mistakes(text) == [
            'site.toml, line 6: unknown key "bariers" in [site]. Nearest: "barriers".'
        ]

    def test_an_unknown_key_far_from_all_lists_what_is_known(self, mistakes):
        (said,) = mistakes(LEAST_FILE + "[grid]\nqqqq = 1\n")
        assert said == (
            'site.toml, line 5: unknown key "qqqq" in [grid]. '
            "Known: cell, margin, max_cells."
        )

    def test_an_unknown_section_names_the_nearest(self, mistakes):
        (said,) = mistakes(LEAST_FILE + "[setings]\nflow_cell = 1\n")
        assert said == (
            'site.toml, line 4: unknown section [setings]. Nearest: "settings".'
        )

    def test_all_mistakes_are_told_at_once_in_the_order_of_the_file(self, mistakes):
        said = mistakes(
            '[grid]\ncell = 0\n[site]\nz_unit = "yards"\nelevatoin = "a.tif"\n'
            'water = "none.gpkg"\n'
        )
        assert [m.split(":")[0] for m in said] == [
            "site.toml, line 2",
            "site.toml, line 3",
            "site.toml, line 3",
            "site.toml, line 4",
            "site.toml, line 5",
            "site.toml, line 6",
        ]

    @pytest.mark.parametrize(
        ("value", "wanted"),
        [
            ("0", "a number above 0 is wanted"),
            ("-5.0", "a number above 0 is wanted"),
            ("nan", "wanted"),
            ("inf", "a finite number is wanted"),
            ("-inf", "wanted"),
            ('"5"', "a number is wanted"),
            ("true", "a number is wanted"),
            ("[5]", "a number is wanted"),
        ],
    )
    def test_a_cell_that_is_no_size_is_told(self, mistakes, value, wanted):
        (said,) = mistakes(LEAST_FILE + f"[grid]\ncell = {value}\n")
        assert said.startswith("site.toml, line 5: cell in [grid] is ")
        assert said.endswith(f"{wanted}.")

    @pytest.mark.parametrize(
        ("line", "said"),
        [
            ("water = 3", "a file name in quotes"),
            ('water = {file = "a.gpkg", name = "b"}', "a file name in quotes"),
            ('water = ""', "a file name in quotes"),
            ("name = 3", "text in quotes is wanted"),
            ('surface = "trees"', 'one of "ground" or "canopy" is wanted'),
            ("reference = [46.3]", "longitude first"),
            ('reference = ["15", "46"]', "longitude first"),
            ("reference = [15.0, 146.3]", "longitude first"),
            ("reference = [15.0, nan]", "longitude first"),
            ("corners = [[1, 2], [3, 4]]", "at least three corners"),
            ("corners = [[1, 2], [3, 4], [5]]", "at least three corners"),
        ],
    )
    def test_a_value_of_a_wrong_kind_is_told_with_what_is_wanted(
        self, mistakes, line, said
    ):
        (mistake,) = mistakes(LEAST_FILE + line + "\n")
        assert mistake.startswith(
            f"site.toml, line 4: {line.split(' ')[0]} in [site] is"
        )
        assert said in mistake

    def test_a_section_that_is_no_table_is_told(self, mistakes):
        (said,) = mistakes("need = 4\n" + LEAST_FILE)
        assert said == "site.toml, line 1: [need] is 4; a section is wanted."

    def test_a_number_that_is_none_is_told_in_free_tables_too(self, mistakes):
        (said,) = mistakes(LEAST_FILE + "[settings]\nflow_cell = nan\n")
        assert said == (
            "site.toml, line 5: flow_cell in [settings] is NaN; a finite number is "
            "wanted."
        )

    def test_a_missing_file_is_told_with_its_key_and_the_nearest_name(self, mistakes):
        text = LEAST_FILE.replace("elevation.tif", "elevatoin.tif")
        assert mistakes(text) == [
            'site.toml, line 2: elevation in [site] names "elevatoin.tif", which is not '
            'there. Nearest: "elevation.tif".'
        ]

    @pytest.mark.parametrize(
        "text",
        ['[records]\nfile = "zzz.csv"\n', '[fruit]\nfolder = "zzz"\n'],
    )
    def test_missing_files_of_other_sections_are_told(self, mistakes, text):
        (said,) = mistakes(LEAST_FILE + text)
        assert said.startswith("site.toml, line 5: ")
        assert "Correct the name or the folder." in said

    def test_an_address_is_not_followed(self, mistakes):
        text = LEAST_FILE.replace("elevation.tif", "https://example.org/e.tif")
        (said,) = mistakes(text)
        assert 'is an address, "https://example.org/e.tif". Save the file' in said

    def test_an_empty_site_file_says_what_is_least(self, mistakes):
        said = mistakes("")
        assert said[0].startswith("site.toml: [site] names no elevation")
        assert said[1].startswith("site.toml: [site] names no field")

    @pytest.mark.parametrize(
        ("text", "line"),
        [
            ("[site]\nname = My holding\n", 2),
            ('[site]\nname = "a"\nname = "b"\n', 3),
            ('[site]\nfield = "C:\\data\\field.gpkg"\n', 2),
            ("[site\n", 1),
            ('[site]\nname = "a', 2),
        ],
    )
    def test_what_is_no_toml_is_told_with_its_line(self, mistakes, text, line):
        (said,) = mistakes(text)
        assert said.startswith(f"site.toml, line {line}: this cannot be read")

    def test_a_file_that_is_not_there_or_no_text_is_told(self, tmp_path):
        with pytest.raises(ConfigError, match="is not there"):
            read_config(tmp_path / "none.toml")
        with pytest.raises(ConfigError, match="is a folder"):
            read_config(tmp_path)
        (tmp_path / "site.toml").write_bytes(b"name = '\xff'")
        with pytest.raises(ConfigError, match="no text in UTF-8"):
            read_config(tmp_path / "site.toml")


class TestTemplate:
    @pytest.fixture
    def template(self, tmp_path) -> Path:
        write_template(tmp_path / "new" / "site.toml")
        return tmp_path / "new" / "site.toml"

    def test_every_section_and_key_stands_in_it_with_a_comment(self, template):
        lines = template.read_text("utf-8").splitlines()
        for section, keys in KEYS.items():
            (place,) = [i for i, t in enumerate(lines) if t.startswith(f"[{section}]")]
            for key in keys:
                sign = "" if key in LEAST else "# "
                (found,) = [
                    i
                    for i in range(place, len(lines))
                    if lines[i].startswith(f"{sign}{key} = ")
                    and not any(t.startswith("[") for t in lines[place + 1 : i])
                ]
                assert lines[found - 1].startswith("# ")

    def test_as_it_stands_it_lacks_only_the_two_files(self, template):
        with pytest.raises(ConfigError) as caught:
            read_config(template)
        assert len(caught.value.mistakes) == 2
        assert all("which is not there" in text for text in caught.value.mistakes)
        (template.parent / "elevation.tif").touch()
        (template.parent / "field.geojson").touch()
        assert read_config(template).contents.site.name

    def test_with_every_key_taken_it_is_right_but_for_the_files(self, template):
        text = template.read_text("utf-8")
        head, _, body = text.partition("[site]")
        taken = [
            line.removeprefix("# ") if " = " in line else line
            for line in body.splitlines()
        ]
        template.write_text(f"{head}[site]\n" + "\n".join(taken), encoding="utf-8")
        with pytest.raises(ConfigError) as caught:
            read_config(template)
        assert all("which is not there" in said for said in caught.value.mistakes)
        named = {said.split('"')[1] for said in caught.value.mistakes}
        for name in named:
            (template.parent / name).touch()
        contents = read_config(template).contents
        assert contents.settings == {"relative_height_radius": 150.0}
        assert contents.records.bloom == {"apple": "05-02", "plum": "04-20"}

    def test_a_site_file_that_is_there_is_left_alone(self, template):
        template.write_text("mine", encoding="utf-8")
        with pytest.raises(OutputError, match="is there already"):
            write_template(template)
        assert template.read_text("utf-8") == "mine"
