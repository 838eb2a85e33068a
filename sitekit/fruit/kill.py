"""Share of the flowers that a night of frost kills, by stage of the flower."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sitekit.fruit.groups import Stage

#: Flowers of one tree stand this far apart in stage, to either side. Common
#: practice, no source. [d]
STAGE_SPREAD = 2
#: A table of kill: temperatures from, to, step [degC], and steps of the heat sum as a
#: share of that of full bloom, up to the last.
COLDEST, WARMEST, DEGREE = -22.0, 0.0, 0.02
LAST_SHARE, SHARE = 1.6, 0.01


def kill_share(
    temperature: ArrayLike, t10: ArrayLike, t90: ArrayLike
) -> NDArray[np.float64]:
    """Share of the flowers of one stage that a temperature kills.

    Parameters
    ----------
    temperature : ndarray
        Night minimum at the flower. [degC]
    t10, t90 : ndarray
        What kills a tenth and nine tenths in half an hour. [degC]

    Returns
    -------
    killed : ndarray
        0 to 1, a logistic curve through both.

    References
    ----------
    Critical temperatures go back to Ballard & Proebsting 1978 and Proebsting & Mills
    1978. That a logistic curve fits such data, and two points suffice: review of
    curves of freezing injury on published bud data.

    Examples
    --------
    >>> kill_share([-2.2, -3.9], -2.2, -3.9).round(3)
    array([0.1, 0.9])
    """
    t10, t90 = np.asarray(t10), np.asarray(t90)
    half = (t10 + t90) / 2
    width = (t10 - t90) / (2 * np.log(9))
    killed: NDArray[np.float64] = 1 / (
        1 + np.exp((np.asarray(temperature) - half) / width)
    )
    return killed


@dataclass(frozen=True)
class KillTable:
    """Share killed by temperature and by how far the flower has come.

    Parameters
    ----------
    killed : (temperature, share) ndarray of float32
        From `COLDEST` up to `WARMEST`, which kills nothing; 0 before the first stage.
    first_share : float
        Share of the heat sum of full bloom at the first stage.
    """

    killed: NDArray[np.float32]
    first_share: float


def make_kill_table(stages: Sequence[Stage]) -> KillTable:
    """Tabulate the share killed along the stages of a flower.

    Limits lie on the line between two stages along the heat sum. A later flower
    never stands more: the share is the greatest of all stages up to its own, since
    curves through equal limits cross. After the last stage its limits hold to the end
    of the frosts.

    Parameters
    ----------
    stages : sequence of Stage
        In their order.

    Returns
    -------
    table : KillTable
    """
    temperatures = np.linspace(
        COLDEST, WARMEST, round((WARMEST - COLDEST) / DEGREE) + 1
    )
    shares = np.arange(0, LAST_SHARE + SHARE / 2, SHARE)
    at = [s.share for s in stages]
    t10 = np.interp(shares, at, [s.t10 for s in stages])
    t90 = np.interp(shares, at, [s.t90 for s in stages])
    killed = kill_share(temperatures[:, None], t10, t90)
    killed[:, shares < at[0] - SHARE / 2] = 0
    killed[-1] = 0
    worst = np.maximum.accumulate(killed, axis=1).astype(np.float32)
    return KillTable(worst, at[0])


def share_columns(sums: NDArray[np.float32], full_bloom: float) -> NDArray[np.int32]:
    """Tell how far flowers have come, as columns of a table of kill.

    Parameters
    ----------
    sums : ndarray
        Heat sum. [degC day]
    full_bloom : float
        Sum at full bloom. [degC day]

    Returns
    -------
    column : ndarray of int32
    """
    last = round(LAST_SHARE / SHARE)
    column = np.rint(sums * np.float32(1 / (full_bloom * SHARE)))
    whole: NDArray[np.int32] = np.minimum(column, last).astype(np.int32)
    return whole
