"""Where loggers decide most: places chosen one after another.

Each next logger is the one whose reading would leave the fewest wrong verdicts,
reckoned from the doubt of the night offset and how it hangs together from place to
place. The first two, one low and one 20 to 40 m above it, settle the strength of the
background; the third stands at the reference place.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sitekit.measuring.correction import (
    SENSOR,
    USUAL_RANGE,
    USUAL_RESIDUAL,
    ZERO,
    covariance,
    prior_spread,
)

Array = NDArray[np.float64]

#: Height between the first two loggers. [m]
LEAST_UP, MOST_UP = 20.0, 40.0
#: Loggers stand at least this far from each other. [m]
APART = 25.0
#: Readings that may come, as standard deviations, and their shares (Gauss-Hermite).
DRAWS, SHARES = np.polynomial.hermite_e.hermegauss(9)


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
        self.variance = (own**2).sum(axis=1) + np.diag(
            covariance(ground.points, ground.points, *near)
        )
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

    def copy(self) -> "_Doubt":
        """Copy it, to try a reading."""
        other = object.__new__(_Doubt)
        other.ground = self.ground
        other.variance, other.cross = self.variance, self.cross
        other.among = self.among
        return other

    def wrong(self) -> float:
        """Share of ground whose verdict is expected to be wrong now."""
        cold = self.ground.cold
        return _wrong(cold, np.sqrt(self.variance), self.ground.limits)

    def wrong_after(self, index: int) -> float:
        """Share that is expected to be wrong after a reading at a candidate."""
        whole = max(float(self.among[index, index]), 0.0) + SENSOR**2
        told = self.cross[:, index] ** 2 / whole
        left = np.sqrt(np.maximum(self.variance - told, 1e-6))
        moved = np.sqrt(told)
        parts = [
            share * _wrong(self.ground.cold + draw * moved, left, self.ground.limits)
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
        Candidate at the reference place; it takes the third logger.

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
    for index in _first_two(ground)[:count]:
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
        0 to 1; over what the last reading may say.
    """
    doubt = _Doubt(ground)
    for index in chosen[:-1]:
        doubt.read(index)
    return doubt.wrong_after(chosen[-1]) if chosen else doubt.wrong()


def _first_two(ground: Ground) -> list[int]:
    """Choose one low place and one 20 to 40 m above it, of the most use together."""
    low = int(ground.heights.argmin())
    up = ground.heights - ground.heights[low]
    fits = np.flatnonzero((up >= LEAST_UP) & (up <= MOST_UP))
    if not len(fits):
        below = np.flatnonzero((up > 0) & (up <= MOST_UP))
        fits = below[[up[below].argmax()]] if len(below) else below
    if not len(fits):
        return [low]
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
