"""What stands about the instruments of ``benches``: hoses, stands, clamps, hands, walls."""

from __future__ import annotations

import math

import cv2
import numpy as np

from sample_images.generator import looks, surfaces
from sample_images.generator.lighting import lightmap
from sample_images.generator.looks import MATERIALS, Rng, pick
from sample_images.generator.plans import Frame, Limb, Plan
from sample_images.generator.room import Room
from sample_images.generator.scene import (
    Box,
    Capsule,
    FloatMap,
    Lightmap,
    Material,
    Rod,
    Solid,
    Wall,
)

CLEAR_OF_LEVEL_MM = 11.0
LATEX = Material(albedo=(0.62, 0.44, 0.22))
RED_RUBBER = Material(albedo=(0.42, 0.10, 0.06))
PATTERNS = ("blinds", "wallpaper", "bricks")


def around(cls: str, f: Frame, limbs: tuple[Limb, ...], rng: Rng) -> list[Solid]:
    """Everything opaque but boards and scales."""
    out = _tops(f, rng)
    out += _stand(f, limbs, rng) if cls == "school_stick" else _straps(f, limbs, rng)
    if not f.bend:
        reach = max(abs(x) for x in f.tube_x) + f.outer + rng.uniform(2, 8)
        out.append(
            Box(
                lo_mm=(-reach, f.tube_y[0] - 12, 0.0),
                hi_mm=(reach, f.tube_y[0] + 1.0, f.tube_z + f.outer + 2),
                material=looks.material(rng, ("wood", "black plastic", "brown rubber")),
            )
        )
    if cls == "enamel_plate":
        for x in (-f.board_half + 6, f.board_half - 6):
            for y in (6.0, f.board_height - 6):
                out.append(
                    Capsule(
                        a_mm=(x, y, -1.6),
                        b_mm=(x, y, -1.5),
                        radius_mm=2.8,
                        material=looks.material(rng, ("brass", "steel")),
                    )
                )
    if cls != "school_stick" and rng.random() < 0.25:
        out += _hand(f, rng)
    return out


def _tops(f: Frame, rng: Rng) -> list[Solid]:
    """Open ends, stoppers or flexible hoses that hang down or lead away."""
    out: list[Solid] = []
    y1 = f.tube_y[1]
    stuff = pick(
        rng, (LATEX, RED_RUBBER, MATERIALS["black rubber"], MATERIALS["grey plastic"])
    )
    both = rng.random() < 0.5
    for i, x in enumerate(f.tube_x):
        if i and not both:
            continue
        if rng.random() < 0.35:
            out.append(_upright(x, f.tube_z, f.outer + 2.5, y1 - 4, y1 + 9, stuff))
        r = f.outer + rng.uniform(0.6, 1.6)
        out.append(_upright(x, f.tube_z, r, y1 - 9, y1 + 6, stuff))
        side = math.copysign(1.0, x) if x else pick(rng, (-1.0, 1.0))
        at = (x, y1 + 5, f.tube_z)
        bend = rng.uniform(25, 60)
        for step in range(1, 8):
            turn = math.pi * step / 7 * rng.uniform(0.9, 1.0)
            to = (
                x + side * bend * (1 - math.cos(turn)),
                y1 + 5 + bend * math.sin(turn),
                f.tube_z + 3 * step,
            )
            out.append(Capsule(a_mm=at, b_mm=to, radius_mm=r, material=stuff))
            at = to
        if rng.random() < 0.6:
            down = (at[0] + rng.uniform(-10, 25) * side, at[1] - rng.uniform(80, 400), at[2])
            out.append(Capsule(a_mm=at, b_mm=down, radius_mm=r, material=stuff))
    return out


def _upright(
    x: float, z: float, radius: float, y0: float, y1: float, material: Material
) -> Rod:
    return Rod(x_mm=x, z_mm=z, radius_mm=radius, y0_mm=y0, y1_mm=y1, material=material)


def _free(f: Frame, limbs: tuple[Limb, ...], rng: Rng, many: int) -> list[float]:
    """Heights at which something may cross the tubes."""
    y0, y1 = f.tube_y
    drawn = rng.uniform(y0 + 10, y1 - 12, many)
    levels = [v for limb in limbs for v in limb.levels_mm]
    return [float(y) for y in drawn if all(abs(y - v) > CLEAR_OF_LEVEL_MM for v in levels)]


def _straps(f: Frame, limbs: tuple[Limb, ...], rng: Rng) -> list[Solid]:
    """Wires, spring clips or wooden bars that hold the tubes."""
    stuff = looks.material(rng, ("steel", "brass", "wood", "white plastic", "black plastic"))
    out: list[Solid] = []
    front = f.tube_z + f.outer
    across = rng.random() < 0.3
    tall = rng.uniform(1.0, 6.0)
    for y in _free(f, limbs, rng, int(rng.integers(0, 4))):
        for x in f.tube_x:
            half = f.outer + rng.uniform(2.0, 5.0)
            out.append(
                Box(
                    lo_mm=(x - half, y - tall / 2, front - 1.0 if across else 0.0),
                    hi_mm=(x + half, y + tall / 2, front + 1.0),
                    material=stuff,
                )
            )
    return out


