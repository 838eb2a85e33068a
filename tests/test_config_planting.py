"""The sections of the planting plan in the site file: need, limits, prices."""

import pytest

from sitekit.config.planting import (
    LimitsSection,
    NeedSection,
    PricesSection,
    describe,
    read_wanted,
)
from sitekit.errors import ConfigError
from sitekit.planting.terms import EDGES, Limits, Need, Prices, read_terms, terms_of
from sitekit.request import read_site_file, request_from_file

LEAST = '[site]\nelevation = "elevation.tif"\nfield = "field.geojson"\n'
#: The sections of the invented demo holding, which must stay valid.
DEMO = """\
[need]
pear = 900
plum = 700
apple = 1000

[limits]
by_year = 9
money = [2400, 2400, 1800, 1200]
mulch_m3 = 18
mulch_depth_m = 0.15
mulch_left_m = 0.03
mulch_months = 18
work_days = 26
grass_creep_m = 0.3

[prices]
mound = 42
"""


@pytest.fixture
def read(tmp_path):
    for name in ("elevation.tif", "field.geojson"):
        (tmp_path / name).touch()

    def read(text):
        path = tmp_path / "site.toml"
        path.write_text(LEAST + text, encoding="utf-8")
        return request_from_file(read_site_file(path))

    return read


@pytest.fixture
def mistakes(read):
    def find(text):
        with pytest.raises(ConfigError) as caught:
            read(text)
        return list(caught.value.mistakes)

    return find


class TestRight:
    def test_the_sections_of_the_demo_come_through_as_plain_values(self, read):
        request = read(DEMO)
        assert request.need == {"pear": 900.0, "plum": 700.0, "apple": 1000.0}
        assert request.limits["money"] == (2400.0, 2400.0, 1800.0, 1200.0)
        assert request.limits["mulch_m3"] == (18.0,)
        assert request.limits["by_year"] == 9
        assert request.prices == {"mound": 42.0}

    def test_what_is_not_named_is_left_out_so_that_defaults_are_told_apart(self, read):
        request = read("")
        assert (request.need, request.limits, request.prices) == ({}, {}, {})
        request = read("[limits]\nsnow_m = 0.3\n")
        assert request.limits == {"snow_m": 0.3}

    def test_a_fruit_may_be_a_table_of_kilograms_use_and_group(self, read):
        text = '[need]\npear = {kg = 900, use = "dried", group = "autumn"}\n'
        assert read(text).need == {
            "pear": {"kg": 900.0, "use": "dried", "group": "autumn"}
        }

    def test_a_list_by_year_may_hold_zeros(self, read):
        assert read("[limits]\nmoney = [0, 100]\n").limits["money"] == (0.0, 100.0)

    def test_prices_of_edges_are_a_table_that_keeps_the_others(self, read):
        request = read('[prices]\nedge_price = {steel = 9, "animal run" = 1}\n')
        prices = read_terms(Prices, request.prices)
        assert prices.edge_price["steel"] == 9
        assert prices.edge_price["animal run"] == 1
        assert (
            prices.edge_price["untreated board"]
            == Prices().edge_price["untreated board"]
        )

    def test_a_fruit_of_the_growers_own_folder_may_be_needed(self, read, tmp_path):
        own = tmp_path / "own"
        own.mkdir()
        factor = (
            '[[factor]]\nlayer = "slope"\ncurve = "falling"\npoints = [10, 20]\n'
            'lack = "with conditions"\nsay = "{value}"\n'
        )
        text = f'name = "medlar"\nspacing_m = 4\nrow_spacing_m = 5\n{factor}'
        (own / "medlar.toml").write_text(text, encoding="utf-8")
        request = read('[fruit]\nfolder = "own"\n[need]\nmedlar = 10\n')
        assert request.need == {"medlar": 10.0}

    def test_the_sections_are_frozen(self):
        for section in (NeedSection(), LimitsSection(), PricesSection()):
            with pytest.raises(ValueError, match="frozen"):
                section.day = 3


