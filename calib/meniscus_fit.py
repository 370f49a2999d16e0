"""Position of the apex by fitting the traced picture of a meniscus to a photo's profile.

The brightness along the axis is ``sum_k c_k B_k(h)``: the ``B_k`` come from the ray trace
(board seen through both fluids by the Beer-Lambert law between the two plateaus' colours,
trapped light, light from the front, the opaque column and its dome), the ``c_k`` are free
within bounds set by prior standard deviations.  Position and blur are searched over; then
all of it, and the physics known only roughly (indices, capillary length, contact angle,
bore, elevation), goes into one robust least-squares fit with the prior knowledge as further
observations (JCGM 102:2011; A. Gelman et al., *Bayesian Data Analysis*, ch. 14).  The
variance of the position then falls apart exactly into a share from the profile and one from
each prior.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag
from scipy.ndimage import gaussian_filter1d

from limbsight.calib.meniscus import (
    GLASS_REFRACTIVE_INDEX,
    ApexFit,
    FluidOptics,
    MeniscusPhysics,
    TubeView,
)
from limbsight.calib.meniscus_optics import (
    BACK,
    COLUMN,
    FRONT,
    TRAPPED,
    Paths,
    Scene,
    trace,
    trace_back,
)
from limbsight.calib.meniscus_shape import meniscus_surface

Array = NDArray[np.float64]

FINE_PER_PX = 8
"""Model samples per pixel row."""

_COARSE_RAYS = 72
_RAYS_PER_BREAK = 6

NAMES = (
    "refractive_index",
    "capillary_length",
    "contact_angle",
    "bore",
    "elevation",
    "brightness",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Physics:
    """The numbers the trace depends on; SI."""

    below_index: float
    above_index: float
    capillary_length_m: float
    contact_angle_rad: float
    bore_radius_m: float
    elevation_rad: float
    lit_through: float
    skin: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Prior:
    field: str
    name: str
    u: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _Level:
    """Everything about one level that stays fixed during its fit."""

    view: TubeView
    below: FluidOptics
    above: FluidOptics
    rows_px: Array
    profile: Array
    below_colour: Array
    above_colour: Array
    half_width_m: float
    low_m: float
    high_m: float

    @property
    def board_colour(self) -> Array:
        """The board as seen beside what absorbs: through gas it is the upper plateau."""
        if self.above.refractive_index < 1.1:
            return self.above_colour
        return np.maximum(self.above_colour, self.below_colour)


def window_m(view: TubeView, interface: MeniscusPhysics) -> tuple[float, float]:
    """How far below and above the apex the profile should reach, metres along the axis."""
    wall = _wall_height(view, interface)
    rim = view.bore_radius_m * math.tan(abs(view.elevation_rad) + 2 * view.u_elevation_rad)
    margin = 0.6 * view.bore_radius_m + 6.0 / view.px_per_m
    return max(0.0, -wall) + rim + margin, max(0.0, wall) + rim + margin


def _wall_height(view: TubeView, interface: MeniscusPhysics) -> float:
    return meniscus_surface(
        view.bore_radius_m, interface.capillary_length_m, interface.contact_angle_rad
    ).wall_height_m


# --- from physics to basis -----------------------------------------------------------------


_KNOTS = np.array([-3.0, -2.0, -1.4, -0.9, -0.5, -0.2, 0.0, 0.2, 0.5, 0.9, 1.4, 2.0, 3.0])
"""Heights, in bore radii from the apex, at which the board's brightness is a free factor."""

_U_BOARD, _U_BOARD_STEP = 0.25, 0.2
"""Board's unevenness beyond what the light makes, and its change over one bore radius
(common practice, no source)."""

_LIGHT_EDGES = np.radians([-60.0, -25.0, 0.0, 15.0, 30.0, 50.0, 75.0])
"""Bands of inclination in which the room's brightness is a free factor."""

_U_LIGHT = 0.8
"""Relative: a room may be dark in one band and twice as bright as supposed in another."""

_EXTRAS_REFRACTED = ((0.4, 0.4), (0.03, 0.1))
"""Prior mean and standard deviation, as parts of the board: front of the room, trapped."""

_EXTRAS_MIRRORED = ((0.4, 0.5), (0.1, 0.2), (1.0, 0.15), (0.0, 0.15), (0.0, 0.3))
"""As before, then the opaque column, its slope, and the dome beyond its reflectance."""


