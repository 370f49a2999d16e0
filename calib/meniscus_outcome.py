"""What a finished fit comes to: the apex, its components of uncertainty, its doubts.

The variance of the position falls apart exactly into a share from the profile and one from
each prior: with ``A`` the normal matrix, ``A^-1 = A^-1 (J'WJ + sum P_j) A^-1``.  What the fit
knows nothing of is added by name.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from limbsight.calib.meniscus import AMBIGUOUS, NOT_SEEN, STRAINED, UNLIKE_MODEL, ApexFit
from limbsight.calib.meniscus_cost import (
    inflation_of,
    misfit_of,
    noise_of,
    robust_cost,
    without_waves,
)
from limbsight.calib.meniscus_factors import harmonics
from limbsight.calib.meniscus_priors import OPTICAL
from limbsight.calib.meniscus_profile import Profile
from limbsight.calib.meniscus_refinement import Linear, State, prior_precision
from limbsight.calib.meniscus_shape import meniscus_surface
from limbsight.calib.meniscus_surroundings import Surroundings, is_gas

Array = NDArray[np.float64]

COMPONENTS = (
    "refractive_index",
    "capillary_length",
    "contact_angle",
    "bore",
    "elevation",
    "brightness",
)

U_TONE_PX = 0.08
"""A camera's unknown tone curve and sharpening move an edge by so much (simulated phone
pictures: 0.05 to 0.13 px after linearising by the standard curve)."""

U_COLOUR_PX = 0.4
"""A level between two colours moves by so much, too: a JPEG keeps colours at half resolution,
and blurs them after the tone curve, which shifts red and blue apart.  25 levels between
liquids, bores of 13 to 32 px, stored with colours at full and at half resolution, differ by
0.36 px (root mean square), besides one that came to another place."""

MISFIT_LIMIT = 0.1
"""Residual over range beyond which the picture is not that of a meniscus as traced.  Fits to
path-traced photographs from two sources: right ones stay below 0.08 (19 of 20), mercury
under lamps and missed by a third of its dome has 0.12 and more."""

SPOILT = 2.0
"""Drops on the wall, lamps beside the axis and lines of a room behind spoil the profile of a
meniscus, not its dark line: where that stands out the fit may miss so many times what it may
otherwise, if it explains no more than a smooth profile would. Of 14 such levels 13 are within
1.5 standard uncertainties, one within 1.9; of four that a meniscus explains, but not well, two
were 3 and 7 off, so that those only bear another fit out."""

STRAIN_CHANCE = 1e-5
"""Chance below which no meniscus as supposed differs so much from what was expected of its
liquids, light and camera.  Of 287 levels in path-traced photos from two sources four do: three
are 1.7 mm off and more, one is right; the next has 1e-4."""

AMBIGUITY_LIMIT = 2.0
"""Spread of rival positions over the rest of the uncertainty, beyond which a person should
choose."""

GAIN_LIMIT = 2.5
"""What a meniscus must explain beyond a smooth profile, for each row.  On path-traced
photographs from two sources 3 of 90 menisci gained less, and of 143 stretches of tube beside
them 4 more, at clips and reflections."""

_RISE_SHARE, _RISE_SHARE_COVERED, _RISE_SHARE_MIRROR = 0.015, 0.25, 0.15
"""Of the height of bowl or dome, left uncertain by what the model does not hold: dirt and
uneven light; how deep the bowl is between two liquids, of which the picture tells less than a
fit believes; what a mirror shows of the room.  About the root mean square of the errors left
unexplained in path-traced photographs from two sources; between liquids, of 100 boundaries of
85 photos with contact angles of 18 to 67 degrees, which scatter by 1.03 of what is stated then
(1.92, and eight three times as far off, with 0.07)."""

_FLAT_SHARE = 0.08
"""Of the height that a flat bowl would have in a tube that is wetted, left uncertain where it
is not: a wall is wetted unevenly, and the dark line that shows the deep bowl is missing.  The
scatter of 73 levels of watery liquids in drawn tubes of plastic is then what is stated (2.5
times as much without)."""

_RISE_SHARE_BLACK, _DARK = 0.05, 0.3
"""Added for a liquid without any light; from this brightness over the board's on, nothing."""

