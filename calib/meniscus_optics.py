"""Where each line of sight through a meniscus ends, and through what it has gone.

A ray is followed from the camera into the tube: Snell's law at the outer wall, the bore and
the meniscus, Fresnel's equations for unpolarised light at the meniscus and on leaving the
wall, total reflection where they demand it (M. Born and E. Wolf, *Principles of Optics*,
section 1.5).  The plane through axis and camera is one of symmetry, so rays near the axis
of the picture stay in it or, at a small distance to the side, beside it.

Along the tube the direction cosine times the refractive index is kept by every upright
wall.  So a ray inside a fluid of index ``n`` leaves the tube only if ``n |sin i| < 1``, and
then at an inclination whose sine is ``n sin i``; otherwise wall after wall reflects it
totally and what it shows is dark.  That is the black band under the front rim of a wetting
liquid: rays which the front half of the meniscus, struck from inside the liquid, throws
down the column.

All lengths in here are in bore radii: ``y`` up from the apex, ``s`` from the axis toward
where the ray comes from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus_shape import Surface

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_Ends = list[tuple[Index, int, Array]]
"""Parts of the outcome: numbers of the rays, how they end, their table."""

BACK, FRONT, TRAPPED, COLUMN = 0, 1, 2, 3
"""How a path ends: out by the back wall, by the front wall, never, on the opaque column."""
_OUT = -1
"""Out by a wall whose reflection is still to be reckoned."""

MIRROR_REFLECTANCE = 0.75
"""Mercury against air or glass, visible light: 0.7 to 0.8 over angle and colour (from
memory, handbook tables of mercury's optical constants)."""

GAS_INDEX = 1.1
"""Gases are below 1.01, liquids of a manometer above 1.3."""
_EVENTS = 4
_FAINTEST_BRANCH = 0.05
_HALF_NODES = 32
_NODES = np.sin(0.5 * np.pi * np.linspace(-1.0, 1.0, 2 * _HALF_NODES + 1))
"""Where the surface is tabulated: close together at the walls, where it turns fastest."""
_NODES_AND_ONE = np.stack([_NODES, np.ones_like(_NODES)])

_SURFACE_TOLERANCE = 3e-4
"""Above the error of straight lines between the nodes, so that a ray just reflected at
grazing incidence does not strike the same facet again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """One tube, meniscus and camera.

    Attributes
    ----------
    surface
        The meniscus; lengths below are in its bore's radii.
    outer_radius, distance
        Of the tube; from the axis to the camera.
    lateral
        Apparent distance of the plane of rays from the axis, within a band about it.
    elevation_rad
        Camera above the level.
    glass_index, below_index, above_index
        Refractive indices.
    below_is_mirror
        The lower fluid is opaque and shines.
    off_axis
        How far off the axis the section is that ``surface`` shows, in half its width.
    """

    surface: Surface
    outer_radius: float
    distance: float
    lateral: float
    elevation_rad: float
    glass_index: float
    below_index: float
    above_index: float
    below_is_mirror: bool
    off_axis: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Paths:
    """Ends of all paths of a bundle of rays, in their order; a ray that splits has several.

    Attributes
    ----------
    ray : (P,) array of int
        To which ray a path belongs.
    end : (P,) array of int
        BACK, FRONT, TRAPPED or COLUMN.
    weight : (P,) array
        Share of the ray's light that comes along the path.
    below, above : (P,) array
        Length run in the lower and the upper fluid, in bore radii.
    below_walls, above_walls : (P,) array
        How often the path went through the wall where it bounds the lower and the upper
        fluid, over two: 1 for a path straight through.
    exit_sine : (P,) array
        Sine of the inclination outside the tube, upward positive, along the ray as followed
        from the camera.
    exit_height : (P,) array
        Where the path meets the wall of the bore for the last time, in bore radii.
    mirrored : (P,) array
        1 where the path touched the opaque mirror, else 0.
    """

    ray: Index
    end: Index
    weight: Array
    below: Array
    above: Array
    below_walls: Array
    above_walls: Array
    exit_sine: Array
    exit_height: Array
    mirrored: Array


# Rows of the table of rays under way.
_Y, _S, _DY, _DS, _SIDE, _WEIGHT, _LOW, _UP, _LOW_N, _UP_N, _MIRRORED, _SINE = range(12)


class Tubes:
    """Constants of several scenes with the same kinds of fluids, one value per scene, and the
    surfaces' tables.

    What depends on the side from which a surface is seen has a row for each scene from above,
    then one for each from below.
    """

    def __init__(self, scenes: list[Scene]) -> None:
        elevation = np.array([s.elevation_rad for s in scenes])
        distance = np.array([s.distance for s in scenes])
        self.away, self.up = distance * np.cos(elevation), distance * np.sin(elevation)
        self.outer = np.array([s.outer_radius for s in scenes])
        self.glass = np.array([s.glass_index for s in scenes])
        self.mirror = scenes[0].below_is_mirror
        below = np.array([s.below_index for s in scenes])
        above = np.array([s.above_index for s in scenes])
        self.index = np.concatenate([above, below])
        # Over that of what lies beyond the surface.
        self.ratio = np.concatenate([above / below, below / above])
        self.height, self.slope = _tabulated(scenes)
        off_axis = np.array([[s.off_axis] for s in scenes])
        # How much of the slope lies in the plane of the rays.
        self.in_plane = np.abs(_NODES) / np.hypot(_NODES, off_axis) if off_axis.any() else None
        # Seen from above and, upside down, from below; how far it comes toward either side.
        self.signed = np.concatenate([self.height, -self.height])
        self.crest = self.signed.max(axis=1)

    def from_side(self, scene: Index, low: NDArray[np.bool_]) -> Index:
        """Rows of what depends on the side, for rays above and below (``low``)."""
        return scene + len(self.height) * low


def _tabulated(scenes: list[Scene]) -> tuple[Array, Array]:
    """Height and signed slope on the nodes, (scenes, nodes) each.

    Inside, things seem wider by the index.
    """
    aside = np.array([[s.lateral / s.below_index] for s in scenes]) ** 2
    rho = np.sqrt(_NODES**2 * (1.0 - aside) + aside)
    tables = np.stack([(s.surface.height_m, s.surface.slope_rad) for s in scenes], axis=1)
    last = tables.shape[2] - 1
    w = np.sqrt(np.maximum(1.0 - rho, 0.0)) * last
    left = np.minimum(w.astype(np.int64), last - 1)
    part, of_scene = w - left, np.arange(len(scenes))[:, None]
    before, after = tables[:, of_scene, left], tables[:, of_scene, left + 1]
    height, slope = before + part * (after - before)
    bore = np.array([[s.surface.bore_radius_m] for s in scenes])
    return height / bore, np.sign(_NODES) * slope


def trace(tubes: Tubes, scene: Index, height: Array) -> Paths:
    """Follow lines of sight through tubes with a meniscus.

    Parameters
    ----------
    tubes
        Some scenes.
    scene : (N,) array of int
        Which of them a ray belongs to.
    height : (N,) array
        Apparent height above the apex, in bore radii.

    Returns
    -------
    Paths
        Refracted and reflected shares followed, but for branches of less than 5 %.
    """
    rise = (height - tubes.up[scene]) / tubes.away[scene]
    return _follow(tubes, scene, height - rise * tubes.outer[scene], rise)


def trace_back(scene: Scene, board: float, height: Array, inclination_rad: Array) -> Paths:
    """Follow light backward from points of the board straight behind the axis.

    Parameters
    ----------
    scene
        The tube.
    board
        Distance from the axis to the board, in bore radii.
    height, inclination_rad : (N,) arrays
        Point on the board, above the apex; direction from there toward the room, upward
        positive.  ``BACK`` then means out into the room.
    """
    rise = np.tan(inclination_rad)
    gap = max(board - scene.outer_radius, 0.0)
    return _follow(
        Tubes([scene]), np.zeros(len(height), dtype=np.int64), height + rise * gap, rise
    )


def _follow(bundle: Tubes, scene: Index, at_wall: Array, rise: Array) -> Paths:
    """From the outer wall on; ``rise`` is the ray's climb per length across the tube."""
    glass = bundle.glass[scene]
    sine = rise / np.sqrt(1.0 + rise**2)
    in_glass = sine / glass
    y = at_wall + (bundle.outer[scene] - 1.0) * in_glass / np.sqrt(1.0 - in_glass**2)
    low = y < bundle.height[scene, -1]
    dy = sine / bundle.index[bundle.from_side(scene, low)]
    rays = np.zeros((12, len(scene)))
    rays[_Y], rays[_S], rays[_DY], rays[_DS] = y, 1.0, dy, -np.sqrt(1.0 - dy**2)
    rays[_SIDE], rays[_WEIGHT] = np.where(low, -1.0, 1.0), 1.0
    rays[_LOW_N], rays[_UP_N] = 0.5 * low, 0.5 * ~low

    number = np.arange(len(scene))
    ends: _Ends = []
    if bundle.mirror:
        ends.append((number[low], COLUMN, rays[:, low]))
        number, rays = number[~low], rays[:, ~low]
    for _ in range(_EVENTS):
        if not len(number):
            break
        number, rays = _advance(bundle, number, scene[number], rays, ends)
    if len(number):
        ends.append((number, TRAPPED, rays))
    ray, end, last = _by_both_walls(bundle, scene, ends)
    order = np.argsort(ray, kind="stable")
    ray, end, last = ray[order], end[order], last.take(order, axis=1)
    out_of_low = last[_SIDE] < 0.0
    return Paths(
        ray=ray,
        end=end,
        weight=last[_WEIGHT],
        below=last[_LOW],
        above=last[_UP],
        below_walls=last[_LOW_N] + 0.5 * out_of_low,
        above_walls=last[_UP_N] + 0.5 * ~out_of_low,
        exit_sine=last[_SINE],
        exit_height=last[_Y],
        mirrored=last[_MIRRORED],
    )


def _by_both_walls(bundle: Tubes, scene: Index, ends: _Ends) -> tuple[Index, Index, Array]:
    """All ends, what goes out divided between the wall where it leaves and the other one."""
    ray = np.concatenate([number for number, _, _ in ends])
    end = np.repeat([end for _, end, _ in ends], [len(number) for number, _, _ in ends])
    last = np.concatenate([rays for _, _, rays in ends], axis=1)
    going = (end == _OUT).nonzero()[0]
    out = last.take(going, axis=1)
    where = scene[ray[going]]
    index = bundle.index[bundle.from_side(where, out[_SIDE] < 0.0)]
    thrown_back = _wall_reflectance(out[_SINE], bundle.glass[where], index < GAS_INDEX)
    # What the wall throws back leaves by the other side, or by this one in the end:
    # 1 + R^2 + ... here, R + R^3 + ... there.
    other = thrown_back / (1.0 + thrown_back)
    end[going] = np.where(out[_DS] < 0.0, BACK, FRONT)
    last[_WEIGHT, going] = out[_WEIGHT] * (1.0 - other)
    out[_WEIGHT] *= other
    twice = (out[_WEIGHT] > _FAINTEST_BRANCH).nonzero()[0]
    if not len(twice):
        return ray, end, last
    far = out.take(twice, axis=1)
    far[_DS] *= -1.0
    low = far[_SIDE] < 0.0
    chord = 2.0 / np.maximum(np.abs(far[_DS]), 1e-3)
    far[_LOW] += chord * low
    far[_UP] += chord * ~low
    far[_LOW_N] += low
    far[_UP_N] += ~low
    far[_Y] += far[_DY] * chord
    return (
        np.concatenate([ray, ray[going[twice]]]),
        np.concatenate([end, np.where(far[_DS] < 0.0, BACK, FRONT)]),
        np.concatenate([last, far], axis=1),
    )


def _advance(
    bundle: Tubes, number: Index, scene: Index, rays: Array, ends: _Ends
) -> tuple[Index, Array]:
    """One event for every ray: the wall of the bore, or the meniscus."""
    # The surface is even in s: mirror the rays so that all travel toward larger s.
    onward = np.where(rays[_DS] < 0.0, -1.0, 1.0)
    across = np.maximum(np.abs(rays[_DS]), 1e-6)
    start = rays[_S] * onward
    climb = rays[_DY] / across
    low = rays[_SIDE] < 0.0
    seen_from = bundle.from_side(scene, low)
    struck, after, part = _struck(bundle, seen_from, rays, start, climb)
    stop = np.ones(len(number))
    stop[struck] = np.maximum(
        _NODES[after - 1] + part * (_NODES[after] - _NODES[after - 1]), start[struck]
    )
    moved = stop - start
    length = moved / across
    rays[_Y] += climb * moved
    rays[_S] = stop * onward
    rays[_LOW] += length * low
    rays[_UP] += length * ~low

    if not len(struck):
        return _at_wall(number, bundle.index[seen_from], rays, ends)
    through = np.ones(len(number), dtype=bool)
    through[struck] = False
    free = through.nonzero()[0]
    back, kept = _at_wall(
        number[free], bundle.index[seen_from[free]], rays.take(free, axis=1), ends
    )
    where = scene[struck]
    slope = bundle.slope[where, after - 1] * (1.0 - part) + bundle.slope[where, after] * part
    ratio = None if bundle.mirror else bundle.ratio[seen_from[struck]]
    in_plane = None
    if bundle.in_plane is not None:
        at = bundle.in_plane[where, after - 1]
        in_plane = at + part * (bundle.in_plane[where, after] - at)
    slope *= onward[struck]
    parted, split = _at_surface(ratio, rays.take(struck, axis=1), slope, in_plane)
    number = number[struck][parted]
    if not len(back):
        return number, split
    return np.concatenate([back, number]), np.concatenate([kept, split], axis=1)


def _struck(
    bundle: Tubes, seen_from: Index, rays: Array, start: Array, climb: Array
) -> tuple[Index, Index, Array]:
    """Which rays meet the surface, the node behind that point, and how far it is from the
    node before (0) to it (1)."""
    side = rays[_SIDE]
    here = side * rays[_Y]
    signed_climb = side * climb
    lowest = np.minimum(here, here + signed_climb * (1.0 - start))
    near = (lowest < bundle.crest[seen_from]).nonzero()[0]
    start = start[near]
    line = np.empty((len(near), 2))
    line[:, 0] = signed_climb[near]
    line[:, 1] = here[near] - line[:, 0] * start
    # Positive gap: on the wrong side of the surface.
    gap = bundle.signed[seen_from[near]]
    gap -= line @ _NODES_AND_ONE
    beyond = gap > _SURFACE_TOLERANCE
    beyond &= (start + 1e-6)[:, None] < _NODES
    # No ray is before the first node: nothing is beyond there.
    first = beyond.argmax(axis=1)
    hits = first.nonzero()[0]
    after = first[hits]
    gap_before, gap_after = gap[hits, after - 1], gap[hits, after]
    part = gap_before / np.minimum(gap_before - gap_after, -1e-12)
    return near[hits], after, np.minimum(np.maximum(part, 0.0), 1.0)


def _at_wall(number: Index, index: Array, rays: Array, ends: _Ends) -> tuple[Index, Array]:
    """Leave the tube, stay trapped for good, or come back off the wall.

    ``index`` is that of the fluid there.
    """
    rays[_SINE] = index * rays[_DY]
    leaves = np.abs(rays[_SINE]) < 1.0
    if leaves.all():
        ends.append((number, _OUT, rays))
        return number[:0], rays[:, :0]
    out = leaves.nonzero()[0]
    ends.append((number[out], _OUT, rays.take(out, axis=1)))
    away = rays[_SIDE] * rays[_DY] > 0.0
    for_good = (~leaves & away).nonzero()[0]
    ends.append((number[for_good], TRAPPED, rays.take(for_good, axis=1)))
    back = (~leaves & ~away).nonzero()[0]
    kept = rays.take(back, axis=1)
    kept[_DS] *= -1.0
    low = kept[_SIDE] < 0.0
    kept[_LOW_N] += low
    kept[_UP_N] += ~low
    return number[back], kept


def _wall_reflectance(sine: Array, glass: Array, from_gas: NDArray[np.bool_]) -> Array:
    """Share thrown back by the wall beyond what it throws back square on.

    ``sine`` is that of the inclination outside.  A liquid hardly differs from glass; from a
    gas both faces reflect alike.
    """
    outside = np.sqrt(1.0 - sine**2)
    inside = np.sqrt(1.0 - (sine / glass) ** 2)
    s_wave = (outside - glass * inside) / (outside + glass * inside)
    p_wave = (inside - glass * outside) / (inside + glass * outside)
    once = 0.5 * (s_wave**2 + p_wave**2)
    both = np.where(from_gas, 2.0 * once / (1.0 + once), once)
    square = ((glass - 1.0) / (glass + 1.0)) ** 2
    square = np.where(from_gas, 2.0 * square / (1.0 + square), square)
    return np.asarray(np.maximum((both - square) / (1.0 - square), 0.0))


def _at_surface(
    ratio: Array | None, rays: Array, slope: Array, in_plane: Array | None = None
) -> tuple[Index, Array]:
    """Split into what the meniscus reflects and what goes through it; which rays they are.

    ``ratio`` is the index before the surface over that behind it, None for an opaque mirror;
    ``slope`` is that of the surface toward larger ``s``, of which the share ``in_plane`` lies
    in the plane of the rays; what leaves that plane is followed in it.
    """
    side, dy, ds, weight = rays[_SIDE], rays[_DY], rays[_DS], rays[_WEIGHT]
    # Unit normal toward the side that the ray comes from.
    normal_y, normal_s = np.cos(slope) * side, -np.sin(slope) * side
    if in_plane is not None:
        normal_s *= in_plane
    cosine = np.maximum(-(dy * normal_y + ds * normal_s), 0.0)
    if ratio is None:
        back = weight * MIRROR_REFLECTANCE
    else:
        squared = 1.0 - ratio**2 * (1.0 - cosine**2)
        behind = np.sqrt(np.maximum(squared, 0.0))
        before = ratio * cosine
        bent = ratio * behind
        s_wave = (before - behind) / np.maximum(before + behind, 1e-12)
        p_wave = (cosine - bent) / np.maximum(cosine + bent, 1e-12)
        reflectance = np.minimum(0.5 * (s_wave**2 + p_wave**2), 1.0)
        reflectance[squared <= 0.0] = 1.0
        back = weight * reflectance
    turning = (back > _FAINTEST_BRANCH).nonzero()[0]
    turned = rays.take(turning, axis=1)
    turned[_WEIGHT] = back[turning]
    turn = 2.0 * cosine[turning]
    turned[_DY] += turn * normal_y[turning]
    turned[_DS] += turn * normal_s[turning]
    if ratio is None:
        turned[_MIRRORED] = 1.0
        return turning, turned
    through = weight - back
    passing = (through > _FAINTEST_BRANCH).nonzero()[0]
    passed = rays.take(passing, axis=1)
    passed[_WEIGHT] = through[passing]
    bend = before - behind
    passed[_DY] = (ratio * dy + bend * normal_y)[passing]
    passed[_DS] = (ratio * ds + bend * normal_s)[passing]
    passed[_SIDE] *= -1.0
    split = np.concatenate([turned, passed], axis=1)
    if in_plane is not None:
        across = np.sqrt(np.maximum(1.0 - split[_DY] ** 2, 0.0))
        split[_DS] = np.copysign(across, split[_DS])
    return np.concatenate([turning, passing]), split