def _factor_priors(mirror: bool) -> tuple[Array, Array]:
    """Prior means (K,) and precision matrix (K, K) of the factors of one channel.

    Order: light past the tube and through it by bands, board by knots, extras.
    """
    light = np.concatenate([[1.0], np.ones(len(_LIGHT_EDGES) - 1)])
    u_light = np.concatenate([[0.3], np.full(len(_LIGHT_EDGES) - 1, _U_LIGHT)])
    extras = np.array(_EXTRAS_MIRRORED if mirror else _EXTRAS_REFRACTED)
    knots = len(_KNOTS)
    steps = np.diff(np.eye(knots), axis=0) / np.sqrt(np.diff(_KNOTS))[:, None]
    board = np.eye(knots) / _U_BOARD**2 + steps.T @ steps / _U_BOARD_STEP**2
    mean = np.concatenate([light, np.zeros(knots), extras[:, 0]])
    precision = block_diag(np.diag(u_light**-2), board, np.diag(extras[:, 1] ** -2))
    return mean, np.asarray(precision)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Basis:
    """Sharp basis on the fine grid: ``value`` (F, 3, K) at ``start_px + i / FINE_PER_PX``."""

    start_px: float
    value: Array


def _scene(level: _Level, physics: _Physics) -> Scene:
    view = level.view
    return Scene(
        surface=meniscus_surface(
            physics.bore_radius_m, physics.capillary_length_m, physics.contact_angle_rad
        ),
        outer_radius_m=max(view.outer_radius_m, physics.bore_radius_m * 1.02),
        elevation_rad=physics.elevation_rad,
        distance_m=view.distance_m,
        glass_index=GLASS_REFRACTIVE_INDEX,
        below_index=physics.below_index,
        above_index=physics.above_index,
        below_is_mirror=level.below.opaque_mirror,
    )


def _bases(level: _Level, variants: list[_Physics]) -> list[_Basis]:
    """Trace each variant and lay its columns out on the fine grid."""
    scenes = [_scene(level, physics) for physics in variants]
    laterals = level.half_width_m * _LATERAL_NODES if level.half_width_m > 0 else np.zeros(1)
    coarse = np.linspace(level.low_m, level.high_m, _COARSE_RAYS)
    bundles = len(scenes) * len(laterals)
    scene_of = np.repeat(np.arange(len(scenes)), len(laterals))
    lateral_of = np.tile(laterals, len(scenes))

    bundle = np.repeat(np.arange(bundles), len(coarse))
    height = np.tile(coarse, bundles)
    first = _weights(level, variants, scenes, scene_of[bundle], height, lateral_of[bundle])
    # Where neighbours differ much, a rim or a limit of total reflection lies between them.
    jump = np.abs(np.diff(first.reshape(bundles, len(coarse), -1), axis=1)).max(axis=2)
    where, left = np.nonzero(jump > _REFINE_ABOVE)
    part = (np.arange(_RAYS_PER_BREAK) + 1.0) / (_RAYS_PER_BREAK + 1.0)
    more = (coarse[left][:, None] + part * (coarse[1] - coarse[0])).ravel()
    more_bundle = np.repeat(where, _RAYS_PER_BREAK)
    extra = _weights(level, variants, scenes, scene_of[more_bundle], more, lateral_of[more_bundle])

    bundle = np.concatenate([bundle, more_bundle])
    height = np.concatenate([height, more])
    value = np.concatenate([first, extra])
    order = np.lexsort((height, bundle))
    bundle, height, value = bundle[order], height[order], value[order]
    edges = np.searchsorted(bundle, np.arange(bundles + 1))
    start_px, count = _fine_grid(level)
    out = []
    for number in range(len(scenes)):
        mean = np.zeros((count, value.shape[1]))
        for k in range(number * len(laterals), (number + 1) * len(laterals)):
            own = slice(edges[k], edges[k + 1])
            mean += _cell_means(height[own], value[own], start_px, count, level)
        out.append(_basis(mean / len(laterals), start_px))
    return out


_LATERAL_NODES = np.array([0.2113248654, 0.7886751346])
"""Gauss-Legendre nodes on half the averaged width; left and right are alike."""

_REFINE_ABOVE = 0.06


def _fine_grid(level: _Level) -> tuple[float, int]:
    start = math.floor(level.low_m * level.view.px_per_m) - 1
    stop = math.ceil(level.high_m * level.view.px_per_m) + 1
    return float(start), (stop - start) * FINE_PER_PX + 1


