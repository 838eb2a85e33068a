"""Distance from every cell to the nearest of many points, exactly."""

import numpy as np
from numba import njit
from numpy.typing import NDArray


def nearest_points(
    points: NDArray[np.float64],
    eastings: NDArray[np.float64],
    northings: NDArray[np.float64],
) -> tuple[NDArray[np.float32], NDArray[np.int32]]:
    """Find the point nearest to the centre of every cell.

    Along one row the squared distance to a point is a parabola of the easting,
    all of the same width. Their lower envelope names the nearest point, and
    one walk over the points in order of easting finds it.

    Parameters
    ----------
    points : (point, 2) ndarray
        Easting and northing; at least one. [m]
    eastings : (column,) ndarray
        Centre of each column, rising. [m]
    northings : (row,) ndarray
        Centre of each row. [m]

    Returns
    -------
    distance : (row, column) ndarray of float32
        Distance to the nearest point. [m]
    index : (row, column) ndarray of int32
        Which point that is.

    Raises
    ------
    ValueError
        Where there is no point.

    References
    ----------
    Felzenszwalb, P. F. & Huttenlocher, D. P. (2012). Distance transforms of
    sampled functions. Theory of Computing 8, 415-428.

    Examples
    --------
    >>> import numpy as np
    >>> distance, index = nearest_points(
    ...     np.array([[0.0, 0.0], [10.0, 3.0]]), np.arange(0.0, 11, 5), np.zeros(1)
    ... )
    >>> distance
    array([[0., 5., 3.]], dtype=float32)
    """
    if len(points) == 0:
        message = "The distance to points needs at least one point."
        raise ValueError(message)
    order = np.argsort(points[:, 0], kind="stable")
    return _nearest(
        np.ascontiguousarray(points[order]),
        order.astype(np.int32),
        np.asarray(eastings, np.float64),
        np.asarray(northings, np.float64),
    )


@njit(cache=True)
def _nearest(
    points: NDArray[np.float64],
    order: NDArray[np.int32],
    eastings: NDArray[np.float64],
    northings: NDArray[np.float64],
) -> tuple[NDArray[np.float32], NDArray[np.int32]]:
    """Read the envelope of each row from west to east."""
    shape = (len(northings), len(eastings))
    distance = np.empty(shape, np.float32)
    index = np.empty(shape, np.int32)
    lowest = np.empty(len(points), np.int64)
    begins = np.empty(len(points), np.float64)
    for row in range(shape[0]):
        count = _envelope(points, northings[row], lowest, begins)
        at = 0
        for column in range(shape[1]):
            while at + 1 < count and begins[at + 1] < eastings[column]:
                at += 1
            east = eastings[column] - points[lowest[at], 0]
            north = northings[row] - points[lowest[at], 1]
            distance[row, column] = np.sqrt(east * east + north * north)
            index[row, column] = order[lowest[at]]
    return distance, index


@njit(cache=True)
def _envelope(
    points: NDArray[np.float64],
    northing: float,
    lowest: NDArray[np.int64],
    begins: NDArray[np.float64],
) -> int:
    """Stack the points that are nearest somewhere on the row, and from where."""
    count = 0
    for point in range(len(points)):
        begin = -np.inf
        while count > 0:
            begin = _halfway(points, lowest[count - 1], point, northing)
            if begin > begins[count - 1]:
                break
            count -= 1
            begin = -np.inf
        if begin < np.inf:
            lowest[count] = point
            begins[count] = begin
            count += 1
    return count


@njit(cache=True)
def _halfway(
    points: NDArray[np.float64], west: int, east: int, northing: float
) -> float:
    """Find the easting on the row from which the eastern point is nearer."""
    apart = points[east, 0] - points[west, 0]
    off_west = points[west, 1] - northing
    off_east = points[east, 1] - northing
    later = off_east * off_east - off_west * off_west
    if apart == 0.0:
        return np.inf if later >= 0.0 else -np.inf
    return float(0.5 * (points[east, 0] + points[west, 0] + later / apart))
