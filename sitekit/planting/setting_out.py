"""The setting-out list: where each thing goes, by tape from two points."""

from collections.abc import Sequence
from math import ceil, log10
from typing import Annotated

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray
from pyproj import CRS, Proj, Transformer

from sitekit.errors import InputError
from sitekit.planting.baseline import POOR_ANGLE, sample_heights
from sitekit.planting.block_marks import TOLERANCE
from sitekit.results import FIRST_REVISION, Baseline
from sitekit.settings import Setting
from sitekit.site import Site
from sitekit.words import fruit_name

#: How far from its place a thing may be set; common practice, no source. [m]
TOLERANCES = {
    "control mark": TOLERANCE,
    "tree": 0.10,
    "bush": 0.10,
    "fence corner": 0.25,
    "gate": 0.10,
    "drain": 0.25,
    "mound": 0.25,
    "test hole": 0.50,
    "logger": 0.50,
}
#: Fruit that grow as bushes.
BUSHES = ("blackcurrant",)
COLUMNS = (
    "id",
    "what",
    "easting_m",
    "northing_m",
    "level_m",
    "from_a_m",
    "from_b_m",
    "tolerance_m",
)
#: What the grid's scale may add over 100 m before the sheet speaks of it. [m]
SCALE_TOLD = 0.010


def make_setting_out(
    site: Site,
    baseline: Baseline,
    plants: GeoDataFrame,
    fence: GeoDataFrame,
    test_holes: GeoDataFrame,
    others: Sequence[tuple[str, GeoDataFrame]] = (),
) -> pd.DataFrame:
    """List every point to set out, with its tape lengths.

    From control marks, tape lengths are level distances between the positions as
    printed. Between things that the owner names, positions are printed no finer
    than the error of the outline, and tape lengths are from the plan itself.

    Parameters
    ----------
    site : Site
        Heights.
    baseline : Baseline
        Ends of the tapes.
    plants, fence, test_holes : GeoDataFrame
        As in `sitekit.results.PlantingPlan`; lines are left out.
    others : sequence of (str, GeoDataFrame)
        More points with an ``id``: ``("control mark", block marks)``, logger, drain.

    Returns
    -------
    setting_out : DataFrame
        ``id``, ``what``, ``easting_m``, ``northing_m``, ``level_m``, ``from_a_m``,
        ``from_b_m``, ``tolerance_m``; A and B first, then ``others``.
    """
    whats = [what for what, frame in others for _ in range(len(frame))]
    whats += [
        f"{'bush' if fruit in BUSHES else 'tree'}, {fruit_name(fruit)}"
        for fruit in plants["fruit"]
    ]
    posts = fence[fence["kind"] != "fence line"]
    frames = [*[frame for _, frame in others], plants, posts, test_holes]
    whats += [str(kind) for kind in posts["kind"]] + ["test hole"] * len(test_holes)
    ids = [str(name) for frame in frames for name in frame["id"]]
    places = np.vstack(
        [
            np.array(baseline.points),
            *[shapely.get_coordinates(f.geometry.to_numpy()) for f in frames],
        ]
    )
    held = "control mark" if baseline.surveyed else "end of the baseline"
    tolerances = [TOLERANCES[what.split(",")[0]] for what in whats]
    levels = sample_heights(site, places)
    levels[:2] = np.where(np.isfinite(baseline.levels), baseline.levels, levels[:2])
    table = pd.DataFrame(
        {
            "id": np.array([*baseline.names, *ids], dtype=object),
            "what": np.array([held, held, *whats], dtype=object),
            "level_m": np.round(levels, 1),
            "tolerance_m": [baseline.accuracy, baseline.accuracy, *tolerances],
        }
    )
    return _with_tapes(table, places, baseline)


def name_revision(
    *,
    pack_revision: Annotated[
        str,
        Setting(
            "1",
            "Revision of the contractor's pack; raise it when a changed one goes out.",
        ),
    ] = FIRST_REVISION,
) -> str:
    """Read which revision of the pack this is.

    Parameters
    ----------
    pack_revision : str
        One to three letters and figures.

    Returns
    -------
    revision : str
        In capitals.

    Raises
    ------
    InputError
        Anything that would not be read the same on every sheet.

    Examples
    --------
    >>> name_revision(), name_revision(pack_revision="b2")
    ('A', 'B2')
    """
    named = pack_revision.strip().upper()
    if not (named.isascii() and named.isalnum() and len(named) <= 3):
        message = (
            f'pack_revision = "{pack_revision}" in [settings] is no revision: write '
            "one to three letters and figures, as B or B2."
        )
        raise InputError(message)
    return named


def position_step(baseline: Baseline) -> float:
    """Tell to what a position is rounded.

    Parameters
    ----------
    baseline : Baseline
        Ends of the tapes.

    Returns
    -------
    step : float
        0.01 from control marks; else 1, 2 or 5 times a power of ten, no finer than
        the accuracy. [m]

    Examples
    --------
    >>> position_step(Baseline(("a", "b"), ((0, 0), (9, 9)), (0, 0), 3.0, False))
    5.0
    """
    if baseline.surveyed:
        return 0.01
    error = max(baseline.accuracy, 0.01)
    power = 10.0 ** (ceil(log10(error)) - 1)
    return next(float(n * power) for n in (1, 2, 5, 10) if n * power >= error - 1e-9)


