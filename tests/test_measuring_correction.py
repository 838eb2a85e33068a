"""The correction of the night offset, on made-up holdings whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.distance import cdist
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel
from sklearn.linear_model import Ridge
from sklearn.model_selection import LeaveOneOut, cross_val_predict

from sitekit.measuring import correction as module
from sitekit.measuring.correction import (
    TERMS,
    Observed,
    correct_map,
    fit_correction,
    leave_one_out,
    prior_spread,
)
from sitekit.measuring.residual import FACTOR, USUAL_RANGE, USUAL_RESIDUAL

NAMES = list(TERMS)
SIDE = 800.0
PLACES = 300


class Holding:
    """A made-up holding: terms of the night at places, and what is true there."""

    def __init__(self, seed, loggers=8):
        self.random = random = np.random.default_rng(seed)
        self.points = random.uniform(0, SIDE, (PLACES, 2))
        height = self.smooth(260.0) * 18 + 30
        height = np.clip(height, 0, None)
        pool = -2.0 * np.clip(1 - height / 15, 0, 1)
        z = height / 60
        background = 3.3 * (np.minimum(z, 1) + np.log(np.maximum(z, 1)))
        self.height = height
        terms = np.zeros((PLACES, len(NAMES)))
        made = {
            "background_warmth": background,
            "crest_warmth": -0.6 * np.exp(-(height.max() - height) / 15),
            "concave_warmth": np.clip(0.4 * self.smooth(60.0), -0.6, 0),
            "pool_warmth": pool,
            "still_warmth": -0.35 * random.uniform(0, 1, PLACES),
            "sky_warmth": 0.3 * random.uniform(0, 1, PLACES),
            "lapse": -0.003 * height,
        }
        for name, values in made.items():
            terms[:, NAMES.index(name)] = values
        # Offsets and terms are told against the first place.
        self.terms = terms - terms[0]
        self.loggers = loggers

    def smooth(self, reach):
        """A random surface with a range."""
        waves = self.random.normal(0, 1 / reach, (60, 2))
        phase = self.random.uniform(0, 2 * np.pi, 60)
        return np.sqrt(2 / 60) * np.cos(self.points @ waves.T + phase).sum(axis=1)

    def own_truth(self):
        """Offsets that our own model could have made."""
        sd = prior_spread()
        weights = 1 + sd * self.random.normal(size=sd.size)
        weights[0] = np.exp(sd[0] * self.random.normal())
        size = USUAL_RESIDUAL * FACTOR ** self.random.normal()
        reach = USUAL_RANGE * FACTOR ** self.random.normal()
        return self.terms @ weights + self.residual(size, reach)

    def residual(self, size, reach):
        """A surface as rough as the ground: it falls off exponentially."""
        alike = np.exp(-cdist(self.points, self.points) / reach)
        root = np.linalg.cholesky(alike + 1e-9 * np.eye(PLACES))
        rough = size * root @ self.random.normal(size=PLACES)
        return rough - rough[0]

    def foreign_truth(self):
        """Offsets that no part of our model made: one of two kinds of holding."""
        kinds = self.log_law, self.patches
        return kinds[self.random.integers(2)]()

    def log_law(self):
        """Offsets by the log of the height, a tilt, and heavy tails at each place."""
        # Source of the law: A. Mahood, doi 10.5281/zenodo.14768076; 3 ln(1 + h/5).
        law = self.random.uniform(0.3, 3.0) * np.log(1 + self.height / 5)
        tilt = self.points @ self.random.normal(0, 0.8 / SIDE, 2)
        truth = law + tilt + 0.45 * self.random.standard_t(4, PLACES)
        return truth - truth[0]

    def patches(self):
        """Offsets that level off with height, a smooth field, and sharp patches."""
        random = self.random
        depth = random.uniform(8, 40)
        truth = random.uniform(0, 5) * (1 - np.exp(-self.height / depth))
        truth += self.smooth(random.uniform(100, 400)) * random.uniform(0.2, 1.2)
        for _ in range(random.integers(3, 10)):
            middle, wide = random.uniform(0, SIDE, 2), random.uniform(20, 90)
            inside = np.hypot(*(self.points - middle).T) < wide
            truth += random.normal(0, 1.2) * inside
        truth += 0.2 * random.normal(size=PLACES)
        return truth - truth[0]

    def observed(self, truth):
        """Readings at loggers, the first at the reference place."""
        which = np.arange(self.loggers)
        noise = self.random.normal(0, 0.2, self.loggers)
        seen = truth[which] + noise
        return Observed(
            self.terms[which],
            self.points[which],
            seen - seen[0],
            0.1**2 * np.eye(self.loggers),
            np.ones(self.loggers, bool),
        )

    def elsewhere(self):
        return slice(self.loggers, None)


def share_held(truth_of, loggers, holdings=100):
    held = []
    for seed in range(holdings):
        holding = Holding(seed, loggers)
        truth = getattr(holding, truth_of)()
        fitted = fit_correction(holding.observed(truth), holding.points[0])
        there = holding.elsewhere()
        offset, spread = fitted.predict(holding.terms[there], holding.points[there])
        held.append(np.mean(np.abs(offset - truth[there]) <= 1.645 * spread))
    return float(np.mean(held))


@pytest.mark.parametrize("loggers", [2, 4, 8, 16])
@pytest.mark.parametrize("truth_of", ["own_truth", "foreign_truth"])
def test_intervals_of_90_per_cent_hold_the_truth_about_as_often(truth_of, loggers):
    assert 0.85 <= share_held(truth_of, loggers) <= 0.95


@pytest.mark.parametrize("truth_of", ["own_truth", "foreign_truth"])
def test_eight_readings_bring_the_map_nearer_to_the_truth(truth_of):
    before, after = [], []
    for seed in range(30):
        holding = Holding(seed)
        truth = getattr(holding, truth_of)()
        there = holding.elsewhere()
        fitted = fit_correction(holding.observed(truth), holding.points[0])
        offset, _ = fitted.predict(holding.terms[there], holding.points[there])
        before.append(np.mean((holding.terms[there].sum(axis=1) - truth[there]) ** 2))
        after.append(np.mean((offset - truth[there]) ** 2))
    assert np.sqrt(np.mean(after)) < 0.8 * np.sqrt(np.mean(before))


@pytest.mark.parametrize("k", [0.3, 0.5, 1.0, 1.6])
def test_two_loggers_settle_the_strength_of_the_background(k):
    holding = Holding(4, 2)
    high = int(np.argmax(holding.terms[:, 0]))
    low = int(np.argmin(holding.terms[:, 0]))
    which = [low, high]
    truth = holding.terms.copy()
    truth[:, 0] *= k
    seen = truth.sum(axis=1)[which]
    fitted = fit_correction(
        Observed(
            holding.terms[which],
            holding.points[which],
            seen,
            0.05**2 * np.eye(2),
            np.ones(2, bool),
        )
    )
    off = np.log(fitted.weights[0] / k)
    assert abs(off) <= 0.6 * abs(np.log(k)) + 0.1
    assert fitted.spread[0] / fitted.weights[0] < 0.75 * prior_spread()[0]
    assert np.abs(fitted.weights[1:] - 1).max() < 0.5


def test_without_readings_the_map_stays_as_it_is():
    holding = Holding(1)
    nothing = Observed(
        holding.terms[:2],
        holding.points[:2],
        np.zeros(2),
        1e6 * np.eye(2),
        np.ones(2, bool),
    )
    fitted = fit_correction(nothing, holding.points[0])
    offset, spread = fitted.predict(holding.terms, holding.points)
    assert offset == pytest.approx(holding.terms.sum(axis=1), abs=0.02)
    assert spread[1:].mean() > 0.5


def test_the_reference_place_stays_at_nought():
    holding = Holding(2)
    fitted = fit_correction(holding.observed(holding.own_truth()), holding.points[0])
    offset, spread = fitted.predict(holding.terms[:1], holding.points[:1])
    assert offset[0] == pytest.approx(0, abs=1e-6)
    assert spread[0] < 0.05


def test_a_common_error_of_all_readings_moves_nothing():
    holding = Holding(3)
    seen = holding.observed(holding.own_truth())
    one = fit_correction(seen, holding.points[0])
    other = fit_correction(replace(seen, offset=seen.offset + 2.0), holding.points[0])
    here = holding.terms, holding.points
    assert one.predict(*here)[0] == pytest.approx(other.predict(*here)[0], abs=0.35)


@pytest.fixture
def plain(monkeypatch):
    """A correction without the fit of k, whose answer is known in closed form."""
    monkeypatch.setattr(module, "STEPS", 1)
    return monkeypatch


def test_the_linear_part_is_the_ridge_regression_of_scikit_learn(plain):
    plain.setattr(module, "ZERO", 0.0)
    plain.setattr(module, "RESIDUALS", (1e-4,))
    plain.setattr(module, "RANGES", (80.0,))
    holding = Holding(5, 14)
    seen = holding.observed(holding.own_truth())
    seen = replace(seen, terms=seen.terms * (np.arange(len(NAMES)) > 0))
    errors, _ = leave_one_out(seen)
    noise = 0.1**2 + module.SENSOR**2
    scaled = seen.terms * prior_spread()
    expected = seen.terms.sum(axis=1)
    found = cross_val_predict(
        Ridge(alpha=noise, fit_intercept=False),
        scaled,
        seen.offset - expected,
        cv=LeaveOneOut(),
    )
    assert errors == pytest.approx(found + expected - seen.offset, abs=1e-4)


def test_the_residual_is_the_gaussian_process_of_scikit_learn(plain):
    plain.setattr(module, "ZERO", 0.0)
    plain.setattr(module, "RESIDUALS", (0.8,))
    plain.setattr(module, "RANGES", (240.0,))
    holding = Holding(6, 14)
    seen = holding.observed(holding.residual(0.8, 240.0))
    seen = replace(seen, terms=np.zeros_like(seen.terms))
    offset, spread = fit_correction(seen).predict(
        np.zeros_like(holding.terms), holding.points
    )
    kernel = ConstantKernel(0.64, "fixed") * Matern(240.0, "fixed", nu=0.5)
    reference = GaussianProcessRegressor(
        kernel + WhiteKernel(0.1**2 + module.SENSOR**2, "fixed"), optimizer=None
    ).fit(seen.points, seen.offset)
    mean, sd = reference.predict(holding.points, return_std=True)
    assert offset == pytest.approx(mean, abs=1e-6)
    unseen = np.sqrt(sd**2 - 0.1**2 - module.SENSOR**2)
    assert spread == pytest.approx(unseen, abs=1e-4)


def test_left_out_errors_are_as_large_as_expected():
    ratios = []
    for seed in range(20):
        holding = Holding(seed, 10)
        errors, spreads = leave_one_out(
            holding.observed(holding.own_truth()), holding.points[0]
        )
        ratios += list(errors / spreads)
    assert 0.8 < np.std(ratios) < 1.25


def test_every_cell_is_corrected_as_its_place_is(monkeypatch):
    monkeypatch.setattr(module, "AT_A_TIME", 40)
    holding = Holding(7)
    fitted = fit_correction(holding.observed(holding.own_truth()), holding.points[0])
    terms = [t.reshape(15, 20) for t in holding.terms.T.copy()]
    terms[0][3, 4] = np.nan
    eastings, northings = np.arange(20) * 40.0, 600.0 - np.arange(15) * 40.0
    offset, spread = correct_map(fitted, terms, (eastings, northings))
    assert np.isnan(offset[3, 4])
    assert np.isnan(spread[3, 4])
    east, north = np.meshgrid(eastings, northings)
    wanted, wide = fitted.predict(
        holding.terms, np.column_stack([east.ravel(), north.ravel()])
    )
    kept = np.isfinite(offset.ravel())
    assert kept.sum() == 299
    assert offset.ravel()[kept] == pytest.approx(wanted[kept], abs=1e-5)
    assert spread.ravel()[kept] == pytest.approx(wide[kept], abs=1e-5)
