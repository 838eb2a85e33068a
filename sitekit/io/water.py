"""Water: level patches of the elevation, and the shoreline of all water."""

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from rasterio import features
from scipy import ndimage
from scipy.sparse import coo_array, csgraph

from sitekit.grid import Grid
from sitekit.io.schemas import SCHEMAS, fit_columns

#: Water surface within this of the patch's median. [m]
LEVEL = 0.005
#: Smallest water that counts. [m²]
SMALLEST_WATER = 10_000.0
#: A patch must be this many times as frequent at its height as the level ground
#: that it hangs together with, or be half of it: a gentle plain is not water.
STANDS_OUT = 3.0
_WIDE = np.ones((3, 3), bool)


def find_level_water(
    elevation: NDArray[np.float32],
    field_mask: NDArray[np.bool_],
    cell_size: float,
    step: float = 0.0,
) -> tuple[NDArray[np.int32], NDArray[np.float64]]:
    """Find water as level patches of the elevation.

    A patch hangs together over cell edges, every cell lies within 0.5 cm of its
    median, it covers 1 ha or more, is 3 cells wide or more, and does not cover
    more than half of the field.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Heights as given, not smoothed; NaN where missing. [m]
    field_mask : (row, column) ndarray of bool
        Cells of the field.
    cell_size : float
        Side of a cell. [m]
    step : float
        Step of the heights, 0 where they are continuous. Ground given in steps
        is level by the cell, so that only the parts 3 cells wide count. [m]

    Returns
    -------
    labels : (row, column) ndarray of int32
        0 for ground, then one number a patch.
    levels : (patch,) ndarray
        Height of each patch's surface. [m]

    Examples
    --------
    >>> ground = np.add.outer(np.arange(40.0), np.arange(40.0))
    >>> ground[5:25, 5:25] = 7.0
    >>> labels, levels = find_level_water(ground, np.zeros((40, 40), bool), 10.0)
    >>> int((labels == 1).sum()), levels.tolist()
    (400, [7.0])
    """
    fewest = max(int(np.ceil(SMALLEST_WATER / cell_size**2)), 9)
    labels = np.zeros(elevation.shape, np.int32)
    levels: list[float] = []
    half = 0.5 * max(int(field_mask.sum()), 1)
    for window, patch in _level_patches(elevation, fewest):
        for part in _wide_parts(patch, fewest, trim=step > 0):
            if (part & field_mask[window]).sum() > half:
                continue
            levels.append(float(np.median(elevation[window][part])))
            labels[window][part] = len(levels)
    return labels, np.array(levels)


def water_frame(
    labels: NDArray[np.int32], levels: NDArray[np.float64], grid: Grid
) -> GeoDataFrame:
    """Draw the outline of each patch of water that was found.

    Parameters
    ----------
    labels, levels
        From `find_level_water`.
    grid : Grid
        Where the cells lie.

    Returns
    -------
    water : GeoDataFrame
        One polygon a patch, with the columns of the water input.
    """
    outlines = [
        (int(value), shapely.geometry.shape(outline))
        for outline, value in features.shapes(
            labels, mask=labels > 0, connectivity=4, transform=grid.transform
        )
    ]
    frame = GeoDataFrame(
        {"level_m": [float(levels[value - 1]) for value, _ in outlines]},
        geometry=[outline for _, outline in outlines],
        crs=grid.crs,
    )
    return fit_columns(frame, SCHEMAS["water"], "elevation")


def with_levels(
    water: GeoDataFrame, grid: Grid, elevation: NDArray[np.float32]
) -> GeoDataFrame:
    """Read the level of each water from the elevation on it.

    Parameters
    ----------
    water : GeoDataFrame
        Polygons on the grid's coordinate system.
    grid : Grid
        Where the cells lie.
    elevation : (row, column) ndarray
        Heights as given. [m]

    Returns
    -------
    water : GeoDataFrame
        ``level_m`` filled where it was not given and the water lies on the
        elevation: the median of the cells on it.
    """
    levels = water["level_m"].to_numpy(dtype=np.float64, copy=True)
    numbers = _burn(water, grid)
    for i in np.flatnonzero(np.isnan(levels)):
        on_it = elevation[numbers == i + 1]
        on_it = on_it[np.isfinite(on_it)]
        if on_it.size:
            levels[i] = np.median(on_it)
    return water.assign(level_m=levels)


