"""Position of the apex by fitting the traced picture of a meniscus to a photo's profile.

Position and blur are searched over with the physics as supposed; then everything, and the
physics known only roughly (indices, capillary length, contact angle, bore, elevation), goes
into one robust least-squares fit with the prior knowledge as further observations
(JCGM 102:2011; A. Gelman et al., *Bayesian Data Analysis*, ch. 14).  The variance of the
position then falls apart exactly into a share from the profile and one from each prior:
with ``A`` the normal matrix, ``A^-1 = A^-1 (J'WJ + sum P_j) A^-1``.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus import (
    COVERAGE,
    COVERAGE_FACTOR,
    ApexFit,
    FluidOptics,
    MeniscusPhysics,
    TubeView,
)
from limbsight.calib.meniscus_basis import Basis, basis_of, unwhitening
from limbsight.calib.meniscus_blur import Canvas, Lens, Spread, canvas
from limbsight.calib.meniscus_cost import (
    best_coordinates,
    costs_at_shifts,
    inflation_of,
    misfit_of,
    noise_of,
    robust_cost,
    robust_weight,
    without_waves,
)
from limbsight.calib.meniscus_optics import Paths
from limbsight.calib.meniscus_picture import (
    Physics,
    Picture,
    Pictures,
    Surroundings,
    factor_priors,
    harmonics,
    is_gas,
    is_uneven,
    light_paths,
    pictures,
    same_rays,
)
from limbsight.calib.meniscus_shape import meniscus_surface
from limbsight.calib.meniscus_step import bounded_step, squared_length

Array = NDArray[np.float64]

U_TONE_PX = 0.08
"""A camera's unknown tone curve and sharpening move an edge by so much (simulated phone
pictures: 0.05 to 0.13 px after linearising by the standard curve)."""

U_COLOUR_PX = 0.4
"""A level between two colours moves by so much, too: a JPEG keeps colours at half resolution,
and blurs them after the tone curve, which shifts red and blue apart.  25 levels between
liquids, bores of 13 to 32 px, stored with colours at full and at half resolution, differ by
0.36 px (root mean square), besides one that came to another place."""

MISFIT_LIMIT = 0.1
"""Residual over range beyond which the picture is not that of a meniscus as traced.  Fits to
path-traced photographs from two sources: right ones stay below 0.08 (19 of 20), mercury
under lamps and missed by a third of its dome has 0.12 and more."""

_RISE_SHARE, _RISE_SHARE_COVERED, _RISE_SHARE_MIRROR = 0.015, 0.07, 0.15
"""Of the height of bowl or dome, left uncertain by what the model does not hold: dirt and
uneven light; colours seen through two liquids; what a mirror shows of the room.  About the
root mean square of the errors left unexplained in path-traced photographs from two
sources."""

_SMOOTH_DEGREE = 4
"""Of the polynomial that a stretch of tube without a meniscus may follow."""

_RISE_SHARE_BLACK, _DARK = 0.05, 0.3
"""Added for a liquid without any light; from this brightness over the board's on, nothing."""

AMBIGUITY_LIMIT = 2.0
"""Spread of rival positions over the rest of the uncertainty, beyond which a person should
choose."""

GAIN_LIMIT = 2.5
"""What a meniscus must explain beyond a smooth profile, for each row.  On path-traced
photographs from two sources 3 of 90 menisci gained less, and of 143 stretches of tube beside
them 4 more, at clips and reflections."""

_NEAR = 0.3
"""What counts as near the meniscus beyond its rims, in bore radii."""

_PLATEAU = 0.6
"""Profile beyond the rims, in bore radii, that a fit asks for."""

_PRIOR_LOG_BLUR = (0.0, 0.6)
_PRIOR_HALO = (0.15, 0.3)
"""Blur about 1 px within a factor of 1.8; sharpening adds 0 to 0.75 of the lost detail
(common practice, no source)."""

_START_OPTICS = Spread(log_blur=math.log(1.2), halo=_PRIOR_HALO[0])
"""Near the prior means; a little wide, so that the search by whole pixels misses nothing."""

_MODEL_ERROR, _MODEL_ERROR_MIRROR, _MODEL_ERROR_COVERED = 0.03, 0.06, 0.05
"""Part of the profile's range that the model may miss anywhere: lighting, dirt, tone; more
where a mirror shows the room, or one liquid covers another (common practice, no source)."""

_UNEVENNESS = 0.01
"""Part of the brightness by which any surface is uneven from one millimetre to the next
(common practice, no source)."""

_STEP = 0.5
"""Finite difference in the physics, in prior standard deviations."""

_SKIN = (0.4, 0.35)
"""Part of the colour that sits on the glass: anything from none to nearly all (common
practice, no source)."""

_U_LIT_THROUGH = 0.2

COMPONENTS = (
    "refractive_index",
    "capillary_length",
    "contact_angle",
    "bore",
    "elevation",
    "brightness",
)


