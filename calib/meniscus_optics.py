"""Where each line of sight through a meniscus ends, and through what it has gone.

A ray is followed from the camera into the tube: Snell's law at the outer wall, the bore and
the meniscus, Fresnel's equations for unpolarised light at the meniscus and on leaving the
wall, total reflection where they demand it (M. Born and E. Wolf, *Principles of Optics*,
section 1.5).  Three dimensions; a ray in the plane of axis and camera stays in it.

Along a round tube the axial direction cosine times the refractive index, and the moment
about the axis times it, are kept by every cylindrical surface.  So a ray inside a fluid of
index ``n`` leaves the tube only if ``n |d_y| < 1``, and then at an inclination whose sine
is ``n d_y``; otherwise wall after wall reflects it totally and what it shows is dark.  That
is the black band under the front rim of a wetting liquid: rays which the front half of the
meniscus, struck from inside the liquid, throws down the column.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus_shape import Surface

Array = NDArray[np.float64]
Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

BACK, FRONT, TRAPPED, COLUMN = 0, 1, 2, 3
"""How a path ends: out by the back wall, by the front wall, never, on the opaque column."""

MIRROR_REFLECTANCE = 0.75
"""Mercury against air or glass, visible light: 0.7 to 0.8 over angle and colour (from
memory, handbook tables of mercury's optical constants)."""

_MARCH_POINTS = 20
_SURFACE_TOLERANCE = 2e-5
"""In bore radii: above the error of linear interpolation between the surface's nodes, so
that a ray just reflected at grazing incidence does not strike the same facet again."""
_EVENTS = 7
_FAINTEST_BRANCH = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """One tube, meniscus and camera; lengths in metres, angles in radians."""

    surface: Surface
    outer_radius_m: float
    elevation_rad: float
    distance_m: float
    glass_index: float
    below_index: float
    above_index: float
    below_is_mirror: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Paths:
    """Ends of all paths of a bundle of rays; a ray that splits has several.

    Attributes
    ----------
    ray : (P,) array of int
        To which ray a path belongs.
    end : (P,) array of int
        BACK, FRONT, TRAPPED or COLUMN.
    weight : (P,) array
        Share of the ray's light that comes along the path.
    below_m, above_m : (P,) array
        Length run in the lower and the upper fluid.
    below_passes, above_passes : (P,) array
        How often the path went through the lower and the upper fluid; coming in counts a
        half and going out a half.
    exit_sine : (P,) array
        Sine of the inclination outside the tube, upward positive, along the ray as followed
        from the camera.
    exit_m : (P,) array
        Height at which the path meets the wall of the bore for the last time.
    mirrored : (P,) array of bool
        The path touched the opaque mirror.
    """

    ray: Index
    end: Index
    weight: Array
    below_m: Array
    above_m: Array
    below_passes: Array
    above_passes: Array
    exit_sine: Array
    exit_m: Array
    mirrored: Mask


@dataclass(slots=True)
class _Rays:
    """Rays under way: all arrays of one length."""

    ray: Index
    scene: Index
    position: Array  # (3, N): x, y, s
    direction: Array  # (3, N)
    in_below: Mask
    weight: Array
    below: Array
    above: Array
    below_passes: Array
    above_passes: Array
    mirrored: Mask

    def take(self, which: Mask) -> _Rays:
        return _Rays(
            self.ray[which],
            self.scene[which],
            self.position[:, which],
            self.direction[:, which],
            self.in_below[which],
            self.weight[which],
            self.below[which],
            self.above[which],
            self.below_passes[which],
            self.above_passes[which],
            self.mirrored[which],
        )


class _Bundle:
    """Constants of several scenes as arrays, one value per scene, and the surfaces' tables."""

    def __init__(self, scenes: list[Scene]) -> None:
        self.bore = np.array([s.surface.bore_radius_m for s in scenes])
        self.outer = np.array([s.outer_radius_m for s in scenes])
        self.elevation = np.array([s.elevation_rad for s in scenes])
        self.distance = np.array([s.distance_m for s in scenes])
        self.glass = np.array([s.glass_index for s in scenes])
        self.below = np.array([s.below_index for s in scenes])
        self.above = np.array([s.above_index for s in scenes])
        self.mirror = np.array([s.below_is_mirror for s in scenes])
        self.wall_height = np.array([s.surface.wall_height_m for s in scenes])
        self.nodes = len(scenes[0].surface.height_m)
        self.height = np.concatenate([s.surface.height_m for s in scenes])
        self.slope = np.concatenate([s.surface.slope_rad for s in scenes])

    def _lookup(self, table: Array, scene: Index, x: Array, s: Array) -> Array:
        rho = np.sqrt(x * x + s * s) / self.bore[scene]
        w = np.sqrt(np.maximum(1.0 - rho, 0.0)) * (self.nodes - 1)
        left = np.minimum(w.astype(np.int64), self.nodes - 2)
        part = w - left
        left += scene * self.nodes
        return table[left] * (1.0 - part) + table[left + 1] * part

    def surface_height(self, scene: Index, x: Array, s: Array) -> Array:
        return self._lookup(self.height, scene, x, s)

    def surface_normal(self, scene: Index, x: Array, s: Array) -> Array:
        """Unit normal pointing up, (3, N)."""
        slope = self._lookup(self.slope, scene, x, s)
        rho = np.maximum(np.hypot(x, s), 1e-15)
        return np.stack([-np.sin(slope) * x / rho, np.cos(slope), -np.sin(slope) * s / rho])


def _refract(direction: Array, normal: Array, ratio: Array) -> tuple[Array, Array, Array]:
    """Snell and Fresnel; ``ratio`` = n before / n behind.

    Returns refracted direction (3, N), reflected direction (3, N) and reflectance (N,)
    (1 where reflected totally).
    """
    along = np.einsum("in,in->n", direction, normal)
    normal = np.where(along > 0.0, -normal, normal)
    cosine = np.abs(along)
    behind_squared = 1.0 - ratio**2 * (1.0 - cosine**2)
    behind = np.sqrt(np.maximum(behind_squared, 0.0))
    refracted = ratio * direction + (ratio * cosine - behind) * normal
    reflected = direction + 2.0 * cosine * normal
    s_wave = (ratio * cosine - behind) / np.maximum(ratio * cosine + behind, 1e-12)
    p_wave = (cosine - ratio * behind) / np.maximum(cosine + ratio * behind, 1e-12)
    reflectance = np.where(behind_squared <= 0.0, 1.0, 0.5 * (s_wave**2 + p_wave**2))
    return refracted, reflected, np.minimum(reflectance, 1.0)


def _to_cylinder(position: Array, direction: Array, radius: Array, inward: bool) -> Array:
    """Path length to the near (inward) or far crossing with a cylinder; inf for a miss."""
    a = direction[0] ** 2 + direction[2] ** 2
    b = position[0] * direction[0] + position[2] * direction[2]
    c = position[0] ** 2 + position[2] ** 2 - radius**2
    root = np.sqrt(np.maximum(b * b - a * c, 0.0))
    a = np.maximum(a, 1e-18)
    return np.asarray((-b - root) / a if inward else (-b + root) / a)


def _from_camera(
    bundle: _Bundle, scene: Index, height: Array, lateral: Array
) -> tuple[Array, Array]:
    """Origin and direction of lines of sight, (3, N) each."""
    elevation, distance = bundle.elevation[scene], bundle.distance[scene]
    camera = distance * np.stack(
        [np.zeros_like(elevation), np.sin(elevation), np.cos(elevation)]
    )
    target = np.stack([lateral, height, np.zeros_like(height)])
    direction = target - camera
    return camera, direction / np.linalg.norm(direction, axis=0)


def _enter(bundle: _Bundle, scene: Index, position: Array, direction: Array) -> _Rays:
    """From outside to the inner face of the bore."""
    for radius, ratio in (
        (bundle.outer[scene], 1.0 / bundle.glass[scene]),
        (bundle.bore[scene], None),
    ):
        position = position + direction * _to_cylinder(position, direction, radius, True)
        normal = position * np.array([[1.0], [0.0], [1.0]]) / radius
        if ratio is None:
            in_below = position[1] < bundle.wall_height[scene]
            inside = np.where(in_below, bundle.below[scene], bundle.above[scene])
            ratio = bundle.glass[scene] / inside
        direction = _refract(direction, normal, ratio)[0]
        direction /= np.linalg.norm(direction, axis=0)
    zero = np.zeros(len(scene))
    return _Rays(
        np.arange(len(scene)),
        scene,
        position,
        direction,
        in_below,
        zero + 1.0,
        zero.copy(),
        zero.copy(),
        np.where(in_below, 0.5, 0.0),
        np.where(in_below, 0.0, 0.5),
        np.zeros(len(scene), dtype=bool),
    )


def _to_surface(bundle: _Bundle, rays: _Rays, limit: Array) -> tuple[Array, Mask]:
    """Path length to the first crossing of the meniscus before ``limit``; and which cross."""
    bore = bundle.bore[rays.scene]
    wall = bundle.wall_height[rays.scene]
    y, dy = rays.position[1], rays.direction[1]
    steady = np.where(np.abs(dy) < 1e-9, 1e-9, dy)
    margin = 1e-6 * bore
    one = (np.minimum(wall, 0.0) - margin - y) / steady
    two = (np.maximum(wall, 0.0) + margin - y) / steady
    start = np.maximum(np.minimum(one, two), 1e-5 * bore)
    stop = np.minimum(np.maximum(one, two), limit)
    possible = stop > start
    length = np.zeros_like(limit)
    hit = np.zeros(len(limit), dtype=bool)
    if not possible.any():
        return length, hit
    some = np.flatnonzero(possible)
    scene = rays.scene[some]
    position, direction = rays.position[:, some], rays.direction[:, some]
    own_side = np.where(rays.in_below[some], -1.0, 1.0)

    def beyond(t: Array) -> Array:
        """Negative once on the other side."""
        where = position[:, None, :] + direction[:, None, :] * t
        every = np.broadcast_to(scene, t.shape)
        surface = bundle.surface_height(every, where[0], where[2])
        return np.asarray((where[1] - surface) * own_side)

    # Cosine spacing: the surface turns fastest at the walls.
    even = 0.5 - 0.5 * np.cos(np.linspace(0.0, np.pi, _MARCH_POINTS))
    t = start[some] + (stop[some] - start[some]) * even[:, None]
    gap = beyond(t)
    crossed = gap < -_SURFACE_TOLERANCE * bore[some]
    crosses = crossed.any(axis=0)
    first = np.maximum(crossed.argmax(axis=0), 1)
    column = np.arange(len(some))
    before, after = t[first - 1, column], t[first, column]
    gap_before, gap_after = gap[first - 1, column], gap[first, column]
    at_once = gap_before < 0.0
    gap_before = np.where(at_once, 0.0, gap_before)
    for _ in range(3):
        middle = before + (after - before) * gap_before / np.maximum(
            gap_before - gap_after, 1e-18
        )
        gap_middle = beyond(middle[None])[0]
        over = gap_middle < 0.0
        before, gap_before = (
            np.where(over, before, middle),
            np.where(over, gap_before, np.maximum(gap_middle, 0.0)),
        )
        after, gap_after = np.where(over, middle, after), np.where(over, gap_middle, gap_after)
    middle = before + (after - before) * gap_before / np.maximum(gap_before - gap_after, 1e-18)
    length[some] = middle
    hit[some] = crosses
    return length, hit


def _wall_transmittance(sine: Array, glass: Array) -> Array:
    """Glass to air at inclination sine ``sine`` outside, over the same square on."""
    outside = np.sqrt(np.maximum(1.0 - sine**2, 0.0))
    inside = np.sqrt(np.maximum(1.0 - (sine / glass) ** 2, 0.0))
    s_wave = (outside - glass * inside) / (outside + glass * inside)
    p_wave = (inside - glass * outside) / (inside + glass * outside)
    straight = ((glass - 1.0) / (glass + 1.0)) ** 2
    return np.asarray((1.0 - 0.5 * (s_wave**2 + p_wave**2)) / (1.0 - straight))


class _Ends:
    def __init__(self) -> None:
        self.parts: list[tuple[NDArray[np.float64] | Index | Mask, ...]] = []

    def add(self, rays: _Rays, end: int | Index, weight: Array, sine: Array) -> None:
        ends = np.broadcast_to(np.asarray(end, dtype=np.int64), rays.ray.shape)
        self.parts.append(
            (
                rays.ray,
                ends,
                weight,
                rays.below,
                rays.above,
                rays.below_passes + np.where(rays.in_below, 0.5, 0.0),
                rays.above_passes + np.where(rays.in_below, 0.0, 0.5),
                sine,
                rays.position[1],
                rays.mirrored,
            )
        )

    def paths(self) -> Paths:
        ray, end, weight, below, above, below_passes, above_passes, sine, height, mirrored = (
            np.concatenate(column) for column in zip(*self.parts, strict=True)
        )
        return Paths(
            ray=ray,
            end=end,
            weight=weight,
            below_m=below,
            above_m=above,
            below_passes=below_passes,
            above_passes=above_passes,
            exit_sine=sine,
            exit_m=height,
            mirrored=mirrored,
        )


def trace(scenes: list[Scene], scene: Index, height_m: Array, lateral_m: Array) -> Paths:
    """Follow lines of sight through tubes with a meniscus.

    Parameters
    ----------
    scenes
        The tubes; all surfaces with the same number of nodes.
    scene : (N,) array of int
        Which of them a ray belongs to.
    height_m, lateral_m : (N,) arrays
        Apparent height above the apex, and apparent distance to the right of the axis.

    Returns
    -------
    Paths
        Refracted and reflected shares followed until less than 1 % is left.
    """
    bundle = _Bundle(scenes)
    return _follow(bundle, scene, *_from_camera(bundle, scene, height_m, lateral_m))


def trace_back(scene: Scene, board_m: float, height_m: Array, inclination_rad: Array) -> Paths:
    """Follow light backward from points of the board straight behind the axis.

    Parameters
    ----------
    scene
        The tube.
    board_m
        Distance from the axis to the board.
    height_m, inclination_rad : (N,) arrays
        Point on the board, above the apex; direction from there toward the room, upward
        positive.  ``BACK`` then means out into the room.
    """
    zero = np.zeros_like(height_m)
    origin = np.stack([zero, height_m, zero + max(board_m, 1.001 * scene.outer_radius_m)])
    direction = np.stack([zero, np.sin(inclination_rad), -np.cos(inclination_rad)])
    return _follow(_Bundle([scene]), np.zeros(len(zero), dtype=np.int64), origin, direction)


def _follow(bundle: _Bundle, scene: Index, origin: Array, direction: Array) -> Paths:
    rays = _enter(bundle, scene, origin, direction)
    ends = _Ends()
    column = bundle.mirror[rays.scene] & rays.in_below
    if column.any():
        stopped = rays.take(column)
        ends.add(stopped, COLUMN, stopped.weight, np.zeros(len(stopped.ray)))
        rays = rays.take(~column)
    for _ in range(_EVENTS):
        if not len(rays.ray):
            break
        rays = _advance(bundle, rays, ends)
    if len(rays.ray):
        ends.add(rays, TRAPPED, rays.weight, np.zeros(len(rays.ray)))
    return ends.paths()


def _advance(bundle: _Bundle, rays: _Rays, ends: _Ends) -> _Rays:
    """One event for every ray: the wall of the bore, or the meniscus."""
    to_wall = _to_cylinder(rays.position, rays.direction, bundle.bore[rays.scene], False)
    to_wall = np.minimum(to_wall, 1e3 * bundle.bore[rays.scene])
    to_surface, hits = _to_surface(bundle, rays, to_wall)
    length = np.where(hits, to_surface, to_wall)
    rays.position = rays.position + rays.direction * length
    rays.below = rays.below + np.where(rays.in_below, length, 0.0)
    rays.above = rays.above + np.where(rays.in_below, 0.0, length)
    onward = _at_wall(bundle, rays.take(~hits), ends)
    return _joined([onward, *_at_surface(bundle, rays.take(hits))])


def _at_wall(bundle: _Bundle, rays: _Rays, ends: _Ends) -> _Rays:
    """Leave the tube, stay trapped for good, or come back off the wall."""
    scene = rays.scene
    index = np.where(rays.in_below, bundle.below[scene], bundle.above[scene])
    sine = index * rays.direction[1]
    moment = index * (
        rays.position[0] * rays.direction[2] - rays.position[2] * rays.direction[0]
    )
    free = np.sqrt(np.maximum(1.0 - sine**2, 0.0))
    leaves = (np.abs(sine) < 1.0) & (np.abs(moment) < bundle.outer[scene] * free)
    out = rays.take(leaves)
    if len(out.ray):
        passed = _wall_transmittance(sine[leaves], bundle.glass[out.scene])
        side = np.where(out.direction[2] < 0.0, BACK, FRONT)
        ends.add(out, side, out.weight * passed, sine[leaves])
    kept = rays.take(~leaves)
    away = np.where(kept.in_below, kept.direction[1] < 0.0, kept.direction[1] > 0.0)
    lost = kept.take(away)
    ends.add(lost, TRAPPED, lost.weight, np.sign(lost.direction[1]))
    kept = kept.take(~away)
    normal = kept.position * np.array([[1.0], [0.0], [1.0]]) / bundle.bore[kept.scene]
    across = np.einsum("in,in->n", kept.direction, normal)
    kept.direction = kept.direction - 2.0 * across * normal
    return kept


def _at_surface(bundle: _Bundle, rays: _Rays) -> list[_Rays]:
    """Split into what goes through the meniscus and what it reflects."""
    if not len(rays.ray):
        return []
    scene = rays.scene
    normal = bundle.surface_normal(scene, rays.position[0], rays.position[2])
    here = np.where(rays.in_below, bundle.below[scene], bundle.above[scene])
    there = np.where(rays.in_below, bundle.above[scene], bundle.below[scene])
    refracted, reflected, reflectance = _refract(rays.direction, normal, here / there)
    mirror = bundle.mirror[scene]
    share = np.where(mirror, MIRROR_REFLECTANCE, reflectance)
    back = replace(
        rays,
        direction=reflected,
        weight=rays.weight * share,
        mirrored=rays.mirrored | mirror,
    )
    through = replace(
        rays,
        direction=refracted,
        weight=np.where(mirror, 0.0, rays.weight * (1.0 - share)),
        in_below=~rays.in_below,
        below_passes=rays.below_passes + 0.5,
        above_passes=rays.above_passes + 0.5,
    )
    return [branch.take(branch.weight > _FAINTEST_BRANCH) for branch in (back, through)]


def _joined(parts: list[_Rays]) -> _Rays:
    return _Rays(
        np.concatenate([p.ray for p in parts]),
        np.concatenate([p.scene for p in parts]),
        np.concatenate([p.position for p in parts], axis=1),
        np.concatenate([p.direction for p in parts], axis=1),
        np.concatenate([p.in_below for p in parts]),
        np.concatenate([p.weight for p in parts]),
        np.concatenate([p.below for p in parts]),
        np.concatenate([p.above for p in parts]),
        np.concatenate([p.below_passes for p in parts]),
        np.concatenate([p.above_passes for p in parts]),
        np.concatenate([p.mirrored for p in parts]),
    )