def make_shore(
    water: GeoDataFrame, spacing: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lay points along the whole shore of all water of 1 ha or more.

    Parameters
    ----------
    water : GeoDataFrame
        Polygons with ``level_m``; may reach beyond the grid.
    spacing : float
        Largest distance between points. [m]

    Returns
    -------
    points : (point, 2) ndarray
        Easting and northing, islands included. [m]
    level : (point,) ndarray
        Height of the water there; of the nearest water whose height is known
        where its own is not; NaN where none is. [m]
    """
    large = water[water.area >= SMALLEST_WATER]
    if large.empty:
        return np.empty((0, 2)), np.empty(0)
    dense = shapely.segmentize(large.geometry.array, spacing)
    points, owner = shapely.get_coordinates(dense, return_index=True)
    return np.asarray(points), np.asarray(_nearest_known(large)[owner])


def _nearest_known(water: GeoDataFrame) -> NDArray[np.float64]:
    levels: NDArray[np.float64] = np.array(water["level_m"], dtype=np.float64)
    known = np.flatnonzero(np.isfinite(levels))
    if known.size:
        for i in np.flatnonzero(np.isnan(levels)):
            away = water.geometry.iloc[known].distance(water.geometry.iloc[i])
            levels[i] = levels[known[int(np.argmin(away))]]
    return levels


def _burn(frame: GeoDataFrame, grid: Grid) -> NDArray[np.int32]:
    """Burn into each cell the row of the shape on its centre, from 1."""
    if frame.empty:
        return np.zeros(grid.shape, np.int32)
    shapes = zip(frame.geometry, range(1, len(frame) + 1), strict=True)
    burnt: NDArray[np.int32] = features.rasterize(
        shapes, grid.shape, transform=grid.transform, dtype=np.int32
    )
    return burnt


Patches = list[tuple[tuple[slice, slice], NDArray[np.bool_]]]


def _level_patches(elevation: NDArray[np.float32], fewest: int) -> Patches:
    """List the patches whose every cell lies within 0.5 cm of their median."""
    linked = _linked(elevation)
    sizes = np.bincount(linked.ravel())
    found: Patches = []
    for number, window in enumerate(ndimage.find_objects(linked), start=1):
        if window is None or sizes[number] < fewest:
            continue
        heights = elevation[window]
        level = _fullest_level(heights[linked[window] == number])
        if np.isnan(level):
            continue
        core = (linked[window] == number) & (np.abs(heights - level) <= LEVEL)
        found.append((window, core))
    return found


def _linked(elevation: NDArray[np.float32]) -> NDArray[np.int32]:
    """Label the ground that hangs together in steps of at most 1 cm.

    Two cells of one water lie within 1 cm of each other, so that no water is
    cut; what else hangs on to it is told apart by its height.
    """
    rows, columns = elevation.shape
    number = np.arange(rows * columns).reshape(rows, columns)
    pairs = [
        (number[:, :-1], number[:, 1:], np.abs(np.diff(elevation, axis=1))),
        (number[:-1], number[1:], np.abs(np.diff(elevation, axis=0))),
    ]
    with np.errstate(invalid="ignore"):
        level = [drop <= 2 * LEVEL for _, _, drop in pairs]
    one = np.concatenate(
        [a[near] for (a, _, _), near in zip(pairs, level, strict=True)]
    )
    other = np.concatenate(
        [b[near] for (_, b, _), near in zip(pairs, level, strict=True)]
    )
    return _components(one, other, number.size).reshape(rows, columns)


def _components(
    one: NDArray[np.int64], other: NDArray[np.int64], size: int
) -> NDArray[np.int32]:
    graph = coo_array((np.ones(one.size, np.int8), (one, other)), (size, size))
    _, labels = csgraph.connected_components(graph, directed=False)
    numbers: NDArray[np.int32] = (labels + 1).astype(np.int32)
    return numbers


def _fullest_level(heights: NDArray[np.float32]) -> float:
    """Find the height that stands out of level ground, NaN where none does."""
    ordered = np.sort(heights.astype(np.float64))
    reach = np.searchsorted(ordered, ordered + 2 * LEVEL, side="right")
    counts = reach - np.arange(ordered.size)
    start = int(np.argmax(counts))
    core = ordered[start : reach[start]]
    rest = ordered.size - core.size
    span = (ordered[-1] - ordered[0]) / (2 * LEVEL)
    if rest > core.size and core.size < STANDS_OUT * rest / max(span, 1.0):
        return float("nan")
    return float(np.median(core))


def _wide_parts(
    patch: NDArray[np.bool_], fewest: int, *, trim: bool
) -> list[NDArray[np.bool_]]:
    """Split a patch into the parts that are large and wide enough."""
    padded = np.pad(patch, 1)
    wide = ndimage.binary_opening(padded, _WIDE)[1:-1, 1:-1]
    numbers, count = ndimage.label(wide if trim else patch)
    parts = [numbers == i for i in range(1, count + 1)]
    return [part for part in parts if (part & wide).sum() >= fewest]
