"""Details with dimensions: hole, guard, mound, edge of the mulch.

Depths, heights and widths that the grower sets are his; a mound's width follows
from its soil. All drawings are elevations or sections at the scale told.
"""

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from sitekit.cartography import styles
from sitekit.handover.paper import Paper
from sitekit.planting.terms import Limits, read_terms
from sitekit.results import Survey

#: Hole: wide and shallow. [m]; common practice, no source.
HOLE_WIDTH, HOLE_DEPTH = 1.0, 0.30
#: Height of the mound in the middle. [m]; common practice, no source.
MOUND_HEIGHT = 0.40
#: Guard: dug in, and clear of the stem. [m]
#: Source: 10 to 15 cm dug in, as extension services advise against voles.
DUG_IN, STEM_CLEAR = 0.10, 0.15
#: Mulch kept clear of the stem. [m]; and the spade-cut edge.
COLLAR, EDGE_DEPTH, EDGE_WIDTH = 0.10, 0.10, 0.30
#: Union of graft and stock above the ground. [m]
UNION = 0.10
#: Scale of the details: 1 to this.
SCALE = 25


@dataclass(frozen=True)
class Dimensions:
    """Dimensions of the details. [m].

    Parameters
    ----------
    hole_width, hole_depth : float
        Of the planting hole.
    loosened : float
        How deep the bottom is broken where a test is slow.
    guard_height, guard_dug : float
        Above and below the ground.
    mesh_mm : float
        Mesh of the guard. [mm]
    mound_height, mound_width : float
        Of a mound where water stands.
    mound_m3 : float
        Its soil. [m³]
    mulch, left_over : float
        Depth as laid, and what is left when it is laid anew.
    months : float
        Until then. [month]
    edge : str
        How the edge is held.
    snow : float
        Usual depth of snow.
    """

    hole_width: float
    hole_depth: float
    loosened: float
    guard_height: float
    guard_dug: float
    mesh_mm: float
    mound_height: float
    mound_width: float
    mound_m3: float
    mulch: float
    left_over: float
    months: float
    edge: str
    snow: float


def find_dimensions(survey: Survey) -> Dimensions:
    """Find the dimensions of this site's details.

    Parameters
    ----------
    survey : Survey
        Its site holds the limits.
    """
    limits = read_terms(Limits, survey.site.limits)
    return Dimensions(
        HOLE_WIDTH,
        HOLE_DEPTH,
        limits.loosen_m,
        limits.snow_m + limits.guard_allowance_m,
        DUG_IN,
        limits.mesh_mm,
        MOUND_HEIGHT,
        find_mound_width(limits.mound_m3, MOUND_HEIGHT),
        limits.mound_m3,
        limits.mulch_depth_m,
        limits.mulch_left_m,
        limits.mulch_months,
        limits.edge,
        limits.snow_m,
    )


def find_mound_width(soil: float, height: float) -> float:
    """Find how wide a round mound is: a cap of a ball. [m].

    Parameters
    ----------
    soil : float
        Its volume. [m³]
    height : float
        In the middle. [m]

    References
    ----------
    Volume of a spherical cap: pi h (3 a² + h²) / 6, a the radius of its foot.

    Examples
    --------
    >>> round(find_mound_width(1.0, 0.4), 2)
    2.48
    """
    return 2 * sqrt(max(6 * soil / (pi * height) - height**2, 0.0) / 3)


