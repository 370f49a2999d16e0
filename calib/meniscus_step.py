"""One Gauss-Newton step within bounds.

An unknown that meets its bound is held there, and the step of the others is solved anew with
that one's as given (active set; J. Nocedal and S. Wright, *Numerical Optimization*, section
16.5).  Cut off afterwards, the others would answer to a move that was not made: fits beside a
bound, a contact angle of zero say, then stop far from the best place.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dposv

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
    step = _solved(normal, right)
    free = np.ones(len(right), dtype=bool)
    for _ in range(bounded + 1):
        out = free[:bounded] & ((step[:bounded] < low) | (step[:bounded] > high))
        if not out.any():
            break
        step[:bounded] = np.clip(step[:bounded], low, high)
        free[:bounded] &= ~out
        left = right[free] - normal[np.ix_(free, ~free)] @ step[~free]
        step[free] = _solved(normal[np.ix_(free, free)], left)
    return step


def _solved(normal: Array, right: Array) -> Array:
    """Solve by Cholesky's factors: LAPACK itself, as checks would take longer than solving.

    Raises
    ------
    numpy.linalg.LinAlgError
        ``normal`` is not positive definite.
    """
    _, solution, info = dposv(normal, right)
    if info:
        raise np.linalg.LinAlgError("the normal matrix is not positive definite")
    return np.asarray(solution)


def squared_length(moved: Array, normal: Array) -> float:
    """Square of a move of the first unknowns, in standard deviations.

    Those that are not part of it go along as they fit best (Schur complement).
    """
    own = len(moved)
    length = moved @ normal[:own, :own] @ moved
    if own == len(normal):
        return float(length)
    to_others = normal[own:, :own] @ moved
    return float(length - to_others @ np.linalg.solve(normal[own:, own:], to_others))
