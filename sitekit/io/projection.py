"""Choose the coordinate system of a site, and read units out of one."""

from typing import Final

import numpy as np
from affine import Affine
from pyproj import CRS, Geod, Transformer
from pyproj.exceptions import CRSError, ProjError

from sitekit.errors import CrsError

#: How far the scale may be from true at the field. [1]
SCALE_TOLERANCE: Final = 0.005
#: Length over which the scale is measured. [m]
BASELINE: Final = 100.0

WGS84: Final = Geod(ellps="WGS84")

#: West and east end of the widened zones of Svalbard, and their number. [degree]
SVALBARD: Final = ((0, 9, 31), (9, 21, 33), (21, 33, 35), (33, 42, 37))


def parse_crs(text: str, key: str = "elevation_crs or --elevation-crs") -> CRS:
    """Read the name of a coordinate system.

    Parameters
    ----------
    text : str
        Such as ``EPSG:25833``.
    key : str
        Where it stands, for the message.

    Returns
    -------
    crs : pyproj.CRS
        A map or geographic system.

    Raises
    ------
    CrsError
        Where it is neither.
    """
    try:
        crs = CRS.from_user_input(text)
    except CRSError as error:
        message = (
            f'{key} "{text}" is not a coordinate system that is known. '
            "Write it as EPSG:25833."
        )
        raise CrsError(message) from error
    if not (crs.is_geographic or crs.is_projected):
        message = (
            f'{key} "{text}" is not a map or geographic coordinate system. '
            "Write one, as EPSG:25833."
        )
        raise CrsError(message)
    return crs


def find_utm_zone(longitude: float, latitude: float) -> int:
    """Find the UTM zone of a place, with the exceptions of Norway and Svalbard.

    The meridian of 180 degrees belongs to zone 1.

    Parameters
    ----------
    longitude, latitude : float
        The place. [degree]

    Returns
    -------
    zone : int
        1 to 60.

    References
    ----------
    DMA TM 8358.2 (1989), *The Universal Grids*.

    Examples
    --------
    >>> find_utm_zone(5.33, 60.39), find_utm_zone(15.63, 78.22)
    (32, 33)
    """
    if 56 <= latitude < 64 and 3 <= longitude < 12:
        return 32
    if 72 <= latitude < 84:
        for west, east, zone in SVALBARD:
            if west <= longitude < east:
                return zone
    return int((longitude + 180) // 6 % 60) + 1


def find_utm(longitude: float, latitude: float) -> CRS:
    """Find the UTM coordinate system of a place (WGS 84).

    Examples
    --------
    >>> find_utm(15.0, 60.0).to_epsg(), find_utm(-72.5, -45.4).to_epsg()
    (32633, 32718)
    """
    base = 32600 if latitude >= 0 else 32700
    return CRS.from_epsg(base + find_utm_zone(longitude, latitude))


def find_horizontal(crs: CRS) -> CRS:
    """Take the horizontal part of a coordinate system."""
    if crs.is_compound:
        return find_horizontal(crs.sub_crs_list[0])
    return crs.to_2d() if len(crs.axis_info) > 2 else crs


def find_height_unit(crs: CRS) -> float | None:
    """Find the unit of heights that a coordinate system names.

    Returns
    -------
    metres : float or None
        Length of the unit, None where the system has no height. [m]
    """
    for axis in crs.axis_info:
        if axis.direction in ("up", "down"):
            return float(axis.unit_conversion_factor)
    return None


def serves(crs: CRS, longitude: float, latitude: float) -> bool:
    """Tell whether lengths in a coordinate system are true metres at a place.

    Parameters
    ----------
    crs : pyproj.CRS
        Horizontal coordinate system.
    longitude, latitude : float
        The place. [degree]

    Returns
    -------
    serves : bool
        Projected in metres, axes east and north, scale within 0.5 % of true in
        both directions.
    """
    if not crs.is_projected:
        return False
    if any(axis.unit_conversion_factor != 1.0 for axis in crs.axis_info):
        return False
    if any(axis.direction in ("west", "down") for axis in crs.axis_info):
        return False
    scales = _scales(crs, longitude, latitude)
    return all(abs(scale - 1.0) <= SCALE_TOLERANCE for scale in scales)


def _scales(crs: CRS, longitude: float, latitude: float) -> tuple[float, float]:
    """Measure the scale on the ellipsoid along easting and northing.

    Not from the projection's own factors: a projection of the sphere that is fed
    with ellipsoidal latitudes reports factors that are true on the sphere only.
    """
    to_degrees = Transformer.from_crs(crs, 4326, always_xy=True)
    try:
        x, y = to_degrees.transform(longitude, latitude, direction="INVERSE")
        lons, lats = to_degrees.transform(
            np.array([x - BASELINE, x + BASELINE, x, x]),
            np.array([y, y, y - BASELINE, y + BASELINE]),
        )
    except ProjError:
        return np.nan, np.nan
    lengths = (
        WGS84.line_length(lons[:2], lats[:2]),
        WGS84.line_length(lons[2:], lats[2:]),
    )
    return 2 * BASELINE / lengths[0], 2 * BASELINE / lengths[1]


def find_spacing(
    crs: CRS, transform: Affine, longitude: float, latitude: float
) -> float:
    """Measure the spacing of the rows of a raster on the ground at a place.

    Parameters
    ----------
    crs : pyproj.CRS
        Horizontal coordinate system of the raster.
    transform : Affine
        From (column, row) to its coordinates.
    longitude, latitude : float
        The place. [degree]

    Returns
    -------
    spacing : float
        Distance from one row to the next: as the raster says where its system
        serves, else measured on the ellipsoid. [m]
    """
    if serves(crs, longitude, latitude):
        return float(np.hypot(transform.b, transform.e))
    to_degrees = Transformer.from_crs(crs, 4326, always_xy=True)
    x, y = to_degrees.transform(longitude, latitude, direction="INVERSE")
    lons, lats = to_degrees.transform(
        [x - transform.b / 2, x + transform.b / 2],
        [y - transform.e / 2, y + transform.e / 2],
    )
    return float(WGS84.line_length(lons, lats))