def _cell_means(height: Array, value: Array, start_px: float, count: int, level: _Level) -> Array:
    """Average of a bundle over each cell of the fine grid, a ray standing for its vicinity."""
    middle = 0.5 * (height[1:] + height[:-1])
    border = np.concatenate([[height[0]], middle, [height[-1]]])
    total = np.concatenate(
        [np.zeros((1, value.shape[1])), np.cumsum(value * np.diff(border)[:, None], axis=0)]
    )
    cell = 1.0 / FINE_PER_PX / level.view.px_per_m
    edge = start_px / level.view.px_per_m + (np.arange(count + 1) - 0.5) * cell
    edge = np.clip(edge, border[0], border[-1])
    left = np.clip(np.searchsorted(border, edge, side="right") - 1, 0, len(border) - 2)
    part = (edge - border[left]) / np.maximum(border[left + 1] - border[left], 1e-15)
    at_edge = total[left] + (total[left + 1] - total[left]) * part[:, None]
    width = np.diff(edge)
    mean = np.diff(at_edge, axis=0) / np.maximum(width, 1e-15)[:, None]
    inside = np.flatnonzero(width > 0.5 * cell)
    mean[: inside[0]] = mean[inside[0]]
    mean[inside[-1] + 1 :] = mean[inside[-1]]
    return np.asarray(mean)


def _weights(
    level: _Level,
    variants: list[_Physics],
    scenes: list[Scene],
    scene: NDArray[np.int64],
    height: Array,
    lateral: Array,
) -> Array:
    """Brightness of each ray in each column and channel, (N, 3 * K)."""
    paths = trace(scenes, scene, height, lateral)
    of_scene = scene[paths.ray]
    shades = [_shading(level, p, s) for p, s in zip(variants, scenes, strict=True)]
    log_below = np.stack([s.log_below for s in shades])[of_scene]
    log_above = np.stack([s.log_above for s in shades])[of_scene]
    bore = np.array([s.surface.bore_radius_m for s in scenes])[of_scene]
    index = np.array([s.below_index for s in scenes])[of_scene]
    elevation = np.array([s.elevation_rad for s in scenes])[of_scene]
    chord = 2.0 * bore / np.sqrt(1.0 - (np.sin(elevation) / index) ** 2)
    skin = np.array([physics.skin for physics in variants])[of_scene]
    passed = paths.weight[:, None] * _transmittance(paths, chord, skin, log_below, log_above)

    back = paths.end == BACK
    board_height = _board_height(level, paths) / bore
    hats = _hats(_KNOTS, board_height) * back[:, None]
    lit = _hats(_BOARD_NODES, board_height)
    by_band = np.stack([s.board for s in shades])
    light = np.zeros((len(of_scene), 3, by_band.shape[3]))
    for number in range(len(scenes)):
        own = of_scene == number
        light[own] = np.einsum("pk,kcj->pcj", lit[own], by_band[number])
    light *= (passed * back[:, None])[:, :, None]
    on_board = light.sum(axis=2)
    uneven = hats[:, None, :] * on_board[:, :, None]
    white = level.board_colour
    extras = [
        passed * white * (paths.end == FRONT)[:, None],
        paths.weight[:, None] * white * (paths.end == TRAPPED)[:, None],
    ]
    if level.below.opaque_mirror:
        column = paths.weight[:, None] * level.below_colour * (paths.end == COLUMN)[:, None]
        extras += [column, column * (height[paths.ray] / bore)[:, None]]
        extras += [on_board * paths.mirrored[:, None]]
    stacked = np.concatenate([light, uneven, np.stack(extras, axis=2)], axis=2)
    return _summed(paths.ray, stacked.reshape(len(paths.ray), -1), len(height))


def _transmittance(
    paths: Paths, chord: Array | float, skin: Array | float, log_below: Array, log_above: Array
) -> Array:
    """Share of light left along each path, (P, 3).

    ``skin`` is the part of the absorption that a fluid takes once per passage, however
    short: stain on the glass, dye gathered at the surface, haze.  The rest follows
    Beer and Lambert.
    """
    below = (1.0 - skin) * paths.below_m / chord + skin * paths.below_passes
    above = (1.0 - skin) * paths.above_m / chord + skin * paths.above_passes
    return np.asarray(
        np.exp(
            np.minimum(below, 4.0)[:, None] * log_below
            + np.minimum(above, 4.0)[:, None] * log_above
        )
    )


def _summed(ray: NDArray[np.int64], value: Array, count: int) -> Array:
    order = np.argsort(ray, kind="stable")
    first = np.searchsorted(ray[order], np.arange(count))
    return np.asarray(np.add.reduceat(value[order], first, axis=0))