class TestMistakes:
    def test_an_unknown_key_names_the_nearest(self, mistakes):
        (said,) = mistakes("[limits]\nmulch_m33 = 3\n")
        assert said == (
            'site.toml, line 5: unknown key "mulch_m33" in [limits]. '
            'Nearest: "mulch_m3".'
        )

    def test_an_unknown_fruit_names_the_nearest_key_or_fruit(self, mistakes):
        (said,) = mistakes("[need]\npeer = 3\n")
        assert said.startswith('site.toml, line 5: unknown key "peer" in [need].')
        assert 'Nearest: "pear".' in said

    def test_a_key_of_the_need_that_is_misspelt_names_the_key(self, mistakes):
        (said,) = mistakes("[need]\npeople_ = 3\n")
        assert 'Nearest: "people".' in said

    @pytest.mark.parametrize(
        ("section", "key"),
        [
            ("prices", "tree"),
            ("prices", "fence_m"),
            ("prices", "day"),
            ("limits", "money"),
            ("limits", "mulch_m3"),
            ("limits", "grass_creep_m"),
            ("need", "pear"),
            ("need", "people"),
        ],
    )
    def test_a_negative_number_is_refused(self, mistakes, section, key):
        (said,) = mistakes(f"[{section}]\n{key} = -1\n")
        assert said.startswith(f"site.toml, line 5: {key} in [{section}] is -1; ")
        assert "not below 0" in said

    def test_a_negative_price_of_an_edge_is_refused(self, mistakes):
        (said,) = mistakes("[prices]\nedge_price = {steel = -3}\n")
        assert "not below 0" in said

    @pytest.mark.parametrize(
        ("line", "wanted"),
        [
            ('money = "much"', "a number is wanted"),
            ("money = []", "a list with one for each year"),
            ("money = [100, nan]", "a number is wanted"),
            ("money = true", "a number is wanted"),
            ("years = 2.5", "a whole number is wanted"),
            ("years = 0", "from 1 to 20"),
            ('edge = "concrete"', '"steel"'),
            ('mulch_shape = "star"', '"disc"'),
            ("mulch_depth_m = 0.0", "from 0.02 to 1"),
        ],
    )
    def test_a_limit_of_a_wrong_kind_says_what_is_wanted(self, mistakes, line, wanted):
        (said,) = mistakes(f"[limits]\n{line}\n")
        assert wanted in said

    def test_an_edge_that_is_not_known_names_the_nearest(self, mistakes):
        (said,) = mistakes("[prices]\nedge_days = {steal = 3}\n")
        assert 'Nearest: "steel"' in said

    def test_a_table_of_edges_that_is_a_number_is_told(self, mistakes):
        (said,) = mistakes("[prices]\nedge_price = 3\n")
        assert "a table of numbers by name is wanted" in said

    def test_a_use_that_is_not_known_lists_the_uses(self, mistakes):
        (said,) = mistakes('[need]\npear = {kg = 3, use = "wine"}\n')
        assert "fresh, stored, juice, dried" in said

    @pytest.mark.parametrize("value", ['{use = "dried"}', "{kg = 3, sort = 1}"])
    def test_a_table_of_a_fruit_without_kilograms_is_told(self, mistakes, value):
        (said,) = mistakes(f"[need]\npear = {value}\n")
        assert 'kilograms, or a table as {kg = 900, use = "dried"}, is wanted' in said

    def test_all_mistakes_are_told_at_once(self, mistakes):
        assert (
            len(mistakes("[limits]\nmoney = -1\nmulch = 3\n[prices]\nday = -1\n")) == 3
        )


class TestTerms:
    @pytest.mark.parametrize("kind", [Need, Limits, Prices])
    def test_every_key_has_a_default_within_its_bounds_and_a_source(self, kind):
        for name, (default, setting) in terms_of(kind).items():
            values = default.values() if isinstance(default, dict) else [default]
            for value in values:
                if isinstance(value, int | float):
                    assert setting.low <= value <= setting.high, name
                elif isinstance(value, str):
                    assert value in setting.choices, name
            assert setting.source
            assert setting.text.endswith(".")

    def test_tables_of_edges_name_every_edge(self):
        prices = Prices()
        for table in (
            prices.edge_price,
            prices.edge_days,
            prices.edge_years,
            prices.edge_holds,
        ):
            assert tuple(table) == EDGES

    def test_a_section_has_the_keys_of_its_terms_with_their_sources(self):
        for section, kind in ((LimitsSection, Limits), (PricesSection, Prices)):
            fields = section.model_fields
            assert set(fields) == set(terms_of(kind))
            for name, (_, setting) in terms_of(kind).items():
                assert fields[name].description == describe(setting)
                assert "Source: common practice, no source" in describe(setting)

    def test_what_a_fruit_is_wanted_of_is_read_in_both_forms(self):
        assert read_wanted(3) == 3.0
        assert read_wanted({"kg": 3}) == {"kg": 3.0}

    def test_a_number_for_a_list_by_year_is_a_list_of_one(self):
        assert read_terms(Limits, {"money": 5}).money == (5.0,)
        assert read_terms(Limits, {"money": (5.0, 6.0)}).money == (5.0, 6.0)

    def test_every_key_of_the_need_that_is_no_term_is_a_fruit(self):
        need = read_terms(Need, {"cull": 0.1, "plum": 3, "pear": {"kg": 2}})
        assert need.cull == 0.1
        assert need.fruit == {"plum": 3, "pear": {"kg": 2}}
