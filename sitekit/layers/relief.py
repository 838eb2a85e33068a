"""Where ground lies above the low ground around it."""

from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from sitekit.kernels.window import circular_minimum
from sitekit.layers.catalogue import layer
from sitekit.settings import Setting

#: A window of fewer cells shows the noise of the elevation. [cells]
SMALLEST_RADIUS = 3.0


@layer(
    units="m",
    long_name="height above the low ground",
    reference="Height above the lowest ground in a circle; common practice, no source",
)
def relative_height(
    elevation: NDArray[np.float32],
    *,
    cell_size: float,
    relative_height_radius: Annotated[
        float,
        Setting(
            "m", "Radius of the circle in which the low ground is looked for.", low=1.0
        ),
    ] = 150.0,
) -> NDArray[np.float32]:
    """Measure the height of the ground above the lowest ground near it.

    Parameters
    ----------
    elevation : (row, column) ndarray
        Height of the ground; NaN where missing. [m]
    cell_size : float
        Side of a cell. [m]
    relative_height_radius : float
        Radius of the circle; at least three cells are taken. [m]

    Returns
    -------
    relative_height : (row, column) ndarray of float32
        Never negative; NaN where the elevation is missing. [m]

    Examples
    --------
    >>> import numpy as np
    >>> slope = np.arange(0.0, 10.0, 2.0, np.float32)[np.newaxis]
    >>> relative_height(slope, cell_size=50.0)
    array([[0., 2., 4., 6., 6.]], dtype=float32)
    """
    radius = max(relative_height_radius / cell_size, SMALLEST_RADIUS)
    return elevation - circular_minimum(elevation, radius)