def _board_height(level: _Level, paths: Paths) -> Array:
    """Where a path meets the board, metres above the apex."""
    view = level.view
    sine = np.clip(paths.exit_sine, -0.98, 0.98)
    in_glass = sine / GLASS_REFRACTIVE_INDEX
    wall = (view.outer_radius_m - view.bore_radius_m) * in_glass / np.sqrt(1 - in_glass**2)
    gap = max(view.axis_to_board_m - view.outer_radius_m, 0.0)
    return np.asarray(paths.exit_m + wall + gap * sine / np.sqrt(1.0 - sine**2))


def _hats(knots: Array, height: Array) -> Array:
    """Weights of linear interpolation between knots, (P, knots)."""
    clipped = np.clip(height, knots[0], knots[-1] - 1e-9)
    left = np.searchsorted(knots, clipped, side="right") - 1
    part = (clipped - knots[left]) / (knots[left + 1] - knots[left])
    out = np.zeros((len(height), len(knots)))
    every = np.arange(len(height))
    out[every, left] = 1.0 - part
    out[every, left + 1] = part
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shading:
    """Log transmittances of a full chord (3,), and the light on the board: (nodes, 3, 1 +
    bands), the part that comes past the tube first."""

    log_below: Array
    log_above: Array
    board: Array


def _shading(level: _Level, physics: _Physics, scene: Scene) -> _Shading:
    """Part the plateaus' colours into what the board has and what the fluid takes.

    A board close behind a tube is itself lit through the tube.  With the share ``f`` of its
    light that came so, and one passage's transmittance ``t``, the plateau is
    ``board * (1 - f + f t) * t``.
    """
    white, f = level.board_colour, physics.lit_through

    def parted(colour: Array) -> tuple[Array, Array]:
        ratio = np.clip(colour / white, 1e-3, 1.0)
        root = np.sqrt((1.0 - f) ** 2 + 4.0 * f * ratio)
        once = 2.0 * ratio / (1.0 - f + root)
        return np.log(once), colour / once

    log_above, board_above = parted(level.above_colour)
    log_below, _ = parted(level.below_colour)
    if level.below.opaque_mirror:
        log_below = np.zeros(3)
    through = _light_on_board(level, physics, scene, log_below, log_above)
    past = np.full((len(_BOARD_NODES), 3, 1), 1.0 - f)
    light = np.concatenate([past, f * through], axis=2)
    # The uppermost node's light made the upper plateau.
    light *= (board_above / light[-1].sum(axis=1))[:, None]
    return _Shading(log_below=log_below, log_above=log_above, board=light)


_BOARD_NODES = np.concatenate([[-3.0, -2.0], np.linspace(-1.4, 1.4, 15), [2.0, 3.0]])
"""Heights, in bore radii, at which the light on the board is worked out."""

_RAYS_PER_BAND = 3


def _light_on_board(
    level: _Level, physics: _Physics, scene: Scene, log_below: Array, log_above: Array
) -> Array:
    """Share of the room's light that the tube lets through to the board, (nodes, 3, bands).

    By the ray trace run backward from the board.  Expected is an evenly bright room over a
    floor half as bright as the ceiling (common practice, no source).
    """
    bore = level.view.bore_radius_m
    part = (np.arange(_RAYS_PER_BAND) + 0.5) / _RAYS_PER_BAND
    inclination = (_LIGHT_EDGES[:-1, None] + np.diff(_LIGHT_EDGES)[:, None] * part).ravel()
    nodes, rays = len(_BOARD_NODES), len(inclination)
    paths = trace_back(
        scene,
        level.view.axis_to_board_m,
        np.repeat(_BOARD_NODES * bore, rays),
        np.tile(inclination, nodes),
    )
    chord = 2.0 * bore
    out = (paths.weight * (paths.end == BACK))[:, None]
    passed = out * _transmittance(paths, chord, physics.skin, log_below, log_above)
    light = _summed(paths.ray, passed, nodes * rays)
    width = np.repeat(np.diff(_LIGHT_EDGES), _RAYS_PER_BAND)
    sky = width * np.cos(inclination) * (0.75 + 0.25 * np.sin(inclination))
    light = light.reshape(nodes, rays, 3) * (sky / sky.sum())[:, None]
    banded = light.reshape(nodes, -1, _RAYS_PER_BAND, 3).sum(axis=2)
    return np.asarray(banded.transpose(0, 2, 1))


def _basis(mean: Array, start_px: float) -> _Basis:
    return _Basis(start_px=start_px, value=mean.reshape(len(mean), 3, -1))


def _blurred(basis: _Basis, blur_px: float) -> Array:
    """Gaussian blur and the pixel's own width, (F, 3, K)."""
    sigma = math.hypot(blur_px, math.sqrt(1.0 / 12.0)) * FINE_PER_PX
    return np.asarray(gaussian_filter1d(basis.value, sigma, axis=0, mode="nearest"))


