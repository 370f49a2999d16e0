"""A picture that shows what was found, for a person to check in two seconds.

Left the instrument with its graduations, tube axes and levels; right each level enlarged;
on top the reading in words. Everything is drawn in a view of fixed size, so that lines and
text keep their proportion whatever the size of the photo.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.limits import limits_text
from limbsight.reasons import limb_text
from limbsight.records import GraduationMark, LevelReading, LimbReading, PointPx, Reading
from limbsight.report import level_text, photo_text, pressure_text, reason_text, zero_text
from limbsight.vision.picture import Picture

if TYPE_CHECKING:
    from limbsight.calib.instrument import LimitsSpec

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
GREY: Colour = (200, 200, 200)

STATUS_COLOUR = {"read": BLUE, "check": ORANGE, "refused": VERMILION}
STATUS_INK = {"read": WHITE, "check": BLACK, "refused": WHITE}

# Layout, in pixels of the view; chosen by looking at views of 1080 to 4032 pixel photos.
VIEW_LONG_SIDE = 1600
PANEL_WIDTH = 560
MARGIN = 24
INSET_HEIGHTS = (280, 520)
TEXT_BIG = 40
TEXT = 26
TEXT_SMALL = 20
TITLE_HEIGHT = 2 * TEXT

INSET_DIVISIONS = 7
"""Graduations shown above and below a level in its enlargement, if the tube is no wider."""

MOST_REACH_WIDTHS = 6.3
"""How far from its tube an enlargement reaches for graduations, in tube widths: some lie far
off, some run across the whole board."""

BEYOND_PHOTO = 0.25
"""How far the view may reach beyond the photo, as a share of its size."""

SUBPIXEL_BITS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class _Frame:
    """A part of the photo and how much it is enlarged."""

    left: int
    top: int
    width: int
    height: int
    zoom: float

    @property
    def size(self) -> tuple[int, int]:
        return round(self.width * self.zoom), round(self.height * self.zoom)

    def place(self, point: PointPx) -> PointPx:
        """Photo to view; both count from the centre of the first pixel."""
        x, y = point
        return (
            (x - self.left + 0.5) * self.zoom - 0.5,
            (y - self.top + 0.5) * self.zoom - 0.5,
        )

    def cut(self, bgr: Image) -> Image:
        """The part itself; dark where it reaches beyond the photo."""
        height, width = bgr.shape[:2]
        part = np.full((self.height, self.width, 3), DARK, np.uint8)
        x0, x1 = max(self.left, 0), min(self.left + self.width, width)
        y0, y1 = max(self.top, 0), min(self.top + self.height, height)
        if x1 > x0 and y1 > y0:
            part[y0 - self.top : y1 - self.top, x0 - self.left : x1 - self.left] = bgr[
                y0:y1, x0:x1
            ]
        method = cv2.INTER_AREA if self.zoom < 1 else cv2.INTER_CUBIC
        return np.asarray(cv2.resize(part, self.size, interpolation=method), np.uint8)


@dataclass(frozen=True, slots=True, kw_only=True)
class _NumberedLevel:
    number: int
    limb: LimbReading
    level: LevelReading


def draw_overlay(
    picture: Picture,
    reading: Reading,
    *,
    unit: str = "kPa",
    limits: LimitsSpec | None = None,
) -> Image:
    """Draw what was found over the photo.

    Parameters
    ----------
    picture
        The photo that was read.
    reading
        Its result; whatever it lacks is left out.
    unit
        Unit of pressure.
    limits
        Alarm limits of the instrument, to be stated in the banner.

    Returns
    -------
    ndarray, shape (M, N, 3), uint8
        Blue, green, red. The instrument is cut out and scaled so that its longer side has
        ``VIEW_LONG_SIDE`` pixels.
    """
    levels = _number_levels(reading)
    labels = _place_labels(reading)
    frame = _frame_instrument(picture, reading, labels)
    view = frame.cut(picture.bgr)
    for limb in reading.limbs:
        _draw_axis(view, frame, limb)
    for mark in reading.graduations:
        _draw_mark(view, frame, mark)
    for mark, at in labels:
        _draw_mark_label(view, frame, mark, at)
    for numbered in levels:
        _draw_level(view, frame, numbered, _level_direction(reading, numbered))
    if levels:
        panel = _draw_panel(picture, reading, levels, view.shape[0])
        height = max(panel.shape[0], view.shape[0])
        view = np.hstack([_pad_to(view, height), _pad_to(panel, height)])
    banner = _draw_banner(reading, unit, limits, view.shape[1])
    return np.vstack([banner, view])


def _number_levels(reading: Reading) -> list[_NumberedLevel]:
    """Levels numbered limb by limb, each limb from the top down, as the eye goes."""
    pairs = [(limb, level) for limb in reading.limbs for level in reversed(limb.levels)]
    return [
        _NumberedLevel(number=i, limb=limb, level=level)
        for i, (limb, level) in enumerate(pairs, start=1)
    ]


# Geometry ------------------------------------------------------------------------------


def _unit(vector: NDArray[np.float64]) -> NDArray[np.float64]:
    length = math.hypot(*vector)
    return vector / length if length else np.array([0.0, -1.0])


def _axis_direction(reading: Reading) -> NDArray[np.float64]:
    """Unit vector up the tubes; straight up where no tube was found."""
    for limb in reading.limbs:
        low, high = np.asarray(limb.axis_px, dtype=float)
        return _unit(high - low)
    return np.array([0.0, -1.0])


def _middle(mark: GraduationMark) -> NDArray[np.float64]:
    middle: NDArray[np.float64] = np.mean([mark.start_px, mark.end_px], axis=0)
    return middle


def _place_labels(reading: Reading) -> list[tuple[GraduationMark, PointPx]]:
    """Numbered graduations and where, outside everything found, their number goes.

    Scales left of the middle get theirs on the left, all others on the right, so that
    printed numeral and label stand in one row and neither hides the other.
    """
    numbered = [mark for mark in reading.graduations if mark.numbered]
    if not numbered:
        return []
    up = _axis_direction(reading)
    across = np.array([-up[1], up[0]])  # to the right of an upright tube
    found = np.array(
        [point for mark in reading.graduations for point in (mark.start_px, mark.end_px)]
        + [point for limb in reading.limbs for point in limb.axis_px]
    )
    offsets = found @ across
    width_px = max((limb.width_px for limb in reading.limbs), default=0.0)
    # Beyond the numbers that tag the levels, which stand 1.5 widths from the axis.
    reach = 2.0 * width_px + 0.02 * float(np.ptp(found, axis=0).max())
    span = float(np.ptp(offsets))
    limb_offsets = [np.mean(limb.axis_px, axis=0) @ across for limb in reading.limbs]
    centre = np.mean(limb_offsets) if limb_offsets else offsets.mean()
    labels = []
    for mark in numbered:
        middle = _middle(mark)
        offset = middle @ across
        on_left = len(reading.limbs) > 1 and offset < centre - 0.1 * span
        goal = offsets.min() - reach if on_left else offsets.max() + reach
        x, y = middle + (goal - offset) * across
        labels.append((mark, (float(x), float(y))))
    return labels


def _frame_instrument(
    picture: Picture, reading: Reading, labels: Sequence[tuple[GraduationMark, PointPx]]
) -> _Frame:
    """The part of the photo that holds what was found; all of it where that is nothing."""
    width, height = picture.size_px
    points = [point for mark in reading.graduations for point in (mark.start_px, mark.end_px)]
    points += [point for limb in reading.limbs for point in limb.axis_px]
    points += [point for _, point in labels]
    if not points:
        zoom = VIEW_LONG_SIDE / max(width, height)
        return _Frame(left=0, top=0, width=width, height=height, zoom=zoom)
    # An axis drawn out too far must not make a picture of nothing.
    size = np.array([width, height])
    kept = np.clip(points, -BEYOND_PHOTO * size, (1 + BEYOND_PHOTO) * size)
    low, high = kept.min(axis=0), kept.max(axis=0)
    extent = float((high - low).max())
    # Room for numbers at the sides, and enough of the surroundings to recognise the place.
    centre, half = (low + high) / 2, (high - low) / 2 + 0.06 * extent
    half = np.maximum(half, 0.3 * extent)
    left, top = np.floor(centre - half).astype(int)
    right, bottom = np.ceil(centre + half).astype(int)
    zoom = VIEW_LONG_SIDE / max(right - left, bottom - top)
    return _Frame(
        left=int(left),
        top=int(top),
        width=int(right - left),
        height=int(bottom - top),
        zoom=zoom,
    )


def _level_direction(reading: Reading, numbered: _NumberedLevel) -> NDArray[np.float64]:
    """Unit vector along the graduations near a level, from its tube towards the scale."""
    at = np.array([numbered.level.x_px, numbered.level.y_px])
    marks = _marks_by_distance(reading, numbered.level)
    low, high = np.asarray(numbered.limb.axis_px, dtype=float)
    up = _unit(high - low)
    across = np.array([-up[1], up[0]])
    if not marks:
        return across
    nearest = marks[0]
    along = _unit(np.subtract(nearest.end_px, nearest.start_px))
    if abs(along @ across) < 0.5:  # not a stroke across the tube: a point, or nonsense
        along = across
    return along if (_middle(nearest) - at) @ along > 0 else -along


def _marks_by_distance(reading: Reading, level: LevelReading) -> list[GraduationMark]:
    at = np.array([level.x_px, level.y_px])
    return sorted(
        reading.graduations, key=lambda mark: float(np.sum((_middle(mark) - at) ** 2))
    )


def _division_px(reading: Reading, level: LevelReading) -> float | None:
    """Distance between neighbouring graduations near a level, along the tube."""
    near = _marks_by_distance(reading, level)[:8]
    along = sorted({float(_middle(mark) @ _axis_direction(reading)) for mark in near})
    return float(np.median(np.diff(along))) if len(along) > 2 else None


# Drawing -------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def _font() -> Any:
    return cv2.FontFace("sans")


def _text_width(text: str, size: int, weight: int = 400) -> int:
    box = cv2.getTextSize((10, 10), text, (0, 0), _font(), size, weight)
    return int(box[2])


def _text(
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


def _boxed_text(
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
    width = _text_width(text, size, 600)
    left = x - anchor * (width + 2 * pad)
    corner = (round(left), round(y - 0.65 * size))
    opposite = (round(left + width + 2 * pad), round(y + 0.65 * size))
    cv2.rectangle(image, corner, opposite, back, cv2.FILLED)
    _text(image, text, left + pad, y, size=size, colour=ink, weight=600)


def _fixed_point(point: Any) -> tuple[int, int]:
    x, y = point
    return round(x * 2**SUBPIXEL_BITS), round(y * 2**SUBPIXEL_BITS)


def _line(image: Image, start: Any, end: Any, colour: Colour, width: int = 2) -> None:
    """A line with a dark rim, so that it shows on glass, liquid and board alike."""
    ends = _fixed_point(start), _fixed_point(end)
    cv2.line(image, *ends, BLACK, width + 2, cv2.LINE_AA, SUBPIXEL_BITS)
    cv2.line(image, *ends, colour, width, cv2.LINE_AA, SUBPIXEL_BITS)


def _dot(image: Image, at: Any, radius: float, colour: Colour) -> None:
    scale = 2**SUBPIXEL_BITS
    for grown, ink in ((1.2, BLACK), (0.0, colour)):
        size = round((radius + grown) * scale)
        cv2.circle(image, _fixed_point(at), size, ink, cv2.FILLED, cv2.LINE_AA, SUBPIXEL_BITS)


def _draw_axis(view: Image, frame: _Frame, limb: LimbReading) -> None:
    low, high = (np.array(frame.place(point)) for point in limb.axis_px)
    count = max(2, round(math.hypot(*(high - low)) / 36))
    for i in range(0, count, 2):
        _line(
            view,
            low + (high - low) * i / count,
            low + (high - low) * (i + 1) / count,
            WHITE,
            1,
        )


def _draw_mark(view: Image, frame: _Frame, mark: GraduationMark) -> None:
    radius = 3.0 if mark.numbered else 1.2
    for point in (mark.start_px, mark.end_px):
        _dot(view, frame.place(point), radius, SKY)


def _draw_mark_label(view: Image, frame: _Frame, mark: GraduationMark, at: PointPx) -> None:
    place = np.array(frame.place(at))
    ends = [np.array(frame.place(point)) for point in (mark.start_px, mark.end_px)]
    near = min(ends, key=lambda end: float(np.sum((end - place) ** 2)))
    start, stop = _fixed_point(near), _fixed_point(place)
    cv2.line(view, start, stop, SKY, 1, cv2.LINE_AA, SUBPIXEL_BITS)
    dx, dy = place - near
    anchor = 0.5 if abs(dy) > abs(dx) else (0.0 if dx > 0 else 1.0)
    _boxed_text(
        view,
        f"{mark.value:g}",
        (float(place[0]), float(place[1])),
        anchor=anchor,
        size=TEXT_SMALL,
        ink=BLACK,
        back=SKY,
    )


def _draw_level(
    view: Image, frame: _Frame, numbered: _NumberedLevel, direction: NDArray[np.float64]
) -> None:
    """Level across its tube, its 95 % interval, its number on the side without the scale."""
    at = np.array([numbered.level.x_px, numbered.level.y_px])
    half = numbered.limb.width_px / 2
    _draw_interval(view, frame, numbered, direction)
    for sign in (-1.0, 1.0):
        inner, outer = at + sign * 0.9 * half * direction, at + sign * 2.2 * half * direction
        _line(view, frame.place(tuple(inner)), frame.place(tuple(outer)), YELLOW, 2)
    tag = frame.place(tuple(at - 3.0 * half * direction))
    _number_tag(view, numbered.number, tag)


def _number_tag(image: Image, number: int, at: PointPx) -> None:
    _dot(image, at, 0.62 * TEXT, YELLOW)
    text = str(number)
    left = at[0] - _text_width(text, TEXT_SMALL, 700) / 2
    _text(image, text, left, at[1], size=TEXT_SMALL, colour=BLACK, weight=700)


def _draw_interval(
    view: Image, frame: _Frame, numbered: _NumberedLevel, direction: NDArray[np.float64]
) -> None:
    """The 95 % interval as a beam with two flanges, on the axis."""
    ends = [np.array(point) for point in numbered.level.interval_px]
    _line(view, frame.place(tuple(ends[0])), frame.place(tuple(ends[1])), YELLOW, 1)
    reach = 0.3 * numbered.limb.width_px * direction
    for end in ends:
        start, stop = frame.place(tuple(end - reach)), frame.place(tuple(end + reach))
        cv2.line(
            view,
            _fixed_point(start),
            _fixed_point(stop),
            YELLOW,
            1,
            cv2.LINE_AA,
            SUBPIXEL_BITS,
        )


# Enlargements --------------------------------------------------------------------------


def _draw_panel(
    picture: Picture, reading: Reading, levels: Sequence[_NumberedLevel], height: int
) -> Image:
    """Column with one enlargement for each level, in columns if there are many."""
    smallest, largest = INSET_HEIGHTS
    inset_height = min(largest, max(smallest, height // len(levels) - TITLE_HEIGHT - MARGIN))
    insets = [_draw_inset(picture, reading, numbered, inset_height) for numbered in levels]
    in_column = max(1, height // insets[0].shape[0])
    columns = [insets[i : i + in_column] for i in range(0, len(insets), in_column)]
    tallest = max(len(column) for column in columns) * insets[0].shape[0]
    return np.hstack([_pad_to(np.vstack(column), tallest) for column in columns])


def _draw_inset(
    picture: Picture, reading: Reading, numbered: _NumberedLevel, height: int
) -> Image:
    inset = np.full((height + TITLE_HEIGHT + MARGIN, PANEL_WIDTH, 3), DARK, np.uint8)
    _number_tag(inset, numbered.number, (MARGIN, TITLE_HEIGHT / 2))
    title = f"{numbered.limb.limb}  {level_text(numbered.level)}"
    _text(inset, title, 2 * MARGIN, TITLE_HEIGHT / 2, size=TEXT, colour=WHITE, weight=600)
    frame = _frame_inset(reading, numbered, height)
    part = frame.cut(picture.bgr)[:height, : PANEL_WIDTH - MARGIN]
    direction = _level_direction(reading, numbered)
    for mark in _marks_by_distance(reading, numbered.level)[: 6 * INSET_DIVISIONS]:
        ends = [frame.place(point) for point in (mark.start_px, mark.end_px)]
        for end in ends:
            _dot(part, end, 2.5, SKY)
        if mark.numbered:
            # Just above the stroke, where it hides neither the stroke nor the level's line.
            centre_x, centre_y = np.mean(ends, axis=0)
            at = (float(centre_x), float(centre_y) - TEXT_SMALL)
            _boxed_text(
                part, f"{mark.value:g}", at, anchor=0.5, size=TEXT_SMALL, ink=BLACK, back=SKY
            )
    _draw_inset_level(part, frame, numbered, direction)
    note, corner = f"× {frame.zoom:.1f}", (0.0, float(TEXT_SMALL))
    _boxed_text(part, note, corner, anchor=0, size=TEXT_SMALL, ink=WHITE, back=DARK)
    inset[TITLE_HEIGHT : TITLE_HEIGHT + part.shape[0], : part.shape[1]] = part
    return inset


def _draw_inset_level(
    part: Image, frame: _Frame, numbered: _NumberedLevel, direction: NDArray[np.float64]
) -> None:
    at = np.array([numbered.level.x_px, numbered.level.y_px])
    half = numbered.limb.width_px / 2
    _draw_interval(part, frame, numbered, direction)
    for near, far in ((-1.0, -1.6), (1.0, 12.0)):  # on the scale's side right across it
        start = frame.place(tuple(at + near * half * direction))
        end = frame.place(tuple(at + far * half * direction))
        _line(part, start, end, YELLOW, 1)


def _frame_inset(reading: Reading, numbered: _NumberedLevel, box_height: int) -> _Frame:
    """Tube and nearest graduations, with the level in the middle of the height."""
    level, tube = numbered.level, numbered.limb.width_px
    direction = _level_direction(reading, numbered)
    at = np.array([level.x_px, level.y_px])
    reach = 1.5 * tube
    for mark in _marks_by_distance(reading, level)[:4]:
        reach = max(
            reach, *((np.subtract(p, at) @ direction) for p in (mark.start_px, mark.end_px))
        )
    # Both extremes kept in bounds: a tube alone, and a scale far away or wider than a tube.
    reach = min(reach, MOST_REACH_WIDTHS * tube)
    width = 0.8 * tube + 1.15 * reach
    division = _division_px(reading, level)
    height = max(2.0 * tube, 2 * INSET_DIVISIONS * division if division else 0.0)
    box_width = PANEL_WIDTH - MARGIN
    zoom = min(box_width / width, box_height / height)
    width, height = box_width / zoom, box_height / zoom
    middle = at + direction * (reach - 0.8 * tube) / 2
    centre_x = middle[0] if abs(direction[0]) > abs(direction[1]) else at[0]
    centre_y = at[1] if abs(direction[0]) > abs(direction[1]) else middle[1]
    return _Frame(
        left=math.floor(centre_x - width / 2),
        top=math.floor(centre_y - height / 2),
        width=math.ceil(width) + 1,
        height=math.ceil(height) + 1,
        zoom=zoom,
    )


# Banner --------------------------------------------------------------------------------


def _draw_banner(reading: Reading, unit: str, limits: LimitsSpec | None, width: int) -> Image:
    lines = list(_banner_lines(reading, unit, limits, width))
    heights = [round(1.5 * size) for _, size in lines]
    banner = np.full((sum(heights) + MARGIN, width, 3), 0, np.uint8)
    banner[:] = STATUS_COLOUR[reading.status]
    top = MARGIN / 2
    for (text, size), height in zip(lines, heights, strict=True):
        _text(
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
    per_character = max(1.0, _text_width(text, size, 700) / max(1, len(text)))
    for line in wrap(text, max(8, int(room / per_character)), break_on_hyphens=False):
        yield line, size


def _pad_to(image: Image, height: int) -> Image:
    missing = height - image.shape[0]
    return np.asarray(
        cv2.copyMakeBorder(image, 0, missing, 0, 0, cv2.BORDER_CONSTANT, value=DARK), np.uint8
    )
