"""The contractor's pack: seconds and pages by the number of plants and blocks."""

import re
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from time import perf_counter

import numpy as np
import pandas as pd
import shapely
import xarray as xr
from geopandas import GeoDataFrame
from pyproj import CRS
from telling import say

from sitekit.grid import Grid
from sitekit.handover import write_handover
from sitekit.planting.block_marks import place_block_marks, tape_blocks
from sitekit.planting.setting_out import make_setting_out
from sitekit.results import Answer, Baseline, PlantingPlan, Survey
from sitekit.site import VECTORS, ElevationModel, Site

UTM = CRS.from_epsg(32633)
WEST, SOUTH = 500_000.0, 5_130_000.0
ROWS, NUMBERS, SPACING = 10, 10, 5.0
DAY = date(2026, 11, 25)


def frame(columns, shapes=()):
    """A frame on the grid, empty where no shapes are given."""
    data = columns if isinstance(columns, dict) else {name: [] for name in columns}
    return GeoDataFrame(data, geometry=list(shapes), crs=UTM)


def make_site():
    """Level ground of 600 by 600 m, and nothing on it."""
    grid = Grid(UTM, WEST, SOUTH + 600, 5.0, (120, 120))
    heights = np.full(grid.shape, 700.0, np.float32)
    nowhere = np.zeros(grid.shape, bool)
    return Site(
        name="Benchmark",
        grid=grid,
        elevation=heights,
        ground=heights,
        model=ElevationModel(("made",), 5.0, "ground", 0.1),
        field=frame({"name": [""]}, [shapely.box(*grid.bounds)]),
        field_mask=~nowhere,
        water_mask=nowhere,
        canopy_height=np.zeros(grid.shape, np.float32),
        evergreen=nowhere,
        vectors={name: frame(["name", "certainty"]) for name in VECTORS},
    )


def make_plants(blocks):
    """Blocks of a hundred trees each, five blocks beside each other."""
    found = []
    for block in range(blocks):
        x, y = WEST + 20 + 70 * (block % 5), SOUTH + 20 + 70 * (block // 5)
        for row in range(ROWS):
            for number in range(NUMBERS):
                name = f"{block + 1}-{row + 1}-{number + 1:02d}"
                place = shapely.Point(x + number * SPACING, y + row * SPACING)
                found.append((name, str(block + 1), row + 1, number + 1, place))
    table = pd.DataFrame(found, columns=["id", "block", "row", "number", "geometry"])
    return GeoDataFrame(
        table.assign(fruit="pear", year=1), geometry="geometry", crs=UTM
    )


def make_plan(blocks):
    """A plan of plants and rows alone."""
    plants = make_plants(blocks)
    ends = ((WEST + 10, SOUTH + 10), (WEST + 200, SOUTH + 10))
    baseline = Baseline(("nail", "bolt"), ends, (700.0, 700.0), 0.02, True)
    lines = [
        shapely.LineString(shapely.get_coordinates(row.geometry))
        for _, row in plants.groupby(["block", "row"])
    ]
    site = make_site()
    fence = frame(["id", "kind", "block", "length_m"])
    holes = frame(["id", "order", "block", "decides"])
    marks = place_block_marks(site, plants, baseline)
    names = ["year", "item", "quantity", "unit", "price", "cost", "source"]
    return PlantingPlan(
        rows=frame({"row": range(len(lines))}, lines),
        plants=plants,
        lanes=frame(["kind", "width_m"]),
        fence=fence,
        test_holes=holes,
        setting_out=make_setting_out(
            site, baseline, plants, fence, holes, [("control mark", marks)]
        ),
        baseline=baseline,
        block_marks=marks,
        block_tapes=tape_blocks(plants, marks, baseline),
        need=pd.DataFrame(),
        quantities=pd.DataFrame(columns=names),
        edges=pd.DataFrame(),
        years=pd.DataFrame(),
        sentences=(),
        missing={},
    )


def make_survey(blocks):
    """A survey that holds its plan and little else."""
    return Survey(
        site=make_site(),
        layers=xr.Dataset(),
        spots=frame(["spot"]),
        blocks=frame(["block"]),
        fruit_by_block=pd.DataFrame(),
        frost_pockets=frame(["pocket"]),
        cold_air_paths=frame(["catchment_ha"]),
        contours=frame(["elevation_m"]),
        existing_trees=frame(["fruit"]),
        notes=frame(["text"]),
        answer=Answer("", "", "", "", "", (), (), (), (), "", ()),
        absent={},
        seconds={},
        plan=make_plan(blocks),
    )


def count_pages(path):
    """Pages of a PDF, by what it says itself."""
    return max(map(int, re.findall(rb"/Count (\d+)", path.read_bytes())))


def run():
    """Time the pack for 5, 10 and 20 blocks."""
    for blocks in (1, 5, 10, 20):
        survey = make_survey(blocks)
        with TemporaryDirectory() as place:
            begun = perf_counter()
            files = write_handover(survey, Path(place), today=DAY)
            seconds = perf_counter() - begun
            pages = sum(count_pages(path) for path in files if path.suffix == ".pdf")
            size = sum(path.stat().st_size for path in files) / 1e6
        say(
            f"{blocks:3d} blocks, {len(survey.plan.plants)} plants: {seconds:6.2f} s, "
            f"{pages} pages, {size:.1f} MB"
        )
