"""Where a picture is burnt out, so that its brightness says nothing any more."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

BURNT_OUT = 0.9
"""Linear light of the darkest channel, from 0 to 1, from which a pixel counts: what a phone's
own tone curve and JPEG leave of full scale."""
BURNT_OUT_GREY = 244
"""The same as a grey level of 255 (IEC 61966-2-1)."""
MOSTLY = 0.65
"""Share of a row's pixels: with more burnt out, the row's mean is that of the glare."""


def burnt_rows(
    linear: NDArray[np.float32], rows: tuple[float, float], columns: tuple[float, float]
) -> int:
    """Count the rows of a window that are mostly burnt out.

    Parameters
    ----------
    linear : ndarray, shape (R, C, 3), float32
        Linear light in 0..1.
    rows, columns
        First and last, fractional; cut to the picture.
    """
    part = linear[_places(rows, linear.shape[0]), _places(columns, linear.shape[1])]
    if not part.size:
        return 0
    return int(np.sum((part.min(axis=2) >= BURNT_OUT).mean(axis=1) >= MOSTLY))


def burnt_heights(linear: NDArray[np.float32], rows: tuple[float, float]) -> NDArray[np.int_]:
    """Count the rows in which each column is burnt out, shape (C,).

    Parameters
    ----------
    linear : ndarray, shape (R, C, 3), float32
        Linear light in 0..1.
    rows
        First and last, fractional; cut to the picture.
    """
    part = linear[_places(rows, linear.shape[0])]
    return np.asarray((part.min(axis=2) >= BURNT_OUT).sum(axis=0))


def _places(ends: tuple[float, float], count: int) -> slice:
    first, last = (int(np.clip(np.rint(end), -1, count)) for end in ends)
    return slice(max(first, 0), min(last + 1, count))
