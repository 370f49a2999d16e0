"""Prints of rulers, papers and plates: lines of any hierarchy, figures turned or twice."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sample_images.generator import looks, printing
from sample_images.generator.looks import Rng, pick
from sample_images.generator.printing import Graduation, Sheet

NUMBERED = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Ruling:
    """Lines of a scale and their figures.

    ``steps`` are the steps [units] of the ranks numbered, long, middle, short; a rank of the
    same step as the one before is not used. ``length_mm`` and ``width_mm`` go with them.
    """

    graduation: Graduation
    steps: tuple[float, float, float, float]
    length_mm: tuple[float, float, float, float]
    width_mm: tuple[float, float, float, float]
    digit_mm: float
    font: str | None
    quarters: int = 0
    decimals: int | None = None
    wobble_mm: float = 0.0

    def rank(self, value: float) -> int:
        """Index into ``length_mm``: 0 numbered to 3 short."""
        for rank, step in enumerate(self.steps):
            if abs(value / step - round(value / step)) < 1e-6:
                return rank
        return NUMBERED

    def label(self, value: float) -> str:
        if self.decimals is None:
            return self.graduation.label(value)
        shown = abs(value) if self.graduation.labels == "magnitude" else value
        return f"{shown:.{self.decimals}f}"

    def span_mm(self) -> tuple[float, float]:
        g = self.graduation
        low, high = sorted((g.y_mm(g.lo), g.y_mm(g.hi)))
        return low, high

    def widest_mm(self) -> float:
        """Room that the figures take across, as they are turned."""
        if self.quarters % 2:
            return 1.3 * self.digit_mm
        g = self.graduation
        return max(
            printing.text_width_mm(self.label(v), self.digit_mm, self.font)
            for v in g.values()
            if self.rank(v) == 0
        )


def column(sheet: Sheet, r: Ruling, root_mm: float, towards: int, rng: Rng) -> None:
    """Lines from ``root_mm`` to the right (+1) or left (-1); wobbling ones as if by hand."""
    for value in r.graduation.values():
        k = r.rank(value)
        y = r.graduation.y_mm(value) + rng.normal(0, 1) * r.wobble_mm
        length = r.length_mm[k] * (1 + 0.8 * r.wobble_mm * rng.normal(0, 1))
        start = root_mm + rng.normal(0, 1) * r.wobble_mm
        x0, x1 = sorted((start, start + towards * length))
        sheet.rectangle(x0, x1, y - r.width_mm[k] / 2, y + r.width_mm[k] / 2)


def figures(
    sheet: Sheet, r: Ruling, x_mm: float, anchor: str, *, backward: bool = False
) -> None:
    """Figures of the numbered lines; ``backward`` counts from the other end."""
    g = r.graduation
    for value in g.values():
        if r.rank(value) == 0:
            shown = g.lo + g.hi - value if backward else value
            sheet.text(
                r.label(shown), x_mm, g.y_mm(value), r.digit_mm, r.font, anchor, r.quarters
            )


def grid(
    sheet: Sheet, r: Ruling, x_mm: tuple[float, float], y_mm: tuple[float, float]
) -> None:
    """Graph paper: a line every division up and across, the longer ranks thicker."""
    g = r.graduation
    step = g.minor * abs(g.unit_mm)
    for k in range(
        math.ceil((y_mm[0] - g.y_zero_mm) / step),
        math.floor((y_mm[1] - g.y_zero_mm) / step) + 1,
    ):
        half = r.width_mm[r.rank(k * g.minor)] / 2
        y = g.y_zero_mm + k * step
        sheet.rectangle(*x_mm, y - half, y + half)
    for k in range(math.floor((x_mm[1] - x_mm[0]) / step) + 1):
        half = r.width_mm[r.rank(k * g.minor)] / 2
        x = x_mm[0] + k * step
        sheet.rectangle(x - half, x + half, *y_mm)


def frame(sheet: Sheet, x: tuple[float, float], y: tuple[float, float], wide: float) -> None:
    """A border of lines ``wide`` mm thick."""
    for lo in (x[0], x[1] - wide):
        sheet.rectangle(lo, lo + wide, *y)
    for lo in (y[0], y[1] - wide):
        sheet.rectangle(*x, lo, lo + wide)


def paragraph(
    sheet: Sheet, x: tuple[float, float], y: tuple[float, float], size_mm: float, rng: Rng
) -> None:
    """Lines of words: what hangs beside instruments says how to use them."""
    font = looks.font(rng)
    letters = list("aaeeiioonnrrttssdlcumphg")
    at = y[1]
    while at > y[0]:
        words = " ".join(
            "".join(rng.choice(letters, int(rng.integers(2, 9)))) for _ in range(12)
        )
        wide = printing.text_width_mm(words, size_mm, font)
        words = words[: max(int(len(words) * 0.92 * (x[1] - x[0]) / wide), 1)]
        sheet.text(words, x[0] + 1, at, size_mm, font, "l")
        at -= 1.9 * size_mm


def table(
    sheet: Sheet, x: tuple[float, float], y: tuple[float, float], row_mm: float, rng: Rng
) -> None:
    """A ruled table of figures, rows as even as the lines of a scale."""
    font = looks.font(rng)
    at = y[1]
    middle = 0.5 * (x[0] + x[1])
    while at > y[0]:
        sheet.rectangle(*x, at - 0.1, at + 0.1)
        for centre in (0.5 * (x[0] + middle), 0.5 * (x[1] + middle)):
            words = f"{rng.uniform(0, 99):.1f}"
            sheet.text(words, centre, at - row_mm / 2, 0.45 * row_mm, font)
        at -= row_mm
    for side in (x[0], middle, x[1]):
        sheet.rectangle(side - 0.1, side + 0.1, at + row_mm, y[1])


def inches_of(g: Graduation, length_mm: float, sixteenths: bool) -> Graduation:
    """An inch scale from the same zero and of the same length, as on the other edge."""
    minor = 1 / 16 if sixteenths else 0.1
    return Graduation(
        unit_mm=25.4,
        minor=minor,
        major=1.0,
        label_every=1.0,
        lo=0.0,
        hi=math.floor(length_mm / 25.4),
        labels="signed",
        y_zero_mm=g.y_mm(g.lo),
    )


def inch_ruling(g: Graduation, font: str | None, digit_mm: float, quarters: int) -> Ruling:
    """Halves, quarters and sixteenths, or tenths."""
    binary = g.minor < 0.1
    return Ruling(
        graduation=g,
        steps=(1.0, 0.5, 0.25, 0.125) if binary else (1.0, 0.5, 0.5, 0.1),
        length_mm=(6.5, 5.0, 4.0, 3.0),
        width_mm=(0.25,) * 4,
        digit_mm=digit_mm,
        font=font,
        quarters=quarters,
    )


def unit_words(unit_mm: float, rng: Rng) -> str:
    """What stands over a scale."""
    if round(unit_mm) == 1:
        return pick(rng, ("mm", "mm H2O", "MILLIMETRES", "mm WG"))
    if round(unit_mm) == 10:
        return pick(rng, ("cm", "cm H2O", "CENTIMETRES", "cm WC"))
    return pick(rng, ("in", "inches", "INCHES", "in. H2O"))
