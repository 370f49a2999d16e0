"""Medians and quantiles over a few values at each of many places.

NumPy selects within every group by itself, which costs more than the selection where groups
are small and many; here whole layers are compared at once.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Real = TypeVar("Real", np.float32, np.float64)

FEW_LAYERS = 16
"""So many are put in order faster, by their squared number, than counted bit by bit (thousands
of places each)."""
_BITS = (128, 64, 32, 16, 8, 4, 2, 1)


def median_of_bytes(values: NDArray[np.uint8], axis: int) -> FloatArray:
    """Return the median along an axis, as ``numpy.median`` does."""
    layers = np.moveaxis(values, axis, 0)
    shape, count = layers.shape[1:], len(layers)
    flat = np.ascontiguousarray(layers).reshape(count, -1)
    low, high = (count - 1) // 2, count // 2
    if count <= FEW_LAYERS:
        least = _least(list(flat), high + 1)
        below, above = least[low], least[high]
    else:
        below = above = _least_bytes(flat, low)
        if low != high:
            above = _least_bytes(flat, high)
    median: FloatArray = 0.5 * (below.astype(np.float64) + above)
    return median.reshape(shape)


def _least_bytes(layers: NDArray[np.uint8], k: int) -> NDArray[np.uint8]:
    """Return the k-th least of (N, P) over the first axis, 0 being the least, bit by bit.

    It is the largest number below which there are k layers at most.
    """
    counts = np.uint8 if len(layers) < 256 else np.uint32
    found = np.zeros(layers.shape[1], np.uint8)
    for bit in _BITS:
        trial = found | np.uint8(bit)
        below = (layers < trial).view(np.uint8).sum(axis=0, dtype=counts)
        found = np.where(below <= k, trial, found)
    return found


def least_of(layers: list[NDArray[Real]], k: int) -> NDArray[Real]:
    """Return the k-th least over layers of one shape, 0 being the least."""
    return _least(layers, k + 1)[k]


def _least(layers: list[NDArray[Any]], count: int) -> list[NDArray[Any]]:
    """Return the least ``count`` values over layers at each place, in order."""
    kept: list[NDArray[Any]] = []
    for layer in layers:
        rest = layer
        for i, least in enumerate(kept):
            kept[i], rest = np.minimum(least, rest), np.maximum(least, rest)
        if len(kept) < count:
            kept.append(rest)
    return kept


def median_of_row(values: NDArray[Real]) -> float:
    """Return the median of a single row, as ``numpy.median`` does; sorting is faster."""
    ranked = np.sort(values)
    return float(0.5 * (ranked[(len(ranked) - 1) // 2] + ranked[len(ranked) // 2]))


def quantile_of_few(values: FloatArray, share: float, axis: int) -> FloatArray:
    """Return a quantile along an axis, as ``numpy.quantile`` does."""
    ranked = np.sort(values, axis=axis)
    place = share * (values.shape[axis] - 1)
    low = min(int(place), values.shape[axis] - 2)
    below, above = ranked.take(low, axis), ranked.take(low + 1, axis)
    return np.asarray(below + (place - low) * (above - below))


def running_median(values: FloatArray, size: int) -> FloatArray:
    """Return the median over ``size`` (odd) rows about each row of (R, ...); ends repeat."""
    half = size // 2
    padded = np.pad(values, ((half, half), *[(0, 0)] * (values.ndim - 1)), mode="edge")
    return least_of([padded[i : i + len(values)] for i in range(size)], half)
