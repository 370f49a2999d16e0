"""Things that stand, hang, stick or shine about an instrument, drawn over photos of one.

Each takes a photo, another photo of its kind and a random generator. The true levels stay as
they are, unless the thing covers one: then the photo must not be read any more.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.helpers.shots import (
    FloatMap,
    Points,
    Shot,
    decode_srgb,
    in_light,
    moved_truth,
)

Composition = Callable[[Shot, Shot, np.random.Generator], Shot]

SOFT_PX = 0.8
"""Blur of what is drawn, about that of the photos."""
FONT = cv2.FONT_HERSHEY_SIMPLEX


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """The instrument in the picture.

    Attributes
    ----------
    origin, along, across : ndarray, shape (2,)
        Foot of the first scale; unit vectors up it and to its right.
    box
        Least and greatest along, least and greatest across, of scales and levels [px].
    levels : ndarray, shape (N, 2)
        Along and across of every level.
    tube_px
        Outside diameter of a tube.
    """

    origin: Points
    along: Points
    across: Points
    box: tuple[float, float, float, float]
    levels: Points
    tube_px: float

    @classmethod
    def of(cls, shot: Shot) -> Place:
        scale = np.array(shot.truth["graduation_px"][0]["px"], float)
        along = (scale[-1] - scale[0]) / np.hypot(*(scale[-1] - scale[0]))
        if abs(along[1]) > abs(along[0]) and along[1] > 0:
            along = -along
        across = np.array([-along[1], along[0]])
        axes = np.stack([along, across], axis=1)
        levels = (shot.levels_px() - scale[0]) @ axes
        known = np.concatenate([(shot.scale_px() - scale[0]) @ axes, levels])
        (a0, c0), (a1, c1) = known.min(axis=0), known.max(axis=0)
        return cls(
            origin=scale[0],
            along=along,
            across=across,
            box=(a0, a1, c0, c1),
            levels=levels,
            tube_px=shot.tube_px(),
        )

    def px(self, along: float, across: float) -> Points:
        return np.asarray(self.origin + along * self.along + across * self.across)

    def corners(self, along: tuple[float, float], across: tuple[float, float]) -> Points:
        """Return the corners of a rectangle on the board, shape (4, 2)."""
        return np.array(
            [
                self.px(a, c)
                for a, c in (
                    (along[0], across[0]),
                    (along[0], across[1]),
                    (along[1], across[1]),
                    (along[1], across[0]),
                )
            ]
        )

    def clear_height(self, rng: np.random.Generator, reach: float) -> float | None:
        """Draw a height on the scale farther than ``reach`` from every level."""
        a0, a1, *_ = self.box
        for at in rng.uniform(a0, a1, 200):
            if np.abs(self.levels[:, 0] - at).min() > reach:
                return float(at)
        return None


def mask_of(shot: Shot, polygon: Points) -> FloatMap:
    """Share of each pixel covered by a polygon."""
    mask = np.zeros(shot.shown.shape[:2], np.float32)
    fixed = np.round(polygon * 16).astype(np.int32)
    cv2.fillPoly(mask, [fixed], 1.0, lineType=cv2.LINE_AA, shift=4)
    return np.asarray(cv2.GaussianBlur(mask, (0, 0), SOFT_PX), np.float32)


def laid_over(
    shot: Shot, mask: FloatMap, colour: NDArray[np.floating] | tuple[float, float, float]
) -> Shot:
    """Lay an opaque colour (light, or a picture of it) over the photo."""
    m = mask[..., None]
    return in_light(shot, lambda light: light * (1 - m) + m * np.asarray(colour, np.float32))


def paint(rng: np.random.Generator) -> tuple[float, float, float]:
    r, g, b = rng.uniform(0.03, 0.8, 3)
    return float(r), float(g), float(b)


def _card(
    shot: Shot, text: list[str], ink: tuple[int, int, int], px: int
) -> NDArray[np.uint8]:
    """A card with lines of writing, RGB."""
    size = px / 30
    widths = [cv2.getTextSize(line, FONT, size, 2)[0][0] for line in text]
    card = np.full((int(1.9 * px * len(text) + px), max(widths) + 2 * px, 3), 255, np.uint8)
    for k, line in enumerate(text):
        cv2.putText(
            card, line, (px, int(1.9 * px * (k + 1))), FONT, size, ink, max(1, px // 9),
            cv2.LINE_AA,
        )  # fmt: skip
    return card


def _glued(shot: Shot, card: NDArray[np.uint8], place: Place, at: Points, lean: float) -> Shot:
    """Glue a card on the board, its centre at (along, across)."""
    h, w = card.shape[:2]
    up = math.atan2(-place.along[1], place.along[0]) - math.pi / 2 + lean
    turn = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), math.degrees(up), 1.0)
    turn[:, 2] += place.px(*at) - ((w - 1) / 2, (h - 1) / 2)
    size = shot.size_px
    light = decode_srgb(card.astype(np.float32) / np.float32(255)) * np.float32(0.75)
    drawn = cv2.warpAffine(light, turn, size, flags=cv2.INTER_AREA)
    mask = cv2.warpAffine(np.ones((h, w), np.float32), turn, size)
    mask = cv2.GaussianBlur(mask, (0, 0), SOFT_PX)
    drawn = cv2.GaussianBlur(drawn, (0, 0), SOFT_PX)
    return in_light(shot, lambda under: under * (1 - mask[..., None]) + drawn)


def second_board(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Paste another instrument beside; the picture grows by as much on both sides."""
    theirs = np.concatenate([other.scale_px(), other.levels_px()])
    margin = 2.5 * other.tube_px()
    low = np.maximum(np.floor(theirs.min(axis=0) - margin), 0).astype(int)
    high = np.minimum(np.ceil(theirs.max(axis=0) + margin), other.size_px).astype(int)
    piece = other.shown[low[1] : high[1], low[0] : high[0]]
    width, height = shot.size_px
    if piece.shape[0] > 0.95 * height:
        k = 0.95 * height / piece.shape[0]
        piece = cv2.resize(piece, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)
    h, w = piece.shape[:2]
    mine = Place.of(shot)
    left, right = _reach(shot, mine)
    at_left = bool(rng.integers(2))
    room = left if at_left else width - right
    grow = max(0, w + 4 - int(room))
    shown = cv2.copyMakeBorder(shot.shown, 0, 0, grow, grow, cv2.BORDER_REPLICATE)
    x = int(left + grow - w - 2) if at_left else int(right + grow + 2)
    y = int(rng.integers(0, height - h + 1))
    shown[y : y + h, x : x + w] = piece
    truth = moved_truth(shot.truth, lambda p: p + np.array([grow, 0.0]))
    focal = shot.focal_35mm
    if focal is not None:  # the same lens, a larger picture
        focal *= math.hypot(width, height) / math.hypot(width + 2 * grow, height)
    return replace(shot, shown=shown, truth=truth, focal_35mm=focal)


