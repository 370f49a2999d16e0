"""Gauss-Newton steps: their algebra, where they end, what they may not pass."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.meniscus_light import light_paths
from limbsight.calib.meniscus_priors import PRIOR_HALO, PRIOR_LOG_BLUR, START_OPTICS
from limbsight.calib.meniscus_refinement import (
    Linear,
    State,
    normal_with_prior,
    prior_precision,
    refined,
)
from limbsight.calib.meniscus_tracing import traced
from tests.helpers.menisci import CASES, profile_seen

RNG = np.random.default_rng(4)


def state_of(physics, size, shift_px=0.0):
    return State(
        shift_px=shift_px, optics=START_OPTICS, physics=physics, z=np.zeros((3, size))
    )


def refined_from(profile, shift_px):
    at = np.zeros(len(profile.supposed.priors))
    here = traced(profile, at, light_paths(profile.around, profile.supposed.nominal))
    return refined(profile, state_of(at, here.basis.size, shift_px), here)


def test_step_to_the_mean_leads_there():
    state = state_of(RNG.normal(size=5), 4, 2.0).stepped(RNG.normal(size=3 + 5 + 12))
    mean = state.stepped(state.to_mean())
    assert mean.shared == pytest.approx(
        [0.0, PRIOR_LOG_BLUR[0], PRIOR_HALO[0], 0, 0, 0, 0, 0], abs=1e-12
    )
    assert mean.z == pytest.approx(np.zeros((3, 4)), abs=1e-12)


def test_normal_matrix_is_that_of_all_channels_in_one():
    rows, shared, own = 20, 5, 2
    jacobian = RNG.normal(size=(3, rows, shared + own))
    last = Linear(
        residual=RNG.normal(size=(3, rows)),
        jacobian=jacobian,
        weight=RNG.uniform(0.1, 1.0, size=(3, rows)),
        shared=shared,
    )
    whole = np.zeros((3, rows, shared + 3 * own))
    whole[:, :, :shared] = jacobian[:, :, :shared]
    for c in range(3):
        first = shared + c * own
        whole[c, :, first : first + own] = jacobian[c, :, shared:]
    flat, weight = whole.reshape(3 * rows, -1), last.weight.ravel()
    assert last.normal() == pytest.approx(flat.T @ (weight[:, None] * flat))
    assert last.gradient() == pytest.approx(flat.T @ (weight * last.residual.ravel()))


@pytest.mark.parametrize("name", CASES)
def test_ends_near_the_apex_with_nothing_left_to_gain(name):
    profile = profile_seen(CASES[name], 2.0)
    end = refined_from(profile, -1.0)
    assert abs(end.state.shift_px + 2.0) < 0.75
    prior = prior_precision(profile, end.state)
    slope = end.last.gradient() + prior * end.state.to_mean()
    step = np.linalg.solve(normal_with_prior(profile, end.state, end.last), slope)
    assert abs(step[0]) < 0.1


def test_physics_stays_near_where_rays_were_traced():
    profile = profile_seen(CASES["water"], 2.0, offset=(0, 0, 4, 3, 0))
    physics = refined_from(profile, -6.0).state.physics
    supposed = profile.supposed
    assert (np.abs(physics) <= 1.5 + 1e-9).all()
    assert (physics >= supposed.lowest - 1e-9).all()
    assert (physics <= supposed.highest + 1e-9).all()