def _at_rows(fine: Array, start_px: float, rows_px: Array) -> Array:
    """Linear interpolation on the fine grid; beyond it the edge values."""
    position = np.clip((rows_px - start_px) * FINE_PER_PX, 0.0, len(fine) - 1.0001)
    left = position.astype(np.int64)
    part = (position - left)[..., None, None]
    return np.asarray(fine[left] * (1.0 - part) + fine[left + 1] * part)


# --- fit -----------------------------------------------------------------------------------


@dataclass(slots=True)
class _State:
    """Where the fit stands."""

    shift_px: float
    log_blur: float
    halo: float
    physics: Array  # in prior standard deviations
    factors: Array  # (3, K)


_START_BLURS_PX = (0.6, 1.0, 1.8)
_PRIOR_LOG_BLUR = (0.0, 0.6)
_PRIOR_HALO = (0.15, 0.3)
"""Blur about 1 px within a factor of 1.8; sharpening adds 0 to 0.75 of the lost detail
(METHODS of phone pictures: common practice, no source)."""

_HALO_WIDTH_PX = 1.5
_MODEL_ERROR = 0.03
"""Part of the profile's range that the model may miss anywhere (lighting, dirt, tone)."""

_STEP = 0.5
"""Finite difference in the physics, in prior standard deviations."""

U_TONE_PX = 0.08
"""A camera's unknown tone curve and sharpening move an edge by so much."""


def fit_apex(
    rows_px: Array,
    profile: Array,
    view: TubeView,
    below: FluidOptics,
    above: FluidOptics,
    interface: MeniscusPhysics,
    *,
    vertical_search_px: float,
    profile_columns: Array | None = None,
    half_width_px: float = 0.0,
) -> ApexFit:
    """Position of a meniscus's apex along the tube's axis.

    Parameters
    ----------
    rows_px : (N,) array
        Positions along the axis, growing upward, relative to a rough guess of the apex.
        ``window_m`` says how far they should reach.
    profile : (N, 3) array
        Linear-light RGB, averaged over columns at and near the axis.
    view, below, above, interface
        Geometry, fluids, and the interface between them.
    vertical_search_px
        How far the apex may be from the guess.
    profile_columns : (N, C, 3) array, optional
        The columns that ``profile`` averages; their median stands in for the mean where a
        few of them carry a reflection.
    half_width_px
        Half the width of the averaged columns, as seen.

    Returns
    -------
    ApexFit
        Never raises for a picture that does not fit: ``ok`` is false then.
    """
    low, high = window_m(view, interface)
    reach = vertical_search_px + 1.0
    chosen = (rows_px >= -low * view.px_per_m - reach) & (
        rows_px <= high * view.px_per_m + reach
    )
    rows, values = rows_px[chosen], profile[chosen]
    if profile_columns is not None:
        values = _without_reflections(values, profile_columns[chosen])
    plateau = max(3, round(0.3 * view.bore_radius_m * view.px_per_m))
    level = _Level(
        view=view,
        below=below,
        above=above,
        rows_px=rows,
        profile=values,
        below_colour=np.median(values[:plateau], axis=0),
        above_colour=np.median(values[-plateau:], axis=0),
        half_width_m=half_width_px / view.px_per_m,
        low_m=-low - reach / view.px_per_m,
        high_m=high + reach / view.px_per_m,
    )
    return _Fit(level, interface, vertical_search_px).run()


def _without_reflections(profile: Array, columns: Array) -> Array:
    """The median over columns where mean and median differ by more than the scatter."""
    median = np.median(columns, axis=1)
    scatter = 1.4826 * np.median(np.abs(columns - median[:, None]), axis=1)
    far = np.abs(profile - median) > 2.0 * np.median(scatter, axis=0)
    return np.where(far, median, profile)


