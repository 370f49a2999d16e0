"""Filters of pictures, shape (height, width, channels), float."""

from __future__ import annotations

import math

import numpy as np
from PIL import Image

from sample_images.generator.scene import FloatMap
from sample_images.path_tracer.colour import Light

NEGLIGIBLE_PX = 0.05
COARSE_PX = 5.0
"""Wider blurs are done on a smaller picture."""
BRIGHTER_THAN_NEIGHBOURS = 2.2
"""A pixel may be so much brighter than the second brightest around it. Judgement: edges of
lamps stay, single bright samples go."""


def convolve(picture: Light, kernel: FloatMap, axis: int) -> Light:
    """Convolve along one axis; edges go on."""
    reach, length = len(kernel) // 2, picture.shape[axis]
    sides = [(0, 0)] * picture.ndim
    sides[axis] = (reach, reach)
    padded = np.pad(picture, sides, mode="edge")
    total = np.zeros_like(picture)
    for i, weight in enumerate(kernel):
        part = slice(i, i + length)
        total += weight * (padded[part] if axis == 0 else padded[:, part])
    return total


def gaussian(picture: Light, sigma_px: float) -> Light:
    """Blur by a Gaussian."""
    if sigma_px <= NEGLIGIBLE_PX:
        return picture
    if sigma_px > COARSE_PX:
        factor = max(2, int(sigma_px / 2.5))
        height, width = picture.shape[:2]
        smaller = (max(1, width // factor), max(1, height // factor))
        coarse = _resized(picture, smaller, Image.Resampling.BOX)
        blurred = gaussian(coarse, sigma_px / factor)
        return _resized(blurred, (width, height), Image.Resampling.BICUBIC)
    reach = max(1, math.ceil(3 * sigma_px))
    x = np.arange(-reach, reach + 1)
    kernel = np.exp(-x * x / (2 * sigma_px * sigma_px))
    kernel = (kernel / kernel.sum()).astype(np.float32)
    return convolve(convolve(picture, kernel, 0), kernel, 1)


def _resized(picture: Light, size: tuple[int, int], how: Image.Resampling) -> Light:
    channels = [
        np.asarray(Image.fromarray(np.ascontiguousarray(picture[..., c])).resize(size, how))
        for c in range(picture.shape[2])
    ]
    return np.stack(channels, -1)


def sampled(picture: Light, x: Light, y: Light) -> Light:
    """Values at places between pixels, bilinear; the edge's beyond it."""
    height, width = picture.shape[:2]
    x = np.clip(x, 0, width - 1.001).astype(np.float32)
    y = np.clip(y, 0, height - 1.001).astype(np.float32)
    i, j = x.astype(np.int32), y.astype(np.int32)
    across, down = (x - i)[..., None], (y - j)[..., None]
    flat, first = picture.reshape(-1, picture.shape[2]), j * width + i
    upper = flat[first] * (1 - across) + flat[first + 1] * across
    lower = flat[first + width] * (1 - across) + flat[first + width + 1] * across
    return np.asarray(upper * (1 - down) + lower * down)


def smeared(picture: Light, length_px: float, angle_rad: float, most_steps: int) -> Light:
    """Moved along a straight way while the shutter is open."""
    steps = min(max(2, int(length_px * 2)), most_steps)
    total = np.zeros_like(picture)
    for share in np.linspace(-0.5, 0.5, steps):
        right = share * length_px * math.cos(angle_rad)
        down = share * length_px * math.sin(angle_rad)
        i, j = math.floor(right), math.floor(down)
        u, v = right - i, down - j
        total += (
            (1 - u) * (1 - v) * _moved(picture, i, j)
            + u * (1 - v) * _moved(picture, i + 1, j)
            + (1 - u) * v * _moved(picture, i, j + 1)
            + u * v * _moved(picture, i + 1, j + 1)
        )
    return np.asarray(total / steps)


def _moved(picture: Light, right: int, down: int) -> Light:
    return np.roll(np.roll(picture, down, 0), right, 1)


def without_fireflies(picture: Light) -> Light:
    """Pixels that few samples made far too bright, toned down to their neighbours."""
    brightest = picture.max(-1)
    height, width = brightest.shape
    padded = np.pad(brightest, 1, mode="edge")
    around = np.stack(
        [
            padded[1 + down : 1 + down + height, 1 + right : 1 + right + width]
            for down in (-1, 0, 1)
            for right in (-1, 0, 1)
            if right or down
        ]
    )
    second = np.partition(around, 6, axis=0)[6]
    limit = BRIGHTER_THAN_NEIGHBOURS * second + 0.02 * np.median(brightest)
    return np.asarray(picture * np.minimum(1, limit / np.maximum(brightest, 1e-9))[..., None])


def demosaic(raw: FloatMap) -> FloatMap:
    """Colours from a mosaic RGGB.

    Green along the direction of the smaller change; red and blue by their smooth differences
    from green. Common practice, no source.
    """
    height, width = raw.shape
    mask = np.zeros((height, width, 3), np.float32)
    mask[0::2, 0::2, 0] = mask[0::2, 1::2, 1] = mask[1::2, 0::2, 1] = mask[1::2, 1::2, 2] = 1
    padded = np.pad(raw, 2, mode="reflect")

    def at(down: int, right: int) -> FloatMap:
        return padded[2 + down : 2 + down + height, 2 + right : 2 + right + width]

    left, right, above, below = at(0, -1), at(0, 1), at(-1, 0), at(1, 0)
    bend_across = 2 * raw - at(0, -2) - at(0, 2)
    bend_down = 2 * raw - at(-2, 0) - at(2, 0)
    change_across = np.abs(left - right) + np.abs(bend_across)
    change_down = np.abs(above - below) + np.abs(bend_down)
    across = (left + right) / 2 + bend_across / 4
    down = (above + below) / 2 + bend_down / 4
    share = change_down / (change_across + change_down + 1e-6)
    green = np.where(mask[..., 1] > 0, raw, share * across + (1 - share) * down)
    picture = np.empty((height, width, 3), np.float32)
    picture[..., 1] = green
    kernel = np.array([0.25, 0.5, 0.25], np.float32) * 2
    for channel in (0, 2):
        off = ((raw - green) * mask[..., channel])[..., None]
        picture[..., channel] = green + convolve(convolve(off, kernel, 0), kernel, 1)[..., 0]
    return picture
