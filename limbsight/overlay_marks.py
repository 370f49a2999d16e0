"""Graduations, tube axes and levels, drawn over the photo."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.overlay_frame import Frame
from limbsight.overlay_geometry import NumberedLevel
from limbsight.overlay_strokes import (
    BLACK,
    SKY,
    SUBPIXEL_BITS,
    TEXT,
    TEXT_SMALL,
    WHITE,
    YELLOW,
    Image,
    draw_dot,
    draw_line,
    fixed_point,
    text_width,
    write_in_box,
    write_line,
)
from limbsight.records import GraduationMark, LimbReading, PointPx


def draw_axis(view: Image, frame: Frame, limb: LimbReading) -> None:
    """The axis of a tube, dashed."""
    low, high = (np.array(frame.place(point)) for point in limb.axis_px)
    count = max(2, round(math.hypot(*(high - low)) / 36))
    for i in range(0, count, 2):
        draw_line(
            view,
            low + (high - low) * i / count,
            low + (high - low) * (i + 1) / count,
            WHITE,
            1,
        )


def draw_mark(view: Image, frame: Frame, mark: GraduationMark) -> None:
    """The ends of a graduation."""
    radius = 3.0 if mark.numbered else 1.2
    for point in (mark.start_px, mark.end_px):
        draw_dot(view, frame.place(point), radius, SKY)


def draw_mark_label(view: Image, frame: Frame, mark: GraduationMark, at: PointPx) -> None:
    """The number of a graduation, and a line to it."""
    place = np.array(frame.place(at))
    ends = [np.array(frame.place(point)) for point in (mark.start_px, mark.end_px)]
    near = min(ends, key=lambda end: float(np.sum((end - place) ** 2)))
    start, stop = fixed_point(near), fixed_point(place)
    cv2.line(view, start, stop, SKY, 1, cv2.LINE_AA, SUBPIXEL_BITS)
    dx, dy = place - near
    anchor = 0.5 if abs(dy) > abs(dx) else (0.0 if dx > 0 else 1.0)
    write_in_box(
        view,
        f"{mark.value:g}",
        (float(place[0]), float(place[1])),
        anchor=anchor,
        size=TEXT_SMALL,
        ink=BLACK,
        back=SKY,
    )


def draw_level(
    view: Image, frame: Frame, numbered: NumberedLevel, direction: NDArray[np.float64]
) -> None:
    """Level across its tube, its 95 % interval, its number on the side without the scale."""
    at = np.array([numbered.level.x_px, numbered.level.y_px])
    half = numbered.limb.width_px / 2
    draw_interval(view, frame, numbered, direction)
    for sign in (-1.0, 1.0):
        inner, outer = at + sign * 0.9 * half * direction, at + sign * 2.2 * half * direction
        draw_line(view, frame.place(tuple(inner)), frame.place(tuple(outer)), YELLOW, 2)
    tag = frame.place(tuple(at - 3.0 * half * direction))
    draw_number(view, numbered.number, tag)


def draw_number(image: Image, number: int, at: PointPx) -> None:
    """The number of a level."""
    draw_dot(image, at, 0.62 * TEXT, YELLOW)
    text = str(number)
    left = at[0] - text_width(text, TEXT_SMALL, 700) / 2
    write_line(image, text, left, at[1], size=TEXT_SMALL, colour=BLACK, weight=700)


def draw_interval(
    view: Image, frame: Frame, numbered: NumberedLevel, direction: NDArray[np.float64]
) -> None:
    """The 95 % interval as a beam with two flanges, on the axis."""
    ends = [np.array(point) for point in numbered.level.interval_px]
    draw_line(view, frame.place(tuple(ends[0])), frame.place(tuple(ends[1])), YELLOW, 1)
    reach = 0.3 * numbered.limb.width_px * direction
    for end in ends:
        start, stop = frame.place(tuple(end - reach)), frame.place(tuple(end + reach))
        cv2.line(
            view,
            fixed_point(start),
            fixed_point(stop),
            YELLOW,
            1,
            cv2.LINE_AA,
            SUBPIXEL_BITS,
        )
