"""How the liquids take light, and how much of it falls on the board behind the tube.

The board is seen through both fluids: what they take follows from the two plateaus' colours
(Beer and Lambert).  The board itself is lit by light that came past the tube and by light that
came through it, meniscus and all, which the ray trace run backward gives.

Lengths are in bore radii.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus import TubeView
from limbsight.calib.meniscus_factors import BANDS, LIGHT_EDGES
from limbsight.calib.meniscus_optics import BACK, Paths, trace_back
from limbsight.calib.meniscus_scene import scene_on_axis
from limbsight.calib.meniscus_surroundings import Physics, Surroundings

Array = NDArray[np.float64]
Index = NDArray[np.int64]

BOARD_NODES = np.array([-3.0, -1.8, -1.1, -0.7, -0.4, -0.2, 0.0, 0.2, 0.4, 0.6, 0.9, 1.4, 2.2])
"""Heights at which the light on the board is worked out; between them it changes evenly."""

_RAYS_PER_BAND = 2
"""Inclinations in each band of the room's light."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shading:
    """How light is taken, one entry for each of V variants.

    Attributes
    ----------
    skin_below, skin_above : (V,) arrays
    log_below, log_above : (V, 3) arrays
        Log transmittances of a full chord.
    board : (V, nodes, 3, bands) array
        Light on the board, the part that comes past the tube first.
    """

    skin_below: Array
    skin_above: Array
    log_below: Array
    log_above: Array
    board: Array

    def transmittance(self, paths: Paths, chord: Array | float, variant: Index) -> Array:
        """Share of light left along each path, (P, 3), or (V, P, 3) for ``variant`` (V, 1)."""
        low, high = self.skin_below[variant], self.skin_above[variant]
        below = (1.0 - low) / chord * paths.below + low * paths.below_walls
        above = (1.0 - high) / chord * paths.above + high * paths.above_walls
        taken = np.minimum(below, 4.0)[..., None] * self.log_below[variant]
        taken += np.minimum(above, 4.0)[..., None] * self.log_above[variant]
        return np.asarray(np.exp(taken))


def shading_of(around: Surroundings, variants: list[Physics], light: Paths) -> Shading:
    """Part the plateaus' colours into what the board has and what the fluid takes.

    A board close behind a tube is itself lit through the tube.  With the share ``f`` of its
    light that came so, and one passage's transmittance ``t``, the plateau is
    ``board * (1 - f + f t) * t``.
    """
    white = around.white
    f = np.array([physics.lit_through for physics in variants])[:, None]

    def once(colour: Array) -> Array:
        ratio = np.clip(colour / white, 1e-3, 1.0)
        return np.asarray(2.0 * ratio / (1.0 - f + np.sqrt((1.0 - f) ** 2 + 4.0 * f * ratio)))

    above = once(around.above_colour)
    mirror = around.below.opaque_mirror
    shade = Shading(
        skin_below=np.array([physics.skin_below for physics in variants]),
        skin_above=np.array([physics.skin_above for physics in variants]),
        log_below=np.zeros_like(above) if mirror else np.log(once(around.below_colour)),
        log_above=np.log(above),
        board=np.empty((len(variants), len(BOARD_NODES), 3, BANDS)),
    )
    board = shade.board
    board[..., 0] = 1.0 - f[:, :, None]
    board[..., 1:] = f[:, :, None, None] * _light_by_band(shade, light)
    # The uppermost node's light made the upper plateau.
    board *= (around.above_colour / above / board[:, -1].sum(axis=2))[:, None, :, None]
    return shade


def _light_by_band(shade: Shading, light: Paths) -> Array:
    """Share of the room's light that the tube lets through to the board, (V, nodes, 3,
    bands)."""
    variants = np.arange(len(shade.skin_below))[:, None]
    out = (light.weight * (light.end == BACK))[:, None]
    passed = out * shade.transmittance(light, 2.0, variants)
    nodes, sky = len(BOARD_NODES), _sky()
    first = np.searchsorted(light.ray, np.arange(nodes * len(sky)))
    summed = np.add.reduceat(passed, first, axis=1).reshape(len(variants), nodes, -1, 3)
    summed *= sky[:, None]
    banded = summed.reshape(len(variants), nodes, -1, _RAYS_PER_BAND, 3).sum(axis=3)
    return np.asarray(banded.transpose(0, 1, 3, 2))


def light_paths(around: Surroundings, physics: Physics) -> Paths:
    """Light followed back from the board through the tube."""
    view = around.view
    return _light_paths(
        replace(physics, elevation_rad=0.0, lit_through=0.0, skin_below=0.0, skin_above=0.0),
        replace(view, elevation_rad=0.0, u_elevation_rad=0.0, distance_m=1.0, px_per_m=1.0),
        around.half_width,
        around.below.opaque_mirror,
    )


@lru_cache(maxsize=32)
def _light_paths(physics: Physics, view: TubeView, half_width: float, mirror: bool) -> Paths:
    """The same for what it depends on, which the levels of one instrument share."""
    inclination = _room_inclinations()
    scene = scene_on_axis(physics, view, half_width, mirror)
    return trace_back(
        scene,
        view.axis_to_board_m / scene.surface.bore_radius_m,
        np.repeat(BOARD_NODES, len(inclination)),
        np.tile(inclination, len(BOARD_NODES)),
    )


@cache
def _sky() -> Array:
    """Share of each inclination in the light: an evenly bright room over a floor half as
    bright as the ceiling (common practice, no source)."""
    inclination = _room_inclinations()
    width = np.repeat(np.diff(LIGHT_EDGES), _RAYS_PER_BAND)
    sky = width * np.cos(inclination) * (0.75 + 0.25 * np.sin(inclination))
    return np.asarray(sky / sky.sum())


@cache
def _room_inclinations() -> Array:
    part = (np.arange(_RAYS_PER_BAND) + 0.5) / _RAYS_PER_BAND
    return np.asarray((LIGHT_EDGES[:-1, None] + np.diff(LIGHT_EDGES)[:, None] * part).ravel())