class _Fit:
    def __init__(self, level: _Level, interface: MeniscusPhysics, search_px: float) -> None:
        self.level = level
        self.search_px = search_px
        view = level.view
        self.nominal = _Physics(
            below_index=level.below.refractive_index,
            above_index=level.above.refractive_index,
            capillary_length_m=interface.capillary_length_m,
            contact_angle_rad=interface.contact_angle_rad,
            bore_radius_m=view.bore_radius_m,
            elevation_rad=view.elevation_rad,
            lit_through=_lit_through(level),
            skin=_SKIN[0],
        )
        self.priors = _priors(level, interface, self.nominal)
        self.mean, self.precision = _factor_priors(level.below.opaque_mirror)
        span = np.ptp(level.profile, axis=0)
        noise = _noise(level.profile)
        self.span = float(span.max())
        self.sigma = np.sqrt(noise**2 + (_MODEL_ERROR * self.span) ** 2)
        self.ambiguity = 0.0

    # -- physics
    def at(self, q: Array) -> _Physics:
        changes = {
            p.field: min(max(getattr(self.nominal, p.field) + p.u * float(v), p.low), p.high)
            for p, v in zip(self.priors, q, strict=True)
        }
        return replace(self.nominal, **changes)

    def variants(self, q: Array) -> list[_Physics]:
        """The state's physics, then one step in each unknown, away from its bound."""
        out = [self.at(q)]
        self.steps = np.empty(len(self.priors))
        for j, prior in enumerate(self.priors):
            step = _STEP if getattr(out[0], prior.field) + _STEP * prior.u < prior.high else -_STEP
            moved = q.copy()
            moved[j] += step
            self.steps[j] = step
            out.append(self.at(moved))
        return out

    # -- search
    def search(self) -> _State:
        basis = _bases(self.level, [self.nominal])[0]
        rows, data = self.level.rows_px, self.level.profile
        shifts = np.arange(-self.search_px, self.search_px + 0.25, 0.5)
        best: tuple[float, _State] | None = None
        costs = np.full(len(shifts), np.inf)
        for blur in _START_BLURS_PX:
            fine = _blurred(basis, blur)
            sampled = _at_rows(fine, basis.start_px, rows[None] - shifts[:, None])
            cost, factors = self._linear(sampled, data)
            costs = np.minimum(costs, cost)
            k = int(np.argmin(cost))
            if best is None or cost[k] < best[0]:
                state = _State(
                    float(shifts[k]),
                    math.log(blur),
                    _PRIOR_HALO[0],
                    np.zeros(len(self.priors)),
                    factors[k],
                )
                best = (float(cost[k]), state)
        assert best is not None
        self.ambiguity = _rival(shifts, costs)
        return best[1]

    def _linear(self, sampled: Array, data: Array) -> tuple[Array, Array]:
        """Best factors for each shift: costs (S,), factors (S, 3, K)."""
        weight = 1.0 / self.sigma**2
        normal = np.einsum("snck,sncl->sckl", sampled, sampled, optimize=True)
        normal = normal * weight[:, None, None] + self.precision
        right = np.einsum("snck,nc->sck", sampled, data) * weight[:, None]
        right = right + self.precision @ self.mean
        factors = np.linalg.solve(normal, right[..., None])[..., 0]
        misfit = np.einsum("snck,sck->snc", sampled, factors) - data
        cost = np.sum(_cauchy(misfit / self.sigma), axis=(1, 2))
        away = factors - self.mean
        cost += np.einsum("sck,kl,scl->s", away, self.precision, away)
        return cost, factors

    # -- refinement
    def sampled(self, basis: _Basis, shift: float, log_blur: float, halo: float) -> Array:
        blur = math.exp(log_blur)
        rows = self.level.rows_px - shift
        sharp = _at_rows(_blurred(basis, blur), basis.start_px, rows)
        wide = _at_rows(
            _blurred(basis, math.hypot(blur, _HALO_WIDTH_PX)), basis.start_px, rows
        )
        return np.asarray(sharp + halo * (sharp - wide))

    def linearised(self, state: _State, bases: list[_Basis]) -> tuple[Array, Array]:
        """Residual (N*3,) and Jacobian (N*3, 3 + P + 3K)."""
        def model(basis: _Basis, shift: float, log_blur: float, halo: float) -> Array:
            return np.einsum(
                "nck,ck->nc", self.sampled(basis, shift, log_blur, halo), state.factors
            )

        here = (state.shift_px, state.log_blur, state.halo)
        centre = self.sampled(bases[0], *here)
        value = np.einsum("nck,ck->nc", centre, state.factors)
        shifted = (
            model(bases[0], here[0] + 0.25, *here[1:]) - model(bases[0], here[0] - 0.25, *here[1:])
        ) / 0.5
        blurrier = (model(bases[0], here[0], here[1] + 0.1, here[2]) - value) / 0.1
        haloed = (model(bases[0], here[0], here[1], here[2] + 0.1) - value) / 0.1
        moved = [
            (model(basis, *here) - value) / step
            for basis, step in zip(bases[1:], self.steps, strict=True)
        ]
        n, channels, k = centre.shape
        jacobian = np.zeros((n, channels, 3 + len(moved) + channels * k))
        for j, column in enumerate([shifted, blurrier, haloed, *moved]):
            jacobian[:, :, j] = column
        for c in range(channels):
            first = 3 + len(moved) + c * k
            jacobian[:, c, first : first + k] = centre[:, c]
        residual = (self.level.profile - value) / self.sigma
        jacobian /= self.sigma[:, None]
        return residual.reshape(-1), jacobian.reshape(n * channels, -1)

    def prior_terms(self, state: _State) -> tuple[Array, Array]:
        """Distance from the prior means, and prior precision, for the whole vector."""
        distance = np.concatenate(
            [
                [0.0, _PRIOR_LOG_BLUR[0] - state.log_blur, _PRIOR_HALO[0] - state.halo],
                -state.physics,
                (self.mean - state.factors).ravel(),
            ]
        )
        optics = [0.0, _PRIOR_LOG_BLUR[1] ** -2, _PRIOR_HALO[1] ** -2]
        precision = block_diag(
            np.diag(optics), np.eye(len(state.physics)), *[self.precision] * 3
        )
        return distance, precision

    def refine(self, state: _State, rounds: int) -> tuple[_State, Array, Array, Array, Array]:
        bases = _bases(self.level, self.variants(state.physics))
        for _ in range(rounds):
            residual, jacobian = self.linearised(state, bases)
            weight = 1.0 / (1.0 + residual**2 / _CAUCHY_SCALE**2)
            distance, precision = self.prior_terms(state)
            normal = jacobian.T @ (jacobian * weight[:, None]) + precision
            right = jacobian.T @ (residual * weight) + precision @ distance
            step = np.linalg.solve(normal, right)
            state = self._stepped(state, step)
            bases = _bases(self.level, self.variants(state.physics))
            state.factors = self._factors(state, bases[0], weight)
        residual, jacobian = self.linearised(state, bases)
        weight = 1.0 / (1.0 + residual**2 / _CAUCHY_SCALE**2)
        return state, residual, jacobian, weight, self.prior_terms(state)[1]

    def _factors(self, state: _State, basis: _Basis, weight: Array) -> Array:
        """Best brightness factors for the rest of the state as it stands, (3, K)."""
        sampled = self.sampled(basis, state.shift_px, state.log_blur, state.halo)
        scale = weight.reshape(-1, 3) / self.sigma**2
        weighted = sampled * scale[:, :, None]
        normal = np.einsum("nck,ncl->ckl", weighted, sampled) + self.precision
        right = np.einsum("nck,nc->ck", weighted, self.level.profile)
        right = right + self.precision @ self.mean
        return np.asarray(np.linalg.solve(normal, right[..., None])[..., 0])

    def _stepped(self, state: _State, step: Array) -> _State:
        p = len(self.priors)
        return _State(
            state.shift_px + float(np.clip(step[0], -1.5, 1.5)),
            float(np.clip(state.log_blur + np.clip(step[1], -0.5, 0.5), -1.6, 1.8)),
            float(np.clip(state.halo + step[2], -0.5, 2.0)),
            np.clip(state.physics + np.clip(step[3 : 3 + p], -1.0, 1.0), -3.0, 3.0),
            state.factors + step[3 + p :].reshape(state.factors.shape),
        )

    def run(self) -> ApexFit:
        state = self.search()
        state, residual, *_ = self.refine(state, 2)
        self.sigma = self.sigma * math.sqrt(_inflation(residual.reshape(-1, 3)))
        state, residual, jacobian, weight, precision = self.refine(state, 2)
        return self.result(state, residual, jacobian, weight, precision)

    def result(
        self, state: _State, residual: Array, jacobian: Array, weight: Array, precision: Array
    ) -> ApexFit:
        data_part = jacobian.T @ (jacobian * weight[:, None])
        covariance = np.linalg.inv(data_part + precision)
        row = covariance[0]
        variance_statistical = float(row @ data_part @ row)
        shares = row * (precision @ row)
        p = len(self.priors)
        components = dict.fromkeys(NAMES, 0.0)
        for prior, share in zip(self.priors, shares[3 : 3 + p], strict=True):
            components[prior.name] = math.hypot(components.get(prior.name, 0.0), share**0.5)
        components["brightness"] = math.hypot(
            components["brightness"], float(shares[3 + p :].sum() + shares[1:3].sum()) ** 0.5
        )
        components["tone"] = U_TONE_PX
        misfit = float(np.sqrt(np.mean((residual.reshape(-1, 3) * self.sigma) ** 2)) / self.span)
        reason = self.doubt(state, misfit)
        return ApexFit(
            position_px=state.shift_px,
            u_statistical_px=math.sqrt(variance_statistical),
            u_model_px=math.sqrt(sum(u * u for u in components.values())),
            u_components_px=components,
            misfit=misfit,
            ok=not reason,
            reason=reason,
            blur_px=math.exp(state.log_blur),
        )

    def doubt(self, state: _State, misfit: float) -> str:
        if misfit > MISFIT_LIMIT:
            return "meniscus_unlike_model"
        if abs(state.shift_px) > self.search_px + 1.0:
            return "apex_outside_search"
        return ""


