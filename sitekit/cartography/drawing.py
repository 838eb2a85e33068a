"""Drawing on paper: a sheet in millimetres, and each symbol of the key.

Every sheet and figure is drawn with these, so that the same thing looks the
same on each. matplotlib is used through its objects, without global state.
"""

import warnings
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from io import BytesIO
from typing import Any, Literal

import numpy as np
import shapely
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PathCollection
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, fontManager, get_font
from matplotlib.ft2font import LoadFlags
from matplotlib.path import Path as Outline
from matplotlib.text import Text
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from sitekit.cartography import hatching, styles
from sitekit.cartography.images import GREYS, shade
from sitekit.cartography.styles import ClassStyle
from sitekit.grid import Grid

MM_PER_INCH = 25.4
#: Dots for an inch of raster parts, and millimetres for a CSS pixel.
DOTS = 200
#: Dots for an inch of the relief.
RELIEF_DOTS = 110
MM_PER_PIXEL = 25.4 / 96
POINTS_PER_PIXEL = 72 / 96
FONTS = ("Liberation Sans", "Arial", "Helvetica", "DejaVu Sans")

Box = tuple[float, float, float, float]


@cache
def find_family() -> list[str]:
    """List the fonts for figures that this machine has, the first choice first."""
    known = set(fontManager.get_font_names())
    return [name for name in FONTS if name in known]


@contextmanager
def _drawing() -> Iterator[None]:
    """Fix everything that would differ from one machine or run to the next."""
    settings: Any = {
        "font.family": find_family(),
        "svg.hashsalt": "sitekit",
        "svg.fonttype": "path",
        "path.simplify": True,
    }
    with rc_context(settings), warnings.catch_warnings():
        # A name may hold letters that no font here has; it is written in words too.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        yield


def make_figure(width: float, height: float) -> Figure:
    """Make an empty figure.

    Parameters
    ----------
    width, height : float
        Size on paper. [mm]
    """
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH), dpi=DOTS)
    FigureCanvasAgg(figure)
    figure.patch.set_alpha(0)
    return figure


