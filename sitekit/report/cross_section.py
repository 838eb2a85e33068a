"""The section of the report: from low ground or water up through the best block."""

from dataclasses import dataclass

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from sitekit import words
from sitekit.cartography import hatching, styles
from sitekit.cartography.drawing import (
    Box,
    find_family,
    make_figure,
    measure_text,
)
from sitekit.report.blocks import Block, written
from sitekit.results import Survey

#: Size on paper; the height follows from the ground. [mm]
WIDTH, ACROSS, LEFT, BOTTOM, TOP = 150.0, 132.0, 15.0, 11.0, 2.0
#: Highest that the ground is drawn, and room under and over it. [mm]
MOST_RISE, UNDER, OVER = 32.0, 8.0, 8.0
#: Held cold air shallower than this is not drawn. [m]
SHALLOW = 0.3
#: Heights are drawn one of these times as large.
STRETCHES = (1, 2, 3, 4, 5, 8, 10, 15, 20, 30, 50)
#: How much a longer way to the same rise counts against a direction.
LONG_WAY = 0.3
#: A line that rises less shows nothing. [m]
LEAST_RISE = 0.2
#: Ground gentler than this has no way up of its own. [m/m]
LEVEL = 0.01
#: Beyond the lowest place the line goes on for this long, to show the water. [m]
BEYOND = 40.0


@dataclass(frozen=True)
class Section:
    """Ground along a straight line, low end first.

    Parameters
    ----------
    line : LineString
        From the low end to the high end. [m]
    distance, height : (place,) ndarray
        Along the line and above the zero of the heights. [m]
    cold_air : (place,) ndarray
        Depth of held cold air, 0 where none. [m]
    water : (place,) ndarray of bool
        Whether there is water.
    direction : str
        The way it runs, in words: ``south to north``.
    """

    line: LineString
    distance: NDArray[np.float64]
    height: NDArray[np.float64]
    cold_air: NDArray[np.float64]
    water: NDArray[np.bool_]
    direction: str

    @property
    def stretch(self) -> int:
        """How many times as large heights are drawn as lengths."""
        rise = max(float(np.ptp(self.height)), 0.5)
        fits = MOST_RISE / ACROSS * float(self.distance[-1]) / rise
        return max((s for s in STRETCHES if s <= fits), default=1)

    @property
    def metres_per_mm(self) -> float:
        """Height under a millimetre of paper. [m/mm]."""
        return float(self.distance[-1]) / ACROSS / self.stretch

    @property
    def pool_depth(self) -> float:
        """Deepest held cold air on the line. [m]."""
        return float(self.cold_air.max())


def find_section(survey: Survey, block: Block, bounds: Box) -> Section | None:
    """Lay a section through a block, where the ground rises most.

    Parameters
    ----------
    survey : Survey
        What was found.
    block : Block
        The block that it goes through.
    bounds : tuple of float
        It stays within these. [m]

    Returns
    -------
    section : Section or None
        None where heights are missing or the ground is level.
    """
    middle = block.shape.representative_point()
    frame = shapely.box(*bounds).buffer(-survey.site.grid.cell_size / 2)
    found = [
        _rise_along(survey, frame, (middle.x, middle.y), bearing)
        for bearing in np.radians(_bearings(survey, block))
    ]
    known = [rise for rise in found if rise is not None]
    best = max(known, key=lambda rise: round(rise[0], 6), default=None)
    return None if best is None else _sample(survey, best[1])


def _bearings(survey: Survey, block: Block) -> NDArray[np.float64]:
    """List the ways up from a block: all round where it is level. [degree]."""
    grid = survey.site.grid
    west, south, east, north = block.shape.bounds
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(west, east, 25),
                                           np.linspace(south, north, 25)))  # fmt: skip
    height = grid.sample(survey.site.elevation, x, y)
    known = np.isfinite(height)
    if known.sum() < 4:
        return np.arange(0.0, 360.0, 10.0)
    plane = np.column_stack([x - west, y - south, np.ones_like(x)])[known]
    up_east, up_north, _ = np.linalg.lstsq(plane, height[known], rcond=None)[0]
    if np.hypot(up_east, up_north) < LEVEL:
        return np.arange(0.0, 360.0, 10.0)
    straight = np.degrees(np.arctan2(up_east, up_north))
    return np.asarray(straight + np.arange(-30.0, 31.0, 10.0))


