"""Whether printed figures are darker than their board, or lighter.

The lines of a scale are printed with the same ink. Gaps between dark lines are light lines
at the same pitch, half a division off; figures have no such doubles.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.numerals import LabelEvidence

SHARES = np.array([0.02, 0.5, 0.98])
"""Of a label's pixels: darkest and lightest but for single ones, and the board between."""
LEAST_LEAD = 3.0
"""Standard errors of the mean over the labels that it must be off none: on 142 photos and
renders 4.5 at least, the sign right on all."""
LEAST_LABELS = 2
BORNE_OUT = 1.0
"""Evidence from which a label is surely figures (`limbsight.vision.numerals`)."""


def figures_are_dark(grey: NDArray[np.uint8], labels: Sequence[LabelEvidence]) -> bool | None:
    """Tell the ink of the figures; None where that leaves room for doubt.

    Ink fills less than half of a label's box, so its median is the board's brightness, and
    the ink is on the side of the farther extreme.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8
    labels
        What was read, with the outlines in ``grey``.
    """
    sides = [_side(grey, label) for label in labels if label.evidence > BORNE_OUT]
    lighter = np.array([side for side in sides if side is not None])
    if len(lighter) < LEAST_LABELS:
        return None
    mean = float(lighter.mean())
    error = float(lighter.std(ddof=1)) / np.sqrt(len(lighter))
    return None if abs(mean) < LEAST_LEAD * error else mean < 0.0


def _side(grey: NDArray[np.uint8], label: LabelEvidence) -> float | None:
    """How much farther the lightest is from the median than the darkest: -1 to 1."""
    low = np.maximum(np.floor(label.box_px.min(axis=0)).astype(int), 0)
    high = np.ceil(label.box_px.max(axis=0)).astype(int) + 1
    box = grey[low[1] : high[1], low[0] : high[0]]
    if box.size == 0:
        return None
    below = np.cumsum(np.bincount(box.ravel(), minlength=256))
    darkest, median, lightest = np.searchsorted(below, box.size * SHARES)
    reach = float(lightest - darkest)
    return float(lightest + darkest - 2 * median) / reach if reach > 0.0 else None
