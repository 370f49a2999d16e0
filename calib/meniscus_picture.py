"""Brightness along the axis that a traced meniscus would show, as a sum of columns.

The board behind is seen through both fluids: what they take follows from the two plateaus'
colours (Beer and Lambert), and the board itself is lit by light that came past the tube and
by light that came through it, meniscus and all, which the same ray trace run backward gives.
How bright the room is in each direction, how uneven the board, what is to be seen in front,
how dark trapped light is: each of these is one column with a free factor.

Lengths are in bore radii.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from limbsight.calib.meniscus import (
    GLASS_REFRACTIVE_INDEX,
    FluidOptics,
    TubeView,
)
from limbsight.calib.meniscus_optics import (
    BACK,
    COLUMN,
    FRONT,
    GAS_INDEX,
    MIRROR_REFLECTANCE,
    TRAPPED,
    Paths,
    Scene,
    Tubes,
    trace,
    trace_back,
)
from limbsight.calib.meniscus_shape import meniscus_surface

Array = NDArray[np.float64]
Index = NDArray[np.int64]


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictures:
    """Brightness of bundles of rays, picture after picture, each from its lowest ray up.

    Attributes
    ----------
    bounds : (S + 1,) array of int
        Where each picture's rays begin.
    height : (N,) array
        Apparent heights of the rays.  In bore radii as supposed also where a bore is traced
        that differs: its own would stretch all of the picture, and fits in tubes whose bore is
        hardly known follow what the model lacks then (of coloured liquids read without a file
        the 95th percentile of errors was 0.35 mm, not 0.13).
    order : (S,) array of int
        At which place the first picture asked for is found, and so on.
    """

    bounds: Index
    height: Array
    order: Index
    _rays: _Rays
    _terms: _Terms

    def only(self, number: int) -> Picture:
        """One of the pictures, in the order asked for, in all its columns."""
        at = self.order[number]
        rays = slice(int(self.bounds[at]), int(self.bounds[at + 1]))
        return Picture(height=self.height[rays], value=self._terms.of(rays).columns())

    def lit(self, factors: Array) -> Array:
        """Brightness of all rays (N, 3) with factors (3, K) of the columns."""
        return self._terms.lit(factors)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One picture: ``height`` (R,) as in ``Pictures``, ``value`` (R, 3, K) in columns."""

    height: Array
    value: Array


# --- columns and what one may suppose about their factors ----------------------------------

KNOTS = np.array([-3.0, -1.8, -1.0, -0.5, -0.2, 0.1, 0.5, 1.0, 1.8, 3.0])
"""Heights at which the board's brightness is a free factor."""

_U_BOARD, _U_BOARD_STEP = 0.25, 0.2
"""Board's unevenness beyond what the light makes, and its change over one bore radius
(common practice, no source)."""

_LIGHT_EDGES = np.radians([-60.0, -25.0, 0.0, 15.0, 30.0, 50.0, 75.0])
"""Bands of inclination in which the room's brightness is a free factor."""

_U_LIGHT = 0.8
"""Relative: a room may be dark in one band and twice as bright as supposed in another."""

_EXTRAS_REFRACTED = ((0.4, 0.4), (0.0, 0.4), (0.03, 0.1))
"""Prior mean and standard deviation, as parts of the board: the room in front, its change
with the sine of the inclination, trapped light."""

_EXTRAS_MIRRORED = ((0.1, 0.2), (1.0, 0.15), (0.0, 0.15), (1.1, 0.2))
"""Trapped light, the opaque column, its slope, what the dome shows."""

_DOME_KNOTS = np.radians([-30.0, 0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0, 110.0, 140.0, 180.0])
"""Directions in which the dome shows the surroundings: from the board over the zenith to
the room in front."""

