"""Grey levels of places in a picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def nearest_grey(grey: NDArray[np.uint8], x: FloatArray, y: FloatArray) -> FloatArray:
    """Return the grey levels of the pixels nearest to places, of their shape.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8
    x, y : ndarray
        Of the same shape [px]; places beyond an edge have the level of that edge.
    """
    height, width = grey.shape
    columns = np.clip(np.round(x).astype(int), 0, width - 1)
    rows = np.clip(np.round(y).astype(int), 0, height - 1)
    return np.asarray(grey[rows, columns], np.float64)
