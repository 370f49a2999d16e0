"""Which of several places is the level, and what the others cost in uncertainty.

Places are compared by the evidence of their fits (Laplace's approximation), and between
liquids by what profiles beside the axis leave unexplained there: the bowl is higher beside
the axis, its rim is not, so that what passes for the apex on the axis comes out wrong.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus import COVERAGE, COVERAGE_FACTOR
from limbsight.calib.meniscus_blur import canvas
from limbsight.calib.meniscus_cost import best_coordinates, inflation_of, robust_cost
from limbsight.calib.meniscus_light import light_paths
from limbsight.calib.meniscus_picture import pictures
from limbsight.calib.meniscus_profile import Profile
from limbsight.calib.meniscus_refinement import Candidate, State, prior_precision
from limbsight.calib.meniscus_tracing import by_channel, in_bins, picture_basis

Array = NDArray[np.float64]

_TEMPER, _TEMPER_COVERED = 2.0, 4.0
"""The evidence takes the model for true; its logarithm counts for half (common practice, no
source), between two liquids, where columns beside the axis have a say, for a quarter: of 123
such levels in drawn and traced photos, some made smaller, the right places' share has a mean
logarithm of -0.22 (-0.27 by the axis alone, whose own best is a half).  Compared before rays
were traced anew for each, places had -0.27, and -0.40 by the axis alone."""

BESIDE = 0.5
"""Section off the axis, in bore radii, that tells rival places apart: the bowl is higher
there, its rim is not.  Sections 0.3 and 0.7 off tell them apart less well (those levels)."""
_U_TILTED_PX = 0.5
"""The level may stand so much higher or lower there than the rows of the picture (one degree,
in bores of 60 px)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The likeliest place, and what its rivals add to the uncertainty of its position."""

    candidate: Candidate
    rival_px: float


def choose(
    profile: Profile, candidates: list[Candidate], sides: Sequence[Profile] = ()
) -> Choice:
    """Take the likeliest place; profiles beside the axis have a say in which it is."""
    noise = min(inflation_of(each.last.residual.T) for each in candidates)
    worse = np.array([_implausibility(profile, each, noise) for each in candidates])
    states = [each.state for each in candidates]
    worse = worse - worse.min() + _said_by(sides, states)
    best = candidates[int(worse.argmin())]
    away_px = np.abs([state.shift_px - best.state.shift_px for state in states])
    temper = _TEMPER_COVERED if profile.around.is_between_liquids else _TEMPER
    return Choice(candidate=best, rival_px=_rival_px(away_px, worse, temper))


@dataclass(frozen=True, slots=True, kw_only=True)
class Explained:
    """How a level is explained by one supposition at its best: on the axis and beside it."""

    profile: Profile
    candidate: Candidate
    sides: Sequence[Profile]

    def away(self, noise: float) -> float:
        """Misfit and distance from the priors, on the axis."""
        state, last = self.candidate.state, self.candidate.last
        prior = prior_precision(self.profile, state)
        return float(robust_cost(last.residual) / noise + prior @ state.to_mean() ** 2)


def compared(one: Explained, other: Explained) -> float:
    """Twice the logarithm of how much better one supposition explains the same rows than
    another; no worse than columns beside the axis bear out.

    Flexibility has no price here: suppositions that leave more of the meniscus to be seen
    have more factors of brightness, and with that price tubes of glass passed for others
    (levels of 40 sample photos).  Beside the axis the side that bears it out less counts
    for both; it may take a doubt away and makes none (reflections there made glass look like
    plastic on nine of 500 photos).
    """
    noise = min(inflation_of(each.candidate.last.residual.T) for each in (one, other))
    on_axis = other.away(noise) - one.away(noise)
    if on_axis > 0.0 or not one.sides:
        return on_axis
    said = [_said_beside(one, other, k) for k in range(len(one.sides))]
    return min(max(on_axis, len(said) * max(said)), 0.0)


def _said_beside(one: Explained, other: Explained, k: int) -> float:
    """The same by what is left unexplained in one profile beside the axis."""
    (cost, inflation), (other_cost, other_inflation) = (
        left_unexplained(each.sides[k], each.candidate.state) for each in (one, other)
    )
    return (other_cost - cost) / min(inflation, other_inflation)


def _implausibility(profile: Profile, candidate: Candidate, noise: float) -> float:
    """Twice the negative logarithm of the evidence, by Laplace's approximation.

    Misfit and distance from the priors, and for flexibility a price: the logarithm of
    the determinant (D. J. C. MacKay, Neural Computation 4 (1992) 415).
    """
    state, last = candidate.state, candidate.last
    away, prior = state.to_mean(), prior_precision(profile, state)
    normal = last.normal() / noise + np.diag(prior)
    return float(
        robust_cost(last.residual) / noise + prior @ away**2 + np.linalg.slogdet(normal)[1]
    )


def _rival_px(away_px: Array, implausibility: Array, temper: float) -> float:
    """What other positions nearly as plausible, so far away, add to the uncertainty of the
    best one.

    Their spread; and as much as makes an interval hold each that is too likely to be left
    out: twice the spread of two places does not reach from the likelier one to the other.
    """
    odds = np.exp(-0.5 * (implausibility - implausibility.min()) / temper)
    odds /= odds.sum()
    held = away_px[odds > 1.0 - COVERAGE] / COVERAGE_FACTOR
    return max(math.sqrt(odds @ away_px**2), float(held.max()))


# --- beside the axis -----------------------------------------------------------------------


def _said_by(sides: Sequence[Profile], states: list[State]) -> Array:
    """What profiles beside the axis add to the implausibility of states found on it, (S,).

    The one that tells them apart less counts for both: the other may show a reflection.
    """
    if len(states) == 1 or not sides:
        return np.zeros(len(states))
    each = []
    for side in sides:
        cost, inflation = np.array([left_unexplained(side, state) for state in states]).T
        each.append((cost - cost.min()) / inflation.min())
    return np.asarray(len(each) * np.min(each, axis=0))


def left_unexplained(side: Profile, state: State) -> tuple[float, float]:
    """Cost of a profile with the physics and at the place that another one found, and by how
    much its residuals are inflated."""
    light = light_paths(side.around, side.supposed.nominal)
    physics = side.supposed.physics(state.physics)
    picture = pictures(side.around, physics, [], light).only(0)
    basis = picture_basis(side, picture, side.factors)
    columns = basis.columns(picture.value)

    def cost(moved: float) -> tuple[float, float]:
        shift = state.shift_px + moved * _U_TILTED_PX
        ground = canvas(float(side.rows_px[0]), len(side.rows_px), shift)
        binned = in_bins(side, ground, picture.height, columns)
        shown = by_channel(ground.lens(shift, state.optics).blurred(binned))
        z = best_coordinates(shown, side.values, side.sigma)
        value = shown[:, :, 0] + (shown[:, :, 1:] @ z[..., None])[..., 0]
        residual = (side.values - value.T) / side.sigma
        away = float(np.square(z).sum()) + moved**2
        return robust_cost(residual) + away, inflation_of(residual)

    return min(cost(moved) for moved in (-1.0, 0.0, 1.0))
