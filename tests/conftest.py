"""Factories that the tests share: grids, surfaces, and a small made-up survey."""

import os
from pathlib import Path

import hypothesis
import numpy as np
import pandas as pd
import pytest
import shapely
import xarray as xr
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from pyproj import CRS

from sitekit.grid import Grid
from sitekit.results import Answer, Measure, Survey
from sitekit.site import VECTORS, ElevationModel, Reference, Remark, Site

UTM = CRS.from_epsg(32633)

# No test depends on the clock: another job on the machine must fail none.
hypothesis.settings.register_profile("house", deadline=None)
hypothesis.settings.load_profile("house")


ROOT = Path(__file__).parents[1]
#: Where measured data may lie; a variable of the environment stands above the others.
OBSERVATIONS = (
    Path(os.environ.get("SITEKIT_OBSERVATIONS", ROOT / "observations")),
    ROOT.parent / "shared" / "observations",
    ROOT / "shared" / "observations",
)


@pytest.fixture(scope="session")
def observations():
    """Folder of a measured data set by its name; skips aloud where it is absent."""

    def find(name: str) -> Path:
        for place in OBSERVATIONS:
            if (place / name).is_dir():
                return place / name
        pytest.skip(f"NOT TESTED against measured data: no folder {name}")

    return find


def make_grid(rows: int = 60, columns: int = 80, cell_size: float = 5.0) -> Grid:
    return Grid(
        UTM, 500_000.0, 5_130_000.0 + rows * cell_size, cell_size, (rows, columns)
    )


def plane(
    grid: Grid, east: float, north: float, base: float = 100.0
) -> NDArray[np.float32]:
    """A plane that rises by `east` and `north` metres a metre."""
    x = grid.eastings - grid.west
    y = grid.northings - grid.bounds[1]
    return (base + east * x[None, :] + north * y[:, None]).astype(np.float32)


def frame(columns: dict[str, list[object]], geometry: list[object]) -> GeoDataFrame:
    return GeoDataFrame(columns, geometry=geometry, crs=UTM)


@pytest.fixture
def small_survey() -> Survey:
    """A survey made up by hand, for the tests of the writers: no science in it."""
    return make_survey()


