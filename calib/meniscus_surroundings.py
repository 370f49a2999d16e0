"""What surrounds a level, and the physics that its picture depends on.

The first stays the same about a level; the second is known only roughly, and varies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus import FluidOptics, TubeView
from limbsight.calib.meniscus_optics import GAS_INDEX

Array = NDArray[np.float64]

_OF_RAYS = (
    "below_index",
    "above_index",
    "capillary_length_m",
    "contact_angle_rad",
    "bore_radius_m",
    "elevation_rad",
)
"""What of the physics rays depend on; the rest is light and absorption."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Physics:
    """The numbers the picture depends on.

    Attributes
    ----------
    below_index, above_index
        Refractive indices.
    capillary_length_m, contact_angle_rad, bore_radius_m, elevation_rad
        As in ``TubeView`` and ``MeniscusPhysics``.
    lit_through
        Share of the light on the board behind the axis that comes through the tube.
    skin_below, skin_above
        Part of a fluid's colour that sits on the glass as a stain or film: taken at the
        walls, however short the way between.
    """

    below_index: float
    above_index: float
    capillary_length_m: float
    contact_angle_rad: float
    bore_radius_m: float
    elevation_rad: float
    lit_through: float
    skin_below: float
    skin_above: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What stays the same about a level while its physics varies.

    Attributes
    ----------
    view, below, above
        Geometry and fluids.
    below_colour, above_colour : (3,) arrays
        Linear-light RGB of the plateaus.
    half_width
        Half the width of the averaged columns, in bore radii.
    reach
        Apparent heights below and above the apex to be covered, in bore radii.
    aside
        How far off the axis the section of the bore is that is seen, in bore radii.
    """

    view: TubeView
    below: FluidOptics
    above: FluidOptics
    below_colour: Array
    above_colour: Array
    half_width: float
    reach: tuple[float, float]
    aside: float = 0.0

    @property
    def section(self) -> float:
        """Width of that section, over the bore's."""
        return math.sqrt(1.0 - self.aside**2)

    @property
    def is_between_liquids(self) -> bool:
        """Whether the picture shows a liquid through the one below and one above it."""
        return not (self.below.opaque_mirror or is_gas(self.above))

    @property
    def white(self) -> Array:
        """The board as seen beside what absorbs; through a gas that is the upper plateau."""
        if is_gas(self.above):
            return np.maximum(self.above_colour, 1e-4)
        seen = self.above_colour
        if not self.below.opaque_mirror:
            seen = np.maximum(seen, self.below_colour)
        return np.full(3, max(float(seen.max()), 1e-4))


def same_rays(one: Physics, other: Physics) -> bool:
    """Whether these differ in light and absorption alone."""
    return all(getattr(one, name) == getattr(other, name) for name in _OF_RAYS)


def is_gas(fluid: FluidOptics) -> bool:
    """Whether a fluid bends light as little as a gas."""
    return fluid.refractive_index < GAS_INDEX
