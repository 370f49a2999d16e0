"""How a scale is printed: inks, lengths and widths of lines, where figures stand."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sample_images.generator.scene import FloatMap, Rgb
from sample_images.path_tracer.canvas import Align, Canvas
from sample_images.path_tracer.draws import Rng, chance, pick
from sample_images.path_tracer.graduation import (
    LONGEST,
    MIDDLE,
    SHORTEST,
    Graduation,
)
from sample_images.path_tracer.lettering import Lettering

Side = Literal["left", "right", "both", "full"]
"""Edge of its plate that lines start from; ``full`` ones go across, figures beside them."""

FIGURE_ASPECT = 0.72
"""Width of a figure to its height, about: enough to leave room. Rule of thumb."""


@dataclass(frozen=True, slots=True)
class Plate:
    """Where a scale is printed; ``right`` is that of its edges, not of the instrument."""

    side: Side
    left_mm: float
    right_mm: float

    @property
    def middle_mm(self) -> float:
        return (self.left_mm + self.right_mm) / 2

    @property
    def width_mm(self) -> float:
        return self.right_mm - self.left_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Inks:
    """Colours of short and middle lines, of long ones, of figures."""

    lines: Rgb
    long_lines: Rgb
    figures: Rgb


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """Lengths in mm; of lines by rank, short to long.

    ``inset_mm`` shortens full lines at both ends. ``spine_mm`` is the width of a line along
    the edge, 0 for none. ``figures_at`` says where figures of full lines stand.
    """

    width_mm: tuple[float, ...]
    length_mm: tuple[float, ...]
    inset_mm: tuple[float, ...]
    figure_mm: float
    above: bool
    turned: bool
    spine_mm: float
    figures_at: tuple[tuple[float, Align], ...] = ()


def draw_inks(rng: Rng, surface: str) -> Inks:
    """Inks that show on a surface. Our own choice."""
    if surface == "black":
        light: Rgb = (0.93, 0.93, 0.9)
        ink = pick(rng, light, light, (0.95, 0.85, 0.3), (0.9, 0.55, 0.2))
        return Inks(lines=ink, long_lines=pick(rng, ink, ink, (0.95, 0.4, 0.25)), figures=ink)
    if surface in ("brass", "alu", "steel"):
        ink = pick(
            rng, (0.05, 0.05, 0.05), (0.10, 0.09, 0.08), (0.04, 0.05, 0.15), (0.3, 0.03, 0.03)
        )
        return Inks(lines=ink, long_lines=ink, figures=ink)
    if surface == "acrylic":
        ink = pick(rng, (0.03, 0.03, 0.03), (0.02, 0.05, 0.3), (0.55, 0.03, 0.03))
        return Inks(lines=ink, long_lines=ink, figures=ink)
    ink = pick(
        rng,
        (0.06, 0.06, 0.06),
        (0.06, 0.06, 0.06),
        (0.08, 0.11, 0.32),
        (0.12, 0.1, 0.08),
        (0.55, 0.07, 0.06),
        (0.05, 0.25, 0.14),
    )
    long_ink = pick(rng, ink, ink, ink, (0.6, 0.06, 0.06))
    return Inks(lines=ink, long_lines=long_ink, figures=pick(rng, ink, ink, long_ink))


def draw_style(rng: Rng, scale: Graduation, plate: Plate) -> Style:
    """Lines and figures that fit a plate."""
    widths = _line_widths(rng, scale.division_mm)
    above = plate.side != "both" and pick(rng, False, False, False, True)
    figures = _draw_figures(rng, scale, plate, above=above)
    lengths, above = _line_lengths(rng, plate, figures)
    short, middle, long = lengths
    inset = (0.0, 0.0, 0.0)
    if chance(rng, 0.4):
        shares = rng.uniform(0, 0.12), rng.uniform(0, 0.05)
        inset = (plate.width_mm * shares[0], plate.width_mm * shares[1], 0.0)
    return Style(
        width_mm=widths,
        length_mm=(short, middle if scale.mid else short, long),
        inset_mm=inset,
        figure_mm=figures.height_mm,
        above=above,
        turned=figures.turned,
        spine_mm=widths[SHORTEST] if chance(rng, 0.22) else 0.0,
    )


@dataclass(frozen=True, slots=True)
class _Figures:
    """Height of figures, the most of them on a line, how they stand."""

    height_mm: float
    most: int
    above: bool
    turned: bool

    @property
    def across_mm(self) -> float:
        """Width of the longest number as it stands beside lines."""
        return self.height_mm if self.turned else self.length_mm

    @property
    def length_mm(self) -> float:
        return self.most * FIGURE_ASPECT * self.height_mm

    def room_mm(self, plate: Plate) -> float:
        """What they leave of the width of a plate, for each row of lines."""
        rows = 2 if plate.side == "both" else 1
        return (plate.width_mm - self.across_mm - 0.8 * self.height_mm) / rows


def _draw_figures(rng: Rng, scale: Graduation, plate: Plate, *, above: bool) -> _Figures:
    """Figures that leave room for their lines; those above lines must fit between them."""
    step = scale.label_every * scale.unit_mm
    height = float(np.clip(step * rng.uniform(0.22, 0.5), 1.5, rng.uniform(2.4, 5.2)))
    most = max(len(scale.label(v)) for v in (scale.lo, scale.hi))
    turned = chance(rng, 0.08) and step > 5 + most * height
    if turned:
        height = min(height, step * 0.7 / max(most * 0.7, 1))
    figures = _Figures(height, most, above and height <= 0.6 * step, turned)
    while figures.room_mm(plate) < 2.5 and figures.height_mm > 1.5 and plate.side != "full":
        figures = replace(figures, height_mm=figures.height_mm * 0.9)
    return figures


def _line_lengths(
    rng: Rng, plate: Plate, figures: _Figures
) -> tuple[tuple[float, float, float], bool]:
    """Lengths of short, middle and long lines, and whether figures can stand above these."""
    room = plate.width_mm * 0.85 if figures.above else figures.room_mm(plate)
    long = float(np.clip(room * rng.uniform(0.55, 0.98), 1.2, 14))
    short = long * rng.uniform(0.35, 0.7)
    middle = pick(rng, (long + short) / 2, long * 0.85, long)
    if chance(rng, 0.07):
        short = middle = long
    if not figures.above:
        return (short, middle, long), False
    short = float(np.clip(plate.width_mm * rng.uniform(0.12, 0.25), 1.2, 5))
    middle = short * rng.uniform(1.15, 1.5)
    long = middle + 0.8 + figures.length_mm + rng.uniform(0.3, 2)
    if long <= plate.width_mm * 0.95:
        return (short, middle, long), True
    long = float(np.clip(room * 0.9 - figures.across_mm, 1.5, 8))
    return (0.5 * long, 0.75 * long, long), False


def _line_widths(rng: Rng, division_mm: float) -> tuple[float, ...]:
    """Widths by rank; together with their gaps they fit the division."""
    thin = np.clip(division_mm * rng.uniform(0.09, 0.24), 0.09, 0.5)
    widths = thin * np.array([1, pick(rng, 1, 1.15), pick(rng, 1, 1.3, 1.8, 2.3)])
    most = [0.28 * division_mm, 0.4 * division_mm, 0.5 * division_mm]
    return tuple(float(w) for w in np.minimum(widths, most))


def print_scale(
    canvas: Canvas,
    scale: Graduation,
    style: Style,
    plate: Plate,
    hand: Lettering,
    inks: Inks,
    wear: FloatMap | None = None,
    opacity: float = 1.0,
) -> None:
    """Print lines and figures of a scale on a plate."""
    count = round((scale.hi - scale.lo) / scale.minor)
    values = [scale.lo + i * scale.minor for i in range(count + 1)]
    for rank in (SHORTEST, MIDDLE, LONGEST):
        ink = inks.long_lines if rank == LONGEST else inks.lines
        with canvas.ink(ink, wear, opacity):
            for value in values:
                if scale.rank(value) == rank:
                    _line(canvas, scale.y_mm(value), style, plate, rank)
            if rank == SHORTEST and style.spine_mm:
                _spine(canvas, scale, style, plate)
    first = math.ceil(scale.lo / scale.label_every - 1e-9)
    last = math.floor(scale.hi / scale.label_every + 1e-9)
    with canvas.ink(inks.figures, wear, opacity):
        for k in range(first, last + 1):
            value = k * scale.label_every
            _figures(canvas, scale.label(value), scale.y_mm(value), style, plate, hand)


def _line(canvas: Canvas, y_mm: float, style: Style, plate: Plate, rank: int) -> None:
    half, length = style.width_mm[rank] / 2, style.length_mm[rank]
    low, high, left, right = y_mm - half, y_mm + half, plate.left_mm, plate.right_mm
    if plate.side == "full":
        inset = style.inset_mm[rank]
        canvas.rectangle(left + inset, right - inset, low, high)
    if plate.side in ("left", "both"):
        canvas.rectangle(left, left + length, low, high)
    if plate.side in ("right", "both"):
        canvas.rectangle(right - length, right, low, high)


def _spine(canvas: Canvas, scale: Graduation, style: Style, plate: Plate) -> None:
    low, high = sorted((scale.y_mm(scale.lo), scale.y_mm(scale.hi)))
    edges = {"left": [plate.left_mm], "right": [plate.right_mm]}
    for x in edges.get(plate.side, [plate.left_mm, plate.right_mm]):
        canvas.rectangle(x - style.spine_mm / 2, x + style.spine_mm / 2, low, high)


def _figures(
    canvas: Canvas, text: str, y_mm: float, style: Style, plate: Plate, hand: Lettering
) -> None:
    height, above = style.figure_mm, style.above
    raised = y_mm + style.width_mm[LONGEST] / 2 + 0.12 * height if above else y_mm

    def put(x_mm: float, align: Align, *, on_line: bool) -> None:
        canvas.text(
            hand,
            text,
            x_mm,
            raised if on_line else y_mm,
            height,
            align,
            turned=style.turned,
            upward=on_line,
        )

    if plate.side == "full":
        for x_mm, align in style.figures_at:
            put(x_mm, align, on_line=above)
        return
    if plate.side == "both":
        put(plate.middle_mm, "centre", on_line=False)
        return
    rank, gap = (MIDDLE, 0.6) if above else (LONGEST, 0.28 * height)
    if plate.side == "left":
        put(plate.left_mm + style.length_mm[rank] + gap, "left", on_line=above)
    else:
        put(plate.right_mm - style.length_mm[rank] - gap, "right", on_line=above)
