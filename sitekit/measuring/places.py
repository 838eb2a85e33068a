"""Where loggers decide most: places chosen one after another.

Each next logger is the one whose reading would leave the fewest wrong verdicts,
reckoned from the doubt of the night offset and how it hangs together from place to
place. The first two, one low and one 20 to 40 m above it, settle the strength of the
background; the reference place is one of the first three.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sitekit.measuring.correction import SENSOR, ZERO, prior_spread
from sitekit.measuring.residual import (
    USUAL_RANGE,
    USUAL_RESIDUAL,
    covariance,
    variance_of,
)

Array = NDArray[np.float64]

#: Height between the first two loggers. [m]
LEAST_UP, MOST_UP = 20.0, 40.0
#: Loggers stand at least this far from each other. [m]
APART = 25.0
#: No offset is known better than this. [degC]
LEAST = 0.01
#: Readings that may come, as standard deviations, and their shares (Gauss-Hermite).
DRAWS, SHARES = np.polynomial.hermite_e.hermegauss(15)


@dataclass(frozen=True)
class Ground:
    """Ground that is judged, and places where a logger may stand.

    Parameters
    ----------
    terms, candidate_terms : (place, term) ndarray
        Terms of the night against the reference place. [degC]
    points, candidates : (place, 2) ndarray
        Easting and northing. [m]
    cold : (place,) ndarray
        Cold that verdicts are made from. [degC]
    heights : (candidate,) ndarray
        Height of the ground at candidates. [m]
    limits : sequence of float
        Cold at which a verdict changes. [degC]
    anchor : (2,) ndarray or None
        The reference place. [m]
    """

    terms: Array
    points: Array
    cold: Array
    candidate_terms: Array
    candidates: Array
    heights: Array
    limits: Sequence[float]
    anchor: Array | None


@dataclass(frozen=True)
class Choice:
    """Places of loggers, the most decisive first.

    Parameters
    ----------
    chosen : tuple of int
        Candidates in order.
    wrong : tuple of float
        Expected share of ground with a wrong verdict, before any logger and after
        each.
    """

    chosen: tuple[int, ...]
    wrong: tuple[float, ...]


class _Doubt:
    """How the offsets of ground and candidates hang together, reading by reading."""

    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        sd = prior_spread()
        own, there = ground.terms * sd, ground.candidate_terms * sd
        near = (USUAL_RESIDUAL, USUAL_RANGE, ground.anchor)
        self.variance = (own**2).sum(axis=1) + variance_of(ground.points, *near)
        self.first = self.variance
        # Readings have a zero of their own, which no reading of the ground shares.
        self.cross = own @ there.T + covariance(ground.points, ground.candidates, *near)
        self.among = there @ there.T + ZERO**2
        self.among += covariance(ground.candidates, ground.candidates, *near)

    def read(self, index: int) -> None:
        """Take a reading at a candidate into account."""
        whole = self.among[index, index] + SENSOR**2
        gain = self.cross[:, index].copy()
        row = self.among[index].copy()
        self.variance = np.maximum(self.variance - gain**2 / whole, 1e-6)
        self.cross = self.cross - np.outer(gain, row) / whole
        self.among = self.among - np.outer(row, row) / whole

    def wrong(self) -> float:
        """Share of ground whose verdict is expected to be wrong now."""
        return self._expect(self.variance)

    def wrong_after(self, index: int) -> float:
        """Share that is expected to be wrong after a reading at a candidate."""
        whole = max(float(self.among[index, index]), 0.0) + SENSOR**2
        return self._expect(self.variance - self.cross[:, index] ** 2 / whole)

    def _expect(self, variance: Array) -> float:
        """Average over what the readings may say: they may move cold to a limit."""
        left = np.sqrt(np.maximum(variance, LEAST**2))
        moved = np.sqrt(np.maximum(self.first - variance, 0))
        cold, limits = self.ground.cold, self.ground.limits
        parts = [
            share * _wrong(cold + draw * moved, left, limits)
            for draw, share in zip(DRAWS, SHARES, strict=True)
        ]
        return float(sum(parts) / SHARES.sum())


def _wrong(cold: Array, spread: Array, limits: Sequence[float]) -> float:
    """Mean chance to lie on the other side of a limit."""
    chances = [ndtr(-np.abs(cold - limit) / spread) for limit in limits]
    return float(np.mean(chances))


def choose_places(ground: Ground, count: int, reference: int | None = None) -> Choice:
    """Choose places for loggers, one after another.

    Parameters
    ----------
    ground : Ground
        Ground that is judged, and candidates.
    count : int
        Number of loggers.
    reference : int, optional
        Candidate at the reference place; it takes the second or third logger.

    Returns
    -------
    choice : Choice
        At most `count` places; fewer where no more candidates stand apart.

    References
    ----------
    Krause, Singh & Guestrin 2008, J. Mach. Learn. Res. 9 (one place after another);
    the measure here is the expected share of wrong verdicts.
    """
    doubt = _Doubt(ground)
    chosen: list[int] = []
    wrong = [doubt.wrong()]
    for index in _first_two(ground, reference)[:count]:
        doubt.read(index)
        chosen.append(index)
        wrong.append(doubt.wrong())
    while len(chosen) < count:
        free = _free(ground.candidates, chosen)
        if not len(free):
            break
        if len(chosen) == 2 and reference is not None and reference in free:
            best = reference
        else:
            best = min(free, key=doubt.wrong_after)
        doubt.read(best)
        chosen.append(best)
        wrong.append(doubt.wrong())
    return Choice(tuple(chosen), tuple(wrong))


def expect_wrong(ground: Ground, chosen: Sequence[int]) -> float:
    """Tell the share of ground whose verdict is expected to be wrong with loggers.

    Parameters
    ----------
    ground : Ground
        Ground that is judged, and candidates.
    chosen : sequence of int
        Candidates that carry a logger.

    Returns
    -------
    wrong : float
        0 to 1, over all that the readings may say.
    """
    doubt = _Doubt(ground)
    for index in chosen:
        doubt.read(index)
    return doubt.wrong()


def _first_two(ground: Ground, reference: int | None) -> list[int]:
    """Choose one low place and one 20 to 40 m above it, of the most use together.

    The reference place is the upper one where it lies so: it needs a logger anyway.
    """
    low = int(ground.heights.argmin())
    up = ground.heights - ground.heights[low]
    fits = np.flatnonzero((up >= LEAST_UP) & (up <= MOST_UP))
    if not len(fits):
        below = np.flatnonzero((up > 0) & (up <= MOST_UP))
        fits = below[[up[below].argmax()]] if len(below) else below
    if not len(fits):
        return [low]
    if reference is not None and reference in fits:
        return [low, reference]
    doubt = _Doubt(ground)
    doubt.read(low)
    return [low, int(min(fits, key=lambda i: doubt.wrong_after(int(i))))]


def _free(candidates: Array, chosen: Sequence[int]) -> list[int]:
    """List the candidates that stand apart from those chosen."""
    if not chosen:
        return list(range(len(candidates)))
    gaps = np.linalg.norm(
        candidates[:, None] - candidates[list(chosen)][None], axis=2
    ).min(axis=1)
    return [int(i) for i in np.flatnonzero(gaps >= APART)]
