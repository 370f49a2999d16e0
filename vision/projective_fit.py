"""Place against index along a spine: a projective fit, with what a lens adds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dposv

from limbsight.vision.quantiles import median_of_row

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def fit_projective(index: IntArray, y: FloatArray) -> FloatArray | None:
    """Fit y = (p0 + p1 s + p3 s^3) / (1 + p2 s) with s the index scaled to +-1, robustly.

    The cubic takes up what radial distortion leaves of the cross-ratio.
    """
    middle = 0.5 * (index[0] + index[-1])
    half = max(0.5 * (index[-1] - index[0]), 1.0)
    s = (index - middle) / half
    weight = np.ones_like(y)
    p: FloatArray = np.zeros(4)
    sizes = np.array([1.0, 1.0, max(float(np.abs(y).max()), 1.0), 1.0])
    cube = s * s * s
    design = np.stack([np.ones_like(s), s, -s * y, cube], axis=1) / sizes
    if len(s) < design.shape[1] or np.ptp(s) == 0:
        return None
    for _ in range(5):
        scaled = design * weight[:, None]
        # Normal equations: the columns are of one size and nearly orthogonal.
        _, scaled_p, singular = dposv(scaled.T @ scaled, scaled.T @ (y * weight))
        if singular:
            return None
        p = scaled_p / sizes
        residual = y - (p[0] + p[1] * s + p[3] * cube) / (1 + p[2] * s)
        spread = max(1.4826 * median_of_row(np.abs(residual)), 0.02)
        weight = 1.0 / np.sqrt(1.0 + (residual / (2 * spread)) ** 2)
    if abs(p[2]) > 0.6 or p[1] >= 0:
        return None
    return np.array([*p, middle, half])


def position_at(coefficients: FloatArray, index: IntArray | FloatArray) -> FloatArray:
    p0, p1, p2, p3, middle, half = coefficients
    s = (np.asarray(index, float) - middle) / half
    return np.asarray((p0 + p1 * s + p3 * s**3) / (1 + p2 * s))


def index_at(coefficients: FloatArray, y: FloatArray) -> FloatArray:
    """Invert the fit by Newton's method from its projective part."""
    p0, p1, p2, p3, middle, half = coefficients
    s = (p0 - y) / (p2 * y - p1)
    for _ in range(3):
        s = np.clip(s, -3.0, 3.0)
        error = (p0 + (p1 + p3 * s * s) * s) - y * (1 + p2 * s)
        s = s - error / (p1 + 3 * p3 * s * s - y * p2)
    return np.asarray(middle + half * s)
