"""Lines that are seen through the tubes, and the scale that is read from those beside them.

Glass and liquid shift and turn what is seen through them. Where they do it all along a tube
the lines are as even as any, and only the place of the tubes tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.calib.lone_column import tells_direction
from limbsight.calib.numbering import NamedScale
from limbsight.find_scale import View
from limbsight.knowledge import Knowledge
from limbsight.read_limb import Limb
from limbsight.vision.comb import Comb
from limbsight.vision.segments import Segments

COVERED_RADII = 1.1
"""From the axis: what is covered of a tube. Its edge is seen by that much farther out than it
is from ten diameters away, and the axis may be a twentieth off."""
BESIDE_RADII = 1.4
"""From the axis: where the colour of the board is taken."""
ENDS_SHARE = 0.3
"""Of a line's length: with less of it before a tube what is seen beside it places it. Of eight
of 900 photos in which too few lines are seen with the tubes covered, and nothing else speaks
against the reading, six have no more than ends of lines there (0.02 to 0.27 of the length at
the median of a column), and right values, as has the seventh."""
COVERED_HEIGHTS = 64
"""Points along a tube at which its edge and the colour are taken: lenses bend it a little."""
COVERED_BEYOND = 0.1
"""Of the scale's length: how far tubes are covered beyond its ends."""


def rests_on_glass(
    limbs: Sequence[Limb], scale: NamedScale, known: Knowledge, share: float = 0.0
) -> bool:
    """Whether lines of a column that the scale map rests on mostly reach into a tube, with
    ``share`` of their length or more; or those that tell a lone column's direction do, and a
    limb is far from it.

    Glass and liquid shift and turn what is seen through them: maps that rested on such lines
    had levels 0.2 to 1.7 mm off at u 0.05 to 0.4 (four of 320 photos).  Lines over a whole
    board run behind the tubes; of them only what passes for seen between the tubes counts,
    and that must not stand in one by its middle.
    """
    tubes = _tubes(limbs, known)
    columns = [(column, comb) for comb in scale.combs for column in comb.straight]
    reaches = [_reach(column.lines, scale, known) for column, _ in columns]
    for reach, (_, comb) in zip(reaches, columns, strict=True):
        middle = reach.mean(axis=0)
        if _mostly_into(tubes, np.stack([middle, middle]) if comb.parts else reach, share):
            return True
    return len(columns) == 1 and _leans_on_glass(columns[0][0], reaches[0], tubes)


def with_tubes_covered(
    view: View, limbs: Sequence[Limb], scale: NamedScale, known: Knowledge
) -> View:
    """Paint the tubes over, in the colours of the board beside them, where the scale is
    looked for: what is left of its lines is not seen through glass."""
    spec, upright, plane = known.instrument.scale, view.upright, scale.map.plane()
    beyond = COVERED_BEYOND * (spec.highest - spec.lowest)
    heights = np.linspace(spec.lowest - beyond, spec.highest + beyond, COVERED_HEIGHTS)

    def along(across: float) -> NDArray[np.int32]:
        x, y = plane.to_pixel(np.full_like(heights, across), heights, _depth(known))
        pixels = np.stack([x, y], axis=1)
        return np.round((pixels + 0.5) / upright.factor - 0.5).astype(np.int32)

    tubes = _tubes(limbs, known)
    painted = upright.bgr.copy()
    for axis in tubes.axes:
        near = [along(axis + side * BESIDE_RADII * tubes.radius) for side in (-1, 1)]
        left, right = (along(axis + side * COVERED_RADII * tubes.radius) for side in (-1, 1))
        board = _colour_at(upright.bgr, np.concatenate(near))
        cv2.fillPoly(painted, [np.concatenate([left, right[::-1]])], board)
    return replace(view, upright=replace(upright, bgr=painted))


def places_on(
    view: View, limbs: Sequence[Limb], scale: NamedScale, known: Knowledge
) -> tuple[float, ...]:
    """Where limbs found by another scale map are across the board of this one."""
    plane = scale.map.plane()

    def across(limb: Limb) -> float:
        axis = round(limb.axis_column)
        x, y = view.turn.from_picture(limb.grid.x_px[:, axis], limb.grid.y_px[:, axis])
        return float(np.median(plane.from_pixel(x, y, _depth(known))[0]))

    return tuple(across(limb) for limb in limbs)


def _colour_at(bgr: NDArray[np.uint8], places: NDArray[np.int32]) -> list[float]:
    """Median colour of the places, (N, 2), that are in the picture."""
    height, width = bgr.shape[:2]
    x, y = np.clip(places, 0, [width - 1, height - 1]).T
    colour: list[float] = np.median(bgr[y, x], axis=0).tolist()
    return colour


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Tubes:
    """Where tubes stand across the board [scale units]."""

    axes: NDArray[np.float64]
    radius: float


def _tubes(limbs: Sequence[Limb], known: Knowledge) -> _Tubes:
    return _Tubes(
        axes=np.array([limb.grid.across_at(limb.axis_column) for limb in limbs]),
        radius=known.tube.outer_radius_m / known.unit_m,
    )


def _depth(known: Knowledge) -> float:
    """How far the axes stand in front of the scale [scale units]."""
    return known.tube.axis_to_scale_m / known.unit_m


def _reach(lines: Segments, scale: NamedScale, known: Knowledge) -> NDArray[np.float64]:
    """How far across the plane of the axes lines are seen to reach, (2, N)."""
    plane, depth = scale.map.plane(), _depth(known)
    ends = [plane.from_pixel(x, lines.y_at(x), depth)[0] for x in (lines.left, lines.right)]
    return np.sort(ends, axis=0)


def _mostly_into(tubes: _Tubes, reach: NDArray[np.float64], share: float = 0.0) -> bool:
    """Whether most lines reach into a tube, with at least ``share`` of their length."""
    low, high = reach[..., None]
    first = np.maximum(low, tubes.axes - tubes.radius)
    into = np.minimum(high, tubes.axes + tubes.radius) - first >= share * (high - low)
    return bool(2 * np.count_nonzero(into.any(axis=1)) > len(into))


def _leans_on_glass(column: Comb, reach: NDArray[np.float64], tubes: _Tubes) -> bool:
    """Whether the lines that tell a column's direction mostly reach into tubes, and a limb is
    farther from them than they are long."""
    telling = reach[:, tells_direction(column)]
    first, last = np.median(telling, axis=1)
    away = np.maximum(first - tubes.axes, tubes.axes - last)
    return _mostly_into(tubes, telling) and bool(away.max() > last - first)
