"""What is uncertain about a fitted apex, and what makes it doubtful."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import chi2

from limbsight.calib.meniscus_fit import fit_apex
from limbsight.calib.meniscus_outcome import (
    COMPONENTS,
    STRAIN_CHANCE,
    U_TONE_PX,
    _is_strained,
)
from tests.helpers.menisci import (
    AIR,
    BLUE,
    CASES,
    CONVEX,
    MERCURY,
    STEEL,
    WHITE,
    fitted,
    physics_of,
    view_of,
)


def test_budget_adds_up():
    fit = fitted(CASES["water"], 1.0)
    parts = fit.u_components_px
    assert fit.u_model_px == pytest.approx(math.sqrt(sum(u * u for u in parts.values())))
    assert parts["tone"] == U_TONE_PX
    assert {*COMPONENTS, "tone", "ambiguity"} == set(parts)


@pytest.mark.parametrize(("angle", "least", "most"), [(0, 0.0, 0.4), (2.5, 0.5, 2.0)])
def test_dome_taller_than_supposed_may_be_off_by_that(angle, least, most):
    case = (view_of(bore=2.5e-3, elevation=0.3), MERCURY, AIR, CONVEX, (STEEL, WHITE))
    dome = fitted(case, 1.0, offset=(0, 0, angle, 0, 0)).u_components_px["dome"]
    assert least <= dome <= most


def test_a_flat_bowl_is_known_to_a_share_of_the_deep_one():
    """In a bore of 8 mm that is 2.6 mm high (Young-Laplace, contact angle 0)."""
    view, below, above, _, colours = CASES["water"]
    flat = fitted((view, below, above, physics_of(2.7e-3, 1e-4, 72, 12), colours), 1.0)
    least = 0.08 * 2.6e-3 * view.px_per_m
    assert least < flat.u_components_px["brightness"] < 1.5 * least
    assert fitted(CASES["water"], 1.0).u_components_px["brightness"] < 0.5 * least


def test_unknown_bore_costs_uncertainty():
    view, *rest = CASES["water"]
    vague = replace(view, u_bore_radius_m=0.2 * view.bore_radius_m, u_elevation_rad=0.05)
    known = fitted(CASES["water"], 0.0)
    unknown = fitted((vague, *rest), 0.0)
    assert unknown.u_px > 1.03 * known.u_px


@pytest.mark.parametrize("slope", [0.0, 0.002])
def test_tube_without_meniscus_is_not_taken_for_one(slope):
    view, below, above, interface, _ = CASES["water"]
    rows = np.arange(-70.0, 71.0)
    profile = BLUE + slope * rows[:, None] * BLUE
    profile = profile + 0.004 * np.random.default_rng(2).standard_normal(profile.shape)
    fit = fit_apex(rows, profile, view, below, above, interface, vertical_search_px=8.0)
    assert not fit.ok
    assert fit.reason == "meniscus_not_seen"


def test_plain_step_is_doubted():
    """A clip or a paper edge across the tube: a step without a band."""
    view, below, above, interface, _ = CASES["water"]
    rows = np.arange(-70.0, 71.0)
    part = ndtr(rows / 1.2)[:, None]
    red, green = np.array([0.6, 0.05, 0.05]), np.array([0.05, 0.6, 0.05])
    profile = red * (1 - part) + green * part
    fit = fit_apex(rows, profile, view, below, above, interface, vertical_search_px=8.0)
    assert not fit.ok


@pytest.mark.parametrize("unknowns", [30, 60])
def test_a_fit_is_strained_beyond_the_quantile_of_chi_squared(unknowns):
    """The reference is SciPy's distribution (its own inverse of the survival function)."""
    priors = unknowns - 24
    limit = float(np.sqrt(chi2.isf(STRAIN_CHANCE, unknowns) / unknowns))
    profile = SimpleNamespace(supposed=SimpleNamespace(precision=np.full(priors, 4.0)))

    def away(share: float) -> SimpleNamespace:
        distance = share * limit * np.ones(unknowns)
        distance[:priors] /= 2.0
        return SimpleNamespace(z=np.zeros((3, 8)), to_mean=lambda: distance)

    assert not _is_strained(cast(Any, profile), cast(Any, away(0.99)))
    assert _is_strained(cast(Any, profile), cast(Any, away(1.01)))
