"""Where the photographer stands."""

import math
from dataclasses import replace

import numpy as np

from sample_images.generator.camera import FULL_FRAME_DIAGONAL_MM, Camera
from sample_images.generator.fluids import Floats
from sample_images.generator.looks import Rng
from sample_images.generator.plans import Frame, Limb, NoFit, Plan

NEAREST_MM, FARTHEST_MM = 280.0, 1250.0
FRAME_MARGIN_PX = 25.0


def aim(plan: Plan, f: Frame, limbs: tuple[Limb, ...], up_angle: float, rng: Rng) -> Camera:
    g = f.graduation
    y_lo, y_hi = sorted((g.y_mm(g.lo), g.y_mm(g.hi)))
    xs = [x for s in f.strips for x in s[:2]] + [
        x + s * f.outer for x in f.tube_x for s in (-1, 1)
    ]
    if f.line_span is not None:
        grow = f.strip_half + f.style.gap_mm + 1
        xs += [f.line_span[0] - grow, f.line_span[1] + grow]
    corners = np.array(
        [
            [x, y, z]
            for x in (min(xs), max(xs))
            for y in (y_lo - 4, y_hi + 4)
            for z in (f.scale_z, f.tube_z)
        ]
    )
    middle = np.array([0.5 * (min(xs) + max(xs)), 0.5 * (y_lo + y_hi), 0.0])
    diagonal = math.hypot(plan.width_px, plan.height_px)
    f35 = math.exp(rng.uniform(math.log(26), math.log(80)))
    distance = f35 / FULL_FRAME_DIAGONAL_MM * diagonal / plan.px_per_mm
    if not NEAREST_MM <= distance <= FARTHEST_MM:
        raise NoFit
    yaw, pitch = (
        float(np.clip(rng.normal(0, math.radians(5.5)), -0.24, 0.24)) for _ in range(2)
    )
    roll = up_angle + float(np.clip(rng.normal(0, math.radians(2.5)), -0.14, 0.14))
    target = middle + np.array([rng.uniform(-12, 12), rng.uniform(-14, 14), 0.0])
    out = np.array(
        [math.sin(yaw) * math.cos(pitch), math.sin(pitch), math.cos(yaw) * math.cos(pitch)]
    )
    k1 = float(rng.normal(0, 0.012))
    for _ in range(8):
        origin = target + distance * out
        cam = Camera(
            width_px=plan.width_px,
            height_px=plan.height_px,
            f35_mm=f35,
            k1=k1,
            origin_mm=xyz(origin),
            target_mm=xyz(target),
            roll_rad=roll,
        )
        p = cam.project(corners)
        inside = (
            (p > FRAME_MARGIN_PX)
            & (p < np.array([plan.width_px, plan.height_px]) - FRAME_MARGIN_PX)
        ).all()
        if inside and distance <= FARTHEST_MM:
            return cam
        distance *= 1.04
    raise NoFit


def nudged(cam: Camera, rng: Rng) -> Camera:
    """Stand there again, as near as people do."""
    aside, turned = rng.normal(0, 8, 3), rng.normal(0, 2, 3)
    return replace(
        cam,
        origin_mm=xyz(np.add(cam.origin_mm, aside)),
        target_mm=xyz(np.add(cam.target_mm, turned)),
        roll_rad=cam.roll_rad + float(rng.normal(0, math.radians(0.5))),
    )


def xyz(v: Floats) -> tuple[float, float, float]:
    return (float(v[0]), float(v[1]), float(v[2]))


def division_px(cam: Camera, f: Frame) -> float:
    g = f.graduation
    mid = 0.5 * (g.y_mm(g.lo) + g.y_mm(g.hi))
    p = cam.project(np.array([[0, mid, f.scale_z], [0, mid + g.minor * g.unit_mm, f.scale_z]]))
    return float(np.linalg.norm(p[1] - p[0]))