def write_figure(figure: Figure, kind: Literal["svg", "png"] = "svg") -> bytes:
    """Write a figure; the same drawing gives the same bytes.

    Parameters
    ----------
    figure : matplotlib Figure
        What was drawn.
    kind : {"svg", "png"}
        Lines that stay sharp, or dots.
    """
    made = BytesIO()
    metadata = {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
    with _drawing():
        figure.savefig(made, format=kind, dpi=DOTS, metadata=metadata)
    return made.getvalue()


@dataclass
class Sheet:
    """A map on paper: axes in metres of ground with a fixed scale.

    Parameters
    ----------
    axes : matplotlib Axes
        Its data are eastings and northings. [m]
    bounds : tuple of float
        West, south, east, north of the frame. [m]
    metres_per_mm : float
        Ground under a millimetre of paper. [m/mm]
    taken : list of Polygon
        Where texts stand already.
    """

    axes: Axes
    bounds: Box
    metres_per_mm: float
    taken: list[BaseGeometry] = field(default_factory=list)

    @property
    def frame(self) -> Polygon:
        """The frame as a polygon. [m]."""
        return shapely.box(*self.bounds)

    def metres(self, millimetres: float) -> float:
        """Ground under a length of paper. [m]."""
        return millimetres * self.metres_per_mm

    def pixels(self, pixels: float) -> float:
        """Ground under a length given in CSS pixels. [m]."""
        return self.metres(pixels * MM_PER_PIXEL)

    def boxes_about(self, points: Iterable[Point], side: float) -> list[Polygon]:
        """Find the squares that marks cover, of those in the frame. [m].

        Parameters
        ----------
        points : iterable of Point
            Middles of the marks. [m]
        side : float
            Half the side of a square. [mm]
        """
        half = self.metres(side)
        return [
            shapely.box(at.x - half, at.y - half, at.x + half, at.y + half)
            for at in points
            if self.frame.contains(at)
        ]

    def claim(self, box: BaseGeometry, *, inset: float = 1.2) -> bool:
        """Keep a place for a text, if it is free and wholly in the frame.

        Parameters
        ----------
        box : Polygon
            Where the text would stand. [m]
        inset : float
            Distance kept from the frame. [mm]
        """
        inner = self.frame.buffer(-self.metres(inset), join_style="mitre")
        if not inner.covers(box) or any(box.intersects(other) for other in self.taken):
            return False
        self.taken.append(box)
        return True


def make_sheet(figure: Figure, bounds: Box, place: tuple[float, float, float]) -> Sheet:
    """Put a map on a figure.

    Parameters
    ----------
    figure : matplotlib Figure
        The paper.
    bounds : tuple of float
        West, south, east, north. [m]
    place : tuple of float
        Left, bottom and width of the frame on the paper; the height follows
        from the bounds. [mm]
    """
    left, bottom, width = place
    wide, high = (float(side) * MM_PER_INCH for side in figure.get_size_inches())
    height = width * (bounds[3] - bounds[1]) / (bounds[2] - bounds[0])
    axes = figure.add_axes(
        (left / wide, bottom / high, width / wide, height / high),
        facecolor=styles.RELIEF_PAPER,
    )
    axes.set(
        xlim=(bounds[0], bounds[2]), ylim=(bounds[1], bounds[3]), xticks=[], yticks=[]
    )
    for spine in axes.spines.values():
        spine.set(linewidth=1.3, color=styles.INK, zorder=20)
    sheet = Sheet(axes, bounds, (bounds[2] - bounds[0]) / width)
    inner = sheet.frame.buffer(-sheet.metres(0.8), join_style="mitre")
    draw_lines(sheet, [inner.boundary], styles.INK, 0.35, order=20)
    return sheet


def draw_lines(
    sheet: Sheet,
    lines: Sequence[BaseGeometry],
    colour: str,
    weight: float,
    *,
    order: float,
    casing: float = 0.0,
    dash: tuple[float, ...] = (),
    round_ends: bool = False,
) -> None:
    """Draw lines, cut to the frame.

    Parameters
    ----------
    sheet : Sheet
        Where.
    lines : sequence of LineString
        What. [m]
    colour : str
        Ink.
    weight, casing : float
        Width, and width of the pale line under it, 0 for none. [px]
    order : float
        What lies on what.
    dash : tuple of float
        On and off, alternating. [px]
    round_ends : bool
        Round ends of each dash: a dash of no length is a bead.
    """
    paths = [shapely.get_coordinates(line) for line in lines if not line.is_empty]
    cap: Literal["round", "butt"] = "round" if round_ends else "butt"
    for width, ink, pattern in (
        (casing, styles.PAPER, ()),
        (weight, colour, dash),
    ):
        if width:
            points = width * POINTS_PER_PIXEL
            style: Any = (0, [d / width for d in pattern]) if pattern else "solid"
            made = LineCollection(
                paths, colors=ink, linewidths=points, linestyles=[style], zorder=order
            )
            made.set_capstyle(cap)
            sheet.axes.add_collection(made, autolim=False)


def draw_area(
    sheet: Sheet, shape: BaseGeometry, fill: str, opacity: float, *, order: float
) -> None:
    """Fill a shape, holes left open."""
    outlines = []
    for part in hatching.find_parts(shape, Polygon):
        ordered = shapely.geometry.polygon.orient(part)
        rings = (ordered.exterior, *ordered.interiors)
        outlines += [Outline(np.asarray(ring.coords), closed=True) for ring in rings]
    if outlines:
        patch = PathCollection(
            [Outline.make_compound_path(*outlines)],
            facecolors=[to_rgba(fill, opacity)],
            edgecolors="none",
            zorder=order,
        )
        sheet.axes.add_collection(patch, autolim=False)


def draw_class(
    sheet: Sheet, shape: BaseGeometry, style: ClassStyle, *, order: float
) -> None:
    """Fill a shape as ground of one site class is drawn: tint and pattern."""
    seen = shape.intersection(sheet.frame)
    draw_area(sheet, seen, style.fill, style.opacity, order=order)
    pitch = sheet.pixels(style.pitch)
    if style.pattern == "dots":
        _draw_dots(sheet, hatching.make_dots(seen, pitch), style, order)
    elif style.pattern == "question":
        inner = seen.buffer(-sheet.metres(1.2))
        for x, y in hatching.make_dots(inner, pitch):
            write_text(sheet, (x, y), "?", 7, colour=style.ink, order=order)
    elif style.pattern in ("diagonal", "crossed"):
        angles = (45.0,) if style.pattern == "diagonal" else (45.0, -45.0)
        lines = [line for a in angles for line in hatching.make_hatch(seen, pitch, a)]
        draw_lines(sheet, lines, style.ink, style.weight * 0.7, order=order)


def _draw_dots(
    sheet: Sheet, points: NDArray[np.float64], style: ClassStyle, order: float
) -> None:
    side = 2 * style.weight * POINTS_PER_PIXEL
    sheet.axes.scatter(
        points[:, 0],
        points[:, 1],
        s=side**2,
        c=style.ink,
        linewidths=0,
        zorder=order,
    )


def write_text(
    sheet: Sheet,
    place: tuple[float, float],
    text: str,
    size: float,
    *,
    colour: str = styles.INK,
    order: float,
    **more: Any,  # noqa: ANN401  # handed to matplotlib as it is
) -> Text:
    """Write a text on the map, taken letter by letter and cut to the frame."""
    more = {"ha": "center", "va": "center", "family": find_family()} | more
    return sheet.axes.text(
        *place,
        text,
        fontsize=size,
        color=colour,
        zorder=order,
        clip_on=True,
        parse_math=False,
        **more,
    )


@cache
def _advance(letter: str) -> float:
    """How far a letter moves the pen, in the size of the letters."""
    font = get_font(findfont(FontProperties(family=find_family())))
    if not font.get_char_index(ord(letter)):
        return 1.0  # no font here has it: an empty box is drawn
    font.set_size(100, 72)
    # Unhinted, as on paper: a fixed-point number of 16 bits after the point.
    glyph = font.load_char(ord(letter), flags=LoadFlags.NO_HINTING)
    return glyph.linearHoriAdvance / 65536 / 100


@cache
def measure_text(text: str, size: float) -> float:
    """Measure how wide a line of text is on paper. [mm]."""
    return sum(map(_advance, text)) * size * MM_PER_INCH / 72


def find_text_box(
    sheet: Sheet, place: tuple[float, float], text: str, size: float
) -> BaseGeometry:
    """Reckon how much ground a text covers, its middle at a place."""
    width = sheet.metres(measure_text(text, size))
    height = sheet.metres(1.25 * size * MM_PER_INCH / 72)
    x, y = place
    return shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)


def draw_relief(sheet: Sheet, elevation: NDArray[np.float32], grid: Grid) -> None:
    """Lay the grey relief of the ground; paper where no height is known."""
    west, south, east, north = sheet.bounds
    side = sheet.metres(MM_PER_INCH / RELIEF_DOTS)
    x = np.arange(west + side / 2, east, side)
    y = np.arange(north - side / 2, south, -side)
    rows, columns = np.meshgrid(
        (grid.north - y) / grid.cell_size - 0.5,
        (x - grid.west) / grid.cell_size - 0.5,
        indexing="ij",
    )
    tone = map_coordinates(
        shade(elevation, grid.cell_size), [rows, columns], order=1, cval=np.nan
    )
    # Few greys make a small file; multiplied by the paper, as on the web map.
    greys = np.round(np.nan_to_num(tone, nan=1.0) * (GREYS - 1)) / (GREYS - 1)
    paper = np.array(to_rgba(styles.RELIEF_PAPER)[:3])
    sheet.axes.imshow(
        greys[..., None] * paper,
        extent=(west, west + side * len(x), north - side * len(y), north),
        interpolation="none",
        aspect="auto",
        zorder=1,
    )
    sheet.axes.set(xlim=(west, east), ylim=(south, north))
