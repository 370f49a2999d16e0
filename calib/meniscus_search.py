"""Where a level may be: minima of a search by whole pixels, each refined.

A minimum depends on the picture it is searched with, so there are several starts wherever
steps from one would not lead to the other, and the best minima of each place go on.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus_basis import FactorPrior
from limbsight.calib.meniscus_blur import canvas
from limbsight.calib.meniscus_cost import costs_at_shifts
from limbsight.calib.meniscus_factors import harmonics, is_uneven
from limbsight.calib.meniscus_optics import Paths
from limbsight.calib.meniscus_picture import Picture, pictures
from limbsight.calib.meniscus_priors import START_OPTICS
from limbsight.calib.meniscus_profile import Profile
from limbsight.calib.meniscus_refinement import Candidate, State, refined
from limbsight.calib.meniscus_surroundings import same_rays
from limbsight.calib.meniscus_tracing import (
    Traced,
    by_channel,
    in_bins,
    picture_basis,
    traced,
)

Array = NDArray[np.float64]

_START_ANGLES = (-1.0, 0.0, 1.0)
"""Prior standard deviations of the contact angle, where several places may fit alike."""

_MINIMA, _MORE_THAN_STARTS = 3, 2
"""Of one start's search; how many more than there are starts are refined of all searches'.
Between two liquids all are: the right one may be the second best of its place before its
contact angle is fitted (two of 125 levels were a quarter of a bore off without)."""
_ENOUGH_TO_TELL = 2
"""Places to tell how a wall is wetted by: of 34 photos with tubes of plastic, oils among them,
17 are told, 18 with every place, and one tube of glass in place of two passes for plastic."""
_CANDIDATE_COST = 2.5
"""Minima of the search up to this times the lowest are refined."""
_SAME_PLACE_PX = 1.0
"""Minima on the grid of whole pixels no farther apart are of one place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Starts:
    """Pictures at the points where the search begins, and all about such a point."""

    pictures: list[Picture]
    at: Callable[[int], Traced]


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class _Minimum:
    """Of the search with the picture of one start; ordered by cost."""

    cost: float
    shift_px: float
    start: int


def find_candidates(profile: Profile, light: Paths) -> list[Candidate]:
    """Places that the level may have: the minima of the search, refined."""
    starts = _starts(profile, light)
    places = _places_first(_minima_of(profile, starts))
    if not profile.around.is_between_liquids:
        places = places[: _MORE_THAN_STARTS + len(starts.pictures)]
    candidates = [
        _refined_from(profile, starts.at(place.start), place.shift_px) for place in places
    ]
    if profile.around.below.opaque_mirror or not _has_rivals(profile):
        return candidates
    # Places are compared by what their fits come to with rays traced where they are; of
    # mercury the rim tells them apart (58 levels were no nearer for it).
    return [
        refined(profile, each.state, traced(profile, each.state.physics, light))
        for each in candidates
    ]


def likeliest_places(profile: Profile, light: Paths) -> list[Candidate]:
    """The best places of the search alone, refined once: enough to hold a supposition against
    another one, in a third of the time."""
    starts = _starts(profile, light)
    places = _places_first(_minima_of(profile, starts))[:_ENOUGH_TO_TELL]
    return [_refined_from(profile, starts.at(place.start), place.shift_px) for place in places]


def _has_rivals(profile: Profile) -> bool:
    """Whether several places may fit alike: beside lines, too, parts of the meniscus are
    taken for lines and lines for parts of it; and how deep a flat bowl is depends much on
    its contact angle."""
    around = profile.around
    hard = around.below.opaque_mirror or around.is_between_liquids
    return hard or profile.supposed.is_flat or harmonics(around.view) > 0


# --- starts --------------------------------------------------------------------------------


