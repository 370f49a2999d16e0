"""Figures and words as coverage pictures: printed from a font, or engraved in strokes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from sample_images.generator.scene import FloatMap
from sample_images.path_tracer import typefaces
from sample_images.path_tracer.draws import Rng, chance

Stroke = list[tuple[float, float]]


def _arc(
    x: float, y: float, across: float, up: float, start_deg: float, end_deg: float, n: int = 14
) -> Stroke:
    """Part of an ellipse about (x, y)."""
    angles = np.radians(np.linspace(start_deg, end_deg, n))
    return [(x + across * math.cos(a), y + up * math.sin(a)) for a in angles]


ENGRAVED_HEIGHT = 6.0
ENGRAVED: dict[str, list[Stroke]] = {
    "0": [_arc(2, 3, 1.9, 3, 0, 360, 32)],
    "1": [[(0.9, 4.7), (2.2, 6), (2.2, 0)]],
    "2": [[*_arc(2, 4.2, 1.8, 1.8, 170, -35), (0.1, 0), (3.9, 0)]],
    "3": [_arc(1.9, 4.5, 1.6, 1.5, 155, -80) + _arc(1.9, 1.55, 1.9, 1.55, 85, -155)],
    "4": [[(3.0, 0), (3.0, 6), (0, 1.7), (4, 1.7)]],
    "5": [[(3.6, 6), (0.7, 6), (0.4, 3.3), *_arc(1.9, 1.95, 1.9, 1.95, 130, -155)]],
    "6": [
        [
            (3.2, 6),
            *_arc(2.6, 2.2, 2.5, 3.6, 125, 180, 8),
            *_arc(2, 1.85, 1.9, 1.85, 180, 540, 28),
        ]
    ],
    "7": [[(0.1, 6), (3.9, 6), (1.4, 0)]],
    "8": [_arc(2, 4.5, 1.5, 1.5, 0, 360, 26), _arc(2, 1.55, 1.9, 1.55, 0, 360, 28)],
    "9": [
        [
            *_arc(2, 4.15, 1.9, 1.85, 0, 360, 28),
            *_arc(1.4, 3.8, 2.5, 3.6, 0, -55, 8),
            (0.8, 0),
        ]
    ],
    "-": [[(0.5, 3), (3.5, 3)]],
    ".": [[(1.0, 0.05), (1.0, 0.25)]],
    "+": [[(0.5, 3), (3.5, 3)], [(2, 1.5), (2, 4.5)]],
}
"""Strokes of the engraver's figures on a box 4 wide and 6 high, y up. Our own drawing."""
ADVANCE = {"1": 4.0, ".": 2.0}
USUAL_ADVANCE = 5.5

FINER = 2
"""Coverage pictures are drawn so much larger, then made smaller."""
MARGIN = 0.6
"""Room above and below the figures, of their height."""
FAINTEST_INK = 0.05


class Lettering:
    """One hand: a font or strokes, its weight and how far it is squeezed."""

    def __init__(self, rng: Rng, faces: typefaces.Typefaces) -> None:
        self.engraved = chance(rng, 0.16)
        self.stroke_weight = rng.uniform(0.5, 1.0)
        self.stroke_width = rng.uniform(0.7, 1.0)
        self.path = faces[int(rng.integers(len(faces)))]
        self.weight = float(rng.choice([400, 500, 600, 700]))
        self.squeeze = float(rng.choice([1.0, 1.0, 1.0, 0.85, 1.12]))

    @property
    def name(self) -> str:
        """What the truth file calls it."""
        if self.engraved:
            return "stroke"
        return Path(self.path).name if self.path else "default"

    def coverage(self, text: str, height_px: float) -> FloatMap:
        """Ink from 0 to 1 of a text whose figures are ``height_px`` high.

        Cropped to the ink across; in height the figures and a margin above and below.
        """
        height = height_px * FINER
        if self.engraved and all(c in ENGRAVED for c in text):
            image = self._engrave(text, height)
        else:
            image = self._print(text, height)
        width = max(1, int(image.width / FINER * self.squeeze))
        small = image.resize((width, max(1, image.height // FINER)), Image.Resampling.LANCZOS)
        ink = np.asarray(small, np.float32) / np.float32(255)
        columns = np.where(ink.max(0) > FAINTEST_INK)[0]
        return ink[:, columns[0] : columns[-1] + 1] if len(columns) else ink[:, :1]

    def _engrave(self, text: str, height: float) -> Image.Image:
        unit = height / ENGRAVED_HEIGHT
        advances = [ADVANCE.get(c, USUAL_ADVANCE) * unit * self.stroke_width for c in text]
        margin = int(MARGIN * height)
        image = Image.new("L", (int(sum(advances) + 2 * unit), int(height) + 2 * margin))
        draw = ImageDraw.Draw(image)
        left, pen = unit, max(1, int(self.stroke_weight * unit))
        for character, advance in zip(text, advances, strict=True):
            for stroke in ENGRAVED[character]:
                line = [
                    (left + x * unit * self.stroke_width, margin + height - y * unit)
                    for x, y in stroke
                ]
                _round_ended(draw, line, pen)
            left += advance
        return image

    def _print(self, text: str, height: float) -> Image.Image:
        trial = typefaces.sized(self.path, 100, self.weight).getbbox("0")
        size = max(6, round(100 * height / (trial[3] - trial[1])))
        font = typefaces.sized(self.path, size, self.weight)
        zero, box = font.getbbox("0"), font.getbbox(text)
        margin, left = int(MARGIN * height), min(box[0], 0)
        image = Image.new("L", (int(box[2] - left + 8), int(height) + 2 * margin))
        ImageDraw.Draw(image).text((4 - left, margin - zero[1]), text, fill=255, font=font)
        return image


def _round_ended(
    draw: ImageDraw.ImageDraw, line: Sequence[tuple[float, float]], pen: int
) -> None:
    draw.line(line, fill=255, width=pen, joint="curve")
    for x, y in (line[0], line[-1]):
        draw.ellipse([x - pen / 2, y - pen / 2, x + pen / 2, y + pen / 2], fill=255)
