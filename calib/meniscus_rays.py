"""Lines of sight along the axis: where they are laid, and how they run in each scene.

They lie dense where neighbours see different things: at the rims, at the limits of total
reflection, and where lines on the board pass by fast.

Lengths are in bore radii.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus_factors import harmonics
from limbsight.calib.meniscus_light import Shading
from limbsight.calib.meniscus_optics import BACK, COLUMN, Paths, Scene, Tubes, trace
from limbsight.calib.meniscus_scene import height_on_board
from limbsight.calib.meniscus_shape import meniscus_surface
from limbsight.calib.meniscus_surroundings import Physics, Surroundings

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_RAYS_WITHIN, _RAYS_BESIDE = 72, 10
"""Between the rims, which are 20 to 60 px apart, and beside them.  With 44 a dome that shows a
lamp was fitted 2.3 px off, with 64 and more within 0.05 (the tests of ``meniscus_fit``)."""
_RAYS_PER_BREAK = 8
"""Between two neighbours that differ: edges are then placed to a few thousandths of a bore."""
_REFINE_ABOVE = 0.06
"""Change of brightness between neighbours, as a part of the board, that gets more rays."""

_RAYS_PER_PERIOD = 5
"""Of the shortest wave, beside the meniscus."""
_WIDER = 1.5
"""Rays that meet the board so many times farther apart than they would beside the meniscus get
more between them: there it shows the lines pressed together, and fits whose rays are laid anew
scattered by 0.3 of their uncertainty, 0.1 since (18 fits beside lines)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rays:
    """Rays sorted by scene and height: where each scene's begin (S + 1,), apparent heights
    (N,), and all their paths, in the same order."""

    bounds: Index
    height: Array
    paths: Paths


def rays_of(around: Surroundings, base: Physics, scenes: list[Scene], shade: Shading) -> Rays:
    """A coarse bundle for each scene, finer where neighbours differ much: rims, limits of
    total reflection."""
    coarse = _coarse_heights(around, base)
    count = len(coarse)
    scene = np.repeat(np.arange(len(scenes)), count)
    height = np.tile(coarse, len(scenes))
    tubes = Tubes(scenes)
    paths = trace(tubes, scene, height)
    rough = _brightness(paths, shade)
    if harmonics(around.view):
        rough = np.column_stack([rough, _waves_passed(around, scenes, scene, paths)])
    rough = rough.reshape(len(scenes), count, -1)
    where, left = np.nonzero(np.abs(np.diff(rough, axis=1)).max(axis=2) > _REFINE_ABOVE)
    part = (np.arange(_RAYS_PER_BREAK) + 1.0) / (_RAYS_PER_BREAK + 1.0)
    more = (coarse[left][:, None] + part * np.diff(coarse)[left][:, None]).ravel()
    if len(more):
        of_more = np.repeat(where, _RAYS_PER_BREAK)
        fine = trace(tubes, of_more, more)
        scene, height = np.concatenate([scene, of_more]), np.concatenate([height, more])
        order = np.lexsort((height, scene))
        scene, height, paths = scene[order], height[order], _merged(paths, fine, order)
    return Rays(
        bounds=np.searchsorted(scene, np.arange(len(scenes) + 1)), height=height, paths=paths
    )


def _coarse_heights(around: Surroundings, base: Physics) -> Array:
    """Dense between the rims as seen, with a margin for the variants; sparse beside."""
    surface = meniscus_surface(
        base.bore_radius_m, base.capillary_length_m, base.contact_angle_rad
    )
    wall = surface.wall_height_m / base.bore_radius_m
    rim = 1.05 * abs(np.tan(base.elevation_rad)) + 0.12
    low, high = min(0.0, 1.25 * wall) - rim, max(0.0, 1.25 * wall) + rim
    bottom, top = min(around.reach[0], low - 0.1), max(around.reach[1], high + 0.1)
    waves = harmonics(around.view)
    per_bore = (
        waves * _RAYS_PER_PERIOD * base.bore_radius_m / max(around.view.line_pitch_m, 1e-9)
    )

    def count(least: int, length: float) -> int:
        return max(least, int(np.ceil(per_bore * length)))

    heights = [
        np.linspace(bottom, low, count(_RAYS_BESIDE, low - bottom), endpoint=False),
        np.linspace(low, high, count(_RAYS_WITHIN, high - low), endpoint=False),
        np.linspace(high, top, count(_RAYS_BESIDE, top - high)),
    ]
    # Scenes are in half widths of their section.
    return np.asarray(np.concatenate(heights) / around.section)


def _brightness(paths: Paths, shade: Shading) -> Array:
    """A rough picture that tells where neighbouring rays differ, (N, 5)."""
    back = paths.weight * (paths.end == BACK)
    seen = np.empty((len(back), 5))
    seen[:, :3] = shade.transmittance(paths, 2.0, np.zeros(1, dtype=np.int64))
    seen[:, :3] *= back[:, None]
    seen[:, 3] = paths.weight * (paths.end == COLUMN)
    seen[:, 4] = 0.3 * paths.exit_sine * back
    return summed_over_paths(paths.ray, seen)


def _waves_passed(
    around: Surroundings, scenes: list[Scene], scene: Index, paths: Paths
) -> Array:
    """How far up the board each ray sees, (N,), in such a unit that neighbours as far apart as
    waves bear differ by ``_REFINE_ABOVE``; ``scene`` is that of each ray."""
    view = around.view
    period = view.line_pitch_m / view.bore_radius_m / harmonics(view)
    farthest = _WIDER * period / _RAYS_PER_PERIOD
    height = height_on_board(around, scenes, scene[paths.ray], paths)
    back = paths.weight * (paths.end == BACK)
    return summed_over_paths(paths.ray, _REFINE_ABOVE / farthest * back * height)


def _merged(one: Paths, other: Paths, order: Index) -> Paths:
    """Both bundles' paths, ``order`` naming the rays of the first, then of the second."""
    anew = np.empty(len(order), dtype=np.int64)
    anew[order] = np.arange(len(order))
    count = len(order) - 1 - int(other.ray[-1])
    ray = anew[np.concatenate([one.ray, other.ray + count])]
    path = np.argsort(ray, kind="stable")
    parts = {
        name: np.concatenate([getattr(one, name), getattr(other, name)])[path]
        for name in Paths.__slots__
        if name != "ray"
    }
    return Paths(ray=ray[path], **parts)


def summed_over_paths(ray: Index, value: Array) -> Array:
    """Sum over the paths of each ray, which come in order; every ray has at least one."""
    bounds = np.searchsorted(ray, np.arange(int(ray[-1]) + 2))
    first, paths = bounds[:-1], np.diff(bounds)
    out = value.take(first, axis=0)
    for k in range(1, int(paths.max())):
        more = np.flatnonzero(paths > k)
        out[more] += value.take(first[more] + k, axis=0)
    return out
