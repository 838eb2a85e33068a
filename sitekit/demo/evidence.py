"""What the people of Averlow Shelf have seen: trees, notes, test holes, plans."""

from collections.abc import Sequence

import shapely
from geopandas import GeoDataFrame

from sitekit.demo.places import UNDERPASS, frame, points
from sitekit.demo.records import make_bloom

Seen = list[tuple[float, float, Sequence[object]]]

#: Two trees tell against the ground they stand on: the pear in the meadow, which
#: thrives, and the apple on the shelf, which is weak.
TREES: Seen = [
    (640, 504, ["shelf pear", "pear", "thriving", "1988"]),
    (668, 512, ["shelf plum", "plum", "thriving", "1996"]),
    (700, 498, ["long pear", "pear", "thriving", "1988"]),
    (590, 430, ["upper apple", "apple", "thriving", "1975"]),
    (640, 410, ["gate apple", "apple", "thriving", "1975"]),
    (884, 462, ["yard apple", "apple", "thriving", "1960"]),
    (214, 312, ["hedge plum", "plum", "dead", "1999"]),
    (262, 316, ["hedge pear", "pear", "dead", "1999"]),
    (470, 314, ["middle apple", "apple", "weak", "1999"]),
    (432, 512, ["dell apple", "apple", "weak", "2003"]),
    (700, 168, ["meadow plum", "plum", "dead", "2003"]),
    (650, 780, ["down apple", "apple", "weak", "2008"]),
    (724, 156, ["meadow pear", "pear", "thriving", "1930"]),
    (560, 506, ["spring apple", "apple", "weak", "2003"]),
]

#: Notes of the grower, three kinds of evidence for each part of the holding.
NOTES: Seen = [
    (680, 160, ["2024-04-29", "fog", "fog lay a man's height deep until seven"]),
    (650, 236, ["2025-05-04", "fog", "the fog's edge stood here at dawn"]),
    (220, 312, ["2024-04-18", "blossom killed", "plum blossom brown, above it white"]),
    (300, 308, ["2025-03-18", "late snow", "last snow of the farm along the hedge"]),
    (660, 505, ["2025-03-02", "early bare", "first bare ground of the farm"]),
    (508, 530, ["2024-11-16", "standing water", "water over the boots for a week"]),
    (736, 528, ["2025-04-08", "standing water", "rushes, and water in the wheel ruts"]),
    (430, 516, ["2024-04-18", "frost", "white strip down the dell, none beside it"]),
    (600, 400, ["2024-08-30", "browsing", "two goats barked the young apples"]),
    (660, 800, ["2025-01-11", "wind", "fence blown down; no shelter on the down"]),
]

#: Water falling in a 0.3 m hole at the second filling: good from 25 mm an hour.
HOLES: Seen = [
    (612, 496, ["T1", 96.0, "earthy", "none"]),
    (650, 512, ["T2", 84.0, "earthy", "none"]),
    (690, 500, ["T3", 90.0, "earthy", "none"]),
    (560, 496, ["T4", 62.0, "earthy", "few, below 0.4 m"]),
    (512, 520, ["T5", 3.0, "of eggs", "grey from 0.2 m"]),
    (730, 524, ["T6", 4.0, "of eggs", "grey from 0.2 m"]),
    (530, 420, ["T7", 88.0, "earthy", "none"]),
    (590, 410, ["T8", 92.0, "earthy", "none"]),
    (650, 380, ["T9", 78.0, "earthy", "none"]),
    (620, 440, ["T10", 70.0, "earthy", "few, below 0.4 m"]),
    (300, 318, ["T11", 18.0, "stale", "rusty from 0.3 m"]),
    (700, 316, ["T12", 22.0, "stale", "rusty from 0.3 m"]),
    (690, 180, ["T13", 5.0, "of eggs", "grey from 0.2 m"]),
    (660, 800, ["T14", 105.0, "earthy", "none"]),
]
#: Old cart tracks and tipping places where no hole has been dug yet.
NOT_TESTED: Sequence[tuple[float, float]] = [
    (180, 320),
    (420, 320),
    (770, 312),
    (550, 530),
    (630, 240),
    (710, 830),
]


def judge_hole(fall: float) -> str:
    """Name the state of the ground from the fall of water. [mm/h]."""
    if fall >= 25:
        return "good"
    return "slow" if fall >= 10 else "holds water"


def existing_trees() -> GeoDataFrame:
    """List the fruit trees that stand, or stood; bloom is six dates of full bloom."""
    bloom = make_bloom().groupby("tree")["full_bloom"].agg(list)
    rows: Seen = [
        (east, north, [*known, ", ".join(bloom.get(known[0], []))])
        for east, north, known in TREES
    ]
    return points(["name", "fruit", "condition", "planted", "bloom"], rows)


def notes() -> GeoDataFrame:
    """List the dated notes of the grower."""
    return points(["date", "kind", "text"], NOTES)


def ground_tests() -> GeoDataFrame:
    """List the holes that were dug, filled twice and timed."""
    columns = ["name", "date", "result", "fill_1_h", "fill_2_h", "mm_per_h"]
    rows: Seen = []
    for east, north, (name, fall, *seen) in HOLES:
        fall_of_water = float(str(fall))
        state = judge_hole(fall_of_water)
        hours = _hours(fall_of_water)
        rows.append((east, north, [name, "2025-10-04", state, *hours, fall, *seen]))
    return points([*columns, "smell", "mottles"], rows)


def _hours(fall: float) -> tuple[float, float]:
    """Hours until a 0.3 m hole is empty, first and second filling; a day at most."""
    second = 300 / fall
    return round(min(0.6 * second, 24.0), 1), round(min(second, 24.0), 1)


def proposals() -> GeoDataFrame:
    """List the changes that the owner thinks of, for ``sitekit compare``."""
    columns = ["name", "action", "width_m", "height_m", "elevation_m", "text"]
    rows: list[Sequence[object]] = [
        ["gap A", "gap", 14.0, None, None, "south-west corner of the hedge"],
        ["gap B", "gap", 14.0, None, None, "middle of the hedge"],
        ["Neck clearing", "remove", None, None, None, "spruce out of the underpass"],
        ["inlet bank", "bank", 6.0, 2.5, None, "turns the dell's air above the shelf"],
    ]
    shapes = [
        shapely.Point(135, 302),
        shapely.Point(470, 302),
        shapely.LineString(UNDERPASS),
        shapely.LineString([(392, 606), (470, 580)]).buffer(3, cap_style="flat"),
    ]
    return frame(columns, rows, shapes)
