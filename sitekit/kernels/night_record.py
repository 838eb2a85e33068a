"""What is kept of the night on its way, and how fast the air is at its fastest."""

from math import sqrt
from typing import Any, NamedTuple

from numba import njit
from numpy.typing import NDArray

from sitekit.kernels.night_flux import FAST, Air

#: Weight of the speed against the wave, and the speed that is counted at most.
SPEED_WEIGHT, SPEED_LIMIT = 1.65, 1.8
#: Depth below which no speed is told. [m]
SPEED_DEPTH = 0.02
#: A pool is deeper and slower than this. [m], [m s⁻¹]
POOL_DEPTH, POOL_SPEED = 1.0, 0.25


class Record(NamedTuple):
    """What is kept of the night: sums over time."""

    depth: NDArray[Any]
    speed: NDArray[Any]
    pool: NDArray[Any]


class Look(NamedTuple):
    """Numbers of one look, all of the type of the state."""

    elapsed: Any
    last: Any
    zero: Any
    half: Any
    floor: Any
    weight: Any
    limit: Any
    deep: Any
    slow: Any


@njit(cache=True)
def prepare_look(elapsed: float, last: float, like: NDArray[Any]) -> Look:
    """Turn the numbers of a look into the type of the state."""
    kind = like.dtype.type
    return Look(
        elapsed=kind(elapsed),
        last=kind(last),
        zero=kind(0.0),
        half=kind(0.5),
        floor=kind(SPEED_DEPTH),
        weight=kind(SPEED_WEIGHT**2),
        limit=kind(SPEED_LIMIT**2),
        deep=kind(POOL_DEPTH),
        slow=kind(POOL_SPEED**2),
    )


@njit(cache=True, error_model="numpy", fastmath=FAST)
def look_at_row(
    row: int, air: Air, pool: NDArray[Any], peak: NDArray[Any], look: Look
) -> None:
    """Count the time under a pool, and keep the fastest of each column.

    The fastest is kept as a square: that of the wave, b h, or of the flow.
    """
    depths, gravity, flux = air.depth[row], air.buoyancy[row], air.flux_x[row]
    above, below = air.flux_y[row], air.flux_y[row + 1]
    for j in range(1, len(flux) - 1):
        depth = depths[j]
        over = depth if depth > look.floor else look.floor
        thin = 1 / (over * over)
        east, west = flux[j + 1], -flux[j]
        along = max(look.zero, east, west)
        down = max(look.zero, below[j], -above[j])
        out = (along * along + down * down) * thin
        out = look.weight * min(out, look.limit)
        peak[j] = max(peak[j], depth * gravity[j], out)
        along, down = look.half * (east - west), look.half * (below[j] + above[j])
        slow = (along * along + down * down) * thin < look.slow
        pool[j] += look.elapsed if (depth > look.deep) & slow else look.zero


@njit(cache=True, error_model="numpy", fastmath=FAST)
def record_row(row: int, air: Air, record: Record, look: Look) -> None:
    """Add the depth and the speed of one row to those of the last hour."""
    flux, above, below = air.flux_x[row], air.flux_y[row], air.flux_y[row + 1]
    for j in range(1, len(flux) - 1):
        depth = air.depth[row, j]
        over = depth if depth > look.floor else look.floor
        along, down = flux[j] + flux[j + 1], above[j] + below[j]
        speed = look.half * sqrt(along * along + down * down) / over
        record.depth[row, j] += look.last * depth
        record.speed[row, j] += look.last * speed
