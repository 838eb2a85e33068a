"""The years of a record in the report: one page of why, and every group in full."""

import re
from dataclasses import replace
from datetime import date
from html import unescape

import numpy as np
import pandas as pd
import pytest

from sitekit.report.blocks import list_blocks
from sitekit.report.document import make_report
from sitekit.report.years import years_in_full, years_of_ten
from sitekit.results import Survey, YearsTold

TODAY = date(2026, 11, 25)
SENTENCES = (
    "Record “the farm”: 30 complete years, 1996 to 2025.",
    "Last frost (0 °C) at the station: in 1 year of ten after 7 May.",
)
STANDS = "stands the winter (−16\u00a0°C once in 30 years)"
LATE = "ripens in 6 years of ten: the days run out, though the warmth suffices"


def bloom(block):
    year = np.arange(1996, 2026)
    return pd.DataFrame(
        {
            "block": block,
            "year": year,
            "opens": 105.0,
            "full_bloom": 108.0,
            "falls": 114.0,
            "last_frost": 100.0 + year % 9,
            "poor": year % 10 == 0,
        }
    )


def told(blocks=(1, 3)):
    places = [
        {
            "block": block,
            "group": "autumn",
            "still_degc": still,
            "full_bloom": 110.5,
            "last_frost": frost,
            "poor": poor,
            "years": 30,
            "halves": "Poor crops by the two halves of the record: "
            f"{poor} of 15 (1996 to 2010), {poor} of 15 (2011 to 2025).",
        }
        for block, still, frost, poor in ((1, 0.4, 99.0, 1), (3, -3.3, 120.0, 8))
        if block in blocks
    ]
    return YearsTold(
        station="the farm",
        last_frosts=pd.DataFrame(
            {"year": [2024, 2025], "day": [121.0, np.nan], "later": [3.3, np.nan]}
        ),
        last_frost_law=pd.DataFrame(
            {"day": [90.0, 130], "later": [9.0, 1], "low": [8.0, 0], "high": [10.0, 3]}
        ),
        nights=pd.DataFrame({"degc": [-1, 0], "clear": [1.0, 2], "other": [0.0, 1]}),
        fruit="pear",
        places=pd.DataFrame(places),
        bloom=pd.concat([bloom(b) for b in blocks]),
    )


def group(block, fruit, name, site_class, poor, ripening="ripens in 10 years of ten"):
    return {
        "block": block,
        "fruit": fruit,
        "group": name,
        "site_class": site_class,
        "poor_crop_years": poor,
        "low": max(poor - 1, 0.0),
        "high": poor + 2.4,
        "ripening": ripening,
        "winter": STANDS,
        "reason": f"the {name} {fruit} is {site_class}",
    }


def table():
    rows = []
    for block, site_class, poor in (
        (1, "with conditions", 0.3),
        (2, "test first", 1.3),
        (3, "refused", 5.8),
    ):
        for fruit in ("apple", "pear"):
            rows += [
                group(block, fruit, "autumn", site_class, poor),
                group(block, fruit, "early", site_class, poor + 0.1),
                group(block, fruit, "keeper", "refused", poor, LATE),
            ]
    return pd.DataFrame(rows)


@pytest.fixture
def counted(small_survey: Survey) -> Survey:
    answer = replace(small_survey.answer, years=SENTENCES)
    return replace(small_survey, answer=answer, years=told(), fruit_by_block=table())


def cells(markup: str, class_: str) -> list[list[str]]:
    """The body of a table, cell by cell, as it reads."""
    body = markup.split(f'class="scrolls {class_}"')[1].split("<tbody>")[1]
    body = body.split("</tbody>")[0]
    rows = re.findall(r"<tr>(.*?)</tr>", body)
    return [
        [unescape(re.sub("<.*?>", "", c)) for c in re.findall(r"<t[hd].*?</t[hd]>", r)]
        for r in rows
    ]


def headings(page: str) -> list[str]:
    return [unescape(h) for h in re.findall(r"<h2>(.*?)</h2>", page)]


def test_the_years_follow_which_fruit_where_on_a_page_of_their_own(counted):
    page = make_report(counted, today=TODAY)
    titles = headings(page)
    place = titles.index("Years of ten")
    assert titles[place - 1] == "Which fruit where"
    assert '<section class="new-page"><h2>Years of ten</h2>' in page
    assert "The years in full" in titles


def test_without_a_record_no_years_are_told(small_survey):
    page = make_report(small_survey, today=TODAY)
    assert "Years of ten" not in headings(page)
    assert "The years in full" not in headings(page)
    assert "From terrain only" in page
    assert "poor crop" not in page.lower()


def test_the_sentences_of_the_record_stand_first(counted):
    made = years_of_ten(counted, list_blocks(counted))
    items = re.findall(r"<li>(.*?)</li>", made)
    assert items == [text.replace(" °C", "\u00a0°C") for text in SENTENCES]
    assert made.index(items[1]) < made.index("<table")


