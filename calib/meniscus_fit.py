"""Position of the apex by fitting the traced picture of a meniscus to a photo's profile.

Position and blur are searched over with the physics as supposed; then everything, and the
physics known only roughly (indices, capillary length, contact angle, bore, elevation), goes
into one robust least-squares fit with the prior knowledge as further observations
(JCGM 102:2011; A. Gelman et al., *Bayesian Data Analysis*, ch. 14).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus import (
    ApexFit,
    FluidOptics,
    MeniscusPhysics,
    TubeView,
)
from limbsight.calib.meniscus_cost import inflation_of
from limbsight.calib.meniscus_light import light_paths
from limbsight.calib.meniscus_optics import Paths
from limbsight.calib.meniscus_outcome import outcome, u_unfitted_px, unreadable
from limbsight.calib.meniscus_profile import (
    FEWEST_ROWS,
    Profile,
    profile_of,
    rows_within,
    without_reflections,
)
from limbsight.calib.meniscus_refinement import Candidate, normal_with_prior, refined
from limbsight.calib.meniscus_rivals import (
    BESIDE,
    Choice,
    Explained,
    choose,
    compared,
)
from limbsight.calib.meniscus_search import find_candidates, likeliest_places
from limbsight.calib.meniscus_step import squared_length
from limbsight.calib.meniscus_tracing import traced

Array = NDArray[np.float64]

_FARTHEST_ASIDE = 0.95
"""Off the axis, in bore radii, that a section is traced for columns beside it."""

OUTSIDE = 2.0 * math.log(100.0)
"""For a supposition, if the other one finds the apex beyond where it was looked for: all but
one in a hundred are within (``limbsight.calib.level_strip.Search``)."""

_MOST_ROUNDS = 6
_TRACED_ALIKE = 0.3
"""Standard deviations, of all unknowns together: by so much fits scatter when rays are laid
anew."""
_MOVED_ELSEWHERE, _MOVED = 2.0, 0.2
"""Where the position moves by no more than ``_MOVED`` of its combined uncertainty, all
unknowns together may move by so much: the next round would move it by half of that or less.
Of 67 fits to sample photos it ends 0.8 of 4.8 rounds before, and positions are as near to
where a dozen rounds with twice the rays end (0.25 of their uncertainty, root mean square)."""
_NEARER = 0.7
"""Step of a round over that of the one before, from which on what is left is the scatter of
rays laid anew: rounds on their way to a place halve their steps or better (24 fits to sample
photos)."""


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
    unwetted: MeniscusPhysics | None = None,
) -> ApexFit:
    """Position of a meniscus's apex along the tube's axis.

    Parameters
    ----------
    rows_px : (N,) array
        Positions along the axis, one pixel apart, growing upward, relative to a rough guess
        of the apex.  ``meniscus_profile.window_m`` says how far they should reach.
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
        help to tell rival places between liquids apart, and how the wall is wetted.
    unwetted
        The interface in a tube that the liquid does not wet, to be held against ``interface``.

    Returns
    -------
    ApexFit
        Never raises for a picture that does not fit: ``ok`` is false then.
    """
    chosen = rows_within(rows_px, view, interface, search_px=vertical_search_px)
    rows, values = rows_px[chosen], profile[chosen]
    if profile_columns is not None:
        values = without_reflections(values, profile_columns[chosen])
    if len(rows) < FEWEST_ROWS or not np.isfinite(values).all():
        return unreadable()
    bore_px = view.bore_radius_m * view.px_per_m
    # Inside, things seem wider by the index.
    aside = aside_px / bore_px / (1.0 if below.opaque_mirror else below.refractive_index)
    aside = min(aside, _FARTHEST_ASIDE)

    def supposing(interface: MeniscusPhysics) -> _Supposition:
        whole = partial(
            profile_of,
            rows,
            view=view,
            below=below,
            above=above,
            interface=interface,
            search_px=vertical_search_px,
        )
        return _Supposition(
            profile=whole(values, half_width=half_width_px / bore_px, aside=aside),
            sides=[whole(seen[chosen], aside=BESIDE) for seen in beside],
        )

    here = supposing(interface)
    sides = here.sides if here.profile.around.is_between_liquids else []
    best = choose(here.profile, find_candidates(here.profile, here.light), sides)
    fit = here.outcome(best)
    if unwetted is None:
        return fit
    explained = here.explained(best)
    return replace(fit, for_wetting=_for_wetting(explained, fit, supposing(unwetted)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Supposition:
    """The rows on the axis and beside it, with one interface supposed."""

    profile: Profile
    sides: list[Profile]

    @property
    def light(self) -> Paths:
        return light_paths(self.profile.around, self.profile.supposed.nominal)

    def explained(self, best: Choice) -> Explained:
        return Explained(profile=self.profile, candidate=best.candidate, sides=self.sides)

    def outcome(self, best: Choice) -> ApexFit:
        """What the fit comes to from there."""
        inflation = inflation_of(best.candidate.last.residual.T)
        sigma = self.profile.sigma * math.sqrt(inflation)
        profile = replace(self.profile, sigma=sigma)
        end = _settled(profile, best.candidate, self.light)
        return outcome(profile, end.state, end.last, rival_px=best.rival_px)


def _for_wetting(wetted: Explained, fit: ApexFit, other: _Supposition) -> float | None:
    """How much better the supposed wetting explains the rows than the other one; None where
    neither makes a meniscus of them, so that which misses it by less says nothing."""
    inside = [
        each
        for each in likeliest_places(other.profile, other.light)
        if abs(each.state.shift_px) <= other.profile.search_px
    ]
    if not inside:
        return OUTSIDE if fit.ok else None
    best = choose(other.profile, inside)
    for_it = compared(wetted, other.explained(best))
    seen = fit if for_it > 0.0 else other.outcome(best)
    return for_it if seen.is_likely else None


def _settled(profile: Profile, candidate: Candidate, light: Paths) -> Candidate:
    """Refine in rounds, rays traced anew where the one before has ended, until it stands still
    or comes no nearer."""
    before = math.inf
    for _ in range(_MOST_ROUNDS):
        at = candidate.state
        here = traced(profile, at.physics, light, basis=candidate.basis)
        candidate = refined(profile, at, here)
        state = candidate.state
        moved = state.shared - at.shared
        normal = normal_with_prior(profile, state, candidate.last)
        length = squared_length(moved, normal)
        near = _is_near(length, moved, normal, u_unfitted_px(profile, state))
        if near or length > _NEARER**2 * before:
            break
        before = length
    return candidate


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
