"""Whether the face that bears the graduations goes on behind the tubes.

A stick, a rule or a plate of its own ends between its graduations and the tube, or behind the
tube: an edge that runs along the tube, or another colour on the tube's far side. It may also
end above and below its graduations: an edge across them that is not seen beyond the tube, as
that of the board would be. Where nothing of that is seen the graduations are printed on the
board that the tube stands before. Shadows of tubes run along them, too, but they are soft.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.light import to_log_light

OUTLINE_WIDTHS = 0.62
"""From a tube's axis, where its outline and what leans on it surely ends: half its width, and
what the width may be off."""
BESIDE_COLUMNS = 3
"""Compared on either side of the graduations, and of the tube."""
CLEAR_COLUMNS = 2
"""Left out next to the ends of graduations, which blur and print make uneven."""
SHARP_STEP = 0.05
"""Step of light (natural logarithm) across two columns, a fifteenth of a tube's width, that is
an edge: shadows of tubes are softer. From 0.04 to 0.07 the same faces are told, 96 of 112
boards and one of 97 strips (40 traced and 160 drawn photos, 48 of benches; of 160 more 67 of
77 and two of 65)."""
SAME_FACE = 0.125
"""Difference of light (natural logarithm) that shading makes across a column of graduations or
a tube; in one of three colours another face nearly always differs by more. With 0.1 and 0.15
92 and 99 boards of those photos are told and the same strip, with 0.2 three strips."""
END_OVER_BEYOND = 2.0
"""Times that an edge across the graduations is as strong as any beyond the tube, to be that of
a face of their own: of 69 boards three show one so strong (names above the scale), of 47
strips 46, three of which passed for boards (30 traced and 86 drawn photos)."""
LEAST_ROWS = 12
"""Least rows of the stretches in whose medians print and clips drop out."""

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Side:
    """A tube beside a column of graduations, from which ``way`` (+1 or -1) leads to it.

    ``near`` and ``far`` are the ends of the graduations, ``axis`` is that of the tube.
    """

    near: float
    far: float
    axis: float
    way: int


def goes_on_behind(
    bgr: NDArray[np.uint8],
    block_rows: int,
    columns: Sequence[tuple[float, float]],
    axes: Sequence[float],
    width: float,
) -> bool:
    """Say whether the graduated face is seen to go on behind a tube.

    Parameters
    ----------
    bgr : ndarray, shape (R, C, 3), uint8
        The board straightened along its scale: tubes and edges are upright.
    block_rows
        Rows of one numbered step of the scale: medians over it drop print.
    columns
        Left and right end of each column of graduations.
    axes
        Columns of the tubes' axes.
    width
        Outside diameter, columns.

    Returns
    -------
    bool
        False also where the picture does not tell.
    """
    sides = [side for axis in axes for side in _sides(columns, sorted(axes), axis)]
    return any(_is_one_face(bgr, block_rows, side, width) for side in sides)


def ends_with_graduations(
    bgr: NDArray[np.uint8],
    rows: tuple[float, float],
    columns: Sequence[tuple[float, float]],
    axes: Sequence[float],
    width: float,
) -> bool:
    """Say whether the graduated face is seen to end above or below its graduations.

    Parameters
    ----------
    bgr, columns, axes, width
        As of ``goes_on_behind``.
    rows
        The first clear of the graduations above them, the last clear of them below.

    Returns
    -------
    bool
        False also where the picture does not tell.
    """
    above = bgr[: max(math.floor(rows[0]), 0)]
    below = bgr[max(math.ceil(rows[1]), 0) :]
    return any(
        _ends(stretch, column, axes, width) for stretch in (above, below) for column in columns
    )


def _ends(
    stretch: NDArray[np.uint8],
    column: tuple[float, float],
    axes: Sequence[float],
    width: float,
) -> bool:
    """Whether an edge runs across a column's own face, and none beyond the nearest tube."""
    axis = min(axes, key=lambda a: min(abs(a - end) for end in column))
    way = 1 if 2 * axis > sum(column) else -1
    outside = axis + way * OUTLINE_WIDTHS * width
    beyond = sorted((outside, outside + way * BESIDE_COLUMNS))
    own_edge, edge_beyond = _edge_across(stretch, *column), _edge_across(stretch, *beyond)
    return own_edge > max(SHARP_STEP, END_OVER_BEYOND * edge_beyond)


