"""More that hides a level, or nearly so: lamps, windows, fingers, dirt, frosted tape.

As in `tests.helpers.compositions`. Where the level may still be seen nothing is said to be
hidden: what is read then has to be right.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np

from tests.helpers.compositions import Composition, Place, laid_over, mask_of, one_level
from tests.helpers.shots import FloatMap, Points, Shot, in_light

SKIN = ((0.75, 0.5, 0.38), (0.25, 0.14, 0.09))
"""Light of fair and of dark skin (judgement, no source)."""


def _near_level(shot: Shot, rng: np.random.Generator) -> tuple[Place, float, float]:
    """The instrument, and a place along and across up to 0.4 tubes from one of its levels."""
    p = Place.of(shot)
    along, across = one_level(p, rng)
    return p, float(along + rng.uniform(-0.4, 0.4) * p.tube_px), float(across)


def _ellipse(shot: Shot, p: Place, at: tuple[float, float], half: Points) -> FloatMap:
    """Distance from the middle of an ellipse about a place, 1 on its rim."""
    h, w = shot.shown.shape[:2]
    v, u = np.mgrid[:h, :w].astype(np.float32)
    x, y = p.px(*at)
    along = ((u - x) * p.along[0] + (v - y) * p.along[1]) / half[0]
    across = ((u - x) * p.across[0] + (v - y) * p.across[1]) / half[1]
    return np.asarray(np.hypot(along, across), np.float32)


def window_by_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """The image of a window in the glass: bright panes with bars between them."""
    p, a, c = _near_level(shot, rng)
    high, wide = p.tube_px * np.array([rng.uniform(0.6, 3.0), rng.uniform(0.1, 0.3)])
    c += rng.uniform(-0.2, 0.2) * p.tube_px
    edges = np.linspace(a - high, a + high, rng.integers(3, 6))
    bar = 0.04 * p.tube_px
    panes = [
        mask_of(shot, p.corners((low + bar, top - bar), (c - wide, c + wide)))
        for low, top in pairwise(edges)
    ]
    light = rng.uniform(0.5, 2.5) * np.sum(panes, axis=0)[..., None]
    return in_light(shot, lambda under: under + light)


def bloom_by_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A flash that fades: burnt out in its middle, a veil about it."""
    p, a, c = _near_level(shot, rng)
    half = p.tube_px * np.array([rng.uniform(0.3, 0.9), rng.uniform(0.2, 0.6)])
    r = _ellipse(shot, p, (a, c), half)
    light = rng.uniform(1.5, 8.0) * np.exp(-(r**2)) + 0.3 / (1 + r**2 / 6) ** 1.5
    return in_light(shot, lambda under: under + np.asarray(light[..., None], np.float32))


def lamp_by_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A coloured lamp, so bright that one colour or all are burnt out."""
    p, a, c = _near_level(shot, rng)
    half = p.tube_px * np.array([rng.uniform(0.3, 1.5), rng.uniform(0.2, 0.6)])
    lamp = np.exp(-(_ellipse(shot, p, (a, c), half) ** 6))[..., None]
    light = rng.uniform(1.0, 4.0) * lamp * (0.15 + rng.random(3).astype(np.float32))
    return in_light(shot, lambda under: under + light)


def finger_on_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A finger from the side, its tip beyond the tube."""
    p, a, c = _near_level(shot, rng)
    a += rng.uniform(-0.2, 0.2) * p.tube_px
    half, way = rng.uniform(0.7, 1.2) * p.tube_px, rng.choice([-1, 1])
    tip, far = c + way * 0.6 * p.tube_px, c - way * 3.0 * max(shot.size_px)
    turn = np.linspace(-0.5, 0.5, 31) * np.pi
    rounded = [p.px(a + half * np.sin(t), tip + way * half * (np.cos(t) - 1.0)) for t in turn]
    outline = [p.px(a - half, far), *rounded, p.px(a + half, far)]
    share = rng.random()
    skin = np.array(SKIN[0]) * share + np.array(SKIN[1]) * (1 - share)
    r = _ellipse(shot, p, (a, tip), np.array([half, 1e6]))
    shade = (0.4 + 0.6 * np.sqrt(np.clip(1 - r**2, 0, 1)))[..., None]
    return replace(laid_over(shot, mask_of(shot, np.array(outline)), skin * shade), hides=True)


def smudge_by_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Dark grease on the glass with a ragged rim, through which a little is seen."""
    p, a, c = _near_level(shot, rng)
    half = p.tube_px * np.array([rng.uniform(0.5, 1.5), rng.uniform(0.3, 0.9)])
    h, w = shot.shown.shape[:2]
    rag = cv2.resize(rng.standard_normal((40, 30)).astype(np.float32), (w, h))
    r = _ellipse(shot, p, (a, c), half) + 0.15 * rag
    share = rng.uniform(0.7, 1.0) / (1 + np.exp(np.clip((r - 1) / 0.1, -40, 40)))
    return laid_over(shot, share.astype(np.float32), rng.uniform(0.01, 0.1, 3))


def frosted_tape_by_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Matt tape about the tube, through which only a blur is seen."""
    p, a, c = _near_level(shot, rng)
    high, wide = p.tube_px * np.array([rng.uniform(0.5, 2.0), rng.uniform(0.55, 2.0)])
    mask = mask_of(shot, p.corners((a - high, a + high), (c - wide, c + wide)))[..., None]
    veil = rng.uniform(0.3, 0.8)

    def behind(light: FloatMap) -> FloatMap:
        blurred = cv2.GaussianBlur(light, (0, 0), 0.5 * p.tube_px)
        return np.asarray(light * (1 - mask) + mask * (blurred * (1 - veil) + 0.7 * veil))

    return in_light(shot, behind)


HIDERS: dict[str, Composition] = {
    "window_by_level": window_by_level,
    "bloom_by_level": bloom_by_level,
    "lamp_by_level": lamp_by_level,
    "finger_on_level": finger_on_level,
    "smudge_by_level": smudge_by_level,
    "frosted_tape_by_level": frosted_tape_by_level,
}
