"""What stands and lies on Averlow Shelf, in metres east and north of its corner.

Everything is invented. Each table is one layer of ``holding.gpkg``.
"""

from collections.abc import Mapping, Sequence

import shapely
from geopandas import GeoDataFrame
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from sitekit.demo.terrain import SOUTH, WEST

CRS = "EPSG:32633"
Point = tuple[float, float]

#: The four plots, 9.4 ha together.
PLOTS: dict[str, Sequence[Point]] = {
    "Mere Meadow": [(598, 132), (780, 132), (780, 248), (598, 248)],
    "Hedge Field": [
        (130, 304),
        (806, 304),
        (806, 326),
        (700, 326),
        (630, 452),
        (500, 452),
        (470, 326),
        (130, 326),
    ],
    "The Shelf": [(396, 484), (762, 484), (762, 546), (396, 546)],
    "Down Edge": [(584, 760), (730, 760), (730, 846), (584, 846)],
}

#: The mere lies level beside the demo's ground and widens east of the bank, past
#: the edge of the elevation; a culvert joins its two parts.
MERE: Sequence[Point] = [
    (60, 40),
    (1096, 40),
    (1096, 78.5),
    (1108, 78.5),
    (1108, 40),
    (1200, 40),
    (1285, -235),
    (1485, -440),
    (1815, -500),
    (2085, -370),
    (2200, -110),
    (2060, 135),
    (1720, 250),
    (1390, 210),
    (1200, 120),
    (1108, 120),
    (1108, 81.5),
    (1096, 81.5),
    (1096, 120),
    (60, 120),
]

#: Middle of the house: the farm station stands in its yard.
HOUSE: Point = (905, 455)
STATION: Point = (905, 470)
STATION_HEIGHT = 737.0
SPRINGS: Mapping[str, Point] = {
    "west spring": (505, 538),
    "east spring": (738, 538),
}
BEECH_HEDGE: Sequence[Point] = [(120, 302), (820, 302)]
OLD_WALL: Sequence[Point] = [(122, 302), (122, 470)]
UNDERPASS: Sequence[Point] = [(1102, 131), (1102, 149)]
#: Below the hedge: the air of gap A runs onto it.
POTATOES: Sequence[Point] = [(126, 250), (460, 252), (458, 296), (126, 296)]
CROOK_WOOD: Sequence[Point] = [
    (846, 500),
    (880, 478),
    (912, 500),
    (916, 560),
    (884, 578),
    (850, 560),
]


def place(geometry: BaseGeometry) -> BaseGeometry:
    """Move a shape from metres off the corner to EPSG:32633."""
    return translate(geometry, WEST, SOUTH)


def frame(
    columns: Sequence[str],
    rows: Sequence[Sequence[object]],
    shapes: Sequence[BaseGeometry],
) -> GeoDataFrame:
    """Make one layer from a table and its shapes."""
    table = {name: [row[i] for row in rows] for i, name in enumerate(columns) if rows}
    return GeoDataFrame(table, geometry=[place(shape) for shape in shapes], crs=CRS)


def points(
    columns: Sequence[str], rows: Sequence[tuple[float, float, Sequence[object]]]
) -> GeoDataFrame:
    """Make a layer of points from east, north and what is known of each."""
    shapes = [shapely.Point(east, north) for east, north, _ in rows]
    return frame(columns, [known for _, _, known in rows], shapes)


def field() -> GeoDataFrame:
    """Make the four plots."""
    names = [[name] for name in PLOTS]
    return frame(["name"], names, [shapely.Polygon(p) for p in PLOTS.values()])


def water() -> GeoDataFrame:
    """Make the mere, whole, also where the elevation has ended."""
    columns = ["name", "depth_m", "ice_in", "ice_out"]
    return frame(columns, [["Lannet Mere", 14.0, 8, 61]], [shapely.Polygon(MERE)])


def barriers() -> GeoDataFrame:
    """Make what holds cold air: hedge, wall, and spruce in the underpass."""
    columns = ["name", "kind", "height_m", "openness"]
    rows = [
        ["the beech hedge", "hedge", 3.5, 0.14],
        ["the west wall", "wall", 3.0, 0.0],
        ["the spruce in the underpass", "wood", 5.0, 0.1],
    ]
    lines = [shapely.LineString(p) for p in (BEECH_HEDGE, OLD_WALL, UNDERPASS)]
    return frame(columns, rows, lines)