def check_triangles(setting_out: pd.DataFrame, baseline: Baseline) -> pd.DataFrame:
    """Tell how the two tapes of each point cross.

    Two lengths fit two points, one on each side of the baseline: the side says
    which one is meant.

    Parameters
    ----------
    setting_out : DataFrame
        The list, by `make_setting_out`.
    baseline : Baseline
        Ends of the tapes.

    Returns
    -------
    triangles : DataFrame
        ``id``, ``side`` (left, right, or on the line; looking from A to B),
        ``angle_deg`` at the point, ``poor`` (under 20 or over 160 degrees: check by
        a third tape from a neighbour); A and B left out.
    """
    points = setting_out.iloc[2:]
    a, b = points["from_a_m"].to_numpy(), points["from_b_m"].to_numpy()
    places = points[["easting_m", "northing_m"]].to_numpy(dtype=np.float64)
    ends = np.array(baseline.points)
    way = ends[1] - ends[0]
    off = way[0] * (places - ends[0])[:, 1] - way[1] * (places - ends[0])[:, 0]
    off = off / np.hypot(*way)
    length = float(np.hypot(*way))
    cosine = (a**2 + b**2 - length**2) / np.maximum(2 * a * b, 1e-9)
    angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    near = np.abs(off) < position_step(baseline)
    sides = np.where(near, 0, np.sign(off)).astype(int)
    return pd.DataFrame(
        {
            "id": points["id"].to_numpy(),
            "side": np.array(["on the line", "left", "right"], dtype=object)[sides],
            "angle_deg": angle,
            "poor": near | (angle < POOR_ANGLE) | (angle > 180.0 - POOR_ANGLE),
        }
    )


def list_diagonals(plants: GeoDataFrame) -> pd.DataFrame:
    """List the lengths to tape across each block when its corners are pegged.

    Parameters
    ----------
    plants : GeoDataFrame
        Plants.

    Returns
    -------
    diagonals : DataFrame
        ``block``, ``from_id``, ``to_id``, ``length_m``, ``tolerance_m``; two a
        block, fewer where it has fewer corners.
    """
    found = []
    for block, part in plants.groupby("block", sort=False):
        places = shapely.get_coordinates(part.geometry.to_numpy())
        corners = _outermost(places)
        names = part["id"].to_numpy()
        for one, other in {(corners[0], corners[2]), (corners[1], corners[3])}:
            if one != other:
                length = float(np.hypot(*(places[one] - places[other])))
                found.append((block, names[one], names[other], round(length, 2), 0.14))
    columns = ["block", "from_id", "to_id", "length_m", "tolerance_m"]
    table = pd.DataFrame(found, columns=columns)
    return table.sort_values(["block", "from_id"], ignore_index=True)


def scale_over_100_m(crs: CRS, easting: float, northing: float) -> float:
    """Tell what a length on the ground has over 100 m of the grid.

    Parameters
    ----------
    crs : pyproj.CRS
        Projected coordinate system.
    easting, northing : float
        Where. [m]

    Returns
    -------
    added : float
        Ground less grid, of 100 m of grid; 0.040 on the middle line of a zone
        whose scale there is 0.9996. [m]
    """
    to_degrees = Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True)
    longitude, latitude = to_degrees.transform(easting, northing)
    factors = Proj(crs).get_factors(longitude, latitude)
    scale = float(np.sqrt(factors.areal_scale))
    return 100.0 / scale - 100.0


def describe_scale(crs: CRS, easting: float, northing: float) -> str:
    """Say what the grid's scale adds, empty where it is 10 mm or less in 100 m."""
    added = scale_over_100_m(crs, easting, northing)
    if abs(added) <= SCALE_TOLD:
        return ""
    word = "longer" if added > 0 else "shorter"
    return (
        f"100 m of this grid is {abs(added) * 1000:.0f} mm {word} on level ground: "
        f"tape {100 + added:.2f} m for 100.00 m."
    )


def _with_tapes(
    table: pd.DataFrame, places: NDArray[np.float64], baseline: Baseline
) -> pd.DataFrame:
    step = position_step(baseline)
    printed = np.round(places / step) * step
    table["easting_m"], table["northing_m"] = np.round(printed, 2).T
    taped = np.round(printed, 2) if baseline.surveyed else places
    for name, end in (("from_a_m", taped[0]), ("from_b_m", taped[1])):
        table[name] = np.round(np.hypot(*(taped - end).T), 2)
    return table[list(COLUMNS)]


def _outermost(places: NDArray[np.float64]) -> list[int]:
    """Four plants that lie outermost, in order around the block."""
    hull = shapely.minimum_rotated_rectangle(shapely.multipoints(places))
    corners = shapely.get_coordinates(hull)[:4]
    if len(corners) < 4:
        ends = [int(np.argmin(places.sum(axis=1))), int(np.argmax(places.sum(axis=1)))]
        return [ends[0], ends[0], ends[1], ends[0]]
    return [int(np.hypot(*(places - corner).T).argmin()) for corner in corners]
