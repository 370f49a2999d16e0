"""Thick lines that answer by both of their edges, taken for one line each.

A ridge is looked for at one width (`limbsight.vision.segments`). A line much thicker than
that has a ridge along each of its edges, and among thin graduations those break the sequence:
of two columns of 36 lines, every fifth of them thick, one was not found, and a lone column
tells the direction of its lines so much worse that two levels of mercury were 0.7 and 1.1 mm
off at u 0.3 and 0.2.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.sampling import nearest_grey
from limbsight.vision.segments import Segments

FloatArray = NDArray[np.float64]

EDGE_GAP, EDGE_SHARED = 0.5, 0.8
"""Two lines may be the edges of one where they are closer to each other than this share of
what is free on either side of them, as those of a line of a third of a division are, and have
so much of their length in common: geometry."""
PLACES = 9
"""Along a line where its ink is compared with the board: enough for a median."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ink:
    """A picture whose lines are darker than the board, or lighter.

    Attributes
    ----------
    grey : ndarray, shape (H, W), uint8
    dark
        Whether the lines are dark.
    """

    grey: NDArray[np.uint8]
    dark: bool

    def at(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """How much of it there is, larger for more [grey levels]."""
        grey = nearest_grey(self.grey, x, y)
        return -grey if self.dark else grey


def with_edges_joined(lines: Segments, ink: Ink) -> Segments:
    """Take the two edges of a thick line for one line in their middle, others as they are.

    Parameters
    ----------
    lines
        Upward in the picture.
    ink
        Between the edges there is more of it than beyond them; beside a thin line of the other
        ink there is less, and its sides are no line.

    Returns
    -------
    Segments
        ``lines`` themselves where there are no edges among them.
    """
    if len(lines) < 2:
        return lines
    gap = np.abs(np.diff(lines.y) - lines.slope[:-1] * np.diff(lines.x))
    about = np.concatenate([[np.inf], gap, [np.inf]])
    narrow = gap < EDGE_GAP * np.minimum(about[:-2], about[2:])
    left = np.maximum(lines.left[:-1], lines.left[1:])
    right = np.minimum(lines.right[:-1], lines.right[1:])
    longer = np.maximum(lines.length[:-1], lines.length[1:])
    first = np.flatnonzero(narrow & (right - left > EDGE_SHARED * longer))
    whole = _halfway(lines, first)
    inked = _is_inked(whole, left[first], right[first], gap[first], ink)
    first = first[inked]
    if not len(first):
        return lines
    others = np.ones(len(lines), dtype=bool)
    others[first] = others[first + 1] = False
    return _upward(lines.take(others), whole.take(inked))


def _halfway(lines: Segments, first: NDArray[np.intp]) -> Segments:
    """The means of some lines and the next ones."""
    low, high = lines.take(first), lines.take(first + 1)
    return Segments(
        **{f.name: 0.5 * (getattr(low, f.name) + getattr(high, f.name)) for f in fields(lines)}
    )


def _is_inked(
    lines: Segments, left: FloatArray, right: FloatArray, apart: FloatArray, ink: Ink
) -> NDArray[np.bool_]:
    """Whether there is more ink on lines, (N,), than as far beyond their edges as those are
    apart."""
    x = np.linspace(left, right, PLACES + 2)[1:-1]
    y = lines.y_at(x)
    beyond = np.maximum(ink.at(x, y - 1.5 * apart), ink.at(x, y + 1.5 * apart))
    return np.asarray(np.median(ink.at(x, y) - beyond, axis=0) > 0.0)


def _upward(some: Segments, others: Segments) -> Segments:
    """Both, upward in the picture."""
    order = np.argsort(-np.concatenate([some.y, others.y]), kind="stable")
    return Segments(
        **{
            f.name: np.concatenate([getattr(some, f.name), getattr(others, f.name)])[order]
            for f in fields(some)
        }
    )