def test_one_table_says_why_here_and_not_there(counted):
    made = years_of_ten(counted, list_blocks(counted))
    title = re.search(r"<h3>(.*?)</h3>", made)[1]
    assert title.startswith("Why pears go to block 1 Upper")
    assert title.endswith("and not to block 3 Low Meadow")
    rows = {name: both for name, *both in cells(made, "contrast")}
    assert rows["Class"] == ["with conditions", "refused"]
    assert rows["Why"] == [
        "The autumn pear is with conditions.",
        "The autumn pear is refused.",
    ]
    assert rows["Clear still night, against the station"] == [
        "+0.5\u00a0°C",
        "−3.5\u00a0°C",
    ]
    assert rows["Full bloom, middle year"] == ["20 April", "20 April"]
    assert rows["Poor crops, years in ten"] == [
        "under 1 (0\u00a0to\u00a03)",
        "6 (5\u00a0to\u00a08)",
    ]
    assert rows["Ripening"] == ["ripens in 10 years of ten"] * 2
    assert rows["Winter"] == [STANDS] * 2


def test_blocks_of_one_class_are_set_side_by_side_without_a_why(counted):
    blocks = counted.blocks.assign(site_class="with conditions")
    survey = replace(counted, blocks=blocks)
    made = years_of_ten(survey, list_blocks(survey))
    title = re.search(r"<h3>(.*?)</h3>", made)[1]
    assert title.startswith("Pears on block 1 Upper")
    assert title.endswith("and block 3 Low Meadow")
    assert "Why pears" not in made


def test_one_block_alone_is_told(counted):
    survey = replace(counted, years=told(blocks=(1,)))
    made = years_of_ten(survey, list_blocks(survey))
    assert len(cells(made, "contrast")[0]) == 2


def test_without_blocks_the_station_is_still_told(counted):
    survey = replace(counted, blocks=counted.blocks.iloc[:0])
    made = years_of_ten(survey, [])
    assert SENTENCES[0] in made
    assert "<table" not in made
    assert years_in_full(survey, []).count("<figure>") == 2


def test_the_halves_of_the_record_are_told_and_charts_have_words(counted):
    made = years_of_ten(counted, list_blocks(counted))
    assert "Block 3: poor crops by the two halves of the record: 8 of 15" in made
    for alt in re.findall(r'alt="(.*?)"', made):
        assert len(alt) > 40
    full = years_in_full(counted, list_blocks(counted))
    assert "1 of 2 springs had frost" in full
    assert full.count("<img") == 2


def test_groups_that_say_the_same_share_a_row_with_the_widest_range(counted):
    rows = cells(years_in_full(counted, list_blocks(counted)), "groups")
    block, groups, site_class, poor, ripens, winter = rows[0]
    assert block.startswith("1 Upper")
    assert groups == "Apple: autumn and early"
    assert site_class == "with conditions"
    assert poor == "under 1 (0\u00a0to\u00a03)"
    assert ripens == "10 years of ten"
    assert winter == STANDS
    assert rows[1] == [
        "1",
        "Apple: keeper",
        "refused",
        "under 1 (0\u00a0to\u00a03)",
        "6 years of ten: the days run out",
        "",
    ]


def test_a_fruit_whose_groups_are_all_alike_has_one_row(counted):
    frame = table()
    frame = frame[frame["group"] != "keeper"]
    survey = replace(counted, fruit_by_block=frame)
    rows = cells(years_in_full(survey, list_blocks(survey)), "groups")
    assert rows[0][1] == "Apple: every group"


def test_refused_ground_tells_the_usual_groups_only(counted):
    rows = cells(years_in_full(counted, list_blocks(counted)), "groups")
    meadow = [r for r in rows if r[0].startswith("3")]
    assert [r[1] for r in meadow] == ["Apple: autumn", "Pear: autumn"]


def test_a_fruit_without_groups_is_not_known_in_years(counted):
    frame = table()
    bare = frame["fruit"] == "pear"
    frame.loc[bare, ["poor_crop_years", "low", "high"]] = np.nan
    frame.loc[bare, ["group", "ripening", "winter"]] = None
    frame = frame.drop_duplicates(["block", "fruit"])
    survey = replace(counted, fruit_by_block=frame)
    rows = cells(years_in_full(survey, list_blocks(survey)), "groups")
    assert rows[1][1:] == [
        "Pear",
        "with conditions",
        "not known",
        "not known",
        "not known",
    ]


def test_words_of_others_stay_words(counted):
    hostile = '<img src=x onerror="alert(1)">'
    frame = table().assign(group=hostile, ripening=hostile, winter=hostile)
    years = replace(told(), station=hostile)
    survey = replace(counted, fruit_by_block=frame, years=years)
    page = make_report(survey, today=TODAY)
    assert "<img src=x" not in page
    assert "&lt;img src=x" in page


def test_the_report_with_years_is_the_same_every_time(counted):
    assert make_report(counted, today=TODAY) == make_report(counted, today=TODAY)