_U_DOME = np.array([0.2, 0.2, 0.25, 0.4, 0.5, 0.6, 0.6, 0.8, 1.5, 1.5, 1.5])
_DOME = np.array([0.1, 0.1, 0.15, 0.15, 0.15, 0.05, 0.0, 0.0, 0.5, 0.5, 0.5])
"""What the dome shows beyond a board lit like the one beside it, and a room in front as bright
as the column shows it, over what it would show then: with the apex held where it is, fits to
134 domes in path-traced photographs from two sources find 1.2 up to 45 degrees and 1.1 beyond,
each with a scatter of 0.2.  In front of the zenith are the lamps: 49 domes whose front rim
turns the view that far show 1.6 times as much there, one in four more than twice, with a root
mean square deviation of 1.5."""
_U_DOME_STEP = np.array([0.8] * 7 + [2.8] * 3)
"""Surroundings against expectation, and their change over one radian, by its square root over
less: the board is known, lamps and windows have edges (the same domes, 90 to 110 degrees)."""

_ROOM_IN_FRONT = 0.5
"""Least brightness of the room over that of the board (common practice, no source): lamps may
stand where a dark column does not show them."""

_MIX_KNOTS = np.array([-0.2, 0.2, 0.5, 0.8, 1.1, 1.5])
_U_MIX, _U_MIX_STEP = 0.25, 0.6
"""Between liquids: colour seen through both of them against expectation, by height over
that of the contact line."""

_MOST_HARMONICS = 3
_LEAST_PERIOD_PX = 2.0
"""Shorter waves are not in a picture at all (sampling theorem)."""
_U_LINES = 0.25
"""Amplitude of a comb of lines, as part of the board, in each harmonic: black lines a quarter
of a division wide (common practice, no source) have 0.45, 0.32 and 0.15, their phase and blur
unknown."""
_RAYS_PER_PERIOD = 5
"""Of the shortest wave, beside the meniscus."""
_WIDER = 1.5
"""Rays that meet the board so many times farther apart than they would beside the meniscus get
more between them: there it shows the lines pressed together, and fits whose rays are laid anew
scattered by 0.3 of their uncertainty, 0.1 since (18 fits beside lines)."""

BANDS = len(_LIGHT_EDGES)
"""Columns of light: past the tube, then one for each band."""


def harmonics(view: TubeView) -> int:
    """How many harmonics of the lines behind the tube the picture can hold."""
    if view.line_pitch_m <= 0.0:
        return 0
    return min(_MOST_HARMONICS, int(view.line_pitch_m * view.px_per_m / _LEAST_PERIOD_PX))


def is_uneven(count: int) -> NDArray[np.bool_]:
    """Which of ``count`` columns describe the board's unevenness."""
    out = np.zeros(count, dtype=bool)
    out[BANDS : BANDS + len(KNOTS)] = True
    return out


def factor_priors(around: Surroundings) -> tuple[Array, Array]:
    """Prior means (K,) and precision matrix (K, K) of the factors of one channel."""
    mirror = around.below.opaque_mirror
    u_light = np.array([0.3] + [_U_LIGHT] * (BANDS - 1))
    extras = np.array(_EXTRAS_MIRRORED if mirror else _EXTRAS_REFRACTED)
    mean = np.concatenate([np.ones(BANDS), np.zeros(len(KNOTS)), extras[:, 0]])
    parts = [
        np.diag(u_light**-2),
        _smooth(KNOTS, _U_BOARD, _U_BOARD_STEP),
        np.diag(extras[:, 1] ** -2),
    ]
    if mirror:
        parts.append(_smooth(_DOME_KNOTS, _U_DOME, _U_DOME_STEP))
    elif not is_gas(around.above):
        parts.append(_smooth(_MIX_KNOTS, _U_MIX, _U_MIX_STEP))
    waves = 2 * harmonics(around.view)
    rest = _DOME if mirror else np.zeros(sum(map(len, parts)) - len(mean))
    if waves:
        parts.append(np.eye(waves) / _U_LINES**2)
    mean = np.concatenate([mean, rest, np.zeros(waves)])
    return mean, np.asarray(block_diag(*parts))


def _smooth(knots: Array, u: Array | float, u_step: Array | float) -> Array:
    """Precision of values near zero that change by about ``u_step`` over a unit of ``knots``,
    by its square root over less."""
    away = (np.sqrt(np.diff(knots)) * u_step)[:, None]
    steps = np.diff(np.eye(len(knots)), axis=0) / away
    return np.asarray(np.eye(len(knots)) / np.square(u) + steps.T @ steps)


def is_gas(fluid: FluidOptics) -> bool:
    """Whether a fluid bends light as little as a gas."""
    return fluid.refractive_index < GAS_INDEX