class Section:
    """A drawing at 1:25 on a page, in metres from the ground under its middle.

    Parameters
    ----------
    paper : Paper
        The page.
    foot : tuple of float
        Where the middle of the ground lies. [mm]
    """

    def __init__(self, paper: Paper, foot: tuple[float, float]) -> None:
        self.paper, self.foot = paper, foot

    def at(self, x: float, y: float) -> tuple[float, float]:
        """From metres to the page. [mm]."""
        return self.foot[0] + x * 1000 / SCALE, self.foot[1] + y * 1000 / SCALE

    def line(
        self, *points: tuple[float, float], weight: float = 1.0, **more: str
    ) -> None:
        """Draw a line through points. [m]."""
        self.paper.rules([[self.at(*p) for p in points]], weight, **more)

    def fill(self, points: list[tuple[float, float]], colour: str) -> None:
        """Fill a shape. [m]."""
        made = np.array([self.at(*p) for p in points])
        self.paper.axes.fill(made[:, 0], made[:, 1], color=colour, lw=0)

    def say(self, x: float, y: float, text: str, **more: object) -> None:
        """Write at a place. [m]."""
        self.paper.write(self.at(x, y), text, 7.5, **more)  # type: ignore[arg-type]

    def across(self, low: float, high: float, y: float, text: str) -> None:
        """Draw a level dimension. [m]."""
        self._dimension((low, y), (high, y))
        x, height = self.at((low + high) / 2, y)
        self.paper.write((x, height + 0.9), text, 7.5, align="center")

    def upright(self, low: float, high: float, x: float, text: str) -> None:
        """Draw an upright dimension, its figure at the right. [m]."""
        self._dimension((x, low), (x, high))
        left, height = self.at(x, (low + high) / 2)
        self.paper.write((left + 1.2, height - 0.9), text, 7.5)

    def _dimension(self, one: tuple[float, float], other: tuple[float, float]) -> None:
        ends = {"color": styles.SECOND_INK, "lw": 0.7}
        arrow = {"arrowstyle": "<->", "shrinkA": 0, "shrinkB": 0, **ends}
        self.paper.axes.annotate(
            "",
            self.at(*one),
            self.at(*other),
            arrowprops={**arrow, "mutation_scale": 7},
        )


def draw_planting(paper: Paper, corner: tuple[float, float], size: Dimensions) -> None:
    """Draw hole and guard side by side."""
    draw_hole(paper, corner, size)
    draw_guard(paper, corner, size)


def draw_hole(paper: Paper, corner: tuple[float, float], size: Dimensions) -> None:
    """Draw the hole: wide, shallow, its sides broken; no sump."""
    made = Section(paper, (corner[0] + 44, corner[1] + 34))
    half, deep = size.hole_width / 2, size.hole_depth
    rough = np.array([0.03, -0.03, 0.04, -0.02, 0.03])
    levels = np.linspace(0, -deep, 5)
    left = [(-half + r, y) for r, y in zip(rough, levels, strict=True)]
    right = [(half - r, y) for r, y in zip(rough[::-1], levels[::-1], strict=True)]
    made.fill([*left, *right], "#EFE9DB")
    made.line(*left, *right, weight=1.4)
    made.line((-0.95, 0), (-half, 0), weight=1.0)
    made.line((half, 0), (0.95, 0), weight=1.0)
    _draw_young_tree(made)
    for x in np.linspace(-0.4, 0.4, 5):
        made.line((x, -deep), (x + 0.05, -deep - 0.12), weight=0.8)
    made.across(-half, half, -deep - 0.27, f"{size.hole_width:.2f} m, wide")
    made.upright(-deep, 0, half + 0.12, f"{deep:.2f} m, shallow")
    made.say(-0.98, -deep - 0.42, "sides and bottom broken with a fork,")
    made.say(-0.98, -deep - 0.52, "not round, not polished; no gravel sump")
    made.say(0.14, 0.20, f"graft union {UNION * 100:.0f} cm above ground")
    made.say(-0.98, 1.02, f"Planting hole, section 1:{SCALE}", bold=True)


def _draw_young_tree(made: Section) -> None:
    made.line((0, -0.22), (0, 0.9), weight=2.2)
    for x in (-0.3, -0.15, 0.15, 0.3):
        made.line((0, -0.12), (x, -0.24), weight=0.9)
    made.line((-0.04, UNION), (0.04, UNION), weight=1.6)
    for y, x in ((0.55, 0.22), (0.65, -0.2), (0.75, 0.16)):
        made.line((0, y), (x, y + 0.16), weight=1.0)


