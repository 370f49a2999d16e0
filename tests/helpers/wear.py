"""What light and years of use do to an instrument, drawn over photos of one.

As in `tests.helpers.compositions`; nothing here hides a level.
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from tests.helpers.compositions import SOFT_PX, Composition, Place, laid_over, mask_of, paint
from tests.helpers.shots import FloatMap, Points, Shot, decode_srgb, in_light

BORE_SHARE = 0.72
"""Of the outside diameter; common practice, no source."""


def _shaded(shot: Shot, shadow: FloatMap, rng: np.random.Generator) -> Shot:
    """Take light away; what is left comes from the sky, and is bluer."""
    left = rng.uniform(0.3, 0.75) * np.array([0.95, 1.0, 1.06], np.float32)
    share = shadow[..., None]
    return in_light(shot, lambda light: light * (1 - share + share * left))


def _shadow(shot: Shot, wide: float, rng: np.random.Generator) -> Shot:
    """A shadow of ``wide`` pixels whose first edge passes over the instrument."""
    p = Place.of(shot)
    a0, a1, c0, c1 = p.box
    at = p.px(rng.uniform(a0, a1), rng.uniform(c0, c1))
    angle = rng.uniform(0, math.pi)
    along = np.array([math.cos(angle), math.sin(angle)])
    out = np.array([-along[1], along[0]]) * rng.choice([-1, 1])
    far = 3.0 * max(shot.size_px)
    corners = [at - far * along, at + far * along]
    corners += [c + wide * out for c in corners[::-1]]
    # OpenCV's points are 32-bit with 4 bits of fraction.
    shadow = mask_of(shot, np.array(corners))
    soft = p.tube_px * rng.uniform(0.03, 0.5)
    return _shaded(shot, np.asarray(cv2.GaussianBlur(shadow, (0, 0), soft)), rng)


def shadow_edge(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A shadow that ends somewhere on board and tubes, in any direction."""
    return _shadow(shot, 3.0 * max(shot.size_px), rng)


