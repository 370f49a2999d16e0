"""Graduations and numerals as anti-aliased ink coverage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFont

from sample_images.generator.fonts import sized
from sample_images.generator.scene import Print, Rgb


@dataclass(frozen=True, slots=True, kw_only=True)
class Graduation:
    """What is printed: values, steps, where zero is. Lengths in mm, values in units."""

    unit_mm: float
    minor: float
    major: float
    label_every: float
    lo: float
    hi: float
    labels: str  # signed, magnitude, downward
    y_zero_mm: float

    def y_mm(self, value: float) -> float:
        """Height on the board of a scale value."""
        sign = -1.0 if self.labels == "downward" else 1.0
        return self.y_zero_mm + sign * value * self.unit_mm

    def value(self, y_mm: float) -> float:
        """Scale value at a height on the board."""
        sign = -1.0 if self.labels == "downward" else 1.0
        return sign * (y_mm - self.y_zero_mm) / self.unit_mm

    def values(self) -> list[float]:
        count = round((self.hi - self.lo) / self.minor)
        return [self.lo + i * self.minor for i in range(count + 1)]

    def rank(self, value: float) -> int:
        """3 numbered, 2 major, 1 half of a major, 0 plain."""
        for rank, step in ((3, self.label_every), (2, self.major), (1, self.major / 2)):
            if _multiple(value, step) and (rank != 1 or _multiple(self.major / 2, self.minor)):
                return rank
        return 0

    def label(self, value: float) -> str:
        shown = abs(value) if self.labels == "magnitude" else value
        return f"{shown:.10g}" if abs(shown) > 1e-9 else "0"


def _multiple(value: float, step: float) -> bool:
    q = value / step
    return abs(q - round(q)) < 1e-6


class Sheet:
    """A rectangle of ink coverage to draw on, in mm, first row at the top."""

    def __init__(
        self, x0_mm: float, x1_mm: float, y0_mm: float, y1_mm: float, px_per_mm: float
    ) -> None:
        self.x0, self.y1, self.ppm = x0_mm, y1_mm, px_per_mm
        self.ink = np.zeros(
            (
                int(np.ceil((y1_mm - y0_mm) * px_per_mm)),
                int(np.ceil((x1_mm - x0_mm) * px_per_mm)),
            ),
            np.float32,
        )

    def rectangle(self, x0: float, x1: float, y0: float, y1: float) -> None:
        """Fill a rectangle with its exact area coverage of each texel."""
        u, iu = _cover((x0 - self.x0) * self.ppm, (x1 - self.x0) * self.ppm, self.ink.shape[1])
        v, iv = _cover((self.y1 - y1) * self.ppm, (self.y1 - y0) * self.ppm, self.ink.shape[0])
        if u.size and v.size:
            part = self.ink[iv, iu]
            self.ink[iv, iu] = 1 - (1 - part) * (1 - np.outer(v, u))

    def text(
        self,
        words: str,
        x: float,
        y: float,
        height_mm: float,
        font: str | None,
        anchor: str = "m",
        quarters: int = 0,
    ) -> None:
        """Write with figures ``height_mm`` tall, middle at height y; anchor l, m or r at x.

        ``quarters`` turns the words anticlockwise by as many right angles.
        """
        f = sized(font, height_mm * self.ppm)
        box = f.getbbox(words)
        pad = 2
        w, h = int(box[2] - box[0]) + 2 * pad, int(box[3] - box[1]) + 2 * pad
        picture = Image.new("L", (w, h), 0)
        ImageDraw.Draw(picture).text((pad - box[0], pad - box[1]), words, fill=255, font=f)
        mask = np.rot90(np.asarray(picture, np.float32) / 255, quarters)
        h, w = mask.shape
        middle = {"l": 0.0, "m": w / 2, "r": float(w)}[anchor]
        left = round((x - self.x0) * self.ppm - middle)
        top = round((self.y1 - y) * self.ppm - h / 2)
        y0, x0 = max(top, 0), max(left, 0)
        y1, x1 = min(top + h, self.ink.shape[0]), min(left + w, self.ink.shape[1])
        if y1 > y0 and x1 > x0:
            part = self.ink[y0:y1, x0:x1]
            self.ink[y0:y1, x0:x1] = np.maximum(
                part, mask[y0 - top : y1 - top, x0 - left : x1 - left]
            )

    def printed(self, ink: Rgb) -> Print:
        return Print(
            left_mm=self.x0,
            top_mm=self.y1,
            px_per_mm=self.ppm,
            ink=ink,
            coverage=np.round(self.ink * 255).astype(np.uint8),
        )


def _cover(lo: float, hi: float, size: int) -> tuple[npt.NDArray[np.float64], slice]:
    i0, i1 = max(int(np.floor(lo)), 0), min(int(np.ceil(hi)), size)
    at = np.arange(i0, i1)
    return np.clip(np.minimum(at + 1, hi) - np.maximum(at, lo), 0, 1), slice(i0, max(i1, i0))


@dataclass(frozen=True, slots=True, kw_only=True)
class TickStyle:
    """Lengths in mm by rank (plain, half, major, numbered), line widths, spine, numerals."""

    length_mm: tuple[float, float, float, float]
    width_mm: tuple[float, float, float, float]
    spine_mm: float  # width of the spine line; 0 for none
    digit_mm: float
    font: str | None
    gap_mm: float  # between numeral and the longest tick


def text_width_mm(words: str, digit_mm: float, font: str | None) -> float:
    """Width of a text whose figures are ``digit_mm`` tall."""
    f: ImageFont.FreeTypeFont = sized(font, 64.0)
    return float(f.getlength(words)) / 64.0 * digit_mm


def column(sheet: Sheet, g: Graduation, style: TickStyle, root_x: float, towards: int) -> None:
    """Ticks from a root line at ``root_x`` to the right (+1) or to the left (-1)."""
    for value in g.values():
        rank = g.rank(value)
        y, half = g.y_mm(value), style.width_mm[rank] / 2
        ends = sorted((root_x, root_x + towards * style.length_mm[rank]))
        sheet.rectangle(ends[0], ends[1], y - half, y + half)
    if style.spine_mm > 0:
        ends = sorted(
            (root_x - towards * style.spine_mm / 2, root_x + towards * style.spine_mm / 2)
        )
        low, high = sorted((g.y_mm(g.lo), g.y_mm(g.hi)))
        sheet.rectangle(
            ends[0], ends[1], low - style.width_mm[3] / 2, high + style.width_mm[3] / 2
        )


def numerals(sheet: Sheet, g: Graduation, style: TickStyle, x: float, anchor: str) -> None:
    """Numerals beside every numbered tick."""
    for value in g.values():
        if g.rank(value) == 3:
            sheet.text(g.label(value), x, g.y_mm(value), style.digit_mm, style.font, anchor)


def full_lines(
    sheet: Sheet,
    g: Graduation,
    style: TickStyle,
    spans: list[tuple[float, float]],
    inset_mm: tuple[float, float, float, float],
) -> None:
    """Lines across the board; ``inset_mm`` shortens a rank at both ends of each span."""
    for value in g.values():
        rank = g.rank(value)
        y, half = g.y_mm(value), style.width_mm[rank] / 2
        for x0, x1 in spans:
            sheet.rectangle(x0 + inset_mm[rank], x1 - inset_mm[rank], y - half, y + half)
