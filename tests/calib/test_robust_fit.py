"""Our minimum of Cauchy's loss against SciPy's, on data with outliers."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from limbsight.calib.robust_fit import fit_robustly

SCALE = 2.0


def _problem(seed, outliers):
    """A rational curve through noisy points, its unknowns of very different sizes."""
    rng = np.random.default_rng(seed)
    x = np.linspace(-1.0, 1.0, 150)
    truth = np.array([300.0, 20.0, 0.08])
    y = (truth[0] * x + truth[1]) / (1.0 + truth[2] * x) + rng.normal(0.0, 0.5, len(x))
    y[rng.choice(len(x), outliers, replace=False)] += rng.normal(0.0, 40.0, outliers)

    def model(p):
        over = 1.0 / (1.0 + p[2] * x)
        value = (p[0] * x + p[1]) * over
        derivatives = np.column_stack([x * over, over, -value * x * over]) / 0.5
        return (value - y) / 0.5, derivatives

    return model, truth


@pytest.mark.parametrize("outliers", [0, 5, 40])
@pytest.mark.parametrize("seed", range(4))
def test_the_same_minimum_as_scipy(seed, outliers):
    model, _ = _problem(seed, outliers)
    start = np.array([250.0, 0.0, 0.0])
    ours = fit_robustly(model, start, SCALE)
    theirs = least_squares(
        lambda p: model(p)[0],
        start,
        jac=lambda p: model(p)[1],
        loss="cauchy",
        f_scale=SCALE,
        x_scale="jac",
        ftol=1e-14,
        xtol=1e-14,
        gtol=1e-14,
    )
    spread = np.sqrt(np.diag(np.linalg.inv(ours.normal)))
    assert np.all(np.abs(ours.at - theirs.x) < 1e-3 * spread)
    assert np.allclose(ours.normal, theirs.jac.T @ theirs.jac, rtol=1e-3)
    assert np.allclose(ours.residuals, model(ours.at)[0])


def test_outliers_hardly_move_it():
    model, truth = _problem(1, 30)
    found = fit_robustly(model, np.array([250.0, 0.0, 0.0]), SCALE)
    spread = np.sqrt(np.diag(np.linalg.inv(found.normal)))
    assert np.all(np.abs(found.at - truth) < 4.0 * spread)


def test_a_start_where_full_steps_climb():
    model, truth = _problem(2, 0)
    found = fit_robustly(model, np.array([-300.0, 500.0, 0.7]), SCALE)
    assert found.at == pytest.approx(truth, rel=0.02)


@pytest.mark.parametrize("outliers", [0, 40])
def test_where_it_goes_when_residuals_change(outliers):
    model, _ = _problem(2, outliers)
    found = fit_robustly(model, np.array([250.0, 0.0, 0.0]), SCALE)
    change = 0.05 * np.linspace(-1.0, 1.0, len(found.residuals)) ** 2

    def changed(p):
        residuals, derivatives = model(p)
        return residuals + change, derivatives

    again = fit_robustly(changed, found.at, SCALE)
    spread = np.sqrt(np.diag(np.linalg.inv(found.normal)))
    moved = (again.at - found.at) / spread
    assert np.abs(moved).max() > 0.05
    assert found.moved_by(change) / spread == pytest.approx(moved, abs=0.02)
