"""Fits of one apex held against each other."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from limbsight.calib.meniscus import AMBIGUOUS, COVERAGE_FACTOR, UNLIKE, ApexFit
from limbsight.calib.meniscus_outcome import AMBIGUITY_LIMIT, MISFIT_LIMIT, SPOILT

ROOT3 = math.sqrt(3.0)
"""Half width of a rectangle over its standard uncertainty."""
DOUBTED = 2.0
"""Uncertainty of a fit beside the axis that does not look like a meniscus, over what it states
(common practice, no source)."""


def widened(fit: ApexFit, name: str, half_width_px: float) -> ApexFit:
    """Add what another fit, begun there, differs by, as the half width of a rectangle.

    For lines behind the tube that fit leaves them out of the model: where a line beside the
    meniscus can be taken for part of it, the two part.
    """
    return _with_components(
        fit, {**fit.u_components_px, name: float(abs(half_width_px)) / ROOT3}
    )


def mean_of(fit: ApexFit, others: list[ApexFit]) -> ApexFit:
    """Weighted mean of a fit and others begun there.

    What is known only roughly is common to all, so uncertainties average as they stand; what
    the fits differ by adds the standard deviation of their mean.  One that does not look like
    a meniscus counts as twice as uncertain.
    """
    fits = [replace(fit, position_px=0.0), *others]
    likely = [one.is_likely for one in fits]
    u = np.array([one.u_px for one in fits]) * np.where(likely, 1.0, DOUBTED)
    weight = u**-2.0 / np.sum(u**-2.0)
    position = np.array([one.position_px for one in fits])
    mean = float(weight @ position)
    components = {
        name: float(weight @ [one.u_components_px.get(name, 0.0) for one in fits])
        for name in fit.u_components_px
    }
    rivals = components["ambiguity"]
    statistical = float(weight @ [one.u_statistical_px for one in fits])
    apart = weight @ np.square(position - mean) / max(len(others), 1)
    components["room"] = float(np.hypot(components.get("room", 0.0), np.sqrt(apart)))
    together = _with_components(fit, components)
    sure = math.sqrt(max(together.u_model_px**2 - rivals**2, 0.0) + statistical**2)
    ambiguous = not fit.ok and rivals > AMBIGUITY_LIMIT * sure
    return replace(
        together,
        position_px=fit.position_px + mean,
        u_statistical_px=statistical,
        ok=not ambiguous,
        reason=AMBIGUOUS if ambiguous else "",
    )


def mean_of_all(fits: list[ApexFit]) -> ApexFit:
    """Weighted mean of fits with positions counted from one row."""
    first, *others = fits
    if not others:
        return first
    return mean_of(
        first,
        [replace(one, position_px=one.position_px - first.position_px) for one in others],
    )


def settled(fit: ApexFit, others: list[ApexFit]) -> ApexFit:
    """Drop the rivals of a fit that those left and right of the axis, begun there, confirm.

    Rims and the limit of total reflection, which may be taken for each other, rise away from
    the axis, each by its own law; the apex stays where it is.  A fit that has rivals of its
    own confirms nothing (two levels of one photo of 108 were 1 mm off at u 0.3).
    """
    farthest = max(abs(other.position_px) for other in others)
    if not all(
        other.reason != AMBIGUOUS
        and abs(other.position_px) < np.hypot(_u_without_rivals(fit), _u_without_rivals(other))
        for other in others
    ):
        return fit
    confirmed = _with_components(fit, {**fit.u_components_px, "ambiguity": farthest})
    return replace(confirmed, ok=True, reason="")


def same_level(fit: ApexFit, other: ApexFit, u_beside_px: float) -> bool:
    """Whether one beside a fit, begun there, finds the same level.

    One that finds another place as good must have come to this one; one that sees nothing
    like a meniscus may have stayed where it began.
    """
    if not other.is_likely:
        return False
    rest = _u_without_rivals(other)
    return abs(other.position_px) < COVERAGE_FACTOR * math.hypot(fit.u_px, rest, u_beside_px)


def is_spoilt(fit: ApexFit) -> bool:
    """Whether a fit does not look like a meniscus, but misses no more than beside lamps."""
    return fit.reason in UNLIKE and fit.misfit <= SPOILT * MISFIT_LIMIT


def agree(left: ApexFit, right: ApexFit) -> bool:
    """Whether both look like a meniscus, at one height."""
    reach = COVERAGE_FACTOR * math.hypot(left.u_px, right.u_px)
    return left.ok and right.ok and abs(left.position_px - right.position_px) <= reach


def _with_components(fit: ApexFit, components: Mapping[str, float]) -> ApexFit:
    u_model = math.sqrt(sum(u * u for u in components.values()))
    return replace(fit, u_components_px=components, u_model_px=u_model)


def _u_without_rivals(fit: ApexFit) -> float:
    """Standard uncertainty of one of the places of a fit that finds several [px]."""
    ambiguity = fit.u_components_px.get("ambiguity", 0.0)
    return math.sqrt(max(fit.u_px**2 - ambiguity**2, 0.0))