# --- tracing ------------------------------------------------------------------------------

_RAYS_WITHIN, _RAYS_BESIDE = 72, 10
"""Between the rims, which are 20 to 60 px apart, and beside them.  With 44 a dome that shows a
lamp was fitted 2.3 px off, with 64 and more within 0.05 (the tests of ``meniscus_fit``)."""
_RAYS_PER_BREAK = 8
"""Between two neighbours that differ: edges are then placed to a few thousandths of a bore."""
_REFINE_ABOVE = 0.06
"""Change of brightness between neighbours, as a part of the board, that gets more rays."""

_BOARD_NODES = np.array(
    [-3.0, -1.8, -1.1, -0.7, -0.4, -0.2, 0.0, 0.2, 0.4, 0.6, 0.9, 1.4, 2.2]
)
_RAYS_PER_BAND = 2


def pictures(
    around: Surroundings,
    base: Physics,
    others: list[Physics],
    light: Paths | None = None,
    *,
    like: Pictures | None = None,
) -> Pictures:
    """Pictures for ``base`` and for each of ``others``, which differ from it in one thing.

    ``light`` from ``light_paths`` spares tracing the light on the board anew; ``like``, made
    of what differs from these in light and absorption alone, spares all tracing.
    """
    # Variants that differ only in light and absorption share their rays.
    own: list[Physics] = []
    shaded = [base]
    for physics in others:
        (shaded if same_rays(physics, base) else own).append(physics)
    scenes = [_scene(around, physics) for physics in (base, *own)]
    light = light_paths(around, base) if light is None else light
    shade = _shading(around, shaded, light)
    rays = _traced(around, base, scenes, shade) if like is None else like._rays
    seen = _seen(around, scenes, rays, copies=len(shaded) - 1)
    number = {id(physics): k for k, physics in enumerate([base, *own, *shaded[1:]])}
    return Pictures(
        bounds=seen.bounds,
        height=seen.height,
        order=np.array([0] + [number[id(physics)] for physics in others]),
        _rays=rays,
        _terms=_terms(around, shade, seen),
    )


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
    scene = _scene_of(physics, view, half_width, mirror)
    return trace_back(
        scene,
        view.axis_to_board_m / scene.surface.bore_radius_m,
        np.repeat(_BOARD_NODES, len(inclination)),
        np.tile(inclination, len(_BOARD_NODES)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rays:
    """Rays sorted by scene and height: where each scene's begin (S + 1,), apparent heights
    (N,), and all their paths, in the same order."""

    bounds: Index
    height: Array
    paths: Paths


_OF_RAYS = (
    "below_index",
    "above_index",
    "capillary_length_m",
    "contact_angle_rad",
    "bore_radius_m",
    "elevation_rad",
)
"""What of the physics rays depend on; the rest is light and absorption."""


def same_rays(one: Physics, other: Physics) -> bool:
    """Whether these differ in light and absorption alone."""
    return all(getattr(one, name) == getattr(other, name) for name in _OF_RAYS)


def _traced(
    around: Surroundings, base: Physics, scenes: list[Scene], shade: _Shading
) -> _Rays:
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
    return _Rays(
        bounds=np.searchsorted(scene, np.arange(len(scenes) + 1)), height=height, paths=paths
    )


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


def _scene(around: Surroundings, physics: Physics) -> Scene:
    on_axis = _scene_of(physics, around.view, around.half_width, around.below.opaque_mirror)
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


def _scene_of(physics: Physics, view: TubeView, half_width: float, mirror: bool) -> Scene:
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


# --- light --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shading:
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


def _shading(around: Surroundings, variants: list[Physics], light: Paths) -> _Shading:
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
    shade = _Shading(
        skin_below=np.array([physics.skin_below for physics in variants]),
        skin_above=np.array([physics.skin_above for physics in variants]),
        log_below=np.zeros_like(above) if mirror else np.log(once(around.below_colour)),
        log_above=np.log(above),
        board=np.empty((len(variants), len(_BOARD_NODES), 3, BANDS)),
    )
    board = shade.board
    board[..., 0] = 1.0 - f[:, :, None]
    board[..., 1:] = f[:, :, None, None] * _light_by_band(shade, light)
    # The uppermost node's light made the upper plateau.
    board *= (around.above_colour / above / board[:, -1].sum(axis=2))[:, None, :, None]
    return shade


@cache
def _room_inclinations() -> Array:
    part = (np.arange(_RAYS_PER_BAND) + 0.5) / _RAYS_PER_BAND
    return np.asarray(
        (_LIGHT_EDGES[:-1, None] + np.diff(_LIGHT_EDGES)[:, None] * part).ravel()
    )


@cache
def _sky() -> Array:
    """Share of each inclination in the light: an evenly bright room over a floor half as
    bright as the ceiling (common practice, no source)."""
    inclination = _room_inclinations()
    width = np.repeat(np.diff(_LIGHT_EDGES), _RAYS_PER_BAND)
    sky = width * np.cos(inclination) * (0.75 + 0.25 * np.sin(inclination))
    return np.asarray(sky / sky.sum())


def _light_by_band(shade: _Shading, light: Paths) -> Array:
    """Share of the room's light that the tube lets through to the board, (V, nodes, 3,
    bands)."""
    variants = np.arange(len(shade.skin_below))[:, None]
    out = (light.weight * (light.end == BACK))[:, None]
    passed = out * shade.transmittance(light, 2.0, variants)
    nodes, sky = len(_BOARD_NODES), _sky()
    first = np.searchsorted(light.ray, np.arange(nodes * len(sky)))
    summed = np.add.reduceat(passed, first, axis=1).reshape(len(variants), nodes, -1, 3)
    summed *= sky[:, None]
    banded = summed.reshape(len(variants), nodes, -1, _RAYS_PER_BAND, 3).sum(axis=3)
    return np.asarray(banded.transpose(0, 1, 3, 2))


def _summed(ray: Index, value: Array) -> Array:
    """Sum over the paths of each ray, which come in order; every ray has at least one."""
    bounds = np.searchsorted(ray, np.arange(int(ray[-1]) + 2))
    first, paths = bounds[:-1], np.diff(bounds)
    out = value.take(first, axis=0)
    for k in range(1, int(paths.max())):
        more = np.flatnonzero(paths > k)
        out[more] += value.take(first[more] + k, axis=0)
    return out


# --- columns ------------------------------------------------------------------------------


def _brightness(paths: Paths, shade: _Shading) -> Array:
    """A rough picture that tells where neighbouring rays differ, (N, 5)."""
    back = paths.weight * (paths.end == BACK)
    seen = np.empty((len(back), 5))
    seen[:, :3] = shade.transmittance(paths, 2.0, np.zeros(1, dtype=np.int64))
    seen[:, :3] *= back[:, None]
    seen[:, 3] = paths.weight * (paths.end == COLUMN)
    seen[:, 4] = 0.3 * paths.exit_sine * back
    return _summed(paths.ray, seen)


def _waves_passed(
    around: Surroundings, scenes: list[Scene], scene: Index, paths: Paths
) -> Array:
    """How far up the board each ray sees, (N,), in such a unit that neighbours as far apart as
    waves bear differ by ``_REFINE_ABOVE``; ``scene`` is that of each ray."""
    view = around.view
    period = view.line_pitch_m / view.bore_radius_m / harmonics(view)
    farthest = _WIDER * period / _RAYS_PER_PERIOD
    height = _board_height(around, scenes, scene[paths.ray], paths)
    back = paths.weight * (paths.end == BACK)
    return _summed(paths.ray, _REFINE_ABOVE / farthest * back * height)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """What the columns take from the rays' geometry alone.

    Attributes
    ----------
    bounds, height
        As in ``Pictures``.
    paths
        Of all of its rays.
    variant : (P,) array of int
        Which way of shading is meant.
    chord : (P,) array
        Length of a full chord there.
    board_height : (P,) array
        Where a path ends on the board.
    apparent, level : (P,) arrays
        Apparent height, in bore radii and over that of the contact line.
    """

    bounds: Index
    height: Array
    paths: Paths
    variant: Index
    chord: Array
    board_height: Array
    apparent: Array
    level: Array


def _seen(around: Surroundings, scenes: list[Scene], rays: _Rays, copies: int) -> _Seen:
    """The scenes, and the first one again for each other way of shading."""
    paths = rays.paths
    of_path = np.searchsorted(rays.bounds, paths.ray, side="right") - 1
    chord = np.array(
        [2.0 / np.sqrt(1.0 - (np.sin(s.elevation_rad) / s.below_index) ** 2) for s in scenes]
    )[of_path]
    wall = np.array([s.surface.wall_height_m / s.surface.bore_radius_m for s in scenes])
    board_height = _board_height(around, scenes, of_path, paths)
    apparent = rays.height[paths.ray]
    level = apparent / np.maximum(np.abs(wall[of_path]), 0.05)
    bounds, height = rays.bounds, rays.height * around.section
    variant = np.zeros(len(apparent), dtype=np.int64)
    if copies:
        first, rays_first = int(np.searchsorted(paths.ray, bounds[1])), int(bounds[1])
        again = np.concatenate([np.arange(len(apparent)), np.tile(np.arange(first), copies)])
        more = np.repeat(np.arange(copies), first)
        fields = {name: getattr(paths, name)[again] for name in Paths.__slots__}
        fields["ray"][len(apparent) :] += bounds[-1] + rays_first * more
        paths = Paths(**fields)
        chord, board_height = chord[again], board_height[again]
        apparent, level = apparent[again], level[again]
        height = np.concatenate([height, np.tile(height[:rays_first], copies)])
        bounds = np.concatenate([bounds, bounds[-1] + rays_first * np.arange(1, copies + 1)])
        variant = np.concatenate([variant, more + 1])
    return _Seen(
        bounds=bounds,
        height=height,
        paths=paths,
        variant=variant,
        chord=chord,
        board_height=board_height,
        apparent=apparent,
        level=level,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Terms:
    """Brightness along P paths, as a sum of products.

    Attributes
    ----------
    ray : (P,) array of int
        To which ray a path belongs, in order.
    board : (V, nodes, 3, bands) array
        Light on the board.
    variant, left, part : (P,) arrays
        Way of shading; node of the board below the path's end, and how far it is from there.
    of_board : (P, 3) array
        What the light on the board is to be multiplied by.
    products : list of (P, K_t) and (P, 3) arrays
        Columns by height or direction, and what all of them are multiplied by.
    """

    ray: Index
    board: Array
    variant: Index
    left: Index
    part: Array
    of_board: Array
    products: list[tuple[Array, Array]]

    def of(self, rays: slice) -> _Terms:
        """Those of some rays, numbered from zero."""
        first, last = np.searchsorted(self.ray, [rays.start, rays.stop])
        own = slice(int(first), int(last))
        return _Terms(
            ray=self.ray[own] - rays.start,
            board=self.board,
            variant=self.variant[own],
            left=self.left[own],
            part=self.part[own],
            of_board=self.of_board[own],
            products=[(columns[own], by[own]) for columns, by in self.products],
        )

    def columns(self) -> Array:
        """Brightness of each ray in each column and channel, (N, 3, K)."""
        light = self._on_board(self.board) * self.of_board[:, :, None]
        parts = [light] + [c[:, None, :] * by[:, :, None] for c, by in self.products]
        value = np.concatenate(parts, axis=2)
        return _summed(self.ray, value.reshape(len(value), -1)).reshape(-1, *value.shape[1:])

    def lit(self, factors: Array) -> Array:
        """Brightness of each ray with these factors (3, K) of the columns, (N, 3)."""
        light = (self.board * factors[:, :BANDS]).sum(axis=3)
        value = self._on_board(light) * self.of_board
        first = BANDS
        for columns, by in self.products:
            last = first + columns.shape[1]
            value += (columns @ factors[:, first:last].T) * by
            first = last
        return _summed(self.ray, value)

    def _on_board(self, light: Array) -> Array:
        return _at_ends(light, self.variant, self.left, self.part)


def _at_ends(light: Array, variant: Index, left: Index, part: Array) -> Array:
    """Light (V, nodes, ...) where each path ends on the board."""
    part = part.reshape(-1, *(1,) * (light.ndim - 2))
    out: Array = light[variant, left] * (1.0 - part)
    out += light[variant, left + 1] * part
    return out


def _terms(around: Surroundings, shade: _Shading, seen: _Seen) -> _Terms:
    paths = seen.paths
    every = np.ones((len(paths.ray), 1))
    passed = paths.weight[:, None] * shade.transmittance(paths, seen.chord, seen.variant)
    left, part = _between(_BOARD_NODES, seen.board_height)
    white = around.white
    front = passed * white * (paths.end == FRONT)[:, None]
    trapped = paths.weight[:, None] * white * (paths.end == TRAPPED)[:, None]
    of_board = passed * (paths.end == BACK)[:, None]
    on_board = of_board * _at_ends(shade.board.sum(axis=3), seen.variant, left, part)
    uneven = _hats(KNOTS, seen.board_height)
    if around.below.opaque_mirror:
        mirrored = paths.mirrored[:, None]
        column = paths.weight[:, None] * around.below_colour * (paths.end == COLUMN)[:, None]
        dome = (on_board + _room_in_front(around) * front) * mirrored
        turned = np.arcsin(np.clip(paths.exit_sine, -1.0, 1.0))
        turned = np.where(paths.end == FRONT, np.pi - turned, turned)
        of_board = of_board * (1.0 - mirrored)
        straight = on_board * (1.0 - mirrored)
        products = [
            (uneven, straight),
            (every, trapped),
            (np.stack([every[:, 0], seen.apparent], axis=1), column),
            (every, dome),
            (_hats(_DOME_KNOTS, turned), dome),
        ]
    else:
        straight = on_board
        products = [
            (uneven, straight),
            (np.stack([every[:, 0], paths.exit_sine], axis=1), front),
            (every, trapped),
        ]
        if not is_gas(around.above):
            both = (paths.below > 0.0) & (paths.above > 0.0)
            products.append((_hats(_MIX_KNOTS, seen.level), on_board * both[:, None]))
    if harmonics(around.view):
        products.append((_waves(around, seen), straight))
    return _Terms(
        ray=paths.ray,
        board=shade.board,
        variant=seen.variant,
        left=left,
        part=part,
        of_board=of_board,
        products=products,
    )


def _room_in_front(around: Surroundings) -> Array:
    """Brightness over the board's of the room that the dome shows in front: the column mirrors
    it, too."""
    shown = around.below_colour / (MIRROR_REFLECTANCE * around.white)
    return np.maximum(shown, _ROOM_IN_FRONT)


def _waves(around: Surroundings, seen: _Seen) -> Array:
    """Harmonics of the lines on the board where each path meets it, (P, 2 H)."""
    view = around.view
    turn = 2.0 * np.pi * seen.board_height * view.bore_radius_m / view.line_pitch_m
    each = turn[:, None] * np.arange(1, harmonics(view) + 1)
    return np.concatenate([np.cos(each), np.sin(each)], axis=1)


def _board_height(
    around: Surroundings, scenes: list[Scene], of_path: Index, paths: Paths
) -> Array:
    """Where a path meets the board, above the apex."""
    outer = np.array([s.outer_radius for s in scenes])[of_path]
    bore = np.array([s.surface.bore_radius_m for s in scenes])[of_path]
    sine = np.clip(paths.exit_sine, -0.98, 0.98)
    in_glass = sine / GLASS_REFRACTIVE_INDEX
    wall = (outer - 1.0) * in_glass / np.sqrt(1.0 - in_glass**2)
    gap = np.maximum(around.view.axis_to_board_m / bore - outer, 0.0)
    up = paths.exit_height + wall + gap * sine / np.sqrt(1.0 - sine**2)
    return np.asarray(up * around.section)


def _between(knots: Array, height: Array) -> tuple[Index, Array]:
    """Number of the knot below, and how far it is from there (0) to the next (1)."""
    clipped = np.clip(height, knots[0], knots[-1] - 1e-9)
    left = np.searchsorted(knots, clipped, side="right") - 1
    return left, (clipped - knots[left]) / (knots[left + 1] - knots[left])


def _hats(knots: Array, height: Array) -> Array:
    """Weights of linear interpolation between knots, (P, knots)."""
    left, part = _between(knots, height)
    out = np.zeros((len(height), len(knots)))
    every = np.arange(len(height))
    out[every, left] = 1.0 - part
    out[every, left + 1] = part
    return out