def draw_guard(paper: Paper, corner: tuple[float, float], size: Dimensions) -> None:
    """Draw the guard: as high as the usual snow and the allowance, dug in."""
    made = Section(paper, (corner[0] + 128, corner[1] + 34))
    top, low = size.guard_height, -size.guard_dug
    for x in np.linspace(-STEM_CLEAR, STEM_CLEAR, 6):
        made.line((x, low), (x, top), weight=0.5)
    for y in np.arange(low, top + 1e-9, 0.06):
        made.line((-STEM_CLEAR, y), (STEM_CLEAR, y), weight=0.35)
    made.line((0, -0.22), (0, 0.98), weight=2.2)
    made.line((-0.8, 0), (0.95, 0), weight=1.0)
    made.line((-0.75, size.snow), (-0.18, size.snow), weight=0.9, linestyles="dashed")
    made.say(-0.95, size.snow + 0.03, f"usual snow {size.snow:.2f} m")
    made.upright(0, top, 0.3, f"{top:.2f} m above ground")
    made.upright(low, 0, 0.3, f"{size.guard_dug:.2f} m dug in")
    made.across(0, STEM_CLEAR, -0.30, "")
    made.say(-0.3, -0.40, f"{STEM_CLEAR * 100:.0f} cm clear of the stem")
    made.say(-0.95, -0.52, f"mesh {size.mesh_mm:g} mm or finer; taken off in time")
    made.say(-0.95, 1.02, f"Guard, view 1:{SCALE}", bold=True)


def draw_mound(paper: Paper, corner: tuple[float, float], size: Dimensions) -> None:
    """Draw the mound, where a test hole held water."""
    made = Section(paper, (corner[0] + 70, corner[1] + 18))
    half, high = size.mound_width / 2, size.mound_height
    x = np.linspace(-half, half, 41)
    y = high * (1 - (x / max(half, 1e-6)) ** 2)
    made.fill(list(zip(x, y, strict=True)), "#EFE9DB")
    made.line(*zip(x, y, strict=True), weight=1.4)
    made.line((-half - 0.4, 0), (half + 0.4, 0), weight=1.0)
    made.line((0, high - 0.1), (0, high + 0.35), weight=2.2)
    made.across(-half, half, -0.22, f"{size.mound_width:.2f} m")
    made.upright(0, high, half + 0.15, f"{high:.2f} m")
    made.say(
        -half,
        -0.40,
        f"{size.mound_m3:g} m³ of soil, loose; ±0.10 m high, ±0.25 m in plan. Only "
        "where a test hole held water.",
    )
    made.say(-half, high + 0.4, f"Mound, section 1:{SCALE}", bold=True)


def draw_edge(paper: Paper, corner: tuple[float, float], size: Dimensions) -> None:
    """Draw the mulch, clear of the stem, and its edge."""
    made = Section(paper, (corner[0] + 60, corner[1] + 19))
    deep, end = size.mulch, 1.3
    made.fill(
        [(COLLAR, 0), (COLLAR + 0.12, deep), (end - 0.2, deep), (end, 0)], "#E7D9BD"
    )
    made.line(
        (COLLAR, 0), (COLLAR + 0.12, deep), (end - 0.2, deep), (end, 0), weight=1.2
    )
    made.line(
        (COLLAR + 0.1, size.left_over),
        (end - 0.05, size.left_over),
        weight=0.9,
        linestyles="dashed",
    )
    made.line((-0.6, 0), (end, 0), weight=1.0)
    made.line((0, -0.15), (0, 0.9), weight=2.2)
    if size.edge == "spade-cut strip":
        made.line((end, 0), (end, -EDGE_DEPTH), (end + EDGE_WIDTH, 0), weight=1.4)
        made.across(end, end + EDGE_WIDTH, -0.26, f"{EDGE_WIDTH:.2f} m")
        made.upright(-EDGE_DEPTH, 0, end + EDGE_WIDTH + 0.1, f"{EDGE_DEPTH:.2f} m")
    made.line((end + EDGE_WIDTH, 0), (2.5, 0), weight=1.0)
    made.upright(0, deep, end + 0.12, f"{deep:.2f} m as laid")
    made.say(0.3, size.left_over + 0.03, f"{size.left_over * 100:g} cm left")
    made.say(-1.2, 0.08, f"{COLLAR * 100:.0f} cm clear of the stem")
    made.say(
        -1.2,
        -0.42,
        f"Edge held by: {size.edge}. Laid anew after {size.months:g} months, or when "
        f"{size.left_over * 100:g} cm are left.",
    )
    made.say(-1.2, 0.95, f"Mulch and its edge, section 1:{SCALE}", bold=True)
