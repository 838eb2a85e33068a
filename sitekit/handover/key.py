"""The key of a plan sheet: what stands on it, and how it is drawn."""

from itertools import pairwise

import shapely
from geopandas import GeoDataFrame

from sitekit.cartography import styles, symbols
from sitekit.handover import ground, planting_marks
from sitekit.handover.paper import Paper
from sitekit.handover.scales import Window
from sitekit.handover.zones import find_zones
from sitekit.results import PlantingPlan, Survey

#: What a row of the key draws: a plant, or the name of a sign.
Sign = planting_marks.PlantMark | str
#: Weight [pt], colour and dashes of the lines, as the drawing has them.
LINES: dict[str, tuple[float, str, tuple[float, ...]]] = {
    "block": (1.0, styles.INK, (10, 3)),
    "field": (1.6, styles.INK, (6, 2, 1, 2)),
    "baseline": (0.8, styles.STAMP, (3, 3)),
    "fence": (1.2, styles.INK, (9, 1.5, 1, 1.5)),
    "headland": (0.7, styles.SECOND_INK, (4, 2, 1, 2)),
    "path": (1.4, styles.COLD_AIR, ()),
    "hedge": (2.4, styles.HEDGE, (0.01, 1.6)),
    "wall": (4.5, styles.HEDGE, (0.4, 0.9)),
    "track": (1.8, styles.SECOND_INK, (4, 1.8)),
    "contour": (0.6, styles.CONTOUR, ()),
}


def list_key(survey: Survey, window: Window) -> list[tuple[Sign, str]]:
    """List what stands on a sheet: how it is drawn, and its words.

    Parameters
    ----------
    survey : Survey
        With its plan; without one there is nothing to list.
    window : Window
        What the sheet shows.

    Returns
    -------
    rows : list of tuple
        A kind of plant or the name of a sign, see `draw_symbol`; and its words.
    """
    plan = survey.plan
    if plan is None:
        return []
    frame = shapely.box(*window.bounds)
    marks = planting_marks.list_marks(plan.plants).values()
    signs = {
        "field": "field edge",
        "block": "block edge",
        "control": _marks_words(plan),
        "baseline": "A to B: tape it first",
        **_planned(plan, frame),
        **_kept_off(survey, frame),
        **_cold(survey, plan, frame),
        **_ground(survey, frame),
    }
    return [*((mark, mark.words) for mark in marks), *signs.items()]


def _planned(plan: PlantingPlan, frame: shapely.Polygon) -> dict[str, str]:
    headlands = plan.lanes["kind"] != ground.COLD_AIR_LANE
    return _present(
        frame,
        ("fence", "fence, corner, gate", plan.fence),
        ("hole", "test hole, not yet read", plan.test_holes),
        ("headland", "headland: kept open to turn", plan.lanes[headlands]),
    )


def _kept_off(survey: Survey, frame: shapely.Polygon) -> dict[str, str]:
    """Name the ground that spades and machines keep off, and standing trees."""
    kinds = {z.kind for z in find_zones(survey) if z.shape.intersects(frame)}
    zone = "no dig, no drive"
    if "service" in kinds:
        zone += "; as wide as its place is unsure"
    signs = {"zone": zone} if kinds - {"roots"} else {}
    if "roots" in kinds:
        signs["roots"] = "roots of a tree: no dig, no drive"
    trees = survey.site.vectors["existing_trees"]
    return signs | _present(frame, ("tree", "tree that stands; x where dead", trees))


def _cold(survey: Survey, plan: PlantingPlan, frame: shapely.Polygon) -> dict[str, str]:
    lanes = plan.lanes[plan.lanes["kind"] == ground.COLD_AIR_LANE]
    return _present(
        frame,
        ("lane", "cold-air lane, downhill: grass, no spoil, no stack", lanes),
        ("pocket", "frost pocket", survey.frost_pockets),
        ("path", "cold air runs downhill here", survey.cold_air_paths),
    )


