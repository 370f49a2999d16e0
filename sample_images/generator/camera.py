"""Pinhole camera with one radial coefficient, in the frame of the board."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_images.generator.fluids import Floats

FULL_FRAME_DIAGONAL_MM = 43.267  # 36 mm x 24 mm, the convention behind "35 mm equivalent"


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Camera pose and lens.

    Attributes
    ----------
    width_px, height_px : int
        Size of the upright picture.
    f35_mm : float
        Focal length as 35 mm equivalent by the diagonal.
    k1 : float
        Radial coefficient on the half diagonal: r_distorted = r (1 + k1 r^2), r = 1 in the
        corner.
    origin_mm, target_mm : tuple of float
        Where the camera is, where its axis points.
    roll_rad : float
        Turn about the axis; positive turns the picture's content anticlockwise.
    """

    width_px: int
    height_px: int
    f35_mm: float
    k1: float
    origin_mm: tuple[float, float, float]
    target_mm: tuple[float, float, float]
    roll_rad: float

    @property
    def focal_px(self) -> float:
        return self.f35_mm / FULL_FRAME_DIAGONAL_MM * math.hypot(self.width_px, self.height_px)

    @property
    def half_diagonal_px(self) -> float:
        return 0.5 * math.hypot(self.width_px, self.height_px)

    def axes(self) -> tuple[Floats, Floats, Floats]:
        """Unit vectors right, down, forward of the camera."""
        forward = np.subtract(self.target_mm, self.origin_mm)
        forward = forward / np.linalg.norm(forward)
        right = np.cross(forward, (0.0, 1.0, 0.0))
        right = right / np.linalg.norm(right)
        down = np.cross(forward, right)
        c, s = math.cos(self.roll_rad), math.sin(self.roll_rad)
        return c * right + s * down, c * down - s * right, forward

    def project(self, points_mm: Floats) -> Floats:
        """Pixel positions, shape (N, 2), of points, shape (N, 3)."""
        right, down, forward = self.axes()
        rel = np.asarray(points_mm, float) - np.asarray(self.origin_mm)
        depth = rel @ forward
        xy = np.stack([rel @ right, rel @ down], axis=1) / depth[:, None]
        xy = xy * self.focal_px
        r2 = (xy**2).sum(axis=1, keepdims=True) / self.half_diagonal_px**2
        centre = np.array([(self.width_px - 1) / 2, (self.height_px - 1) / 2])
        return np.asarray(xy * (1 + self.k1 * r2) + centre)

    def directions(self, x_px: Floats, y_px: Floats) -> Floats:
        """Unit ray directions, shape (N, 3), of pixel positions (N,)."""
        right, down, forward = self.axes()
        ux = (x_px - (self.width_px - 1) / 2) / self.half_diagonal_px
        uy = (y_px - (self.height_px - 1) / 2) / self.half_diagonal_px
        rd2 = ux**2 + uy**2
        scale = np.ones_like(rd2)
        for _ in range(6):  # fixed point; contracts by 3 |k1| < 0.1 a step
            scale = 1.0 / (1.0 + self.k1 * rd2 * scale**2)
        gain = self.half_diagonal_px / self.focal_px
        d = (
            forward
            + (ux * scale * gain)[:, None] * right
            + (uy * scale * gain)[:, None] * down
        )
        return np.asarray(d / np.sqrt(np.einsum("ij,ij->i", d, d))[:, None])
