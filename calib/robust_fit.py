"""Least squares under Cauchy's loss, for a few unknowns and hundreds of residuals.

The cost is ``sum C^2 ln(1 + (r / C)^2) / 2``.  Steps are those of least squares weighted anew
each time by ``1 / (1 + z)``, ``z = (r / C)^2``, which lower the cost of a linear model every
time (P. J. Huber, *Robust Statistics*, section 7.8, from memory); where a model is not so
linear they are damped after Levenberg and Marquardt.  The curvature at the end is that of the
loss itself, of weight ``(1 - z) / (1 + z)^2`` where that is positive.  SciPy's
``least_squares`` finds the same place (`tests/calib/test_robust_fit.py`), in three times the
time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Model = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""Residuals (N,) and their derivatives (N, P) at a point (P,)."""

_MOST_STEPS = 60
_SETTLED = 1e-10
"""Decrease of the cost that a step foretells, over the cost: of a thousand residuals, a step
of three ten-thousandths of a standard deviation."""
_DAMPING, _EASE, _TIGHTEN = 1e-3, 0.1, 10.0
"""Of the scaled unknowns where a step has failed; what a success and a failure make of it."""
_LEAST_WEIGHT = 1e-12
"""Of an outlier in the normal matrix."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RobustFit:
    """Where the cost is least.

    Attributes
    ----------
    at : (P,) array
    residuals : (N,) array
        As the model gives them.
    normal : (P, P) array
        Curvature of the cost.
    pull : (P, N) array
        Change of the cost's gradient with each residual.
    """

    at: FloatArray
    residuals: FloatArray
    normal: FloatArray
    pull: FloatArray

    def moved_by(self, change: FloatArray) -> FloatArray:
        """Say how far the place goes, to first order, when residuals change by so much."""
        return np.asarray(-np.linalg.pinv(self.normal, hermitian=True) @ (self.pull @ change))


def fit_robustly(model: Model, start: FloatArray, scale: float) -> RobustFit:
    """Minimise Cauchy's loss of a model's residuals.

    Parameters
    ----------
    model
        Residuals and derivatives at a point.
    start : (P,) array
    scale
        Residual ``C`` from which on the loss grows less than its square.
    """
    at = start
    residuals, derivatives = model(at)
    cost, damping = _cost(residuals, scale), 0.0
    for _ in range(_MOST_STEPS):
        weighted = derivatives * _weight(residuals, scale)[:, None]
        gradient, normal = residuals @ weighted, derivatives.T @ weighted
        step = -_solved(normal, gradient, damping)
        foretold = -float(gradient @ step) - 0.5 * float(step @ normal @ step)
        if foretold <= _SETTLED * cost:
            break
        there, slopes = model(at + step)
        lower = _cost(there, scale)
        if lower < cost:
            at, residuals, derivatives, cost = at + step, there, slopes, lower
            damping *= _EASE
        else:
            damping = max(damping * _TIGHTEN, _DAMPING)
    weight = _weight(residuals, scale)
    curved = np.maximum(weight * (2.0 * weight - 1.0), _LEAST_WEIGHT)
    pull = derivatives.T * curved
    return RobustFit(at=at, residuals=residuals, normal=pull @ derivatives, pull=pull)


def _weight(residuals: FloatArray, scale: float) -> FloatArray:
    return np.asarray(1.0 / (1.0 + (residuals / scale) ** 2))


def _solved(normal: FloatArray, right: FloatArray, damping: float) -> FloatArray:
    """Solve with the diagonal enlarged, the unknowns scaled alike."""
    size = np.sqrt(np.diag(normal))
    scaled = normal / (size * size[:, None])
    scaled.ravel()[:: len(size) + 1] += damping
    return np.asarray(np.linalg.solve(scaled, right / size) / size)


def _cost(residuals: FloatArray, scale: float) -> float:
    return 0.5 * scale**2 * float(np.log1p((residuals / scale) ** 2).sum())