def woodland() -> GeoDataFrame:
    """Make the spruce of the Neck and one small wood."""
    columns = ["name", "kind", "height_m", "evergreen"]
    rows = [
        ["self-sown spruce in the Neck", "spruce", 5.0, True],
        ["Crook Wood", "oak and rowan", 12.0, False],
    ]
    spruce = shapely.box(1096, 132, 1108, 148)
    return frame(columns, rows, [spruce, shapely.Polygon(CROOK_WOOD)])


def no_go() -> GeoDataFrame:
    """Make ground that must not be dug."""
    rows = [[name, "wet spring that feeds the sheep trough"] for name in SPRINGS]
    shapes: list[BaseGeometry] = [
        shapely.Point(at).buffer(12) for at in SPRINGS.values()
    ]
    rows += [
        ["grave mound", "old grave mound: no digging, ask the heritage office"],
        ["badger sett", "badger sett: keep 30 m away with machines"],
    ]
    shapes += [shapely.Point(560, 436).buffer(10), shapely.Point(612, 836).buffer(14)]
    return frame(["name", "reason"], rows, shapes)


def neighbours() -> GeoDataFrame:
    """Make ground of others that may receive cold air."""
    columns = ["name", "kind", "text"]
    rows = [
        ["Seed-potato field", "crop", "seed potatoes: more cold air is not wanted"],
        ["Neck paddock", "pasture", "goats; hay below the railway bank"],
    ]
    paddock = shapely.box(1112, 124, 1196, 214)
    return frame(columns, rows, [shapely.Polygon(POTATOES), paddock])


def buildings() -> GeoDataFrame:
    """Make house, barn and shed."""
    east, north = HOUSE
    rows = [
        ["Averlow farmhouse", "house", 7.5],
        ["sheep barn", "barn", 6.0],
        ["honey shed", "shed", 3.0],
    ]
    shapes = [
        shapely.box(east - 8, north - 5, east + 8, north + 5),
        shapely.box(938, 440, 962, 452),
        shapely.box(872, 440, 878, 446),
    ]
    return frame(["name", "kind", "height_m"], rows, shapes)


def access() -> GeoDataFrame:
    """Make lane and track."""
    rows = [["farm lane", "lane", 3.5], ["down track", "track", 2.8]]
    lane = [(1196, 508), (1080, 470), (960, 462), (905, 462), (790, 470), (764, 500)]
    down = [(960, 462), (940, 600), (820, 720), (732, 780)]
    return frame(
        ["name", "kind", "width_m"],
        rows,
        [shapely.LineString(lane), shapely.LineString(down)],
    )


def services() -> GeoDataFrame:
    """Make lines underground, none of them surveyed."""
    columns = ["name", "kind", "certainty"]
    rows = [
        ["water main to the farm", "water", "owner's sketch only, ± 10 m"],
        ["abandoned telegraph line", "telegraph", "public record, ± 5 m"],
        ["clay field drain", "drain", "seen in one trial hole, ± 3 m"],
    ]
    main = [(700, 900), (772, 700), (800, 560), (905, 455)]
    wire = [(0, 590), (420, 470), (800, 330), (1200, 300)]
    drain = [(506, 526), (540, 470), (560, 400), (566, 306)]
    return frame(columns, rows, [shapely.LineString(p) for p in (main, wire, drain)])


def mulched() -> GeoDataFrame:
    """Make the one strip under mulch."""
    columns = ["name", "date", "depth_m", "material"]
    rows = [["trial strip", "2024-04-20", 0.15, "wool and straw"]]
    return frame(columns, rows, [shapely.box(640, 500, 670, 508)])


def cover() -> GeoDataFrame:
    """Make what grows on the ground, over the whole elevation."""
    low = shapely.Polygon(POTATOES)
    grass = shapely.box(0, 0, 1200, 900) - low
    rows = [["sheep pasture", "short grass"], ["Seed-potato field", "bare moist"]]
    return frame(["name", "kind"], rows, [grass, low])


def control_marks() -> GeoDataFrame:
    """Make three control marks and a fourth to check them."""
    columns = ["name", "kind", "elevation_m", "text"]
    rows: list[tuple[float, float, Sequence[object]]] = [
        (897, 450, ["corner of the farmhouse", "control", 734.9, "south-west corner"]),
        (590, 540, ["nail in the boulder", "control", 735.9, "above the shelf"]),
        (580, 450, ["bolt in the flat rock", "control", 731.6, "above the hedge"]),
        (390, 548, ["bolt in the gatepost", "check", 733.6, "west of the dell"]),
    ]
    return points(columns, rows)