MISFIT_LIMIT = 0.08

_CAUCHY_SCALE = 4.0
"""Beyond 2.4 (95 % efficiency for normal noise; P. J. Huber, *Robust Statistics*), so that a
whole dark band is not taken for an outlier."""


def _cauchy(z: Array) -> Array:
    return np.asarray(_CAUCHY_SCALE**2 * np.log1p((z / _CAUCHY_SCALE) ** 2))


def _noise(profile: Array) -> Array:
    """Standard deviation per channel from second differences, robust."""
    second = profile[2:] - 2.0 * profile[1:-1] + profile[:-2]
    spread = 1.4826 * np.median(np.abs(second), axis=0) / math.sqrt(6.0)
    return np.asarray(np.maximum(spread, 1e-4))


def _rival(shifts: Array, costs: Array) -> float:
    """Lowest other minimum of the cost, over the lowest; 0 if there is none."""
    inner = (costs[1:-1] < costs[:-2]) & (costs[1:-1] < costs[2:])
    minima = np.sort(costs[1:-1][inner])
    return float(minima[0] / minima[1]) if len(minima) > 1 else 0.0


def _inflation(residual: Array) -> float:
    """By how much correlated residuals carry less than independent unit ones, at least 1.

    Mean square times the sum of autocorrelations over rows and channels: the factor by
    which the variance of a weighted sum of neighbours exceeds that of independent ones.
    """
    clipped = np.clip(residual, -4.0, 4.0)
    mean_square = float(np.mean(clipped**2))
    if mean_square <= 0.0:
        return 1.0
    rows = clipped.sum(axis=1)
    total = float(np.mean(rows**2))
    for lag in range(1, 5):
        total += 2.0 * (1.0 - lag / 5.0) * float(np.mean(rows[lag:] * rows[:-lag]))
    return max(1.0, mean_square, total / 3.0)


