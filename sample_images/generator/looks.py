"""Random looks: colours, inks, materials, rooms, lenses. Ranges are our own choice."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from sample_images.generator.fonts import families
from sample_images.generator.phone import Degrade
from sample_images.generator.room import Lamp, Room
from sample_images.generator.scene import Material, Rgb

Rng = np.random.Generator
T = TypeVar("T")

INKS: dict[str, Rgb] = {
    "black": (0.02, 0.02, 0.022),
    "blue": (0.025, 0.05, 0.30),
    "red": (0.45, 0.03, 0.035),
    "green": (0.02, 0.17, 0.07),
    "white": (0.80, 0.80, 0.78),
    "yellow": (0.80, 0.62, 0.10),
}

PLATES: dict[str, tuple[Rgb, str, tuple[str, ...], float]] = {
    "white": ((0.82, 0.82, 0.81), "paint", ("black", "blue", "red", "green"), 5.0),
    "cream": ((0.78, 0.72, 0.56), "paper", ("black", "blue", "red", "green"), 3.0),
    "steel": ((0.46, 0.47, 0.48), "brushed", ("black",), 2.5),
    "brass": ((0.58, 0.43, 0.18), "brushed", ("black",), 2.0),
    "yellow": ((0.80, 0.62, 0.10), "paint", ("black", "blue"), 1.5),
    "mint": ((0.58, 0.72, 0.62), "paint", ("black", "green"), 1.0),
    "sky": ((0.58, 0.66, 0.76), "paint", ("black", "blue", "red"), 1.0),
    "black": ((0.03, 0.03, 0.032), "paint", ("white", "yellow"), 1.0),
    "navy": ((0.025, 0.045, 0.12), "paint", ("white", "yellow"), 0.7),
    "bottle": ((0.025, 0.075, 0.045), "paint", ("white",), 0.7),
}
"""Albedo, grain, inks that show on it, weight."""

DARK = ("black", "navy", "bottle")

MATERIALS: dict[str, Material] = {
    "brass": Material(albedo=(0.22, 0.15, 0.05), mirror=(0.50, 0.37, 0.15)),
    "steel": Material(albedo=(0.14, 0.14, 0.145), mirror=(0.48, 0.48, 0.49)),
    "black plastic": Material(albedo=(0.03, 0.03, 0.03), mirror=(0.03, 0.03, 0.03)),
    "white plastic": Material(albedo=(0.70, 0.70, 0.68), mirror=(0.03, 0.03, 0.03)),
    "grey plastic": Material(albedo=(0.25, 0.26, 0.27), mirror=(0.03, 0.03, 0.03)),
    "blue plastic": Material(albedo=(0.05, 0.12, 0.40), mirror=(0.03, 0.03, 0.03)),
    "green rubber": Material(albedo=(0.06, 0.22, 0.10)),
    "brown rubber": Material(albedo=(0.20, 0.08, 0.04)),
    "black rubber": Material(albedo=(0.035, 0.033, 0.03)),
    "wood": Material(albedo=(0.38, 0.22, 0.10)),
    "skin": Material(albedo=(0.55, 0.34, 0.24)),
    "paper": Material(albedo=(0.80, 0.78, 0.70)),
    "orange paper": Material(albedo=(0.78, 0.35, 0.06)),
    "tape": Material(albedo=(0.35, 0.37, 0.38), mirror=(0.04, 0.04, 0.04)),
}

WORDS = (
    "MANOMETER",
    "COLUMN",
    "PANEL",
    "STATION",
    "TEST STAND",
    "DRAUGHT",
    "U-TUBE",
    "BENCH",
    "FILTER",
    "INLET",
    "DUCT",
    "VESSEL",
)


def pick(rng: Rng, options: Sequence[T]) -> T:
    """One of the options, all equally likely."""
    return options[int(rng.integers(len(options)))]


def plate(rng: Rng, dark: bool) -> str:
    """Name of a plate; dark ones only if asked for."""
    names = [n for n in PLATES if (n in DARK) == dark]
    weight = np.array([PLATES[n][3] for n in names])
    return str(rng.choice(names, p=weight / weight.sum()))


def font(rng: Rng) -> str | None:
    """A font file: family first, so that large families don't prevail."""
    groups = families()
    return pick(rng, pick(rng, groups)) if groups else None


def material(rng: Rng, names: Sequence[str]) -> Material:
    return MATERIALS[pick(rng, names)]


def _tint(rng: Rng) -> tuple[float, float, float]:
    warmth = rng.uniform(-0.25, 0.3)
    return (1 + warmth, 1.0, 1 - warmth)


def _scaled(rgb: tuple[float, float, float], by: float) -> tuple[float, float, float]:
    return (rgb[0] * by, rgb[1] * by, rgb[2] * by)


