"""Screws, nuts, hoses, the block at the foot, clips, and what is put before a level.

Ranges are our own choice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_images.generator.scene import Rgb
from sample_images.path_tracer import materials
from sample_images.path_tracer.canvas import Canvas
from sample_images.path_tracer.colour import to_bytes
from sample_images.path_tracer.draws import Rng, chance, pick
from sample_images.path_tracer.glassware import Glassware
from sample_images.path_tracer.lettering import Lettering
from sample_images.path_tracer.levels import Filling
from sample_images.path_tracer.materials import METAL, PLASTIC
from sample_images.path_tracer.meshes import (
    OUTWARD,
    UPWARD,
    Mesh,
    Point,
    box,
    extrude,
    lathe,
    oriented,
    pipe,
)
from sample_images.path_tracer.plan import Plan
from sample_images.path_tracer.stage import Coat, Stage
from sample_images.path_tracer.typefaces import Typefaces


@dataclass(frozen=True, slots=True)
class Stuff:
    """What fittings are made of."""

    colour: Rgb
    kind: str


STUFFS = (
    Stuff((0.83, 0.68, 0.36), METAL),
    Stuff((0.72, 0.72, 0.72), METAL),
    Stuff((0.12, 0.12, 0.13), PLASTIC),
    Stuff((0.85, 0.85, 0.83), PLASTIC),
    Stuff((0.6, 0.1, 0.08), PLASTIC),
    Stuff((0.1, 0.2, 0.5), PLASTIC),
    Stuff((0.8, 0.8, 0.81), METAL),
)
HOSES: tuple[Rgb, ...] = (
    (0.5, 0.16, 0.1),
    (0.08, 0.08, 0.08),
    (0.75, 0.7, 0.55),
    (0.85, 0.85, 0.8),
    (0.25, 0.3, 0.35),
)
SCREWS: tuple[Rgb, ...] = ((0.75, 0.75, 0.74), (0.8, 0.66, 0.35), (0.3, 0.3, 0.3))
BLOCKS: tuple[Rgb, ...] = ((0.3, 0.32, 0.34), (0.78, 0.78, 0.76), (0.15, 0.2, 0.4))
CLIPS: tuple[Rgb, ...] = ((0.75, 0.75, 0.74), (0.1, 0.1, 0.1), (0.8, 0.66, 0.36))
KNOBS: tuple[Rgb, ...] = ((0.1, 0.1, 0.1), (0.65, 0.1, 0.08), (0.1, 0.25, 0.5))
SKINS: tuple[Rgb, ...] = ((0.78, 0.56, 0.45), (0.45, 0.3, 0.22), (0.86, 0.68, 0.57))
TAG_WORDS = ("CAL", "DUE 03", "OK", "A12", "DATE")

FINGER_MM = 8.3
CLIP_WALL_MM = 0.9
BOARD_CLEARANCE_MM = 0.9


def screw(stage: Stage, rng: Rng, at: Point, radius: float) -> None:
    """A slotted screw; all of a scene are alike."""
    if "screw" not in stage.finishes:
        stage.plain("screw", pick(rng, *SCREWS), 0.2, METAL)
        stage.plain("slot", (0.05, 0.05, 0.05), 0.3)
    rounding = np.linspace(0, np.pi / 2, 7)
    dome = [
        (radius * math.cos(a) if a < 1.5 else 0.0, 0.2 + 0.45 * radius * math.sin(a))
        for a in rounding
    ]
    stage.add(lathe([(radius, 0), *dome], at, OUTWARD, 36), "screw")
    slot = box(
        -radius * 0.75,
        radius * 0.75,
        -radius * 0.12,
        radius * 0.12,
        0,
        0.25 + 0.46 * radius,
    )
    stage.add(slot.turned(rng.uniform(0, 3.14), at), "slot")


def put_up(
    stage: Stage,
    rng: Rng,
    plan: Plan,
    filling: Filling,
    glass: Glassware,
    faces: Typefaces,
) -> tuple[int, ...]:
    """Fittings of an instrument; the limbs that something was put before."""
    stuff = pick(rng, *STUFFS)
    nut = stage.plain("fitting", stuff.colour, rng.uniform(0.12, 0.3), stuff.kind)
    hose = stage.plain("hose", pick(rng, *HOSES), rng.uniform(0.15, 0.35))
    for x in plan.limbs_mm:
        _connect(stage, rng, plan, x, glass.top_mm, nut, hose)
    if not plan.bend:
        _block(stage, rng, plan, stuff, nut)
    colour = pick(rng, stuff.colour, *CLIPS)
    roughness = rng.uniform(0.15, 0.3)
    clips = stage.plain("clip", colour, roughness, pick(rng, stuff.kind, PLASTIC))
    _clips(stage, rng, plan, filling, glass.top_mm, clips)
    if plan.cls == "neg_occluded":
        return (_cover(stage, rng, plan, filling, clips, faces),)
    return ()


def _sides(rng: Rng, hexagonal: float, round_sides: int) -> int:
    """Six of a nut, with some probability, or those of a round part."""
    return 6 if chance(rng, hexagonal) else round_sides


def _connect(
    stage: Stage, rng: Rng, plan: Plan, x: float, top: float, nut: str, hose: str
) -> None:
    """A nut at the upper end of a limb, and perhaps a hose from it."""
    z, outer = plan.axis_mm, plan.outer_mm
    foot, radius = top - rng.uniform(8, 14), outer + rng.uniform(0.8, 3)
    profile = [
        (outer * 0.2, 0),
        (radius - 0.6, 0),
        (radius, 0.6),
        (radius, 5),
        (radius * 1.15, 5.4),
        (radius * 1.15, 8),
        (radius * 0.8, 8.5),
        (radius * 0.8, 22),
        (0, 22),
    ]
    stage.add(lathe(profile, (x, foot, z), UPWARD, _sides(rng, 0.3, 64)), nut)
    if chance(rng, 0.7):
        aside, rise = rng.normal(0, 25), rng.uniform(20, 90)
        line = [
            (x, foot + 18, z),
            (x + 0.1 * aside, foot + 30, z),
            (x + 0.5 * aside, foot + 40 + rise * 0.4, z + rng.uniform(-2, 12)),
            (x + aside * 2, foot + 40 + rise, z - rng.uniform(0, 30)),
            (x + aside * 4, foot + 60 + rise, z - 60),
        ]
        stage.add(pipe(line, radius * 0.8 + 0.6), hose)


def _block(stage: Stage, rng: Rng, plan: Plan, stuff: Stuff, nut: str) -> None:
    """The block that joins straight limbs below, with glands, screws, a valve."""
    z, outer = plan.axis_mm, plan.outer_mm
    half = plan.limbs_mm[-1] + outer + rng.uniform(3, 9)
    bottom, top = max(2, plan.foot_mm - 26), plan.foot_mm - rng.uniform(4, 8)
    front, middle = z + outer + rng.uniform(1.5, 6), (bottom + top) / 2
    colour, roughness = pick(rng, stuff.colour, *BLOCKS), rng.uniform(0.1, 0.3)
    block = stage.plain("block", colour, roughness, pick(rng, stuff.kind, PLASTIC))
    bevel = rng.uniform(0.4, 1.5)
    stage.add(box(-half, half, bottom, top, 0.01, front, bevel=bevel), block)
    gland = [(outer + 0.05, 4), (outer + 1.6, 4), (outer + 2.2, 3.2), (outer + 2.2, 0)]
    for x in plan.limbs_mm:
        stage.add(lathe(gland, (x, top, z), UPWARD, _sides(rng, 0.4, 48)), nut)
    nowhere: list[float] = []
    for x in pick(rng, nowhere, [-half * 0.7, half * 0.7], [0.0]):
        screw(stage, rng, (x, middle, front), 2.2)
    if chance(rng, 0.4):
        profile = [(3, 0), (3, 8), (6.5, 8.5), (7, 14), (5.5, 15), (0, 15)]
        at = (pick(rng, -half * 0.5, half * 0.5, 0), middle, front)
        knob = lathe(profile, at, OUTWARD, 40)
        stage.add(knob, stage.plain("knob", pick(rng, *KNOBS), 0.15))


def _clips(
    stage: Stage, rng: Rng, plan: Plan, filling: Filling, top: float, finish: str
) -> None:
    """Clips across the tubes, away from the levels."""
    count = int(rng.integers(0, 4))
    if len(plan.limbs_mm) == 2:
        rng.random()  # nothing depends on it any more but the draws that follow
    for _ in range(count):
        y, height = rng.uniform(plan.foot_mm + 8, top - 18), rng.uniform(2, 5)
        clear = height + 5 + 2 * plan.inner_mm
        if any(abs(y - level) < clear for level in filling.levels_mm):
            continue
        for x in plan.limbs_mm:
            _clip(stage, plan, x, y, height, finish)


def _clip(stage: Stage, plan: Plan, x: float, y: float, height: float, finish: str) -> None:
    """A strap over a tube with a lug on either side."""
    z, radius, lug = plan.axis_mm, plan.outer_mm + 0.15, BOARD_CLEARANCE_MM
    outer = radius + CLIP_WALL_MM
    around = np.linspace(0, np.pi, 25)
    left, right = x - radius - 7, x + radius + 7
    if z + 0.2 < lug:
        arch = [
            (x - outer * math.cos(a), max(lug, z + outer * math.sin(a))) for a in around[1:-1]
        ]
        face = [(left, lug), *arch, (right, lug)]
    else:
        arch = [(x - outer * math.cos(a), z + outer * math.sin(a)) for a in around]
        feet = ((x - radius - 0.9, lug), (x + radius + 0.9, lug))
        face = [(left, lug), feet[0], *arch, feet[1], (right, lug)]
    stage.add(extrude(face, y - height / 2, y + height / 2, (x - 20, x + 20)), finish)
    back = [(u * 0.999 + x * 0.001, max(0.02, w - 0.85)) for u, w in face]
    for edge, look in ((y - height / 2, -1.0), (y + height / 2, 1.0)):
        stage.add(_clip_edge(face, back, edge, look), finish)


def _clip_edge(
    face: list[tuple[float, float]],
    back: list[tuple[float, float]],
    y: float,
    look: float,
) -> Mesh:
    """The cut between the face and the back of a strap, looking up or down."""
    vertices = np.array([[u, y, w] for u, w in (*face, *back)], float)
    count = len(face)
    k = np.arange(count - 1)[:, None]
    halves = ((0, 1, count), (1, count + 1, count))
    faces = np.concatenate([k + np.array(half) for half in halves])
    normals = np.repeat([[0.0, look, 0.0]], len(vertices), 0)
    return Mesh.untextured(vertices, oriented(vertices, faces, normals), normals)


def _cover(
    stage: Stage,
    rng: Rng,
    plan: Plan,
    filling: Filling,
    clip: str,
    faces: Typefaces,
) -> int:
    """Put something before a level; its limb."""
    limb = int(rng.integers(len(plan.limbs_mm)))
    x, y = plan.limbs_mm[limb], filling.columns[limb].levels_mm[0]
    thing = pick(rng, "clip", "tag", "tape", "finger")
    if thing == "clip":
        _clip(stage, plan, x, y + rng.normal(0, 1), rng.uniform(7, 11), clip)
    elif thing == "finger":
        _finger(stage, rng, x, y, plan.axis_mm + plan.outer_mm + 8.5)
    else:
        _paper(stage, rng, plan, x, y, faces, tag=thing == "tag")
    return limb


def _finger(stage: Stage, rng: Rng, x: float, y: float, z: float) -> None:
    skin = stage.plain("skin", pick(rng, *SKINS), 0.3)
    side = pick(rng, -1, 1)
    line = [
        (x - side * 7, y + 2, z),
        (x + side * 22, y - 4, z + 2),
        (x + side * 60, y - 30, z + 10),
        (x + side * 130, y - 90, z + 25),
    ]
    stage.add(pipe(line, FINGER_MM), skin)
    tip = [
        (FINGER_MM * math.cos(a) + 1e-4, 9 * math.sin(a))
        for a in np.linspace(0, np.pi / 2, 10)
    ]
    stage.add(lathe(tip, line[0], (-side, 0.2, -0.06), 40), skin)


def _paper(
    stage: Stage,
    rng: Rng,
    plan: Plan,
    x: float,
    y: float,
    faces: Typefaces,
    *,
    tag: bool,
) -> None:
    """A tag with words, or a piece of tape across the tube."""
    if tag:
        width, height = rng.uniform(14, 30), rng.uniform(16, 30)
    else:
        width, height = plan.outer_mm * 2 + 14, rng.uniform(12, 19)
    px = 10
    paper = materials.picture(rng, "paper", int(width * px), int(height * px), px)
    canvas = Canvas(paper, 0, height, px)
    with canvas.ink((0.1, 0.1, 0.3)):
        for line in range(3 if tag else 0):
            hand, word = Lettering(rng, faces), pick(rng, *TAG_WORDS)
            canvas.text(hand, word, width / 2, height * (0.25 + 0.25 * line), 2.5)
    stage.coat("tag", Coat("diffuse", to_bytes(canvas.picture)))
    z = plan.axis_mm + plan.outer_mm + rng.uniform(0.2, 2)
    face = [(x - width / 2, z), (x + width / 2, z + rng.uniform(0, 1))]
    bottom, top = y - height * rng.uniform(0.35, 0.65), y + height * 0.5
    stage.add(extrude(face, bottom, top, (x - width / 2, x + width / 2)), "tag")
