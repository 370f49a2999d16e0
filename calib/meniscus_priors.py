"""What is supposed about a level before its profile is fitted, and how surely.

Each number of the physics that is known only roughly (indices, capillary length, contact
angle, bore, elevation, how light is taken) is an unknown of the fit, in units of its standard
uncertainty from what is supposed, within bounds; so are place, blur and sharpening.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus import MeniscusPhysics
from limbsight.calib.meniscus_blur import Spread
from limbsight.calib.meniscus_surroundings import Physics, Surroundings, is_gas

Array = NDArray[np.float64]

OPTICAL = 3
"""Unknowns before those of the physics: shift [px], logarithm of the blur, sharpening."""

PRIOR_LOG_BLUR = (0.0, 0.6)
PRIOR_HALO = (0.15, 0.3)
"""Blur about 1 px within a factor of 1.8; sharpening adds 0 to 0.75 of the lost detail
(common practice, no source)."""

START_OPTICS = Spread(log_blur=math.log(1.2), halo=PRIOR_HALO[0])
"""Near the prior means; a little wide, so that the search by whole pixels misses nothing."""

_SKIN = (0.4, 0.35)
"""Part of the colour that sits on the glass: anything from none to nearly all (common
practice, no source)."""

_U_LIT_THROUGH = 0.2
"""Of the share of light on the board that comes through the tube."""

_FLAT_RAD = math.radians(45.0)
"""Contact angle from which on a bowl is lower than half of the deepest in a wide tube, whose
height goes with the root of 1 - sin of it: how deep it is depends much on the angle then."""

_FARTHEST = 3.0
"""Prior standard deviations that the physics may be off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """One number of the physics: standard uncertainty, bounds, name in the budget."""

    field: str
    name: str
    u: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Supposed:
    """The physics as supposed, and the P numbers of it that are known only roughly.

    Attributes
    ----------
    nominal
        As supposed.
    priors
        Of the numbers known only roughly.
    lowest, highest : (P,) arrays
        Their bounds, in prior standard deviations.
    precision : (3 + P,) array
        Of the prior of the ``OPTICAL`` unknowns and of those numbers.
    """

    nominal: Physics
    priors: list[Prior]
    lowest: Array
    highest: Array
    precision: Array

    @property
    def is_flat(self) -> bool:
        """Whether the surface is that in a tube whose wall the liquid does not wet."""
        return _FLAT_RAD < self.nominal.contact_angle_rad < math.pi - _FLAT_RAD

    def physics(self, q: Array) -> Physics:
        """The physics at a point in prior standard deviations."""
        changes = {
            p.field: min(max(getattr(self.nominal, p.field) + p.u * float(v), p.low), p.high)
            for p, v in zip(self.priors, q, strict=True)
        }
        return replace(self.nominal, **changes)

    def moved(self, **by: float) -> Array:
        """The point of the physics as supposed, but for what is moved, in prior standard
        deviations, as far as it may be."""
        q = np.array([by.get(prior.field, 0.0) for prior in self.priors])
        return np.asarray(np.clip(q, self.lowest, self.highest))


def supposed(
    around: Surroundings, interface: MeniscusPhysics, *, search_px: float
) -> Supposed:
    """What is supposed about a level whose apex is looked for within ``search_px``."""
    nominal = _nominal(around, interface)
    priors = _priors(around, interface, nominal)
    # Three times the search: keeps a profile without a meniscus solvable.
    optics = [(3.0 * search_px) ** -2, PRIOR_LOG_BLUR[1] ** -2, PRIOR_HALO[1] ** -2]
    bounds = [
        ((p.low - value) / p.u, (p.high - value) / p.u)
        for p in priors
        for value in [getattr(nominal, p.field)]
    ]
    lowest, highest = np.array(bounds).T
    return Supposed(
        nominal=nominal,
        priors=priors,
        lowest=np.maximum(lowest, -_FARTHEST),
        highest=np.minimum(highest, _FARTHEST),
        precision=np.concatenate([optics, np.ones(len(priors))]),
    )


def _nominal(around: Surroundings, interface: MeniscusPhysics) -> Physics:
    view = around.view
    # Sine of half the angle under which the liquid is seen from the board: it seems wider
    # than the bore by its refractive index, up to the whole tube.  That share of evenly
    # diffuse light comes through.
    seen = min(view.outer_radius_m, around.below.refractive_index * view.bore_radius_m)
    return Physics(
        below_index=around.below.refractive_index,
        above_index=around.above.refractive_index,
        capillary_length_m=interface.capillary_length_m,
        contact_angle_rad=interface.contact_angle_rad,
        bore_radius_m=view.bore_radius_m,
        elevation_rad=view.elevation_rad,
        lit_through=min(0.95, seen / max(view.axis_to_board_m, view.outer_radius_m)),
        skin_below=_SKIN[0],
        skin_above=_SKIN[0],
    )


def _priors(around: Surroundings, interface: MeniscusPhysics, nominal: Physics) -> list[Prior]:
    view, a, bore = around.view, nominal.capillary_length_m, nominal.bore_radius_m
    convex = nominal.contact_angle_rad > 0.5 * math.pi
    mirror = around.below.opaque_mirror
    angles = (0.53 * math.pi, math.pi) if convex else (0.0, 0.47 * math.pi)
    index, bright = "refractive_index", "brightness"
    u_below = 0.0 if mirror else around.below.u_refractive_index
    u_above = around.above.u_refractive_index
    table = [
        ("below_index", index, u_below, 1.2, 2.0),
        ("above_index", index, u_above, 1.0, 2.0),
        (
            "capillary_length_m",
            "capillary_length",
            interface.u_capillary_length_m,
            0.4 * a,
            3 * a,
        ),
        ("contact_angle_rad", "contact_angle", interface.u_contact_angle_rad, *angles),
        (
            "bore_radius_m",
            "bore",
            view.u_bore_radius_m,
            0.6 * bore,
            min(1.5 * bore, 0.98 * view.outer_radius_m),
        ),
        ("elevation_rad", "elevation", view.u_elevation_rad, -1.0, 1.0),
        ("lit_through", bright, _U_LIT_THROUGH, 0.0, 1.0),
        # A mirror or a gas takes nothing on the way.
        ("skin_below", bright, 0.0 if mirror else _SKIN[1], 0.0, 1.0),
        ("skin_above", bright, 0.0 if is_gas(around.above) else _SKIN[1], 0.0, 1.0),
    ]
    return [
        Prior(field=field, name=name, u=u, low=low, high=high)
        for field, name, u, low, high in table
        if u > 0.0
    ]
