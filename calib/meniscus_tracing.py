"""Pictures that a fit needs about one point of the physics, in the few columns that count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.meniscus_basis import Basis, FactorPrior, basis_of
from limbsight.calib.meniscus_blur import Canvas
from limbsight.calib.meniscus_optics import Paths
from limbsight.calib.meniscus_picture import Picture, Pictures, pictures
from limbsight.calib.meniscus_priors import Supposed
from limbsight.calib.meniscus_profile import Profile
from limbsight.calib.meniscus_surroundings import Physics

Array = NDArray[np.float64]

_STEP = 0.5
"""Finite difference in the physics, in prior standard deviations."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Traced:
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


def traced(
    profile: Profile,
    at: Array,
    light: Paths,
    *,
    like: Pictures | None = None,
    also: Sequence[Physics] = (),
    basis: Basis | None = None,
) -> Traced:
    """The picture at one point of the physics, the steps from it, and what is wanted
    ``also``; ``like`` is of a point that differs in light alone, ``basis`` from near."""
    base = profile.supposed.physics(at)
    steps, others = _variants(profile.supposed, base)
    bundle = pictures(profile.around, base, [*others, *also], light, like=like)
    picture = bundle.only(0)
    basis = basis or picture_basis(profile, picture, profile.factors)
    return Traced(
        at=at,
        steps=steps,
        pictures=bundle,
        height=picture.height,
        basis=basis,
        columns=basis.columns(picture.value),
    )


def picture_basis(profile: Profile, picture: Picture, factors: FactorPrior) -> Basis:
    """The combinations of brightness factors that the profile can tell apart."""
    rows = profile.rows_px
    low, high = rows[0] - profile.search_px, rows[-1] + profile.search_px
    seen = np.clip(picture.height * profile.bore_px, low, high)
    half = 0.5 * np.diff(seen)
    stands_for = np.append(half, 0.0)
    stands_for[1:] += half
    return basis_of(picture.value, stands_for, profile.sigma, factors)


def in_bins(profile: Profile, ground: Canvas, height: Array, columns: Array) -> Array:
    """Columns (3, R, C) of one picture in the bins, (bins, 3 C)."""
    flat = columns.transpose(1, 0, 2).reshape(columns.shape[1], -1)
    height_px = height * profile.bore_px
    return np.asarray(ground.binned(np.array([0, len(flat)]), height_px, flat)[0])


def by_channel(columns: Array) -> Array:
    """From (N, 3 C) to (3, N, C)."""
    return np.asarray(columns.reshape(len(columns), 3, -1).transpose(1, 0, 2))


def _variants(supposed: Supposed, base: Physics) -> tuple[Array, list[Physics]]:
    """One step in each unknown, away from its bound; sizes as taken, in priors' u."""
    steps, others = [], []
    for prior in supposed.priors:
        value = getattr(base, prior.field)
        moved = value + _STEP * prior.u
        if moved > prior.high:
            moved = value - _STEP * prior.u
        steps.append((moved - value) / prior.u)
        others.append(replace(base, **{prior.field: moved}))
    return np.array(steps), others
