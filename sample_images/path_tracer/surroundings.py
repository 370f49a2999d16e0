"""What is around an instrument: a wall with pipes and boxes, or an open room.

Ranges are our own choice; millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_images.generator.scene import FloatMap, Rgb
from sample_images.path_tracer import rooms, walls
from sample_images.path_tracer.colour import from_hsv
from sample_images.path_tracer.draws import Rng, chance, pick
from sample_images.path_tracer.materials import METAL, PLASTIC
from sample_images.path_tracer.meshes import Point, box, extrude, pipe
from sample_images.path_tracer.plan import Plan
from sample_images.path_tracer.stage import Coat, Stage

HALF_WALL_MM = 1250.0
HALF_WALL_FAR_MM = 3000.0
"""For photographs from far away."""
PIPES: tuple[Rgb, ...] = (
    (0.7, 0.42, 0.28),
    (0.7, 0.7, 0.7),
    (0.2, 0.35, 0.6),
    (0.75, 0.6, 0.1),
    (0.2, 0.2, 0.2),
    (0.85, 0.85, 0.83),
)
PIPES_BEFORE: tuple[Rgb, ...] = ((0.6, 0.4, 0.25), (0.6, 0.6, 0.62), (0.2, 0.25, 0.3))
STAND: Rgb = (0.5, 0.5, 0.52)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """Light from every direction, and what the truth file calls room and wall."""

    light: FloatMap
    room: str
    wall: str


def put_pipes_before(stage: Stage, rng: Rng, plan: Plan) -> None:
    """Pipes across a board without an instrument, which might pass for tubes."""
    half = plan.half_width_mm
    for _ in range(int(rng.integers(1, 4))):
        y = rng.uniform(0.2, 0.8) * plan.board_height_mm
        line = [
            (-half - 30, y, 15.0),
            (0.0, y + rng.normal(0, 10), 18.0),
            (half + 30, y, 15.0),
        ]
        stage.add(
            pipe(line, rng.uniform(4, 9)),
            stage.plain("pipe before", pick(rng, *PIPES_BEFORE), 0.2),
        )


def put_up(stage: Stage, rng: Rng, plan: Plan, thickness_mm: float) -> Surroundings:
    """Wall or room behind a board of a thickness."""
    light, room = rooms.draw(rng)
    far = plan.cls == "neg_small"
    if chance(rng, 0.8) or far:
        wall = _wall(stage, rng, plan, thickness_mm, far=far)
        return Surroundings(_before_wall(light), room, wall)
    if chance(rng, 0.7):
        z, height = -thickness_mm - 14, plan.board_height_mm
        line: list[Point] = [(0, -400, z), (0, 0, z), (0, height, z), (0, height + 60, z)]
        stage.add(pipe(line, 8), stage.plain("stand", STAND, 0.2, METAL))
    return Surroundings(light, room, "open room")


def _before_wall(light: FloatMap) -> FloatMap:
    """Without what a wall hides, which would cost shadow rays for nothing."""
    elevation, _ = rooms.directions_deg()
    turns = (np.arange(light.shape[1]) + 0.5) / light.shape[1] - 0.5
    towards_camera = np.cos(np.radians(elevation))[:, None] * np.cos(turns * 2 * np.pi)[None]
    kept = np.clip((towards_camera + 0.12) / 0.08, 1e-4, 1)
    return np.asarray(light * kept[..., None].astype(np.float32), np.float32)


def _wall(stage: Stage, rng: Rng, plan: Plan, thickness: float, *, far: bool) -> str:
    """A wall that the board hangs on or stands before; what it is called."""
    texture, name = walls.draw(rng)
    behind = thickness + (0 if chance(rng, 0.5) else rng.uniform(5, 400))
    half = HALF_WALL_FAR_MM if far else HALF_WALL_MM
    stage.coat("wall", Coat("diffuse", texture))
    x, y = rng.uniform(-300, 300, 2)
    middle = plan.board_height_mm / 2
    left, right = -half + x, half + x
    face = [(left, -behind - 0.1), (right, -behind - 0.1)]
    stage.add(extrude(face, -half + y + middle, half + y + middle, (left, right)), "wall")
    for i in range(int(rng.integers(0, 4)) if behind > 12 or chance(rng, 0.4) else 0):
        _pipe(stage, rng, plan, behind, f"pipe{i}")
    if chance(rng, 0.3):
        _box(stage, rng, plan, behind)
    return name


def _pipe(stage: Stage, rng: Rng, plan: Plan, behind: float, name: str) -> None:
    finish = stage.plain(name, pick(rng, *PIPES), 0.2, pick(rng, PLASTIC, METAL))
    radius = rng.uniform(6, 22)
    side = pick(rng, -1, 1)
    x = side * (plan.half_width_mm + rng.uniform(15, 160) + radius)
    z = radius - behind
    line: list[Point]
    if chance(rng, 0.6):
        line = [(x, y, z) for y in (-700, 0, 300, 1200)]
    else:
        y = pick(rng, -60 - radius * 2, plan.board_height_mm + 60 + radius * 2)
        line = [(u, y, z) for u in (-900, -200, 200, 900)]
    stage.add(pipe(line, radius), finish)


def _box(stage: Stage, rng: Rng, plan: Plan, behind: float) -> None:
    x = pick(rng, -1, 1) * (plan.half_width_mm + rng.uniform(60, 140))
    y = rng.uniform(0, plan.board_height_mm)
    width, height = rng.uniform(20, 60, 2)
    case = box(
        x - width / 2,
        x + width / 2,
        y - height / 2,
        y + height / 2,
        -behind,
        -behind + rng.uniform(10, 50),
        bevel=1.5,
    )
    colour = from_hsv(rng.random(), rng.uniform(0, 0.5), rng.uniform(0.2, 0.85))
    stage.add(case, stage.plain("box", colour, 0.2))
