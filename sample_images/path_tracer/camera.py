"""Thin lens with one radial coefficient, and where the photographer stands.

The lens displaces what is at ``r`` from the middle of the picture, in half diagonals, by
``r_undistorted = r (1 + k1 (r^2 - 1))``: corners stay where they are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sample_images.path_tracer.colour import Floats
from sample_images.path_tracer.draws import Rng, chance, pick
from sample_images.path_tracer.levels import Filling
from sample_images.path_tracer.plan import Plan

FULL_FRAME_DIAGONAL_MM = 43.2666  # of 36 mm x 24 mm, behind "35 mm equivalent"
PIXEL_STEP = 8
"""Sides of pictures are multiples of this."""
LEAST_DIVISION_PX = 3.3
"""A division of a readable photograph is at least this."""
SMALL_DIVISION_PX = (0.55, 1.05)
"""A division of a photograph too small to read."""
FOCAL_LENGTHS_MM = (24, 26, 26, 27, 28, 35, 48, 50, 52, 65, 70, 75)
SHORTEST_MM, LONGEST_MM = 24.0, 78.0
"""Usual lenses of phones, as 35 mm equivalents. Common practice, no source."""
DISTANCES_MM, DISTANCES_FAR_MM = (350, 1200), (800, 3500)
UNFRAMED = ("neg_outofrange", "neg_missing", "neg_small")
"""Classes of which the levels need not be in the picture."""
ROUNDS = 30
"""Fixed point of the lens; it contracts by 2 k1 a round."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Camera in the frame of the board, mm.

    Attributes
    ----------
    width_px, height_px : int
        Size of the picture before it is cropped.
    margin_px : tuple of int
        What is rendered beyond its sides and beyond its top and bottom, for the lens.
    focal_px : float
        Focal length of the undistorted picture.
    f35_mm : float
        35 mm equivalent by the diagonal, in the middle of the distorted picture.
    right, up, forward : ndarray, shape (3,)
        Its axes.
    upward : ndarray, shape (3,)
        Against gravity.
    aperture_mm, focus_mm : float
        Radius of the lens, and how far away it is sharp.
    crop : tuple of int
        Left, top, right, bottom of what is kept.
    """

    width_px: int
    height_px: int
    margin_px: tuple[int, int]
    focal_px: float
    f35_mm: float
    k1: float
    origin: Floats
    target: Floats
    right: Floats
    up: Floats
    forward: Floats
    upward: Floats
    distance_mm: float
    aperture_mm: float
    focus_mm: float
    crop: tuple[int, int, int, int]

    @property
    def cropped(self) -> bool:
        return self.crop != (0, 0, self.width_px, self.height_px)

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of what is kept."""
        return self.crop[2] - self.crop[0], self.crop[3] - self.crop[1]

    def project(self, point: npt.ArrayLike) -> list[float]:
        """Pixel x, y of a point [mm]; the centre of the first pixel kept is (0, 0)."""
        seen = np.asarray(point, float) - self.origin
        depth = seen @ self.forward
        x = self.focal_px * (seen @ self.right) / depth
        y = -self.focal_px * (seen @ self.up) / depth
        half_diagonal = 0.5 * math.hypot(self.width_px, self.height_px)
        straight = math.hypot(x, y) / half_diagonal
        bent = straight
        for _ in range(ROUNDS):
            bent = straight / (1 + self.k1 * (bent * bent - 1))
        gain = bent / straight if straight > 1e-9 else 1 / (1 - self.k1)
        return [
            float(x * gain + self.width_px / 2 - 0.5 - self.crop[0]),
            float(y * gain + self.height_px / 2 - 0.5 - self.crop[1]),
        ]


@dataclass(frozen=True, slots=True)
class View:
    """A camera, how large a division is, and whether it had to be made smaller than wanted."""

    camera: Camera
    division_px: float
    widened: bool


@dataclass(frozen=True, slots=True)
class _Frame:
    """What the picture shows: size, scale, height of its middle."""

    width_px: int
    height_px: int
    mm_per_px: float
    middle_mm: float
    widened: bool

    @property
    def wide_mm(self) -> float:
        return self.width_px * self.mm_per_px