def window_m(view: TubeView, interface: MeniscusPhysics) -> tuple[float, float]:
    """How far below and above the apex the profile should reach, metres along the axis."""
    wall = meniscus_surface(
        view.bore_radius_m, interface.capillary_length_m, interface.contact_angle_rad
    ).wall_height_m
    rim = view.bore_radius_m * math.tan(abs(view.elevation_rad) + 2 * view.u_elevation_rad)
    margin = _PLATEAU * view.bore_radius_m + 6.0 / view.px_per_m
    return max(0.0, -wall) + rim + margin, max(0.0, wall) + rim + margin


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
    aside_px: float = 0.0,
    beside: Sequence[Array] = (),
) -> ApexFit:
    """Position of a meniscus's apex along the tube's axis.

    Parameters
    ----------
    rows_px : (N,) array
        Positions along the axis, one pixel apart, growing upward, relative to a rough guess
        of the apex.  ``window_m`` says how far they should reach.
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
    aside_px
        Distance of their middle from the axis, as seen.
    beside : sequence of (N, 3) arrays
        Profiles of columns that show the section ``BESIDE`` off the axis, left and right; they
        help to tell rival places apart.

    Returns
    -------
    ApexFit
        Never raises for a picture that does not fit: ``ok`` is false then.
    """
    low, high = window_m(view, interface)
    slack = vertical_search_px + 1.0
    chosen = (rows_px >= -low * view.px_per_m - slack) & (
        rows_px <= high * view.px_per_m + slack
    )
    rows, values = rows_px[chosen], profile[chosen]
    if profile_columns is not None:
        values = _without_reflections(values, profile_columns[chosen])
    if len(rows) < _FEWEST_ROWS or not np.isfinite(values).all():
        return _unreadable()
    bore_px = view.bore_radius_m * view.px_per_m
    plateau = max(3, round(0.3 * bore_px))

    def fit_of(seen: Array, half_width: float, aside: float) -> _Fit:
        around = Surroundings(
            view=view,
            below=below,
            above=above,
            below_colour=np.median(seen[:plateau], axis=0),
            above_colour=np.median(seen[-plateau:], axis=0),
            half_width=half_width,
            reach=(float(rows[0] - slack) / bore_px, float(rows[-1] + slack) / bore_px),
            aside=aside,
        )
        return _Fit(around, interface, rows, seen, vertical_search_px)

    sides = [fit_of(seen[chosen], 0.0, BESIDE) for seen in beside]
    # Inside, things seem wider by the index.
    aside = aside_px / bore_px / (1.0 if below.opaque_mirror else below.refractive_index)
    return fit_of(values, half_width_px / bore_px, min(aside, 0.95)).run(sides)


_FEWEST_ROWS = 12
"""Fewer pixels hold no meniscus with its plateaus."""


def _unreadable() -> ApexFit:
    return ApexFit(
        position_px=math.nan,
        u_statistical_px=math.inf,
        u_model_px=math.inf,
        u_components_px={},
        misfit=math.inf,
        ok=False,
        reason="profile_too_short",
        blur_px=math.nan,
    )


def _without_reflections(profile: Array, columns: Array) -> Array:
    """The median over columns where mean and median differ by more than the scatter."""
    median = np.median(columns, axis=1)
    scatter = 1.4826 * np.median(np.abs(columns - median[:, None]), axis=1)
    far = np.abs(profile - median) > 2.0 * np.median(scatter, axis=0)
    return np.where(far, median, profile)


# --- what is supposed -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Prior:
    """One number of the physics: standard uncertainty, bounds, name in the budget."""

    field: str
    name: str
    u: float
    low: float
    high: float


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


def _priors(
    around: Surroundings, interface: MeniscusPhysics, nominal: Physics
) -> list[_Prior]:
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
        _Prior(field=field, name=name, u=u, low=low, high=high)
        for field, name, u, low, high in table
        if u > 0.0
    ]


def _model_error(around: Surroundings) -> float:
    if around.below.opaque_mirror:
        return _MODEL_ERROR_MIRROR
    return _MODEL_ERROR if is_gas(around.above) else _MODEL_ERROR_COVERED


def _rise_share(around: Surroundings) -> float:
    if around.below.opaque_mirror:
        return _RISE_SHARE_MIRROR
    if not is_gas(around.above):
        return _RISE_SHARE_COVERED
    # In a liquid nearly black the band's lower edge fades, and the rim alone must tell.
    shine = float(around.below_colour.max() / around.white.max())
    return _RISE_SHARE + _RISE_SHARE_BLACK * max(0.0, 1.0 - shine / _DARK)


