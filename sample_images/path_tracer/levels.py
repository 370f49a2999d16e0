"""What stands in the limbs, and up to where. Heights in mm; ranges are our own choice."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_images.path_tracer.draws import Rng, chance
from sample_images.path_tracer.liquids import AIR, KEROSENE, SEAL, WATER
from sample_images.path_tracer.plan import Plan


@dataclass(frozen=True, slots=True)
class Column:
    """One limb: its fluids from below, and the heights of the surfaces between them."""

    fluids: tuple[str, ...]
    levels_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Filling:
    """All limbs; those whose levels must not be read are ``hidden``."""

    columns: tuple[Column, ...]
    hidden: tuple[int, ...] = ()

    @property
    def levels_mm(self) -> list[float]:
        return [y for column in self.columns for y in column.levels_mm]


def fill(rng: Rng, plan: Plan) -> Filling:
    """Fill the limbs of an instrument."""
    margin = 0.06 * plan.scale.length_mm + 3
    low, high = plan.lowest_mm + margin, plan.highest_mm - margin
    heights = _heights(rng, plan, low, high)
    hidden: tuple[int, ...] = ()
    if plan.cls == "neg_outofrange":
        hidden = (_leave_scale(rng, plan, heights, low, high),)
    if plan.kind == "utube_seal":
        return Filling(_sealed(rng, plan, heights, high), hidden)
    columns = []
    for limb, y in enumerate(heights):
        above = AIR
        if plan.kind == "utube_leg" and limb == 0:
            above = KEROSENE if plan.fluid.startswith("water") else WATER
        columns.append(Column((plan.fluid, above), (y,)))
    return Filling(tuple(columns), hidden)


def _heights(rng: Rng, plan: Plan, low: float, high: float) -> list[float]:
    length, count = plan.scale.length_mm, len(plan.limbs_mm)

    def within(y: float) -> float:
        return float(np.clip(y, low, high))

    if count == 2:
        middle = (plan.lowest_mm + plan.highest_mm) / 2 + rng.uniform(-0.12, 0.12) * length
        off = rng.uniform(-0.36, 0.36) * length
        return [within(middle - off), within(middle + off)]
    if plan.kind != "bank":
        return [plan.lowest_mm + length * rng.uniform(0.1, 0.9)]
    middle, swing = rng.uniform(0.35, 0.65), rng.uniform(0.05, 0.28)
    heights = []
    for limb in range(count):
        wave = math.sin(limb * rng.uniform(0.3, 0.9) + rng.uniform(0, 1))
        share = middle + swing * wave + rng.normal(0, 0.04)
        heights.append(within(plan.lowest_mm + length * share))
    return heights


def _leave_scale(rng: Rng, plan: Plan, heights: list[float], low: float, high: float) -> int:
    """Move one level beyond the scale; its limb."""
    limb = int(rng.integers(len(heights)))
    if chance(rng, 0.6):
        heights[limb] = plan.highest_mm + rng.uniform(6, 18)
    else:
        heights[limb] = plan.lowest_mm - rng.uniform(4, 9)
    if len(heights) == 2 and chance(rng, 0.5):
        mirrored = plan.lowest_mm + plan.highest_mm - heights[limb]
        heights[1 - limb] = float(np.clip(mirrored, low, high))
    return limb


def _sealed(rng: Rng, plan: Plan, heights: list[float], high: float) -> tuple[Column, ...]:
    """Plugs of one length over the liquid."""
    plug = rng.uniform(8, 26)
    columns = []
    for height in heights:
        y = min(height, high - plug)
        columns.append(Column((plan.fluid, SEAL, AIR), (y, y + plug)))
    return tuple(columns)
