"""From a drawn case to scene-linear radiance at every pixel."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from sample_images.generator.camera import Camera
from sample_images.generator.fluids import Floats
from sample_images.generator.optics import Bend, Ints, Straight, walk
from sample_images.generator.scene import FloatMap, Scene, Solid, nearest_solid, shade
from sample_images.generator.strips import StripCamera

TILE_PX = 64
OPAQUE_SAMPLES = 2  # per pixel and axis; prints are filtered beforehand
GLASS_SAMPLES = 3  # per pixel, one in each third of its width and of its height
LEVEL_SAMPLES = 5  # the same within NEAR_MM of a level
NEAR_MM = 9.0
SEAM_MM = 1.0  # straight tubes go on that far below where a bend begins
BAND_MM = 6.0  # of tube traced at a time: stays in the cache


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """Opaque scene plus glass. ``tube_span_mm`` bounds the glass shown along y."""

    scene: Scene
    tubes: tuple[Straight, ...]
    tube_span_mm: tuple[float, float]
    bend: Bend | None


def render(
    world: World,
    camera: Camera | StripCamera,
    window_px: tuple[int, int, int, int] | None = None,
) -> FloatMap:
    """Radiance, shape (height, width, 3), of the upright picture or a window of it.

    Parameters
    ----------
    world : World
        What is seen.
    camera : Camera
        From where.
    window_px : tuple of int, optional
        Left, top, right, bottom in px of the whole picture; right and bottom excluded.
    """
    left, top, right, bottom = window_px or (0, 0, camera.width_px, camera.height_px)
    out = np.zeros((camera.height_px, camera.width_px, 3), np.float32)
    outside = np.ones(out.shape[:2], bool)
    outside[top:bottom, left:right] = False
    boxes = [_outline(camera, *s.bounds()) for s in world.scene.solids]
    boards = [
        _outline(
            camera, np.array([f.x0_mm, f.y0_mm, f.z_mm]), np.array([f.x1_mm, f.y1_mm, f.z_mm])
        )
        for f in world.scene.faces
    ]
    for y0 in range(top, bottom, TILE_PX):
        for x0 in range(left, right, TILE_PX):
            y1, x1 = min(y0 + TILE_PX, bottom), min(x0 + TILE_PX, right)
            solids = tuple(
                s
                for s, b in zip(world.scene.solids, boxes, strict=True)
                if b[0] < x1 and b[2] > x0 and b[1] < y1 and b[3] > y0
            )
            plain = not solids and not any(
                b[0] < x1 and b[2] > x0 and b[1] < y1 and b[3] > y0 for b in boards
            )
            samples = 1 if plain else OPAQUE_SAMPLES
            o, d = _rays(camera, *_grid(x0, x1, y0, y1), samples)
            seen = shade(world.scene, o, d, solids)
            out[y0:y1, x0:x1] = seen.reshape(y1 - y0, x1 - x0, -1, 3).mean(axis=2)
    for tube in world.tubes:
        _paint_tube(out, world, camera, tube, boxes, outside.copy())
    if world.bend is not None:
        _paint_bend(out, world, camera, world.bend, boxes, outside.copy())
    return out[top:bottom, left:right]


def _grid(x0: int, x1: int, y0: int, y1: int) -> tuple[Ints, Ints]:
    v, u = np.mgrid[y0:y1, x0:x1]
    return u.ravel(), v.ravel()


def _rays(
    camera: Camera | StripCamera, u: Ints, v: Ints, samples: int
) -> tuple[Floats, Floats]:
    """Rays through a regular grid of points in each pixel, pixel by pixel."""
    step = (np.arange(samples) + 0.5) / samples - 0.5
    sy, sx = np.meshgrid(step, step, indexing="ij")
    return _cast(camera, u[:, None] + sx.ravel(), v[:, None] + sy.ravel())


def _glass_rays(
    camera: Camera | StripCamera, u: Ints, v: Ints, samples: int
) -> tuple[Floats, Floats]:
    """Rays through a lattice shifted at random in each pixel, pixel by pixel.

    A fixed grid would place a level parallel to the rows only to a fraction of its pitch,
    the same in every column; the shifts make that error independent between columns.
    """
    rng = np.random.default_rng([int(u[0]), int(v[0]), len(u)])
    i = np.arange(samples)
    sx = (i / samples + rng.random((len(u), 1))) % 1.0 - 0.5
    sy = (2 * i % samples / samples + rng.random((len(u), 1))) % 1.0 - 0.5
    return _cast(camera, u[:, None] + sx, v[:, None] + sy)


def _cast(camera: Camera | StripCamera, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    d = camera.directions(x.ravel(), y.ravel())
    return np.broadcast_to(np.array(camera.origin_mm), d.shape), d


def _outline(
    camera: Camera | StripCamera, lo: Floats, hi: Floats
) -> tuple[float, float, float, float]:
    """Pixel box around a box in space, with a margin for distortion."""
    corners = np.array(
        [[x, y, z] for x in (lo[0], hi[0]) for y in (lo[1], hi[1]) for z in (lo[2], hi[2])]
    )
    p = camera.project(corners)
    margin = 4.0
    return (
        p[:, 0].min() - margin,
        p[:, 1].min() - margin,
        p[:, 0].max() + margin,
        p[:, 1].max() + margin,
    )


def _paint_tube(
    out: FloatMap,
    world: World,
    camera: Camera | StripCamera,
    tube: Straight,
    boxes: list[tuple[float, float, float, float]],
    done: npt.NDArray[np.bool_],
) -> None:
    """Trace the pixels near a straight tube, band by band along it."""
    y0, y1 = world.tube_span_mm
    edges = np.linspace(y0, y1, max(int((y1 - y0) / BAND_MM), 1) + 1)
    r = tube.outer_mm + 0.2
    for a, b in pairwise(edges):
        lo = np.array([tube.x_mm - r, a, tube.z_mm - r])
        hi = np.array([tube.x_mm + r, b, tube.z_mm + r])
        u, v = _pixels(out, _outline(camera, lo, hi), done)
        if not u.size:
            continue

        near = any(a - NEAR_MM < s.level_mm < b + NEAR_MM for s in tube.surfaces)
        samples = LEVEL_SAMPLES if near else GLASS_SAMPLES
        span = (y0 - SEAM_MM, y1)
        _trace_pixels(out, world, camera, tube, u, v, boxes, span, samples)


def _pixels(
    out: FloatMap, box: tuple[float, float, float, float], done: npt.NDArray[np.bool_]
) -> tuple[Ints, Ints]:
    h, w = out.shape[:2]
    x0, x1 = max(int(box[0]), 0), min(int(box[2]) + 1, w)
    y0, y1 = max(int(box[1]), 0), min(int(box[3]) + 1, h)
    if x1 <= x0 or y1 <= y0:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    u, v = _grid(x0, x1, y0, y1)
    fresh = ~done[v, u]
    u, v = u[fresh], v[fresh]
    done[v, u] = True
    return u, v


def _paint_bend(
    out: FloatMap,
    world: World,
    camera: Camera | StripCamera,
    bend: Bend,
    boxes: list[tuple[float, float, float, float]],
    done: npt.NDArray[np.bool_],
) -> None:
    r = bend.outer_mm + 0.2
    top = world.tube_span_mm[0]
    lo = np.array([-bend.half_mm - r, bend.y_mm - bend.half_mm - r, bend.z_mm - r])
    hi = np.array([bend.half_mm + r, top, bend.z_mm + r])
    u, v = _pixels(out, _outline(camera, lo, hi), done)

    for part in range(0, len(u), 3_000):
        s = slice(part, part + 3_000)
        _trace_pixels(
            out, world, camera, bend, u[s], v[s], boxes, (-np.inf, top), GLASS_SAMPLES
        )


def _trace_pixels(
    out: FloatMap,
    world: World,
    camera: Camera | StripCamera,
    tube: Straight | Bend,
    u: Ints,
    v: Ints,
    boxes: list[tuple[float, float, float, float]],
    span_mm: tuple[float, float],
    samples: int,
) -> None:
    """Replace pixels that the glass covers, wholly or in part, where first met in a span.

    A bend leaves pixels alone in which any ray meets it above its span: the straight tube,
    painted before and a little further down, has drawn them.
    """
    o, d = _glass_rays(camera, u, v, samples)
    t, _ = tube.enter(o, d)
    y = o[:, 1] + np.where(np.isfinite(t), t, 0.0) * d[:, 1]
    met = np.isfinite(t) & (y > span_mm[0]) & (y < span_mm[1])
    touched = met.reshape(-1, samples).any(axis=1)
    if isinstance(tube, Bend):
        above = np.isfinite(t) & (y >= span_mm[1])
        touched &= ~above.reshape(-1, samples).any(axis=1)
    if not touched.any():
        return
    keep = np.repeat(touched, samples)
    u, v, o, d, t, met = u[touched], v[touched], o[keep], d[keep], t[keep], met[keep]
    box = (u.min() - 2, v.min() - 2, u.max() + 3, v.max() + 3)
    solids: tuple[Solid, ...] = tuple(
        s
        for s, b in zip(world.scene.solids, boxes, strict=True)
        if b[0] < box[2] and b[2] > box[0] and b[1] < box[3] and b[3] > box[1]
    )
    met &= nearest_solid(solids, o, d)[0] > t
    light = np.zeros((len(o), 3))
    plain = ~met
    light[plain] = shade(world.scene, o[plain], d[plain], solids)
    glass = np.flatnonzero(met)

    def collect(po: Floats, pd: Floats, weight: Floats, source: Ints) -> None:
        got = weight * shade(world.scene, po, pd, solids)
        for c in range(3):
            light[glass, c] += np.bincount(source, got[:, c], minlength=len(glass))

    if glass.size:
        walk(tube, o[glass], d[glass], collect)
    out[v, u] = light.reshape(-1, samples, 3).mean(axis=1).astype(np.float32)
