"""Tubes with what is in them: walls, surfaces, bubbles, each with what it borders on."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_images.path_tracer import meniscus, tubes
from sample_images.path_tracer.colour import Floats, one_texel
from sample_images.path_tracer.draws import Rng, pick
from sample_images.path_tracer.levels import Filling
from sample_images.path_tracer.liquids import AIR, MERCURY, Liquids
from sample_images.path_tracer.meshes import Mesh
from sample_images.path_tracer.plan import Plan
from sample_images.path_tracer.stage import Coat, Stage
from sample_images.path_tracer.tubes import CentreLine

INCLINE_DEG = 20.0
"""Of inclined tubes above the horizontal."""
BEND_POINTS = 65
TUBE_IN_BLOCK_MM = 12
MERCURY_IN_GLASS = (0.865, 0.86, 0.855)
MERCURY_BARE = (0.895, 0.89, 0.885)
"""sRGB of what mercury reflects, square on. From memory."""
BUBBLE_ROUNDNESS = 40
"""Ends of bubbles are as round as if gravity were so much weaker: the liquid above hangs."""

Bubbles = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Glassware:
    """``upward`` is against gravity: the tubes and their board may lean.

    ``broken`` is the limb whose column bubbles break, if any.
    """

    top_mm: float
    upward: Floats
    liquids: Liquids
    broken: int | None


@dataclass(frozen=True, slots=True)
class _Surface:
    """Where one fluid ends and the next begins along a centre line.

    ``upward`` as of :func:`meniscus.surface`; ``of_bubble`` if it is no level.
    """

    s: float
    before: str
    after: str
    upward: int
    of_bubble: bool = False

    @property
    def lower(self) -> str:
        return self.before if self.upward > 0 else self.after

    @property
    def upper(self) -> str:
        return self.after if self.upward > 0 else self.before


def put_up(stage: Stage, rng: Rng, plan: Plan, filling: Filling) -> Glassware:
    """Tubes of an instrument."""
    top = plan.board_height_mm - rng.uniform(6, 20)
    upward, tilt = np.array([0, 1.0, 0]), 0.0
    if plan.kind == "inclined":
        side, angle = pick(rng, -1, 1), math.radians(90 - INCLINE_DEG)
        upward = np.array([side * math.sin(angle), math.cos(angle), 0])
        tilt = -side * angle
    liquids = Liquids(rng, plan.inner_mm)
    broken: int | None = None
    bubbles: Bubbles = ()
    if plan.cls == "neg_broken":
        broken, bubbles = _bubbles(rng, plan, filling)
    for line, limbs in _lines(plan, top):
        surfaces: list[_Surface] = []
        for limb in limbs:
            down = plan.bend and limb == 0
            surfaces += _levels(line, plan, filling, limb, top, down=down)
            if limb == broken:
                surfaces += _bubble_ends(line, plan, bubbles, top, down=down)
        surfaces.sort(key=lambda surface: surface.s)
        _tube(stage, plan, line, surfaces, liquids, tilt)
    for name, absorption in liquids.absorptions.items():
        stage.absorptions[name] = absorption
    return Glassware(top, upward, liquids, broken)


def _lines(plan: Plan, top: float) -> list[tuple[CentreLine, tuple[int, ...]]]:
    """Centre lines of the tubes, and the limbs of each: one bent tube or straight ones."""
    limbs, z = plan.limbs_mm, plan.axis_mm
    if not plan.bend:
        bottom = plan.foot_mm - TUBE_IN_BLOCK_MM
        return [(CentreLine([(x, bottom), (x, top)], z), (i,)) for i, x in enumerate(limbs)]
    radius = plan.apart_mm / 2
    bend = [
        (radius * math.cos(a), plan.foot_mm + radius * math.sin(a))
        for a in np.linspace(np.pi, 2 * np.pi, BEND_POINTS)
    ]
    return [(CentreLine([(limbs[0], top), *bend, (limbs[1], top)], z), (0, 1))]


def _way(line: CentreLine, plan: Plan, y: float, top: float, *, down: bool) -> float:
    """Way along the line to a height in the limb that it goes down or up."""
    if down:
        return top - y
    if plan.bend:
        return line.length_mm - (top - y)
    return y - (plan.foot_mm - TUBE_IN_BLOCK_MM)


def _levels(
    line: CentreLine, plan: Plan, filling: Filling, limb: int, top: float, *, down: bool
) -> list[_Surface]:
    column = filling.columns[limb]
    found = []
    for y, below, above in zip(
        column.levels_mm, column.fluids[:-1], column.fluids[1:], strict=True
    ):
        s = _way(line, plan, y, top, down=down)
        if down:
            found.append(_Surface(s, above, below, -1))
        else:
            found.append(_Surface(s, below, above, 1))
    return found


def _bubble_ends(
    line: CentreLine, plan: Plan, bubbles: Bubbles, top: float, *, down: bool
) -> list[_Surface]:
    found = []
    for bubble in bubbles:
        first, last = sorted(_way(line, plan, y, top, down=down) for y in bubble)
        found.append(_Surface(first, plan.fluid, AIR, 1, of_bubble=True))
        found.append(_Surface(last, AIR, plan.fluid, -1, of_bubble=True))
    return found


def _bubbles(rng: Rng, plan: Plan, filling: Filling) -> tuple[int, Bubbles]:
    """A limb, and from where to where bubbles stand in it, from its level down."""
    limb = int(rng.integers(len(plan.limbs_mm)))
    y = filling.columns[limb].levels_mm[0]
    found = []
    for _ in range(int(rng.integers(3, 7))):
        gap = rng.uniform(3, 14)
        height = rng.uniform(1.6, 2.8) * plan.inner_mm + rng.uniform(0, 8)
        y -= gap + height
        if y < plan.lowest_mm - 4:
            break
        found.append((y, y + height))
    return limb, tuple(found)


def _tube(
    stage: Stage,
    plan: Plan,
    line: CentreLine,
    surfaces: list[_Surface],
    liquids: Liquids,
    tilt: float,
) -> None:
    """Glass, then fluid after fluid from the first end of the line to the last."""
    inner, outer, end = plan.inner_mm, plan.outer_mm, line.length_mm
    glass = stage.clear(plan.glass_index, 1.0)
    stage.add(tubes.wall(line, line.rings(0, end), outer), glass)
    stage.add(tubes.end_face(line, 0, inner, outer), glass)
    stage.add(tubes.end_face(line, end, inner, outer), glass)
    start = 0.0
    start_rim: Floats | None = None
    for surface in surfaces:
        if surface.of_bubble:
            capillary, contact = liquids.interface(plan.fluid, AIR)
            capillary *= BUBBLE_ROUNDNESS
        else:
            capillary, contact = liquids.interface(surface.lower, surface.upper)
        capillary /= math.cos(tilt)
        mesh, rim = meniscus.surface(
            line, surface.s, surface.upward, inner, capillary, contact, tilt
        )
        wall = tubes.wall(line, line.rings(start, surface.s), inner, start_rim, rim)
        _wet(stage, plan, wall, surface.before, liquids)
        if MERCURY in (surface.lower, surface.upper):
            mirror = Coat("conductor", one_texel(MERCURY_BARE))
            stage.add(mesh, stage.coat("mercury", mirror))
        else:
            lower, upper = liquids[surface.lower], liquids[surface.upper]
            stage.add(
                mesh,
                stage.clear(lower.index, upper.index),
                _coloured(liquids, surface.lower),
                _coloured(liquids, surface.upper),
            )
        start, start_rim = surface.s, rim
    wall = tubes.wall(line, line.rings(start, end), inner, start_rim)
    _wet(stage, plan, wall, surfaces[-1].after, liquids)


def _wet(stage: Stage, plan: Plan, wall: Mesh, fluid: str, liquids: Liquids) -> None:
    """The bore where it is filled with a fluid."""
    index = liquids[fluid].index
    if fluid == MERCURY:
        mirror = Coat("conductor", one_texel(MERCURY_IN_GLASS))
        stage.add(wall, stage.coat("mercury behind glass", mirror))
    else:
        stage.add(wall, stage.clear(index, plan.glass_index), _coloured(liquids, fluid))


def _coloured(liquids: Liquids, fluid: str) -> str | None:
    return fluid if fluid in liquids.absorptions else None