def _ground(survey: Survey, frame: shapely.Polygon) -> dict[str, str]:
    vectors = survey.site.vectors
    barriers = vectors["barriers"]
    if len(barriers):
        grown = barriers["kind"].isin(symbols.GROWING)
        hedges, walls = barriers[grown], barriers[~grown]
    else:
        hedges = walls = barriers
    return _present(
        frame,
        ("hedge", "hedge or wood", hedges),
        ("wall", "wall, bank or fence", walls),
        ("track", "track", vectors["access"]),
        ("contour", _height_words(survey), survey.contours),
    )


def _present(
    frame: shapely.Polygon, *signs: tuple[str, str, GeoDataFrame]
) -> dict[str, str]:
    """Keep the signs of which something lies on the sheet."""
    return {
        name: said
        for name, said, things in signs
        if len(things) and things.intersects(frame).any()
    }


def _marks_words(plan: PlantingPlan) -> str:
    ends = "control mark" if plan.baseline.surveyed else "end of the baseline"
    return f"{ends}; B1-M1: first mark of block 1"


def _height_words(survey: Survey) -> str:
    heights = sorted(set(survey.contours["elevation_m"]))
    if len(heights) < 2:
        return "height line"
    step = min(b - a for a, b in pairwise(heights))
    return f"height line, every {step:g} m"


def draw_symbol(paper: Paper, what: Sign, place: tuple[float, float]) -> None:
    """Draw a sign of the key.

    Parameters
    ----------
    paper : Paper
        The sheet.
    what : PlantMark or str
        A kind of plant, or the name of a sign from `list_key`.
    place : tuple of float
        Left end of the sign, in the middle of its height. [mm]
    """
    x, y = place
    if isinstance(what, planting_marks.PlantMark):
        planting_marks.draw_mark_of(paper.axes, (x + 5, y), what, 2.1)
    elif what == "control":
        planting_marks.draw_control(paper.axes, (x + 5, y))
    elif what == "hole":
        planting_marks.draw_test_hole(paper.axes, (x + 5, y))
    elif what == "tree":
        ground.draw_standing_tree(paper.axes, (x + 5, y), dead=False)
    elif what in LINES:
        _draw_line(paper, what, place)
    else:
        _draw_patch(paper, what, place)


def _draw_line(paper: Paper, what: str, place: tuple[float, float]) -> None:
    x, y = place
    weight, colour, dashes = LINES[what]
    given: dict[str, object] = {"linestyles": [(0, dashes)]} if dashes else {}
    if what == "hedge":
        given["capstyle"] = "round"
    paper.rules([[(x, y), (x + 10, y)]], weight, colour, **given)
    if what == "path":
        head = [(x + 4.2, y + 1.0), (x + 5.4, y), (x + 4.2, y - 1.0)]
        paper.rules([head], weight, colour)


def _draw_patch(paper: Paper, what: str, place: tuple[float, float]) -> None:
    x, y = place
    ink = styles.NO_DIG if what in ("zone", "roots") else styles.COLD_AIR
    fill = {"lane": "#E4E8F1", "pocket": "#E0E4EE"}.get(what, "none")
    dashes = (0, (4, 2, 1, 2)) if what == "lane" else "solid"
    paper.box(
        (x, y - 1.4), (10, 2.8), fill=fill, weight=0.8, edgecolor=ink, linestyle=dashes
    )
    up = [[(x + i, y - 1.4), (x + i + 2.0, y + 1.4)] for i in range(8)]
    down = [[(x + i, y + 1.4), (x + i + 2.0, y - 1.4)] for i in range(8)]
    ticks = [[(x + i, y - 1.4), (x + i, y - 0.2)] for i in (1.5, 3.8, 6.2, 8.5)]
    drawn = {"zone": up, "roots": up[::2] + down[::2], "pocket": ticks}
    arrow = [[(x + 5, y + 1.1), (x + 5, y - 1.1)]]
    paper.rules(drawn.get(what, arrow), 1.2 if what == "lane" else 0.7, ink)