# --- fit -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    """Where the fit stands."""

    shift_px: float
    optics: Spread
    physics: Array  # in prior standard deviations
    z: Array  # (3, k), in prior standard deviations

    @property
    def shared(self) -> Array:
        """What the channels have in common, one vector."""
        optics = [self.shift_px, self.optics.log_blur, self.optics.halo]
        return np.concatenate([optics, self.physics])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Traced:
    """Pictures at one point of the physics, and one step from it in each unknown.

    Attributes
    ----------
    at : (P,) array
        The point, in prior standard deviations.
    steps : (P,) array
        Sizes of the steps, likewise.
    pictures
        The one at the point, then one a step; more may follow.
    height : (R,) array
        Of the rays at the point, as in ``Pictures``.
    basis
        Of the brightness factors.
    columns : (3, R, 1 + k) array
        The picture at the point in that basis.
    """

    at: Array
    steps: Array
    pictures: Pictures
    height: Array
    basis: Basis
    columns: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class _Base:
    """Where a linearisation is made: the columns in the bins (bins, 3 (1 + k)), and the
    profile's derivatives by the physics (3, N, P)."""

    columns: Array
    moved: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class _Linear:
    """A linearised problem, channel by channel.

    Attributes
    ----------
    residual, weight : (3, N) arrays
        In units of sigma; robust weights.
    jacobian : (3, N, shared + k) array
        By the unknowns that the channels share, then by the channel's own.
    shared
        How many they are.
    """

    residual: Array
    jacobian: Array
    weight: Array
    shared: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Candidate:
    """A place that the level may have: where its fit stands, in which basis of brightness."""

    state: _State
    last: _Linear
    basis: Basis


@dataclass(frozen=True, slots=True, kw_only=True)
class _Starts:
    """Pictures at the points where the search begins, and all about such a point."""

    pictures: list[Picture]
    at: Callable[[int], _Traced]


