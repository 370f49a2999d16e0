"""Pictures about one point of the physics, and their columns in bins."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.meniscus_blur import canvas
from limbsight.calib.meniscus_light import light_paths
from limbsight.calib.meniscus_tracing import by_channel, in_bins, traced
from tests.helpers.menisci import CASES, profile_seen


def traced_at(profile, at):
    return traced(profile, at, light_paths(profile.around, profile.supposed.nominal))


@pytest.mark.parametrize("name", CASES)
def test_steps_turn_round_at_bounds(name):
    profile = profile_seen(CASES[name])
    supposed = profile.supposed
    inside = traced_at(profile, np.zeros(len(supposed.priors)))
    assert np.abs(inside.steps) == pytest.approx(0.5)
    at = supposed.highest
    steps = traced_at(profile, at).steps
    assert np.abs(steps) == pytest.approx(0.5)
    bounded = [
        p.high == pytest.approx(getattr(supposed.physics(at), p.field))
        for p in supposed.priors
    ]
    assert (steps[bounded] < 0.0).all()


def test_first_column_is_the_picture_at_the_mean_of_the_factors():
    profile = profile_seen(CASES["water"])
    here = traced_at(profile, np.zeros(len(profile.supposed.priors)))
    value = here.pictures.only(0).value
    assert pytest.approx(value @ profile.factors.mean) == here.columns[:, :, 0].T
    assert here.columns.shape[2] == 1 + here.basis.size < value.shape[2]


def test_columns_in_bins_keep_their_channels():
    profile = profile_seen(CASES["water"])
    ground = canvas(float(profile.rows_px[0]), len(profile.rows_px), 0.0)
    height = np.linspace(-2.0, 2.0, 30)
    even = np.broadcast_to(np.arange(6.0).reshape(3, 1, 2), (3, 30, 2))
    binned = in_bins(profile, ground, height, even)
    assert by_channel(binned)[:, 10] == pytest.approx(np.arange(6.0).reshape(3, 2))
