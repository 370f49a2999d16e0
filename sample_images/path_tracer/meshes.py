"""Triangle meshes of boards, boxes, turned parts and hoses. Lengths in mm."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from sample_images.path_tracer.colour import Floats

Indices = npt.NDArray[np.int64]
Point = tuple[float, float, float]
Profile = Sequence[tuple[float, float]]

AROUND_PIPE = 40
ALONG_PIPE = 24
"""Rings of a pipe between two of the points that it goes through."""
OUTWARD: Point = (0.0, 0.0, 1.0)
UPWARD: Point = (0.0, 1.0, 0.0)


@dataclass(frozen=True, slots=True)
class Mesh:
    """Triangles; normals for shading and texture coordinates (v down) at the vertices."""

    vertices: Floats
    faces: Indices
    normals: Floats
    uv: Floats

    @classmethod
    def untextured(cls, vertices: Floats, faces: Indices, normals: Floats) -> Mesh:
        return cls(vertices, faces, normals, np.zeros((len(vertices), 2)))

    def turned(self, angle_rad: float, then_by: Point) -> Mesh:
        """Turned anticlockwise about the z axis, then moved."""
        c, s = math.cos(angle_rad), math.sin(angle_rad)
        turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
        return replace(
            self,
            vertices=self.vertices @ turn.T + np.array(then_by),
            normals=self.normals @ turn.T,
        )


def ply_bytes(mesh: Mesh, origin: npt.ArrayLike) -> bytes:
    """Binary PLY of a mesh, seen from an origin."""
    columns = (mesh.vertices - np.asarray(origin, float), mesh.normals, mesh.uv)
    table = np.concatenate([np.asarray(c, np.float32) for c in columns], 1)
    names = ("x", "y", "z", "nx", "ny", "nz", "u", "v")
    rows = np.empty(len(mesh.faces), dtype=[("count", "u1"), ("corners", "<i4", (3,))])
    rows["count"], rows["corners"] = 3, mesh.faces
    head = (
        "ply\nformat binary_little_endian 1.0\n"
        + f"element vertex {len(table)}\n"
        + "".join(f"property float {name}\n" for name in names)
        + f"element face {len(rows)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    return head.encode() + table.astype("<f4").tobytes() + rows.tobytes()


def grid_faces(rows: int, columns: int, *, closed: bool) -> Indices:
    """Triangles of a grid of vertices; ``closed`` joins its last column to the first."""
    i, j = np.meshgrid(
        np.arange(rows - 1), np.arange(columns if closed else columns - 1), indexing="ij"
    )
    here, right = i * columns + j, i * columns + (j + 1) % columns
    below, across = here + columns, right + columns
    halves = [np.stack([here, right, across], -1), np.stack([here, across, below], -1)]
    return np.concatenate([half.reshape(-1, 3) for half in halves])


def oriented(vertices: Floats, faces: Indices, normals: Floats) -> Indices:
    """Faces, turned over where they look against the normals of their corners."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    against = (np.cross(b - a, c - a) * normals[faces].sum(1)).sum(1) < 0
    faces = faces.copy()
    faces[against] = faces[against][:, ::-1]
    return faces


def extrude(profile: Profile, bottom: float, top: float, u_span: tuple[float, float]) -> Mesh:
    """Face that runs through (x, z) of the profile, from left to right, at all heights.

    ``u_span`` are the x at which the texture begins and ends.
    """
    points = np.asarray(profile, float)
    count = len(points) - 1
    left, right = points[:-1], points[1:]
    corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
    vertices = np.stack([np.c_[p[:, 0], np.full(count, y), p[:, 1]] for p, y in corners], 1)
    along = right - left
    normals = np.c_[-along[:, 1], np.zeros(count), along[:, 0]]
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    normals = np.repeat(normals[:, None], 4, 1)
    u = (vertices[..., 0] - u_span[0]) / (u_span[1] - u_span[0])
    up = (vertices[..., 1] - bottom) / (top - bottom)
    return Mesh(
        vertices.reshape(-1, 3),
        _quads(count),
        normals.reshape(-1, 3),
        np.stack([u, 1 - up], -1).reshape(-1, 2),
    )


def _quads(count: int) -> Indices:
    first = np.arange(count)[:, None] * 4
    return np.concatenate([first + np.array(half) for half in ((0, 1, 2), (0, 2, 3))])


