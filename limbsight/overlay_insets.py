"""Each level enlarged, with the graduations next to it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from limbsight.overlay_frame import Frame
from limbsight.overlay_geometry import (
    NumberedLevel,
    division_px,
    level_direction,
    marks_by_distance,
)
from limbsight.overlay_marks import draw_interval, draw_number
from limbsight.overlay_strokes import (
    BLACK,
    DARK,
    MARGIN,
    SKY,
    TEXT,
    TEXT_SMALL,
    WHITE,
    YELLOW,
    Image,
    draw_dot,
    draw_line,
    padded_to,
    write_in_box,
    write_line,
)
from limbsight.records import Reading
from limbsight.report import level_text
from limbsight.vision.picture import Picture

# Layout, in pixels of the view.
PANEL_WIDTH = 560
INSET_HEIGHTS = (280, 520)
TITLE_HEIGHT = 2 * TEXT

INSET_DIVISIONS = 7
"""Graduations shown above and below a level in its enlargement, if the tube is no wider."""
MOST_REACH_WIDTHS = 6.3
"""How far from its tube an enlargement reaches for graduations, in tube widths: some lie far
off, some run across the whole board."""


def draw_panel(
    picture: Picture, reading: Reading, levels: Sequence[NumberedLevel], height: int
) -> Image:
    """Column with one enlargement for each level, in columns if there are many."""
    smallest, largest = INSET_HEIGHTS
    inset_height = min(largest, max(smallest, height // len(levels) - TITLE_HEIGHT - MARGIN))
    insets = [_draw_inset(picture, reading, numbered, inset_height) for numbered in levels]
    in_column = max(1, height // insets[0].shape[0])
    columns = [insets[i : i + in_column] for i in range(0, len(insets), in_column)]
    tallest = max(len(column) for column in columns) * insets[0].shape[0]
    return np.hstack([padded_to(np.vstack(column), tallest) for column in columns])


def _draw_inset(
    picture: Picture, reading: Reading, numbered: NumberedLevel, height: int
) -> Image:
    inset = np.full((height + TITLE_HEIGHT + MARGIN, PANEL_WIDTH, 3), DARK, np.uint8)
    draw_number(inset, numbered.number, (MARGIN, TITLE_HEIGHT / 2))
    title = f"{numbered.limb.limb}  {level_text(numbered.level)}"
    write_line(inset, title, 2 * MARGIN, TITLE_HEIGHT / 2, size=TEXT, colour=WHITE, weight=600)
    frame = _frame_inset(reading, numbered, height)
    part = frame.cut(picture.bgr)[:height, : PANEL_WIDTH - MARGIN]
    direction = level_direction(reading, numbered)
    for mark in marks_by_distance(reading, numbered.level)[: 6 * INSET_DIVISIONS]:
        ends = [frame.place(point) for point in (mark.start_px, mark.end_px)]
        for end in ends:
            draw_dot(part, end, 2.5, SKY)
        if mark.numbered:
            # Just above the stroke, where it hides neither the stroke nor the level's line.
            centre_x, centre_y = np.mean(ends, axis=0)
            at = (float(centre_x), float(centre_y) - TEXT_SMALL)
            write_in_box(
                part, f"{mark.value:g}", at, anchor=0.5, size=TEXT_SMALL, ink=BLACK, back=SKY
            )
    _draw_inset_level(part, frame, numbered, direction)
    note, corner = f"× {frame.zoom:.1f}", (0.0, float(TEXT_SMALL))
    write_in_box(part, note, corner, anchor=0, size=TEXT_SMALL, ink=WHITE, back=DARK)
    inset[TITLE_HEIGHT : TITLE_HEIGHT + part.shape[0], : part.shape[1]] = part
    return inset


def _draw_inset_level(
    part: Image, frame: Frame, numbered: NumberedLevel, direction: NDArray[np.float64]
) -> None:
    at = np.array([numbered.level.x_px, numbered.level.y_px])
    half = numbered.limb.width_px / 2
    draw_interval(part, frame, numbered, direction)
    for near, far in ((-1.0, -1.6), (1.0, 12.0)):  # on the scale's side right across it
        start = frame.place(tuple(at + near * half * direction))
        end = frame.place(tuple(at + far * half * direction))
        draw_line(part, start, end, YELLOW, 1)


def _frame_inset(reading: Reading, numbered: NumberedLevel, box_height: int) -> Frame:
    """Tube and nearest graduations, with the level in the middle of the height."""
    level, tube = numbered.level, numbered.limb.width_px
    direction = level_direction(reading, numbered)
    at = np.array([level.x_px, level.y_px])
    reach = 1.5 * tube
    for mark in marks_by_distance(reading, level)[:4]:
        reach = max(
            reach, *((np.subtract(p, at) @ direction) for p in (mark.start_px, mark.end_px))
        )
    # Both extremes kept in bounds: a tube alone, and a scale far away or wider than a tube.
    reach = min(reach, MOST_REACH_WIDTHS * tube)
    width = 0.8 * tube + 1.15 * reach
    division = division_px(reading, level)
    height = max(2.0 * tube, 2 * INSET_DIVISIONS * division if division else 0.0)
    box_width = PANEL_WIDTH - MARGIN
    zoom = min(box_width / width, box_height / height)
    width, height = box_width / zoom, box_height / zoom
    middle = at + direction * (reach - 0.8 * tube) / 2
    centre_x = middle[0] if abs(direction[0]) > abs(direction[1]) else at[0]
    centre_y = at[1] if abs(direction[0]) > abs(direction[1]) else middle[1]
    return Frame(
        left=math.floor(centre_x - width / 2),
        top=math.floor(centre_y - height / 2),
        width=math.ceil(width) + 1,
        height=math.ceil(height) + 1,
        zoom=zoom,
    )