class _Fit:
    def __init__(
        self,
        around: Surroundings,
        interface: MeniscusPhysics,
        rows_px: Array,
        profile: Array,
        search_px: float,
    ) -> None:
        self.around, self.rows, self.data = around, rows_px, profile
        self.search_px = search_px
        self.px = around.view.bore_radius_m * around.view.px_per_m
        self.nominal = _nominal(around, interface)
        self.priors = _priors(around, interface, self.nominal)
        self.mean, precision = factor_priors(around)
        self.turn = unwhitening(precision)
        even = ~is_uneven(len(self.mean))
        self.even, self.even_turn = even, unwhitening(precision[np.ix_(even, even)])
        self.noise = noise_of(profile)
        span = max(float(np.ptp(profile, axis=0).max()), 1e-6)
        uneven = _UNEVENNESS * float(np.median(profile.max(axis=1)))
        self.model_error = np.hypot(_model_error(around) * span, uneven)
        self.sigma = np.hypot(self.noise, self.model_error)
        # Three times the search: keeps a profile without a meniscus solvable.
        optics = [(3.0 * search_px) ** -2, _PRIOR_LOG_BLUR[1] ** -2, _PRIOR_HALO[1] ** -2]
        self.prior = np.concatenate([optics, np.ones(len(self.priors))])
        bounds = [
            ((p.low - value) / p.u, (p.high - value) / p.u)
            for p in self.priors
            for value in [getattr(self.nominal, p.field)]
        ]
        lowest, highest = np.array(bounds).T
        self.lowest, self.highest = (
            np.maximum(lowest, -_FARTHEST),
            np.minimum(highest, _FARTHEST),
        )

    def run(self, sides: Sequence[_Fit] = ()) -> ApexFit:
        """Fit the profile; ``sides`` have a say in which place it is."""
        light = light_paths(self.around, self.nominal)
        candidates = self._candidates(light)
        noise = min(inflation_of(each.last.residual.T) for each in candidates)
        worse = np.array([self._implausibility(each, noise) for each in candidates])
        states = [each.state for each in candidates]
        worse = worse - worse.min() + _said_by(sides, states)
        best = candidates[int(worse.argmin())]
        state, last, basis = best.state, best.last, best.basis
        rival = self._rival(state, states, worse)
        self.sigma = self.sigma * math.sqrt(inflation_of(last.residual.T))
        before = math.inf
        for _ in range(_MOST_ROUNDS):
            at = state
            here = self._improved(at, self._traced(at.physics, light, basis=basis))
            state, last = here.state, here.last
            moved = state.shared - at.shared
            normal = self._normal(state, last)
            length = squared_length(moved, normal)
            near = _is_near(length, moved, normal, self._u_unfitted_px(state))
            if near or length > _NEARER**2 * before:
                break
            before = length
        return self._result(state, last, rival)

    def _candidates(self, light: Paths) -> list[_Candidate]:
        """Refine the minima of the search."""
        starts = self._first_traced(light)
        found = [
            (*low, number)
            for number, picture in enumerate(starts.pictures)
            for low in self._search(picture)
        ]
        places = _places_first(found)
        if not self._is_between_liquids():
            places = places[: _MORE_THAN_STARTS + len(starts.pictures)]
        candidates = [
            self._improved(self._start(shift, starts.at(number)), starts.at(number))
            for shift, number in places
        ]
        if self.around.below.opaque_mirror or not self._has_rivals():
            return candidates
        # Places are compared by what their fits come to with rays traced where they are; of
        # mercury the rim tells them apart (58 levels were no nearer for it).
        return [
            self._improved(each.state, self._traced(each.state.physics, light))
            for each in candidates
        ]

    def _first_traced(self, light: Paths) -> _Starts:
        """Pictures to search with; steps from them where they are needed."""
        points = self._starts()
        first, *others = [self._physics(point) for point in points]
        by_light = [same_rays(first, other) for other in others]

        @cache
        def at(number: int) -> _Traced:
            if number == 0:
                return self._traced(points[0], light, also=others if all(by_light) else [])
            like = at(0).pictures if by_light[number - 1] else None
            return self._traced(points[number], light, like)

        if all(by_light):
            # The same rays serve to search and for the steps.
            made, before = at(0).pictures, len(self.priors)
        else:
            made, before = pictures(self.around, first, others, light), 0
        numbers = [0, *(before + k for k in range(1, len(points)))]
        return _Starts(pictures=[made.only(number) for number in numbers], at=at)

    def _start(self, shift_px: float, traced: _Traced) -> _State:
        return _State(
            shift_px=shift_px,
            optics=_START_OPTICS,
            physics=traced.at,
            z=np.zeros((3, traced.basis.size)),
        )

    def _implausibility(self, candidate: _Candidate, noise: float) -> float:
        """Twice the negative logarithm of the evidence, by Laplace's approximation.

        Misfit and distance from the priors, and for flexibility a price: the logarithm of
        the determinant (D. J. C. MacKay, Neural Computation 4 (1992) 415).
        """
        state, last = candidate.state, candidate.last
        away, prior = self._from_mean(state), self._prior_of(state)
        normal = _normal(last) / noise + np.diag(prior)
        return float(
            robust_cost(last.residual) / noise + prior @ away**2 + np.linalg.slogdet(normal)[1]
        )

    def _rival(self, best: _State, candidates: list[_State], implausibility: Array) -> float:
        """What other positions nearly as plausible add to the uncertainty of the best one, px.

        Their spread; and as much as makes an interval hold each that is too likely to be left
        out: twice the spread of two places does not reach from the likelier one to the other.
        """
        away = np.abs([state.shift_px - best.shift_px for state in candidates])
        temper = _TEMPER_COVERED if self._is_between_liquids() else _TEMPER
        odds = np.exp(-0.5 * (implausibility - implausibility.min()) / temper)
        odds /= odds.sum()
        held = away[odds > 1.0 - COVERAGE] / COVERAGE_FACTOR
        return max(math.sqrt(odds @ away**2), float(held.max()))

    def left_unexplained(self, state: _State) -> tuple[float, float]:
        """Cost of this profile with the physics and at the place that another one found, and
        by how much its residuals are inflated."""
        light = light_paths(self.around, self.nominal)
        picture = pictures(self.around, self._physics(state.physics), [], light).only(0)
        basis = self._basis(picture, self.mean, self.turn)
        columns = basis.columns(picture.value)

        def cost(moved: float) -> tuple[float, float]:
            shift = state.shift_px + moved * _U_TILTED_PX
            ground = canvas(float(self.rows[0]), len(self.rows), shift)
            binned = self._binned(ground, picture.height, columns)
            shown = _by_channel(ground.lens(shift, state.optics).blurred(binned))
            z = best_coordinates(shown, self.data, self.sigma)
            value = shown[:, :, 0] + (shown[:, :, 1:] @ z[..., None])[..., 0]
            residual = (self.data - value.T) / self.sigma
            away = float(np.square(z).sum()) + moved**2
            return robust_cost(residual) + away, inflation_of(residual)

        return min(cost(moved) for moved in (-1.0, 0.0, 1.0))

    # -- physics

    def _starts(self) -> list[Array]:
        """Where to trace first: at several contact angles where they are little known; and,
        which costs no rays, in the other light that a liquid may stand in.

        A dark liquid is as dark whether the board behind it is lit through it and part of the
        colour sits on the glass, or lit past it and all colour is in the liquid.  What is seen
        of the bowl differs, and steps do not lead from one to the other.
        """
        angles = _START_ANGLES if self._has_rivals() else (0.0,)
        out = [self._start_with(contact_angle_rad=angle) for angle in angles]
        if not self.around.below.opaque_mirror:
            # Rays are shared by pictures that differ in light alone.
            away = -math.inf
            first = angles[0]
            out.append(
                self._start_with(contact_angle_rad=first, lit_through=away, skin_below=away)
            )
        return out

    def _start_with(self, **moved: float) -> Array:
        """The physics as supposed, but for what is moved, in prior standard deviations, as
        far as it may be."""
        q = np.array([moved.get(prior.field, 0.0) for prior in self.priors])
        return np.asarray(np.clip(q, self.lowest, self.highest))

    def _is_between_liquids(self) -> bool:
        return not (self.around.below.opaque_mirror or is_gas(self.around.above))

    def _is_hard(self) -> bool:
        return self.around.below.opaque_mirror or self._is_between_liquids()

    def _has_rivals(self) -> bool:
        """Whether several places may fit alike: beside lines, too, parts of the meniscus are
        taken for lines and lines for parts of it."""
        return self._is_hard() or harmonics(self.around.view) > 0

    def _physics(self, q: Array) -> Physics:
        changes = {
            p.field: min(max(getattr(self.nominal, p.field) + p.u * float(v), p.low), p.high)
            for p, v in zip(self.priors, q, strict=True)
        }
        return replace(self.nominal, **changes)

    def _variants(self, q: Array) -> tuple[Array, list[Physics]]:
        """One step in each unknown, away from its bound; sizes as taken, in priors' u."""
        base = self._physics(q)
        steps, others = [], []
        for prior in self.priors:
            value = getattr(base, prior.field)
            moved = value + _STEP * prior.u
            if moved > prior.high:
                moved = value - _STEP * prior.u
            steps.append((moved - value) / prior.u)
            others.append(replace(base, **{prior.field: moved}))
        return np.array(steps), others

    def _traced(
        self,
        at: Array,
        light: Paths,
        like: Pictures | None = None,
        also: Sequence[Physics] = (),
        basis: Basis | None = None,
    ) -> _Traced:
        """The picture at one point of the physics, the steps from it, and what is wanted
        ``also``; ``like`` is of a point that differs in light alone, ``basis`` from near."""
        steps, others = self._variants(at)
        bundle = pictures(self.around, self._physics(at), [*others, *also], light, like=like)
        base = bundle.only(0)
        basis = basis or self._basis(base, self.mean, self.turn)
        return _Traced(
            at=at,
            steps=steps,
            pictures=bundle,
            height=base.height,
            basis=basis,
            columns=basis.columns(base.value),
        )

    def _basis(self, picture: Picture, mean: Array, turn: Array) -> Basis:
        low, high = self.rows[0] - self.search_px, self.rows[-1] + self.search_px
        seen = np.clip(picture.height * self.px, low, high)
        half = 0.5 * np.diff(seen)
        stands_for = np.append(half, 0.0)
        stands_for[1:] += half
        return basis_of(picture.value, stands_for, self.sigma, mean, turn)

    # -- search

    def _search(self, picture: Picture) -> list[tuple[float, float]]:
        """Costs and positions of the lowest minima on a grid of whole pixels, without the
        board's unevenness."""
        even = replace(picture, value=picture.value[:, :, self.even])
        basis = self._basis(even, self.mean[self.even], self.even_turn)
        reach = math.ceil(self.search_px)
        ground = canvas(self.rows[0] - reach, len(self.rows) + 2 * reach, 0.0)
        columns = self._binned(ground, even.height, basis.columns(even.value))
        shown = _by_channel(ground.lens(0.0, _START_OPTICS).blurred(columns))
        costs = costs_at_shifts(shown, self.data, self.sigma)
        return [(float(costs[k]), float(k - reach)) for k in _minima(costs)]

    def _binned(self, ground: Canvas, height: Array, columns: Array) -> Array:
        """Columns (3, R, C) of one picture in the bins, (bins, 3 C)."""
        flat = columns.transpose(1, 0, 2).reshape(columns.shape[1], -1)
        return np.asarray(ground.binned(np.array([0, len(flat)]), height * self.px, flat)[0])

    # -- refinement

    def _improved(self, state: _State, traced: _Traced) -> _Candidate:
        """Gauss-Newton steps within one linearisation of the physics, from the brightness
        factors that fit best; their coordinates change with the picture."""
        ground = canvas(float(self.rows[0]), len(self.rows), state.shift_px)
        columns = self._binned(ground, traced.height, traced.columns)
        lens = ground.lens(state.shift_px, state.optics)
        shown = _by_channel(lens.blurred(columns))
        state = replace(state, z=best_coordinates(shown, self.data, self.sigma))
        base = _Base(columns=columns, moved=self._by_physics(state, traced, ground, lens))
        last = self._linearised(state, traced, base, lens)
        prior = self._prior_of(state)
        for _ in range(_MOST_STEPS):
            right = _gradient(last) + prior * self._from_mean(state)
            normal = self._normal(state, last)
            step = bounded_step(normal, right, *self._room(state, traced.at))
            state = self._stepped(state, step)
            lens = ground.lens(state.shift_px, state.optics)
            last = self._linearised(state, traced, base, lens)
            if squared_length(step, normal) < _SETTLED**2:
                break
        return _Candidate(state=state, last=last, basis=traced.basis)

    def _normal(self, state: _State, last: _Linear) -> Array:
        """Normal matrix of profile and prior."""
        out = _normal(last)
        out.ravel()[:: len(out) + 1] += self._prior_of(state)
        return out

    def _by_physics(self, state: _State, traced: _Traced, ground: Canvas, lens: Lens) -> Array:
        """The profile's derivatives by the physics, (3, N, P)."""
        factors = traced.basis.factors(state.z)
        made = traced.pictures
        lit = made.lit(factors)
        shown = ground.binned(made.bounds, made.height * self.px, lit)[made.order]
        steps = traced.steps[:, None, None]
        change = (shown[1 : len(steps) + 1] - shown[0]) / steps
        flat = change.transpose(1, 2, 0).reshape(ground.bins, -1)
        return _by_channel(lens.blurred(flat))

    def _linearised(self, state: _State, traced: _Traced, base: _Base, lens: Lens) -> _Linear:
        summing = _summing(state.z)
        blurred = lens.blurred(base.columns)
        optical = lens.derivatives(base.columns @ summing)
        value = (blurred @ summing).T
        value += base.moved @ (state.physics - traced.at)
        shown = _by_channel(blurred)
        jacobian = np.concatenate(
            [optical.transpose(2, 1, 0), base.moved, shown[:, :, 1:]], axis=2
        )
        jacobian /= self.sigma[:, None, None]
        residual = (self.data.T - value) / self.sigma[:, None]
        return _Linear(
            residual=residual,
            jacobian=jacobian,
            weight=robust_weight(residual),
            shared=len(self.prior),
        )

    def _prior_of(self, state: _State) -> Array:
        """Precision of the prior for the whole vector, which is diagonal."""
        return np.concatenate([self.prior, np.ones(state.z.size)])

    def _from_mean(self, state: _State) -> Array:
        """Way back to the prior means, for the whole vector."""
        optics = [
            -state.shift_px,
            _PRIOR_LOG_BLUR[0] - state.optics.log_blur,
            _PRIOR_HALO[0] - state.optics.halo,
        ]
        return np.concatenate([optics, -state.physics, -state.z.ravel()])

    def _room(self, state: _State, at: Array) -> tuple[Array, Array]:
        """How far the shared unknowns may go down and up in one step."""
        optics = np.array([state.shift_px, state.optics.log_blur, state.optics.halo])
        low, high = optics - _STEP_OPTICS, optics + _STEP_OPTICS
        low[1:], high[1:] = (
            np.maximum(low[1:], _LEAST_OPTICS),
            np.minimum(high[1:], _MOST_OPTICS),
        )
        # The linearisation holds near where the rays were traced.
        near, far = at - _LONGEST_STEP, at + _LONGEST_STEP
        least = np.concatenate([low, np.maximum(near, self.lowest)])
        most = np.concatenate([high, np.minimum(far, self.highest)])
        return np.minimum(least - state.shared, 0.0), np.maximum(most - state.shared, 0.0)

    def _stepped(self, state: _State, step: Array) -> _State:
        own = len(self.prior)
        return _State(
            shift_px=state.shift_px + float(step[0]),
            optics=Spread(
                log_blur=state.optics.log_blur + float(step[1]),
                halo=state.optics.halo + float(step[2]),
            ),
            physics=state.physics + step[3:own],
            z=state.z + step[own:].reshape(state.z.shape),
        )

    # -- outcome

    def _result(self, state: _State, last: _Linear, rival_px: float) -> ApexFit:
        data_part = _normal(last)
        prior = self._prior_of(state)
        row = np.linalg.inv(data_part + np.diag(prior))[0]
        shares = row * prior * row
        own = len(self.prior)
        variances = dict.fromkeys(COMPONENTS, 0.0)
        for known, share in zip(self.priors, shares[3:own], strict=True):
            variances[known.name] += float(share)
        variances["brightness"] += float(shares[:3].sum() + shares[own:].sum())
        variances["brightness"] += self._u_rise_px(state) ** 2
        components = {name: math.sqrt(max(v, 0.0)) for name, v in variances.items()}
        components["tone"] = self._u_tone_px()
        if self.around.below.opaque_mirror:
            components["dome"] = self._taller_px(state) / math.sqrt(3.0)
        statistical = float(row @ data_part @ row)
        sure = math.sqrt(sum(u * u for u in components.values()) + statistical)
        components["ambiguity"] = rival_px
        misfit = misfit_of(
            last.residual.T * self.sigma, self.data, self.noise, self._near(state)
        )
        reason = self._doubt(state, misfit, rival_px / sure, self._gain(last))
        return ApexFit(
            position_px=state.shift_px,
            u_statistical_px=math.sqrt(statistical),
            u_model_px=math.sqrt(sum(u * u for u in components.values())),
            u_components_px=components,
            misfit=misfit,
            ok=not reason,
            reason=reason,
            blur_px=math.exp(state.optics.log_blur),
        )

    def _u_rise_px(self, state: _State) -> float:
        return abs(_rise_share(self.around) * self._rise_px(state))

    def _u_tone_px(self) -> float:
        return math.hypot(U_TONE_PX, U_COLOUR_PX if self._is_between_liquids() else 0.0)

    def _u_unfitted_px(self, state: _State) -> float:
        """What the fit itself knows nothing of."""
        return math.hypot(self._u_rise_px(state), self._u_tone_px())

    def _gain(self, last: _Linear) -> float:
        """What the meniscus explains beyond a smooth profile: drop of the robust cost, in
        units of the noise's variance."""
        smooth = np.polynomial.legendre.legvander(
            np.linspace(-1.0, 1.0, len(self.rows)), _SMOOTH_DEGREE
        )
        smooth = np.concatenate([smooth, self._lines()], axis=1)
        factors, *_ = np.linalg.lstsq(smooth, self.data, rcond=None)
        plain = self.data - smooth @ factors
        rest = last.residual.T * self.sigma
        # Graduations behind the tube count as noise in the fit, but are none.
        noise = noise_of(without_waves(self._lines(), self.data))
        sigma = np.hypot(noise, self.model_error)
        sigma *= math.sqrt(inflation_of(rest / sigma))
        return (robust_cost(plain / sigma) - robust_cost(rest / sigma)) / len(self.rows)

    def _lines(self) -> Array:
        """Graduations behind a tube without a level, (N, 2 H)."""
        view = self.around.view
        # The rows are those of the axis, nearer to the camera than the board.
        farther = 1.0 + view.axis_to_board_m / view.distance_m
        period = max(view.line_pitch_m * view.px_per_m / farther, 1e-9)
        each = 2.0 * math.pi / period * np.outer(self.rows, np.arange(1, harmonics(view) + 1))
        return np.concatenate([np.cos(each), np.sin(each)], axis=1)

    def _taller_px(self, state: _State) -> float:
        """By how much the height of a dome differs from what the contact angle supposed would
        make of it.

        The contact line is seen: where a lamp, or its image in the wall behind, is taken for
        the crown, the dome seems taller than it is by what the crown is off.
        """
        usual = [
            0.0 if prior.field == "contact_angle_rad" else q
            for prior, q in zip(self.priors, state.physics, strict=True)
        ]
        supposed = replace(state, physics=np.array(usual))
        return abs(self._rise_px(state) - self._rise_px(supposed))

    def _rise_px(self, state: _State) -> float:
        """Height of the contact line above the apex, px; negative for a dome."""
        physics = self._physics(state.physics)
        surface = meniscus_surface(
            physics.bore_radius_m, physics.capillary_length_m, physics.contact_angle_rad
        )
        return surface.wall_height_m * self.around.view.px_per_m

    def _near(self, state: _State) -> NDArray[np.bool_]:
        """Rows between the rims, and a little beyond."""
        rise = self._rise_px(state)
        margin = self.px * (abs(math.tan(self.around.view.elevation_rad)) + _NEAR)
        row = self.rows - state.shift_px
        near = (row > min(0.0, rise) - margin) & (row < max(0.0, rise) + margin)
        return near if near.any() else np.ones(len(row), dtype=bool)

    def _doubt(self, state: _State, misfit: float, ambiguity: float, gain: float) -> str:
        if gain < GAIN_LIMIT:
            return "meniscus_not_seen"
        if misfit > MISFIT_LIMIT:
            return "meniscus_unlike_model"
        if abs(state.shift_px) > self.search_px:
            return "apex_outside_search"
        if ambiguity > AMBIGUITY_LIMIT:
            return "level_ambiguous"
        return ""


