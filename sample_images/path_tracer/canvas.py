"""Picture of a plate, addressed in millimetres, to print on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Literal

import numpy as np

from sample_images.generator.scene import FloatMap
from sample_images.path_tracer.colour import Light
from sample_images.path_tracer.lettering import Lettering

Align = Literal["left", "centre", "right"]

SMALLEST_TEXT_PX = 4.0


class Canvas:
    """A plate whose left edge is at ``left_mm`` and whose upper edge is at ``top_mm``.

    Shapes drawn within one ``with canvas.ink(...)`` do not cover each other: what overlaps
    is inked once.
    """

    def __init__(self, base: Light, left_mm: float, top_mm: float, px_per_mm: float) -> None:
        self.picture: FloatMap = base.astype(np.float32)
        self.left_mm, self.top_mm, self.px_per_mm = left_mm, top_mm, px_per_mm
        self._ink: FloatMap = np.zeros(self.picture.shape[:2], np.float32)

    @contextmanager
    def ink(
        self, colour: Sequence[float], wear: FloatMap | None = None, opacity: float = 1.0
    ) -> Iterator[None]:
        """What is drawn inside gets this colour, less where it is worn."""
        self._ink[:] = 0
        yield
        share = self._ink * opacity
        if wear is not None:
            share = share * wear
        self.picture += (np.asarray(colour) - self.picture) * share[..., None]

    def rectangle(
        self, left_mm: float, right_mm: float, bottom_mm: float, top_mm: float
    ) -> None:
        """Ink a rectangle; pixels on its edge in part."""
        rows, columns = self._ink.shape
        u0, u1 = (
            (left_mm - self.left_mm) * self.px_per_mm,
            (right_mm - self.left_mm) * self.px_per_mm,
        )
        v0, v1 = (
            (self.top_mm - top_mm) * self.px_per_mm,
            (self.top_mm - bottom_mm) * self.px_per_mm,
        )
        i0, i1 = max(0, int(np.floor(u0))), min(columns, int(np.ceil(u1)))
        j0, j1 = max(0, int(np.floor(v0))), min(rows, int(np.ceil(v1)))
        if i1 <= i0 or j1 <= j0:
            return
        across = _overlap(i0, i1, u0, u1)
        down = _overlap(j0, j1, v0, v1)
        part = self._ink[j0:j1, i0:i1]
        np.maximum(part, down[:, None] * across[None], out=part)

    def text(
        self,
        hand: Lettering,
        text: str,
        x_mm: float,
        y_mm: float,
        height_mm: float,
        align: Align = "centre",
        *,
        turned: bool = False,
        upward: bool = False,
    ) -> None:
        """Ink a text whose middle is at ``y_mm``, or its foot if it goes ``upward``.

        ``turned`` stands it on its end, a quarter anticlockwise.
        """
        ink = hand.coverage(text, max(SMALLEST_TEXT_PX, height_mm * self.px_per_mm))
        if turned:
            ink = np.rot90(ink, 1)
        height, width = ink.shape
        u = (x_mm - self.left_mm) * self.px_per_mm
        v = (self.top_mm - y_mm) * self.px_per_mm
        if align == "centre":
            u -= width / 2
        elif align == "right":
            u -= width
        if upward:
            v -= height_mm * self.px_per_mm / 2
        self._stamp(ink, round(u), round(v - height / 2))

    def _stamp(self, ink: FloatMap, left: int, top: int) -> None:
        height, width = ink.shape
        rows, columns = self._ink.shape
        j0, i0 = max(0, -top), max(0, -left)
        j1, i1 = min(height, rows - top), min(width, columns - left)
        if j1 > j0 and i1 > i0:
            part = self._ink[top + j0 : top + j1, left + i0 : left + i1]
            np.maximum(part, ink[j0:j1, i0:i1], out=part)


def _overlap(first: int, end: int, low: float, high: float) -> Light:
    """Share of each pixel from ``first`` to ``end`` that lies between two places."""
    pixels = np.arange(first, end)
    inside = np.minimum(pixels + 1, high) - np.maximum(pixels, low)
    return np.asarray(np.clip(inside, 0, 1))
