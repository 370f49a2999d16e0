"""The regular sequence among the lines that end on one spine.

It grows from a walk: a projective fit of place against index collects every graduation on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.comb import (
    MAX_PITCH_PX,
    MIN_FILLING,
    MIN_GRADUATIONS,
    MIN_PITCH_PX,
    PHASE_TOLERANCE,
    Comb,
    Side,
)
from limbsight.vision.projective_fit import fit_projective, index_at, position_at
from limbsight.vision.quantiles import median_of_row
from limbsight.vision.segments import Segments
from limbsight.vision.spine_curve import end_tolerance, off_spine
from limbsight.vision.thick_lines import Ink, with_edges_joined
from limbsight.vision.walk import walk

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

REGULAR, HAND_DRAWN, FILLED = 0.6, 0.9, 0.9
"""Scatter of lines about even steps, of what random lines within the tolerance would have; and
that of lines so many of which are there that they can't be random (of 24 places with an even
chance 22 are met once in 50 000 times): drawn by hand, they scatter by a tenth of a division
(`paper_scale`, generator)."""
SPARSE = 0.3
"""Half of ``MIN_FILLING``: a stretch at either end that is emptier is left off, unless as full
a one follows it."""
MAX_GROWTH_STEPS = 25
"""Each step lets a comb grow by 30 %: 25 steps are a factor of 700."""
MIN_RUN = 5
"""An end of a comb counts once this many of the next indices are mostly filled."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Ends:
    """Lines that end on one spine, upward in the picture.

    Attributes
    ----------
    x, y : ndarray, shape (N,)
        Of the ends [px].
    """

    lines: Segments
    x: FloatArray
    y: FloatArray


def comb_on(
    segments: Segments, members: IntArray, side: Side, ink: Ink | None = None
) -> Comb | None:
    """Find the regular sequence among the lines that end on one spine.

    With the picture to ask it is looked for among the lines as they are, and with the edges of
    thick ones taken together (`limbsight.vision.thick_lines`): the longer sequence counts, or
    else the evener.

    Parameters
    ----------
    segments, members
        The lines, and which of them end there.
    side
        On which side they do.
    ink
        The picture, and whether its lines are dark.
    """
    lines = segments.take(members[np.argsort(-segments.y[members])])
    whole = lines if ink is None else with_edges_joined(lines, ink)
    tried = (lines,) if whole is lines else (lines, whole)
    combs = [comb for comb in (_comb_of(each, side) for each in tried) if comb is not None]
    return max(combs, key=lambda c: (len(c.index), -c.residual_px), default=None)


def _comb_of(lines: Segments, side: Side) -> Comb | None:
    """Find the regular sequence among lines, upward in the picture, that end on one side."""
    x = lines.left if side == "left" else lines.right
    ends = _Ends(lines=lines, x=x, y=lines.y_at(x))
    seed = walk(ends.y)
    grown = None if seed is None else _grown(ends, *seed)
    if grown is None:
        return None
    index, chosen = grown
    dense = _densest(index)
    index, chosen = index[dense], chosen[dense]
    if len(index) < MIN_GRADUATIONS:
        return None
    coefficients = fit_projective(index, ends.y[chosen])
    if coefficients is None:
        return None
    residual = ends.y[chosen] - position_at(coefficients, index)
    comb = Comb(
        side=side,
        index=index,
        lines=lines.take(chosen),
        residual_px=1.4826 * median_of_row(np.abs(residual)),
    )
    return comb if _is_regular(comb) else None


def _grown(ends: _Ends, index: IntArray, chosen: IntArray) -> tuple[IntArray, IntArray] | None:
    """Fit and collect in turn until no more lines are found, then once by narrower limits."""
    settled = False
    for _ in range(MAX_GROWTH_STEPS):
        coefficients = fit_projective(index, ends.y[chosen])
        if coefficients is None:
            return None
        before = len(index)
        index, chosen = _collected(ends, index, chosen, coefficients, settled=settled)
        if len(index) < MIN_GRADUATIONS:
            return None
        keep = _trim_ends(index)
        index, chosen = index[keep], chosen[keep]
        if len(index) < MIN_GRADUATIONS:
            return None
        if settled:
            break
        settled = len(index) <= before
    return index, chosen