_MOST_ROUNDS, _MOST_STEPS = 6, 8
_SETTLED, _TRACED_ALIKE = 0.1, 0.3
"""Standard deviations, of all unknowns together: a smaller step is left to the interval, which
it would widen by less than a hundredth; by so much fits scatter when rays are laid anew."""
_MOVED_ELSEWHERE, _MOVED = 2.0, 0.2
"""Where the position moves by no more than ``_MOVED`` of its combined uncertainty, all
unknowns together may move by so much: the next round would move it by half of that or less.
Of 67 fits to sample photos it ends 0.8 of 4.8 rounds before, and positions are as near to
where a dozen rounds with twice the rays end (0.25 of their uncertainty, root mean square)."""
_NEARER = 0.7
"""Step of a round over that of the one before, from which on what is left is the scatter of
rays laid anew: rounds on their way to a place halve their steps or better (24 fits to sample
photos)."""
_MINIMA, _MORE_THAN_STARTS = 3, 2
"""Of one start's search; how many more than there are starts are refined of all searches'.
Between two liquids all are: the right one may be the second best of its place before its
contact angle is fitted (two of 125 levels were a quarter of a bore off without)."""
_CANDIDATE_COST = 2.5
"""Minima of the search up to this times the lowest are refined."""
_SAME_PLACE_PX = 1.0
"""Minima on the grid of whole pixels no farther apart are of one place."""

