"""How a level slants across a tube that lies: the surface wants to be level, the glass not."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

BAND_RADII = 0.5
"""Half of the width looked at, in bore radii: nearer to the wall the surface turns up."""
REACH_BORES = 1.2
"""Rows looked at above and below, in bores: a meniscus and its slant."""
SMOOTH_ROWS = 7
"""Rows of the smoothing: three standard deviations of one row either way."""
STEEPEST, SLOPE_STEPS = 1.5, 61
"""A level surface seen in a tube at 34 degrees; narrow tubes, or flat ones, show less."""


def level_slope(
    strip: NDArray[np.float32], axis: float, row: float, bore_columns: float
) -> float:
    """Return rows per column by which a level falls to the right.

    The slope along which the columns add up to the sharpest picture.

    Parameters
    ----------
    strip : ndarray, shape (R, C, 3)
        Straightened tube.
    axis
        Column of its axis.
    row
        Rough row of the level.
    bore_columns
        Columns across the bore.
    """
    reach = REACH_BORES * bore_columns
    top, bottom = max(int(row - reach), 0), min(int(row + reach) + 1, len(strip))
    # Shears by whole rows would keep more noise than others, and look sharper for it.
    part = np.asarray(
        cv2.GaussianBlur(strip[top:bottom], (1, SMOOTH_ROWS), sigmaX=0.1, sigmaY=1.0)
    )
    half = max(BAND_RADII * 0.5 * bore_columns, 1.0)
    band = slice(int(np.ceil(axis - half)), int(np.floor(axis + half)) + 1)
    # The same rows for every slope: those that no shear takes beyond the part.
    margin = int(np.ceil(STEEPEST * half)) + 1
    slopes = np.linspace(-STEEPEST, STEEPEST, SLOPE_STEPS)
    sharpness = []
    for slope in slopes:
        mean = levelled(part, axis, float(slope))[margin:-margin, band].mean(axis=1)
        sharpness.append(float((np.diff(mean, axis=0) ** 2).sum()))
    return float(slopes[int(np.argmax(sharpness))])


def levelled(strip: NDArray[np.float32], axis: float, slope: float) -> NDArray[np.float32]:
    """Shift every column so that what slants about the axis lies level.

    Parameters
    ----------
    strip : ndarray, shape (R, C, 3)
    slope
        Rows per column, falling to the right.
    """
    matrix = np.array([[1.0, 0.0, 0.0], [slope, 1.0, -slope * axis]])
    rows, columns = strip.shape[:2]
    sheared = cv2.warpAffine(
        strip,
        matrix,
        (columns, rows),
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(sheared, np.float32)