_U_LIT_THROUGH = 0.2

_SKIN = (0.4, 0.35)
"""Part of the absorption taken per passage: anything from none to nearly all (common
practice, no source)."""


def _lit_through(level: _Level) -> float:
    """Share of evenly diffuse light that reaches the board behind the axis through the tube.

    Sine of half the angle under which the liquid is seen from there: it seems wider than
    the bore by its refractive index, up to the whole tube.
    """
    view = level.view
    seen = min(view.outer_radius_m, level.below.refractive_index * view.bore_radius_m)
    return min(0.95, seen / max(view.axis_to_board_m, view.outer_radius_m))


def _priors(level: _Level, interface: MeniscusPhysics, nominal: _Physics) -> list[_Prior]:
    pi, a = math.pi, nominal.capillary_length_m
    convex = nominal.contact_angle_rad > 0.5 * pi
    bore = level.view.bore_radius_m
    candidates = [
        _Prior(
            field="below_index",
            name="refractive_index",
            u=0.0 if level.below.opaque_mirror else level.below.u_refractive_index,
            low=1.0,
            high=2.0,
        ),
        _Prior(
            field="above_index",
            name="refractive_index",
            u=level.above.u_refractive_index,
            low=1.0,
            high=2.0,
        ),
        _Prior(
            field="capillary_length_m",
            name="capillary_length",
            u=interface.u_capillary_length_m,
            low=0.4 * a,
            high=2.5 * a,
        ),
        _Prior(
            field="contact_angle_rad",
            name="contact_angle",
            u=interface.u_contact_angle_rad,
            low=0.53 * pi if convex else 0.0,
            high=pi if convex else 0.47 * pi,
        ),
        _Prior(
            field="bore_radius_m",
            name="bore",
            u=level.view.u_bore_radius_m,
            low=0.6 * bore,
            high=min(1.5 * bore, 0.98 * level.view.outer_radius_m),
        ),
        _Prior(
            field="elevation_rad",
            name="elevation",
            u=level.view.u_elevation_rad,
            low=-1.0,
            high=1.0,
        ),
        _Prior(field="lit_through", name="brightness", u=_U_LIT_THROUGH, low=0.0, high=1.0),
        _Prior(field="skin", name="brightness", u=_SKIN[1], low=0.0, high=1.0),
    ]
    return [prior for prior in candidates if prior.u > 0.0]
