"""One Gauss-Newton step within bounds.

An unknown that meets its bound is held there, and the step of the others is solved anew with
that one's as given (active set; J. Nocedal and S. Wright, *Numerical Optimization*, section
16.5).  Cut off afterwards, the others would answer to a move that was not made: fits beside a
bound, a contact angle of zero say, then stop far from the best place.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

Array = NDArray[np.float64]


def bounded_step(normal: Array, right: Array, low: Array, high: Array) -> Array:
    """Solve ``normal @ step = right`` with bounds on the first unknowns.

    Parameters
    ----------
    normal : (K, K) array
        Positive definite.
    right : (K,) array
    low, high : (B,) arrays
        Bounds of the first ``B`` components of the step; zero is within them.
    """
    bounded = len(low)
    step = np.zeros(len(right))
    free = np.ones(len(right), dtype=bool)
    for _ in range(bounded + 1):
        left = right[free] - normal[np.ix_(free, ~free)] @ step[~free]
        factor = cho_factor(normal[np.ix_(free, free)], check_finite=False)
        step[free] = cho_solve(factor, left)
        out = free[:bounded] & ((step[:bounded] < low) | (step[:bounded] > high))
        if not out.any():
            break
        step[:bounded] = np.clip(step[:bounded], low, high)
        free[:bounded] &= ~out
    return step


def squared_length(moved: Array, normal: Array) -> float:
    """Square of a move of the first unknowns, in standard deviations.

    Those that are not part of it go along as they fit best (Schur complement).
    """
    own = len(moved)
    to_others = normal[own:, :own] @ moved
    length = moved @ normal[:own, :own] @ moved
    return float(length - to_others @ np.linalg.solve(normal[own:, own:], to_others))
