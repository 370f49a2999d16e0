"""What a fitted picture leaves unexplained of a profile, and what that is worth.

Residuals are robust: a Cauchy cost instead of their square.  Brightness factors that are
linear in the picture are solved for on the way, channel by channel, with unit normal priors.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Array = NDArray[np.float64]

_CAUCHY_SCALE = 4.0
"""Beyond 2.4 (95 % efficiency for normal noise; P. J. Huber, *Robust Statistics*), so that a
whole dark band is not taken for an outlier."""


def robust_weight(residual: Array) -> Array:
    """Weight of each residual, in units of sigma, in the next step of a fit."""
    return np.asarray(1.0 / (1.0 + (residual / _CAUCHY_SCALE) ** 2))


def costs_at_shifts(shown: Array, data: Array, sigma: Array) -> Array:
    """Robust cost of the best factors at each shift of columns (3, N + S - 1, 1 + k) by whole
    rows, upward, (S,)."""
    windows = sliding_window_view(shown, len(data), axis=1)[:, ::-1]
    scaled = windows / sigma[:, None, None, None]
    target = data.T[:, None] / sigma[:, None, None] - scaled[:, :, 0]
    columns = scaled[:, :, 1:]
    normal = columns @ columns.transpose(0, 1, 3, 2) + np.eye(columns.shape[2])
    z = np.linalg.solve(normal, columns @ target[..., None])
    residual = target - (z.transpose(0, 1, 3, 2) @ columns)[:, :, 0]
    return np.asarray(_cauchy(residual).sum(axis=(0, 2)) + np.square(z).sum(axis=(0, 2, 3)))


def best_coordinates(shown: Array, data: Array, sigma: Array) -> Array:
    """Coordinates (3, k) that fit best, channel by channel, with unit normal priors."""
    scaled = shown / sigma[:, None, None]
    columns = scaled[:, :, 1:]
    target = data.T / sigma[:, None] - scaled[:, :, 0]
    transposed = columns.transpose(0, 2, 1)
    normal = transposed @ columns + np.eye(columns.shape[2])
    return np.asarray(np.linalg.solve(normal, transposed @ target[..., None])[..., 0])


def misfit_of(residual: Array, data: Array, noise: Array, near: NDArray[np.bool_]) -> float:
    """Worst channel's residual near the meniscus, noise taken off, over its range.

    The range counts as at least a third of the widest channel's: one without contrast says
    nothing.
    """
    span = np.ptp(data, axis=0)
    span = np.maximum(span, max(float(span.max()), 1e-6) / 3.0)
    excess = np.mean(residual[near] ** 2, axis=0) - noise**2
    return float(np.max(np.sqrt(np.maximum(excess, 0.0)) / span))


def robust_cost(residual: Array) -> float:
    """Cauchy cost of residuals in units of sigma."""
    return float(np.sum(_cauchy(residual)))


def _cauchy(residual: Array) -> Array:
    return np.asarray(_CAUCHY_SCALE**2 * np.log1p((residual / _CAUCHY_SCALE) ** 2))


def noise_of(profile: Array) -> Array:
    """Standard deviation per channel from second differences, robust."""
    second = profile[2:] - 2.0 * profile[1:-1] + profile[:-2]
    spread = 1.4826 * np.median(np.abs(second), axis=0) / math.sqrt(6.0)
    return np.asarray(np.maximum(spread, 1e-4))


def without_waves(waves: Array, profile: Array) -> Array:
    """What waves leave of a profile."""
    if not waves.shape[1]:
        return profile
    factors, *_ = np.linalg.lstsq(waves, profile - profile.mean(axis=0), rcond=None)
    return np.asarray(profile - waves @ factors)


def inflation_of(residual: Array) -> float:
    """By how much correlated residuals carry less than independent unit ones, at least 1.

    Mean square times the sum of autocorrelations over rows and channels: the factor by
    which the variance of a weighted sum of neighbours exceeds that of independent ones.
    """
    clipped = np.clip(residual, -4.0, 4.0)
    mean_square = float(np.mean(clipped**2))
    rows = clipped.sum(axis=1)
    total = float(np.mean(rows**2))
    for lag in range(1, 5):
        total += 2.0 * (1.0 - lag / 5.0) * float(np.mean(rows[lag:] * rows[:-lag]))
    return max(1.0, mean_square, total / 3.0)
