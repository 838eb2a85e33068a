"""Heights given in steps: find the step, and smooth what slopes are made from."""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

#: Steps that are looked for, the largest first. [m]
STEPS: Final = (1.0, 0.5, 1200 / 3937, 0.3048, 0.1)
#: Heights this near to a whole number of steps are in steps. [m]
TOLERANCE: Final = 1e-4
#: Share of equal neighbours, along rows and along columns, that makes terraces.
EQUAL_NEIGHBOURS: Final = 0.02
#: Width of the smoothing. [cells of the source]
SMOOTHING: Final = 1.5
#: Least area of level ground that is taken as water. [m²]
WATER_AREA: Final = 10_000.0
#: Cells this near to each other are level. [m]
LEVEL: Final = 0.005
#: Share of lower cells around water: its outlet. Ground on a slope has half.
LOWER_SHARE: Final = 0.1

#: Stands for a missing cell, so that ground beside it is not level. [m]
ABSENT: Final = -1e6

FOUR: Final = ndimage.generate_binary_structure(2, 1)


def find_step(elevation: NDArray[np.float32]) -> float:
    """Find the step in which heights were given.

    Parameters
    ----------
    elevation : (row, column) ndarray of float32
        Heights as read, before any interpolation; NaN where missing. [m]

    Returns
    -------
    step : float
        Largest step of which every height is a whole number, 0 where there is none
        or where neighbours are seldom equal. [m]

    Examples
    --------
    >>> z = np.add.outer(np.arange(20) * 0.3, np.arange(20) * 0.2).astype(np.float32)
    >>> find_step(z), find_step(np.round(z))
    (0.0, 1.0)
    """
    known = elevation[np.isfinite(elevation)].astype(np.float64)
    if known.size == 0 or known.min() == known.max():
        return 0.0
    shares = [_equal(elevation[1:], elevation[:-1])]
    shares.append(_equal(elevation[:, 1:], elevation[:, :-1]))
    if min(shares) < EQUAL_NEIGHBOURS:
        return 0.0
    # A 32-bit number cannot hold a tenth of a metre better than this.
    tolerance = max(TOLERANCE, float(np.spacing(np.float32(np.abs(known).max()))))
    for step in STEPS:
        sample = known[: known.size : max(1, known.size // 10_000)]
        if all(_whole(values, step, tolerance) for values in (sample, known)):
            return step
    return 0.0


def _equal(one: NDArray[np.float32], other: NDArray[np.float32]) -> float:
    pairs = np.isfinite(one) & np.isfinite(other)
    same = int(np.count_nonzero(one == other))
    return same / max(1, int(np.count_nonzero(pairs)))


def _whole(values: NDArray[np.float64], step: float, tolerance: float) -> bool:
    return bool(np.abs(values - np.round(values / step) * step).max() <= tolerance)


def smooth_terraces(
    elevation: NDArray[np.float32], *, step: float, cell_area: float
) -> NDArray[np.float32]:
    """Smooth heights that were given in steps, for slopes and hollows.

    A normalised Gaussian leaves missing cells missing and does not carry the shore
    into level water. Beyond the edge of the grid the ground is continued with the
    slope that it has there. Nothing is moved by more than half a step, which is all
    that rounding took; where the Gaussian would move it by a step or more, it meets
    relief and not rounding, and the ground stays as given.

    Parameters
    ----------
    elevation : (row, column) ndarray of float32
        Heights as read, before any interpolation; NaN where missing. [m]
    step : float
        Step of the heights. [m]
    cell_area : float
        Area of a cell on the ground. [m²]

    Returns
    -------
    ground : (row, column) ndarray of float32
        A smoothed copy. [m]

    References
    ----------
    Knutsson and Westin 1993, *Normalized and differential convolution*, CVPR.
    """
    pad = min(int(np.ceil(3 * SMOOTHING)), min(elevation.shape) - 1)
    kept = np.isfinite(elevation) & ~find_level_water(elevation, cell_area=cell_area)
    heights = np.where(kept, elevation, np.nan)
    padded = np.pad(heights, pad, mode="reflect", reflect_type="odd")
    known = np.isfinite(padded)
    weights = ndimage.gaussian_filter(known.astype(np.float32), SMOOTHING, truncate=3.0)
    # Heights above their mean: 32-bit sums of small numbers lose nothing.
    base = np.float32(np.nanmean(heights)) if kept.any() else np.float32(0)
    above = np.where(known, padded - base, np.float32(0))
    sums = ndimage.gaussian_filter(above, SMOOTHING, truncate=3.0)
    inner = slice(pad, pad + elevation.shape[0]), slice(pad, pad + elevation.shape[1])
    ground = elevation.copy()
    smooth = sums[inner][kept] / weights[inner][kept] + base
    moved = smooth - elevation[kept]
    share = np.clip(2 - 2 * np.abs(moved) / np.float32(step), 0, 1)
    ground[kept] += share * moved
    return ground


def find_level_water(
    elevation: NDArray[np.float32], *, cell_area: float
) -> NDArray[np.bool_]:
    """Find level ground that lies like water: wide, large, hardly a lower neighbour.

    A terrace of rounding has lower ground along one side; water has its outlet only.

    Parameters
    ----------
    elevation : (row, column) ndarray of float32
        Heights; NaN where missing. [m]
    cell_area : float
        Area of a cell on the ground. [m²]

    Returns
    -------
    water : (row, column) ndarray of bool
        Cells of level patches of at least 1 ha and three cells' width.
    """
    known = np.where(np.isnan(elevation), np.float32(ABSENT), elevation)
    spread = ndimage.maximum_filter(known, 3, mode="nearest")
    spread -= ndimage.minimum_filter(known, 3, mode="nearest")
    cores, count = ndimage.label((spread <= LEVEL) & np.isfinite(elevation), FOUR)
    if not count:
        return np.zeros(elevation.shape, bool)
    heights = np.zeros(count + 1, np.float32)
    heights[cores] = known
    patches = _grow(cores, known, heights)
    sizes = np.bincount(patches.ravel(), minlength=count + 1)
    rim, lower = _count_rim(patches, known, count)
    water = (sizes * cell_area >= WATER_AREA) & (lower <= LOWER_SHARE * rim)
    water[0] = False
    found: NDArray[np.bool_] = water[patches]
    return found


def _grow(
    cores: NDArray[np.int32], known: NDArray[np.float32], heights: NDArray[np.float32]
) -> NDArray[np.int32]:
    """Give the cores of level patches the ring back that the window took."""
    near = ndimage.maximum_filter(cores, 3)
    joins = (cores == 0) & (np.abs(known - heights[near]) <= LEVEL)
    grown: NDArray[np.int32] = np.where(joins, near, cores)
    return grown


def _count_rim(
    patches: NDArray[np.int32], known: NDArray[np.float32], count: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Count the sides of each patch, and those with lower ground beyond."""
    rim, lower = np.zeros(count + 1, np.intp), np.zeros(count + 1, np.intp)
    for labels, z in ((patches, known), (patches.T, known.T)):
        for one, other in ((slice(1, None), slice(-1)), (slice(-1), slice(1, None))):
            side = (labels[one] > 0) & (labels[one] != labels[other])
            side &= z[other] != ABSENT
            below = side & (z[other] < z[one] - LEVEL)
            rim += np.bincount(labels[one][side], minlength=count + 1)
            lower += np.bincount(labels[one][below], minlength=count + 1)
    return rim, lower