def aim(rng: Rng, plan: Plan, filling: Filling, upward: Floats, size_px: int) -> View:
    """Choose lens and place. ``size_px`` is the nominal long side of the picture."""
    frame, wide = _framed(rng, plan, filling, size_px)
    f35, focal_px, distance = _lens(rng, plan, frame)
    origin, target, roll = _stand(rng, plan, frame, wide, upward, distance)
    right, up, forward = _axes(origin, target, upward, roll)
    k1 = float(rng.uniform(-0.02, 0.03)) if chance(rng, 0.75) else 0.0
    margin = 0.03 if k1 < 0 else 0.012
    width, height = frame.width_px, frame.height_px
    camera = Camera(
        width_px=width,
        height_px=height,
        margin_px=(int(width * margin), int(height * margin)),
        focal_px=focal_px,
        # The middle is magnified by 1 / (1 - k1), since corners stay where they are.
        f35_mm=f35 / (1 - k1),
        k1=k1,
        origin=origin,
        target=target,
        right=right,
        up=up,
        forward=forward,
        upward=upward,
        distance_mm=distance,
        aperture_mm=float(rng.uniform(0.3, 1.4)),
        focus_mm=float((distance - plan.axis_mm) * (1 + rng.normal(0, 0.006))),
        crop=(0, 0, width, height),
    )
    if chance(rng, 0.12):
        camera = _cropped(rng, camera, plan, filling)
    division_px = float(plan.scale.division_mm / frame.mm_per_px)
    return View(camera, division_px, frame.widened)


def _size(rng: Rng, plan: Plan, size_px: int) -> tuple[int, int]:
    """Width and height of the picture."""
    aspect = pick(rng, 4 / 3, 4 / 3, 4 / 3, 16 / 9, 3 / 2)
    lying = 0.3 if plan.kind == "bank" else 0.12
    landscape = plan.kind == "inclined" or chance(rng, lying)
    steps = round(size_px * rng.uniform(0.93, 1.08) / PIXEL_STEP)
    nominal = steps * PIXEL_STEP * (1 if aspect < 1.4 else 1.09)
    long = int(nominal / PIXEL_STEP) * PIXEL_STEP
    short = int(long / aspect / PIXEL_STEP) * PIXEL_STEP
    return (long, short) if landscape else (short, long)


def _framed(rng: Rng, plan: Plan, filling: Filling, size_px: int) -> tuple[_Frame, float]:
    """The frame, and the width that was to be in it [mm]."""
    width, height = _size(rng, plan, size_px)
    leaning, levels = plan.kind == "inclined", filling.levels_mm
    low, high = _shown(rng, plan, levels)
    view = (high - low) * rng.uniform(1.0, 1.22) + 6
    wide = (plan.board_width_mm + 6) * rng.uniform(1.0, 1.15)
    if leaning:
        # Seen along the tube, which leans by some 20 degrees: tan 20 is 0.36.
        mm_per_px = max(view * 0.98 / width, (wide + view * 0.36) / height)
    else:
        mm_per_px = max(view / height, min(wide, 1.6 * view) / width)
    if plan.cls == "neg_small":
        mm_per_px = plan.scale.division_mm / rng.uniform(*SMALL_DIVISION_PX)
    else:
        mm_per_px = min(mm_per_px, plan.scale.division_mm / LEAST_DIVISION_PX)
    middle, widened = (low + high) / 2, False
    half = height * mm_per_px / 2
    if leaning:
        reach = 0.3 * width * mm_per_px
        middle = float(np.clip(middle, levels[0] - reach, levels[0] + reach))
    elif plan.cls not in UNFRAMED:
        lowest, highest = max(levels) + 12 - half, min(levels) - 12 + half
        if lowest < highest:
            middle = float(np.clip(middle + rng.normal(0, 0.03) * half, lowest, highest))
        else:
            middle, widened = (max(levels) + min(levels)) / 2, True
            mm_per_px *= (max(levels) - min(levels) + 26) / (2 * half)
    return _Frame(width, height, mm_per_px, middle, widened), wide


