"""What phones, messengers and hands do to a photo, one at a time.

Each takes a photo and a random generator and returns the disturbed photo with its truth. They
come on top of what the photo has already gone through, as a second chain; magnitudes are
common practice (no source).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np

from tests.helpers.shots import (
    FloatMap,
    Points,
    Shot,
    compressed,
    cut,
    decode_srgb,
    encode_srgb,
    in_light,
    moved,
    moved_truth,
    resized,
)

Disturbance = Callable[[Shot, np.random.Generator], Shot]

MESSENGER_PX = 1600
LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)


def messenger(quality: int) -> Disturbance:
    """Shrink to what messengers send, compress, and lose the EXIF data."""

    def send(shot: Shot, rng: np.random.Generator) -> Shot:
        factor = min(1.0, MESSENGER_PX / max(shot.size_px))
        small = resized(shot, factor) if factor < 1 else shot
        return replace(small, quality=quality, focal_35mm=None)

    return send


def sensor_noise(
    light: FloatMap, rng: np.random.Generator, full: float, read: float
) -> FloatMap:
    """Photon and read noise on a colour mosaic; ``full`` electrons at full scale."""
    h, w = light.shape[0] // 2 * 2, light.shape[1] // 2 * 2
    raw = np.empty((h, w), np.float32)
    for channel, (r, c) in ((0, (0, 0)), (1, (0, 1)), (1, (1, 0)), (2, (1, 1))):
        raw[r::2, c::2] = light[r:h:2, c:w:2, channel]
    raw += rng.standard_normal((h, w), dtype=np.float32) * np.sqrt(raw / full + read**2)
    code = np.clip(np.round(raw * 50000 + 4000), 0, 65535).astype(np.uint16)
    rgb = cv2.demosaicing(code, cv2.COLOR_BayerRGGB2RGB_EA).astype(np.float32)
    noisy = light.copy()
    noisy[:h, :w] = (rgb - 4000) / 50000
    return noisy


def low_light(shot: Shot, rng: np.random.Generator) -> Shot:
    """ISO 3200 of a small sensor: 500 electrons at full scale."""
    noisy = in_light(shot, lambda light: sensor_noise(light, rng, 500.0, 0.012))
    return replace(noisy, quality=88)


def noise_reduced(shot: Shot, rng: np.random.Generator) -> Shot:
    """Low light smoothed away twice, edges kept: what was faint is gone (water colour)."""
    root = np.sqrt(np.clip(decode_srgb(low_light(shot, rng).shown), 0, None))
    for _ in range(2):
        root = cv2.bilateralFilter(root, 7, 0.09, 2.5)
    return replace(shot, shown=encode_srgb(root**2), quality=88)


def patches_averaged(shot: Shot, rng: np.random.Generator) -> Shot:
    """Low light averaged over patches that look alike (non-local means)."""
    noisy = np.round(low_light(shot, rng).shown * 255).astype(np.uint8)
    smooth = cv2.fastNlMeansDenoisingColored(noisy, None, 9, 12, 5, 11)
    return replace(shot, shown=np.asarray(smooth, np.float32) / np.float32(255), quality=88)


def s_curve(shot: Shot, rng: np.random.Generator) -> Shot:
    """A tone curve with steep middle and flat ends."""
    v = shot.shown
    return replace(shot, shown=np.asarray(0.3 * v + 0.7 * v * v * (3 - 2 * v), np.float32))


def local_tone(shot: Shot, rng: np.random.Generator) -> Shot:
    """Large differences of light lessened by 0.3, small ones strengthened by 0.25."""

    def even_out(light: FloatMap) -> FloatMap:
        luma = np.maximum(light @ LUMA, 1e-4)
        log = np.log(luma)
        small = cv2.resize(log, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
        base = cv2.bilateralFilter(small, -1, 0.5, 12.0)
        base = cv2.resize(base, log.shape[::-1], interpolation=cv2.INTER_CUBIC)
        new = np.exp(0.7 * base + 1.25 * (log - base))
        new *= np.quantile(luma, 0.97) / np.quantile(new, 0.97)
        return np.asarray(light * (new / luma)[..., None], np.float32)

    return in_light(shot, even_out)


def unsharp(shot: Shot, rng: np.random.Generator) -> Shot:
    """Strong unsharp mask, on encoded values as phones do."""
    soft = cv2.GaussianBlur(shot.shown, (0, 0), 2.0)
    return replace(shot, shown=np.clip(shot.shown + 1.5 * (shot.shown - soft), 0, 1))


def colour_cast(red: float, green: float, blue: float) -> Disturbance:
    """White balance off by these gains."""

    def cast(shot: Shot, rng: np.random.Generator) -> Shot:
        gains = np.array([red, green, blue], np.float32)
        return in_light(shot, lambda light: light * (gains / (gains @ LUMA)))

    return cast


def monochrome(shot: Shot, rng: np.random.Generator) -> Shot:
    """Black and white."""
    return in_light(shot, lambda light: np.repeat((light @ LUMA)[..., None], 3, axis=2))


def lens(amount: float) -> Disturbance:
    """Radial distortion, r' = r (1 + amount r^2), r = 1 in the corner; barrel below zero."""

    def distort(shot: Shot, rng: np.random.Generator) -> Shot:
        width, height = shot.size_px
        centre = np.array([(width - 1) / 2, (height - 1) / 2])
        corner = math.hypot(width, height) / 2

        def forth(points: Points) -> Points:
            ray = (points - centre) / corner
            r2 = (ray**2).sum(axis=1, keepdims=True)
            return np.asarray(centre + corner * ray * (1 + amount * r2))

        def back(points: Points) -> Points:
            seen = (points - centre) / corner
            ray = seen
            for _ in range(8):  # contracts by 3 |amount| a step
                ray = seen / (1 + amount * (ray**2).sum(axis=1, keepdims=True))
            return np.asarray(centre + corner * ray)

        return moved(shot, shot.size_px, back, forth)

    return distort


