"""The field: polygons, one walked line that closes, or corners."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from geopandas import GeoDataFrame, GeoSeries
from pyproj import CRS, Transformer

from sitekit import words
from sitekit.errors import InputError
from sitekit.io.projection import find_utm
from sitekit.io.schemas import FIELD
from sitekit.io.vectors import VectorSource, kind_of_file, read_vector
from sitekit.site import Remark

#: A gap up to this share of a walked line is closed.
LARGEST_GAP = 0.1
#: A field below this is taken for a mistake. [m²]
SMALLEST_FIELD = 100.0
#: Pieces of a mended field below this share of it are dropped.
SMALLEST_PIECE = 0.01
WGS84 = CRS.from_epsg(4326)


@dataclass(frozen=True)
class FieldReading:
    """A field as it was read.

    Parameters
    ----------
    frame : GeoDataFrame
        Polygons with ``name``, one row a part, in the file's coordinate system.
    area : float
        Area on the ground. [m²]
    remarks : tuple of Remark
        What was mended or is doubtful.
    """

    frame: GeoDataFrame
    area: float
    remarks: tuple[Remark, ...]


def read_field(source: VectorSource) -> FieldReading:
    """Read a field from a vector file.

    Parameters
    ----------
    source : VectorSource
        Polygons, or one track or line that closes or nearly closes.

    Returns
    -------
    reading : FieldReading
        Valid polygons.

    Raises
    ------
    InputError
        Points, an open line, several lines, no shape, or hardly any area.
    """
    frame = read_vector(source, "field", FIELD)
    if frame.empty:
        message = f"{source.name} holds no shape. Draw the field as a polygon."
        raise InputError(message)
    remarks: list[Remark] = []
    lines = frame[frame.geom_type == "LineString"]
    polygons = frame[frame.geom_type == "Polygon"]
    if polygons.empty:
        polygons = _from_line(lines, source, remarks)
        if kind_of_file(source.file) == "GPX":
            text = "is a walked track: its edge is good to 3 to 5 m"
            remarks.append(Remark("doubtful", source.name, text))
    elif len(polygons) < len(frame):
        text = f"only its polygons are taken; {len(frame) - len(polygons)} left out"
        remarks.append(Remark("mended", source.name, text))
    return _finish(polygons, source.name, remarks)


def field_from_corners(corners: Sequence[Sequence[float]]) -> FieldReading:
    """Make a field from corners as a phone shows them.

    Parameters
    ----------
    corners : sequence of (latitude, longitude)
        At least three corners in the order walked. [degree]

    Returns
    -------
    reading : FieldReading
        One polygon in WGS 84.

    Raises
    ------
    InputError
        Fewer than three corners, or numbers that are no latitude.
    """
    points = np.asarray(corners, dtype=np.float64).reshape(-1, 2)
    if len(np.unique(points, axis=0)) < 3:
        message = f"corners holds {len(points)} points. Give at least three corners."
        raise InputError(message)
    _check_degrees(points)
    ring = shapely.Polygon(points[:, ::-1])
    frame = GeoDataFrame({"name": [""]}, geometry=[ring], crs=WGS84)
    text = (
        f"{len(points)} corners read as latitude, longitude from a phone: its edge "
        "is good to 3 to 5 m"
    )
    return _finish(frame, "corners", [Remark("doubtful", "corners", text)])


def field_from_outline(outline: GeoDataFrame, name: str) -> FieldReading:
    """Take a field from a polygon that was read already.

    Parameters
    ----------
    outline : GeoDataFrame
        One or more polygons with their coordinate system.
    name : str
        Name of the field, for messages.

    Returns
    -------
    reading : FieldReading
        Valid polygons.

    Raises
    ------
    InputError
        No polygon in it, or hardly any area.
    """
    shapes = outline.geometry.explode(index_parts=False)
    polygons = shapes[shapes.geom_type == "Polygon"]
    if polygons.empty:
        message = f"{name} holds no polygon. Draw the field as a polygon."
        raise InputError(message)
    frame = GeoDataFrame(
        {"name": [""] * len(polygons)},
        geometry=shapely.force_2d(polygons.to_numpy()),
        crs=outline.crs,
    )
    return _finish(frame, name, [])


def _check_degrees(points: np.ndarray) -> None:
    latitudes, longitudes = points.T
    if not np.isfinite(points).all() or (np.abs(longitudes) > 360).any():
        message = "corners: a longitude lies outside −180 to 180. Give [lat, lon]."
        raise InputError(message)
    wrong = np.abs(latitudes) > 90
    if wrong.any():
        hint = ""
        if (np.abs(longitudes) <= 90).all():
            hint = " They look swapped: write [lat, lon], latitude first."
        message = f"corners: latitude {latitudes[wrong][0]:g} is not possible.{hint}"
        raise InputError(message)


def _from_line(
    lines: GeoDataFrame, source: VectorSource, remarks: list[Remark]
) -> GeoDataFrame:
    if lines.empty:
        message = (
            f"{source.name} holds points. A field is polygons, or one line that "
            "closes: record a track while walking its edge."
        )
        raise InputError(message)
    if lines["name"].nunique() > 1 or (len(lines) > 1 and not _joined(lines)):
        message = (
            f"{source.name} holds {len(lines)} lines. A field is polygons, or one "
            "line that closes: keep only that line."
        )
        raise InputError(message)
    line = shapely.LineString(
        np.vstack([shapely.get_coordinates(part) for part in lines.geometry])
    )
    _check_gap(GeoSeries([line], crs=lines.crs), source, remarks)
    ring = shapely.LineString([*line.coords, line.coords[0]])
    faces = shapely.get_parts(shapely.polygonize([shapely.unary_union(ring)]))
    if not shapely.is_simple(ring):
        text = "the line crosses itself; all that it encloses is taken"
        remarks.append(Remark("mended", source.name, text))
    if not len(faces):
        message = f"{source.name} encloses no ground. Walk round the field."
        raise InputError(message)
    whole = shapely.unary_union(list(faces))
    return GeoDataFrame(
        {"name": [lines["name"].iloc[0]]}, geometry=[whole], crs=lines.crs
    )


def _joined(lines: GeoDataFrame) -> bool:
    """Tell whether the pieces of a track follow one another."""
    parts = list(_metres(lines).geometry)
    length = sum(part.length for part in parts)
    gaps = [
        shapely.Point(a.coords[-1]).distance(shapely.Point(b.coords[0]))
        for a, b in pairwise(parts)
    ]
    return bool(max(gaps) <= LARGEST_GAP * length)


def _check_gap(line: GeoSeries, source: VectorSource, remarks: list[Remark]) -> None:
    level = _metres(line).iloc[0]
    gap = shapely.Point(level.coords[0]).distance(shapely.Point(level.coords[-1]))
    if gap > LARGEST_GAP * level.length:
        message = (
            f"{source.name} is an open line: {gap:.0f} m are missing between its end "
            f"and its start, of {level.length:.0f} m. Walk on to where it began, or "
            "draw a polygon."
        )
        raise InputError(message)
    if gap > 0:
        text = f"a gap of {words.with_unit(gap, 'm')} between end and start is closed"
        remarks.append(Remark("mended", source.name, text))


def _finish(frame: GeoDataFrame, name: str, remarks: list[Remark]) -> FieldReading:
    mended = _mend(frame, name, remarks)
    area = float(_metres(mended).area.sum()) if len(mended) else 0.0
    if area < SMALLEST_FIELD:
        message = (
            f"{name}: the field has an area of {area:.0f} m². Draw its whole edge, "
            f"at least {SMALLEST_FIELD:.0f} m²."
        )
        raise InputError(message)
    return FieldReading(mended, area, tuple(remarks))


def _mend(frame: GeoDataFrame, name: str, remarks: list[Remark]) -> GeoDataFrame:
    broken = ~frame.geometry.is_valid
    mended = frame.copy()
    if broken.any():
        before = float(_metres(frame).area.sum())
        mended.geometry = shapely.make_valid(frame.geometry.array)
    mended = mended.explode(ignore_index=True, index_parts=False)
    mended = mended[mended.geom_type == "Polygon"]
    if mended.empty:
        return mended
    areas = _metres(mended).area
    mended = mended[areas >= SMALLEST_PIECE * areas.max()].reset_index(drop=True)
    if broken.any():
        after = float(_metres(mended).area.sum())
        text = (
            "its edge crosses itself and is mended; the area changes by "
            f"{words.with_unit(after - before, 'm²')}"
        )
        remarks.append(Remark("mended", name, text))
    return _without_overlap(mended, name, remarks)


def _without_overlap(
    frame: GeoDataFrame, name: str, remarks: list[Remark]
) -> GeoDataFrame:
    """Count ground that two parts share once, for the earlier part."""
    parts = list(frame.geometry)
    for i, part in enumerate(parts):
        earlier = shapely.unary_union(parts[:i])
        if part.relate_pattern(earlier, "T********"):
            parts[i] = part.difference(earlier)
    cut = frame.set_geometry(GeoSeries(parts, index=frame.index, crs=frame.crs))
    lost = float(_metres(frame).area.sum() - _metres(cut).area.sum())
    if lost < 1.0:
        return frame
    text = f"parts overlap by {words.area(lost)}; it is counted once"
    remarks.append(Remark("mended", name, text))
    cut = cut.explode(ignore_index=True, index_parts=False)
    return cut[cut.geom_type == "Polygon"].reset_index(drop=True)


def _metres(frame: GeoDataFrame | GeoSeries) -> GeoDataFrame | GeoSeries:
    """Take shapes to the local zone, where lengths and areas are true."""
    west, south, east, north = frame.total_bounds
    to_degrees = Transformer.from_crs(frame.crs, WGS84, always_xy=True)
    middle = to_degrees.transform((west + east) / 2, (south + north) / 2)
    return frame.to_crs(find_utm(*middle))