_TEMPER, _TEMPER_COVERED = 2.0, 4.0
"""The evidence takes the model for true; its logarithm counts for half (common practice, no
source), between two liquids, where columns beside the axis have a say, for a quarter: of 123
such levels in drawn and traced photos, some made smaller, the right places' share has a mean
logarithm of -0.22 (-0.27 by the axis alone, whose own best is a half).  Compared before rays
were traced anew for each, places had -0.27, and -0.40 by the axis alone."""

BESIDE = 0.5
"""Section off the axis, in bore radii, that tells rival places apart: the bowl is higher
there, its rim is not.  Sections 0.3 and 0.7 off tell them apart less well (those levels)."""
_U_TILTED_PX = 0.5
"""The level may stand so much higher or lower there than the rows of the picture (one degree,
in bores of 60 px)."""

_START_ANGLES = (-1.0, 0.0, 1.0)
"""Prior standard deviations of the contact angle, where several places may fit alike."""

_STEP_OPTICS = np.array([1.5, 0.5, 1.0])
_LEAST_OPTICS, _MOST_OPTICS = np.array([-1.6, -0.5]), np.array([1.8, 2.0])
"""Of shift [px], logarithm of the blur, sharpening: longest steps; bounds of the last two."""
_FARTHEST = 3.0
"""Prior standard deviations that the physics may be off."""
_LONGEST_STEP = 1.5
"""Prior standard deviations from where the rays were traced; beyond, no step is believed."""


