"""The few combinations of brightness factors that a profile can tell apart.

A picture is a sum of some twenty columns with factors ``f`` of prior mean ``m`` and precision
``P = L L'``.  In ``z = L' (f - m)`` the prior is a unit normal; the directions in which the
columns, in units of the noise, carry next to no information stay at their mean and are left
out (principal components of the whitened design; G. H. Golub and C. F. Van Loan, *Matrix
Computations*, section 8.6).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

Array = NDArray[np.float64]

_LEAST_INFORMATION = 0.05
"""Information over the prior's below which a direction is left out: the profile would narrow
it by at most half of this share."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorPrior:
    """What is supposed about the brightness factors of one channel.

    Attributes
    ----------
    mean : (K,) array
    precision : (K, K) array
    turn : (K, K) array
        From coordinates whose prior is a unit normal to factors.
    """

    mean: Array
    precision: Array
    turn: Array

    @classmethod
    def of(cls, mean: Array, precision: Array) -> FactorPrior:
        """Prior of this mean and precision."""
        return cls(mean=mean, precision=precision, turn=unwhitening(precision))

    def only(self, kept: NDArray[np.bool_]) -> FactorPrior:
        """That of some factors, the others being at their mean."""
        return self.of(self.mean[kept], self.precision[np.ix_(kept, kept)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """``f = mean + turn z`` channel by channel.

    Attributes
    ----------
    mean : (K,) array
    turn : (3, K, k) array
    """

    mean: Array
    turn: Array

    @property
    def size(self) -> int:
        """How many directions are kept."""
        return int(self.turn.shape[2])

    def factors(self, z: Array) -> Array:
        """Brightness factors (3, K) of coordinates (3, k)."""
        return np.asarray(self.mean + (self.turn @ z[..., None])[..., 0])

    def columns(self, value: Array) -> Array:
        """What the mean shows of (R, 3, K), and one column a direction, (3, R, 1 + k)."""
        by_channel = value.transpose(1, 0, 2)
        return np.concatenate(
            [(by_channel @ self.mean)[..., None], by_channel @ self.turn], axis=2
        )


def unwhitening(precision: Array) -> Array:
    """``L`` to the power of minus one, transposed, (K, K)."""
    lower = np.linalg.cholesky(precision)
    return np.asarray(
        solve_triangular(lower, np.eye(len(lower)), lower=True, check_finite=False).T
    )


def basis_of(value: Array, width_px: Array, sigma: Array, prior: FactorPrior) -> Basis:
    """Reduce the factors of one picture.

    Parameters
    ----------
    value : (R, 3, K) array
        Columns of the picture.
    width_px : (R,) array
        Rows that a ray stands for.
    sigma : (3,) array
        Noise of a row.
    prior
        Of the factors.
    """
    white = (value @ prior.turn).transpose(1, 0, 2)
    weighted = white * width_px[:, None] / np.square(sigma)[:, None, None]
    share, direction = np.linalg.eigh(white.transpose(0, 2, 1) @ weighted)
    kept = max(int((share > _LEAST_INFORMATION).sum(axis=1).max()), 1)
    return Basis(mean=prior.mean, turn=prior.turn @ direction[:, :, -kept:])
