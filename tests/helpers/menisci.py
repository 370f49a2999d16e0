"""Profiles of menisci: traced, blurred and noisy, with the apex where it is known to be."""

from __future__ import annotations

import math

import numpy as np

from limbsight.calib.meniscus import FluidOptics, MeniscusPhysics, TubeView
from limbsight.calib.meniscus_factors import factor_priors
from limbsight.calib.meniscus_fit import fit_apex
from limbsight.calib.meniscus_picture import pictures
from limbsight.calib.meniscus_profile import profile_of, window_m
from limbsight.calib.meniscus_rivals import BESIDE
from limbsight.calib.meniscus_surroundings import Physics, Surroundings

_FINE_PX = 0.05

AIR = FluidOptics(refractive_index=1.0003, u_refractive_index=0.0)
WATER = FluidOptics(refractive_index=1.333, u_refractive_index=0.004)
OIL = FluidOptics(refractive_index=1.455, u_refractive_index=0.015)
MERCURY = FluidOptics(refractive_index=1.0, u_refractive_index=0.0, opaque_mirror=True)


def physics_of(length, u_length, angle_deg, u_angle_deg):
    """Of an interface: capillary length [m], contact angle, each with its uncertainty."""
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
    """Of a tube whose glass is three tenths of the bore's radius."""
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


def physics_supposed(case, **changed):
    """The physics that the numbers of a case are taken for."""
    view, below, above, interface, _ = case
    supposed = {
        "below_index": below.refractive_index,
        "above_index": above.refractive_index,
        "capillary_length_m": interface.capillary_length_m,
        "contact_angle_rad": interface.contact_angle_rad,
        "bore_radius_m": view.bore_radius_m,
        "elevation_rad": view.elevation_rad,
        "lit_through": 0.6,
        "skin_below": 0.1,
        "skin_above": 0.1,
    }
    return Physics(**supposed | changed)


def surroundings(case, *, reach=(-2.5, 3.0), aside=0.0, **changed):
    """What surrounds the level of a case; ``reach`` in bore radii."""
    view, below, above, _, colours = case
    seen = {
        "view": view,
        "below": below,
        "above": above,
        "below_colour": np.asarray(colours[0]),
        "above_colour": np.asarray(colours[1]),
        "half_width": 0.0,
    }
    return Surroundings(**seen | changed, reach=reach, aside=aside)


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


def fitted(case, shift, *, noise=0.004, seed=0, search=8.0, sides=0, **options):
    """Fit to a drawn profile whose rows are off by ``shift``, with columns beside it."""
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


def profile_seen(case, shift=0.0, *, noise=0.004, search=8.0, **options):
    """What a fit to a drawn profile is given, rows off by ``shift``."""
    view, below, above, interface, _ = case
    rows, values = rendered(*case, **options)
    values = values + noise * np.random.default_rng(0).standard_normal(values.shape)
    return profile_of(rows - shift, values, view, below, above, interface, search_px=search)
