"""Blossom that lives through the frosts of spring, at many places and in many draws."""

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray


@dataclass(frozen=True)
class SpringNights:
    """Nights of spring, in any order.

    Parameters
    ----------
    year : (night,) ndarray of int64
        Row of its year.
    lowest : (night,) ndarray of float32
        Minimum at the station. [degC]
    clear : (night,) ndarray of float32
        Weight of the night as a clear still one, 0 to 1.
    stages : (draw, night, flower) ndarray of int32
        How far the flowers of a tree have come, as columns of the table of kill.
    """

    year: NDArray[np.int64]
    lowest: NDArray[np.float32]
    clear: NDArray[np.float32]
    stages: NDArray[np.int32]


def live_blossom(
    nights: SpringNights,
    shifts: NDArray[np.float64],
    errors: NDArray[np.float64],
    killed: NDArray[np.float32],
    scale: tuple[float, float],
    years: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Tell the share of the blossom that lives, by place, draw and year.

    Parameters
    ----------
    nights : SpringNights
        The nights.
    shifts : (2, point) ndarray
        How much warmer a place is on clear still nights, and on others. [degC]
    errors : (2, draw) ndarray
        Added on clear still nights, and on all. [degC]
    killed : (temperature, stage) ndarray
        Table of kill; the last row is of temperatures that kill nothing.
    scale : tuple of float
        Temperature of its first row, and the step from row to row. [degC]
    years : int
        Number of years.

    Returns
    -------
    live : (point, draw, year) ndarray
        Where every night kills its share of what lives.
    worst : (point, year) ndarray
        Where only the worst night counts, in the first draw.
    """
    return _live_blossom(
        (nights.year, nights.lowest, nights.clear, nights.stages),
        np.ascontiguousarray(shifts, np.float64),
        np.ascontiguousarray(errors, np.float64),
        killed,
        scale,
        years,
    )


@njit(cache=True, error_model="numpy")
def _live_blossom(
    nights: tuple[
        NDArray[np.int64], NDArray[np.float32], NDArray[np.float32], NDArray[np.int32]
    ],
    shifts: NDArray[np.float64],
    errors: NDArray[np.float64],
    killed: NDArray[np.float32],
    scale: tuple[float, float],
    years: int,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Walk places, draws and nights."""
    year, lowest, clear, stages = nights
    points, draws, flowers = shifts.shape[1], errors.shape[1], stages.shape[2]
    live = np.ones((points, draws, years))
    worst = np.ones((points, years))
    last = killed.shape[0] - 1
    for point in range(points):
        for draw in range(draws):
            still = shifts[0, point] + errors[0, draw]
            windy = shifts[1, point]
            for night in range(year.size):
                weight = clear[night]
                there = lowest[night] + weight * still + (1 - weight) * windy
                row = int((there + errors[1, draw] - scale[0]) / scale[1] + 0.5)
                if row >= last:
                    continue
                row = max(row, 0)
                total = 0.0
                for flower in range(flowers):
                    total += killed[row, stages[draw, night, flower]]
                alive = 1 - total / flowers
                live[point, draw, year[night]] *= alive
                if draw == 0:
                    worst[point, year[night]] = min(worst[point, year[night]], alive)
    return live, worst