def _places_first(found: list[tuple[float, float, int]]) -> list[tuple[float, int]]:
    """Order minima, each a cost, a shift and the start that it is of: the best of each place,
    then second bests; those of far higher cost left out.

    Starts share their places, and the one with the best minimum there would else be the only
    one looked at.
    """
    found = sorted(found)
    ranked: list[tuple[int, float, float, int]] = []
    for cost, shift, number in found:
        if cost > _CANDIDATE_COST * found[0][0]:
            break
        before = sum(abs(shift - other) <= _SAME_PLACE_PX for _, _, other, _ in ranked)
        ranked.append((before, cost, shift, number))
    return [(shift, number) for _, _, shift, number in sorted(ranked)]


def _said_by(sides: Sequence[_Fit], states: list[_State]) -> Array:
    """What profiles beside the axis add to the implausibility of states found on it, (S,).

    The one that tells them apart less counts for both: the other may show a reflection.
    """
    if len(states) == 1 or not sides:
        return np.zeros(len(states))
    each = []
    for side in sides:
        cost, inflation = np.array([side.left_unexplained(state) for state in states]).T
        each.append((cost - cost.min()) / inflation.min())
    return np.asarray(len(each) * np.min(each, axis=0))


def _summing(z: Array) -> Array:
    """What sums up columns (N, 3 (1 + k)), each channel's own, with coordinates (3, k); as a
    matrix (3 (1 + k), 3), since one product takes less time than three short ones."""
    factors = np.concatenate([np.ones((3, 1)), z], axis=1)
    out = np.zeros((3, *factors.shape))
    out[range(3), range(3)] = factors
    return out.reshape(3, -1).T