def _edge_across(stretch: NDArray[np.uint8], left: float, right: float) -> float:
    """Greatest step of light from row to row that three in four columns share.

    Figures and names fill fewer. Beyond the picture it is infinite: nothing is seen to end.
    """
    first, last = math.floor(left), math.ceil(right)
    if first < 0 or last >= stretch.shape[1] or len(stretch) < 3:
        return math.inf
    light = to_log_light(stretch[:, first : last + 1])
    steps = np.sort(light[2:] - light[:-2], axis=1)
    quarter = steps.shape[1] // 4
    return float(np.maximum(steps[:, quarter], -steps[:, -1 - quarter]).max())


def _sides(
    columns: Sequence[tuple[float, float]], axes: Sequence[float], axis: float
) -> list[_Side]:
    """Return the graduations beside a tube on whose far side are none.

    Between two sticks a tube hides an edge of each, and both are of one colour. In a bank,
    where graduations may have been missed in a gap, only the outer tubes have a far side.
    """
    found = []
    for way in (1, -1):
        ends = [(left, right) if way < 0 else (right, left) for left, right in columns]
        before = _distance([a for a in axes if a != axis], axis, -way)
        beyond = _distance([a for a in axes if a != axis], axis, way)
        near = [e for e in ends if 0 < (axis - e[0]) * way < before]
        behind = any(0 < (e[1] - axis) * way < beyond for e in ends)
        inner = len(axes) > 2 and np.isfinite(beyond)
        if near and not behind and not inner:
            nearest = min(near, key=lambda e: (axis - e[0]) * way)
            found.append(_Side(near=nearest[0], far=nearest[1], axis=axis, way=way))
    return found


def _distance(axes: Sequence[float], axis: float, way: int) -> float:
    return min(((a - axis) * way for a in axes if (a - axis) * way > 0), default=np.inf)


def _is_one_face(bgr: NDArray[np.uint8], block_rows: int, side: _Side, width: float) -> bool:
    """Whether no edge is seen from beyond the graduations to beyond the tube."""
    outline = OUTLINE_WIDTHS * width
    light = partial(_light, bgr, block_rows, side)
    before = light(side.far, -BESIDE_COLUMNS - CLEAR_COLUMNS, BESIDE_COLUMNS)
    beyond = light(side.axis, outline, BESIDE_COLUMNS)
    if before is None or beyond is None:
        return False
    open_columns = round((side.axis - side.near) * side.way - outline - CLEAR_COLUMNS)
    if open_columns < BESIDE_COLUMNS:
        return _differ(before, beyond) < SAME_FACE
    face = light(side.near, CLEAR_COLUMNS, open_columns)
    if face is None:
        return False
    steps = np.median(face[:, 2:] - face[:, :-2], axis=0)
    return bool(
        np.abs(steps).max() < SHARP_STEP
        and _differ(before, face[:, :BESIDE_COLUMNS]) < SAME_FACE
        and _differ(face[:, -BESIDE_COLUMNS:], beyond) < SAME_FACE
    )


def _light(
    bgr: NDArray[np.uint8], block_rows: int, side: _Side, start: float, away: float, count: int
) -> FloatArray | None:
    """Logarithm of the light of what the print stands on, shape (blocks, ``count``, 3).

    Of columns toward the tube, the first of them ``away`` from ``start``; None where one is
    beyond the picture.
    """
    columns = np.round(start + side.way * (away + np.arange(count))).astype(int)
    if columns.min() < 0 or columns.max() >= bgr.shape[1]:
        return None
    strip = np.ascontiguousarray(bgr[:, columns].transpose(1, 2, 0))
    blocks = np.array_split(strip, max(len(bgr) // max(block_rows, LEAST_ROWS), 1), axis=2)
    middle = np.stack([np.sort(b, axis=2)[:, :, b.shape[2] // 2] for b in blocks])
    return np.asarray(to_log_light(middle), float)


def _differ(one: FloatArray, other: FloatArray) -> float:
    """Greatest difference of two stretches in any colour, the median of all blocks."""
    apart = np.median(one, axis=1) - np.median(other, axis=1)
    return float(np.abs(np.median(apart, axis=0)).max())