def _rise_along(
    survey: Survey, frame: BaseGeometry, middle: tuple[float, float], bearing: float
) -> tuple[float, LineString] | None:
    """Find lowest ground behind and highest ahead; value and line between."""
    x, y = middle
    far = np.hypot(*np.subtract(frame.bounds[2:], frame.bounds[:2])) + 1
    east, north = far * np.sin(bearing), far * np.cos(bearing)
    through = LineString([(x - east, y - north), (x + east, y + north)])
    line = through.intersection(frame)
    if not isinstance(line, LineString) or line.is_empty:
        return None
    places, height = _heights(survey, line)
    here = int(np.argmin(np.hypot(*(places - np.array(middle)).T)))
    known = np.isfinite(height)
    if not (known[: here + 1].any() and known[here:].any()):
        return None
    low = int(np.nanargmin(height[: here + 1]))
    high = here + int(np.nanargmax(height[here:]))
    length = float(np.hypot(*(places[high] - places[low])))
    rise = float(height[high] - height[low])
    if length < 4 * survey.site.grid.cell_size or rise < LEAST_RISE:
        return None
    value = rise * (1 - LONG_WAY * length / (2 * far))
    start = np.hypot(*(places[low] - places[0]))
    begin = line.interpolate(max(float(start) - BEYOND, 0.0))
    return value, LineString([(begin.x, begin.y), tuple(places[high])])


