"""Colours: sRGB from 0 to 1 unless they are said to be linear."""

from __future__ import annotations

import colorsys
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Light = npt.NDArray[np.floating[Any]]
Bytes = npt.NDArray[np.uint8]

LUMINANCE = np.array([0.25, 0.65, 0.1], np.float32)
"""Weights of red, green, blue in what counts as brightness here. Rule of thumb."""

SRGB_KNEE, SRGB_KNEE_LINEAR = 0.04045, 0.0031308
"""End of the straight part of the sRGB curve (IEC 61966-2-1, from memory)."""


def to_linear(colour: npt.ArrayLike) -> Floats:
    """Linear light of sRGB values (IEC 61966-2-1, from memory)."""
    c = np.asarray(colour, float)
    return np.where(c <= SRGB_KNEE, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def from_linear(light: Light) -> Light:
    """sRGB values of linear light (IEC 61966-2-1, from memory), burnt out beyond 1."""
    bent = 1.055 * np.power(np.clip(light, SRGB_KNEE_LINEAR, 1), 1 / 2.4) - 0.055
    return np.asarray(np.clip(np.where(light <= SRGB_KNEE_LINEAR, 12.92 * light, bent), 0, 1))


def from_hsv(hue: float, saturation: float, value: float) -> Floats:
    """Colour of a hue in turns, a saturation and a value from 0 to 1."""
    return np.array(colorsys.hsv_to_rgb(hue % 1, saturation, value))


def to_bytes(picture: Light) -> Bytes:
    """Rounded to 8 bits."""
    return (np.clip(picture, 0, 1) * 255 + 0.5).astype(np.uint8)


def one_texel(colour: npt.ArrayLike) -> Bytes:
    """Texture of one colour, shape (1, 1, 3)."""
    return to_bytes(np.asarray(colour, float)[None, None])
