"""Leaving out what cannot be told apart changes neither the fit nor its variance."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.meniscus_basis import FactorPrior, basis_of, unwhitening

RNG = np.random.default_rng(3)
SIGMA = np.array([0.02, 0.03, 0.025])
MEAN = RNG.normal(size=8)
ROOT = RNG.normal(size=(8, 8))
PRECISION = ROOT @ ROOT.T + 2 * np.eye(8)


def picture():
    """Forty rays that depend on three combinations of eight factors, and hardly on others."""
    strong = RNG.normal(size=(40, 3, 3)) @ RNG.normal(size=(3, 8))
    return strong + 1e-4 * RNG.normal(size=(40, 3, 8))


def test_unwhitened_has_the_prior_covariance():
    turn = unwhitening(PRECISION)
    assert turn @ turn.T == pytest.approx(np.linalg.inv(PRECISION), rel=1e-9, abs=1e-12)


def test_prior_of_some_factors_is_that_with_the_others_at_their_mean():
    kept = np.arange(8) % 3 > 0
    some = FactorPrior.of(MEAN, PRECISION).only(kept)
    away = np.where(kept, RNG.normal(size=8), 0.0)
    assert some.mean == pytest.approx(MEAN[kept])
    assert away[kept] @ some.precision @ away[kept] == pytest.approx(away @ PRECISION @ away)
    assert np.linalg.norm(np.linalg.solve(some.turn, away[kept])) ** 2 == pytest.approx(
        away @ PRECISION @ away
    )


def test_same_estimate_as_with_all_factors():
    value, width = picture(), np.ones(40)
    basis = basis_of(value, width, SIGMA, FactorPrior.of(MEAN, PRECISION))
    assert basis.size == 3
    data = np.einsum("rck,k->cr", value, MEAN + 0.3) + SIGMA[:, None] * RNG.normal(
        size=(3, 40)
    )
    columns = basis.columns(value)
    for c in range(3):
        full = value[:, c] / SIGMA[c]
        normal = full.T @ full + PRECISION
        expected = np.linalg.solve(normal, full.T @ data[c] / SIGMA[c] + PRECISION @ MEAN)
        few = columns[c, :, 1:] / SIGMA[c]
        right = few.T @ (data[c] - columns[c, :, 0]) / SIGMA[c]
        z = np.zeros((3, 3))
        z[c] = np.linalg.solve(few.T @ few + np.eye(3), right)
        found = basis.factors(z)[c]
        # The picture that the factors make counts, not the factors.
        assert value[:, c] @ found == pytest.approx(value[:, c] @ expected, abs=0.1 * SIGMA[c])