def veil(shot: Shot, rng: np.random.Generator) -> Shot:
    """Stray light: a fifth of the mean everywhere, more towards a lamp outside the picture."""

    def add(light: FloatMap) -> FloatMap:
        h, w = light.shape[:2]
        y, x = np.mgrid[:h, :w].astype(np.float32)
        angle = rng.uniform(0, 2 * np.pi)
        lamp = w / 2 + w * math.cos(angle), h / 2 + h * math.sin(angle)
        near = np.exp(-np.hypot(x - lamp[0], y - lamp[1]) / (0.6 * h))
        mean = light.mean()
        return np.asarray(0.85 * light + mean * (0.2 + 0.8 * near)[..., None], np.float32)

    return in_light(shot, add)


def vignette(shot: Shot, rng: np.random.Generator) -> Shot:
    """Half of the light lost in the corners, a quarter half-way."""

    def darken(light: FloatMap) -> FloatMap:
        h, w = light.shape[:2]
        y, x = np.mgrid[:h, :w].astype(np.float32)
        r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w * w / 4 + h * h / 4)
        return np.asarray(light * (1 - 0.55 * r2)[..., None], np.float32)

    return in_light(shot, darken)


def lean(shot: Shot, rng: np.random.Generator) -> Shot:
    """Camera rolled by 5 to 15 degrees; smaller where the scale would leave the picture."""
    width, height = shot.size_px
    angle = math.radians(rng.uniform(5, 15)) * rng.choice([-1, 1])
    centre = np.array([(width - 1) / 2, (height - 1) / 2])
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    known = np.concatenate([shot.levels_px(), shot.scale_px()])
    room = 0.94 * centre
    far = np.abs((known - centre) @ turn.T).max(axis=0) if len(known) else room
    size = float(min(1.0, (room / far).min()))
    return moved(
        shot,
        shot.size_px,
        lambda p: centre + (p - centre) @ turn / size,
        lambda p: centre + size * (p - centre) @ turn.T,
    )


def turned_by_exif(orientation: int) -> Disturbance:
    """Stored turned, with the EXIF orientation that turns it back."""

    def store(shot: Shot, rng: np.random.Generator) -> Shot:
        return replace(shot, orientation=orientation)

    return store


def turned(quarters: int) -> Disturbance:
    """Turned anticlockwise by quarters of a turn, and nothing in the file says so."""

    def turn(shot: Shot, rng: np.random.Generator) -> Shot:
        width, height = shot.size_px

        def forth(points: Points) -> Points:
            w, h = width, height
            for _ in range(quarters):
                points = np.stack([points[:, 1], w - 1 - points[:, 0]], axis=1)
                w, h = h, w
            return points

        shown = np.ascontiguousarray(np.rot90(shot.shown, quarters))
        truth = moved_truth(shot.truth, forth)
        return replace(shot, shown=shown, truth=truth, focal_35mm=None)

    return turn