_SMOOTH_DEGREE = 4
"""Of the polynomial that a stretch of tube without a meniscus may follow."""

_NEAR = 0.3
"""What counts as near the meniscus beyond its rims, in bore radii."""


def outcome(profile: Profile, state: State, last: Linear, *, rival_px: float) -> ApexFit:
    """What a fit that ended at ``state`` says; ``rival_px`` is what rival places add."""
    from_profile = last.normal()
    row = np.linalg.inv(from_profile + np.diag(prior_precision(profile, state)))[0]
    statistical = float(row @ from_profile @ row)
    components = _components_px(profile, state, row)
    sure = math.sqrt(sum(u * u for u in components.values()) + statistical)
    components["ambiguity"] = rival_px
    residual = last.residual.T * profile.sigma
    near = _near(profile, state)
    misfit = misfit_of(residual, profile.values, profile.noise, near)
    reason = _doubt(profile, state, misfit, rival_px / sure, _gain(profile, residual))
    return ApexFit(
        position_px=state.shift_px,
        u_statistical_px=math.sqrt(statistical),
        u_model_px=math.sqrt(sum(u * u for u in components.values())),
        u_components_px=components,
        misfit=misfit,
        ok=not reason,
        reason=reason,
        blur_px=math.exp(state.optics.log_blur),
        px_per_elevation=_px_per_elevation(profile, row),
    )


def unreadable() -> ApexFit:
    """What a profile says that is too short or has gaps."""
    return ApexFit(
        position_px=math.nan,
        u_statistical_px=math.inf,
        u_model_px=math.inf,
        u_components_px={},
        misfit=math.inf,
        ok=False,
        reason="profile_too_short",
        blur_px=math.nan,
    )


# --- components ----------------------------------------------------------------------------


def u_unfitted_px(profile: Profile, state: State) -> float:
    """Uncertainty of the position that the fit itself knows nothing of."""
    return math.hypot(_u_rise_px(profile, state), _u_tone_px(profile.around))


def _components_px(profile: Profile, state: State, row: Array) -> dict[str, float]:
    """Components by name, from the position's row of the covariance matrix."""
    shares = row * prior_precision(profile, state) * row
    own = len(profile.supposed.precision)
    variances = dict.fromkeys(COMPONENTS, 0.0)
    for known, share in zip(profile.supposed.priors, shares[OPTICAL:own], strict=True):
        variances[known.name] += float(share)
    variances["brightness"] += float(shares[:OPTICAL].sum() + shares[own:].sum())
    variances["brightness"] += _u_rise_px(profile, state) ** 2
    components = {name: math.sqrt(max(v, 0.0)) for name, v in variances.items()}
    components["tone"] = _u_tone_px(profile.around)
    if profile.around.below.opaque_mirror:
        components["dome"] = _taller_px(profile, state) / math.sqrt(3.0)
    return components


def _px_per_elevation(profile: Profile, row: Array) -> float:
    """Movement of the position with the middle of the elevation's prior [px/rad].

    The fit's normal equations are linear in the prior's middle: its weight, by the position's
    row of the covariance matrix.
    """
    supposed = profile.supposed
    return sum(
        float(by * weight) / prior.u
        for prior, by, weight in zip(
            supposed.priors, row[OPTICAL:], supposed.precision[OPTICAL:], strict=False
        )
        if prior.field == "elevation_rad"
    )


def _u_tone_px(around: Surroundings) -> float:
    return math.hypot(U_TONE_PX, U_COLOUR_PX if around.is_between_liquids else 0.0)


def _u_rise_px(profile: Profile, state: State) -> float:
    own = _rise_share(profile.around) * _rise_px(profile, state.physics)
    return math.hypot(own, _u_flat_px(profile, state))


def _u_flat_px(profile: Profile, state: State) -> float:
    """Of a flat bowl."""
    if profile.around.below.opaque_mirror or not profile.supposed.is_flat:
        return 0.0
    physics = profile.supposed.physics(state.physics)
    wetted = meniscus_surface(physics.bore_radius_m, physics.capillary_length_m, 0.0)
    return _FLAT_SHARE * wetted.wall_height_m * profile.around.view.px_per_m


