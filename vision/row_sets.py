"""Sets of rows: made larger, made smaller, and the stretches they are made of."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


def dilate(rows: BoolArray, reach: int) -> BoolArray:
    """Add the rows within ``reach``."""
    return np.convolve(rows, np.ones(2 * reach + 1), mode="same") > 0.5


def erode(rows: BoolArray, reach: int) -> BoolArray:
    """Leave off the rows within ``reach`` of others."""
    return ~dilate(~rows, reach)


def runs_of(rows: BoolArray) -> list[tuple[int, int]]:
    """First and last row of each stretch."""
    change = np.flatnonzero(np.diff(np.concatenate([[False], rows, [False]]).astype(int)))
    return [(int(a), int(b) - 1) for a, b in zip(change[::2], change[1::2], strict=True)]