def _by_channel(columns: Array) -> Array:
    """From (N, 3 C) to (3, N, C)."""
    return np.asarray(columns.reshape(len(columns), 3, -1).transpose(1, 0, 2))


def _normal(last: _Linear) -> Array:
    """Normal matrix of all unknowns: the shared ones, then channel after channel."""
    weighted = last.jacobian * last.weight[:, :, None]
    parts = weighted.transpose(0, 2, 1) @ last.jacobian
    s, k = last.shared, parts.shape[1] - last.shared
    out = np.zeros((s + 3 * k, s + 3 * k))
    out[:s, :s] = parts[:, :s, :s].sum(axis=0)
    for c in range(3):
        own = slice(s + c * k, s + (c + 1) * k)
        out[:s, own], out[own, :s] = parts[c, :s, s:], parts[c, s:, :s]
        out[own, own] = parts[c, s:, s:]
    return out


def _is_near(length: float, moved: Array, normal: Array, u_unfitted_px: float) -> bool:
    """Whether rays traced where a fit has ended would show the position to be the same.

    ``length`` is the square of the move from where they were traced, by all unknowns;
    ``u_unfitted_px`` is the position's uncertainty beyond that of the fit.
    """
    if length < _TRACED_ALIKE**2:
        return True
    if length >= _MOVED_ELSEWHERE**2:
        return False
    variance = np.linalg.inv(normal)[0, 0] + u_unfitted_px**2
    return bool(moved[0] ** 2 < _MOVED**2 * variance)


def _gradient(last: _Linear) -> Array:
    """Jacobian, weighted, times residual, in the same order."""
    parts = ((last.weight * last.residual)[:, None] @ last.jacobian)[:, 0]
    return np.concatenate(
        [parts[:, : last.shared].sum(axis=0), parts[:, last.shared :].ravel()]
    )


def _minima(costs: Array) -> list[int]:
    """The lowest local minima, best first."""
    padded = np.concatenate([[np.inf], costs, [np.inf]])
    low = np.flatnonzero((costs <= padded[:-2]) & (costs < padded[2:]))
    low = low[np.argsort(costs[low])]
    return [int(k) for k in low[:_MINIMA]]