def _collected(
    ends: _Ends, index: IntArray, chosen: IntArray, coefficients: FloatArray, *, settled: bool
) -> tuple[IntArray, IntArray]:
    """Indices and lines that are where a fit expects them, a little beyond its ends too."""
    everywhere = index_at(coefficients, ends.y)
    nearest = np.round(everywhere).astype(np.int64)
    miss = np.abs(everywhere - nearest)
    spread = 1.4826 * median_of_row(miss[chosen])
    tight = min(PHASE_TOLERANCE, max(5 * spread, 0.05))
    inside = (nearest >= index[0]) & (nearest <= index[-1])
    reach = np.ceil(0.3 * (index[-1] - index[0]))
    near = (nearest >= index[0] - reach) & (nearest <= index[-1] + reach)
    good = near & (miss < np.where(inside, tight, PHASE_TOLERANCE))
    if settled:
        off = np.abs(off_spine(ends.y, ends.x, chosen))
        good &= (off < end_tolerance(ends.y, ends.x, chosen)) & (miss < tight)
    return _one_each(ends.lines, good, nearest, miss)


def _is_regular(comb: Comb) -> bool:
    """Whether lines are as many and as even as chance does not make them."""
    pitch = comb.pitch_px
    # Lines spread at random within the tolerance would scatter by pitch/(4 sqrt 3).
    by_chance = pitch * PHASE_TOLERANCE / np.sqrt(3.0)
    surely = comb.filling >= FILLED and len(comb.index) >= 2 * MIN_GRADUATIONS
    irregular = comb.residual_px > (HAND_DRAWN if surely else REGULAR) * by_chance
    return not (
        comb.filling < MIN_FILLING or irregular or not MIN_PITCH_PX <= pitch <= MAX_PITCH_PX
    )


def _one_each(
    lines: Segments, good: NDArray[np.bool_], nearest: IntArray, miss: FloatArray
) -> tuple[IntArray, IntArray]:
    """Indices, and the line of each: the longest, then the closest."""
    rows = np.flatnonzero(good)
    order = rows[np.lexsort((miss[rows], -lines.length[rows], nearest[rows]))]
    index, first = np.unique(nearest[order], return_index=True)
    return index.astype(np.int64), order[first].astype(np.int64)


def _trim_ends(index: IntArray) -> NDArray[np.bool_]:
    """Drop stray lines beyond a gap at either end."""
    present = np.zeros(int(index[-1] - index[0]) + 1, bool)
    present[index - index[0]] = True
    kernel = np.ones(MIN_RUN)
    ahead = np.convolve(present, kernel)[MIN_RUN - 1 :][: len(present)]
    behind = np.convolve(present, kernel)[: len(present)]
    enough = MIN_RUN - 2
    low = int(np.flatnonzero(present & (ahead >= enough))[0]) if (ahead >= enough).any() else 0
    ends = np.flatnonzero(present & (behind >= enough))
    high = int(ends[-1]) if len(ends) else -1
    position = index - index[0]
    return np.asarray((position >= low) & (position <= high))


def _densest(index: IntArray) -> slice:
    """The stretch that has most lines beyond those of ``SPARSE`` filling.

    A pattern that the scale stands on goes on in step with it, now and then. While a column
    grows a gap must stop it (`_trim_ends`): by this rule alone other columns were found in 50
    of 112 searches, by that alone in eleven.
    """
    # Sums from the first line up to each: before it is counted, and with it.
    lines = np.arange(len(index))
    before = lines - SPARSE * (index - index[0])
    lowest = np.minimum.accumulate(before)
    last = int(np.argmax(before + 1.0 - SPARSE - lowest))
    return slice(int(np.argmin(before[: last + 1])), last + 1)
