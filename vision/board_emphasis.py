"""How much each line of a board stands out from its neighbours."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from limbsight.vision.segments import ImageArray, Segments

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

INK_SAMPLES = 9
"""Heights over one division at which the print is sampled."""
TREND_ROWS = 21
"""Lines over which the surroundings are taken for steady: two numbered steps of ten."""
END_ERROR_PX = 1.5
"""Ends of lines are found within 2 px."""
STANDING_OUT = (-4.0, 8.0)
"""Bounds of what one line can say, in standard deviations: a line with a clip over it must
not outweigh the rest."""


def emphasis(
    ink: FloatArray, left_ends: list[FloatArray], right_ends: list[FloatArray]
) -> FloatArray:
    """Return how much each line stands out from its neighbours, in standard deviations.

    Numbered lines may be darker or thicker, or reach farther at the ends of the board or at
    the gaps between tubes; what two of these say adds up.

    Parameters
    ----------
    ink : ndarray, shape (columns, lines)
        From ``ink_of``, for each column of pieces; not a number where there is none.
    left_ends, right_ends : list of ndarray, shape (lines,)
        How far the lines reach to either side in each gap between tubes [px]; not a number
        where that is not seen.
    """
    darker = np.stack([_departure(values) for values in ink])
    # Numerals touch a few pieces of a line: the median passes them over.
    darker = np.nanmedian(np.vstack([darker, np.zeros(ink.shape[1])]), axis=0)
    left = [np.nan_to_num(_departure(end)) for end in left_ends]
    right = [np.nan_to_num(_departure(end)) for end in right_ends]
    total = _standing_out(darker, 0.0)
    total += _standing_out(left[0], END_ERROR_PX) + _standing_out(right[-1], END_ERROR_PX)
    if len(left) > 1:
        inner = np.mean([*left[1:], *right[:-1]], axis=0)
        total += _standing_out(inner, END_ERROR_PX)
    return _standing_out(total, 0.0)


def _departure(values: FloatArray) -> FloatArray:
    """Difference from the median of the neighbours; not a number where nothing is known."""
    seen = np.flatnonzero(np.isfinite(values))
    away = np.full(len(values), np.nan)
    away[seen] = values[seen] - median_filter(values[seen], size=TREND_ROWS, mode="nearest")
    return away


def ink_of(grey: ImageArray, lines: Segments, pitch_px: float) -> FloatArray:
    """Return contrast of lines times their thickness, from the mean over one division.

    The crest of a thick line is lower than that of a thin one, and of a blurred one, too;
    what it takes away from the light of its division is not.
    """
    parts = np.linspace(-0.5, 0.5, INK_SAMPLES)
    y = lines.y[:, None] + parts[None, :] * pitch_px
    x = np.broadcast_to(lines.x[:, None], y.shape)
    found = cv2.remap(
        grey,
        x.astype(np.float32),
        y.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float64)
    middle = found[:, INK_SAMPLES // 2]
    between = 0.5 * (found[:, 0] + found[:, -1])
    return np.asarray(np.sign(np.median(between - middle)) * (between - found.mean(axis=1)))


def _standing_out(away: FloatArray, error: float) -> FloatArray:
    """In robust standard deviations, not less than ``error``, bounded."""
    spread = max(1.4826 * float(np.median(np.abs(away))), 0.1 * float(away.std()), error, 1e-9)
    return np.asarray(np.clip(away / spread, *STANDING_OUT))
