"""Colours of the fillings of a tube, and how unlike themselves they are."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.quantiles import quantile_of_few
from limbsight.vision.tube_strip import (
    STEP_QUANTILE,
    TubeStrip,
    bore_colours,
    colour_distance,
    window_rows,
)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LEAST_ROWS = 3
"""Of which the median is a filling's colour."""


def filling_of(
    colours: FloatArray, usable: BoolArray, first: int, last: int
) -> FloatArray | None:
    """Median colours of a stretch between a cover and the next interface or cover."""
    rows = np.arange(max(first, 0), min(last, len(colours) - 1) + 1)
    rows = rows[usable[rows]]
    return np.asarray(np.median(colours[rows], axis=0)) if len(rows) >= LEAST_ROWS else None


def difference_across(colours: FloatArray, usable: BoolArray, row: int, margin: int) -> float:
    """How far apart the colours above and below a row are, in most of the bore."""
    above = np.arange(max(row - 2 * margin, 0), max(row - margin // 2, 0))
    below = np.arange(
        min(row + margin // 2, len(colours)), min(row + 2 * margin, len(colours))
    )
    above, below = above[usable[above]], below[usable[below]]
    if min(len(above), len(below)) < LEAST_ROWS:
        return 0.0
    return _apart(colours[above], colours[below])


def change_at(strip: TubeStrip, usable: BoolArray, row: float) -> float:
    """How far apart the fillings next to a row are, whatever hides them there left out; 0
    where one of them is not seen."""
    height, gap = window_rows(strip)
    rows = np.flatnonzero(usable & strip.inside_picture)
    above, below = rows[rows < row - gap][-height:], rows[rows > row + gap][:height]
    if min(len(above), len(below)) < LEAST_ROWS:
        return 0.0
    colours = bore_colours(strip)
    return _apart(colours[above], colours[below])


def _apart(above: FloatArray, below: FloatArray) -> float:
    """By how much the colours of two stretches differ in most of the bore."""
    apart = np.abs(np.median(above, axis=0) - np.median(below, axis=0))
    return float(np.quantile(apart.sum(axis=1), STEP_QUANTILE))


def unlikeness(colours: FloatArray, usable: BoolArray, cuts: tuple[int, ...]) -> float:
    """Sum over rows of the departure from the filling's own median colour."""
    total = 0.0
    edges = [0, *cuts, len(colours)]
    for first, last in pairwise(edges):
        rows = colours[first:last][usable[first:last]]
        if len(rows) == 0:
            continue
        thin = rows[:: max(len(rows) // 200, 1)]
        usual = quantile_of_few(thin, 0.5, axis=0)
        away = colour_distance(thin, usual)
        middle = quantile_of_few(away, 0.5, axis=1)
        total += float(middle.sum()) * len(rows) / len(thin)
    return total


def noise(colours: FloatArray, usable: BoolArray, apart: int) -> float:
    """Part of the unlikeness that is noise: what rows so near to each other differ by."""
    both = usable[apart:] & usable[: len(usable) - apart]
    if apart == 0 or not both.any():
        return 0.0
    away = colour_distance(colours[apart:][both], colours[:-apart][both])
    a_row = quantile_of_few(away, 0.5, axis=1)
    return float(np.median(a_row) / np.sqrt(2.0) * usable.sum())
