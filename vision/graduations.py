"""Graduated scales: columns of graduations found among the lines of a picture.

What makes a column (`limbsight.vision.comb`) is what is searched for: first lines of ends by a
Hough vote, then along each line a walk from one graduation to the next, then a projective fit
of position against index that collects every graduation on it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.comb import GROWN, MIN_GRADUATIONS, SHORT_QUANTILE, Comb
from limbsight.vision.comb_growth import comb_on
from limbsight.vision.quantiles import quantile_of_few
from limbsight.vision.segments import Segments
from limbsight.vision.spine_votes import SpineVotes
from limbsight.vision.thick_lines import Ink

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MAX_COMBS = 8
MAX_SPINES = 24
MAX_BARREN = 5
"""Lines of ends tried at most, and tried in vain in a row once something was found: of 287
columns on 98 sample photos and renders, those found after more had a quarter of the fullest's
graduations at most, too few to count beside it."""


def find_combs(segments: Segments, ink: Ink | None = None) -> tuple[Comb, ...]:
    """Find columns of graduations among segments.

    Parameters
    ----------
    segments
        Candidate lines of one polarity.
    ink
        The picture that they were found in, to tell the edges of thick lines.

    Returns
    -------
    tuple of Comb
        Best first (most graduations); columns of one scale are separate combs with
        unrelated indices. Empty when there is no scale.
    """
    if len(segments) < MIN_GRADUATIONS:
        return ()
    combs: list[Comb] = []
    votes = SpineVotes(segments)
    barren = 0
    for _ in range(MAX_SPINES):
        if len(combs) == MAX_COMBS or votes.count < MIN_GRADUATIONS:
            break
        if combs and barren == MAX_BARREN:
            break
        spine = votes.best()
        if spine is None:
            break
        side, members, voters = spine
        comb = comb_on(segments, members, side, ink)
        used = np.zeros(len(segments), bool)
        used[voters] = True
        if comb is None:
            barren += 1
            long = used & _are_long(segments, voters)
            votes.withdraw(used & ~long)
            votes.withdraw(long, side)
        else:
            barren = 0
            combs.append(comb)
            used[members] = True
            votes.withdraw(used | _inside(segments, comb))
    return tuple(sorted(combs, key=lambda c: len(c.index), reverse=True))


def _are_long(segments: Segments, of: IntArray) -> NDArray[np.bool_]:
    """Which segments are longer than the short ones of some that end on one line.

    Where too few of the short lines are seen the long ones, which end apart from them on the
    other side, may be a column of their own.
    """
    short = quantile_of_few(segments.length[of], SHORT_QUANTILE, axis=0)
    return np.asarray(segments.length > GROWN * short)


def _inside(segments: Segments, comb: Comb) -> NDArray[np.bool_]:
    """Which segments overlap the area of a comb, so that it is not found twice."""
    lines = comb.lines
    order = np.argsort(lines.y)
    left = np.interp(segments.y, lines.y[order], lines.left[order])
    right = np.interp(segments.y, lines.y[order], lines.right[order])
    overlap = np.minimum(segments.right, right) - np.maximum(segments.left, left)
    within = (segments.y > lines.y.min() - 2) & (segments.y < lines.y.max() + 2)
    return np.asarray(within & (overlap > 0.5 * np.minimum(segments.length, right - left)))
