"""Irradiance maps of faces: lamps with soft shadows, caustics of the tubes, ambient."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.special import erf

from sample_images.generator.fluids import Floats
from sample_images.generator.optics import Ints, Straight, walk
from sample_images.generator.room import Lamp, Room
from sample_images.generator.scene import Lightmap, Solid

SLICES = 5  # silhouettes per solid between its back and its front
CAUSTIC_RAYS = 40_000
CAUSTIC_BIN_MM = 0.2


def _step(at: Floats, edge: float, sigma: float) -> Floats:
    return np.asarray(0.5 * (1 + erf((at - edge) / (math.sqrt(2) * sigma))))


def _bar(at: Floats, lo: float, hi: float, sigma: float) -> Floats:
    return _step(at, lo, sigma) - _step(at, hi, sigma)


def caustic(
    tube: Straight,
    fluid: int,
    direction: Floats,
    spread_rad: float,
    drop_mm: float,
    rng: np.random.Generator,
) -> tuple[Floats, Floats]:
    """Light on a plane behind a tube, as a share of the light without the tube.

    Rays of one lamp are traced through the tube filled with one fluid and binned by where
    they land across the tube.

    Returns
    -------
    x_mm : ndarray, shape (B,)
        Positions from the tube's axis, already shifted by the slant of the light.
    share : ndarray, shape (B, 3)
    """
    filled = Straight(
        x_mm=0.0,
        z_mm=0.0,
        inner_mm=tube.inner_mm,
        outer_mm=tube.outer_mm,
        glass_index=tube.glass_index,
        fluids=(tube.fluids[fluid],),
        absorption_per_mm=(tube.absorption_per_mm[fluid],),
        surfaces=(),
    )
    reach = 5 * tube.outer_mm
    n = CAUSTIC_RAYS
    x = (np.arange(n) + rng.random(n)) / n * 2 * reach - reach
    x = rng.permutation(x)
    d = -direction + rng.normal(0, 0.6 * spread_rad, (n, 3)) * (1.0, 0.2, 0.2)
    d /= np.linalg.norm(d, axis=1, keepdims=True)
    o = np.stack([x, np.zeros(n), np.zeros(n)], axis=1) - 60.0 * d
    edges = np.arange(-reach, reach + CAUSTIC_BIN_MM, CAUSTIC_BIN_MM)
    shift = -direction[0] / direction[2] * drop_mm
    total = np.zeros((len(edges) - 1, 3))

    def land(po: Floats, pd: Floats, weight: Floats, _source: Ints) -> None:
        down = pd[:, 2] < -0.05
        t = (-drop_mm - po[down, 2]) / pd[down, 2]
        at = po[down, 0] + t * pd[down, 0] - shift
        for c in range(3):
            total[:, c] += np.histogram(at, edges, weights=weight[down, c])[0]

    t, _ = filled.enter(o, d)
    hit = np.isfinite(t)
    walk(filled, o[hit], d[hit], land)
    land(o[~hit], d[~hit], np.ones((int((~hit).sum()), 3)), np.empty(0, np.int64))
    share = total / (n * CAUSTIC_BIN_MM / (2 * reach))
    share = gaussian_filter1d(share, 1.2, axis=0)
    middle = 0.5 * (edges[:-1] + edges[1:])
    fade = _bar(middle, -0.75 * reach, 0.75 * reach, 0.08 * reach)[:, None]
    return middle + shift, 1 + (share - 1) * fade


def lightmap(
    rect_mm: tuple[float, float, float, float],
    z_mm: float,
    px_per_mm: float,
    room: Room,
    solids: Sequence[Solid],
    tubes: Sequence[Straight],
    tube_span_mm: tuple[float, float],
    gradient: tuple[float, float],
    rng: np.random.Generator,
) -> Lightmap:
    """Irradiance over the rectangle (x0, x1, y0, y1) of the plane z_mm.

    ``gradient`` is the relative change of lamp light from the middle to the right and to
    the upper edge (near lamps).
    """
    x0, x1, y0, y1 = rect_mm
    w = max(int((x1 - x0) * px_per_mm) + 2, 2)
    h = max(int((y1 - y0) * px_per_mm) + 2, 2)
    x, y = x0 + np.arange(w) / px_per_mm, y0 + np.arange(h) / px_per_mm
    tilt = (
        1
        + gradient[0] * ((x - x0) / (x1 - x0) * 2 - 1)[None, :, None]
        + gradient[1] * ((y - y0) / (y1 - y0) * 2 - 1)[:, None, None]
    )
    total = np.zeros((h, w, 3))
    for lamp in room.lamps:
        l_dir = room.lamp_direction(lamp)
        if l_dir[2] < 0.08:
            continue
        seen = _visible(x, y, z_mm, lamp, l_dir, solids)[..., None]
        seen = seen * _tube_light(x, y, z_mm, lamp, l_dir, tubes, tube_span_mm, rng)
        total += seen * tilt * (lamp.solid_angle_sr * l_dir[2]) * np.array(lamp.radiance)
    closed = np.zeros((h, w))
    for solid in solids:
        lo, hi = solid.bounds()
        rise = hi[2] - z_mm
        if rise > 0.3:
            s = 0.3 + 0.7 * rise
            closed = np.maximum(
                closed, np.outer(_bar(y, lo[1], hi[1], s), _bar(x, lo[0], hi[0], s))
            )
    total += np.pi * room.ambient() * (1 - 0.45 * closed)[..., None]
    return Lightmap(
        x0_mm=x0, y0_mm=y0, px_per_mm=px_per_mm, irradiance=total.astype(np.float32)
    )


def _visible(
    x: Floats, y: Floats, z_mm: float, lamp: Lamp, l_dir: Floats, solids: Sequence[Solid]
) -> Floats:
    seen = np.ones((len(y), len(x)))
    for solid in solids:
        lo, hi = solid.bounds()
        for z in np.linspace(max(lo[2], z_mm + 0.05), hi[2], SLICES):
            rise = z - z_mm
            if rise <= 0.04:
                continue
            sx = 0.12 + 0.6 * lamp.half_width_rad * rise
            sy = 0.12 + 0.6 * lamp.half_height_rad * rise
            dx, dy = -rise * l_dir[0] / l_dir[2], -rise * l_dir[1] / l_dir[2]
            dark = np.outer(
                _bar(y, lo[1] + dy, hi[1] + dy, sy), _bar(x, lo[0] + dx, hi[0] + dx, sx)
            )
            seen = np.minimum(seen, 1 - dark)
    return seen


def _tube_light(
    x: Floats,
    y: Floats,
    z_mm: float,
    lamp: Lamp,
    l_dir: Floats,
    tubes: Sequence[Straight],
    span_mm: tuple[float, float],
    rng: np.random.Generator,
) -> Floats:
    light = np.ones((len(y), len(x), 3))
    known: dict[str, tuple[Floats, Floats]] = {}
    for tube in tubes:
        drop = tube.z_mm - z_mm
        if drop < 0.3:
            continue
        dy = -drop * l_dir[1] / l_dir[2]
        blur = 0.3 + 0.6 * lamp.half_height_rad * drop
        levels = [span_mm[0], *[s.level_mm for s in tube.surfaces], span_mm[1]]
        effect = np.zeros((len(y), len(x), 3))
        for k, fluid in enumerate(tube.fluids):
            if fluid.name not in known:
                known[fluid.name] = caustic(tube, k, l_dir, lamp.half_width_rad, drop, rng)
            at, share = known[fluid.name]
            band = _bar(y, levels[k] + dy, levels[k + 1] + dy, blur)
            row = (
                np.stack(
                    [
                        np.interp(x - tube.x_mm, at, share[:, c], left=1.0, right=1.0)
                        for c in range(3)
                    ],
                    axis=1,
                )
                - 1
            )
            effect += band[:, None, None] * row[None]
        light *= 1 + effect
    return light