def make_survey() -> Survey:
    grid = make_grid(120, 160, 5.0)
    w, s, e, _ = grid.bounds
    elevation = plane(grid, 0.0, 0.08, 700.0)
    elevation += (-3 * np.exp(-(((np.arange(160) - 90) / 8) ** 2)))[None, :].astype(
        np.float32
    )
    water = np.zeros(grid.shape, bool)
    water[100:, :] = True
    elevation[water] = 705.0
    field = frame(
        {"name": ["Low Meadow", 'Upper <img src=x onerror="alert(1)"> Bank']},
        [
            shapely.box(w + 150, s + 110, w + 650, s + 250),
            shapely.box(w + 150, s + 300, w + 650, s + 500),
        ],
    )
    field_mask = np.zeros(grid.shape, bool)
    field_mask[70:98, 30:130] = True
    field_mask[20:60, 30:130] = True
    empty = {name: frame({}, []) for name in VECTORS}
    empty["services"] = frame({"kind": [], "certainty": []}, [])
    empty["water"] = frame(
        {"name": ["Still Mere"], "depth_m": [8.0], "ice_out": [None], "ice_in": [None]},
        [shapely.box(w, s, e, s + 100)],
    )
    empty["barriers"] = frame(
        {"name": [""], "kind": ["hedge"], "height_m": [3.5], "openness": [0.14]},
        [shapely.LineString([(w + 150, s + 260), (w + 650, s + 262)])],
    )
    empty["no_go"] = frame(
        {"name": ["spring"], "reason": ["spring that feeds the trough"]},
        [shapely.Point(w + 300, s + 400).buffer(12)],
    )
    empty["existing_trees"] = frame(
        {"fruit": ["pear"], "condition": ["thriving"], "name": [""]},
        [shapely.Point(w + 500, s + 420)],
    )
    empty["notes"] = frame(
        {"date": ["2025-05-12"], "kind": ["fog"], "text": ["fog lay here at dawn"]},
        [shapely.Point(w + 250, s + 150)],
    )
    site = Site(
        name="Test Holding",
        grid=grid,
        elevation=elevation,
        ground=elevation,
        model=ElevationModel(("elevation.tif",), 5.0, "ground", 0.1),
        field=field,
        field_mask=field_mask,
        water_mask=water,
        canopy_height=np.zeros(grid.shape, np.float32),
        evergreen=np.zeros(grid.shape, bool),
        vectors=empty,
        given=frozenset({"water", "barriers", "no_go", "existing_trees", "notes"}),
        reference=Reference("the house", w + 400, s + 520),
        remarks=(
            Remark("read", "elevation.tif", "5 m, 0.8 × 0.6 km"),
            Remark(
                "doubtful", "barriers", "openness of 1 hedge is not given; 0.3 is used"
            ),
            Remark(
                "missing", "ground_tests", "would let blocks be judged for drainage"
            ),
        ),
        fruit=("apple", "pear"),
        settings={},
        inputs={"elevation.tif": "0" * 64},
    )
    return Survey(
        site=site,
        layers=_layers(grid, elevation, field_mask),
        spots=_spots(w, s),
        blocks=_blocks(w, s),
        fruit_by_block=_fruit_by_block(),
        frost_pockets=frame(
            {
                "pocket": [1],
                "depth_m": [2.4],
                "area_m2": [9000.0],
                "spill_elevation_m": [712.4],
                "offset_degc": [np.nan],
                "cause": ["behind a barrier: hedge, 3.5 m"],
            },
            [shapely.box(w + 160, s + 262, w + 500, s + 290)],
        ),
        cold_air_paths=frame(
            {"catchment_ha": [0.7, 3.0, 6.0]},
            [
                shapely.LineString([(w + 450, s + 580), (w + 450, s + 400)]),
                shapely.LineString([(w + 450, s + 400), (w + 455, s + 270)]),
                shapely.LineString([(w + 455, s + 270), (w + 460, s + 120)]),
            ],
        ),
        contours=frame(
            {"elevation_m": [float(z) for z in range(710, 748, 2)]},
            [
                shapely.LineString(
                    [(w, s + (z - 700) / 0.08), (e, s + (z - 700) / 0.08)]
                )
                for z in range(710, 748, 2)
            ],
        ),
        existing_trees=frame(
            {
                "fruit": ["pear"],
                "condition": ["thriving"],
                "site_class": ["with conditions"],
                "score": [62.0],
                "verdict": ["agrees"],
                "reason": ["with conditions where it stands; it thrives"],
            },
            [shapely.Point(w + 500, s + 420)],
        ),
        notes=frame(
            {
                "date": ["2025-05-12"],
                "kind": ["fog"],
                "text": ["fog lay here at dawn"],
                "verdict": ["agrees"],
                "reason": ["the map holds 1.2 m of cold air here"],
            },
            [shapely.Point(w + 250, s + 150)],
        ),
        answer=Answer(
            headline="Start with block 1, Upper Bank: pears and apples.",
            where="Block 1, Upper Bank, 1.5 ha, with conditions: no cold air is held here.",
            fruit="Pears and apples; drainage is not tested.",
            not_there="Low Meadow is refused: cold air lies 2.4 m deep.",
            stamp="From terrain only. No thermometer has stood on this ground yet.",
            measures=(
                Measure(
                    "Two test holes in block 1",
                    "They decide whether it may be called good.",
                ),
                Measure(
                    "Two thermometers",
                    "One on the lowest ground, one 20 to 40 m above it.",
                ),
            ),
            unknowns=("Drainage of blocks 1 and 2: no hole has been dug.",),
            contradictions=(),
            agreements=("The note of fog on 12 May 2025 fits the held cold air.",),
            resolution="This elevation shows hollows at least 15 m wide and 0.2 m deep.",
            cautions=("No class here means that there is no frost.",),
        ),
        absent={"last_spring_frost": "records"},
        seconds={"layers": 1.2, "spots": 0.3},
    )


def _layers(
    grid: Grid, elevation: NDArray[np.float32], inside: NDArray[np.bool_]
) -> xr.Dataset:
    rows, columns = np.indices(grid.shape)
    made = {
        "elevation": (elevation, "m", "height of the ground"),
        "slope": (np.full(grid.shape, 4.6), "degree", "slope"),
        "pooling_depth": (np.clip((rows - 80) / 10.0, 0, 5), "m", "cold air held"),
        "relative_height": (60.0 - rows / 2, "m", "height above the low ground"),
        "sunshine_hours_ripening": (3 + columns / 30.0, "h", "sun hours a day"),
        "wind_exposure": (np.clip(rows / 120.0, 0, 1), "1", "wind"),
        "wetness_index": (4 + columns / 20.0, "1", "wetness"),
        "distance_to_water": ((100 - rows) * 5.0, "m", "distance to the water"),
    }
    for fruit, shift in (("apple", 0), ("pear", 10)):
        score = np.clip(90 - rows + shift, 0, 100).astype(float)
        code = np.digitize(score, [1, 20, 40]).astype(np.uint8)
        made[f"score_{fruit}"] = (np.where(inside, score, np.nan), "of 100", "score")
        made[f"site_class_{fruit}"] = (
            np.where(inside, code, 255).astype(np.uint8),
            "code",
            "site class",
        )
    return xr.Dataset(
        {
            name: grid.wrap(
                values if values.dtype == np.uint8 else values.astype(np.float32),
                name,
                units=units,
                long_name=text,
                reference="",
            )
            for name, (values, units, text) in made.items()
        }
    )


