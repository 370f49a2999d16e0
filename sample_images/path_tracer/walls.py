"""Pictures of walls behind an instrument. Patterns and colours are our own choice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sample_images.generator.scene import FloatMap
from sample_images.path_tracer.colour import Bytes, Floats, Light, from_hsv, to_bytes
from sample_images.path_tracer.draws import Rng, chance
from sample_images.path_tracer.materials import wood
from sample_images.path_tracer.noise import fractal

SIDE_PX = 1400
WEIGHTS = {
    "plaster": 0.2,
    "brick": 0.13,
    "tiles": 0.12,
    "paint": 0.16,
    "plywood": 0.1,
    "cabinet": 0.13,
    "pegboard": 0.06,
    "concrete": 0.08,
    "graph": 0.02,
}
PLYWOOD_PX_PER_MM = 0.8


@dataclass(frozen=True, slots=True)
class Ground:
    """What all patterns share: a colour, a plain wall of it, clouds and grain."""

    colour: Floats
    plain: Floats
    clouds: FloatMap
    grain: FloatMap

    @property
    def places(self) -> tuple[np.ndarray, np.ndarray]:
        """Rows and columns of every pixel."""
        rows, columns = np.mgrid[0 : len(self.plain), 0 : len(self.plain)]
        return rows, columns


def draw(rng: Rng) -> tuple[Bytes, str]:
    """A wall and the name of its pattern."""
    kind = str(rng.choice(list(WEIGHTS), p=list(WEIGHTS.values())))
    clouds = fractal(rng, SIDE_PX, SIDE_PX, 400, 4)
    grain = fractal(rng, SIDE_PX, SIDE_PX, 8, 3)
    colour = from_hsv(
        rng.choice([0.1, 0.12, 0.55, 0.6, 0.3, 0.0]) + rng.normal(0, 0.02),
        rng.uniform(0.02, 0.25),
        rng.uniform(0.35, 0.92),
    )
    uneven = (1 + 0.04 * clouds + 0.015 * grain)[..., None]
    plain = np.ones((SIDE_PX, SIDE_PX, 3)) * colour * uneven
    wall = PATTERNS[kind](rng, Ground(colour, plain, clouds, grain))
    _hang(rng, wall)
    return to_bytes(wall), kind


def _plaster(rng: Rng, ground: Ground) -> Light:
    return ground.plain


def _to_joint(row: np.ndarray, column: np.ndarray, height: int, width: int) -> np.ndarray:
    """Distance to the nearest joint of courses laid in a grid [px]."""
    across = np.minimum(column % width, width - column % width)
    down = np.minimum(row % height, height - row % height)
    return np.asarray(np.minimum(across, down))


def _brick(rng: Rng, ground: Ground) -> Light:
    width, height = 168, 58
    y, x = ground.places
    course = y // height
    x = x + (course % 2) * width // 2
    joint = _to_joint(y, x, height, width)
    own = np.random.default_rng(rng.integers(1 << 30)).normal(0, 1, (60, 60))
    burnt = from_hsv(
        rng.choice([0.02, 0.04, 0.08]), rng.uniform(0.25, 0.55), rng.uniform(0.4, 0.7)
    )
    bricks = own[course % 60, (x // width) % 60]
    wall = burnt * (1 + 0.12 * bricks + 0.06 * ground.grain)[..., None]
    mortar = np.array([0.66, 0.64, 0.6]) * (1 + 0.05 * ground.grain[..., None])
    if chance(rng, 0.4):
        relief = 0.93 + 0.07 * np.clip(joint / 6, 0, 1) + 0.02 * ground.grain
        return np.asarray(ground.colour * relief[..., None])
    return np.asarray(np.where((joint < 5)[..., None], mortar, wall))


def _tiles(rng: Rng, ground: Ground) -> Light:
    side = int(rng.choice([78, 116]))
    joint = _to_joint(*ground.places, side, side)
    glaze = from_hsv(rng.random(), rng.uniform(0, 0.15), rng.uniform(0.75, 0.95))
    tiles = glaze * (1 + 0.01 * ground.clouds[..., None])
    return np.where((joint < 2.5)[..., None], np.array([0.5, 0.5, 0.48]), tiles)


def _paint(rng: Rng, ground: Ground) -> Light:
    wall = ground.plain
    if chance(rng, 0.5):
        dado = int(len(wall) * rng.uniform(0.3, 0.8))
        wall[dado:] *= from_hsv(rng.choice([0.33, 0.58, 0.05]), 0.35, 0.7)
    return wall


def _plywood(rng: Rng, ground: Ground) -> Light:
    kind = str(rng.choice(["pine", "oak"]))
    return wood(rng, kind, SIDE_PX, SIDE_PX, PLYWOOD_PX_PER_MM)


def _cabinet(rng: Rng, ground: Ground) -> Light:
    wall, side = ground.plain, SIDE_PX
    for _ in range(rng.integers(1, 4)):
        x = rng.integers(100, side - 100)
        wall[:, x : x + 4] *= 0.35
        wall[:, x + 4 : x + 8] *= 1.1
    for _ in range(3):
        y, x = rng.integers(100, side - 200), rng.integers(50, side - 200)
        for slot in range(8):
            wall[y + slot * 12 : y + slot * 12 + 4, x : x + 120] *= 0.4
    return wall


def _pegboard(rng: Rng, ground: Ground) -> Light:
    y, x = ground.places
    board = from_hsv(0.08, 0.45, 0.5) * (1 + 0.04 * ground.grain)[..., None]
    from_hole = np.hypot(x % 20 - 10, y % 20 - 10)
    return np.where((from_hole < 2.4)[..., None], 0.05, board)


def _concrete(rng: Rng, ground: Ground) -> Light:
    uneven = (1 + 0.06 * ground.clouds + 0.06 * ground.grain)[..., None]
    return np.asarray(np.ones_like(ground.plain) * 0.56 * uneven)


def _graph(rng: Rng, ground: Ground) -> Light:
    y, x = ground.places
    paper = np.array([0.95, 0.95, 0.93]) * np.ones((*y.shape, 1))
    ruled = ((x % 8 < 1) | (y % 8 < 1))[..., None]
    return np.where(ruled, np.array([0.7, 0.82, 0.9]), paper)


PATTERNS: dict[str, Callable[[Rng, Ground], Light]] = {
    "plaster": _plaster,
    "brick": _brick,
    "tiles": _tiles,
    "paint": _paint,
    "plywood": _plywood,
    "cabinet": _cabinet,
    "pegboard": _pegboard,
    "concrete": _concrete,
    "graph": _graph,
}


def _hang(rng: Rng, wall: Light) -> None:
    """Boxes, notices and cable ducts, each with its shade."""
    for _ in range(rng.integers(0, 4)):
        x, y = rng.integers(0, SIDE_PX - 200, 2)
        width, height = rng.integers(30, 320, 2)
        colour = from_hsv(rng.random(), rng.uniform(0, 0.6), rng.uniform(0.2, 0.95))
        wall[y : y + height, x : x + width] = colour
        wall[y + height : y + height + 8, x + 4 : x + width + 8] *= 0.55
