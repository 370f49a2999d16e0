"""What boards and strips are made of: a picture of their colour, and how they shine.

Colours and ranges are our own choice; woods are rings of a trunk cut lengthwise.
"""

from __future__ import annotations

import numpy as np

from sample_images.generator.scene import Rgb
from sample_images.path_tracer.colour import Floats, Light, from_hsv
from sample_images.path_tracer.draws import Rng, chance
from sample_images.path_tracer.noise import fractal, resize

WOODS: dict[str, tuple[Rgb, Rgb]] = {
    "oak": ((0.70, 0.53, 0.34), (0.52, 0.36, 0.2)),
    "pine": ((0.87, 0.70, 0.46), (0.72, 0.48, 0.25)),
    "walnut": ((0.42, 0.28, 0.18), (0.25, 0.15, 0.09)),
    "mahogany": ((0.50, 0.24, 0.14), (0.33, 0.13, 0.07)),
}
"""Colour of early and of late wood."""
POROUS = ("oak", "walnut", "mahogany")

METALS: dict[str, Rgb] = {
    "alu": (0.80, 0.80, 0.81),
    "steel": (0.76, 0.76, 0.75),
    "brass": (0.86, 0.72, 0.42),
}
PAINTS_HSV = (
    (0.58, 0.10, 0.72),
    (0.13, 0.12, 0.88),
    (0.36, 0.16, 0.62),
    (0.6, 0.35, 0.48),
    (0.0, 0.0, 0.78),
    (0.1, 0.05, 0.9),
    (0.55, 0.18, 0.82),
    (0.02, 0.06, 0.55),
)
PAPERS: tuple[Rgb, ...] = (
    (0.95, 0.94, 0.91),
    (0.93, 0.90, 0.80),
    (0.90, 0.91, 0.93),
    (0.95, 0.90, 0.62),
)
PALE: dict[str, Rgb] = {
    "enamel": (0.95, 0.95, 0.94),
    "plastic": (0.90, 0.90, 0.88),
    "frosted": (0.86, 0.89, 0.90),
}

PLASTIC, METAL, MATT = "roughplastic", "roughconductor", "diffuse"
SHINE: dict[str, tuple[str, float]] = {
    "steel_paint": (PLASTIC, 0.16),
    "enamel": (PLASTIC, 0.05),
    "black": (PLASTIC, 0.35),
    "alu": (METAL, 0.3),
    "brass": (METAL, 0.2),
    "steel": (METAL, 0.22),
    "oak": (PLASTIC, 0.12),
    "pine": (PLASTIC, 0.1),
    "walnut": (PLASTIC, 0.1),
    "mahogany": (PLASTIC, 0.08),
    "plastic": (PLASTIC, 0.12),
    "yellowed": (PLASTIC, 0.2),
    "frosted": (PLASTIC, 0.25),
    "paper": (MATT, 0.0),
    "laminate": (PLASTIC, 0.08),
}
"""Kind of reflection, and roughness (of the GGX distribution of facets)."""


def picture(rng: Rng, material: str, width: int, height: int, px_per_mm: float) -> Light:
    """Colour of a plate, shape (height, width, 3)."""
    if material in WOODS:
        return wood(rng, material, width, height, px_per_mm)
    clouds = fractal(rng, width, height, 120 * px_per_mm, 3)
    grain = fractal(rng, width, height, 1.0 * px_per_mm, 2)
    if material in METALS:
        return _brushed(rng, material, clouds, px_per_mm)
    if material == "steel_paint":
        colour = from_hsv(*PAINTS_HSV[int(rng.integers(len(PAINTS_HSV)))])
        colour = np.clip(colour + rng.normal(0, 0.03, 3), 0, 1)
        return _tinted(colour, 1 + 0.015 * clouds + 0.008 * grain)
    if material == "black":
        colour = rng.uniform(0.09, 0.19) + rng.normal(0, 0.01, 3)
        return _tinted(colour, 1 + 0.06 * clouds + 0.05 * grain)
    if material == "yellowed":
        colour = np.array([0.88, 0.81, 0.62]) * rng.uniform(0.85, 1.02)
        patchy = np.array([0.01, 0.02, 0.05]) * clouds[..., None]
        return np.clip(colour * (1 + patchy), 0, 1)
    if material == "paper":
        colour = np.array(PAPERS[int(rng.integers(len(PAPERS)))])
        return _tinted(colour, 1 + 0.012 * clouds + 0.012 * grain)
    if material == "laminate":
        colour = from_hsv(rng.random(), rng.uniform(0.05, 0.4), rng.uniform(0.4, 0.9))
        return _tinted(colour, 1 + 0.004 * grain)
    colour = np.array(PALE[material]) * rng.uniform(0.94, 1.02)
    return _tinted(colour, 1 + 0.006 * clouds)


def _tinted(colour: Floats, brightness: Light) -> Light:
    return np.clip(colour * brightness[..., None], 0, 1)


def _brushed(rng: Rng, metal: str, clouds: Light, px_per_mm: float) -> Light:
    height, width = clouds.shape
    cell = 0.18 * px_per_mm + 1
    brush = fractal(rng, width, height, cell, 2, 60 if chance(rng, 0.5) else 1)
    if chance(rng, 0.5):
        brush = fractal(rng, height, width, cell, 2, 60).T
    return _tinted(np.asarray(METALS[metal]), 1 + 0.02 * clouds + 0.025 * brush)


def wood(rng: Rng, kind: str, width: int, height: int, px_per_mm: float) -> Light:
    """A planed plank, its grain upright."""
    coarser = max(1, int(px_per_mm / 4))
    columns, rows, scale = width // coarser + 1, height // coarser + 1, px_per_mm / coarser
    x_mm = (np.arange(columns)[None] / scale) + 0 * np.arange(rows)[:, None]
    y_mm = np.arange(rows)[:, None] / scale
    bend_mm = fractal(rng, columns, rows, 60 * scale, 3, 6) * rng.uniform(2, 6)
    from_pith_mm = x_mm - rng.uniform(-80, 200) + bend_mm + 0.03 * y_mm
    ring = from_pith_mm / rng.uniform(4, 11)
    in_ring = ring - np.floor(ring)
    late = np.clip((in_ring - 0.3) / 0.6, 0, 1) ** 2.2 * (in_ring < 0.93)
    grain = fractal(rng, columns, rows, 1.2 * scale, 2, 40)
    pores = fractal(rng, columns, rows, 0.5 * scale + 1, 1, 12) > 1.9
    early_colour, late_colour = WOODS[kind]
    share = (late * 0.8 + 0.10 * grain)[..., None]
    colour = np.asarray(early_colour) * (1 - share) + np.asarray(late_colour) * share
    if kind in POROUS:
        colour = np.where(pores[..., None], colour * 0.72, colour)
    colour = colour * (1 + 0.03 * fractal(rng, columns, rows, 40 * scale, 2))[..., None]
    fine = [resize(colour[..., channel], width, height) for channel in range(3)]
    return np.clip(np.stack(fine, -1), 0, 1)