def _heights(
    survey: Survey, line: LineString
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    grid = survey.site.grid
    count = max(int(line.length / (grid.cell_size / 2)), 2)
    along = np.linspace(0, line.length, count + 1)
    places = shapely.get_coordinates(line.interpolate(along))
    columns = (places[:, 0] - grid.west) / grid.cell_size - 0.5
    rows = (grid.north - places[:, 1]) / grid.cell_size - 0.5
    height = map_coordinates(
        survey.site.elevation.astype(np.float64),
        [rows, columns],
        order=1,
        mode="nearest",
    )
    return places, height


def _sample(survey: Survey, line: LineString) -> Section:
    places, height = _heights(survey, line)
    distance = np.linspace(0, line.length, len(places))
    known = np.isfinite(height)
    grid = survey.site.grid
    x, y = places.T
    cold = np.zeros(len(places))
    if "pooling_depth" in survey.layers:
        values = survey.layers["pooling_depth"].to_numpy()
        cold = np.nan_to_num(grid.sample(values, x, y))
    water = np.nan_to_num(grid.sample(survey.site.water_mask, x, y)) > 0
    bearing = np.degrees(np.arctan2(x[-1] - x[0], y[-1] - y[0])) + grid.convergence
    ends = (words.facing((bearing + 180) % 360), words.facing(bearing % 360))
    return Section(
        line=line,
        distance=distance,
        height=np.interp(distance, distance[known], height[known]),
        cold_air=np.where(water | (cold < SHALLOW), 0.0, cold),
        water=water,
        direction=" to ".join(ends),
    )


def draw_section(survey: Survey, section: Section, blocks: list[Block]) -> Figure:
    """Draw a section.

    Parameters
    ----------
    survey : Survey
        What was found.
    section : Section
        The ground along the line.
    blocks : list of Block
        Those that it crosses are named.
    """
    high = float(np.ptp(section.height)) / section.metres_per_mm + UNDER + OVER
    figure = make_figure(WIDTH, high + BOTTOM + TOP)
    axes = _make_axes(figure, section, high)
    low = axes.get_ylim()[0]
    axes.fill_between(section.distance, section.height, low, color="#E5DBC8", lw=0)
    _draw_cold_air(axes, section)
    axes.plot(section.distance, section.height, color=styles.INK, lw=1.3)
    wet = np.where(section.water, section.height, np.nan)
    axes.plot(section.distance, wet, color=styles.WATER_EDGE, lw=3.0)
    notes = _draw_barriers(axes, survey, section)
    if section.pool_depth > 0:
        notes.append(_note_pool(section))
    _draw_blocks(axes, section, blocks)
    _write_notes(axes, section, notes)
    return figure


def _make_axes(figure: Figure, section: Section, high: float) -> Axes:
    whole = high + BOTTOM + TOP
    axes = figure.add_axes(
        (LEFT / WIDTH, BOTTOM / whole, ACROSS / WIDTH, high / whole), facecolor="none"
    )
    low = float(section.height.min()) - UNDER * section.metres_per_mm
    span = high * section.metres_per_mm
    axes.set(xlim=(0, float(section.distance[-1])), ylim=(low, low + span))
    family = find_family()
    for name, spine in axes.spines.items():
        spine.set(linewidth=0.8, color=styles.INK, visible=name in ("left", "bottom"))
    axes.tick_params(labelsize=6.5, color=styles.INK, labelcolor=styles.INK, length=2.5)
    axes.locator_params(axis="y", nbins=5)
    axes.xaxis.set_major_formatter(lambda value, _: words.with_unit(value, "m"))
    axes.yaxis.set_major_formatter(lambda value, _: _height(value, span))
    for label in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        label.set_fontfamily(family)
    axes.text(
        1,
        -6.5 / high,
        f"{section.direction}; heights drawn ×{section.stretch}",
        transform=axes.transAxes,
        ha="right",
        va="top",
        fontsize=6.5,
        color=styles.SECOND_INK,
        family=family,
    )
    return axes


def _height(value: float, span: float) -> str:
    return words.with_unit(value, "m", 0 if span > 6 else 1)


def _draw_cold_air(axes: Axes, section: Section) -> None:
    """Tint held cold air and lay level lines through it."""
    top = section.height + section.cold_air
    held = section.cold_air > 0
    axes.fill_between(
        section.distance,
        section.height,
        top,
        where=list(held),
        color=styles.COLD_AIR_TINT,
        alpha=0.35,
        lw=0,
    )
    low, high = axes.get_ylim()
    for level in np.arange(low, high, (high - low) / 45):
        inside = held & (section.height < level) & (level < top)
        line = np.where(inside, level, np.nan)
        axes.plot(section.distance, line, color=styles.COLD_AIR, lw=0.5)


Note = tuple[float, float, str]


def _note_pool(section: Section) -> Note:
    deep = np.flatnonzero(section.cold_air > 0.9 * section.pool_depth)
    deepest = int(deep[len(deep) // 2])
    top = float(section.height[deepest] + section.pool_depth)
    depth = words.with_unit(
        section.pool_depth, "m", 0 if section.pool_depth >= 3 else 1
    )
    level = words.with_unit(top, "m")
    return (
        float(section.distance[deepest]),
        top,
        f"cold air held up to {level}, {depth} deep",
    )


def _draw_barriers(axes: Axes, survey: Survey, section: Section) -> list[Note]:
    """Draw each barrier that the line crosses, as high as it is."""
    barriers = survey.site.vectors["barriers"]
    notes = []
    for row, shape in zip(barriers.itertuples(), barriers.geometry, strict=True):
        crossing = shape.intersection(section.line)
        if crossing.is_empty:
            continue
        place = float(section.line.project(crossing.representative_point()))
        foot = float(np.interp(place, section.distance, section.height))
        height = float(np.nan_to_num(row.height_m))
        growing = row.kind in ("hedge", "wood")
        colour = styles.HEDGE if growing else styles.INK
        axes.plot([place, place], [foot, foot + height], color=colour, lw=2.6)
        kind = written(row.kind) or "barrier"
        text = f"{kind}, {words.with_unit(height, 'm', 1)} high" if height else kind
        notes.append((place, foot + height, text.replace(".0", "")))
    return notes


def _draw_blocks(axes: Axes, section: Section, blocks: list[Block]) -> None:
    """Mark each block along the ground, its number and class under it."""
    for block in blocks:
        crossing = block.shape.intersection(section.line)
        for part in hatching.find_parts(crossing, LineString):
            ends = sorted(section.line.project(shapely.Point(c)) for c in part.coords)
            inside = (section.distance >= ends[0]) & (section.distance <= ends[-1])
            ground = np.where(inside, section.height, np.nan)
            axes.plot(section.distance, ground, color=block.style.ink, lw=3.5)
            _name_block(axes, section, block, (ends[0], ends[-1]))


def _name_block(
    axes: Axes, section: Section, block: Block, ends: tuple[float, float]
) -> None:
    room = (ends[1] - ends[0]) / section.distance[-1] * ACROSS
    text = f"{block.number} {block.best_class}"
    if measure_text(text, 6.5) > room:
        text = str(block.number)
    if measure_text(text, 6.5) <= room:
        middle = sum(ends) / 2
        foot = float(np.interp(middle, section.distance, section.height))
        _write(axes, (middle, foot - 4 * section.metres_per_mm), text)


def _write(axes: Axes, place: tuple[float, float], text: str) -> None:
    axes.text(
        *place,
        text,
        ha="center",
        va="center",
        fontsize=6.5,
        color=styles.INK,
        family=find_family(),
        parse_math=False,
        bbox={
            "facecolor": styles.PAPER,
            "pad": 1.2,
            "lw": 0.5,
            "edgecolor": styles.INK,
        },
    )


def _write_notes(axes: Axes, section: Section, notes: list[Note]) -> None:
    """Write notes above the ground, the leftmost highest: no line crosses a text."""
    length = float(section.distance[-1])
    step = 3.4 * section.metres_per_mm
    level = -np.inf
    for place, top, text in sorted(notes, reverse=True)[-5:]:
        width = measure_text(text, 6.5) * length / ACROSS
        side = "left" if place + width < length else "right"
        end = place + width if side == "left" else place - width
        over = (section.distance - place) * (section.distance - end) <= 0
        peak = max(float(section.height[over].max(initial=top)), top)
        level = max(peak + step, level + step)
        axes.plot([place, place], [top, level], color=styles.INK, lw=0.5, clip_on=False)
        axes.annotate(
            text,
            (place, level),
            (2 if side == "left" else -2, 0),
            textcoords="offset points",
            ha="left" if side == "left" else "right",
            va="center",
            fontsize=6.5,
            color=styles.INK,
            family=find_family(),
            parse_math=False,
        )