def shadow_bar(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """The shadow of a pipe or a glazing bar, half to three tubes wide."""
    return _shadow(shot, Place.of(shot).tube_px * rng.uniform(0.5, 3.0), rng)


def _board(shot: Shot) -> FloatMap:
    """The board without its print, in light: the median over two divisions."""
    window = 2 * int(min(shot.pitch_px(), 30.0)) + 3
    shown = np.round(shot.shown * 255).astype(np.uint8)
    plain = cv2.medianBlur(shown, window)
    return np.asarray(decode_srgb(plain.astype(np.float32) / np.float32(255)), np.float32)


def _off_tubes(shot: Shot, p: Place) -> FloatMap:
    """Share of each pixel beside the tubes and about the scale."""
    a0, a1, c0, c1 = p.box
    reach = 2.5 * p.tube_px
    share = mask_of(shot, p.corners((a0 - reach, a1 + reach), (c0 - reach, c1 + reach)))
    half = 0.55 * p.tube_px
    for c in p.levels[:, 1]:
        tube = p.corners((a0 - 2 * reach, a1 + 2 * reach), (c - half, c + half))
        share = share * (1 - mask_of(shot, tube))
    return share


def worn_print(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A fifth of the print beside the tubes rubbed off in blotches."""
    p = Place.of(shot)
    w, h = shot.size_px
    blotch = rng.standard_normal((h, w), dtype=np.float32)
    blotch = cv2.GaussianBlur(blotch, (0, 0), rng.uniform(0.5, 1.5) * shot.pitch_px())
    blotch /= blotch.std()
    # 0.84 standard deviations leave a fifth above.
    worn = np.clip(4.0 * (blotch - 0.84) + 0.5, 0, 1) * _off_tubes(shot, p)
    return laid_over(shot, worn * rng.uniform(0.6, 1.0), _board(shot))


def double_print(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Dark print on a clear plate, with its shadow on what stands behind."""
    p = Place.of(shot)
    light = decode_srgb(shot.shown)
    ink = np.clip(light / np.maximum(_board(shot), np.float32(1e-3)), 0.0, 1.0)
    pitch = shot.pitch_px()
    dx, dy = rng.uniform(-0.5, 0.5) * pitch, rng.uniform(0.2, 0.7) * pitch
    move = np.array([[1, 0, dx], [0, 1, dy]])
    shadow = cv2.warpAffine(1 - ink, move, shot.size_px)
    shadow = cv2.GaussianBlur(shadow, (0, 0), rng.uniform(0.6, 1.5))
    shadow *= rng.uniform(0.2, 0.6) * _off_tubes(shot, p)[..., None]
    return in_light(shot, lambda light: light * (1 - shadow))


def _band(p: Place, at: float, c: float, half: float, high: float, bow: float) -> Points:
    """Corners of a band across a tube, bowed as seen from above or below."""
    u = np.linspace(-1.0, 1.0, 41)
    low = [p.px(at - high / 2 + bow * math.sqrt(1 - s * s), c + half * s) for s in u]
    top = [p.px(at + high / 2 + bow * math.sqrt(1 - s * s), c + half * s) for s in u]
    return np.array(low + top[::-1])


def marker_ring(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A rubber ring slid over a tube, away from its levels."""
    p = Place.of(shot)
    a0, a1, *_ = p.box
    c = float(p.levels[rng.integers(len(p.levels)), 1])
    mine = p.levels[np.abs(p.levels[:, 1] - c) < 0.5 * p.tube_px, 0]
    free = [a for a in rng.uniform(a0, a1, 200) if np.abs(mine - a).min() > 1.3 * p.tube_px]
    if not free:
        return shot
    half, high = rng.uniform(0.5, 0.56) * p.tube_px, rng.uniform(0.12, 0.45) * p.tube_px
    ring = mask_of(shot, _band(p, free[0], c, half, high, rng.uniform(-0.1, 0.1) * p.tube_px))
    return laid_over(shot, ring, np.array(paint(rng)) * rng.uniform(0.3, 1.0))


def _tops(shot: Shot, p: Place) -> list[tuple[float, float]]:
    """Where the gas of each tube begins along it, and the tube's place across."""
    tops = [np.array(limb[-1]["px"], float) for limb in shot.truth["menisci"] if limb]
    return [tuple((top - p.origin) @ np.stack([p.along, p.across], axis=1)) for top in tops]


def tide_mark(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A stain on the inner wall where the liquid stood once, above a level."""
    p = Place.of(shot)
    tops = _tops(shot, p)
    low, c = tops[rng.integers(len(tops))]
    at = low + rng.uniform(1.0, 6.0) * p.tube_px
    if at > p.box[1] + p.tube_px:
        return shot
    half = 0.5 * BORE_SHARE * 1.2 * p.tube_px
    thick = rng.uniform(0.1, 0.6) * p.tube_px
    bow = rng.uniform(-0.1, 0.1) * p.tube_px
    stain = mask_of(shot, _band(p, at, c, half, thick, bow))
    colour = rng.uniform(0.4, 0.9) * np.array([1.0, rng.uniform(0.7, 1), rng.uniform(0.4, 1)])
    share = stain[..., None]
    return in_light(
        shot, lambda light: light * (1 - share + share * colour.astype(np.float32))
    )


def droplets(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Drops on the inner wall above every level: dark rims, bright middles."""
    p = Place.of(shot)
    dark = np.zeros(shot.shown.shape[:2], np.float32)
    bright = dark.copy()
    for low, c in _tops(shot, p):
        for _ in range(rng.integers(4, 20)):
            a = low + rng.uniform(0.6, 12.0) * p.tube_px
            size = rng.uniform(0.03, 0.12) * p.tube_px
            side = rng.uniform(-0.5, 0.5) * BORE_SHARE * p.tube_px
            x, y = np.round(16 * p.px(a, c + side)).astype(int)
            centre = (int(x), int(y))
            cv2.circle(dark, centre, int(16 * size), 1.0, -1, cv2.LINE_AA, 4)
            cv2.circle(bright, centre, int(7 * size), 1.0, -1, cv2.LINE_AA, 4)
    dark, bright = (cv2.GaussianBlur(m, (0, 0), SOFT_PX)[..., None] for m in (dark, bright))
    return in_light(shot, lambda light: light * (1 - 0.5 * dark) + 0.25 * bright * light.max())


WEAR: dict[str, Composition] = {
    "shadow_edge": shadow_edge,
    "shadow_bar": shadow_bar,
    "worn_print": worn_print,
    "double_print": double_print,
    "marker_ring": marker_ring,
    "tide_mark": tide_mark,
    "droplets": droplets,
}