def room(rng: Rng, viewer: tuple[float, float, float], up_angle_rad: float) -> Room:
    """A room with one to three lamps or windows in front of the board."""
    lamps = []
    for i in range(int(rng.integers(1, 4))):
        side = pick(rng, (-1.0, 1.0))
        tube_lamp = rng.random() < 0.3
        lamps.append(
            Lamp(
                azimuth_rad=side * rng.uniform(0.15, 1.15),
                elevation_rad=rng.uniform(0.05, 1.0),
                half_width_rad=rng.uniform(0.3, 0.6) if tube_lamp else rng.uniform(0.07, 0.35),
                half_height_rad=rng.uniform(0.03, 0.08)
                if tube_lamp
                else rng.uniform(0.08, 0.4),
                radiance=_scaled(_tint(rng), rng.uniform(7, 26) / (1 + i)),
                bars=int(rng.integers(0, 3)) if not tube_lamp else 0,
            )
        )
    wall = rng.uniform(0.5, 1.1)
    tint = _tint(rng)
    return Room(
        floor=_scaled((1.05, 1.0, 0.92), wall * rng.uniform(0.3, 0.8)),
        wall=_scaled(tint, wall),
        ceiling=_scaled(tint, wall * rng.uniform(0.9, 1.8)),
        lamps=tuple(lamps),
        viewer_direction=viewer,
        viewer_darkness=rng.uniform(0.2, 0.75),
        ripple_phase=(rng.uniform(0, 6), rng.uniform(0, 6), rng.uniform(0, 6)),
        up_angle_rad=up_angle_rad,
    )


def white_balance(lit: Room, rng: Rng) -> tuple[float, float, float]:
    """Gains of a phone that corrects most of the room's tint, with an error of its own."""
    light = np.pi * lit.ambient()
    for lamp in lit.lamps:
        light = light + lamp.solid_angle_sr * lit.lamp_direction(lamp)[2] * np.array(
            lamp.radiance
        )
    gain = (light[1] / light) ** rng.uniform(0.7, 1.0) * np.exp(rng.normal(0, 0.04, 3))
    return (float(gain[0] / gain[1]), 1.0, float(gain[2] / gain[1]))


def degrade(rng: Rng, division_px: float, lit: Room) -> Degrade:
    """A phone's chain; blur limited so that the divisions stay resolved."""
    day = int(rng.integers(0, 600))
    month, dom = 1 + day // 28 % 12, 1 + day % 28
    taken = (
        f"{2023 + day // 336}:{month:02d}:{dom:02d} {int(rng.integers(6, 20)):02d}:"
        f"{int(rng.integers(60)):02d}:{int(rng.integers(60)):02d}"
    )
    return Degrade(
        exposure=rng.uniform(0.6, 0.97),
        blur=min(rng.uniform(0.45, 1.2), 0.22 * division_px),
        defocus=min(rng.uniform(0.4, 1.6), 0.25 * division_px) if rng.random() < 0.25 else 0.0,
        motion=min(rng.uniform(0.5, 3.0), 0.35 * division_px) if rng.random() < 0.4 else 0.0,
        motion_angle=rng.uniform(0, math.pi),
        lateral=rng.normal(0, 1.5e-4),
        veil=rng.uniform(0, 0.05),
        vignette=rng.uniform(0, 0.35),
        full_well=math.exp(rng.uniform(math.log(900), math.log(6000))),
        read_noise=rng.uniform(0.002, 0.006),
        wb=white_balance(lit, rng),
        denoise=rng.uniform(0.01, 0.05) if rng.random() < 0.6 else 0.0,
        contrast=rng.uniform(0, 0.5),
        sharpen=rng.uniform(0.2, 1.1) if rng.random() < 0.7 else 0.0,
        sharpen_radius=rng.uniform(0.8, 1.8),
        jpeg=int(rng.integers(68, 97)),
        subsampling=int(rng.choice([0, 1, 2], p=[0.1, 0.1, 0.8])),
        rotate=int(rng.choice([1, 3, 6, 8], p=[0.45, 0.1, 0.3, 0.15])),
        taken_at=taken,
        seed=int(rng.integers(2**31)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """A graduation one can buy: mm per unit, steps in units."""

    unit_mm: float
    minor: float
    major: float
    label_every: tuple[float, ...]
    weight: float


OPTIONS = (
    Option(unit_mm=1, minor=1, major=10, label_every=(10, 20), weight=6),
    Option(unit_mm=1, minor=1, major=5, label_every=(10, 20), weight=2),
    Option(unit_mm=1, minor=2, major=10, label_every=(10, 20), weight=2),
    Option(unit_mm=1, minor=5, major=50, label_every=(50, 100), weight=0.7),
    Option(unit_mm=1, minor=0.5, major=5, label_every=(5, 10), weight=1.5),
    Option(unit_mm=10, minor=0.1, major=1, label_every=(1, 2), weight=3),
    Option(unit_mm=10, minor=0.2, major=1, label_every=(1, 2), weight=1.5),
    Option(unit_mm=10, minor=0.05, major=0.5, label_every=(1,), weight=0.8),
    Option(unit_mm=25.4, minor=0.1, major=1, label_every=(1,), weight=1.5),
    Option(unit_mm=25.4, minor=0.05, major=0.5, label_every=(1,), weight=0.7),
    Option(unit_mm=25.4, minor=0.2, major=1, label_every=(1, 2), weight=0.5),
)
