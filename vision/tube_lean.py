"""How far tubes lean against the scale beside them.

Walls of a tube and reflections in it come in pairs about its axis, at every height. Where the
axis leans against the columns of the straightened board the places about which they pair move
sideways from stretch to stretch: of all leans that one is taken under which the pairs of all
stretches of all tubes add up best. Print and the edges of boards pair with nothing that moves.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.axis import mirror_score
from limbsight.vision.limbs import block_medians
from limbsight.vision.tube_strip import TubeStrip

FloatArray = NDArray[np.float64]

STEEPEST, LEAN_STEP = 3.5, 0.25
"""Leans that are tried, either way [degrees]: more is seen by whoever hangs the tubes."""
STRETCHES, BLOCKS = 10, 2
"""Stretches of a strip, and blocks of rows in each whose medians drop print."""
REACH_WIDTHS, MIDDLE_WIDTHS, SHIFT_WIDTHS = 0.9, 0.5, 0.03
"""Axes are looked for so far from the strip's, in its middle half as far; and their steps."""
CLEARLY = 1.1
"""How much better pairs must add up than under no lean, and than under any lean a half degree
and more away. Of 48 drawn photos of tubes that lean by 0.5 to 2.5 degrees 37 pass, 33 of them
to 0.3 degrees and one 1.3 off; of 616 photos of tubes that stand two, of graph paper."""
APART_DEG = 0.5
LEAST_DEG = 0.3
"""Leans that are less are within what a hand level leaves of plumb, and move an axis by less
than the width of a tube."""


def lean_of(strips: Sequence[TubeStrip]) -> float:
    """Return the columns by which tubes move to the right for each row up, 0 if not clearly.

    Parameters
    ----------
    strips
        Of tubes that are parallel, each about its axis; at least one. Once those looked at
        clearly stand the others are not asked.
    """
    leans = np.tan(np.radians(np.arange(-STEEPEST, STEEPEST + LEAN_STEP / 2, LEAN_STEP)))
    upright = len(leans) // 2
    paired = np.zeros(len(leans))
    for strip in strips:
        paired += _paired(strip, leans)
        best = int(np.argmax(paired))
        apart = np.abs(np.arange(len(leans)) - best) * LEAN_STEP > APART_DEG
        clear = paired[best] >= CLEARLY * paired[apart].max()
        if clear and best == upright:
            return 0.0
    if not clear or paired[best] < CLEARLY * paired[upright]:
        return 0.0
    if not 0 < best < len(leans) - 1:
        return 0.0
    before, at, after = paired[best - 1 : best + 2]
    shift = 0.5 * (after - before) / max(2 * at - before - after, 1e-9)
    lean = float(leans[best] + shift * (leans[best + 1] - leans[best]))
    return lean if abs(lean) >= np.tan(np.radians(LEAST_DEG)) else 0.0


def _paired(strip: TubeStrip, leans: FloatArray) -> FloatArray:
    """How well a tube's edges pair about the best axis of each lean."""
    width = strip.width_columns
    inside = np.flatnonzero(strip.inside_picture)
    rows = (inside[-1] + 1 - inside[0]) // (STRETCHES * BLOCKS)
    shifts = np.arange(-REACH_WIDTHS, REACH_WIDTHS, SHIFT_WIDTHS) * width
    part = strip.bgr[inside[0] : inside[0] + rows * STRETCHES * BLOCKS]
    blocks = block_medians(part, rows)
    scores = [
        mirror_score(np.diff(stretch, axis=1), shifts, width)
        for stretch in np.split(blocks, STRETCHES)
    ]
    up = (0.5 * (STRETCHES - 1) - np.arange(STRETCHES)) * rows * BLOCKS
    middles = shifts[np.abs(shifts) <= MIDDLE_WIDTHS * width]
    sums = np.zeros((len(leans), len(middles)))
    for score, height in zip(scores, up, strict=True):
        places = middles + leans[:, None] * height
        sums += np.interp(places, shifts, score, left=0.0, right=0.0)
    return np.asarray(sums.max(axis=1))
