"""What is supposed about a level, and how far from it the physics may be."""

from __future__ import annotations

import math
from dataclasses import astuple

import numpy as np
import pytest

from limbsight.calib.meniscus_outcome import COMPONENTS
from tests.helpers.menisci import CASES, profile_seen


@pytest.mark.parametrize("name", CASES)
def test_no_point_leaves_the_bounds(name):
    supposed = profile_seen(CASES[name]).supposed
    count = len(supposed.priors)
    assert supposed.physics(np.zeros(count)) == supposed.nominal
    assert (supposed.lowest <= 0.0).all()
    assert (supposed.highest >= 0.0).all()
    for away in (-50.0, 50.0):
        physics = supposed.physics(np.full(count, away))
        assert all(p.low <= getattr(physics, p.field) <= p.high for p in supposed.priors)


def test_one_standard_uncertainty_is_one_unit():
    supposed = profile_seen(CASES["water"]).supposed
    moved = supposed.physics(supposed.moved(bore_radius_m=-1.0))
    u = CASES["water"][0].u_bore_radius_m
    assert moved.bore_radius_m == pytest.approx(supposed.nominal.bore_radius_m - u)
    changed = np.subtract(astuple(moved), astuple(supposed.nominal)) != 0.0
    assert changed.sum() == 1


def test_moved_as_far_as_it_may_be():
    supposed = profile_seen(CASES["water"]).supposed
    physics = supposed.physics(supposed.moved(lit_through=-math.inf, skin_below=-math.inf))
    assert physics.lit_through < 0.5 * supposed.nominal.lit_through
    assert physics.skin_below == pytest.approx(0.0, abs=1e-12)


def test_every_prior_has_its_line_in_the_budget():
    for case in CASES.values():
        assert {p.name for p in profile_seen(case).supposed.priors} <= set(COMPONENTS)


def test_mercury_bends_no_light_and_takes_none():
    fields = {prior.field for prior in profile_seen(CASES["mercury"]).supposed.priors}
    assert not fields & {"below_index", "skin_below", "skin_above"}
