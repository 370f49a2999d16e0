"""The fit finds the apex of pictures made with other physics than it supposes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from limbsight.calib.meniscus import FluidOptics, MeniscusPhysics, TubeView
from limbsight.calib.meniscus_fit import BESIDE, U_COLOUR_PX, U_TONE_PX, fit_apex, window_m
from limbsight.calib.meniscus_picture import (
    Physics,
    Surroundings,
    factor_priors,
    pictures,
)

AIR = FluidOptics(refractive_index=1.0003, u_refractive_index=0.0)
WATER = FluidOptics(refractive_index=1.333, u_refractive_index=0.004)
OIL = FluidOptics(refractive_index=1.455, u_refractive_index=0.015)
MERCURY = FluidOptics(refractive_index=1.0, u_refractive_index=0.0, opaque_mirror=True)


def physics_of(length, u_length, angle_deg, u_angle_deg):
    return MeniscusPhysics(
        capillary_length_m=length,
        u_capillary_length_m=u_length,
        contact_angle_rad=math.radians(angle_deg),
        u_contact_angle_rad=math.radians(u_angle_deg),
    )


WETTING = physics_of(2.7e-3, 1.0e-4, 15, 12)
CONVEX = physics_of(1.86e-3, 7e-5, 137, 7)
DARK = np.array([0.07, 0.045, 0.03])
BLUE, WHITE = np.array([0.05, 0.15, 0.5]), np.array([0.7, 0.72, 0.74])
STEEL = np.array([0.3, 0.3, 0.3])


def view_of(bore=4e-3, elevation=0.05, px_per_m=6000.0):
    return TubeView(
        bore_radius_m=bore,
        outer_radius_m=1.3 * bore,
        u_bore_radius_m=0.03 * bore,
        axis_to_board_m=1.7 * bore,
        elevation_rad=elevation,
        u_elevation_rad=0.01,
        distance_m=0.4,
        px_per_m=px_per_m,
    )


def rendered(
    view,
    below,
    above,
    interface,
    colours,
    *,
    offset=(0, 0, 0, 0, 0),
    blur=1.0,
    lit_through=0.6,
    skin=0.1,
    lamp=0.0,
    aside=0.0,
):
    """Rows relative to the true apex and a noiseless profile; ``offset`` in standard
    uncertainties: index, length, angle, bore, elevation; ``lamp`` is what a dome shows
    20 degrees in front of the zenith beyond what is supposed, over the room in front;
    ``aside`` is how far off the axis, in bore radii."""
    truth = Physics(
        below_index=below.refractive_index + offset[0] * below.u_refractive_index,
        above_index=above.refractive_index,
        capillary_length_m=interface.capillary_length_m
        + offset[1] * interface.u_capillary_length_m,
        contact_angle_rad=interface.contact_angle_rad
        + offset[2] * interface.u_contact_angle_rad,
        bore_radius_m=view.bore_radius_m + offset[3] * view.u_bore_radius_m,
        elevation_rad=view.elevation_rad + offset[4] * view.u_elevation_rad,
        lit_through=lit_through,
        skin_below=skin,
        skin_above=skin,
    )
    low, high = window_m(view, interface)
    reach = max(low, high) * view.px_per_m + 16
    rows = np.arange(-math.ceil(reach), math.ceil(reach) + 1.0)
    around = Surroundings(
        view=view,
        below=below,
        above=above,
        below_colour=colours[0],
        above_colour=colours[1],
        half_width=0.0,
        reach=(-reach / view.px_per_m / 1e-3, reach / view.px_per_m / 1e-3),
        aside=aside,
    )
    picture = pictures(around, truth, []).only(0)
    mean, _ = factor_priors(around)
    mean[-3] += lamp  # the last factors of a dome: 110, 140 and 180 degrees
    rays = picture.value @ mean
    height = picture.height * truth.bore_radius_m * view.px_per_m
    fine = np.arange(rows[0] - 8.0, rows[-1] + 8.0, _FINE_PX)
    light = np.stack([np.interp(fine, height, channel) for channel in rays.T], axis=1)
    weight = np.exp(-0.5 * ((fine - rows[:, None]) / blur) ** 2)
    return rows, (weight / weight.sum(axis=1, keepdims=True)) @ light


_FINE_PX = 0.05


def fitted(case, shift, *, noise=0.004, seed=0, search=8.0, sides=0, **options):
    view, below, above, interface, _ = case
    rng = np.random.default_rng(seed)

    def seen(aside):
        rows, profile = rendered(*case, aside=aside, **options)
        return rows, profile + noise * rng.standard_normal(profile.shape)

    rows, profile = seen(0.0)
    return fit_apex(
        rows - shift,
        profile,
        view,
        below,
        above,
        interface,
        vertical_search_px=search,
        beside=[seen(BESIDE)[1] for _ in range(sides)],
    )


CASES = {
    "water": (view_of(), WATER, AIR, WETTING, (BLUE, WHITE)),
    "water from below": (view_of(elevation=-0.2), WATER, AIR, WETTING, (BLUE, WHITE)),
    "water from above": (view_of(elevation=0.25), WATER, AIR, WETTING, (BLUE, WHITE)),
    "narrow": (view_of(bore=1.5e-3, px_per_m=4000.0), WATER, AIR, WETTING, (BLUE, WHITE)),
    "clear": (view_of(), WATER, AIR, WETTING, (0.97 * WHITE, WHITE)),
    "mercury": (view_of(bore=2.5e-3), MERCURY, AIR, CONVEX, (STEEL, WHITE)),
}


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


@pytest.mark.parametrize("light", [(0.15, 0.0), (0.3, 0.0)])
@pytest.mark.parametrize("shift", [-12.3, 9.6])
def test_dark_liquid_is_found_however_the_board_behind_is_lit(light, shift):
    case = (view_of(bore=5.5e-3), OIL, AIR, WETTING, (DARK, WHITE))
    fit = fitted(case, shift, search=25.0, lit_through=light[0], skin=light[1])
    assert fit.ok
    assert abs(fit.position_px + shift) < 2.0 * fit.u_px
    assert abs(fit.position_px + shift) < 0.75


@pytest.mark.parametrize("lamp", [3.0, 5.0])
def test_dome_that_shows_a_lamp_overhead_is_found(lamp):
    case = (view_of(bore=2.3e-3, elevation=0.35), MERCURY, AIR, CONVEX, (STEEL, WHITE))
    fit = fitted(case, 3.6, search=14.0, lamp=lamp)
    assert fit.ok, fit.reason
    assert abs(fit.position_px + 3.6) < 0.75


@given(shift=st.floats(-6.0, 6.0), seed=st.integers(0, 1000))
@settings(max_examples=8, deadline=None)
def test_position_follows_the_rows(shift, seed):
    fit = fitted(CASES["water"], shift, seed=seed)
    assert abs(fit.position_px + shift) < 0.5


def test_budget_adds_up():
    fit = fitted(CASES["water"], 1.0)
    parts = fit.u_components_px
    assert fit.u_model_px == pytest.approx(math.sqrt(sum(u * u for u in parts.values())))
    assert parts["tone"] == U_TONE_PX
    assert {"refractive_index", "capillary_length", "contact_angle", "bore"} <= set(parts)


@pytest.mark.parametrize(("angle", "least", "most"), [(0, 0.0, 0.4), (2.5, 0.5, 2.0)])
def test_dome_taller_than_supposed_may_be_off_by_that(angle, least, most):
    case = (view_of(bore=2.5e-3, elevation=0.3), MERCURY, AIR, CONVEX, (STEEL, WHITE))
    dome = fitted(case, 1.0, offset=(0, 0, angle, 0, 0)).u_components_px["dome"]
    assert least <= dome <= most


def test_unknown_bore_costs_uncertainty():
    view, *rest = CASES["water"]
    vague = replace(view, u_bore_radius_m=0.2 * view.bore_radius_m, u_elevation_rad=0.05)
    known = fitted(CASES["water"], 0.0)
    unknown = fitted((vague, *rest), 0.0)
    assert unknown.u_px > 1.03 * known.u_px


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


@pytest.mark.parametrize("angle", [0.0, 1.1])
def test_level_between_liquids_is_found_at_its_own_contact_angle(angle):
    """From above a bowl taller than supposed has minima of other angles at its place."""
    interface = physics_of(5.5e-3, 7e-4, 32, 18)
    amber, green = np.array([0.71, 0.32, 0.04]), np.array([0.03, 0.51, 0.06])
    case = (view_of(bore=5.3e-3, elevation=0.23), WATER, OIL, interface, (green, amber))
    fit = fitted(case, -9.0, search=25.0, offset=(0, 0, angle, 0, 0), lit_through=0.4, skin=0)
    assert abs(fit.position_px - 9.0) < 2.0


@pytest.mark.parametrize("elevation", [-0.1, 0.05, 0.12, 0.23])
def test_columns_beside_the_axis_settle_rival_places_between_liquids(elevation):
    interface = physics_of(5.5e-3, 7e-4, 20, 18)
    amber = np.array([0.6, 0.35, 0.08])
    case = (view_of(bore=5.3e-3, elevation=elevation), WATER, OIL, interface, (BLUE, amber))
    alone, told = (
        fitted(case, -5.0, search=20.0, noise=0.02, lit_through=0.4, skin=0, sides=sides)
        for sides in (0, 2)
    )
    assert alone.u_components_px["ambiguity"] > 0.9
    assert told.u_components_px["ambiguity"] < 0.3
    assert abs(told.position_px - 5.0) < told.u_px
