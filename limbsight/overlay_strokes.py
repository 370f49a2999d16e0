"""Ink of the overlay: its colours, text sizes, lines, dots and words."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.records import PointPx

Colour = tuple[int, int, int]
Image = NDArray[np.uint8]

# Okabe and Ito, Color Universal Design (2008): a set that colour-blind people tell apart.
# Written as blue, green, red.
BLUE: Colour = (178, 114, 0)
ORANGE: Colour = (0, 159, 230)
VERMILION: Colour = (0, 94, 213)
SKY: Colour = (233, 180, 86)
YELLOW: Colour = (66, 228, 240)
WHITE: Colour = (255, 255, 255)
BLACK: Colour = (0, 0, 0)
DARK: Colour = (48, 44, 40)

# Layout, in pixels of the view.
MARGIN = 24
TEXT_BIG = 40
TEXT = 26
TEXT_SMALL = 20

SUBPIXEL_BITS = 4


@lru_cache(maxsize=1)
def _font() -> Any:
    return cv2.FontFace("sans")


def text_width(text: str, size: int, weight: int = 400) -> int:
    """Width of a text [px]."""
    box = cv2.getTextSize((10, 10), text, (0, 0), _font(), size, weight)
    return int(box[2])


def write_line(
    image: Image,
    text: str,
    left: float,
    middle: float,
    *,
    size: int,
    colour: Colour,
    weight: int = 400,
) -> None:
    """Write a line whose lower-case letters are centred on ``middle``."""
    base = (round(left), round(middle + 0.36 * size))
    cv2.putText(image, text, base, colour, _font(), size, weight)


def write_in_box(
    image: Image,
    text: str,
    at: PointPx,
    *,
    anchor: float,
    size: int,
    ink: Colour,
    back: Colour,
) -> None:
    """Text on a plain box; ``anchor`` 0, 0.5, 1 puts its left, centre or right at ``at``."""
    x, y = at
    pad = size / 4
    width = text_width(text, size, 600)
    left = x - anchor * (width + 2 * pad)
    corner = (round(left), round(y - 0.65 * size))
    opposite = (round(left + width + 2 * pad), round(y + 0.65 * size))
    cv2.rectangle(image, corner, opposite, back, cv2.FILLED)
    write_line(image, text, left + pad, y, size=size, colour=ink, weight=600)


def fixed_point(point: Any) -> tuple[int, int]:
    """A place as the drawing functions take it, in parts of a pixel."""
    x, y = point
    return round(x * 2**SUBPIXEL_BITS), round(y * 2**SUBPIXEL_BITS)


def draw_line(image: Image, start: Any, end: Any, colour: Colour, width: int = 2) -> None:
    """A line with a dark rim, so that it shows on glass, liquid and board alike."""
    ends = fixed_point(start), fixed_point(end)
    cv2.line(image, *ends, BLACK, width + 2, cv2.LINE_AA, SUBPIXEL_BITS)
    cv2.line(image, *ends, colour, width, cv2.LINE_AA, SUBPIXEL_BITS)


def draw_dot(image: Image, at: Any, radius: float, colour: Colour) -> None:
    """A dot with a dark rim."""
    scale = 2**SUBPIXEL_BITS
    for grown, ink in ((1.2, BLACK), (0.0, colour)):
        size = round((radius + grown) * scale)
        cv2.circle(image, fixed_point(at), size, ink, cv2.FILLED, cv2.LINE_AA, SUBPIXEL_BITS)


def padded_to(image: Image, height: int) -> Image:
    """Make an image higher, dark below."""
    missing = height - image.shape[0]
    return np.asarray(
        cv2.copyMakeBorder(image, 0, missing, 0, 0, cv2.BORDER_CONSTANT, value=DARK), np.uint8
    )
