"""Estimate how noisy an elevation model is."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

#: Side of the middle part that is looked at. [cells]
SAMPLE: Final = 1500
#: The mask's weights squared and summed: 16 + 4 × 4 + 4 × 1.
GAIN: Final = 36.0
#: From the median absolute deviation to the standard deviation of a normal law.
MAD: Final = 1.4826


def estimate_noise(elevation: NDArray[np.float32]) -> float:
    """Estimate the standard deviation of the vertical noise of an elevation model.

    The difference of two Laplacians, the 3 × 3 mask (1, −2, 1; −2, 4, −2; 1, −2, 1),
    is blind to planes and to ground curved along the axes; what remains is six
    times the noise of a cell. Its median absolute deviation leaves banks and walls
    out. Windows of exactly level cells (water) say nothing and are left out too.
    Rough ground counts as noise: the estimate is an upper bound there.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height as read, before any interpolation; NaN where missing. [m]

    Returns
    -------
    noise : float
        Standard deviation of the noise of one cell, 0 where nothing can be said. [m]

    References
    ----------
    Immerkær 1996, *Computer Vision and Image Understanding* 64(2), 300–302.
    """
    z = _middle(elevation).astype(np.float64)
    if min(z.shape) < 3:
        return 0.0
    across = z[:, :-2] - 2 * z[:, 1:-1] + z[:, 2:]
    residual = across[:-2] - 2 * across[1:-1] + across[2:]
    level = (across[:-2] == 0) & (across[1:-1] == 0) & (across[2:] == 0)
    level &= (z[:-2, 1:-1] == z[1:-1, 1:-1]) & (z[2:, 1:-1] == z[1:-1, 1:-1])
    told = residual[np.isfinite(residual) & ~level]
    if told.size == 0:
        return 0.0
    spread = np.median(np.abs(told - np.median(told)))
    return float(MAD * spread / np.sqrt(GAIN))


def _middle(values: NDArray[np.float32]) -> NDArray[np.float32]:
    row, column = (max(0, (side - SAMPLE) // 2) for side in values.shape)
    return values[row : row + SAMPLE, column : column + SAMPLE]