def _spots(w: float, s: float) -> GeoDataFrame:
    rows = [
        (fruit, i, w + 200 + 30 * (i % 14), s + 310 + 30 * (i // 14), score)
        for fruit, score in (("apple", 55.0), ("pear", 62.0))
        for i in range(84)
    ]
    return frame(
        {
            "spot": [f"{f}-01-{i + 1:03d}" for f, i, *_ in rows],
            "block": [1 for _ in rows],
            "row": [None for _ in rows],
            "fruit": [r[0] for r in rows],
            "score": [r[4] if i % 7 else 0.0 for i, r in enumerate(rows)],
            "site_class": [
                "with conditions" if i % 7 else "refused" for i in range(len(rows))
            ],
            "limiting_factor": ["sunshine_hours_ripening" for _ in rows],
            "reason": [
                "Sun 6 h a day while fruit ripens; drainage not tested." for _ in rows
            ],
            "slope_pct": [8.0 for _ in rows],
            "aspect_deg": [180.0 for _ in rows],
            "frost_night_offset_degc": [np.nan for _ in rows],
            "poor_crop_years": [np.nan for _ in rows],
            "confidence": ["fair" for _ in rows],
            "easting_m": [r[2] for r in rows],
            "northing_m": [r[3] for r in rows],
            "elevation_m": [720.0 for _ in rows],
        },
        [shapely.Point(r[2], r[3]) for r in rows],
    )


def _blocks(w: float, s: float) -> GeoDataFrame:
    shapes = {
        1: ("Upper Bank", shapely.box(w + 150, s + 330, w + 650, s + 500)),
        2: ("Upper Bank", shapely.box(w + 150, s + 300, w + 650, s + 330)),
        3: ("Low Meadow", shapely.box(w + 150, s + 110, w + 650, s + 250)),
    }
    classes = {1: "with conditions", 2: "test first", 3: "refused"}
    rows = [(b, f) for b in shapes for f in ("apple", "pear")]
    return frame(
        {
            "block": [b for b, _ in rows],
            "name": [shapes[b][0] for b, _ in rows],
            "fruit": [f for _, f in rows],
            "rank": [b for b, _ in rows],
            "area_m2": [shapes[b][1].area for b, _ in rows],
            "site_class": [classes[b] for b, _ in rows],
            "score": [{1: 60.0, 2: 40.0, 3: 0.0}[b] for b, _ in rows],
            "limiting_factor": ["pooling_depth" for _ in rows],
            "reason": [
                {
                    1: "Sun 6 h a day while fruit ripens; drainage not tested.",
                    2: "Slope 0.5 %: water may stand; drainage not tested.",
                    3: "Cold air lies 2.4 m deep on a still night.",
                }[b]
                for b, _ in rows
            ],
            "confidence": ["fair" for _ in rows],
            "year": [None for _ in rows],
            "trees": [None for _ in rows],
            "mulch_m3": [np.nan for _ in rows],
        },
        [shapes[b][1] for b, _ in rows],
    )


def _fruit_by_block() -> pd.DataFrame:
    classes = {1: "with conditions", 2: "test first", 3: "refused"}
    rows = [(b, f) for b in (1, 2, 3) for f in ("apple", "pear")]
    return pd.DataFrame(
        {
            "block": [b for b, _ in rows],
            "fruit": [f for _, f in rows],
            "group": ["" for _ in rows],
            "site_class": [classes[b] for b, _ in rows],
            "poor_crop_years": [np.nan for _ in rows],
            "low": [np.nan for _ in rows],
            "high": [np.nan for _ in rows],
            "ripening": [None for _ in rows],
            "winter": [None for _ in rows],
            "reason": ["Sun 6 h a day while fruit ripens." for _ in rows],
        }
    )
