"""Sine, cosine and exponential of a float, array, complex or uncertain number."""

from __future__ import annotations

from typing import Any

import numpy as np
from uncertainties import UFloat, umath

Number = Any
"""A float, a numpy array, a complex step or an uncertain number: one formula serves all."""


def settled(x: Number) -> Number:
    """Return ``x``, with an uncertain number's derivatives worked out.

    The library keeps a tree of terms and later walks every path through it; a value that is
    used in several places multiplies the paths, so it is worked out before.
    """
    if isinstance(x, UFloat):
        _ = x.derivatives
    return x


def sin(x: Number) -> Number:
    """Sine."""
    return umath.sin(x) if isinstance(x, UFloat) else np.sin(x)


def cos(x: Number) -> Number:
    """Cosine."""
    return umath.cos(x) if isinstance(x, UFloat) else np.cos(x)


def exp(x: Number) -> Number:
    """Exponential."""
    return umath.exp(x) if isinstance(x, UFloat) else np.exp(x)
