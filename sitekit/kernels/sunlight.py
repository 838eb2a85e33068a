"""Direct sun on each cell, summed over many positions of the sun."""

from concurrent.futures import ThreadPoolExecutor
from math import cos, radians, sin

import numba
import numpy as np
from numba import njit
from numpy.typing import NDArray

from sitekit.kernels.horizon import MISSING

#: Rows of the table of sun positions that `sum_sunlight` takes.
EASTWARD, NORTHWARD, UPWARD, DIRECTION, CODE, PER_CODE, ENERGY, HOURS = range(8)

#: Cells of a row taken together, so that their sums stay in the nearest cache.
_CELLS = 256


def sum_sunlight(
    horizons: NDArray[np.uint8],
    slope: NDArray[np.float32],
    aspect: NDArray[np.float32],
    suns: NDArray[np.float32],
) -> NDArray[np.float32]:
    """Sum the beam and the hours of direct sun over positions of the sun.

    Parameters
    ----------
    horizons : (direction, row, column) ndarray of uint8
        Codes of `sitekit.kernels.horizon.find_horizons`.
    slope, aspect : (row, column) ndarray of float32
        Steepness, and direction faced in the bearings of the sun; an aspect of
        NaN is level. [degree]
    suns : (8, step) ndarray of float32
        For each position of the sun: its direction as a vector east, north and
        up; its bearing counted in directions of the horizon, from 0 to less
        than their number; its height in codes of the horizon; 1 over the height
        that it covers in a step, in codes; energy of the beam and hours that it
        stands for. [kWh m-2, h]

    Returns
    -------
    sums : (2, row, column) ndarray of float32
        Energy on a square metre of the sloped ground, and hours in which the
        sun is above the horizon; NaN where the ground is not known.
        [kWh m-2, h]
    """
    sums = np.zeros((2, *slope.shape), np.float32)
    table = np.ascontiguousarray(suns, np.float32)
    rows = slope.shape[0]
    bands = min(int(numba.get_num_threads()), rows)
    cuts = [rows * band // bands for band in range(bands + 1)]

    def add(first: int, end: int) -> None:
        here = slice(first, end)
        _sum_rows(horizons[:, here], slope[here], aspect[here], table, sums[:, here])

    with ThreadPoolExecutor(bands) as pool:
        list(pool.map(add, cuts[:-1], cuts[1:]))
    return sums


@njit(cache=True, nogil=True)
def _sum_rows(
    horizons: NDArray[np.uint8],
    slope: NDArray[np.float32],
    aspect: NDArray[np.float32],
    suns: NDArray[np.float32],
    sums: NDArray[np.float32],
) -> None:
    """Sum a band of rows."""
    for row in range(slope.shape[0]):
        _sum_row(horizons[:, row], slope[row], aspect[row], suns, sums[:, row])


@njit(cache=True)
def _sum_row(
    horizons: NDArray[np.uint8],
    slope: NDArray[np.float32],
    aspect: NDArray[np.float32],
    suns: NDArray[np.float32],
    sums: NDArray[np.float32],
) -> None:
    """Sum one row, a run of cells at a time."""
    codes = np.zeros((len(horizons), _CELLS), np.float32)
    normal = np.zeros((3, _CELLS), np.float32)
    total = np.empty((2, _CELLS), np.float32)
    for first in range(0, len(slope), _CELLS):
        count = min(_CELLS, len(slope) - first)
        for n in range(count):
            cell = first + n
            _fill_normal(normal, n, slope[cell], aspect[cell])
            for direction in range(len(horizons)):
                codes[direction, n] = horizons[direction, cell]
        total[:] = 0
        for step in range(suns.shape[1]):
            _add_step(codes, normal, suns[:, step], total)
        for n in range(count):
            known = codes[0, n] != MISSING and not np.isnan(slope[first + n])
            for kind in range(2):
                sums[kind, first + n] = total[kind, n] if known else np.nan


@njit(cache=True)
def _fill_normal(
    normal: NDArray[np.float32], n: int, slope: np.float32, aspect: np.float32
) -> None:
    """Turn slope and aspect into the upward normal of the ground."""
    level = np.isnan(aspect) or np.isnan(slope)
    steepness = 0.0 if level else radians(slope)
    faced = 0.0 if level else radians(aspect)
    normal[0, n] = sin(steepness) * sin(faced)
    normal[1, n] = sin(steepness) * cos(faced)
    normal[2, n] = cos(steepness)


@njit(cache=True)
def _add_step(
    codes: NDArray[np.float32],
    normal: NDArray[np.float32],
    sun: NDArray[np.float32],
    total: NDArray[np.float32],
) -> None:
    """Add one position of the sun to a run of cells.

    The sun counts by the share of the step in which it stands above the horizon,
    so that a ridge dims it over the step in which it sets.
    """
    zero, half, one = np.float32(0), np.float32(0.5), np.float32(1)
    east, north, up = sun[EASTWARD], sun[NORTHWARD], sun[UPWARD]
    height, per_code, energy, hours = sun[CODE], sun[PER_CODE], sun[ENERGY], sun[HOURS]
    before = int(sun[DIRECTION])
    left = codes[before]
    right = codes[(before + 1) % len(codes)]
    weight = sun[DIRECTION] - np.float32(before)
    for n in range(_CELLS):
        horizon = left[n] + weight * (right[n] - left[n])
        share = half + (height - horizon) * per_code
        share = share if share > zero else zero
        share = share if share < one else one
        facing = east * normal[0, n] + north * normal[1, n] + up * normal[2, n]
        facing = facing if facing > zero else zero
        total[0, n] += energy * share * facing
        total[1, n] += hours * share
