"""Gauss-Newton refinement of a place from rays traced once.

All unknowns move together: shift, blur, sharpening, the physics known only roughly, and the
brightness factors, with the prior knowledge as further observations.  In the physics the
picture is taken for linear about where its rays were traced.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus_basis import Basis
from limbsight.calib.meniscus_blur import Canvas, Lens, Spread, canvas
from limbsight.calib.meniscus_cost import best_coordinates, robust_weight
from limbsight.calib.meniscus_priors import OPTICAL, PRIOR_HALO, PRIOR_LOG_BLUR, Supposed
from limbsight.calib.meniscus_profile import Profile
from limbsight.calib.meniscus_step import bounded_step, squared_length
from limbsight.calib.meniscus_tracing import Traced, by_channel, in_bins

Array = NDArray[np.float64]

_MOST_STEPS = 8
_SETTLED = 0.1
"""Standard deviations, of all unknowns together: a smaller step is left to the interval, which
it would widen by less than a hundredth."""

_STEP_OPTICS = np.array([1.5, 0.5, 1.0])
_LEAST_OPTICS, _MOST_OPTICS = np.array([-1.6, -0.5]), np.array([1.8, 2.0])
"""Of shift [px], logarithm of the blur, sharpening: longest steps; bounds of the last two."""
_LONGEST_STEP = 1.5
"""Prior standard deviations from where the rays were traced; beyond, no step is believed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """Where the fit stands."""

    shift_px: float
    optics: Spread
    physics: Array  # in prior standard deviations
    z: Array  # (3, k), in prior standard deviations

    @property
    def shared(self) -> Array:
        """What the channels have in common, one vector."""
        optics = [self.shift_px, self.optics.log_blur, self.optics.halo]
        return np.concatenate([optics, self.physics])

    def to_mean(self) -> Array:
        """Way back to the prior means, for the whole vector."""
        optics = [
            -self.shift_px,
            PRIOR_LOG_BLUR[0] - self.optics.log_blur,
            PRIOR_HALO[0] - self.optics.halo,
        ]
        return np.concatenate([optics, -self.physics, -self.z.ravel()])

    def stepped(self, step: Array) -> State:
        """A step of the whole vector farther."""
        own = OPTICAL + len(self.physics)
        return State(
            shift_px=self.shift_px + float(step[0]),
            optics=Spread(
                log_blur=self.optics.log_blur + float(step[1]),
                halo=self.optics.halo + float(step[2]),
            ),
            physics=self.physics + step[3:own],
            z=self.z + step[own:].reshape(self.z.shape),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Linear:
    """A linearised problem, channel by channel.

    Attributes
    ----------
    residual, weight : (3, N) arrays
        In units of sigma; robust weights.
    jacobian : (3, N, shared + k) array
        By the unknowns that the channels share, then by the channel's own.
    shared
        How many they are.
    """

    residual: Array
    jacobian: Array
    weight: Array
    shared: int

    def normal(self) -> Array:
        """Normal matrix of all unknowns: the shared ones, then channel after channel."""
        weighted = self.jacobian * self.weight[:, :, None]
        parts = weighted.transpose(0, 2, 1) @ self.jacobian
        s, k = self.shared, parts.shape[1] - self.shared
        out = np.zeros((s + 3 * k, s + 3 * k))
        out[:s, :s] = parts[:, :s, :s].sum(axis=0)
        for c in range(3):
            own = slice(s + c * k, s + (c + 1) * k)
            out[:s, own], out[own, :s] = parts[c, :s, s:], parts[c, s:, :s]
            out[own, own] = parts[c, s:, s:]
        return out

    def gradient(self) -> Array:
        """Jacobian, weighted, times residual, in the same order."""
        parts = ((self.weight * self.residual)[:, None] @ self.jacobian)[:, 0]
        return np.concatenate(
            [parts[:, : self.shared].sum(axis=0), parts[:, self.shared :].ravel()]
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A place that the level may have: where its fit stands, in which basis of brightness."""

    state: State
    last: Linear
    basis: Basis


@dataclass(frozen=True, slots=True, kw_only=True)
class _Base:
    """Where a linearisation is made: the columns in the bins (bins, 3 (1 + k)), and the
    profile's derivatives by the physics (3, N, P)."""

    columns: Array
    moved: Array


def refined(profile: Profile, state: State, traced: Traced) -> Candidate:
    """Gauss-Newton steps within one linearisation of the physics, from the brightness
    factors that fit best; their coordinates change with the picture."""
    ground = canvas(float(profile.rows_px[0]), len(profile.rows_px), state.shift_px)
    columns = in_bins(profile, ground, traced.height, traced.columns)
    lens = ground.lens(state.shift_px, state.optics)
    shown = by_channel(lens.blurred(columns))
    state = replace(state, z=best_coordinates(shown, profile.values, profile.sigma))
    moved = _by_physics(profile, state, traced, ground, lens)
    base = _Base(columns=columns, moved=moved)
    last = _linearised(profile, state, traced, base, lens)
    prior = prior_precision(profile, state)
    for _ in range(_MOST_STEPS):
        right = last.gradient() + prior * state.to_mean()
        normal = normal_with_prior(profile, state, last)
        step = bounded_step(normal, right, *_room(profile.supposed, state, traced.at))
        state = state.stepped(step)
        lens = ground.lens(state.shift_px, state.optics)
        last = _linearised(profile, state, traced, base, lens)
        if squared_length(step, normal) < _SETTLED**2:
            break
    return Candidate(state=state, last=last, basis=traced.basis)


def prior_precision(profile: Profile, state: State) -> Array:
    """Precision of the prior for the whole vector, which is diagonal."""
    return np.concatenate([profile.supposed.precision, np.ones(state.z.size)])


def normal_with_prior(profile: Profile, state: State, last: Linear) -> Array:
    """Normal matrix of profile and prior."""
    out = last.normal()
    out.ravel()[:: len(out) + 1] += prior_precision(profile, state)
    return out


def _by_physics(
    profile: Profile, state: State, traced: Traced, ground: Canvas, lens: Lens
) -> Array:
    """The profile's derivatives by the physics, (3, N, P)."""
    factors = traced.basis.factors(state.z)
    made = traced.pictures
    lit = made.lit(factors)
    shown = ground.binned(made.bounds, made.height * profile.bore_px, lit)[made.order]
    steps = traced.steps[:, None, None]
    change = (shown[1 : len(steps) + 1] - shown[0]) / steps
    flat = change.transpose(1, 2, 0).reshape(ground.bins, -1)
    return by_channel(lens.blurred(flat))


def _linearised(
    profile: Profile, state: State, traced: Traced, base: _Base, lens: Lens
) -> Linear:
    summing = _summing(state.z)
    blurred = lens.blurred(base.columns)
    optical = lens.derivatives(base.columns @ summing)
    value = (blurred @ summing).T
    value += base.moved @ (state.physics - traced.at)
    shown = by_channel(blurred)
    jacobian = np.concatenate(
        [optical.transpose(2, 1, 0), base.moved, shown[:, :, 1:]], axis=2
    )
    jacobian /= profile.sigma[:, None, None]
    residual = (profile.values.T - value) / profile.sigma[:, None]
    return Linear(
        residual=residual,
        jacobian=jacobian,
        weight=robust_weight(residual),
        shared=len(profile.supposed.precision),
    )


def _summing(z: Array) -> Array:
    """What sums up columns (N, 3 (1 + k)), each channel's own, with coordinates (3, k); as a
    matrix (3 (1 + k), 3), since one product takes less time than three short ones."""
    factors = np.concatenate([np.ones((3, 1)), z], axis=1)
    out = np.zeros((3, *factors.shape))
    out[range(3), range(3)] = factors
    return out.reshape(3, -1).T


def _room(supposed: Supposed, state: State, at: Array) -> tuple[Array, Array]:
    """How far the shared unknowns may go down and up in one step."""
    optics = np.array([state.shift_px, state.optics.log_blur, state.optics.halo])
    low, high = optics - _STEP_OPTICS, optics + _STEP_OPTICS
    low[1:], high[1:] = (
        np.maximum(low[1:], _LEAST_OPTICS),
        np.minimum(high[1:], _MOST_OPTICS),
    )
    # The linearisation holds near where the rays were traced.
    near, far = at - _LONGEST_STEP, at + _LONGEST_STEP
    least = np.concatenate([low, np.maximum(near, supposed.lowest)])
    most = np.concatenate([high, np.minimum(far, supposed.highest)])
    return np.minimum(least - state.shared, 0.0), np.maximum(most - state.shared, 0.0)
