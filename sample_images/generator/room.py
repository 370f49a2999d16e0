"""The room: what a ray that leaves the instrument towards the viewer's side meets."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sample_images.generator.fluids import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Lamp:
    """Soft rectangle in azimuth and elevation (world frame), radiance relative to walls."""

    azimuth_rad: float
    elevation_rad: float
    half_width_rad: float
    half_height_rad: float
    radiance: tuple[float, float, float]
    bars: int = 0

    @property
    def direction(self) -> Floats:
        ce = math.cos(self.elevation_rad)
        return np.array(
            [
                math.sin(self.azimuth_rad) * ce,
                math.sin(self.elevation_rad),
                math.cos(self.azimuth_rad) * ce,
            ]
        )

    @property
    def solid_angle_sr(self) -> float:
        return 4 * self.half_width_rad * self.half_height_rad * math.cos(self.elevation_rad)


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """Walls with a vertical gradient, lamps and windows, the photographer's silhouette.

    ``up_angle_rad`` turns the world about z: an inclined board has its own up direction.
    """

    floor: tuple[float, float, float]
    wall: tuple[float, float, float]
    ceiling: tuple[float, float, float]
    lamps: tuple[Lamp, ...]
    viewer_direction: tuple[float, float, float]
    viewer_darkness: float
    ripple_phase: tuple[float, float, float]
    up_angle_rad: float = 0.0

    def to_world(self, d: Floats) -> Floats:
        """World directions of board-frame directions, shape (N, 3)."""
        c, s = math.cos(self.up_angle_rad), math.sin(self.up_angle_rad)
        return np.stack(
            [c * d[:, 0] - s * d[:, 1], s * d[:, 0] + c * d[:, 1], d[:, 2]], axis=1
        )

    def lamp_direction(self, lamp: Lamp) -> Floats:
        """Direction of a lamp in the board's frame."""
        c, s = math.cos(self.up_angle_rad), math.sin(self.up_angle_rad)
        x, y, z = lamp.direction
        return np.array([c * x + s * y, -s * x + c * y, z])

    def ambient(self) -> Floats:
        """Radiance averaged over the sphere, lamps left out."""
        parts = np.array([self.floor, self.wall, self.wall, self.ceiling])
        return np.asarray(parts.mean(axis=0))

    def radiance(self, d: Floats) -> Floats:
        """Radiance, shape (N, 3), from board-frame unit directions (N, 3)."""
        w = self.to_world(d)
        height = w[:, 1:2]
        low = _smooth(height, -0.45, -0.05)
        high = _smooth(height, 0.25, 0.75)
        out = (
            np.array(self.floor) * (1 - low)
            + np.array(self.wall) * low * (1 - high)
            + np.array(self.ceiling) * high
        )
        az = np.arctan2(w[:, 0], w[:, 2])
        el = np.arcsin(np.clip(w[:, 1], -1, 1))
        p = self.ripple_phase
        ripple = np.sin(3.1 * az + p[0]) * np.sin(2.3 * el + p[1]) + 0.6 * np.sin(
            7.7 * az + p[1]
        ) * np.cos(5.9 * el + p[2])
        out = out * (1 + 0.22 * ripple)[:, None]
        toward = d @ np.asarray(self.viewer_direction)
        shade = _smooth(toward, math.cos(0.30), math.cos(0.20))
        out = out * (1 - self.viewer_darkness * shade)[:, None]
        for lamp in self.lamps:
            du = (az - lamp.azimuth_rad + math.pi) % (2 * math.pi) - math.pi
            dv = el - lamp.elevation_rad
            inside = _smooth(lamp.half_width_rad - np.abs(du), -0.012, 0.012) * _smooth(
                lamp.half_height_rad - np.abs(dv), -0.012, 0.012
            )
            for i in range(lamp.bars):
                at = -lamp.half_width_rad + 2 * lamp.half_width_rad * (i + 1) / (lamp.bars + 1)
                inside = inside * (1 - 0.9 * _smooth(0.02 - np.abs(du - at), -0.006, 0.006))
            out = out + inside[:, None] * np.array(lamp.radiance)
        return np.asarray(out)


def _smooth(x: Floats, lo: float, hi: float) -> Floats:
    t = np.clip((x - lo) / (hi - lo), 0.0, 1.0)
    return np.asarray(t * t * (3 - 2 * t))
