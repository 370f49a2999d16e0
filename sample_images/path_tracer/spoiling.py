"""What makes a photograph unreadable after the instrument is up. Our own choice."""

from __future__ import annotations

from dataclasses import dataclass

from sample_images.path_tracer.camera import View
from sample_images.path_tracer.draws import Rng, chance
from sample_images.path_tracer.kinds import is_negative
from sample_images.path_tracer.levels import Filling
from sample_images.path_tracer.plan import Plan

SHARP = 0.6
"""Blur of negatives that are not to be blurred [px]."""


@dataclass(frozen=True, slots=True)
class Glare:
    """A burnt-out spot, px of the picture before it is cropped."""

    x_px: float
    y_px: float
    radius_px: float


@dataclass(frozen=True, slots=True)
class Spoil:
    """What the phone has to do; None leaves it to chance. Lengths in px.

    ``hidden`` are limbs whose levels can't be read any more.
    """

    blur: float | None = None
    motion: float | None = None
    glare: Glare | None = None
    hidden: tuple[int, ...] = ()


def draw(rng: Rng, plan: Plan, filling: Filling, view: View) -> Spoil:
    """What is done to a photograph of a class."""
    count = len(plan.limbs_mm)
    everything = tuple(range(count))
    if plan.cls in ("neg_missing", "neg_small"):
        return Spoil(SHARP, hidden=everything)
    if plan.cls == "neg_blur":
        if chance(rng, 0.6):
            blur = float(max(8, 1.3 * view.division_px) * rng.uniform(1, 1.5))
            return Spoil(blur, hidden=everything)
        motion = float(max(28, 4 * view.division_px) * rng.uniform(1, 1.6))
        return Spoil(4.0, motion, hidden=everything)
    if plan.cls == "neg_glare":
        limb = int(rng.integers(count))
        return Spoil(SHARP, glare=_glare(rng, plan, filling, view, limb), hidden=(limb,))
    return Spoil(SHARP if is_negative(plan.cls) else None)


def _glare(rng: Rng, plan: Plan, filling: Filling, view: View, limb: int) -> Glare:
    """A spot over a level, as large as a lamp's reflection on the tube."""
    level = filling.columns[limb].levels_mm[0]
    camera = view.camera
    x, y = camera.project((plan.limbs_mm[limb], level, plan.axis_mm))
    radius = rng.uniform(9, 16) * camera.focal_px / camera.distance_mm
    return Glare(x + camera.crop[0], y + camera.crop[1], float(radius))
