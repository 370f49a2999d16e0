"""The reading in words, above the picture."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np

from limbsight.limits import limits_text
from limbsight.overlay_strokes import (
    BLACK,
    BLUE,
    MARGIN,
    ORANGE,
    TEXT,
    TEXT_BIG,
    TEXT_SMALL,
    VERMILION,
    WHITE,
    Image,
    text_width,
    write_line,
)
from limbsight.reasons import limb_text
from limbsight.records import Reading
from limbsight.report import level_text, photo_text, pressure_text, reason_text, zero_text

if TYPE_CHECKING:
    from limbsight.calib.instrument import LimitsSpec

STATUS_COLOUR = {"read": BLUE, "check": ORANGE, "refused": VERMILION}
STATUS_INK = {"read": WHITE, "check": BLACK, "refused": WHITE}


def draw_banner(reading: Reading, unit: str, limits: LimitsSpec | None, width: int) -> Image:
    """Write what was read, on the colour of its status."""
    lines = list(_banner_lines(reading, unit, limits, width))
    heights = [round(1.5 * size) for _, size in lines]
    banner = np.full((sum(heights) + MARGIN, width, 3), 0, np.uint8)
    banner[:] = STATUS_COLOUR[reading.status]
    top = MARGIN / 2
    for (text, size), height in zip(lines, heights, strict=True):
        write_line(
            banner,
            text,
            MARGIN,
            top + height / 2,
            size=size,
            colour=STATUS_INK[reading.status],
            weight=700 if size == TEXT_BIG else 500,
        )
        top += height
    return banner


def _banner_lines(
    reading: Reading, unit: str, limits: LimitsSpec | None, width: int
) -> Iterator[tuple[str, int]]:
    """Lines of the banner with their text size, broken to its width."""
    head = reading.status.upper()
    if reading.pressure:
        head += f"   {pressure_text(reading.pressure, unit)}"
    elif reading.status != "refused":  # what was found of a refused one is no reading
        head += "   " + ",  ".join(
            f"{limb.limb} {level_text(level)}"
            for limb in reading.limbs
            for level in limb.levels
        )
    yield from _broken(head, TEXT_BIG, width)
    standing = reading.pressure and limits_text(reading.pressure, limits, unit)
    if standing:
        yield from _broken(standing, TEXT, width)
    if reading.pressure and reading.pressure.absolute:
        yield from _broken(pressure_text(reading.pressure.absolute, unit), TEXT, width)
    named = [(limb_text(limb), pressure) for limb, pressure in reading.pressures]
    if named:
        all_named = ",  ".join(f"{limb}: {pressure_text(p, unit)}" for limb, p in named)
        yield from _broken(all_named, TEXT, width)
    zero = reading.pressure and zero_text(reading, reading.pressure, unit)
    if zero:
        yield from _broken(zero, TEXT, width)
    about = (reading.instrument, photo_text(reading), reading.taken_at)
    yield from _broken("  ·  ".join(part for part in about if part), TEXT_SMALL, width)
    for reason in reading.reasons:
        yield from _broken(f"• {reason_text(reason)}", TEXT, width)


def _broken(text: str, size: int, width: int) -> Iterator[tuple[str, int]]:
    room = width - 2 * MARGIN
    per_character = max(1.0, text_width(text, size, 700) / max(1, len(text)))
    for line in wrap(text, max(8, int(room / per_character)), break_on_hyphens=False):
        yield line, size