def cropped(shot: Shot, rng: np.random.Generator) -> Shot:
    """Cut close about scale and tubes; the EXIF focal length is left as it was."""
    known = np.concatenate([shot.levels_px(), shot.scale_px()])
    if not len(shot.scale_px()):
        return shot
    margin = 2.5 * shot.tube_px()
    low = np.maximum(np.floor(known.min(axis=0) - margin), 0).astype(int)
    high = np.minimum(np.ceil(known.max(axis=0) + margin), shot.size_px).astype(int)
    return cut(shot, low[0], low[1], high[0], high[1])


def divisions_of(pitch_px: float) -> Disturbance:
    """Shrink until a division has this many pixels."""

    def shrink(shot: Shot, rng: np.random.Generator) -> Shot:
        if not shot.truth.get("graduation_px"):
            return resized(shot, 0.5)
        return resized(shot, min(1.0, pitch_px / shot.pitch_px()))

    return shrink


def defocused(radius_px: float) -> Disturbance:
    """Out of focus: a disc of this radius."""
    n = math.ceil(radius_px) + 1
    y, x = np.mgrid[-n : n + 1, -n : n + 1]
    disc = np.clip(radius_px - np.hypot(x, y) + 0.5, 0, 1)
    disc /= disc.sum()
    return lambda shot, rng: in_light(shot, lambda light: cv2.filter2D(light, -1, disc))


def shaken(length_px: float) -> Disturbance:
    """Moved during exposure, along a line in any direction."""

    def shake(shot: Shot, rng: np.random.Generator) -> Shot:
        angle, n = rng.uniform(0, np.pi), math.ceil(length_px / 2) + 1
        path = np.zeros((2 * n + 1, 2 * n + 1))
        for s in (np.arange(64) + 0.5) / 64 - 0.5:
            x, y = n + s * length_px * math.cos(angle), n + s * length_px * math.sin(angle)
            i, j = int(y), int(x)
            for di, wy in ((0, 1 - (y - i)), (1, y - i)):
                for dj, wx in ((0, 1 - (x - j)), (1, x - j)):
                    path[i + di, j + dj] += wy * wx / 64
        return in_light(shot, lambda light: cv2.filter2D(light, -1, path))

    return shake


def as_it_is(shot: Shot, rng: np.random.Generator) -> Shot:
    """Only written once more."""
    return shot


def sent_twice(shot: Shot, rng: np.random.Generator) -> Shot:
    """Forwarded: compressed at 75, then again at 60."""
    return messenger(60)(compressed(messenger(75)(shot, rng), 75), rng)


DISTURBANCES: dict[str, Disturbance] = {
    "none": as_it_is,
    "messenger75": messenger(75),
    "messenger60": messenger(60),
    "sent_twice": sent_twice,
    "low_light": low_light,
    "noise_reduced": noise_reduced,
    "patches_averaged": patches_averaged,
    "s_curve": s_curve,
    "local_tone": local_tone,
    "unsharp": unsharp,
    "cast_warm": colour_cast(1.15, 1.0, 0.87),
    "cast_cold": colour_cast(0.87, 1.0, 1.15),
    "cast_lamp": colour_cast(1.5, 1.0, 0.45),
    "monochrome": monochrome,
    "barrel": lens(-0.015),
    "pincushion": lens(0.015),
    "veil": veil,
    "vignette": vignette,
    "lean": lean,
    "exif_90": turned_by_exif(6),
    "exif_180": turned_by_exif(3),
    "exif_270": turned_by_exif(8),
    "turned_90": turned(1),
    "turned_180": turned(2),
    "turned_270": turned(3),
    "cropped": cropped,
    "division_4px": divisions_of(4.0),
    "division_2.8px": divisions_of(2.8),
    "division_2px": divisions_of(2.0),
    "defocus_1px": defocused(1.0),
    "defocus_2px": defocused(2.0),
    "shake_2px": shaken(2.0),
    "shake_4px": shaken(4.0),
}
