"""One tube as an upright strip of the straightened picture, and the colours of its bore."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BORE_COLUMNS = 7
"""Groups of columns across the bore; enough for a third of them to be outvoted."""
BORE_SHARE = 0.84
"""Part of the bore's width that is used: the rims carry refraction of the wall."""
STEP_QUANTILE = 0.35
"""A step must show in all but a third of the bore."""
WINDOW_BORES = 0.8
GAP_BORES = 0.35
"""A meniscus is up to 0.7 bore high (contact angle 0, narrow tube): windows leave it out."""
MIN_WINDOW_ROWS = 6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TubeStrip:
    """One tube, rectified.

    Attributes
    ----------
    bgr : ndarray, shape (R, C, 3), uint8
        Axis in the middle column.
    bore_columns, width_columns
        Inside and outside width of the tube in columns.
    inside_picture : ndarray, shape (R,), bool
        Rows that lie within the picture over the whole width of the tube.
    lined
        Whether graduations run behind the tube (taken out of ``bgr`` where it shows them).
    """

    bgr: NDArray[np.uint8]
    bore_columns: float
    width_columns: float
    inside_picture: BoolArray
    lined: bool = False


def bore_colours(strip: TubeStrip) -> FloatArray:
    """Mean colour of each group of columns across the bore, shape (R, BORE_COLUMNS, 3)."""
    middle = strip.bgr.shape[1] / 2
    half = 0.5 * BORE_SHARE * strip.bore_columns
    edges = np.linspace(middle - half, middle + half, BORE_COLUMNS + 1).astype(int)
    first = edges[0]
    columns = np.ascontiguousarray(strip.bgr[:, first : edges[-1] + 1].swapaxes(0, 1))
    groups = [columns[a : max(b, a + 1)].mean(axis=0) for a, b in pairwise(edges - first)]
    return np.stack(groups, axis=1)


def colour_distance(one: FloatArray, other: FloatArray) -> FloatArray:
    """Sum over the three colours, which come last, of what two pictures differ."""
    apart = np.abs(one - other)
    return np.asarray(apart[..., 0] + apart[..., 1] + apart[..., 2])


def window_rows(strip: TubeStrip) -> tuple[int, int]:
    """Return the height of the windows that are compared and the gap about the interface."""
    height = max(MIN_WINDOW_ROWS, int(WINDOW_BORES * strip.bore_columns))
    return height, int(GAP_BORES * strip.bore_columns)
