"""The contractor's pack: what a stranger needs to set out the trees."""

import json
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
import shapely
from geopandas import GeoDataFrame

from sitekit.handover import write_handover
from sitekit.results import Baseline, PlantingPlan, Survey

DAY = date(2026, 11, 25)
BLOCKS = {
    "1": ("pear", (300.0, 310.0), 5.0),
    "2": ("blackcurrant", (300.0, 400.0), 2.0),
}
PARTS = (
    "1  Front sheet",
    "2  Control marks and baseline",
    "3  Setting-out list",
    "4  Drawings and details",
    "5  Quantities",
    "6  No-dig and no-drive ground",
    "7  Services",
    "8  Permits",
    "9  Hold points",
    "10  Stop rules",
    "11  Acceptance checks",
    "12  What the contractor writes back",
)


def make_plants(origin, blocks=BLOCKS, rows=2, numbers=10):
    """Plants in straight rows, so that every coordinate can be told by hand."""
    west, south = origin
    found = []
    for block, (fruit, (x, y), spacing) in blocks.items():
        for row in range(1, rows + 1):
            for number in range(1, numbers + 1):
                name = f"{block}-{row}-{number:02d}"
                place = shapely.Point(
                    west + x + (number - 1) * spacing, south + y + (row - 1) * 5.0
                )
                found.append((name, block, row, number, fruit, row, place))
    columns = ["id", "block", "row", "number", "fruit", "year", "geometry"]
    plants = pd.DataFrame(found, columns=columns)
    return plants.assign(group="autumn", partner="", partner_m=np.nan, lonely=False)


def as_frame(table, crs):
    return GeoDataFrame(table, geometry="geometry", crs=crs)


def make_rows(plants, crs):
    lines = [
        (
            block,
            row,
            part["fruit"].iloc[0],
            shapely.LineString(part["geometry"].tolist()),
        )
        for (block, row), part in plants.groupby(["block", "row"])
    ]
    return as_frame(
        pd.DataFrame(lines, columns=["block", "row", "fruit", "geometry"]), crs
    )


def make_fence(plants, crs):
    ring = shapely.MultiPoint(plants["geometry"].tolist()).envelope.buffer(
        3, join_style="mitre"
    )
    corners = list(ring.exterior.coords)[:-1]
    gate = shapely.LineString(corners[:2]).interpolate(0.5, normalized=True)
    shapes = [ring.exterior, *map(shapely.Point, corners), gate]
    return as_frame(
        pd.DataFrame(
            {
                "id": ["F1", *[f"F1-C{i:02d}" for i in range(1, 5)], "F1-G1"],
                "kind": ["fence line", *["fence corner"] * 4, "gate"],
                "block": "1 and 2",
                "length_m": [ring.length - 4, 0, 0, 0, 0, 4.0],
                "geometry": shapes,
            }
        ),
        crs,
    )


def make_setting_out(baseline, plants, fence, holes):
    bushes = ("blackcurrant",)
    rows = [
        (name, "control mark" if baseline.surveyed else "end of the baseline", *point)
        for name, point in zip(baseline.names, baseline.points, strict=True)
    ]
    rows += [
        (
            p.id,
            f"{'bush' if p.fruit in bushes else 'tree'}, {p.fruit}",
            p.geometry.x,
            p.geometry.y,
        )
        for p in plants.itertuples()
    ]
    for frame in (fence[fence["kind"] != "fence line"], holes):
        kinds = frame["kind"] if "kind" in frame else ["test hole"] * len(frame)
        rows += [
            (name, kind, shape.x, shape.y)
            for name, kind, shape in zip(
                frame["id"], kinds, frame.geometry, strict=True
            )
        ]
    table = pd.DataFrame(rows, columns=["id", "what", "easting_m", "northing_m"])
    table["level_m"] = 720.0 + 0.08 * (table["northing_m"] - 5_130_300.0)
    for name, (x, y) in zip(("from_a_m", "from_b_m"), baseline.points, strict=True):
        table[name] = np.hypot(table["easting_m"] - x, table["northing_m"] - y).round(2)
    table["tolerance_m"] = 0.10
    return table


