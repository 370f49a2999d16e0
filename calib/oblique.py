"""Levels in tubes that lie: gravity acts obliquely, and the surface slants.

Only the part of gravity along the tube, g sin(incline), flattens the meniscus of a level that
lies square to it; the part across tilts the surface, and the farther it gives way the more of
gravity acts square to it. A slanting surface is traced in the plane square to it
(``LevelStrip.view``): seen along the tube its bowl is steeper, and light is trapped farther
from the apex. Traced as ones that lie level, 31 drawn levels were 0.05 mm too high on average
and up to 0.54; they are 0.02 mm too low now, the 95th percentile is 0.20 mm in place of 0.43.

Two shapes are fitted, that of an upright tube and that of the tube as it lies, and the
likelier is taken. What is left in doubt is stated:

- the shape: how far the two fits are apart;
- the slant: how much longer than its extent across the tube the surface is, and so the rise
  from axis to wall along the tube, depends on where the rim clings to the glass: half of the
  difference to a rise that is not (rectangular);
- the axis: beside it a slanting level is met higher or lower.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.height_components import own_component
from limbsight.calib.heights import LevelFit, fit_level
from limbsight.calib.meniscus import FluidOptics, MeniscusPhysics, TubeGeometry
from limbsight.calib.meniscus_shape import meniscus_surface
from limbsight.calib.rectify import Grid
from limbsight.calib.scale_map import ScaleMap
from limbsight.vision.slant import level_slope, levelled

CLEARER_BY = 0.7
"""The shape as the tube lies is expected; that of an upright tube is taken where its misfit
is less than this share of the other's (ratio of the two right and wrong in 12 photos)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lie:
    """How a tube lies.

    Attributes
    ----------
    incline_rad
        Of its axis above the horizontal.
    u_axis_m
        Standard uncertainty of where the axis was found, across the tube.
    """

    incline_rad: float
    u_axis_m: float


def fit_oblique_level(
    strip: NDArray[np.float32],
    grid: Grid,
    row: float,
    *,
    apex_seen: bool = False,
    lie: Lie,
    scale_map: ScaleMap,
    unit_m: float,
    tube: TubeGeometry,
    below: FluidOptics,
    above: FluidOptics,
    interface: MeniscusPhysics,
    burnt: NDArray[np.bool_] | None = None,
) -> LevelFit:
    """Fit one meniscus of a tube that lies; arguments as of ``fit_level``."""
    axis = 0.5 * (strip.shape[1] - 1)
    bore_columns = 2 * tube.bore_radius_m / (grid.step * unit_m)
    slope = level_slope(strip, axis, row, bore_columns)
    level = levelled(strip, axis, slope)
    lying = _lying(interface, lie.incline_rad, slope)
    upright_fit, lying_fit = (
        fit_level(
            level,
            grid,
            row,
            apex_seen=apex_seen,
            scale_map=scale_map,
            unit_m=unit_m,
            tube=tube,
            below=below,
            above=above,
            interface=shape,
            slope=slope,
            burnt=burnt,
        )
        for shape in (interface, lying)
    )
    fit = _likelier(upright_fit, lying_fit)
    rise = abs(
        meniscus_surface(
            tube.bore_radius_m, lying.capillary_length_m, lying.contact_angle_rad
        ).wall_height_m
    )
    parts = {
        "meniscus shape": abs(upright_fit.height - lying_fit.height),
        "meniscus slant": 0.5 * (np.hypot(1.0, slope) - 1.0) * rise / np.sqrt(3.0) / unit_m,
        "axis of the tube": abs(slope) * lie.u_axis_m / unit_m,
    }
    return replace(
        fit,
        components=(
            *fit.components,
            *(own_component(name, float(u)) for name, u in parts.items()),
        ),
    )


def _lying(interface: MeniscusPhysics, incline_rad: float, slope: float) -> MeniscusPhysics:
    """Capillary length sqrt(sigma / (delta rho g)) with the gravity square to the surface."""
    square = np.sin(incline_rad) + abs(slope) * np.cos(incline_rad)
    longer = float(np.sqrt(np.hypot(1.0, slope) / square))
    return replace(
        interface,
        capillary_length_m=interface.capillary_length_m * longer,
        u_capillary_length_m=interface.u_capillary_length_m * longer,
    )


def _likelier(upright: LevelFit, lying: LevelFit) -> LevelFit:
    if upright.apex.ok != lying.apex.ok:
        return upright if upright.apex.ok else lying
    clearly = upright.apex.misfit < CLEARER_BY * lying.apex.misfit
    return upright if clearly else lying