def _rise_share(around: Surroundings) -> float:
    if around.below.opaque_mirror:
        return _RISE_SHARE_MIRROR
    if not is_gas(around.above):
        return _RISE_SHARE_COVERED
    # In a liquid nearly black the band's lower edge fades, and the rim alone must tell.
    shine = float(around.below_colour.max() / around.white.max())
    return _RISE_SHARE + _RISE_SHARE_BLACK * max(0.0, 1.0 - shine / _DARK)


def _rise_px(profile: Profile, q: Array) -> float:
    """Height of the contact line above the apex, px; negative for a dome."""
    physics = profile.supposed.physics(q)
    surface = meniscus_surface(
        physics.bore_radius_m, physics.capillary_length_m, physics.contact_angle_rad
    )
    return surface.wall_height_m * profile.around.view.px_per_m


def _taller_px(profile: Profile, state: State) -> float:
    """By how much the height of a dome differs from what the contact angle supposed would
    make of it.

    The contact line is seen: where a lamp, or its image in the wall behind, is taken for
    the crown, the dome seems taller than it is by what the crown is off.
    """
    usual = [
        0.0 if prior.field == "contact_angle_rad" else q
        for prior, q in zip(profile.supposed.priors, state.physics, strict=True)
    ]
    return abs(_rise_px(profile, state.physics) - _rise_px(profile, np.array(usual)))


# --- doubts --------------------------------------------------------------------------------


def _doubt(
    profile: Profile, state: State, misfit: float, ambiguity: float, gain: float
) -> str:
    if gain < GAIN_LIMIT:
        return NOT_SEEN
    if misfit > MISFIT_LIMIT:
        return UNLIKE_MODEL
    if _is_strained(profile, state):
        return STRAINED
    if abs(state.shift_px) > profile.search_px:
        return "apex_outside_search"
    if ambiguity > AMBIGUITY_LIMIT:
        return AMBIGUOUS
    return ""


def _is_strained(profile: Profile, state: State) -> bool:
    """Whether unknowns are so far from their priors that the picture is not of what they
    describe: the sum of their squared distances is chi-squared with at most as many degrees of
    freedom as there are unknowns, where the model holds."""
    precision = prior_precision(profile, state)
    strain = float(precision @ state.to_mean() ** 2)
    return bool(chdtrc(len(precision), strain) < STRAIN_CHANCE)


def _near(profile: Profile, state: State) -> NDArray[np.bool_]:
    """Rows between the rims, and a little beyond."""
    rise = _rise_px(profile, state.physics)
    elevation_rad = profile.around.view.elevation_rad
    margin = profile.bore_px * (abs(math.tan(elevation_rad)) + _NEAR)
    row = profile.rows_px - state.shift_px
    near = (row > min(0.0, rise) - margin) & (row < max(0.0, rise) + margin)
    return near if near.any() else np.ones(len(row), dtype=bool)


def _gain(profile: Profile, residual: Array) -> float:
    """What the meniscus explains beyond a smooth profile: drop of the robust cost, in
    units of the noise's variance, for each row."""
    lines, count = _lines(profile), len(profile.rows_px)
    smooth = np.polynomial.legendre.legvander(np.linspace(-1.0, 1.0, count), _SMOOTH_DEGREE)
    smooth = np.concatenate([smooth, lines], axis=1)
    factors, *_ = np.linalg.lstsq(smooth, profile.values, rcond=None)
    plain = profile.values - smooth @ factors
    # Graduations behind the tube count as noise in the fit, but are none.
    noise = noise_of(without_waves(lines, profile.values))
    sigma = np.hypot(noise, profile.model_error)
    sigma *= math.sqrt(inflation_of(residual / sigma))
    return (robust_cost(plain / sigma) - robust_cost(residual / sigma)) / count


def _lines(profile: Profile) -> Array:
    """Graduations behind a tube without a level, (N, 2 H)."""
    view = profile.around.view
    # The rows are those of the axis, nearer to the camera than the board.
    farther = 1.0 + view.axis_to_board_m / view.distance_m
    period = max(view.line_pitch_m * view.px_per_m / farther, 1e-9)
    each = np.arange(1, harmonics(view) + 1)
    turn = 2.0 * math.pi / period * np.outer(profile.rows_px, each)
    return np.concatenate([np.cos(turn), np.sin(turn)], axis=1)
