"""Where things are in the photo: levels, the scale beside them, and its numbers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.records import GraduationMark, LevelReading, LimbReading, PointPx, Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberedLevel:
    number: int
    limb: LimbReading
    level: LevelReading


def number_levels(reading: Reading) -> list[NumberedLevel]:
    """Levels numbered limb by limb, each limb from the top down, as the eye goes."""
    pairs = [(limb, level) for limb in reading.limbs for level in reversed(limb.levels)]
    return [
        NumberedLevel(number=i, limb=limb, level=level)
        for i, (limb, level) in enumerate(pairs, start=1)
    ]


def _unit(vector: NDArray[np.float64]) -> NDArray[np.float64]:
    length = math.hypot(*vector)
    return vector / length if length else np.array([0.0, -1.0])


def axis_direction(reading: Reading) -> NDArray[np.float64]:
    """Unit vector up the tubes; straight up where no tube was found."""
    for limb in reading.limbs:
        low, high = np.asarray(limb.axis_px, dtype=float)
        return _unit(high - low)
    return np.array([0.0, -1.0])


def middle_of(mark: GraduationMark) -> NDArray[np.float64]:
    """Of a graduation."""
    middle: NDArray[np.float64] = np.mean([mark.start_px, mark.end_px], axis=0)
    return middle


def place_labels(reading: Reading) -> list[tuple[GraduationMark, PointPx]]:
    """Numbered graduations and where, outside everything found, their number goes.

    Scales left of the middle get theirs on the left, all others on the right, so that
    printed numeral and label stand in one row and neither hides the other.
    """
    numbered = [mark for mark in reading.graduations if mark.numbered]
    if not numbered:
        return []
    up = axis_direction(reading)
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
        middle = middle_of(mark)
        offset = middle @ across
        on_left = len(reading.limbs) > 1 and offset < centre - 0.1 * span
        goal = offsets.min() - reach if on_left else offsets.max() + reach
        x, y = middle + (goal - offset) * across
        labels.append((mark, (float(x), float(y))))
    return labels


def level_direction(reading: Reading, numbered: NumberedLevel) -> NDArray[np.float64]:
    """Unit vector along the graduations near a level, from its tube towards the scale."""
    at = np.array([numbered.level.x_px, numbered.level.y_px])
    marks = marks_by_distance(reading, numbered.level)
    low, high = np.asarray(numbered.limb.axis_px, dtype=float)
    up = _unit(high - low)
    across = np.array([-up[1], up[0]])
    if not marks:
        return across
    nearest = marks[0]
    along = _unit(np.subtract(nearest.end_px, nearest.start_px))
    if abs(along @ across) < 0.5:  # not a stroke across the tube: a point, or nonsense
        along = across
    return along if (middle_of(nearest) - at) @ along > 0 else -along


def marks_by_distance(reading: Reading, level: LevelReading) -> list[GraduationMark]:
    """Graduations, the nearest to a level first."""
    at = np.array([level.x_px, level.y_px])
    return sorted(
        reading.graduations, key=lambda mark: float(np.sum((middle_of(mark) - at) ** 2))
    )


def division_px(reading: Reading, level: LevelReading) -> float | None:
    """Distance between neighbouring graduations near a level, along the tube."""
    near = marks_by_distance(reading, level)[:8]
    along = sorted({float(middle_of(mark) @ axis_direction(reading)) for mark in near})
    return float(np.median(np.diff(along))) if len(along) > 2 else None