def _reach(shot: Shot, place: Place) -> tuple[float, float]:
    """First and last column that the instrument needs."""
    known = np.concatenate([shot.scale_px(), shot.levels_px()])
    margin = 4 * place.tube_px
    return float(known[:, 0].min() - margin), float(known[:, 0].max() + margin)


def sticker(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A patch of one colour on the board, beside scale and tubes."""
    p = Place.of(shot)
    a, c = _beside(p, rng)
    half = p.tube_px * rng.uniform(0.6, 1.5, 2)
    polygon = p.corners((a - half[0], a + half[0]), (c - half[1], c + half[1]))
    return laid_over(shot, mask_of(shot, polygon), paint(rng))


def _beside(p: Place, rng: np.random.Generator, gap: float = 2.2) -> tuple[float, float]:
    a0, a1, c0, c1 = p.box
    side = c0 - gap * p.tube_px if rng.integers(2) else c1 + gap * p.tube_px
    return float(rng.uniform(a0, a1)), float(side)


def sticker_on_scale(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A patch over a seventh of the graduations, away from the levels and off the tubes."""
    p = Place.of(shot)
    half = (p.box[1] - p.box[0]) / 14
    at = p.clear_height(rng, half + 1.5 * p.tube_px)
    if at is None:
        return shot
    wide = 0.45 * float(np.abs(p.levels[:, 1]).min())
    polygon = p.corners((at - half, at + half), (-wide, wide))
    return laid_over(shot, mask_of(shot, polygon), paint(rng))


def note(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A hand-written note stuck on the board."""
    p = Place.of(shot)
    written = ["CHECK 12.4.", "zero +2", "refill!"]
    card = _card(shot, written, (30, 40, 140), max(8, int(0.5 * p.tube_px)))
    card = np.minimum(card, np.array([250, 240, 120], np.uint8))
    a, c = _beside(p, rng, 3.5)
    return _glued(shot, card, p, np.array([a, c]), float(rng.uniform(-0.15, 0.15)))


def label_plate(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A plate with digits of the size of the numerals, beside them."""
    p = Place.of(shot)
    digits = "".join(str(d) for d in rng.integers(0, 10, 6))
    lines = [digits[:3], digits[3:], "No 40", "max 250"]
    card = _card(shot, lines, (20, 20, 20), max(7, int(1.3 * shot.pitch_px())))
    a, c = _beside(p, rng, 2.4)
    return _glued(shot, card, p, np.array([a, c]), 0.0)


def cable(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A dark cable hanging across board and tubes, away from the levels."""
    p = Place.of(shot)
    at = p.clear_height(rng, 3.5 * p.tube_px)
    return shot if at is None else _cable(shot, p, at, rng)


def _cable(
    shot: Shot, p: Place, at: float, rng: np.random.Generator, share: float = 0.5
) -> Shot:
    """A cable of ``share`` of a tube's width through height ``at`` over the tubes."""
    *_, c0, c1 = p.box
    middle, half = 0.5 * (c0 + c1), 0.5 * (c1 - c0) + p.tube_px
    slope, sag = rng.uniform(-0.25, 0.25), rng.uniform(0.0, 0.4)
    c = np.linspace(middle - 12 * half, middle + 12 * half, 400)
    u = (c - middle) / half
    a = at + p.tube_px * (slope * u + sag * (u**2 - 1) / 4)
    line = p.origin + a[:, None] * p.along + c[:, None] * p.across
    mask = np.zeros(shot.shown.shape[:2], np.float32)
    shine = mask.copy()
    thick = max(2, int(share * p.tube_px))
    points = [np.round(line * 16).astype(np.int32)]
    cv2.polylines(mask, points, False, 1.0, thick, cv2.LINE_AA, 4)
    cv2.polylines(shine, points, False, 1.0, max(1, thick // 4), cv2.LINE_AA, 4)
    mask, shine = (cv2.GaussianBlur(m, (0, 0), SOFT_PX) for m in (mask, shine))
    colour = np.array(paint(rng), np.float32) * 0.3
    return laid_over(shot, mask, colour + 0.12 * shine[..., None])


def window_reflection(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A window mirrored in a pane before the board: light added across tubes and scale."""
    p = Place.of(shot)
    a0, a1, c0, c1 = p.box
    a = rng.uniform(a0, a1)
    high, wide = 0.3 * (a1 - a0), 0.7 * (c1 - c0) + 2 * p.tube_px
    c = rng.uniform(c0, c1)
    light = np.zeros(shot.shown.shape[:2], np.float32)
    for i in (0, 1):
        for j in (0, 1):
            polygon = p.corners(
                (a + (i - 0.97) * high / 2, a + (i - 0.03) * high / 2),
                (c + (j - 0.97) * wide, c + (j - 0.03) * wide),
            )
            light = np.maximum(light, mask_of(shot, polygon))
    light = cv2.GaussianBlur(light, (0, 0), 0.15 * p.tube_px)
    strength = np.array([0.26, 0.3, 0.34], np.float32) * np.float32(rng.uniform(0.5, 1.2))
    return in_light(shot, lambda under: under + light[..., None] * strength)


def streaks(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Highlights of a lamp down the tubes, each ending where it pleases."""
    p = Place.of(shot)
    a0, a1, *_ = p.box
    light = np.zeros(shot.shown.shape[:2], np.float32)
    side = rng.uniform(-0.35, 0.35) * p.tube_px
    start, end = np.sort(rng.uniform(a0, a1, 2))
    for c in np.unique(np.round(p.levels[:, 1] / p.tube_px)) * p.tube_px:
        true = p.levels[np.argmin(np.abs(p.levels[:, 1] - c)), 1]
        half = 0.06 * p.tube_px
        polygon = p.corners((start, end), (true + side - half, true + side + half))
        light = np.maximum(light, mask_of(shot, polygon))
    return in_light(shot, lambda under: under + 0.5 * light[..., None])


def _outside(shot: Shot, p: Place) -> FloatMap:
    """Share of each pixel that lies off a sheet about scale and tubes."""
    a0, a1, c0, c1 = p.box
    up, out = 0.08 * (a1 - a0), 3.0 * p.tube_px
    return np.asarray(1 - mask_of(shot, p.corners((a0 - up, a1 + up), (c0 - out, c1 + out))))


def graph_paper(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Graph paper pasted behind the board."""
    p = Place.of(shot)
    w, h = shot.size_px
    pitch = float(shot.pitch_px() * rng.uniform(0.8, 2.5))
    y, x = np.mgrid[:h, :w].astype(np.float32)
    lean = rng.uniform(-0.04, 0.04)
    paper = np.ones((h, w), np.float32)
    for t in (x + lean * y, y - lean * x):
        for every, width, dark in ((1, 0.9, 0.45), (5, 1.3, 0.65), (10, 1.8, 0.8)):
            off = np.abs((t / (pitch * every)) % 1 - 0.5) - 0.5
            paper *= 1 - dark * np.exp(-((off * pitch * every / width) ** 2))
    ink = np.array([0.9, 0.35, 0.2], np.float32)
    colour = 0.6 * (paper[..., None] + (1 - paper[..., None]) * ink)
    return laid_over(shot, _outside(shot, p), colour)


def planks(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Wooden planks behind the board, lying or standing."""
    p = Place.of(shot)
    w, h = shot.size_px
    y, x = np.mgrid[:h, :w].astype(np.float32)
    if rng.integers(2):
        x, y = y, x
    warp = cv2.GaussianBlur(rng.standard_normal((h, w), dtype=np.float32), (0, 0), 40.0)
    warp /= warp.std()
    fibre = rng.standard_normal((h, w), dtype=np.float32)
    fibre = cv2.GaussianBlur(fibre, (0, 0), 1.2, sigmaY=25.0)
    fibre /= fibre.std()
    board = 0.09 * max(h, w)
    ring = np.sin((y + 6 * warp) / 5.0 + 3 * np.sin(x / 300))
    tone = 0.35 + 0.05 * ring + 0.03 * fibre + 0.04 * np.sin(np.floor(y / board) * 7.7)
    gap = np.abs((y / board) % 1 - 0.5) > 0.5 - 2.0 / board
    tone = np.where(gap, 0.05, tone)
    colour = tone[..., None] * np.array([1.0, 0.62, 0.33], np.float32)
    colour = cv2.GaussianBlur(colour.astype(np.float32), (0, 0), SOFT_PX)
    return laid_over(shot, _outside(shot, p), colour)


def one_level(p: Place, rng: np.random.Generator) -> Points:
    """Along and across of one of the levels."""
    return np.asarray(p.levels[rng.integers(len(p.levels))])


def sticker_on_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A patch over a tube with its level: nothing can be read there."""
    p = Place.of(shot)
    a, c = one_level(p, rng) + rng.uniform(-0.3, 0.3, 2) * p.tube_px
    half = p.tube_px * np.array([rng.uniform(1.0, 2.0), rng.uniform(0.9, 1.5)])
    polygon = p.corners((a - half[0], a + half[0]), (c - half[1], c + half[1]))
    return replace(laid_over(shot, mask_of(shot, polygon), paint(rng)), hides=True)


def tape_on_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Tape about a tube, no wider than it, over its level."""
    p = Place.of(shot)
    a, c = one_level(p, rng)
    a += rng.uniform(-0.3, 0.3) * p.tube_px
    high, wide = rng.uniform(0.7, 1.5) * p.tube_px, 0.52 * p.tube_px
    polygon = p.corners((a - high, a + high), (c - wide, c + wide))
    return replace(laid_over(shot, mask_of(shot, polygon), paint(rng)), hides=True)


def sleeve_on_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A metal sleeve over a level, hardly wider than the tube, one end near the level."""
    p = Place.of(shot)
    a, c = one_level(p, rng)
    near, far = rng.uniform(0.35, 2.0) * p.tube_px, rng.uniform(1.0, 4.0) * p.tube_px
    low, high = (a - near, a + far) if rng.integers(2) else (a - far, a + near)
    half = 0.5 * p.tube_px * rng.uniform(1.0, 1.3)
    bow = p.tube_px * rng.uniform(-0.12, 0.12)
    u = np.linspace(-1.0, 1.0, 41)
    round_end = bow * np.sqrt(1 - u**2)
    lower = [p.px(low + d, c + half * s) for d, s in zip(round_end, u, strict=True)]
    upper = [p.px(high + d, c + half * s) for d, s in zip(round_end, u, strict=True)]
    mask = mask_of(shot, np.array(lower + upper[::-1]))
    h, w = shot.shown.shape[:2]
    v, across_px = np.mgrid[:h, :w].astype(np.float32)
    aside = (across_px - p.origin[0]) * p.across[0] - c
    aside += (v - p.origin[1]) * p.across[1]
    shine = np.interp(aside / half, np.linspace(-1.0, 1.0, 9), rng.uniform(0.08, 0.9, 9))
    lamp = np.abs(aside / half - rng.uniform(-0.5, 0.5)) < rng.uniform(0.05, 0.18)
    metal = np.where(lamp, 1.2, shine)[..., None] * np.array([0.96, 0.98, 1.0])
    return replace(laid_over(shot, mask, metal), hides=True)


def cable_on_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A cable across board and tubes, over a level."""
    p = Place.of(shot)
    a, c = one_level(p, rng)
    level = replace(p, box=(p.box[0], p.box[1], c - p.tube_px, c + p.tube_px))
    return replace(_cable(shot, level, a, rng, share=1.2), hides=True)


def flash_on_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A burnt-out spot over a level."""
    p = Place.of(shot)
    x, y = p.px(*one_level(p, rng))
    h, w = shot.shown.shape[:2]
    v, u = np.mgrid[:h, :w].astype(np.float32)
    r = np.hypot(u - x, v - y) / (rng.uniform(0.7, 1.2) * p.tube_px)
    spot = 3.0 * np.exp(-(r**4)) + 0.15 * np.exp(-r / 2)
    return replace(in_light(shot, lambda under: under + spot[..., None]), hides=True)


def streak_to_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A burnt-out streak in a tube that ends where it pleases near the level.

    It leaves a fifth of the tube at least, beside it, in which the level is seen.
    """
    p = Place.of(shot)
    a, c = one_level(p, rng)
    half = 0.5 * p.tube_px * rng.uniform(0.15, 0.7)
    side = rng.uniform(-1, 1) * (0.45 * p.tube_px - half)
    start, end = p.tube_px * np.array([rng.uniform(1, 6), rng.uniform(-0.5, 0.5)])
    way = rng.choice([-1, 1])
    polygon = p.corners((a + way * start, a + way * end), (c + side - half, c + side + half))
    light = mask_of(shot, polygon)[..., None]
    return in_light(shot, lambda under: under + 1.5 * light)


def spot_by_level(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A burnt-out round spot over or beside the level, narrower than the tube."""
    p = Place.of(shot)
    a, c = one_level(p, rng)
    size = p.tube_px * rng.uniform(0.12, 0.4)
    at = p.tube_px * np.array([rng.uniform(-0.6, 0.6), rng.uniform(-0.3, 0.3)])
    x, y = p.px(a + at[0], c + at[1])
    h, w = shot.shown.shape[:2]
    v, u = np.mgrid[:h, :w].astype(np.float32)
    r = np.hypot(u - x, v - y) / size
    spot = 3.0 * np.exp(-(r**4)) + 0.1 * np.exp(-r / 2)
    return in_light(shot, lambda under: under + spot[..., None])


COMPOSITIONS: dict[str, Composition] = {
    "second_board": second_board,
    "sticker": sticker,
    "sticker_on_scale": sticker_on_scale,
    "note": note,
    "label_plate": label_plate,
    "cable": cable,
    "window_reflection": window_reflection,
    "streaks": streaks,
    "streak_to_level": streak_to_level,
    "spot_by_level": spot_by_level,
    "graph_paper": graph_paper,
    "planks": planks,
    "sticker_on_level": sticker_on_level,
    "tape_on_level": tape_on_level,
    "sleeve_on_level": sleeve_on_level,
    "cable_on_level": cable_on_level,
    "flash_on_level": flash_on_level,
}
