"""Stains, dirt, scratches and dust on a finished plate. Ranges are our own choice."""

from __future__ import annotations

import math

import numpy as np
from PIL import Image, ImageDraw

from sample_images.generator.scene import FloatMap
from sample_images.path_tracer.draws import Rng, chance
from sample_images.path_tracer.noise import fractal, resize


def aged(rng: Rng, plate: FloatMap, px_per_mm: float, level: float) -> FloatMap:
    """The plate after years; ``level`` 0 leaves it new. Works on the picture given, too."""
    if chance(rng, 0.7 * level):
        _stain(rng, plate, px_per_mm, level)
    if chance(rng, 0.5 * level):
        _soil(rng, plate)
    if chance(rng, 0.6 * level):
        _scratch(rng, plate, px_per_mm)
    if chance(rng, 0.4 * level):
        _dust(rng, plate, px_per_mm)
    return np.clip(plate, 0, 1)


def worn(rng: Rng, width: int, height: int, px_per_mm: float) -> FloatMap:
    """What is left of the print of a plate, from 0 to 1."""
    patches = fractal(rng, width // 4 + 1, height // 4 + 1, 6 * px_per_mm / 4 * 3, 3)
    left = 1 - np.clip(patches - 0.6, 0, 1) * rng.uniform(0.3, 0.8)
    return resize(np.clip(left, 0.25, 1), width, height)


def _stain(rng: Rng, plate: FloatMap, px_per_mm: float, level: float) -> None:
    height, width = plate.shape[:2]
    coarser = max(1, int(px_per_mm / 3))
    columns, rows = width // coarser + 1, height // coarser + 1
    patches = fractal(rng, columns, rows, rng.uniform(8, 50) * 3, 4) - rng.uniform(0.6, 1.6)
    dark = resize(np.clip(patches, 0, 2), width, height) * rng.uniform(0.03, 0.12) * level
    plate *= 1 - np.clip(dark, 0, 0.6)[..., None] * np.array([0.6, 0.8, 1.2])


def _soil(rng: Rng, plate: FloatMap) -> None:
    dark = np.linspace(0, 1, len(plate))[:, None] ** 3 * rng.uniform(0.05, 0.25)
    plate *= 1 - dark[..., None] * np.array([0.8, 0.9, 1.0])


def _scratch(rng: Rng, plate: FloatMap, px_per_mm: float) -> None:
    height, width = plate.shape[:2]
    image = Image.new("L", (width, height))
    draw = ImageDraw.Draw(image)
    for _ in range(rng.integers(3, 22)):
        x, y = rng.uniform(0, width), rng.uniform(0, height)
        length, angle = rng.exponential(25) * px_per_mm, rng.uniform(0, 6.28)
        draw.line(
            [(x, y), (x + length * math.cos(angle), y + length * math.sin(angle))],
            fill=int(rng.uniform(40, 160)),
            width=max(1, int(rng.uniform(0.05, 0.2) * px_per_mm)),
        )
    share = np.asarray(image, np.float32)[..., None] / 255
    bare = 0.75 if plate.mean() < 0.45 else 0.45 if chance(rng, 0.6) else 0.95
    plate += (bare - plate) * share * rng.uniform(0.2, 0.6)


def _dust(rng: Rng, plate: FloatMap, px_per_mm: float) -> None:
    height, width = plate.shape[:2]
    image = Image.new("L", (width, height))
    draw = ImageDraw.Draw(image)
    for _ in range(rng.integers(10, 90)):
        x, y = rng.uniform(0, width), rng.uniform(0, height)
        radius = rng.exponential(0.25) * px_per_mm
        draw.ellipse(
            [x - radius, y - radius, x + radius, y + radius],
            fill=int(rng.uniform(60, 220)),
        )
    specks = np.asarray(image, np.float32)[..., None]
    plate += (rng.choice([0.15, 0.85]) * np.ones(3) - plate) * specks / 255 * 0.6
