"""The fit finds the apex of pictures made with other physics than it supposes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.calib.meniscus_fit import fit_apex
from limbsight.calib.meniscus_outcome import U_COLOUR_PX, U_TONE_PX
from tests.helpers.menisci import (
    AIR,
    BLUE,
    CASES,
    CONVEX,
    MERCURY,
    OIL,
    STEEL,
    WATER,
    WETTING,
    WHITE,
    fitted,
    physics_of,
    rendered,
    view_of,
)

FLAT = physics_of(2.7e-3, 1e-4, 72, 12)
"""Water in a tube of plastic."""


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("shift", [-3.3, 4.6])
def test_apex_is_found(name, shift):
    fit = fitted(CASES[name], shift)
    assert fit.ok, fit.reason
    assert abs(fit.position_px + shift) < max(0.35, 2.5 * fit.u_px)
    assert fit.u_px < 1.5


@pytest.mark.parametrize(
    "offset",
    [(1, 0, 0, 0, 0), (0, 1, 0, 0, 0), (0, 0, -1, 0, 0), (0, 0, 0, 1, 0), (0, 0, 0, 0, -1)],
)
def test_physics_off_by_its_uncertainty_stays_within_the_stated_one(offset):
    fit = fitted(CASES["water"], 2.0, offset=offset)
    assert fit.ok, fit.reason
    assert abs(fit.position_px + 2.0) < 2.5 * fit.u_px


@pytest.mark.parametrize("lamp", [3.0, 5.0])
def test_dome_that_shows_a_lamp_overhead_is_found(lamp):
    case = (view_of(bore=2.3e-3, elevation=0.35), MERCURY, AIR, CONVEX, (STEEL, WHITE))
    fit = fitted(case, 3.6, search=14.0, lamp=lamp)
    assert fit.ok, fit.reason
    assert abs(fit.position_px + 3.6) < 0.75


@pytest.mark.parametrize("angle_deg", [10, 25, 62, 80])
@pytest.mark.parametrize("bore", [2.5e-3, 4e-3])
def test_the_picture_tells_whether_the_wall_is_wetted(angle_deg, bore):
    case = (view_of(bore=bore), WATER, AIR, WETTING, (BLUE, WHITE))
    truth = (*case[:3], physics_of(2.7e-3, 1e-4, angle_deg, 12), case[4])
    rows, profile = rendered(*truth)
    profile += 0.004 * np.random.default_rng(2).standard_normal(profile.shape)
    fit = fit_apex(rows - 1.3, profile, *case[:4], vertical_search_px=8.0, unwetted=FLAT)
    assert fit.for_wetting is not None
    assert (fit.for_wetting > 8.0) if angle_deg < 45 else (fit.for_wetting < -8.0)
    # The flat bowl of an unwetted wall is found where it is told of.
    told = fit_apex(rows - 1.3, profile, *case[:3], FLAT, vertical_search_px=8.0)
    assert told.for_wetting is None
    if angle_deg > 45:
        assert abs(told.position_px + 1.3) < max(0.5, 2.0 * told.u_px)


@pytest.mark.parametrize("name", ["water from below", "narrow", "clear", "mercury"])
def test_the_position_moves_with_the_elevation_as_it_says(name):
    """By the fit, where another elevation is supposed of the same rows."""
    view, below, above, interface, colours = CASES[name]
    view = replace(view, u_elevation_rad=0.03)
    rows, profile = rendered(view, below, above, interface, colours)
    profile = profile + 0.004 * np.random.default_rng(3).standard_normal(profile.shape)
    lower, middle, upper = (
        fit_apex(
            rows,
            profile,
            replace(view, elevation_rad=view.elevation_rad + by),
            below,
            above,
            interface,
            vertical_search_px=8.0,
        )
        for by in (-0.02, 0.0, 0.02)
    )
    moved = upper.position_px - lower.position_px
    assert middle.px_per_elevation * 0.04 == pytest.approx(moved, rel=0.25)


@given(shift=st.floats(-6.0, 6.0), seed=st.integers(0, 1000))
@settings(max_examples=8, deadline=None)
def test_position_follows_the_rows(shift, seed):
    fit = fitted(CASES["water"], shift, seed=seed)
    assert abs(fit.position_px + shift) < 0.5


def test_column_with_reflection_is_passed_over():
    case = CASES["water"]
    rows, profile = rendered(*case)
    noise = 0.004 * np.random.default_rng(1).standard_normal((len(rows), 9, 3))
    columns = profile[:, None] + noise
    columns[20:60, 4:6] += 0.8
    view, below, above, interface, _ = case
    fit = fit_apex(
        rows,
        columns.mean(axis=1),
        view,
        below,
        above,
        interface,
        vertical_search_px=8.0,
        profile_columns=columns,
    )
    assert fit.ok, fit.reason
    assert abs(fit.position_px) < 0.4


def test_short_or_broken_profile_is_refused():
    view, below, above, interface, _ = CASES["water"]
    short = fit_apex(
        np.arange(5.0), np.ones((5, 3)), view, below, above, interface, vertical_search_px=4.0
    )
    broken = fit_apex(
        np.arange(-70.0, 71.0),
        np.full((141, 3), np.nan),
        view,
        below,
        above,
        interface,
        vertical_search_px=4.0,
    )
    assert (short.reason, broken.reason) == ("profile_too_short", "profile_too_short")


def test_two_liquids_are_found_or_doubted():
    interface = physics_of(4.8e-3, 6e-4, 32, 18)
    amber = np.array([0.6, 0.35, 0.08])
    fit = fitted((view_of(), WATER, OIL, interface, (BLUE, amber)), 2.0)
    assert not fit.ok or abs(fit.position_px + 2.0) < 3.0 * fit.u_px
    assert fit.u_components_px["tone"] == pytest.approx(math.hypot(U_TONE_PX, U_COLOUR_PX))
