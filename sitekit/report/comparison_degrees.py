"""Degrees on a small map: fixed colours, level lines over cold."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
from matplotlib.colors import to_rgb
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from shapely import LineString

from sitekit import words
from sitekit.cartography import styles
from sitekit.cartography.drawing import Sheet, draw_lines, draw_relief, write_text
from sitekit.cartography.images import classify
from sitekit.cartography.styles import LayerStyle
from sitekit.cartography.symbols import WATER
from sitekit.grid import Grid
from sitekit.site import Site

#: Level lines: a class whose upper limit is this or lower has them this far apart.
PITCHES = ((-2.0, 3.5), (-1.0, 6.0), (-0.5, 9.0))
#: Width of a level line, and distance between marks of ground not known. [px]
LINE, UNKNOWN_PITCH = 0.8, 24.0
#: Above the relief, under everything that is drawn.
COLOURS, LINES = WATER - 0.8, WATER - 0.6

Lattice = tuple[NDArray[Any], NDArray[Any]]


def night_style() -> LayerStyle:
    """Find how degrees look: the same on every map, before and after."""
    return next(s for s in styles.LAYER_STYLES if s.pattern == "frost_night_offset")


def is_level(lower: float, upper: float) -> bool:
    """Tell whether a class holds nought: too little to be called a change.

    Examples
    --------
    >>> is_level(-0.5, 0.5), is_level(0.5, 1.0)
    (True, False)
    """
    return lower < 0 < upper


def find_pitch(upper: float) -> float:
    """Find how far apart the level lines of a class stand. [px].

    Examples
    --------
    >>> find_pitch(-1.0), find_pitch(0.5)
    (6.0, 0.0)
    """
    return next((pitch for limit, pitch in PITCHES if upper <= limit), 0.0)


def list_classes() -> list[tuple[float, float, str]]:
    """List the classes of degrees: lower and upper limit [degC], and colour."""
    style = night_style()
    limits = (-np.inf, *style.limits, np.inf)
    pairs = zip(pairwise(limits), style.colours, strict=True)
    return [(lower, upper, colour) for (lower, upper), colour in pairs]


def name_class(lower: float, upper: float) -> str:
    r"""Write a class of degrees for a key.

    Examples
    --------
    >>> name_class(-1.0, -0.5), name_class(1.0, np.inf)
    ('−1 to −0.5', 'over +1')
    """
    if not np.isfinite(lower):
        return f"under {_figure(upper)}"
    if not np.isfinite(upper):
        return f"over {_figure(lower)}"
    return f"{_figure(lower)} to {_figure(upper)}"


def _figure(value: float) -> str:
    return words.offset(value).partition(words.NO_BREAK)[0]


def draw_degrees(
    sheet: Sheet, values: NDArray[np.float32], site: Site, *, difference: bool = False
) -> None:
    """Draw relief and degrees, with level lines over cold.

    Parameters
    ----------
    sheet : Sheet
        Where.
    values : (row, column) ndarray
        Degrees on the grid of the site; NaN where not known. [degC]
    site : Site
        Its ground lies under the colours.
    difference : bool
        The degrees are a change: the class that holds nought stays without tint.
    """
    draw_relief(sheet, site.elevation, site.grid)
    relief = sheet.axes.images[-1]
    tones = np.asarray(relief.get_array())[..., 0] / to_rgb(styles.RELIEF_PAPER)[0]
    lattice = _make_lattice(relief.get_extent(), tones.shape)
    codes = classify(sample(values, site.grid, lattice), night_style().limits)
    sheet.axes.imshow(
        _colour(codes, tones, difference=difference),
        extent=relief.get_extent(),
        interpolation="none",
        aspect="auto",
        zorder=COLOURS,
    )
    west, south, east, north = sheet.bounds
    sheet.axes.set(xlim=(west, east), ylim=(south, north))
    lines = list(_find_level_lines(sheet, codes, lattice))
    draw_lines(sheet, lines, styles.COLD_AIR, LINE, order=LINES)
    dry = sample(site.water_mask.astype(np.float32), site.grid, lattice) < 0.5
    _mark_unknown(sheet, (codes == 0) & dry, lattice)


def _make_lattice(
    extent: tuple[float, float, float, float], shape: tuple[int, ...]
) -> Lattice:
    """Find the middle of each dot of a picture: eastings, northings. [m]."""
    west, east, south, north = extent
    across, down = (east - west) / shape[1], (north - south) / shape[0]
    return (
        west + across * (np.arange(shape[1]) + 0.5),
        north - down * (np.arange(shape[0]) + 0.5),
    )


def sample(
    values: NDArray[np.float32], grid: Grid, lattice: Lattice
) -> NDArray[np.float32]:
    """Read values between cells; the nearest cell's beside one that is not known.

    Parameters
    ----------
    values : (row, column) ndarray
        On the grid; NaN where not known.
    grid : Grid
        Where they lie.
    lattice : tuple of ndarray
        Eastings and northings of the dots. [m]

    Returns
    -------
    sampled : (northing, easting) ndarray
        NaN where the nearest cell is not known.
    """
    x, y = lattice
    places = np.meshgrid(
        (grid.north - y) / grid.cell_size - 0.5,
        (x - grid.west) / grid.cell_size - 0.5,
        indexing="ij",
    )
    nearest = map_coordinates(values, places, order=0, mode="nearest")
    between = map_coordinates(values, places, order=1, mode="nearest")
    sampled: NDArray[np.float32] = np.where(np.isfinite(between), between, nearest)
    return sampled


def _colour(
    codes: NDArray[np.uint8], tones: NDArray[np.float64], *, difference: bool
) -> NDArray[np.float64]:
    """Multiply the colour of each class by the relief; clear where no tint is due."""
    classes = list_classes()
    table = np.array([to_rgb("#FFFFFF"), *(to_rgb(colour) for *_, colour in classes)])
    clear = [False, *(difference and is_level(low, high) for low, high, _ in classes)]
    strength = styles.RELIEF_OPACITY[night_style().family]
    shaded = 1 - strength * (1 - tones)
    shaded[codes == 0] = 1.0
    opacity = np.where(np.array(clear)[codes], 0.0, 1.0)
    return np.dstack([table[codes] * shaded[..., None], opacity])


def _find_level_lines(
    sheet: Sheet, codes: NDArray[np.uint8], lattice: Lattice
) -> Iterator[LineString]:
    """Find the level lines over cold, on one lattice for all maps."""
    x, y = lattice
    half = (x[1] - x[0]) / 2 if len(x) > 1 else sheet.metres(1)
    pitches = np.array([0.0, *(find_pitch(upper) for _, upper, _ in list_classes())])
    for pitch in {p for p in pitches if p}:
        wanted = np.isin(codes, np.flatnonzero(pitches == pitch))
        step = sheet.pixels(pitch)
        for k in range(int(np.ceil(y[-1] / step)), int(y[0] // step) + 1):
            row = wanted[int(np.abs(y - k * step).argmin())]
            for start, end in find_runs(row):
                yield LineString(
                    [(x[start] - half, k * step), (x[end] + half, k * step)]
                )


def find_runs(row: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Find where runs of true values begin and end, both counted in.

    Examples
    --------
    >>> find_runs(np.array([True, True, False, True]))
    [(0, 1), (3, 3)]
    """
    turns = np.flatnonzero(np.diff(np.concatenate([[False], row, [False]])))
    return [
        (int(start), int(end) - 1)
        for start, end in zip(turns[::2], turns[1::2], strict=True)
    ]


def _mark_unknown(sheet: Sheet, unknown: NDArray[np.bool_], lattice: Lattice) -> None:
    """Write rows of "?" over ground that is not known."""
    x, y = lattice
    dot = (sheet.bounds[2] - sheet.bounds[0]) / len(x)
    step = max(round(sheet.pixels(UNKNOWN_PITCH) / dot), 1)
    for row in range(step // 2, len(y), step):
        for column in range(step // 2, len(x), step):
            if unknown[row, column]:
                write_text(sheet, (x[column], y[row]), "?", 7, order=LINES)
