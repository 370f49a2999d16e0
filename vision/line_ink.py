"""How much ink graduation lines are drawn with.

The filter that finds lines hardly tells one of two pixels from one of three: thicker lines
look as strong, or weaker. What they take from the light all across themselves tells.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.comb import Comb
from limbsight.vision.working import enlarged, sample_between

FloatArray = NDArray[np.float64]

PLACES = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
"""Where lines are looked at, in their lengths from the left: ends may touch tubes or figures.
The median of the places counts."""
ACROSS, STEPS = 0.35, 9
"""How far the line is followed up and down, in divisions, and in how many steps: half-way to
the next ones is the ground that it is compared with."""
CLIPPED = (0.02, 0.98)
"""Quantiles beyond which something else is on the line."""


def with_ink(
    grey: NDArray[np.uint8], factor: float, combs: tuple[Comb, ...]
) -> tuple[Comb, ...]:
    """Give the lines of columns their ink for their strength.

    Parameters
    ----------
    grey : ndarray, shape (h, w), uint8
        Picture to look in, ``factor`` times smaller than the full one.
    combs
        Columns of graduations in pixels of the full picture.

    Returns
    -------
    tuple of Comb
        ``lines.strength`` in grey levels times pixels of ``grey``, negative where light.
    """
    return tuple(_with_ink(grey, factor, comb) for comb in combs)


def _with_ink(grey: NDArray[np.uint8], factor: float, comb: Comb) -> Comb:
    small = enlarged(comb, 1 / factor)
    lines, half = small.lines, 0.5 * small.pitch_px
    off = np.linspace(-ACROSS, ACROSS, STEPS) * small.pitch_px

    def ink_at(part: float) -> FloatArray:
        x = lines.left + part * (lines.right - lines.left)
        y = lines.y + lines.slope * (x - lines.x)
        ground = 0.5 * (sample_between(grey, x, y - half) + sample_between(grey, x, y + half))
        seen = np.mean([sample_between(grey, x, y + d) for d in off], axis=0)
        return np.asarray((ground - seen) * np.ptp(off))

    ink = np.median([ink_at(part) for part in PLACES], axis=0)
    ink = np.clip(ink, *np.quantile(ink, CLIPPED))
    return replace(comb, lines=replace(comb.lines, strength=ink))
