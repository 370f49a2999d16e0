"""The line that the graduations of a column end on, bent as lenses bend it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dposv

from limbsight.vision.quantiles import median_of_row

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def off_spine(y: FloatArray, ends: FloatArray, chosen: IntArray) -> FloatArray:
    """Distance of every end from a parabola through the chosen ones [px]."""
    return ends - parabola(y, ends, chosen)


def parabola(
    y: FloatArray, ends: FloatArray, chosen: IntArray | NDArray[np.bool_]
) -> FloatArray:
    """At every ``y``, the parabola that fits the chosen ends best, by normal equations."""
    # Within +-1 about the middle, the squares keep three digits more than are needed.
    low, high = float(y[chosen].min()), float(y[chosen].max())
    s = (2.0 * y - low - high) / max(high - low, 1.0)
    design = np.stack([np.ones_like(s), s, s * s])
    some = design[:, chosen]
    normal, right = some @ some.T, some @ ends[chosen]
    _, factors, singular = dposv(normal, right)
    if singular:  # all at one height, or at two
        factors = np.linalg.lstsq(normal, right)[0]
    return np.asarray(factors @ design)


def end_tolerance(y: FloatArray, ends: FloatArray, chosen: IntArray) -> float:
    scatter = 1.4826 * median_of_row(np.abs(off_spine(y, ends, chosen)[chosen]))
    return max(4 * scatter, 1.5)
