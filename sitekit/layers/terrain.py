"""Layers of the bare ground: height, slope, facing and wetness."""

import numpy as np
from numpy.typing import NDArray

from sitekit.kernels import terrain
from sitekit.kernels.window import mean_of_known
from sitekit.layers.catalogue import layer

#: Level ground counts as this steep, so that its wetness has a value. [1]
LEAST_TANGENT = 0.001
#: Width over which the slope of the land is taken. [m]
LAND_OVER = 15.0


@layer(units="m", long_name="height of the ground", reference="as given")
def elevation(survey_elevation: NDArray[np.float32]) -> NDArray[np.float32]:
    """Height of the ground, as it was read.

    Parameters
    ----------
    survey_elevation : (row, column) ndarray
        Height of the ground on the grid, NaN where missing. [m]

    Returns
    -------
    elevation : (row, column) ndarray
        The same. [m]
    """
    return survey_elevation


@layer(
    units="degree",
    long_name="slope",
    reference="Horn 1981, Proceedings of the IEEE 69, 14-47",
)
def slope(ground: NDArray[np.float32], *, cell_size: float) -> NDArray[np.float32]:
    """Steepness of the ground, from horizontal.

    Cold air runs off slopes and lies where there is none; machines cannot work
    where it is steep.

    Parameters
    ----------
    ground : (row, column) ndarray
        Height of the ground without steps, NaN where missing. [m]
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    slope : (row, column) ndarray
        Angle from horizontal. [degree]

    Notes
    -----
    Noise of the heights with standard deviation s makes each rise uncertain by
    ``s * sqrt(12) / (8 * cell_size)``.

    References
    ----------
    Horn, B. K. P., "Hill shading and the reflectance map", Proceedings of the
    IEEE, 69, pp. 14-47, 1981.

    Examples
    --------
    >>> rising = np.tile(np.float32([0, 1, 2]), (3, 1))
    >>> slope(rising, cell_size=10.0)[1, 1].round(3)
    np.float32(5.711)
    """
    angle: NDArray[np.float32] = terrain.slope(ground, cell_size)
    return angle


@layer(
    units="degree",
    long_name="slope of the land about a spot",
    reference="Horn 1981, on heights averaged over 15 m",
    written=False,
)
def land_slope(ground: NDArray[np.float32], *, cell_size: float) -> NDArray[np.float32]:
    """Steepness of the land over 15 m, which tells level ground from noise.

    Parameters
    ----------
    ground : (row, column) ndarray
        Height of the ground without steps, NaN where missing. [m]
    cell_size : float
        Side of a cell. [m]

    Returns
    -------
    slope : (row, column) ndarray
        Angle from horizontal. [degree]

    Notes
    -----
    On cells of 2 m a noise of 0.04 m makes level ground 1 % steep by `slope`, and
    0.1 % by this.
    """
    size = 2 * round(LAND_OVER / cell_size / 2) + 1
    smooth = mean_of_known(ground, size)
    smooth[np.isnan(ground)] = np.nan
    angle: NDArray[np.float32] = terrain.slope(smooth, cell_size)
    return angle


@layer(
    units="degree",
    long_name="facing",
    reference="Horn 1981, Proceedings of the IEEE 69, 14-47",
)
def aspect(
    ground: NDArray[np.float32], *, cell_size: float, convergence: float
) -> NDArray[np.float32]:
    """Direction that the ground faces.

    Parameters
    ----------
    ground : (row, column) ndarray
        Height of the ground without steps, NaN where missing. [m]
    cell_size : float
        Side of a cell. [m]
    convergence : float
        Bearing of grid north from true north. [degree]

    Returns
    -------
    aspect : (row, column) ndarray
        Bearing of the steepest descent, clockwise from true north, 0 to below
        360; NaN where level. [degree]

    References
    ----------
    Horn, B. K. P., "Hill shading and the reflectance map", Proceedings of the
    IEEE, 69, pp. 14-47, 1981.

    Examples
    --------
    Ground that rises to the east faces west.

    >>> rising = np.tile(np.float32([0, 1, 2]), (3, 1))
    >>> aspect(rising, cell_size=10.0, convergence=1.5)[1, 1]
    np.float32(271.5)
    """
    bearing: NDArray[np.float32] = terrain.aspect(ground, cell_size)
    bearing += np.float32(convergence % 360)
    bearing[bearing >= 360] -= 360
    return bearing


@layer(
    units="1",
    long_name="wetness",
    reference="Beven and Kirkby 1979, Hydrological Sciences Bulletin 24, 43-69",
)
def wetness_index(
    catchment_area: NDArray[np.float32],
    slope: NDArray[np.float32],
    *,
    cell_size: float,
) -> NDArray[np.float32]:
    """How much ground drains to a place against how fast it drains away.

    Parameters
    ----------
    catchment_area : (row, column) ndarray
        Area that drains through the cell. [m²]
    slope : (row, column) ndarray
        Angle from horizontal. [degree]
    cell_size : float
        Side of a cell, the width over which a cell drains. [m]

    Returns
    -------
    wetness_index : (row, column) ndarray
        Natural logarithm of the specific catchment over the tangent of the
        slope, which counts as at least 0.001. [1]

    References
    ----------
    Beven, K. J. and Kirkby, M. J., "A physically based, variable contributing area
    model of basin hydrology", Hydrological Sciences Bulletin, 24, pp. 43-69, 1979.

    Examples
    --------
    >>> ten = np.full((1, 1), 10, np.float32)
    >>> wetness_index(ten * 10, ten, cell_size=10.0)[0, 0].round(4)
    np.float32(4.038)
    """
    tangent = np.maximum(np.tan(np.radians(slope)), np.float32(LEAST_TANGENT))
    return np.log(catchment_area / np.float32(cell_size) / tangent)