def _start_points(profile: Profile) -> list[Array]:
    """Where to trace first: at several contact angles where they are little known; and,
    which costs no rays, in the other light that a liquid may stand in.

    A dark liquid is as dark whether the board behind it is lit through it and part of the
    colour sits on the glass, or lit past it and all colour is in the liquid.  What is seen
    of the bowl differs, and steps do not lead from one to the other.
    """
    moved = profile.supposed.moved
    angles = _START_ANGLES if _has_rivals(profile) else (0.0,)
    out = [moved(contact_angle_rad=angle) for angle in angles]
    if not profile.around.below.opaque_mirror:
        # Rays are shared by pictures that differ in light alone.
        away, first = -math.inf, angles[0]
        out.append(moved(contact_angle_rad=first, lit_through=away, skin_below=away))
    return out


def _starts(profile: Profile, light: Paths) -> _Starts:
    """Pictures to search with; steps from them where they are needed."""
    points = _start_points(profile)
    first, *others = [profile.supposed.physics(point) for point in points]
    by_light = [same_rays(first, other) for other in others]

    @cache
    def at(number: int) -> Traced:
        if number == 0:
            also = others if all(by_light) else []
            return traced(profile, points[0], light, also=also)
        like = at(0).pictures if by_light[number - 1] else None
        return traced(profile, points[number], light, like=like)

    if all(by_light):
        # The same rays serve to search and for the steps.
        made, before = at(0).pictures, len(profile.supposed.priors)
    else:
        made, before = pictures(profile.around, first, others, light), 0
    numbers = [0, *(before + k for k in range(1, len(points)))]
    return _Starts(pictures=[made.only(number) for number in numbers], at=at)


def _refined_from(profile: Profile, start: Traced, shift_px: float) -> Candidate:
    state = State(
        shift_px=shift_px,
        optics=START_OPTICS,
        physics=start.at,
        z=np.zeros((3, start.basis.size)),
    )
    return refined(profile, state, start)


# --- minima --------------------------------------------------------------------------------


def _minima_of(profile: Profile, starts: _Starts) -> list[_Minimum]:
    """The lowest minima of each start on a grid of whole pixels, without the board's
    unevenness."""
    even = ~is_uneven(len(profile.factors.mean))
    factors = profile.factors.only(even)
    return [
        _Minimum(cost=cost, shift_px=shift, start=number)
        for number, picture in enumerate(starts.pictures)
        for cost, shift in _search(
            profile, replace(picture, value=picture.value[:, :, even]), factors
        )
    ]


def _search(
    profile: Profile, picture: Picture, factors: FactorPrior
) -> list[tuple[float, float]]:
    """Costs and positions of the lowest minima."""
    rows, reach = profile.rows_px, math.ceil(profile.search_px)
    basis = picture_basis(profile, picture, factors)
    ground = canvas(rows[0] - reach, len(rows) + 2 * reach, 0.0)
    columns = in_bins(profile, ground, picture.height, basis.columns(picture.value))
    shown = by_channel(ground.lens(0.0, START_OPTICS).blurred(columns))
    costs = costs_at_shifts(shown, profile.values, profile.sigma)
    return [(float(costs[k]), float(k - reach)) for k in _lowest(costs)]


def _lowest(costs: Array) -> list[int]:
    """The lowest local minima, best first."""
    padded = np.concatenate([[np.inf], costs, [np.inf]])
    low = np.flatnonzero((costs <= padded[:-2]) & (costs < padded[2:]))
    low = low[np.argsort(costs[low])]
    return [int(k) for k in low[:_MINIMA]]


def _places_first(found: list[_Minimum]) -> list[_Minimum]:
    """Order minima: the best of each place, then second bests; those of far higher cost left
    out.

    Starts share their places, and the one with the best minimum there would else be the only
    one looked at.
    """
    found = sorted(found)
    ranked: list[tuple[int, _Minimum]] = []
    for each in found:
        if each.cost > _CANDIDATE_COST * found[0].cost:
            break
        before = sum(
            abs(each.shift_px - other.shift_px) <= _SAME_PLACE_PX for _, other in ranked
        )
        ranked.append((before, each))
    return [each for _, each in sorted(ranked)]
