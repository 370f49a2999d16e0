"""What rays are traced through: the scene that a level and its physics make.

Lengths are in half widths of the section of the bore that is seen, which on the axis are bore
radii.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus import GLASS_REFRACTIVE_INDEX, TubeView
from limbsight.calib.meniscus_optics import Paths, Scene
from limbsight.calib.meniscus_shape import meniscus_surface
from limbsight.calib.meniscus_surroundings import Physics, Surroundings

Array = NDArray[np.float64]
Index = NDArray[np.int64]


def scene_of(around: Surroundings, physics: Physics) -> Scene:
    """Through the section of the bore that is seen."""
    on_axis = scene_on_axis(
        physics, around.view, around.half_width, around.below.opaque_mirror
    )
    if not around.aside:
        return on_axis
    aside = around.aside * on_axis.surface.bore_radius_m
    surface = on_axis.surface.beside(aside)
    half = surface.bore_radius_m
    return replace(
        on_axis,
        surface=surface,
        outer_radius=np.sqrt(around.view.outer_radius_m**2 - aside**2) / half,
        distance=around.view.distance_m / half,
        off_axis=aside / half,
    )


def scene_on_axis(physics: Physics, view: TubeView, half_width: float, mirror: bool) -> Scene:
    """Through the axis; ``mirror`` where the fluid below is one."""
    bore = physics.bore_radius_m
    return Scene(
        surface=meniscus_surface(bore, physics.capillary_length_m, physics.contact_angle_rad),
        outer_radius=max(view.outer_radius_m / bore, 1.02),
        distance=view.distance_m / bore,
        # Root mean square distance of the averaged columns from the axis.
        lateral=half_width / np.sqrt(3.0),
        elevation_rad=physics.elevation_rad,
        glass_index=GLASS_REFRACTIVE_INDEX,
        below_index=physics.below_index,
        above_index=physics.above_index,
        below_is_mirror=mirror,
    )


def height_on_board(
    around: Surroundings, scenes: list[Scene], of_path: Index, paths: Paths
) -> Array:
    """Where a path meets the board, above the apex, in bore radii."""
    outer = np.array([s.outer_radius for s in scenes])[of_path]
    bore = np.array([s.surface.bore_radius_m for s in scenes])[of_path]
    sine = np.clip(paths.exit_sine, -0.98, 0.98)
    in_glass = sine / GLASS_REFRACTIVE_INDEX
    wall = (outer - 1.0) * in_glass / np.sqrt(1.0 - in_glass**2)
    gap = np.maximum(around.view.axis_to_board_m / bore - outer, 0.0)
    up = paths.exit_height + wall + gap * sine / np.sqrt(1.0 - sine**2)
    return np.asarray(up * around.section)