def make_plan(survey, *, surveyed=True, blocks=BLOCKS, rows=2, numbers=10):
    grid = survey.site.grid
    west, south = grid.west, grid.bounds[1]
    plants = as_frame(make_plants((west, south), blocks, rows, numbers), grid.crs)
    fence = make_fence(plants, grid.crs)
    baseline = Baseline(
        ("nail in rock", "stone gatepost"),
        ((west + 285.0, south + 430.0), (west + 380.0, south + 300.0)),
        (734.4, np.nan),
        0.02 if surveyed else 3.0,
        surveyed,
    )
    holes = as_frame(
        pd.DataFrame(
            {
                "id": ["T1"],
                "order": [1],
                "block": ["1"],
                "decides": ["whether block 1 drains"],
                "geometry": [shapely.Point(west + 322, south + 317)],
            }
        ),
        grid.crs,
    )
    lanes = as_frame(
        pd.DataFrame(
            {
                "kind": ["cold-air lane", "headland"],
                "width_m": [7.0, 6.0],
                "geometry": [
                    shapely.box(west + 351, south + 300, west + 358, south + 420),
                    shapely.box(west + 290, south + 320, west + 350, south + 326),
                ],
            }
        ),
        grid.crs,
    )
    return PlantingPlan(
        rows=make_rows(plants, grid.crs),
        plants=plants,
        lanes=lanes,
        fence=fence,
        test_holes=holes,
        setting_out=make_setting_out(baseline, plants, fence, holes),
        baseline=baseline,
        need=pd.DataFrame({"fruit": ["pear"], "group": ["autumn"], "kg": [900.0]}),
        quantities=pd.DataFrame(
            {
                "year": [1, 1, 0],
                "item": ["tree, pear", "mulch, first lay", "fence"],
                "quantity": [20.0, 18.4, 240.0],
                "unit": ["tree", "m³", "m"],
                "price": [22.0, 0.0, 12.0],
                "cost": [440.0, 0.0, 2880.0],
                "source": ["common practice, no source"] * 3,
            }
        ),
        edges=pd.DataFrame(
            {
                "edge": ["spade-cut strip", "steel"],
                "price_m": [0.0, 12.0],
                "days_m": [0.008, 0.003],
                "mulch_saved_m3": [6.0, 5.4],
                "cost": [0.0, 1200.0],
                "pays_back_years": [1.0, np.inf],
                "source": ["common practice, no source"] * 2,
            }
        ),
        years=pd.DataFrame(
            {
                "year": [1, 2],
                "blocks": ["1", "2"],
                "area_m2": [200.0, 150.0],
                "kept_m2": [0.0, 200.0],
                "trees": [20, 20],
                "money": [900.0, 700.0],
                "mulch_m3": [80.0, 90.0],
                "days": [9.0, 8.0],
                "binding": ["mulch", "money"],
                "ceiling_m2": [450.0, 450.0],
            }
        ),
        sentences=("This year 20 trees on 200 m²: mulch is what binds.",),
        missing={"test holes": "no test hole was read; dig T1 and note how it drains"},
    )


def add_vectors(survey):
    """A main that crosses the rows, and its owner's word on it."""
    west, south = survey.site.grid.west, survey.site.grid.bounds[1]
    crs = survey.site.grid.crs
    services = GeoDataFrame(
        {
            "name": ["water main"],
            "kind": ["water"],
            "certainty": ["owner's sketch only, ± 2 m"],
        },
        geometry=[
            shapely.LineString([(west + 250, south + 345), (west + 420, south + 352)])
        ],
        crs=crs,
    )
    vectors = {**survey.site.vectors, "services": services}
    given = survey.site.given | {"services"}
    return replace(survey, site=replace(survey.site, vectors=vectors, given=given))


@pytest.fixture
def planned(small_survey: Survey) -> Survey:
    survey = add_vectors(small_survey)
    return replace(survey, plan=make_plan(survey))


@pytest.fixture
def pack(planned, tmp_path):
    write_handover(planned, tmp_path, today=DAY)
    return tmp_path
