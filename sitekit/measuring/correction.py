"""The night offset corrected by readings: a linear model and a residual nearby.

The modelled terms of the night keep their shape; readings weigh them. The weight of
the background (its strength k) differs most from place to place, so it is fitted on
the log scale and takes most of what readings say. What no term explains is spread
over a short range around each logger; how much of it there is and how far it reaches
is weighed by the readings too. Everything is a mixture of normal laws: no sampling.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from sitekit.measuring.residual import (
    RANGES,
    RESIDUALS,
    covariance,
    mix,
    prior_likelihood,
    variance_of,
)

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
#: Steps of the fit of k.
STEPS = 12
#: Cells that are corrected at a time.
AT_A_TIME = 50_000
#: Share of the likelihood in the fits that are kept.
KEPT = 0.99


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
    noise : (reading, reading) ndarray
        Covariance of its errors, besides those of sensor and siting. [degC²]
    zero : (reading,) ndarray of bool
        Whether it is told against a zero of its own (loggers), or against that of
        the map (notes).
    """

    terms: Array
    points: Array
    offset: Array
    noise: Array
    zero: NDArray[np.bool_]

    def without(self, index: int) -> "Observed":
        """Leave one reading out."""
        kept = np.arange(len(self.offset)) != index
        return Observed(
            self.terms[kept],
            self.points[kept],
            self.offset[kept],
            self.noise[np.ix_(kept, kept)],
            self.zero[kept],
        )


@dataclass(frozen=True)
class Fit:
    """Weights of the terms for one size and range of the residual.

    Parameters
    ----------
    residual, reach : float
        Standard deviation and range of what no term explains. [degC], [m]
    likely : float
        Logarithm of how likely the readings are with it.
    weights, spread : (term,) ndarray
        Weight of each term and its standard deviation; 1 is the model as it is.
    zero : float
        Zero of the readings against that of the map. [degC]
    """

    residual: float
    reach: float
    likely: float
    weights: Array
    spread: Array
    zero: float
    _scale: Array
    _factor: Any
    _solved: Array

    def predict(
        self,
        places: tuple[Array, Array],
        observed: Observed,
        anchor: Array | None,
        *,
        as_read: bool,
    ) -> tuple[Array, Array]:
        """Correct the offset at places, given by their terms and points."""
        terms, points = places
        near = self.residual, self.reach, anchor
        shaped = _shape(terms, self._scale)
        own = shaped.sum(axis=1) + shaped[:, 0] * self._scale[1]
        sd = prior_spread()
        cross = (shaped * sd**2) @ _shape(observed.terms, self._scale).T
        cross += covariance(points, observed.points, *near)
        variance = ((shaped * sd) ** 2).sum(axis=1) + variance_of(points, *near)
        if as_read:
            cross += ZERO**2 * observed.zero
            variance += ZERO**2
        variance -= (cross * cho_solve(self._factor, cross.T).T).sum(axis=1)
        return own + cross @ self._solved, np.sqrt(np.maximum(variance, 1e-6))


@dataclass(frozen=True)
class Correction:
    """Every fit that the readings allow, each with its share.

    Parameters
    ----------
    fits : tuple of Fit
        One for each size and range of the residual.
    shares : (fit,) ndarray
        How likely each is; they add up to 1.
    observed : Observed
        What it was fitted to.
    anchor : (2,) ndarray or None
        The reference place, that residuals are told against.
    """

    fits: tuple[Fit, ...]
    shares: Array
    observed: Observed
    anchor: Array | None

    @property
    def weights(self) -> Array:
        """Weight of each term; 1 is the model as it is."""
        return np.asarray(self.shares @ [f.weights for f in self.fits])

    @property
    def spread(self) -> Array:
        """Standard deviation of each weight."""
        off = np.array([f.weights for f in self.fits]) - self.weights
        within = np.array([f.spread for f in self.fits])
        return np.asarray(np.sqrt(self.shares @ (off**2 + within**2)))

    @property
    def residual(self) -> float:
        """Standard deviation of what no term explains. [degC]."""
        return float(np.sqrt(self.shares @ [f.residual**2 for f in self.fits]))

    @property
    def zero(self) -> float:
        """Zero of the readings against that of the map. [degC]."""
        return float(self.shares @ [f.zero for f in self.fits])

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
        told = [
            fit.predict((terms, points), self.observed, self.anchor, as_read=as_read)
            for fit in self.fits
        ]
        means, spreads = (np.array(values) for values in zip(*told, strict=True))
        return mix(means, spreads, self.shares)


def prior_spread() -> Array:
    """List the standard deviation of each weight before any reading."""
    return np.array(list(TERMS.values()))


def _shape(terms: Array, scale: Array) -> Array:
    """Put the background at the strength about which the model is linear."""
    shaped = terms.copy()
    shaped[:, 0] *= scale[0]
    return shaped


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
        The likeliest fits, which together hold 99 % of the likelihood.

    References
    ----------
    Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, ch. 2.7
    (explicit basis functions) and 5.2 (marginal likelihood, mixed over what is not
    known); the strength of the background by Gauss-Newton steps about its likeliest
    value.
    """
    tried = [
        _fit(observed, residual, reach, anchor)
        for residual in RESIDUALS
        for reach in RANGES
    ]
    tried.sort(key=lambda fit: -fit.likely)
    shares = np.exp([fit.likely - tried[0].likely for fit in tried])
    shares /= shares.sum()
    count = int(np.searchsorted(np.cumsum(shares), KEPT)) + 1
    kept = shares[:count] / shares[:count].sum()
    return Correction(tuple(tried[:count]), kept, observed, anchor)


def _fit(
    observed: Observed, residual: float, reach: float, anchor: Array | None
) -> Fit:
    """Fit the weights for one residual and range; tell how likely they are."""
    sd = prior_spread()
    points = observed.points
    noise = observed.noise + SENSOR**2 * np.eye(len(points))
    noise += ZERO**2 * np.outer(observed.zero, observed.zero)
    noise += covariance(points, points, residual, reach, anchor)
    log_k = 0.0
    for _ in range(STEPS):
        # Linear in the logarithm of k about its last value; its prior lies at 0.
        scale = np.array([np.exp(log_k), -log_k])
        seen = _shape(observed.terms, scale)
        factor = cho_factor(noise + (seen * sd**2) @ seen.T, lower=True)
        rest = observed.offset - seen.sum(axis=1) - seen[:, 0] * scale[1]
        solved = cho_solve(factor, rest)
        shift = sd**2 * (seen.T @ solved)
        log_k += 0.7 * (shift[0] - log_k)
    spread = sd**2 - ((seen * sd**2).T * cho_solve(factor, seen * sd**2).T).sum(axis=1)
    weights = 1 + shift
    weights[0] = np.exp(log_k)
    spread = np.sqrt(np.maximum(spread, 0)) * np.r_[weights[0], np.ones(len(sd) - 1)]
    likely = -0.5 * rest @ solved - np.log(np.diag(factor[0])).sum()
    return Fit(
        residual=residual,
        reach=reach,
        likely=float(likely) + prior_likelihood(residual, reach),
        weights=weights,
        spread=spread,
        zero=float(ZERO**2 * observed.zero.astype(float) @ solved),
        _scale=scale,
        _factor=factor,
        _solved=solved,
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
        own = float(observed.noise[index, index]) + SENSOR**2
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
