"""Pictures of the ground: the relief and the flat colour layers, as small PNGs.

The web map lies in Mercator (EPSG:3857), turned against the survey's grid. Every
picture is warped cell by cell, never laid unwarped into a box of degrees: that
would be wrong by tens of metres.
"""

from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageColor
from pyproj import CRS, Transformer
from rasterio.transform import from_bounds
from rasterio.warp import Resampling, calculate_default_transform, reproject

from sitekit.cartography.styles import LayerStyle
from sitekit.grid import Grid

WEB = CRS.from_epsg(3857)
#: No picture has more cells on a side.
LONGEST_SIDE = 1000
#: Greys of the relief.
GREYS = 24
#: Directions that the relief is lit from, clockwise from north. [degree]
LIGHTS = (225.0, 270.0, 315.0, 360.0)
#: Height of the light. [degree]
LIGHT_HEIGHT = 45.0
#: Tone of most of the ground, 0 black to 1 white.
LEVEL_TONE = 0.9
#: Ground whose steepest tenth is gentler than this is drawn twice as high. [m/m]
GENTLE = 0.27


@dataclass(frozen=True)
class WebFrame:
    """Where a picture lies on the web map.

    Parameters
    ----------
    west, south, east, north : float
        Outer edges. [m, Mercator]
    shape : tuple of int
        Rows and columns.
    """

    west: float
    south: float
    east: float
    north: float
    shape: tuple[int, int]

    @property
    def corners(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """South-west and north-east corner. [latitude, longitude in degree]."""
        to_degrees = Transformer.from_crs(WEB, 4326, always_xy=True)
        west, south = to_degrees.transform(self.west, self.south)
        east, north = to_degrees.transform(self.east, self.north)
        return (south, west), (north, east)


@dataclass(frozen=True)
class Picture:
    """A PNG and where it lies.

    Parameters
    ----------
    png : bytes
        The file.
    frame : WebFrame
        Where it lies.
    """

    png: bytes
    frame: WebFrame

    @property
    def address(self) -> str:
        """The file as an address that holds it all, so that nothing is fetched."""
        return f"data:image/png;base64,{b64encode(self.png).decode('ascii')}"


def find_frame(
    grid: Grid, finer: int = 1, longest: int = LONGEST_SIDE, most: int = 0
) -> WebFrame:
    """Find the rectangle of the web map that holds a grid.

    Parameters
    ----------
    grid : Grid
        The survey's grid.
    finer : int
        Cells of the picture for one cell of the grid, where the caps allow.
    longest : int
        Most cells on a side.
    most : int
        Most cells in all; 0 for no such cap.

    Returns
    -------
    frame : WebFrame
        Edges and cells.

    Examples
    --------
    >>> grid = Grid(CRS.from_epsg(32633), 500000.0, 5130000.0, 5.0, (400, 3000))
    >>> find_frame(grid).shape[1]
    1000
    """
    rows, columns = grid.shape
    transform, width, height = calculate_default_transform(
        grid.crs, WEB, columns, rows, *grid.bounds
    )
    west, north = transform.c, transform.f
    east, south = west + width * transform.a, north + height * transform.e
    scale = min(finer, longest / max(width, height))
    if most:
        scale = min(scale, (most / (width * height)) ** 0.5)
    shape = (max(1, int(height * scale)), max(1, int(width * scale)))
    return WebFrame(west, south, east, north, shape)


def warp(
    values: NDArray[Any], grid: Grid, frame: WebFrame, *, nearest: bool = False
) -> NDArray[np.float32]:
    """Bring an array of the grid onto a frame of the web map.

    Parameters
    ----------
    values : (row, column) ndarray
        The array; NaN where missing.
    grid : Grid
        The grid that it lies on.
    frame : WebFrame
        Where it is wanted.
    nearest : bool
        Take the nearest cell instead of a value between cells.

    Returns
    -------
    warped : (row, column) ndarray of float32
        NaN where missing and off the grid.
    """
    rows, columns = frame.shape
    warped = np.full(frame.shape, np.nan, np.float32)
    coarser = min(grid.shape) > 1.5 * min(frame.shape)
    between = Resampling.average if coarser else Resampling.bilinear
    reproject(
        values.astype(np.float32),
        warped,
        src_transform=grid.transform,
        src_crs=grid.crs,
        src_nodata=np.nan,
        dst_transform=from_bounds(
            frame.west, frame.south, frame.east, frame.north, columns, rows
        ),
        dst_crs=WEB,
        dst_nodata=np.nan,
        resampling=Resampling.nearest if nearest else between,
        tolerance=0.0,  # the quick way is out by an eighth of a cell
    )
    return warped


def shade(ground: NDArray[np.float32], cell_size: float) -> NDArray[np.float32]:
    """Light the ground from several sides.

    Parameters
    ----------
    ground : (row, column) ndarray
        Height of the ground; NaN where missing. [m]
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    tone : (row, column) ndarray of float32
        0 black to 1 white; NaN where missing.

    References
    ----------
    Horn, B.K.P. (1981). Hill shading and the reflectance map. Proceedings of the
    IEEE 69(1), 14-47.

    Examples
    --------
    >>> tone = shade(np.zeros((3, 3), np.float32), 5.0)
    >>> round(float(tone[1, 1]), 2)
    0.9
    """
    southward, eastward = np.gradient(ground.astype(np.float64), cell_size)
    steep = np.hypot(southward, eastward)
    known = steep[np.isfinite(steep)]
    gentle = known.size > 0 and np.percentile(known, 90) < GENTLE
    height = 2.0 if gentle else 1.0
    east, north = -eastward * height, southward * height
    length = np.sqrt(1 + east**2 + north**2)
    low = np.cos(np.radians(LIGHT_HEIGHT))
    level = np.sin(np.radians(LIGHT_HEIGHT))
    lit = np.zeros_like(steep)
    for bearing in np.radians(LIGHTS):
        facing = east * np.sin(bearing) + north * np.cos(bearing)
        lit += np.clip((level + low * facing) / length, 0, None) / len(LIGHTS)
    # Ground that slopes one way all over would be dark as a whole: its own middle
    # tone is taken for level.
    usual = np.nanmedian(lit) if known.size else level
    tone: NDArray[np.float32] = np.clip(LEVEL_TONE * lit / usual, 0.35, 1.0).astype(
        np.float32
    )
    return tone


def draw_relief(ground: NDArray[np.float32], grid: Grid) -> Picture:
    """Draw the relief in greys, to be laid over paper and colours.

    Parameters
    ----------
    ground : (row, column) ndarray
        Height of the ground; NaN where missing. [m]
    grid : Grid
        The grid that it lies on.

    Returns
    -------
    picture : Picture
        Transparent where the ground is missing.
    """
    frame = find_frame(grid)
    tone = warp(shade(ground, grid.cell_size), grid, frame)
    codes = np.full(frame.shape, GREYS, np.uint8)
    known = np.isfinite(tone)
    codes[known] = np.clip(np.round(tone[known] * (GREYS - 1)), 0, GREYS - 1)

    colours = ["#" + f"{round(255 * i / (GREYS - 1)):02x}" * 3 for i in range(GREYS)]
    return Picture(write_palette(codes, [*colours, "#ffffff"], clear=GREYS), frame)


def classify(
    values: NDArray[Any], limits: Sequence[float], blank_below: float | None = None
) -> NDArray[np.uint8]:
    """Sort values into classes.

    Parameters
    ----------
    values : (row, column) ndarray
        The layer; NaN where missing.
    limits : sequence of float
        Breaks, low to high; a value on a break belongs to the class above it.
    blank_below : float or None
        No colour below this.

    Returns
    -------
    codes : (row, column) ndarray of uint8
        1 for the lowest class and upwards; 0 for no colour.

    Examples
    --------
    >>> classify(np.array([[0.1, 0.4, 0.5, 9.0, np.nan]]), (0.5, 1), 0.3)
    array([[0, 1, 2, 3, 0]], dtype=uint8)
    """
    codes: NDArray[np.uint8] = (np.digitize(values, np.asarray(limits)) + 1).astype(
        np.uint8
    )
    codes[~np.isfinite(values)] = 0
    if blank_below is not None:
        codes[values < blank_below] = 0
    return codes


def draw_classes(
    values: NDArray[Any],
    asked: NDArray[np.bool_],
    grid: Grid,
    style: LayerStyle,
) -> Picture:
    """Draw a layer in flat colours.

    Parameters
    ----------
    values : (row, column) ndarray
        The layer in the unit of its file; NaN where missing.
    asked : (row, column) ndarray of bool
        Where the layer has something to say: there a missing value is white
        (the map lays rows of "?" over it), elsewhere it is clear.
    grid : Grid
        The grid that both lie on.
    style : LayerStyle
        Its colours and breaks.

    Returns
    -------
    picture : Picture
        Palette of at most 16 colours.
    """
    frame = find_frame(grid, finer=4)
    codes = classify(warp(values, grid, frame), style.limits, style.blank_below)
    missing = np.where(asked & ~np.isfinite(values), 1.0, 0.0)
    is_missing = warp(missing, grid, frame, nearest=True) > 0.5
    codes[is_missing] = len(style.colours) + 1
    # The value between cells reaches half a cell over the edge of what is asked.
    codes[warp(asked, grid, frame, nearest=True) < 0.5] = 0
    return Picture(write_palette(codes, ["#ffffff", *style.colours, "#ffffff"]), frame)


def write_palette(
    codes: NDArray[np.uint8], colours: Sequence[str], clear: int = 0
) -> bytes:
    """Write codes as a PNG with a palette.

    Parameters
    ----------
    codes : (row, column) ndarray of uint8
        Position of each cell's colour.
    colours : sequence of str
        The palette.
    clear : int
        The code that is transparent.

    Returns
    -------
    png : bytes
        Four bits a cell for up to 16 colours, else eight.
    """
    image = Image.fromarray(codes)
    image.putpalette([part for c in colours for part in ImageColor.getrgb(c)[:3]])
    out = BytesIO()
    image.save(
        out,
        "PNG",
        bits=4 if len(colours) <= 16 else 8,
        transparency=bytes(0 if i == clear else 255 for i in range(len(colours))),
    )
    return out.getvalue()
