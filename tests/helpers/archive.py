"""What archives, prints, screens and software make of photos, one thing at a time.

Thousands of old photos that are read again were printed and scanned, stamped, made smaller,
taken off screens, or have been through a portrait mode. Each function takes a photo and a
random generator, those of `ABOUT_INSTRUMENTS` another photo as well. Magnitudes are common
practice (no source) where none is given.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.helpers.compositions import FONT, Composition, Place, laid_over, mask_of
from tests.helpers.disturbances import LUMA, Disturbance, sensor_noise
from tests.helpers.shots import (
    FloatMap,
    Points,
    Shot,
    decode_srgb,
    encode_srgb,
    in_light,
    moved,
    moved_truth,
    resized,
)

SEGMENTS = {
    "0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc", "5": "afgcd",
    "6": "afgedc", "7": "abc", "8": "abcdefg", "9": "abcdfg", "'": "f", " ": "",
}  # fmt: skip
"""Lit segments of the characters of a date, named a to g as on data sheets of displays."""
SEGMENT_ENDS = {
    "a": ((0, 0), (1, 0)), "b": ((1, 0), (1, 1)), "c": ((1, 1), (1, 2)), "d": ((0, 2), (1, 2)),
    "e": ((0, 1), (0, 2)), "f": ((0, 0), (0, 1)), "g": ((0, 1), (1, 1)),
}  # fmt: skip
"""Their ends in half heights of a digit: to the right, and down."""
STAMP_COLOUR = np.array([1.0, 0.42, 0.06], np.float32)
SCREEN_LENS_MM = 26.0
"""Focal length that the phone writes which photographs a screen."""
SUBPIXELS = 3
LAMPS = np.array(
    [[1.6, 0.35, 0.2], [0.3, 1.4, 0.4], [0.25, 0.5, 1.8], [1.6, 0.8, 0.1], [1.4, 0.2, 1.3]],
    np.float32,
)
"""Red, green, blue, amber and purple light."""


def fitted(shot: Shot, longest_px: int) -> Shot:
    """Shrink to this longest side; smaller photos stay as they are."""
    factor = longest_px / max(shot.size_px)
    return resized(shot, factor) if factor < 1 else shot


def date_stamp(shot: Shot, rng: np.random.Generator) -> Shot:
    """A date in seven segments, exposed onto the lower right corner by a lamp in the camera.

    It runs along the longer side; a photo held upright has it on its side.
    """
    upright = shot.size_px[0] < shot.size_px[1]
    h, w = sorted(shot.shown.shape[:2])
    year, month, day = rng.integers((80, 1, 1), (100, 13, 29))
    text = f"'{year:02d} {month:2d} {day:2d}"
    half = 0.5 * h * rng.uniform(0.022, 0.035)
    lit = np.zeros((h, w), np.float32)
    x0, y0 = w - 0.05 * h - 1.7 * half * len(text), h - 0.05 * h - 2 * half
    for k, character in enumerate(text):
        for name in SEGMENTS[character]:
            ends = [
                np.round(16 * np.array([x0 + half * (1.7 * k + u), y0 + half * v])).astype(int)
                for u, v in SEGMENT_ENDS[name]
            ]
            (x1, y1), (x2, y2) = ends[0].tolist(), ends[1].tolist()
            thick = max(1, round(0.22 * half))
            cv2.line(lit, (x1, y1), (x2, y2), 1.0, thick, cv2.LINE_AA, 4)
    glow = cv2.GaussianBlur(lit, (0, 0), 0.4 * half)
    lit = cv2.GaussianBlur(lit, (0, 0), max(0.8, 0.05 * half)) + 0.3 * glow
    if upright:
        lit = np.rot90(lit, 1 if rng.integers(2) else 3)
    under = lit > 0.1
    date = np.asarray(lit[..., None] * STAMP_COLOUR, np.float32)
    stamped = in_light(shot, lambda light: np.asarray(light + date, np.float32))
    return replace(stamped, hides=_covers_level(shot, under))


def _covers_level(shot: Shot, covered: NDArray[np.bool_]) -> bool:
    h, w = covered.shape
    inside = [(x, y) for x, y in shot.levels_px() if 0 <= x < w and 0 <= y < h]
    return any(bool(covered[int(y), int(x)]) for x, y in inside)


def caption(shot: Shot, rng: np.random.Generator) -> Shot:
    """A strip with a line of writing under the picture, as software adds it; EXIF is kept."""
    width, height = shot.size_px
    strip = round(height * rng.uniform(0.05, 0.09))
    paper, ink = (0, 255) if rng.integers(2) else (255, 0)
    card = np.full((strip, width, 3), paper, np.uint8)
    figure, year, number, value = rng.integers((1, 1975, 10, 10), (99, 2024, 400, 400))
    text = f"Fig. {figure}   {year}   No {number}   p = {value} mm"
    size = min(strip / 44, width / 700)
    at = strip // 2, round(0.68 * strip)
    cv2.putText(card, text, at, FONT, size, (ink,) * 3, max(1, strip // 30), cv2.LINE_AA)
    below = card.astype(np.float32) / np.float32(255)
    return replace(shot, shown=np.concatenate([shot.shown, below]))


def print_scan(shot: Shot, rng: np.random.Generator) -> Shot:
    """A faded paper print with its white border, laid askew on a scanner, at 300 dpi.

    Dyes fade towards yellow and lose their blacks; dust keeps light off the paper, scratches
    show its white, and its surface adds grain.
    """
    small = fitted(shot, 1700)
    w, h = small.size_px
    border, turn = round(0.035 * w), rng.choice([-1, 1]) * math.radians(rng.uniform(1, 3))
    white = np.array([0.8, 0.76, 0.62], np.float32)
    black = np.array([0.1, 0.075, 0.05], np.float32) * rng.uniform(0.5, 1.2)

    def fade(light: FloatMap) -> FloatMap:
        print_ = black + (white - black) * light ** np.float32(rng.uniform(0.75, 1.0))
        print_ = print_ * (1 - _dust(rng, w, h)) + white * _scratches(rng, w, h)
        grain = cv2.GaussianBlur(rng.standard_normal((h, w), dtype=np.float32), (0, 0), 1.1)
        print_ = print_ * (1 + 0.02 * grain[..., None] / grain.std())
        return np.asarray(print_, np.float32)

    paper = in_light(small, fade)
    shown = cv2.copyMakeBorder(
        paper.shown, *(border,) * 4, cv2.BORDER_CONSTANT,
        value=[float(v) for v in encode_srgb(white)],
    )  # fmt: skip
    room = round(0.04 * w) + round(0.05 * h)
    shown = cv2.copyMakeBorder(shown, *(room,) * 4, cv2.BORDER_CONSTANT, value=(0.93,) * 3)
    truth = moved_truth(paper.truth, lambda p: p + (border + room))
    laid = replace(paper, shown=shown, truth=truth, focal_35mm=None, quality=90)
    middle = (np.array(laid.size_px) - 1) / 2
    c, s = math.cos(turn), math.sin(turn)
    rotation = np.array([[c, -s], [s, c]])
    return moved(
        laid,
        laid.size_px,
        lambda p: middle + (p - middle) @ rotation,
        lambda p: middle + (p - middle) @ rotation.T,
    )


def _dust(rng: np.random.Generator, w: int, h: int) -> FloatMap:
    """Share of light kept off by specks and hairs, shape (h, w, 1)."""
    dark = np.zeros((h, w), np.float32)
    for _ in range(rng.integers(60, 200)):
        centre = int(rng.integers(16 * w)), int(rng.integers(16 * h))
        cv2.circle(dark, centre, int(rng.integers(6, 30)), rng.uniform(0.3, 0.9), -1, 0, 4)
    for _ in range(rng.integers(2, 7)):
        at, angle = rng.uniform(0, (w, h)), rng.uniform(0, 2 * np.pi)
        bends = angle + np.cumsum(rng.normal(0, 0.15, 30))
        steps = np.stack([np.cos(bends), np.sin(bends)], axis=1) * rng.uniform(2, 5)
        line = np.round(16 * (at + np.cumsum(steps, axis=0))).astype(np.int32)
        cv2.polylines(dark, [line], False, 0.6, 1, cv2.LINE_AA, 4)
    return np.asarray(cv2.GaussianBlur(dark, (0, 0), 0.6)[..., None], np.float32)


def _scratches(rng: np.random.Generator, w: int, h: int) -> FloatMap:
    """Share of white shown by scratches, mostly along the way the print was pulled."""
    light = np.zeros((h, w), np.float32)
    for _ in range(rng.integers(3, 12)):
        at, length = rng.uniform(0, (w, h)), rng.uniform(0.1, 0.8) * h
        angle = np.pi / 2 + rng.normal(0, 0.1)
        ends = at + np.outer([0, length], [math.cos(angle), math.sin(angle)])
        cv2.polylines(light, [np.round(16 * ends).astype(np.int32)], False,
                      rng.uniform(0.2, 0.6), 1, cv2.LINE_AA, 4)  # fmt: skip
    return np.asarray(cv2.GaussianBlur(light, (0, 0), 0.6)[..., None], np.float32)


def halftone(lines_per_inch: float) -> Disturbance:
    """Printed with black dots in a screen at 45 degrees and scanned at 300 dpi.

    A dot grows from the middle of its cell as ink is wanted; ink spreads a little; the scanner
    averages over its pixel and a half.
    """

    def screen(shot: Shot, rng: np.random.Generator) -> Shot:
        small = fitted(shot, 1800)
        w, h = small.size_px
        fine = 4
        grey = decode_srgb(small.shown) @ LUMA
        wanted = cv2.resize(grey, (fine * w, fine * h), interpolation=cv2.INTER_LINEAR)
        period = fine * 300.0 / lines_per_inch
        y, x = np.mgrid[: fine * h, : fine * w].astype(np.float32)
        k = np.float32(2 * np.pi / period / math.sqrt(2))
        wave = 0.5 + 0.25 * (np.cos(k * (x + y)) + np.cos(k * (x - y)))
        # Shares below each value of the wave, so that dots cover what is asked for.
        order = np.sort(wave[: 64 * fine, : 64 * fine].ravel())
        share = np.interp(wave, order, np.linspace(0, 1, order.size)).astype(np.float32)
        paper = (share > 1 - wanted).astype(np.float32)
        paper = cv2.GaussianBlur(paper, (0, 0), 0.12 * period)
        paper = (paper > 0.58).astype(np.float32)
        paper = cv2.GaussianBlur(paper, (0, 0), 0.5 * fine)
        seen = cv2.resize(paper, (w, h), interpolation=cv2.INTER_AREA)
        light = np.repeat((0.06 + 0.72 * seen)[..., None], 3, axis=2)
        return replace(small, shown=encode_srgb(light), focal_35mm=None, quality=88)

    return screen


def film(shot: Shot, rng: np.random.Generator) -> Shot:
    """Fast black-and-white film of 35 mm, enlarged on paper.

    Its granularity of 0.014, in density through a hole of 48 um, is 0.03 over the 20 um of a
    pixel here, at density 1 (rule of Selwyn; figures from memory).
    """
    small = fitted(shot, 1800)

    def develop(light: FloatMap) -> FloatMap:
        grey = light @ LUMA
        spread = 0.93 * cv2.GaussianBlur(grey, (0, 0), 0.8)
        spread += 0.07 * cv2.GaussianBlur(grey, (0, 0), 6.0)
        density = 0.7 * (np.log10(np.maximum(spread, 0.01)) + 2)
        grain = cv2.GaussianBlur(
            rng.standard_normal(grey.shape, dtype=np.float32), (0, 0), 0.75
        )
        density += 0.03 * np.sqrt(density + 0.1) * grain / grain.std()
        paper = 0.02 + 0.83 * (1 - np.exp(-(10 ** (1.5 * (density - 1.3))) / 0.83))
        return np.asarray(np.repeat(paper[..., None], 3, axis=2), np.float32)

    return replace(in_light(small, develop), focal_35mm=None, quality=90)


def archived(longest_px: int) -> Disturbance:
    """Kept at this longest side and quality 80, with its EXIF data."""
    return lambda shot, rng: replace(fitted(shot, longest_px), quality=80)


def screen_photo(shot: Shot, rng: np.random.Generator) -> Shot:
    """A phone's photo of a screen that shows the photo.

    Every pixel of the screen is three upright stripes, red, green and blue, with dark lines
    between rows; the phone's sensor samples them at nearly their own pitch, and colours beat.
    What EXIF says is the phone's lens, not that of the photo shown.
    """
    on_screen = fitted(shot, 1300)
    sw, sh = on_screen.size_px
    lamp = np.repeat(np.repeat(decode_srgb(on_screen.shown), SUBPIXELS, 0), SUBPIXELS, 1)
    for channel in range(3):
        lamp[:, np.arange(lamp.shape[1]) % SUBPIXELS != channel, channel] *= 0.08
    lamp[SUBPIXELS - 1 :: SUBPIXELS] *= 0.25
    lamp *= 0.95 / (1.16 / 3 * 2.25 / 3)
    bezel, room = round(0.025 * sw), round(0.05 * sw)
    pitch = rng.uniform(1.6, 2.2)
    lamp = cv2.GaussianBlur(lamp, (0, 0), 0.75 * SUBPIXELS / pitch)
    shown = cv2.copyMakeBorder(
        lamp, *(SUBPIXELS * bezel,) * 4, cv2.BORDER_CONSTANT, value=(0.012,) * 3
    )
    shown = cv2.copyMakeBorder(
        shown, *(SUBPIXELS * room,) * 4, cv2.BORDER_CONSTANT, value=(0.12,) * 3
    )
    edge = 2 * (bezel + room)
    forth, back, size = _seen_askew(sw + edge, sh + edge, pitch, rng)
    width, height = size
    x, y = np.meshgrid(np.arange(width, dtype=float), np.arange(height, dtype=float))
    at = (back(np.stack([x.ravel(), y.ravel()], axis=1)) + 0.5) * SUBPIXELS - 0.5
    u, v = (at[:, i].reshape(height, width).astype(np.float32) for i in (0, 1))
    light = cv2.remap(shown, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    light = sensor_noise(0.92 * light + np.float32(0.01), rng, 3000.0, 0.004)
    truth = moved_truth(on_screen.truth, lambda p: forth(p + bezel + room))
    return replace(
        on_screen, shown=encode_srgb(light), truth=truth, focal_35mm=SCREEN_LENS_MM, quality=88
    )


Mapping = Callable[[Points], Points]


def _seen_askew(
    w: int, h: int, scale: float, rng: np.random.Generator
) -> tuple[Mapping, Mapping, tuple[int, int]]:
    """A plane of w by h seen by a phone some degrees askew: forth, back, size in pixels.

    The picture has the shape of a phone's, four by three, lying or upright.
    """
    long = max(max(w, h), min(w, h) * 4 / 3)
    sides = round(scale * long), round(scale * long * 3 / 4)
    width, height = sides if w >= h else sides[::-1]
    focal = SCREEN_LENS_MM / 43.27 * math.hypot(width, height)
    tilt, pan, roll = np.radians(rng.uniform([-6, -6, -2], [6, 6, 2]))
    turn, _ = cv2.Rodrigues(np.array([tilt, 0, 0]))
    about, _ = cv2.Rodrigues(np.array([0, pan, 0]))
    rolled, _ = cv2.Rodrigues(np.array([0, 0, roll]))
    r = rolled @ about @ turn
    far = focal * 1.06 / scale
    plane = np.stack([r[:, 0], r[:, 1], np.array([0, 0, far])], axis=1)
    from_corner = np.array([[1, 0, -(w - 1) / 2], [0, 1, -(h - 1) / 2], [0, 0, 1]])
    lens = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    there = lens @ plane @ from_corner
    return _by(there), _by(np.linalg.inv(there)), (width, height)


def _by(matrix: Points) -> Mapping:
    def carry(points: Points) -> Points:
        seen = np.column_stack([points, np.ones(len(points))]) @ matrix.T
        return np.asarray(seen[:, :2] / seen[:, 2:])

    return carry


def side_light(shot: Shot, rng: np.random.Generator) -> Shot:
    """One strongly coloured lamp at one side, little other light."""
    colour = LAMPS[rng.integers(len(LAMPS))]
    from_left = bool(rng.integers(2))

    def shine(light: FloatMap) -> FloatMap:
        w = light.shape[1]
        way = (np.arange(w, dtype=np.float32) + 0.5) / w
        near = 1 / (0.35 + (way if from_left else 1 - way)) ** 2 / 2.5
        return np.asarray(light * (0.3 + 0.55 * near[None, :, None] * colour), np.float32)

    return in_light(shot, shine)


def mirrored(shot: Shot, rng: np.random.Generator) -> Shot:
    """Mirrored left to right, as selfie cameras store: must not be read."""
    width = shot.size_px[0]

    def flip(points: Points) -> Points:
        return np.asarray(np.array([width - 1, 0]) + points * np.array([-1, 1]))

    shown = np.ascontiguousarray(shot.shown[:, ::-1])
    return replace(shot, shown=shown, truth=moved_truth(shot.truth, flip), hides=True)


def interlaced(shot: Shot, rng: np.random.Generator) -> Shot:
    """A frame of 1080 lines whose odd lines were exposed later, by when the hand had moved."""
    small = resized(shot, min(1.0, 1080 / shot.size_px[1]))
    shown = small.shown.copy()
    shift = int(rng.integers(2, 6) * rng.choice([-1, 1]))
    shown[1::2] = np.roll(shown[1::2], shift, axis=1)
    return replace(small, shown=shown, focal_35mm=None, quality=85)


def hdr_ghost(shot: Shot, rng: np.random.Generator) -> Shot:
    """Two exposures merged though the hand had moved: a copy at 30 %, 2 to 3 px off."""
    angle, far = rng.uniform(0, 2 * np.pi), rng.uniform(2, 3)
    move = np.array([[1, 0, far * math.cos(angle)], [0, 1, far * math.sin(angle)]])

    def merge(light: FloatMap) -> FloatMap:
        size = light.shape[1::-1]
        later = cv2.warpAffine(
            light, move, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        )
        return np.asarray(0.7 * light + 0.3 * later, np.float32)

    return in_light(shot, merge)


def portrait_mode(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Everything off the instrument blurred by software, whose outline of it is a guess."""
    p = Place.of(shot)
    a0, a1, c0, c1 = p.box
    up, out = rng.uniform(0.2, 2.0, 2) * p.tube_px
    keep = mask_of(shot, p.corners((a0 - up, a1 + up), (c0 - out, c1 + out)))
    h, w = keep.shape
    rough = rng.standard_normal((h // 8, w // 8), dtype=np.float32)
    rough = cv2.GaussianBlur(rough, (0, 0), 4)
    rough = cv2.resize(rough / rough.std(), (w, h), interpolation=cv2.INTER_CUBIC)
    soft = cv2.GaussianBlur(keep, (0, 0), 0.25 * p.tube_px) + 0.15 * rough
    outline = cv2.GaussianBlur((soft > 0.5).astype(np.float32), (0, 0), 0.12 * p.tube_px)
    keep = outline[..., None]
    radius = 0.008 * max(w, h)
    n = math.ceil(radius) + 1
    y, x = np.mgrid[-n : n + 1, -n : n + 1]
    disc = np.clip(radius - np.hypot(x, y) + 0.5, 0, 1)
    disc /= disc.sum()
    return in_light(
        shot, lambda light: keep * light + (1 - keep) * cv2.filter2D(light, -1, disc)
    )


def finger(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """A finger from the picture's edge over a part of the board, away from the levels."""
    p = Place.of(shot)
    w, h = shot.size_px
    thick = max(1.5 * p.tube_px, 0.06 * min(w, h))
    at = p.clear_height(rng, thick + 1.5 * p.tube_px)
    if at is None:
        return shot
    *_, c0, c1 = p.box
    left = bool(rng.integers(2))
    tip = p.px(at, rng.uniform(c0 - p.tube_px, 0.5 * (c0 + c1)) if left
               else rng.uniform(0.5 * (c0 + c1), c1 + p.tube_px))  # fmt: skip
    root = np.array([-thick if left else w + thick, tip[1] + rng.uniform(-0.3, 0.3) * h * 0.2])
    v, u = np.mgrid[:h, :w].astype(np.float32)
    way = root - tip
    share = np.clip(((u - tip[0]) * way[0] + (v - tip[1]) * way[1]) / (way @ way), 0, 1)
    off = np.hypot(u - tip[0] - share * way[0], v - tip[1] - share * way[1]) / (0.5 * thick)
    skin = rng.uniform(0.5, 1.0) * np.array([0.62, 0.36, 0.25], np.float32)
    colour = skin * np.sqrt(np.clip(1 - 0.8 * off**2, 0.15, 1))[..., None]
    mask = cv2.GaussianBlur(
        np.clip((1 - off) * 0.5 * thick + 0.5, 0, 1), (0, 0), rng.uniform(0.8, 0.1 * thick)
    )
    covered = laid_over(shot, mask, colour)
    return replace(covered, hides=_covers_level(shot, mask > 0.05))


def collage(shot: Shot, other: Shot, rng: np.random.Generator) -> Shot:
    """Two photos side by side in one picture, equally high; EXIF is gone."""
    beside = other.shown
    k = shot.size_px[1] / beside.shape[0]
    beside = cv2.resize(beside, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)
    beside = beside[: shot.size_px[1]]
    missing = shot.size_px[1] - beside.shape[0]
    beside = cv2.copyMakeBorder(beside, 0, missing, 0, 0, cv2.BORDER_REPLICATE)
    gap = np.ones((shot.size_px[1], round(0.01 * shot.size_px[0]), 3), np.float32)
    if rng.integers(2):
        return replace(
            shot, shown=np.concatenate([shot.shown, gap, beside], axis=1), focal_35mm=None
        )
    moved_by = beside.shape[1] + gap.shape[1]
    return replace(
        shot,
        shown=np.concatenate([beside, gap, shot.shown], axis=1),
        truth=moved_truth(shot.truth, lambda p: p + np.array([moved_by, 0.0])),
        focal_35mm=None,
    )


ARCHIVE: dict[str, Disturbance] = {
    "date_stamp": date_stamp,
    "caption": caption,
    "print_scan": print_scan,
    "halftone_150": halftone(150),
    "halftone_85": halftone(85),
    "film": film,
    "archived_1024": archived(1024),
    "archived_800": archived(800),
    "archived_640": archived(640),
    "screen_photo": screen_photo,
    "side_light": side_light,
    "mirrored": mirrored,
    "interlaced": interlaced,
    "hdr_ghost": hdr_ghost,
}
ABOUT_INSTRUMENTS: dict[str, Composition] = {
    "portrait_mode": portrait_mode,
    "finger": finger,
    "collage": collage,
}
"""These need to know where the instrument is, or another photo."""
