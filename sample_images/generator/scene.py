"""Everything opaque: board, strips, prints, clips, caps, blocks, the wall behind."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from sample_images.generator.fluids import Floats
from sample_images.generator.room import Room

Rgb = tuple[float, float, float]
FloatMap = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Lambertian albedo plus a mirror part (share of the room reflected)."""

    albedo: Rgb
    mirror: Rgb = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """How far something printed is turned on its face, anticlockwise about a point."""

    angle_rad: float
    about_mm: tuple[float, float]

    def on_face(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Where on the face a point of the print comes to lie."""
        return _turned(x, y, self.about_mm, self.angle_rad)

    def on_print(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Which point of the print lies at a point of the face."""
        return _turned(x, y, self.about_mm, -self.angle_rad)


def _turned(
    x: Floats, y: Floats, about: tuple[float, float], angle: float
) -> tuple[Floats, Floats]:
    dx, dy = x - about[0], y - about[1]
    c, s = np.cos(angle), np.sin(angle)
    return about[0] + c * dx - s * dy, about[1] + s * dx + c * dy


STRAIGHT = Turn(angle_rad=0.0, about_mm=(0.0, 0.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Print:
    """Ink on a face: coverage 0..255 over a rectangle, first row at the top."""

    left_mm: float
    top_mm: float
    px_per_mm: float
    coverage: npt.NDArray[np.uint8]
    ink: Rgb
    turn: Turn = STRAIGHT


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """Rectangle parallel to the board, printed."""

    x0_mm: float
    x1_mm: float
    y0_mm: float
    y1_mm: float
    z_mm: float
    albedo: Rgb
    grain: FloatMap | None
    grain_px_per_mm: float
    gloss: float
    gloss_exponent: float
    prints: tuple[Print, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """Axis-aligned box."""

    lo_mm: tuple[float, float, float]
    hi_mm: tuple[float, float, float]
    material: Material

    def bounds(self) -> tuple[Floats, Floats]:
        return np.array(self.lo_mm), np.array(self.hi_mm)

    def hit(self, o: Floats, d: Floats) -> tuple[Floats, Floats]:
        t = np.full(len(o), -np.inf)
        far = np.full(len(o), np.inf)
        axis = np.zeros(len(o), np.int64)
        with np.errstate(divide="ignore", invalid="ignore"):
            for i in range(3):
                inv = 1.0 / d[:, i]
                a = (self.lo_mm[i] - o[:, i]) * inv
                b = (self.hi_mm[i] - o[:, i]) * inv
                near = np.fmin(a, b)
                far = np.fmin(far, np.fmax(a, b))
                later = near > t
                t[later] = near[later]
                axis[later] = i
        miss = (t > far) | (t < 1e-6)
        n = np.zeros_like(d)
        hit = np.flatnonzero(~miss)
        n[hit, axis[hit]] = -np.sign(d[hit, axis[hit]])
        t[miss] = np.inf
        return t, n


@dataclass(frozen=True, slots=True, kw_only=True)
class Rod:
    """Cylinder along y with flat ends."""

    x_mm: float
    z_mm: float
    radius_mm: float
    y0_mm: float
    y1_mm: float
    material: Material

    def bounds(self) -> tuple[Floats, Floats]:
        r = self.radius_mm
        return (
            np.array([self.x_mm - r, self.y0_mm, self.z_mm - r]),
            np.array([self.x_mm + r, self.y1_mm, self.z_mm + r]),
        )

    def hit(self, o: Floats, d: Floats) -> tuple[Floats, Floats]:
        x, z = o[:, 0] - self.x_mm, o[:, 2] - self.z_mm
        a = np.maximum(d[:, 0] ** 2 + d[:, 2] ** 2, 1e-12)
        b = x * d[:, 0] + z * d[:, 2]
        disc = b * b - a * (x * x + z * z - self.radius_mm**2)
        t = np.where(disc > 0, (-b - np.sqrt(np.maximum(disc, 0))) / a, np.inf)
        y = o[:, 1] + np.where(np.isfinite(t), t, 0) * d[:, 1]
        t = np.where((t > 1e-6) & (y > self.y0_mm) & (y < self.y1_mm), t, np.inf)
        reach = np.where(np.isfinite(t), t, 0)[:, None] * d
        n = np.stack(
            [
                (x + reach[:, 0]) / self.radius_mm,
                np.zeros(len(o)),
                (z + reach[:, 2]) / self.radius_mm,
            ],
            axis=1,
        )
        for end, up in ((self.y0_mm, -1.0), (self.y1_mm, 1.0)):
            with np.errstate(divide="ignore", invalid="ignore"):
                te = (end - o[:, 1]) / d[:, 1]
            rr = (x + te * d[:, 0]) ** 2 + (z + te * d[:, 2]) ** 2
            ok = (te > 1e-6) & (te < t) & (rr < self.radius_mm**2)
            t = np.where(ok, te, t)
            n[ok] = (0.0, up, 0.0)
        return t, n


@dataclass(frozen=True, slots=True, kw_only=True)
class Capsule:
    """Round-ended cylinder between two points: hoses, cables, fingers."""

    a_mm: tuple[float, float, float]
    b_mm: tuple[float, float, float]
    radius_mm: float
    material: Material

    def bounds(self) -> tuple[Floats, Floats]:
        ends = np.array([self.a_mm, self.b_mm])
        return ends.min(axis=0) - self.radius_mm, ends.max(axis=0) + self.radius_mm

    def hit(self, o: Floats, d: Floats) -> tuple[Floats, Floats]:
        a = np.array(self.a_mm)
        ba = np.array(self.b_mm) - a
        oa = o - a
        baba = ba @ ba
        bard, baoa = d @ ba, oa @ ba
        rdoa, oaoa = (d * oa).sum(axis=1), (oa * oa).sum(axis=1)
        qa = np.maximum(baba - bard**2, 1e-12)
        qb = baba * rdoa - baoa * bard
        qc = baba * oaoa - baoa**2 - self.radius_mm**2 * baba
        disc = qb * qb - qa * qc
        t = np.where(disc > 0, (-qb - np.sqrt(np.maximum(disc, 0))) / qa, np.inf)
        s = baoa + np.where(np.isfinite(t), t, 0) * bard
        t = np.where((s > 0) & (s < baba) & (t > 1e-6), t, np.inf)
        for centre in (a, a + ba):
            oc = o - centre
            b = (d * oc).sum(axis=1)
            disc = b * b - (oc * oc).sum(axis=1) + self.radius_mm**2
            ts = np.where(disc > 0, -b - np.sqrt(np.maximum(disc, 0)), np.inf)
            t = np.where((ts > 1e-6) & (ts < t), ts, t)
        p = oa + np.where(np.isfinite(t), t, 0)[:, None] * d
        h = np.clip(p @ ba / baba, 0, 1)
        n = (p - h[:, None] * ba) / self.radius_mm
        return t, n


Solid = Box | Rod | Capsule


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """Plane behind the board with a picture on it, centred, mirrored beyond its edge."""

    z_mm: float
    centre_mm: tuple[float, float]
    px_per_mm: float
    albedo: FloatMap


@dataclass(frozen=True, slots=True, kw_only=True)
class Lightmap:
    """Irradiance over a rectangle, first row at the bottom, shape (h, w, 3)."""

    x0_mm: float
    y0_mm: float
    px_per_mm: float
    irradiance: FloatMap

    def at(self, x: Floats, y: Floats) -> Floats:
        u = (x - self.x0_mm) * self.px_per_mm
        v = (y - self.y0_mm) * self.px_per_mm
        return lookup(self.irradiance, u, v, cv2.BORDER_REPLICATE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Opaque world and its lighting. ``lightmaps`` go with ``faces``, then the wall's."""

    faces: tuple[Face, ...]
    lightmaps: tuple[Lightmap, ...]
    wall: Wall
    wall_light: Lightmap
    solids: tuple[Solid, ...]
    room: Room


FARTHEST_PX = 3e4


def lookup(picture: npt.NDArray[np.generic], u: Floats, v: Floats, border: int) -> Floats:
    """Bilinear samples at column u, row v (pixel centres at integers), shape (N[, C])."""
    n = len(u)
    width = 8192
    pad = -n % width if n > width else 0
    # OpenCV counts positions in 16 bits; a grazing ray meets a wall kilometres away.
    mu, mv = (np.pad(np.clip(w, -FARTHEST_PX, FARTHEST_PX), (0, pad)) for w in (u, v))
    mu, mv = mu.astype(np.float32), mv.astype(np.float32)
    shape = (-1, width) if n > width else (1, -1)
    got = cv2.remap(
        picture, mu.reshape(shape), mv.reshape(shape), cv2.INTER_LINEAR, borderMode=border
    )
    flat = got.reshape(-1, *picture.shape[2:])[:n]
    return np.asarray(flat, dtype=np.float64)


def shade(
    scene: Scene, o: Floats, d: Floats, solids: tuple[Solid, ...] | None = None
) -> Floats:
    """Radiance, shape (N, 3), along rays that meet nothing but opaque things.

    Parameters
    ----------
    scene : Scene
        The opaque world.
    o, d : ndarray, shape (N, 3)
        Origins and unit directions.
    solids : tuple of Solid, optional
        The solids worth testing; default all.
    """
    n_rays = len(o)
    best, which, normal = nearest_solid(scene.solids if solids is None else solids, o, d)
    out = np.empty((n_rays, 3))
    down = d[:, 2] < -1e-9
    inv = 1.0 / np.where(down, d[:, 2], -1.0)
    owner = np.full(n_rays, -2)  # -2 room or wall, -1 solid, k face
    owner[which >= 0] = -1
    for k, face in enumerate(scene.faces):
        t = (face.z_mm - o[:, 2]) * inv
        x, y = o[:, 0] + t * d[:, 0], o[:, 1] + t * d[:, 1]
        on = (
            down
            & (t > 1e-6)
            & (t < best)
            & (x > face.x0_mm)
            & (x < face.x1_mm)
            & (y > face.y0_mm)
            & (y < face.y1_mm)
        )
        best = np.where(on, t, best)
        owner[on] = k
    for k, face in enumerate(scene.faces):
        rows = np.flatnonzero(owner == k)
        if rows.size:
            p = o[rows] + best[rows, None] * d[rows]
            out[rows] = _face_radiance(scene, face, scene.lightmaps[k], p, d[rows])
    rows = np.flatnonzero(owner == -1)
    if rows.size:
        listed = scene.solids if solids is None else solids
        out[rows] = _solid_radiance(scene, listed, which[rows], normal[rows], d[rows])
    rows = np.flatnonzero((owner == -2) & down)
    if rows.size:
        t = (scene.wall.z_mm - o[rows, 2]) * inv[rows]
        out[rows] = _wall_radiance(scene, o[rows] + t[:, None] * d[rows])
    rows = np.flatnonzero((owner == -2) & ~down)
    if rows.size:
        out[rows] = scene.room.radiance(d[rows])
    return out


def nearest_solid(
    solids: tuple[Solid, ...], o: Floats, d: Floats
) -> tuple[Floats, npt.NDArray[np.int64], Floats]:
    """Distance (inf if none), index (-1 if none), normal of the nearest solid."""
    best = np.full(len(o), np.inf)
    which = np.full(len(o), -1)
    normal = np.zeros_like(d)
    for k, solid in enumerate(solids):
        t, n = solid.hit(o, d)
        on = t < best
        best[on], which[on], normal[on] = t[on], k, n[on]
    return best, which, normal


def _face_radiance(scene: Scene, face: Face, light: Lightmap, p: Floats, d: Floats) -> Floats:
    x, y = p[:, 0], p[:, 1]
    albedo = np.tile(np.array(face.albedo), (len(p), 1))
    if face.grain is not None:
        u = (x - face.x0_mm) * face.grain_px_per_mm
        v = (y - face.y0_mm) * face.grain_px_per_mm
        albedo = albedo * lookup(face.grain, u, v, cv2.BORDER_REFLECT).reshape(len(p), -1)
    for pr in face.prints:
        on_x, on_y = pr.turn.on_print(x, y)
        u = (on_x - pr.left_mm) * pr.px_per_mm - 0.5
        v = (pr.top_mm - on_y) * pr.px_per_mm - 0.5
        h, w = pr.coverage.shape
        if u.max() < -1 or u.min() > w or v.max() < -1 or v.min() > h:
            continue
        c = lookup(pr.coverage, u, v, cv2.BORDER_CONSTANT)[:, None] / 255.0
        albedo = albedo * (1 - c) + np.array(pr.ink) * c
    out = albedo / np.pi * light.at(x, y)
    if face.gloss > 0:
        mirrored = d * np.array([1.0, 1.0, -1.0])
        for lamp in scene.room.lamps:
            aligned = np.maximum(mirrored @ scene.room.lamp_direction(lamp), 0.0)
            lobe = (face.gloss_exponent + 1) / (2 * np.pi) * aligned**face.gloss_exponent
            out = out + (face.gloss * lamp.solid_angle_sr * lobe)[:, None] * np.array(
                lamp.radiance
            )
    return np.asarray(out)


def _solid_radiance(
    scene: Scene, solids: tuple[Solid, ...], which: npt.NDArray[np.int64], n: Floats, d: Floats
) -> Floats:
    room = scene.room
    up = np.array([np.sin(room.up_angle_rad), np.cos(room.up_angle_rad), 0.0])
    lift = 0.5 + 0.5 * (n @ up)
    ambient = (
        np.array(room.floor) * (1 - lift)[:, None]
        + np.array(room.ceiling) * lift[:, None]
        + np.array(room.wall)
    ) / 2
    e = np.pi * ambient * (0.75 + 0.25 * n[:, 2:3])
    for lamp in room.lamps:
        facing = np.maximum(n @ room.lamp_direction(lamp), 0.0)
        e = e + (facing * lamp.solid_angle_sr)[:, None] * np.array(lamp.radiance)
    albedo = np.array([s.material.albedo for s in solids])[which]
    mirror = np.array([s.material.mirror for s in solids])[which]
    out = albedo / np.pi * e
    shiny = mirror.max(axis=1) > 0
    if shiny.any():
        ds, ns = d[shiny], n[shiny]
        bounced = ds - 2 * (ds * ns).sum(axis=1, keepdims=True) * ns
        seen = room.radiance(bounced)
        behind = bounced[:, 2] < 0
        seen[behind] = 0.6 * room.ambient()
        out[shiny] += mirror[shiny] * seen
    return np.asarray(out)


def _wall_radiance(scene: Scene, p: Floats) -> Floats:
    wall = scene.wall
    h, w = wall.albedo.shape[:2]
    u = (p[:, 0] - wall.centre_mm[0]) * wall.px_per_mm + w / 2
    v = h / 2 - (p[:, 1] - wall.centre_mm[1]) * wall.px_per_mm
    albedo = lookup(wall.albedo, u, v, cv2.BORDER_REFLECT)
    return np.asarray(albedo / np.pi * scene.wall_light.at(p[:, 0], p[:, 1]))