def box(
    left: float,
    right: float,
    bottom: float,
    top: float,
    back: float,
    front: float,
    *,
    open_front: bool = False,
    bevel: float = 0.0,
) -> Mesh:
    """Box that looks outward, its front edges bevelled, or without a front."""

    def ring(z: float, inset: float = 0.0) -> list[Point]:
        return [
            (left + inset, bottom + inset, z),
            (right - inset, bottom + inset, z),
            (right - inset, top - inset, z),
            (left + inset, top - inset, z),
        ]

    face, shoulder, rear = ring(front, bevel), ring(front - bevel), ring(back)
    quads = [] if open_front else [face]
    for i in range(4):
        j = (i + 1) % 4
        if bevel:
            quads.append([shoulder[i], shoulder[j], face[j], face[i]])
        quads.append([rear[i], rear[j], shoulder[j], shoulder[i]])
    quads.append(rear[::-1])
    corners = [np.array(quad, float) for quad in quads]
    normals = np.concatenate(
        [np.repeat(np.cross(q[1] - q[0], q[2] - q[0])[None], 4, 0) for q in corners]
    )
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    uv = np.tile([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]], (len(corners), 1))
    return Mesh(np.concatenate(corners), _quads(len(corners)), normals, uv)


def lathe(profile: Profile, centre: Point, axis: Point, around: int = 64) -> Mesh:
    """Solid of revolution.

    Parameters
    ----------
    profile : sequence of tuple of float, [mm]
        Radius and height along the axis; every piece is shaded flat along the axis.
    around : int
        Sides; six make a nut.
    """
    direction = np.asarray(axis, float)
    direction /= np.linalg.norm(direction)
    aside = [0, 0, 1.0] if abs(direction[2]) < 0.9 else [1.0, 0, 0]
    first = np.cross(direction, aside)
    first /= np.linalg.norm(first)
    second = np.cross(direction, first)
    angles = np.arange(around) * 2 * np.pi / around
    radial = np.cos(angles)[:, None] * first + np.sin(angles)[:, None] * second
    vertices, normals, faces, count = [], [], [], 0
    for (r0, h0), (r1, h1) in itertools.pairwise(profile):
        ends = [r0 * radial + h0 * direction, r1 * radial + h1 * direction]
        points = np.concatenate(ends) + np.asarray(centre)
        step = np.array([r1 - r0, h1 - h0])
        length = np.hypot(*step)
        if length < 1e-9:
            continue
        normal = radial * step[1] / length - direction * step[0] / length
        normal = np.concatenate([normal, normal])
        vertices.append(points)
        normals.append(normal)
        faces.append(oriented(points, grid_faces(2, around, closed=True), normal) + count)
        count += len(points)
    return Mesh.untextured(
        np.concatenate(vertices), np.concatenate(faces), np.concatenate(normals)
    )


def pipe(points: Sequence[Point], radius: float) -> Mesh:
    """Round pipe or hose along a smooth line through points."""
    line = _smooth(np.asarray(points, float))
    tangents = np.gradient(line, axis=0)
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    # Any direction that no pipe here runs along will do to start from.
    across = np.cross(tangents[0], [0.3, 0.2, 0.9])
    across /= np.linalg.norm(across)
    angles = np.arange(AROUND_PIPE) * 2 * np.pi / AROUND_PIPE
    rings, normals = [], []
    for centre, tangent in zip(line, tangents, strict=True):
        across = across - tangent * (across @ tangent)
        across /= np.linalg.norm(across)
        other = np.cross(tangent, across)
        normal = np.cos(angles)[:, None] * across + np.sin(angles)[:, None] * other
        rings.append(centre + radius * normal)
        normals.append(normal)
    v, n = np.concatenate(rings), np.concatenate(normals)
    return Mesh.untextured(
        v, oriented(v, grid_faces(len(line), AROUND_PIPE, closed=True), n), n
    )


def _smooth(points: Floats) -> Floats:
    """Catmull-Rom spline through points (from memory)."""
    held = np.vstack([2 * points[0] - points[1], points, 2 * points[-1] - points[-2]])
    line = []
    for i in range(1, len(held) - 2):
        last = i == len(held) - 3
        a, b, c, d = held[i - 1 : i + 3]
        for t in np.linspace(0, 1, ALONG_PIPE, endpoint=last):
            cubic = (-a + 3 * b - 3 * c + d) * t**3
            square = (2 * a - 5 * b + 4 * c - d) * t**2
            line.append(0.5 * (2 * b + (c - a) * t + square + cubic))
    return np.array(line)
