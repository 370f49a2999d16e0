"""Round tubes along a centre line: surfaces of walls and their ends. Lengths in mm."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sample_images.path_tracer.colour import Floats
from sample_images.path_tracer.meshes import Mesh, grid_faces, oriented

AROUND = 160
"""Vertices around a tube: chords lie 2e-4 radii inside the circle."""
SECANT_MM = 0.05
"""Tangents are taken over this length to both sides."""
LEAST_RING_MM = 0.02


class CentreLine:
    """Polyline at one depth; ``s`` is the way along it in mm from its first point."""

    def __init__(self, points: Sequence[tuple[float, float]], depth_mm: float) -> None:
        self.points = np.asarray(points, float)
        self.depth_mm = depth_mm
        steps = np.diff(self.points, axis=0)
        self.s = np.concatenate([[0], np.cumsum(np.hypot(*steps.T))])

    @property
    def length_mm(self) -> float:
        return float(self.s[-1])

    def place(self, s: Floats) -> tuple[Floats, Floats]:
        """x and y at ``s``."""
        x = np.interp(s, self.s, self.points[:, 0])
        return x, np.interp(s, self.s, self.points[:, 1])

    def tangent(self, s: Floats) -> tuple[Floats, Floats]:
        """Unit vector along the line at ``s``."""
        (x1, y1), (x0, y0) = self.place(s + SECANT_MM), self.place(s - SECANT_MM)
        length = np.hypot(x1 - x0, y1 - y0)
        return (x1 - x0) / length, (y1 - y0) / length

    def frame(self, s: float) -> tuple[Floats, Floats, Floats, Floats]:
        """Point, tangent, normal in the plane, and outward direction at ``s``.

        The normal is +x where the tangent is up.
        """
        at = np.atleast_1d(s)
        (x, y), (tx, ty) = (
            (float(v[0]) for v in pair) for pair in (self.place(at), self.tangent(at))
        )
        return (
            np.array([x, y, self.depth_mm]),
            np.array([tx, ty, 0.0]),
            np.array([ty, -tx, 0.0]),
            np.array([0.0, 0.0, 1.0]),
        )

    def rings(self, start: float, end: float) -> Floats:
        """Where rings of a mesh are needed between two places."""
        inner = (self.s > start + LEAST_RING_MM) & (self.s < end - LEAST_RING_MM)
        return np.unique(np.concatenate([[start], self.s[inner], [end]]))


def angles() -> Floats:
    """Directions around a tube, from the normal in the plane towards the camera."""
    return np.asarray(np.arange(AROUND) * 2 * np.pi / AROUND)


def wall(
    line: CentreLine,
    rings: Floats,
    radius: float,
    first_rim: Floats | None = None,
    last_rim: Floats | None = None,
) -> Mesh:
    """Surface of a tube. Rims are offsets along the axis of the first and last ring."""
    phi = angles()
    s = np.repeat(rings[:, None], AROUND, 1)
    if first_rim is not None:
        s[0] += first_rim
    if last_rim is not None:
        s[-1] += last_rim
    x, y = (v.reshape(s.shape) for v in line.place(s.ravel()))
    tx, ty = (v.reshape(s.shape) for v in line.tangent(s.ravel()))
    c, sine = np.cos(phi)[None], np.sin(phi)[None]
    grid = np.stack([ty * c, -tx * c, np.broadcast_to(sine, s.shape)], -1)
    points = np.stack([x, y, np.full(s.shape, line.depth_mm)], -1) + radius * grid
    v, n = points.reshape(-1, 3), grid.reshape(-1, 3)
    return Mesh.untextured(v, oriented(v, grid_faces(len(rings), AROUND, closed=True), n), n)


def end_face(line: CentreLine, s: float, inner: float, outer: float) -> Mesh:
    """Ring of glass at an end of a tube, looking away from it."""
    phi = angles()
    point, tangent, normal, outward = line.frame(s)
    radial = normal * np.cos(phi)[:, None] + outward * np.sin(phi)[:, None]
    v = point + np.concatenate([inner * radial, outer * radial])
    n = np.repeat(tangent[None] * (1 if s > line.length_mm / 2 else -1), len(v), 0)
    return Mesh.untextured(v, oriented(v, grid_faces(2, AROUND, closed=True), n), n)
