"""Coordinates in words: the grid, its norths, and how fine a figure may be."""

from math import isfinite

import numpy as np

from sitekit import words
from sitekit.grid import Grid
from sitekit.results import Baseline

PHONE = (
    "A phone's position is good to 2 to 5 m in the open and 5 to 12 m under trees: "
    "phone positions are not for setting out."
)


def name_grid(grid: Grid) -> str:
    """Name the coordinate system in words.

    Examples
    --------
    >>> from pyproj import CRS
    >>> grid = Grid(CRS.from_epsg(32633), 5e5, 51e5, 5.0, (1, 1))
    >>> name_grid(grid)
    'metres, UTM zone 33N on WGS 84 (EPSG:32633)'
    """
    crs = grid.crs
    zone = crs.coordinate_operation.name if crs.coordinate_operation else crs.name
    geodetic = crs.geodetic_crs
    code = crs.to_epsg()
    datum = geodetic.name if geodetic is not None and geodetic.name != zone else ""
    text = f"metres, {zone}" + (f" on {datum}" if datum else "")
    return f"{text} (EPSG:{code})" if code else text


def find_true_north(grid: Grid) -> float:
    """Direction of true north, clockwise from the top of the sheet. [degree]."""
    return -grid.convergence


def tell_norths(grid: Grid) -> str:
    """Say how far grid north and true north lie apart."""
    turn = find_true_north(grid)
    if abs(turn) < 0.05:
        return "Grid north and true north agree within 0.1°."
    side = "east" if turn > 0 else "west"
    return f"True north lies {abs(turn):.1f}° {side} of grid north."


def write_position(value: float, step: float) -> str:
    """Write an easting or northing to a step.

    Examples
    --------
    >>> write_position(500497.513, 0.01), write_position(500497.513, 5.0)
    ('500497.51', '500500')
    """
    if not isfinite(value):
        return words.NOT_KNOWN
    digits = 2 if step < 0.1 else 1 if step < 1 else 0
    return f"{round(value / step) * step:.{digits}f}"


def write_level(value: float) -> str:
    """Write a level of the elevation model: to 0.1 m. [m]."""
    return f"{value:.1f}" if isfinite(value) else words.NOT_KNOWN


def baseline_length(baseline: Baseline) -> float:
    """Level distance of A and B on the grid. [m]."""
    (ax, ay), (bx, by) = baseline.points
    return float(np.hypot(ax - bx, ay - by))


def tell_baseline(baseline: Baseline, step: float) -> str:
    """Say what the tapes are held to, and what that rests on."""
    a, b = baseline.names
    length = f"{baseline_length(baseline):.2f} m"
    if baseline.surveyed:
        return (
            f'Tape end A is held at the control mark "{a}", tape end B at the control '
            f'mark "{b}". A to B measures {length}; '
            "tape it first, and stop if it differs by more than 0.05 m."
        )
    return (
        f'No control marks were given. Tape end A is held at "{a}", tape end B at '
        f'"{b}": a baseline between two things on the ground, drawn {length} apart. '
        "Tape it first; where the tape says otherwise, send the taped length "
        "back before setting out. Positions "
        f"are printed to {step:g} m, no finer than the outline's own error "
        f"(±{baseline.accuracy:g} m); the tapes decide, and the taped diagonals "
        "check the pegs."
    )
