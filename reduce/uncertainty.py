"""Linear propagation of uncertainty after the GUM (JCGM 100:2008), with its budget.

Sensitivities are exact, by the complex step. Correlation is kept because each input is one
variable of the model, in however many places it stands.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from limbsight.reduce.elementary import Number

Distribution = Literal["normal", "rectangular", "triangular", "arcsine"]
Model = Callable[[Mapping[str, Number]], Number]

COVERAGE_PROBABILITY = 0.9545
"""Default: k = 2 for many degrees of freedom, which GUM 6.3.3 calls about 95 percent."""

COMPLEX_STEP = 1e-150

DIVISORS: dict[Distribution, float] = {
    "normal": 1.0,
    "rectangular": math.sqrt(3),
    "triangular": math.sqrt(6),
    "arcsine": math.sqrt(2),
}
"""Half-width over standard deviation, GUM 4.3."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One input of a model: its value, and all that is known of its uncertainty."""

    key: str
    name: str
    value: Number
    unit: str
    standard_uncertainty: float
    kind: Literal["A", "B"] = "B"
    degrees_of_freedom: float = math.inf
    distribution: Distribution = "normal"
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One line of a budget: an input, its sensitivity and what it adds (with its sign)."""

    input: Input
    sensitivity: float
    contribution: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A value with combined and expanded uncertainty, and the budget, largest first."""

    value: float
    standard_uncertainty: float
    effective_degrees_of_freedom: float
    coverage_factor: float
    coverage_probability: float
    contributions: tuple[Contribution, ...]

    @property
    def expanded_uncertainty(self) -> float:
        """U = k u."""
        return self.coverage_factor * self.standard_uncertainty


def propagate(
    model: Model,
    inputs: Sequence[Input],
    *,
    correlations: Mapping[tuple[str, str], float] | None = None,
    probability: float = COVERAGE_PROBABILITY,
) -> Estimate:
    """Propagate uncertainty linearly through a model.

    Parameters
    ----------
    model
        Function of a mapping from input keys to numbers.
    inputs
        The inputs, with distinct keys.
    correlations
        Correlation coefficients of pairs of inputs; absent pairs are uncorrelated.
    probability
        Coverage probability of the expanded uncertainty.

    Returns
    -------
    Estimate

    Notes
    -----
    JCGM 100:2008, eq. 10 and 16; effective degrees of freedom by Welch-Satterthwaite,
    eq. G.2b, truncated to a whole number for the coverage factor t_p(nu).
    """
    value = float(model({i.key: float(i.value) for i in inputs}))
    sensitivities = _sensitivities(model, inputs)
    contributions = tuple(
        Contribution(input=i, sensitivity=c, contribution=c * i.standard_uncertainty)
        for i, c in zip(inputs, sensitivities, strict=True)
    )
    parts = {c.input.key: c.contribution for c in contributions}
    variance = sum(part * part for part in parts.values())
    for (first, second), r in (correlations or {}).items():
        variance += 2 * r * parts[first] * parts[second]
    standard = math.sqrt(max(variance, 0.0))
    dof = welch_satterthwaite(
        standard, [(c.contribution, c.input.degrees_of_freedom) for c in contributions]
    )
    return Estimate(
        value=value,
        standard_uncertainty=standard,
        effective_degrees_of_freedom=dof,
        coverage_factor=coverage_factor(dof, probability),
        coverage_probability=probability,
        contributions=tuple(sorted(contributions, key=lambda c: -abs(c.contribution))),
    )


def _sensitivities(model: Model, inputs: Sequence[Input]) -> list[float]:
    """Partial derivatives of the model to each input, 0 where an input is certain.

    By the complex step of ``array_uncertainty``, all inputs in one call: in each place of an
    array another one is moved.
    """
    uncertain = [i.key for i in inputs if i.standard_uncertainty > 0]
    moves = dict(zip(uncertain, 1j * COMPLEX_STEP * np.eye(len(uncertain)), strict=True))
    found = model({i.key: float(i.value) + moves.get(i.key, 0.0) for i in inputs})
    slopes = np.broadcast_to(np.imag(found) / COMPLEX_STEP, len(uncertain))
    derivatives = dict(zip(uncertain, slopes, strict=True))
    return [float(derivatives.get(i.key, 0.0)) for i in inputs]


def welch_satterthwaite(standard: float, parts: Sequence[tuple[float, float]]) -> float:
    """Effective degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    standard
        Combined standard uncertainty.
    parts
        Contribution and degrees of freedom of each input.
    """
    # the fourth power of a ratio, so that tiny pressures do not underflow
    total = sum((part / standard) ** 4 / dof for part, dof in parts) if standard > 0 else 0.0
    return 1 / total if total > 0 else math.inf


def coverage_factor(degrees_of_freedom: float, probability: float) -> float:
    """Return k = t_p(nu), with nu truncated to a whole number (GUM G.4.1), at least 1."""
    tail = (1 + probability) / 2
    if math.isinf(degrees_of_freedom):
        return float(ndtri(tail))
    return float(stdtrit(max(1, math.floor(degrees_of_freedom + 1e-9)), tail))


def array_uncertainty(model: Model, inputs: Sequence[Input]) -> NDArray[np.float64]:
    """Combined standard uncertainty of a model whose values are arrays, uncorrelated inputs.

    Notes
    -----
    Sensitivities by the complex step: ``Im f(x + ih) / h`` has no cancellation, so with a
    tiny h it is exact to rounding (Squire and Trapp, SIAM Review 40 (1998) 110).
    """
    values = {i.key: i.value for i in inputs}
    variance: Number = 0.0
    for i in inputs:
        if i.standard_uncertainty > 0:
            moved = model({**values, i.key: i.value + 1j * COMPLEX_STEP})
            part = np.imag(moved) / COMPLEX_STEP * i.standard_uncertainty
            variance = variance + part * part
    return np.asarray(np.sqrt(variance))
