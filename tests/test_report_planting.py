"""How far this year, in the report and in the files of a survey."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from geopandas import GeoDataFrame

from sitekit.report.document import make_report
from sitekit.report.planting import how_far, write_pay_back
from sitekit.results import Baseline, PlantingPlan
from sitekit.writing import no_rows, vector_layers, write_survey

DAY = date(2026, 11, 25)


@pytest.fixture
def plan(small_survey):
    """A plan of two trees, made up by hand."""
    crs = small_survey.site.grid.crs
    west, south, _, _ = small_survey.site.grid.bounds
    points = [shapely.Point(west + 300 + 4 * n, south + 350) for n in range(2)]
    line = shapely.LineString(points)
    return PlantingPlan(
        rows=GeoDataFrame(
            {
                "block": ["1"], "row": [1], "fruit": ["apple"], "group": ["autumn"],
                "bearing_deg": [90.0], "spacing_m": [4.0], "row_spacing_m": [5.0],
                "plants": [2], "length_m": [4.0],
            },
            geometry=[line], crs=crs,
        ),
        plants=GeoDataFrame(
            {
                "id": ["1-01-01", "1-01-02"], "block": "1", "row": 1, "number": [1, 2],
                "fruit": "apple", "group": "autumn", "year": [1, 2], "partner": "",
                "partner_m": np.nan, "lonely": True,
            },
            geometry=points, crs=crs,
        ),
        lanes=GeoDataFrame({"kind": [], "width_m": []}, geometry=[], crs=crs),
        fence=GeoDataFrame(
            {
                "id": ["F1", "F1-C01"], "kind": ["fence line", "fence corner"],
                "block": "1", "length_m": [4.0, 0.0],
            },
            geometry=[line, points[0]], crs=crs,
        ),
        test_holes=GeoDataFrame(
            {"id": ["T1"], "order": [1], "block": [1], "decides": ["much"]},
            geometry=[points[0]], crs=crs,
        ),
        setting_out=pd.DataFrame(
            {
                "id": ["A", "1-01-01"], "what": ["control mark", "tree, apple"],
                "easting_m": [west, west + 300], "northing_m": [south, south + 350],
                "level_m": [700.0, np.nan], "from_a_m": [0.0, 461.0],
                "from_b_m": [10.0, 470.0], "tolerance_m": [0.02, 0.1],
            }
        ),
        baseline=Baseline(
            ("A", "B"), ((west, south), (west + 10, south)), (700.0, 700.0), 0.02, True
        ),
        block_marks=GeoDataFrame({"id": [], "block": []}, geometry=[], crs=crs),
        block_tapes=pd.DataFrame(columns=["id", "mark_1", "mark_2"]),
        need=pd.DataFrame({"fruit": ["apple"]}),
        quantities=pd.DataFrame(
            {
                "year": [1], "item": ["young apple"], "quantity": [2.0],
                "unit": ["piece"], "price": [22.0], "cost": [44.0], "source": ["given"],
            }
        ),
        edges=pd.DataFrame(
            {
                "edge": ["steel"], "price_m": [12.0], "days_m": [0.003],
                "mulch_saved_m3": [2.4], "cost": [192.0], "pays_back_years": [np.inf],
                "source": ["common practice, no source"],
            }
        ),
        years=pd.DataFrame(
            {
                "year": [1, 2], "blocks": ["1", ""], "area_m2": [12.0, 0.0],
                "kept_m2": [0.0, 12.0], "trees": [2, 0], "money": [104.0, 0.0],
                "mulch_m3": [4.8, 1.6], "days": [1.0, 0.5],
                "binding": ["mulch of that year", "mulch of that year"],
                "ceiling_m2": [450.0, 450.0],
            }
        ),
        sentences=("This year 2 trees on 12 m² of mulch", "Rule: older ground first."),
        missing={"snow_m": "Usual snow is assumed 0.3 m"},
    )  # fmt: skip


@pytest.fixture
def planned(small_survey, plan):
    return replace(small_survey, plan=plan)


class TestSection:
    def test_sentences_stand_before_the_tables(self, planned):
        text = "".join(how_far(planned))
        assert "<li>This year 2 trees on 12\u00a0m² of mulch.</li>" in text
        assert text.index("This year") < text.index("What stops it")

    def test_each_year_is_a_row_with_what_stops_it(self, planned):
        text = "".join(how_far(planned))
        assert text.count("<td>mulch of that year</td>") == 2
        assert "<td>none</td>" in text

    def test_edges_are_told_with_their_open_question(self, planned):
        text = "".join(how_far(planned))
        assert "not while it lasts" in text
        assert "open question of the trade" in text

    def test_what_the_plan_lacks_is_listed(self, planned):
        text = "".join(how_far(planned))
        assert "<h3>The plan lacks</h3>" in text
        assert "Usual snow is assumed 0.3\u00a0m." in text

    def test_a_plan_that_plants_nothing_has_no_table_of_years(self, planned, plan):
        nothing = replace(plan, years=plan.years.assign(trees=0))
        text = "".join(how_far(replace(planned, plan=nothing)))
        assert "What stops it" not in text

    def test_without_a_question_it_says_what_to_name(self, small_survey):
        (text,) = how_far(small_survey)
        assert "[need]" in text
        assert "[limits]" in text

    def test_without_ground_it_says_what_it_lacks(self, small_survey):
        site = replace(small_survey.site, need={"apple": 100.0})
        (text,) = how_far(replace(small_survey, site=site))
        assert "no hand-over pack: no block is better than test first" in text
        assert "Dig the test holes" in text

    def test_the_report_has_the_section(self, planned, small_survey):
        for survey in (planned, small_survey):
            assert "<h2>How far</h2>" in make_report(survey, today=DAY)

    def test_texts_are_escaped(self, planned, plan):
        wild = replace(plan, sentences=("<b>x</b>",))
        assert "<b>x</b>" not in "".join(how_far(replace(planned, plan=wild)))

    @pytest.mark.parametrize(
        ("years", "said"),
        [
            (0.0, "at once"),
            (2.25, "2.2\u00a0years"),
            (np.inf, "not while it lasts"),
            (np.nan, "not known"),
        ],
    )
    def test_pay_back_is_written_for_people(self, years, said):
        assert write_pay_back(years) == said


class TestFiles:
    def test_layers_of_the_plan_are_written(self, planned, tmp_path):
        folder = write_survey(planned, tmp_path / "out", today=DAY)
        layers = dict(pyogrio.list_layers(folder / "site.gpkg"))
        assert layers["rows"] == "LineString"
        assert layers["setting_out"] == "Point"
        assert layers["test_holes"] == "Point"
        assert layers["fence"] == "LineString"
        rows = pyogrio.read_dataframe(folder / "site.gpkg", layer="rows")
        assert rows["fruit"].tolist() == ["apple"]

    def test_corners_of_a_fence_stand_in_the_setting_out_alone(self, planned):
        fence = vector_layers(planned)["fence"]
        assert fence["kind"].tolist() == ["fence line"]

    def test_quantities_and_years_are_tables_of_the_hand_over(self, planned, tmp_path):
        folder = write_survey(planned, tmp_path / "out", today=DAY)
        quantities = pd.read_csv(folder / "handover" / "quantities.csv")
        years = pd.read_csv(folder / "handover" / "plan_years.csv")
        assert quantities.columns.tolist() == planned.plan.quantities.columns.tolist()
        assert years["trees"].tolist() == [2, 0]

    def test_without_a_plan_rows_are_empty_with_their_columns(
        self, small_survey, planned, tmp_path
    ):
        folder = write_survey(small_survey, tmp_path / "out", today=DAY)
        rows = pyogrio.read_dataframe(folder / "site.gpkg", layer="rows")
        assert rows.empty
        wanted = set(vector_layers(planned)["rows"].columns)
        assert set(no_rows(small_survey.site.grid.crs).columns) == wanted
        assert not (folder / "handover").exists()

    def test_a_survey_with_a_plan_replaces_one_without(
        self, small_survey, planned, tmp_path
    ):
        write_survey(planned, tmp_path / "out", today=DAY)
        folder = write_survey(small_survey, tmp_path / "out", today=DAY)
        assert not (folder / "handover").exists()
