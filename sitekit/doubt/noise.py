"""Errors of an elevation model that hang together from cell to cell."""

from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from sitekit.settings import Setting
from sitekit.site import ElevationModel

#: Standard error of heights by the cell of the source, up to that cell [m], for bare
#: ground. Sources, from memory: airborne laser 0.1 m (ASPRS, Positional Accuracy
#: Standards for Digital Geospatial Data, 2014: class of 10 cm); national 10 m models
#: 0.8 to 1.6 m (Gesch et al. 2014, accuracy of the USGS National Elevation Dataset);
#: global 30 m models 1.7 m (Copernicus DEM Product Handbook: 4 m at 90 %, less of it
#: from cell to cell).
ERRORS = ((2.0, 0.1), (5.0, 0.3), (12.0, 0.8), (np.inf, 1.7))
#: The same where tops of trees and roofs are measured: never less. [m]
CANOPY_ERROR = 1.5
#: Range of the errors in cells of the source: Oksanen & Sarjakoski 2005, Computers &
#: Geosciences 31, found some cells; the number is from memory.
RANGE_CELLS = 5.0


def elevation_error_of(
    model: ElevationModel,
    *,
    elevation_error: Annotated[
        float,
        Setting(
            "m",
            "Standard error of the heights, 0 by source and cell.",
            "ASPRS 2014: 0.1 m for airborne laser; Gesch et al. 2014; from memory",
            low=0,
            high=20,
        ),
    ] = 0.0,
    elevation_error_range: Annotated[
        float,
        Setting(
            "m",
            "Distance over which errors of heights hang together, 0 by the cell.",
            "some cells: Oksanen & Sarjakoski 2005, Computers & Geosciences 31",
            low=0,
            high=5000,
        ),
    ] = 0.0,
) -> tuple[float, float]:
    """Tell how wrong heights may be, and over which distance alike.

    Parameters
    ----------
    model : ElevationModel
        What is known of the elevation.
    elevation_error, elevation_error_range : float
        See the settings. [m]

    Returns
    -------
    error, reach : float
        Standard error, and range of an exponential law. [m]

    Examples
    --------
    >>> elevation_error_of(ElevationModel(("laser.tif",), 1.0, "ground", 0.03))
    (0.1, 5.0)
    """
    usual = next(error for cell, error in ERRORS if model.source_cell <= cell)
    if model.surface == "canopy":
        usual = max(usual, CANOPY_ERROR)
    return (
        elevation_error or max(usual, model.noise),
        elevation_error_range or RANGE_CELLS * model.source_cell,
    )


def draw_errors(
    shape: tuple[int, int],
    cell_size: float,
    error: float,
    reach: float,
    random: np.random.Generator,
) -> NDArray[np.float32]:
    """Draw errors of heights that hang together over a distance.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns.
    cell_size : float
        Side of a cell. [m]
    error, reach : float
        Standard deviation, and range of the exponential covariance. [m]
    random : Generator
        Where chance comes from.

    Returns
    -------
    errors : (row, column) ndarray of float32
        A Gaussian field without a mean. [m]

    Notes
    -----
    White noise shaped by the root of the spectrum of the covariance on a grid of
    twice the sides, so that one edge does not know the other.

    References
    ----------
    Dietrich, C. R. and Newsam, G. N., "Fast and exact simulation of stationary
    Gaussian processes through circulant embedding of the covariance matrix", SIAM
    Journal on Scientific Computing 18, 1997.
    """
    sides = [2 * side for side in shape]
    away = [np.minimum(np.arange(n), n - np.arange(n)) * cell_size for n in sides]
    distance = np.hypot(away[0][:, None], away[1][None, :])
    spectrum = np.maximum(np.fft.fft2(np.exp(-distance / reach)).real, 0)
    white = np.fft.fft2(random.standard_normal(sides))
    field = np.fft.ifft2(np.sqrt(spectrum) * white).real
    errors: NDArray[np.float32] = (error * field[: shape[0], : shape[1]]).astype(
        np.float32
    )
    return errors
