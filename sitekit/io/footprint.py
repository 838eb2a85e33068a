"""Where the elevation lies, and whether it holds the field."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from geopandas import GeoDataFrame, GeoSeries
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer
from shapely.geometry.base import BaseGeometry

from sitekit.errors import CoverageError, InputError
from sitekit.io.sources import Source
from sitekit.words import NO_BREAK

Bounds = tuple[float, float, float, float]

#: Points on each side of a box before it is moved to another system.
SIDE_POINTS: Final = 21
#: Distance within which the side of a file is a straight line. [m]
STRAIGHT: Final = 1_000_000.0
#: Share of the field that may lie outside: no more than rounding.
SLIVER: Final = 1e-4


def move(
    here: CRS, there: CRS, x: ArrayLike, y: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Move points from one coordinate system to another; NaN where it has none."""
    moved_x, moved_y = Transformer.from_crs(here, there, always_xy=True).transform(
        np.asarray(x, np.float64), np.asarray(y, np.float64)
    )
    lost = ~(np.isfinite(moved_x) & np.isfinite(moved_y))
    return np.where(lost, np.nan, moved_x), np.where(lost, np.nan, moved_y)


def edge_points(bounds: Bounds) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Set points along the four sides of a box, closed."""
    west, south, east, north = bounds
    across = np.linspace(west, east, SIDE_POINTS)
    along = np.linspace(south, north, SIDE_POINTS)
    x = [across, np.full_like(along, east), across[::-1], np.full_like(along, west)]
    y = [np.full_like(across, south), along, np.full_like(across, north), along[::-1]]
    return np.concatenate(x), np.concatenate(y)


def find_outline(source: Source) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Set points along the four sides of a file, in its own system."""
    rows, columns = source.shape
    across, down = edge_points((0.0, 0.0, float(columns), float(rows)))
    t = source.transform
    return t.a * across + t.b * down + t.c, t.d * across + t.e * down + t.f


def find_bounds(source: Source, crs: CRS) -> Bounds | None:
    """Find the box of a file in another system, None where it has none there."""
    x, y = find_outline(source)
    if source.crs != crs:
        x, y = move(source.crs, crs, x, y)
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        return None
    return float(x.min()), float(y.min()), float(x.max()), float(y.max())


def find_home(sources: Sequence[Source], field: GeoDataFrame) -> Source:
    """Find the first file that reaches the field, and check that the field is held.

    Parameters
    ----------
    sources : sequence of Source
        In the order given.
    field : GeoDataFrame
        Polygons, in any system.

    Returns
    -------
    home : Source
        The first file that holds part of the field.

    Raises
    ------
    CoverageError
        Where the field lies outside, with how far, or partly outside, with how
        much of it is held.
    """
    whole = field.geometry.union_all()
    rest, home = whole, None
    for source in sources:
        left = _outside(rest, field.crs, source)
        if left.area < rest.area and home is None:
            home = source
        rest = left
    if home is None:
        raise _all_outside(sources, field)
    share = rest.area / whole.area
    if share > SLIVER:
        held = min(99, max(1, round(100 * (1 - share))))
        message = (
            f"{names(sources)} {'cover' if len(sources) > 1 else 'covers'} only "
            f"{held}{NO_BREAK}% of the field. Give elevation that covers it all, or "
            "correct the field's coordinates."
        )
        raise CoverageError(message)
    return home


def _outside(shape: BaseGeometry, crs: CRS, source: Source) -> BaseGeometry:
    """Take from a shape what a file covers."""
    if shape.is_empty:
        return shape
    x, y = find_outline(source)
    box = shapely.Polygon(np.column_stack([x, y]))
    there = GeoSeries([shape], crs=crs).to_crs(source.crs).iloc[0]
    if not np.isfinite(there.bounds).all() or not there.intersects(box):
        return shape
    left = there.difference(box)
    moved: BaseGeometry = GeoSeries([left], crs=source.crs).to_crs(crs).iloc[0]
    return moved


def _all_outside(sources: Sequence[Source], field: GeoDataFrame) -> CoverageError:
    """Measure on a map that is true from the field outward."""
    middle = field.to_crs(4326).geometry.union_all().centroid
    around = CRS.from_proj4(
        f"+proj=aeqd +lat_0={middle.y} +lon_0={middle.x} +datum=WGS84 +units=m"
    )
    shape = field.to_crs(around).geometry.union_all()
    distances = []
    for source in sources:
        x, y = move(source.crs, around, *find_outline(source))
        points = np.column_stack([x, y])[np.isfinite(x)]
        if len(points) > 1:
            away = shape.distance(shapely.MultiPoint(points))
            # Far off, sides that are straight on the ground are not so on the map.
            if away < STRAIGHT:
                away = shape.distance(shapely.LineString(points))
            distances.append(away)
    how_far = f" {_distance(min(distances))}" if distances else ""
    message = (
        f"The field lies{how_far} outside {names(sources)}. Give elevation that "
        "covers it, or correct the field's coordinates."
    )
    return CoverageError(message)


def _distance(metres: float) -> str:
    if metres >= 1e5:
        return f"{metres / 1000:,.0f}{NO_BREAK}km"
    if metres >= 950:
        return f"{metres / 1000:.1f}{NO_BREAK}km"
    return f"{max(1, round(metres))}{NO_BREAK}m"


def names(sources: Sequence[Source]) -> str:
    """Name the files, or count them where they are many."""
    if len(sources) > 3:
        return f"{sources[0].name} and {len(sources) - 1} more files"
    return " and ".join(source.name for source in sources)


def check_field(field: GeoDataFrame) -> None:
    """Refuse a field without a place or without area.

    Raises
    ------
    InputError
        Where it has no coordinate system, no polygon or no place on Earth.
    """
    if field.crs is None:
        message = "The field has no coordinate system. Save it with one."
        raise InputError(message)
    if field.empty or not field.geometry.union_all().area > 0:
        message = "The field has no area. Draw it as a polygon."
        raise InputError(message)
    if not np.isfinite(field.to_crs(4326).total_bounds).all():
        message = (
            f"The field lies nowhere on Earth in {field.crs.name}. Correct its "
            "coordinate system or its coordinates."
        )
        raise InputError(message)
