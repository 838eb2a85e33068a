"""Two points that can be found on the ground, from which tapes are held."""

from collections.abc import Sequence
from itertools import combinations
from typing import Annotated

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from sitekit.errors import InputError
from sitekit.results import Baseline
from sitekit.settings import Setting
from sitekit.site import Site
from sitekit.words import facing

#: Angle between two tapes under which they cross too flatly. [degree]
POOR_ANGLE = 20.0
#: Longest tape in common use. [m]
TAPE = 100.0
#: Points that the choice of a baseline looks at.
LOOKED_AT = 200
#: Marks and corners among which it is chosen, those nearest the field.
CANDIDATES = 24

#: Two points nearer than this are one mark. [m]
SAME = 0.005

#: Kind of a control mark that checks the others.
CHECK = "check"

Named = tuple[str, float, float]


def choose_baseline(
    site: Site,
    targets: NDArray[np.float64] | None = None,
    *,
    taped_length: float | None = None,
    least_baseline: Annotated[
        float, Setting("m", "Shortest distance between two marks.", low=1)
    ] = 15.0,
    mark_error: Annotated[
        float, Setting("m", "Standard error of a control mark.", low=0)
    ] = 0.02,
    outline_error: Annotated[
        float, Setting("m", "Error of the field's outline and of things on a map.")
    ] = 3.0,
) -> Baseline:
    """Choose the two points from which most of the plan is taped well.

    Of all pairs far enough apart that one is taken from which the most points are
    reached by tapes of at most 100 m that cross at 30 to 150 degrees, of equals
    that with most such points at any length, and then the longest.
    Without two control marks the points are things that the owner names: corners of
    buildings, ends of tracks, existing trees, and last the corners of the field.

    Parameters
    ----------
    site : Site
        Control marks, else buildings, access and field.
    targets : (point, 2) ndarray, optional
        What is to be set out; the corners of the field where not given. [m]
    taped_length : float, optional
        Length from A to B as taped by the owner; B is moved along the line. [m]
    least_baseline, mark_error, outline_error : float
        [m]

    Returns
    -------
    baseline : Baseline
        A and B.

    Raises
    ------
    InputError
        Control marks that lie too near to each other, no two points far enough
        apart, or a taped length that does not fit the map.
    """
    corners = shapely.get_coordinates(list(site.field.geometry))
    wanted = corners if targets is None or not len(targets) else targets
    wanted = wanted[:: max(1, len(wanted) // LOOKED_AT)]
    marks = _marks(site)
    surveyed = len(marks) > 1
    if surveyed:
        pair = _best_pair(marks, wanted, least_baseline)
        _check_marks(marks, pair, least_baseline)
    else:
        pair = _best_pair(marks + _things(site), wanted, least_baseline)
        pair = pair or _best_pair(_field_corners(corners), wanted, least_baseline)
    if pair is None:
        message = (
            "control_marks: no two marks or corners of the site lie "
            f"{least_baseline:g} m apart: name two marks outside the ground."
        )
        raise InputError(message)
    names, points = _held(pair, taped_length, mark_error if surveyed else outline_error)
    levels = _levels(site, np.array(points))
    return Baseline(
        names=names,
        points=points,
        levels=(float(levels[0]), float(levels[1])),
        accuracy=mark_error if surveyed else outline_error,
        surveyed=surveyed,
    )


def crossing_angles(
    points: NDArray[np.float64], ends: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Angle at each point between the tapes to A and to B.

    Parameters
    ----------
    points : (point, 2) ndarray
        Easting and northing. [m]
    ends : (2, 2) ndarray
        A and B. [m]

    Returns
    -------
    angles : (point,) ndarray
        0 to 180; 0 at A and at B themselves. [degree]
    """
    to_a, to_b = ends[0] - points, ends[1] - points
    turn = to_a[:, 0] * to_b[:, 1] - to_a[:, 1] * to_b[:, 0]
    angles: NDArray[np.float64] = np.degrees(
        np.arctan2(np.abs(turn), (to_a * to_b).sum(axis=1))
    )
    return angles


def sample_heights(site: Site, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Height of the ground at points, between the cells around each.

    Parameters
    ----------
    site : Site
        Elevation and grid.
    points : (point, 2) ndarray
        Easting and northing. [m]

    Returns
    -------
    heights : (point,) ndarray
        NaN off the grid and beside missing cells. [m]
    """
    grid = site.grid
    x = (points[:, 0] - grid.west) / grid.cell_size - 0.5
    y = (grid.north - points[:, 1]) / grid.cell_size - 0.5
    rows, columns = grid.shape
    known = (x >= 0) & (y >= 0) & (x <= columns - 1) & (y <= rows - 1)
    x, y = np.where(known, x, 0.0), np.where(known, y, 0.0)
    column = np.minimum(x.astype(int), columns - 2)
    row = np.minimum(y.astype(int), rows - 2)
    east, south = x - column, y - row
    cells = site.elevation.astype(np.float64)
    top = cells[row, column] * (1 - east) + cells[row, column + 1] * east
    low = cells[row + 1, column] * (1 - east) + cells[row + 1, column + 1] * east
    return np.where(known, top * (1 - south) + low * south, np.nan)


def _marks(site: Site) -> list[Named]:
    """List the control marks; one that is there for checking only where it must."""
    frame = site.vectors["control_marks"]
    holding = frame[frame.get("kind", pd.Series("", frame.index)) != CHECK]
    frame = holding if len(holding) > 1 else frame
    return [
        (str(name) or f"mark {number}", point.x, point.y)
        for number, (name, point) in enumerate(
            zip(
                frame.get("name", [""] * len(frame)),
                frame.geometry.centroid,
                strict=True,
            ),
            start=1,
        )
    ]


def _levels(site: Site, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Height of each point: as surveyed where a mark stands there, else the ground."""
    levels = sample_heights(site, points)
    frame = site.vectors["control_marks"]
    if "elevation_m" not in frame:
        return levels
    places = shapely.get_coordinates(frame.geometry.centroid.to_numpy())
    for place, height in zip(places, frame["elevation_m"], strict=True):
        if np.isfinite(height):
            levels[np.hypot(*(points - place).T) < SAME] = height
    return levels


def _things(site: Site) -> list[Named]:
    """Corners and ends of things that the owner can name."""
    found: list[Named] = []
    for about, usual in (("buildings", "building"), ("access", "track")):
        frame = site.vectors[about]
        for name, kind, shape in zip(
            frame.get("name", [""] * len(frame)),
            frame.get("kind", [""] * len(frame)),
            frame.geometry,
            strict=True,
        ):
            called = str(name) or str(kind) or usual
            corners = shapely.get_coordinates(shape.simplify(0.5))
            if shapely.get_dimensions(shape) == 1:
                found += _corners_of(called, corners[[0, -1]], "end")
            else:
                found += _corners_of(called, corners)
    middle = site.field.geometry.union_all().centroid
    return sorted(
        found, key=lambda thing: np.hypot(thing[1] - middle.x, thing[2] - middle.y)
    )[:CANDIDATES]


def _field_corners(corners: NDArray[np.float64]) -> list[Named]:
    hull = shapely.MultiPoint(corners).convex_hull.simplify(2.0)
    return _corners_of("the field", shapely.get_coordinates(hull))[:CANDIDATES]


def _corners_of(
    name: str, corners: NDArray[np.float64], part: str = "corner"
) -> list[Named]:
    """Name the corners of a thing by where they lie in it."""
    corners = np.unique(corners, axis=0)
    if len(corners) == 1:
        return [(name, float(corners[0, 0]), float(corners[0, 1]))]
    east, north = (corners - corners.mean(axis=0)).T
    aspects = np.degrees(np.arctan2(east, north)) % 360
    return [
        (f"{facing(float(aspect))} {part} of {name}", float(x), float(y))
        for aspect, (x, y) in zip(aspects, corners, strict=True)
    ]


def _best_pair(
    named: Sequence[Named], wanted: NDArray[np.float64], least: float
) -> tuple[Named, Named] | None:
    def worth(pair: tuple[Named, Named]) -> tuple[int, int, float]:
        ends = np.array([pair[0][1:], pair[1][1:]], dtype=float)
        angles = crossing_angles(wanted, ends)
        well = (angles >= 30) & (angles <= 150)
        near = np.hypot(*(wanted[:, None] - ends).T).max(axis=0) <= TAPE
        length = float(np.hypot(*(ends[1] - ends[0])))
        return int((well & near).sum()), int(well.sum()), round(length, 3)

    apart = [
        (one, other)
        for one, other in combinations(named, 2)
        if np.hypot(one[1] - other[1], one[2] - other[2]) >= least
    ]
    return max(apart, key=worth, default=None)


def _check_marks(
    marks: Sequence[Named], pair: tuple[Named, Named] | None, least: float
) -> None:
    if pair is None:
        longest = max(
            np.hypot(one[1] - other[1], one[2] - other[2])
            for one, other in combinations(marks, 2)
        )
        message = (
            f"control_marks: the marks lie at most {longest:.1f} m apart, tapes need "
            f"{least:g} m: add a mark farther off, or leave the file out."
        )
        raise InputError(message)


def _held(
    pair: tuple[Named, Named], taped: float | None, error: float
) -> tuple[tuple[str, str], tuple[tuple[float, float], tuple[float, float]]]:
    """Names and places of A and B, B moved to the taped length."""
    a, b = (np.array(thing[1:], dtype=float) for thing in pair)
    length = float(np.hypot(*(b - a)))
    if taped is not None:
        if abs(taped - length) > 3 * error + 0.05:
            message = (
                f"The taped length from {pair[0][0]} to {pair[1][0]} is {taped:.2f} m, "
                f"the map has {length:.2f} m: tape it again, or mend the map."
            )
            raise InputError(message)
        b = a + (b - a) * taped / length
    places = ((float(a[0]), float(a[1])), (float(b[0]), float(b[1])))
    return (pair[0][0], pair[1][0]), places
