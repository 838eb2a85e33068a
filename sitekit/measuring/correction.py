"""The night offset corrected by readings: a linear model and a residual nearby.

The modelled terms of the night keep their shape; readings weigh them. The weight of
the background (its strength k) differs most from place to place, so it is fitted on
the log scale and takes most of what readings say. What no term explains is spread
over a short range around each logger. Everything is Gaussian: no sampling.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial.distance import cdist

Array = NDArray[np.float64]

#: Terms of the night that are weighed, and the standard deviation of each weight
#: before any reading: the ranges of the settings of each, as shares of it.
#: The background comes first; its spread is that of its logarithm. k was found from
#: 0.12 to 1.5 at six places, so it is wider than the range of one setting.
TERMS: Mapping[str, float] = {
    "background_warmth": 0.8,
    "crest_warmth": 0.42,
    "concave_warmth": 0.42,
    "pool_warmth": 0.4,
    "still_warmth": 0.36,
    "sky_warmth": 0.29,
    "cover_warmth": 0.5,
    "lake_warmth_bloom": 0.5,
    "lapse": 0.38,
}
#: Error of a reading besides the spread of nights: sensor and siting. [degC]
SENSOR = 0.2
#: What the zero of readings against that of the map may be. [degC]
ZERO = 3.0
#: Residual: usual standard deviation [degC] and range [m], the factor by which each
#: may differ (one standard deviation), and what is tried.
USUAL_RESIDUAL, USUAL_RANGE, FACTOR = 0.75, 80.0, 2.0
RESIDUALS = tuple(USUAL_RESIDUAL * 2.0**k for k in (-2, -1.5, -1, -0.5, 0, 0.5, 1, 1.5))
RANGES = (30.0, 60.0, 120.0, 240.0)
#: Steps of the fit of k.
STEPS = 12
#: Cells that are corrected at a time.
AT_A_TIME = 200_000


@dataclass(frozen=True)
class Observed:
    """What was seen, and the modelled terms there.

    Parameters
    ----------
    terms : (reading, term) ndarray
        Terms of the night against the reference place, in the order of `TERMS`,
        already at the strength of the nights that were read. [degC]
    points : (reading, 2) ndarray
        Easting and northing. [m]
    offset : (reading,) ndarray
        Offset seen. [degC]
    error : (reading,) ndarray
        Its standard error. [degC]
    zero : (reading,) ndarray of bool
        Whether it is told against a zero of its own (loggers), or against that of
        the map (notes).
    """

    terms: Array
    points: Array
    offset: Array
    error: Array
    zero: NDArray[np.bool_]

    def without(self, index: int) -> "Observed":
        """Leave one reading out."""
        kept = np.arange(len(self.offset)) != index
        return Observed(
            self.terms[kept],
            self.points[kept],
            self.offset[kept],
            self.error[kept],
            self.zero[kept],
        )


@dataclass(frozen=True)
class Correction:
    """Weights of the terms after the readings, and the residual around each.

    Parameters
    ----------
    weights, spread : (term,) ndarray
        Weight of each term and its standard deviation; 1 is the model as it is.
    zero : float
        Zero of the readings against that of the map. [degC]
    residual, reach : float
        Standard deviation and range of what no term explains. [degC], [m]
    observed : Observed
        What it was fitted to.
    anchor : (2,) ndarray or None
        The reference place, that residuals are told against.
    """

    weights: Array
    spread: Array
    zero: float
    residual: float
    reach: float
    observed: Observed
    anchor: Array | None
    _scale: Array
    _factor: Any
    _solved: Array

    def predict(
        self, terms: Array, points: Array, *, as_read: bool = False
    ) -> tuple[Array, Array]:
        """Correct the offset at places.

        Parameters
        ----------
        terms : (place, term) ndarray
            Terms there against the reference place. [degC]
        points : (place, 2) ndarray
            Easting and northing. [m]
        as_read : bool
            Against the zero of the readings, not that of the map.

        Returns
        -------
        offset, spread : (place,) ndarray
            Corrected offset and its standard deviation. [degC]
        """
        shaped = terms.copy()
        shaped[:, 0] *= self._scale[0]
        own = terms @ np.r_[self._scale[0], np.ones(terms.shape[1] - 1)]
        own = own + shaped[:, 0] * self._scale[1]
        seen = _shape(self.observed.terms, self._scale)
        sd = prior_spread()
        cross = (shaped * sd**2) @ seen.T
        cross += covariance(
            points, self.observed.points, self.residual, self.reach, self.anchor
        )
        variance = ((shaped * sd) ** 2).sum(axis=1)
        variance += variance_of(points, self.residual, self.reach, self.anchor)
        if as_read:
            cross += ZERO**2 * self.observed.zero
            variance += ZERO**2
        variance -= (cross * cho_solve(self._factor, cross.T).T).sum(axis=1)
        return own + cross @ self._solved, np.sqrt(np.maximum(variance, 1e-6))


def prior_spread() -> Array:
    """List the standard deviation of each weight before any reading."""
    return np.array(list(TERMS.values()))


def _shape(terms: Array, scale: Array) -> Array:
    """Put the background at the strength about which the model is linear."""
    shaped = terms.copy()
    shaped[:, 0] *= scale[0]
    return shaped


def covariance(
    one: Array, other: Array, residual: float, reach: float, anchor: Array | None
) -> Array:
    """Relate the residual of places, each against that of the reference place."""

    def alike(a: Array, b: Array) -> Array:
        return np.asarray(residual**2 * np.exp(-0.5 * (cdist(a, b) / reach) ** 2))

    made = alike(one, other)
    if anchor is not None:
        made = made - alike(one, anchor[None]) - alike(other, anchor[None]).T
        made += residual**2
    return made


def variance_of(
    points: Array, residual: float, reach: float, anchor: Array | None
) -> Array:
    """Tell the variance of the residual at places. [degC²]."""
    if anchor is None:
        return np.full(len(points), residual**2)
    near = np.exp(-0.5 * (cdist(points, anchor[None])[:, 0] / reach) ** 2)
    return np.asarray(2 * residual**2 * (1 - near))


def fit_correction(observed: Observed, anchor: Array | None = None) -> Correction:
    """Weigh the terms by what was seen.

    Parameters
    ----------
    observed : Observed
        Readings, and notes as weak readings.
    anchor : (2,) ndarray, optional
        The reference place. [m]

    Returns
    -------
    correction : Correction
        Residual and range as expected from the readings, and the weights that go
        with them.

    References
    ----------
    Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, ch. 2.7
    (explicit basis functions) and 5.4 (marginal likelihood); the strength of the
    background by Gauss-Newton steps about its likeliest value.
    """
    grid = [(residual, reach) for residual in RESIDUALS for reach in RANGES]
    likely = np.array([_fit(observed, *pair, anchor)[0] for pair in grid])
    shares = np.exp(likely - likely.max())
    shares /= shares.sum()
    # The expected variance, not the likeliest: few readings must not look sure.
    residual = float(np.sqrt(shares @ np.array([r**2 for r, _ in grid])))
    reach = float(np.exp(shares @ np.log([r for _, r in grid])))
    return _fit(observed, residual, reach, anchor)[1]


def _fit(
    observed: Observed, residual: float, reach: float, anchor: Array | None
) -> tuple[float, Correction]:
    """Fit the weights for one residual and range; tell how likely they are."""
    sd = prior_spread()
    noise = np.diag(observed.error**2 + SENSOR**2)
    noise += ZERO**2 * np.outer(observed.zero, observed.zero)
    noise += covariance(observed.points, observed.points, residual, reach, anchor)
    log_k = 0.0
    for _ in range(STEPS):
        # Linear in the logarithm of k about its last value; its prior lies at 0.
        scale = np.array([np.exp(log_k), -log_k])
        seen = _shape(observed.terms, scale)
        expected = seen.sum(axis=1) + seen[:, 0] * scale[1]
        total = noise + (seen * sd**2) @ seen.T
        factor = cho_factor(total, lower=True)
        rest = observed.offset - expected
        solved = cho_solve(factor, rest)
        shift = sd**2 * (seen.T @ solved)
        log_k += 0.7 * (shift[0] - log_k)
    spread = sd**2 - ((seen * sd**2).T * cho_solve(factor, seen * sd**2).T).sum(axis=1)
    spread = np.sqrt(np.maximum(spread, 0))
    weights = 1 + shift
    weights[0] = np.exp(log_k)
    spread[0] *= weights[0]
    likely = -0.5 * rest @ solved - np.log(np.diag(factor[0])).sum()
    likely -= 0.5 * (np.log(residual / USUAL_RESIDUAL) / np.log(FACTOR)) ** 2
    likely -= 0.5 * (np.log(reach / USUAL_RANGE) / np.log(FACTOR)) ** 2
    zero = float(ZERO**2 * observed.zero.astype(float) @ solved)
    return float(likely), Correction(
        weights,
        spread,
        zero,
        residual,
        reach,
        observed,
        anchor,
        scale,
        factor,
        solved,
    )


def leave_one_out(
    observed: Observed, anchor: Array | None = None, count: int | None = None
) -> tuple[Array, Array]:
    """Predict each reading from all the others.

    Parameters
    ----------
    observed : Observed
        At least two readings.
    anchor : (2,) ndarray, optional
        The reference place. [m]
    count : int, optional
        How many are left out in turn, the first of them; all where not given.

    Returns
    -------
    error, spread : (reading,) ndarray
        Predicted less seen, and the standard deviation expected of it. [degC]
    """
    errors, spreads = [], []
    for index in range(len(observed.offset) if count is None else count):
        fitted = fit_correction(observed.without(index), anchor)
        here = slice(index, index + 1)
        offset, spread = fitted.predict(
            observed.terms[here],
            observed.points[here],
            as_read=bool(observed.zero[index]),
        )
        errors.append(offset[0] - observed.offset[index])
        own = observed.error[index] ** 2 + SENSOR**2
        spreads.append(float(np.sqrt(spread[0] ** 2 + own)))
    return np.array(errors), np.array(spreads)


def correct_map(
    correction: Correction, terms: Sequence[NDArray[Any]], points: tuple[Array, Array]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Correct the offset of every cell.

    Parameters
    ----------
    correction : Correction
        What the readings say.
    terms : sequence of (row, column) ndarray
        Terms against the reference place, in the order of `TERMS`. [degC]
    points : tuple of ndarray
        Eastings of the columns and northings of the rows. [m]

    Returns
    -------
    offset, spread : (row, column) ndarray of float32
        Corrected offset and its standard deviation; NaN where a term is. [degC]
    """
    shape = terms[0].shape
    offset = np.full(shape, np.nan, np.float32)
    spread = offset.copy()
    rows = max(AT_A_TIME // shape[1], 1)
    for top in range(0, shape[0], rows):
        band = slice(top, top + rows)
        stack = np.stack([t[band].ravel() for t in terms], axis=1).astype(float)
        east, north = np.meshgrid(points[0], points[1][band])
        known = np.isfinite(stack).all(axis=1)
        where = np.column_stack([east.ravel(), north.ravel()])[known]
        found = correction.predict(stack[known], where)
        for values, made in zip(found, (offset, spread), strict=True):
            flat = np.full(known.size, np.nan)
            flat[known] = values
            made[band] = flat.reshape(-1, shape[1])
    return offset, spread