def _shown(rng: Rng, plan: Plan, levels: Sequence[float]) -> tuple[float, float]:
    """Lowest and highest height to be seen: of the whole board, or about the levels."""
    if not chance(rng, 0.3) or plan.cls in ("neg_outofrange", "neg_missing"):
        return 0.0, plan.board_height_mm
    figures_mm = plan.scale.label_every * plan.scale.unit_mm
    span = max(levels) - min(levels)
    needed = max(span * 1.25 + 14, 4.5 * figures_mm, 0.45 * plan.board_height_mm)
    middle = (max(levels) + min(levels)) / 2 + rng.normal(0, 0.05) * needed
    return middle - needed / 2, middle + needed / 2


def _lens(rng: Rng, plan: Plan, frame: _Frame) -> tuple[float, float, float]:
    """A usual lens at a distance where people stand: its 35 mm equivalent, its focal length
    [px], and the distance [mm]."""
    diagonal = math.hypot(frame.width_px, frame.height_px)
    f35 = pick(rng, *FOCAL_LENGTHS_MM) + rng.uniform(-0.4, 0.4)
    focal = f35 / FULL_FRAME_DIAGONAL_MM * diagonal
    nearest, farthest = DISTANCES_FAR_MM if plan.cls == "neg_small" else DISTANCES_MM
    distance = float(np.clip(focal * frame.mm_per_px, nearest, farthest))
    focal = distance / frame.mm_per_px
    f35 = focal * FULL_FRAME_DIAGONAL_MM / diagonal
    if f35 < SHORTEST_MM or f35 > LONGEST_MM:
        f35 = float(np.clip(f35, SHORTEST_MM, LONGEST_MM))
        focal = f35 / FULL_FRAME_DIAGONAL_MM * diagonal
        distance = focal * frame.mm_per_px
    return f35, focal, distance


def _stand(
    rng: Rng, plan: Plan, frame: _Frame, wide_mm: float, upward: Floats, distance: float
) -> tuple[Floats, Floats, float]:
    """Where the camera is, where it points, and how far it is rolled [rad].

    ``wide_mm`` was to be in the picture; where it is not, aim nearer to the middle.
    """
    elevation, yaw, roll = np.radians(
        [
            rng.uniform(-12, 12) if chance(rng, 0.7) else rng.normal(0, 3),
            rng.uniform(-15, 15) if chance(rng, 0.7) else rng.normal(0, 4),
            np.clip(rng.normal(0, 3), -8, 8),
        ]
    )
    if plan.kind == "inclined":
        aside = plan.limbs_mm[0]
    else:
        aside = rng.normal(0, 0.05) * frame.width_px * frame.mm_per_px * 0.5
        if wide_mm > frame.wide_mm:
            aside *= 0.3
    target = np.array([aside, frame.middle_mm, 0.0])
    out = np.array([0, 0, 1.0])
    level = np.cross(upward, out)
    away = math.cos(elevation) * (math.sin(yaw) * level + math.cos(yaw) * out)
    origin = target + distance * (away + math.sin(elevation) * upward)
    return origin, target, float(roll)


def _axes(
    origin: Floats, target: Floats, upward: Floats, roll: float
) -> tuple[Floats, Floats, Floats]:
    """Right, up, forward of a camera that is turned by ``roll`` about its axis."""
    forward = (target - origin) / np.linalg.norm(target - origin)
    right = np.cross(forward, upward)
    right /= np.linalg.norm(right)
    up = np.cross(right, forward)
    up = math.cos(roll) * up + math.sin(roll) * right
    return np.cross(forward, up), up, forward


def _cropped(rng: Rng, camera: Camera, plan: Plan, filling: Filling) -> Camera:
    """Cut down afterwards, unless a level would be lost or come to the edge."""
    width, height = camera.width_px, camera.height_px
    share = rng.uniform(0.02, 0.10, 4)
    left, top = int(share[0] * width), int(share[1] * height)
    right, bottom = width - int(share[2] * width), height - int(share[3] * height)
    seen = [
        camera.project((x, y, plan.axis_mm))
        for x, column in zip(plan.limbs_mm, filling.columns, strict=True)
        for y in column.levels_mm
    ]
    if all(left + 30 < x < right - 30 and top + 40 < y < bottom - 40 for x, y in seen):
        return replace(camera, crop=(left, top, right, bottom))
    return camera
