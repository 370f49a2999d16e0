"""Where the walls of tubes stand: the edges that mirror about the axis end there.

Inside a tube, wall, bore and fillings make pairs of lateral edges; outside there is board.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.axis import BLOCKS, weaker_of_pairs
from limbsight.vision.limbs import block_medians, changing_edges
from limbsight.vision.tube_strip import TubeStrip

FloatArray = NDArray[np.float64]

STEP_WIDTHS, FLANK_STEPS = 0.01, 7
"""Outside diameters from one distance tried to the next; how many are compared inward and
outward, which is a usual wall."""
NEAREST, FARTHEST = 0.2, 0.9
"""Outside diameters from the axis within which an end of the edges is looked for: beyond lie
shadows, posts and other tubes."""
WALL_PLACES = (0.48, 0.58)
"""Outside diameters from the axis at which the edges end if the width is right: a blur widens
tubes, and so does a diameter that is a little too small."""


def walls_shown(strips: Sequence[TubeStrip]) -> float:
    """How clearly mirrored edges end at the walls, over where they end most clearly.

    Parameters
    ----------
    strips
        Tubes of one width, each about its axis.

    Returns
    -------
    float
        One where walls are the clearest end of all; zero or less where edges grow outward.
    """
    away = np.arange(NEAREST, FARTHEST, STEP_WIDTHS)
    pairs = np.mean([np.log1p(_pairs(strip, away)) for strip in strips], axis=0)
    sums = np.concatenate([[0.0], np.cumsum(pairs)])
    at = np.arange(FLANK_STEPS, len(away) - FLANK_STEPS)
    inward, outward = sums[at] - sums[at - FLANK_STEPS], sums[at + FLANK_STEPS] - sums[at]
    ends = inward - outward
    within = (away[at] >= WALL_PLACES[0]) & (away[at] <= WALL_PLACES[1])
    clearest = float(ends.max())
    return float(ends[within].max()) / clearest if clearest > 0 else 0.0


def _pairs(strip: TubeStrip, away: FloatArray) -> FloatArray:
    """Strength of the weaker edge of each pair so many outside diameters off the axis."""
    blocks = block_medians(strip.bgr, max(len(strip.bgr) // BLOCKS, 8))
    strength = changing_edges(np.diff(blocks, axis=1))
    middle, columns = 0.5 * (len(strength) - 1), away * strip.width_columns
    return weaker_of_pairs(strength, middle - columns, middle + columns)