def _stand(f: Frame, limbs: tuple[Limb, ...], rng: Rng) -> list[Solid]:
    """Stand rods behind or beside, clamps with jaws about the tubes and the stick."""
    steel = looks.material(rng, ("steel", "steel", "black plastic", "grey plastic"))
    out: list[Solid] = []
    left = min(f.tube_x[0] - f.outer, f.strips[0][0])
    right = max(f.tube_x[-1] + f.outer, f.strips[0][1])
    side = pick(rng, (-1, 1))
    x = (right if side > 0 else -left) + rng.uniform(8, 45)
    x *= side
    z = f.tube_z - rng.uniform(15, 40)
    out.append(_upright(x, z, rng.uniform(4.5, 7.0), -60.0, f.tube_y[1] + 300, steel))
    for y in _free(f, limbs, rng, 3)[:2]:
        target = f.tube_x[0] if side < 0 else f.tube_x[-1]
        out.append(
            Capsule(
                a_mm=(x, y, z + 8),
                b_mm=(target, y, f.tube_z - f.outer - 6),
                radius_mm=4.0,
                material=steel,
            )
        )
        out.append(
            Box(
                lo_mm=(x - 10, y - 9, z - 10),
                hi_mm=(x + 10, y + 9, z + 16),
                material=steel,
            )
        )
        out.append(
            Box(
                lo_mm=(target - f.outer - 4, y - 4, f.tube_z - f.outer - 5),
                hi_mm=(target + f.outer + 4, y + 4, f.tube_z + f.outer + 3),
                material=steel,
            )
        )
    return out


def _hand(f: Frame, rng: Rng) -> list[Solid]:
    """Fingers over the edge of the board, clear of scale and tubes."""
    side = pick(rng, (-1.0, 1.0))
    reach = max(
        [abs(x) + f.outer for x in f.tube_x]
        + [max(abs(s[0]), abs(s[1])) for s in f.strips]
        + ([f.line_span[1] + 12] if f.line_span else [])
    )
    inward = min(f.board_half - reach - 11, 25.0)
    if inward < 3:
        return []
    y = rng.uniform(0.2, 0.7) * f.board_height
    out: list[Solid] = []
    for k in range(4):
        at = y + 19.0 * k
        tip = (side * (f.board_half - inward), at, 9.0)
        root = (side * (f.board_half + 28), at - 4, 3.0)
        out.append(
            Capsule(a_mm=tip, b_mm=root, radius_mm=8.5 - 0.4 * k, material=MATERIALS["skin"])
        )
    palm = (side * (f.board_half + 30), y, -2.0)
    end = (side * (f.board_half + 34), y + 57, -2.0)
    out.append(Capsule(a_mm=palm, b_mm=end, radius_mm=16, material=MATERIALS["skin"]))
    return out


def wall(
    cls: str,
    plan: Plan,
    f: Frame,
    room: Room,
    solids: list[Solid],
    gradient: tuple[float, float],
    rng: Rng,
) -> tuple[Wall, Lightmap]:
    """What is behind: plain, as for other classes, or striped, which may pass for lines."""
    z = -rng.uniform(70, 350) if cls == "school_stick" else -20 - rng.uniform(0.2, 200)
    centre = (0.0, 0.5 * f.board_height)
    extent = 2.2 * max(plan.width_px, plan.height_px) / plan.px_per_mm
    ppm = min(1900 / extent, 4.0)
    size = int(extent * ppm)
    kind = pick(rng, (*surfaces.WALLS, *PATTERNS, *PATTERNS))
    picture = (
        _pattern(kind, size, ppm, rng)
        if kind in PATTERNS
        else surfaces.wall(kind, size, size, ppm, rng)
    )
    rect = (
        centre[0] - extent / 2,
        centre[0] + extent / 2,
        centre[1] - extent / 2,
        centre[1] + extent / 2,
    )
    near = [s for s in solids if s.bounds()[1][1] < rect[3] + 200]
    light = lightmap(rect, z, min(1.0, 500 / extent), room, near, (), f.tube_y, gradient, rng)
    return Wall(z_mm=z, centre_mm=centre, px_per_mm=ppm, albedo=picture), light


def _pattern(kind: str, size: int, ppm: float, rng: Rng) -> FloatMap:
    """Albedo of slats, striped paper or bricks, shape (size, size, 3)."""
    at = np.arange(size) / ppm
    tone = np.ones((size, size), np.float32)
    base = rng.uniform(0.25, 0.7) * rng.uniform(0.8, 1.1, 3)
    if kind == "blinds":
        pitch = rng.uniform(14, 30)
        slat = 0.65 + 0.35 * (at % pitch) / pitch
        slat[at % pitch < 0.12 * pitch] = 0.3
        tone *= slat[:, None]
    elif kind == "wallpaper":
        pitch = rng.uniform(12, 50)
        tone[:, at % pitch < rng.uniform(0.2, 0.5) * pitch] = rng.uniform(0.5, 0.85)
    else:
        base = np.array([0.42, 0.20, 0.13]) * rng.uniform(0.8, 1.4)
        high, wide = 75.0, 225.0
        rows = (at / high).astype(int)
        shade = rng.uniform(0.7, 1.15, (rows.max() + 2, int(at[-1] / wide) + 3))
        for row in range(rows.max() + 1):
            shift = wide / 2 * (row % 2)
            tone[rows == row] = shade[row][((at + shift) / wide).astype(int)][None, :]
        joint = (at % high < 10)[:, None] | np.where(
            (rows % 2)[:, None] == 1,
            ((at + wide / 2) % wide < 10)[None],
            (at % wide < 10)[None],
        )
        tone[joint] = 1.3
    noise = cv2.GaussianBlur(rng.normal(0, 1, (size, size)).astype(np.float32), (0, 0), 1.5)
    tone = tone * (1 + 0.03 * noise / noise.std())
    return np.asarray(np.clip(tone[..., None] * base, 0.02, 0.9), np.float32)
