"""The profile of brightness that is fitted, with its noise and what is supposed about it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus import FluidOptics, MeniscusPhysics, TubeView
from limbsight.calib.meniscus_basis import FactorPrior
from limbsight.calib.meniscus_cost import noise_of
from limbsight.calib.meniscus_factors import factor_priors
from limbsight.calib.meniscus_priors import Supposed, supposed
from limbsight.calib.meniscus_shape import meniscus_surface
from limbsight.calib.meniscus_surroundings import Surroundings, is_gas

Array = NDArray[np.float64]

FEWEST_ROWS = 12
"""Fewer pixels hold no meniscus with its plateaus."""

_PLATEAU = 0.6
"""Profile beyond the rims, in bore radii, that a fit asks for."""

_COLOUR_REACH = 0.3
"""Of that, what tells the plateau's colour."""

_SLACK_PX = 1.0
"""Beyond the search, that the profile reaches."""

_MODEL_ERROR, _MODEL_ERROR_MIRROR, _MODEL_ERROR_COVERED = 0.03, 0.06, 0.05
"""Part of the profile's range that the model may miss anywhere: lighting, dirt, tone; more
where a mirror shows the room, or one liquid covers another (common practice, no source)."""

_UNEVENNESS = 0.01
"""Part of the brightness by which any surface is uneven from one millimetre to the next
(common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """One profile of N rows, and all that its fit knows beforehand.

    Attributes
    ----------
    rows_px : (N,) array
        Positions along the axis, one pixel apart, growing upward, relative to the guess.
    values : (N, 3) array
        Linear-light RGB.
    search_px
        How far the apex may be from the guess.
    around, supposed, factors
        What surrounds the level; its physics; priors of the brightness factors.
    noise : (3,) array
        Standard deviation of a row.
    model_error
        What the model may miss anywhere, one standard deviation.
    sigma : (3,) array
        Both together.
    """

    rows_px: Array
    values: Array
    search_px: float
    around: Surroundings
    supposed: Supposed
    factors: FactorPrior
    noise: Array
    model_error: float
    sigma: Array

    @property
    def bore_px(self) -> float:
        """Radius of the bore, px."""
        return self.around.view.bore_radius_m * self.around.view.px_per_m


def profile_of(
    rows_px: Array,
    values: Array,
    view: TubeView,
    below: FluidOptics,
    above: FluidOptics,
    interface: MeniscusPhysics,
    *,
    search_px: float,
    half_width: float = 0.0,
    aside: float = 0.0,
) -> Profile:
    """Put what is seen and what is supposed together.

    ``half_width`` and ``aside`` as in ``Surroundings``, the rest as in ``fit_apex``.
    """
    bore_px, slack = view.bore_radius_m * view.px_per_m, search_px + _SLACK_PX
    plateau = max(3, round(_COLOUR_REACH * bore_px))
    around = Surroundings(
        view=view,
        below=below,
        above=above,
        below_colour=np.median(values[:plateau], axis=0),
        above_colour=np.median(values[-plateau:], axis=0),
        half_width=half_width,
        reach=(float(rows_px[0] - slack) / bore_px, float(rows_px[-1] + slack) / bore_px),
        aside=aside,
    )
    noise, model_error = noise_of(values), _model_error(around, values)
    return Profile(
        rows_px=rows_px,
        values=values,
        search_px=search_px,
        around=around,
        supposed=supposed(around, interface, search_px=search_px),
        factors=FactorPrior.of(*factor_priors(around)),
        noise=noise,
        model_error=model_error,
        sigma=np.hypot(noise, model_error),
    )


def window_m(view: TubeView, interface: MeniscusPhysics) -> tuple[float, float]:
    """How far below and above the apex the profile should reach, metres along the axis."""
    wall = meniscus_surface(
        view.bore_radius_m, interface.capillary_length_m, interface.contact_angle_rad
    ).wall_height_m
    rim = view.bore_radius_m * math.tan(abs(view.elevation_rad) + 2 * view.u_elevation_rad)
    margin = _PLATEAU * view.bore_radius_m + 6.0 / view.px_per_m
    return max(0.0, -wall) + rim + margin, max(0.0, wall) + rim + margin


def rows_within(
    rows_px: Array, view: TubeView, interface: MeniscusPhysics, *, search_px: float
) -> NDArray[np.bool_]:
    """Which rows the window may take in, wherever in the search the apex is."""
    low, high = window_m(view, interface)
    slack = search_px + _SLACK_PX
    return np.asarray(
        (rows_px >= -low * view.px_per_m - slack) & (rows_px <= high * view.px_per_m + slack)
    )


def without_reflections(profile: Array, columns: Array) -> Array:
    """The median over columns where mean and median differ by more than the scatter."""
    median = np.median(columns, axis=1)
    scatter = 1.4826 * np.median(np.abs(columns - median[:, None]), axis=1)
    far = np.abs(profile - median) > 2.0 * np.median(scatter, axis=0)
    return np.where(far, median, profile)


def _model_error(around: Surroundings, values: Array) -> float:
    span = max(float(np.ptp(values, axis=0).max()), 1e-6)
    uneven = _UNEVENNESS * float(np.median(values.max(axis=1)))
    return float(np.hypot(_model_error_share(around) * span, uneven))


def _model_error_share(around: Surroundings) -> float:
    if around.below.opaque_mirror:
        return _MODEL_ERROR_MIRROR
    return _MODEL_ERROR if is_gas(around.above) else _MODEL_ERROR_COVERED
