"""A walk along a spine, from one graduation to the next."""

from __future__ import annotations

from bisect import bisect_left
from collections import deque
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.comb import (
    MAX_PITCH_PX,
    MIN_FILLING,
    MIN_GRADUATIONS,
    MIN_PITCH_PX,
    PHASE_TOLERANCE,
)
from limbsight.vision.quantiles import median_of_row

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WALK_WINDOW = 16
"""A walk stops where fewer than MIN_FILLING of this many steps met a line."""
WALK_TOLERANCE_PX = 1.2
"""Error of one prediction where glass bends the lines (0.3 px), and a share of the step's
own error, four times over."""


def walk(y: FloatArray) -> tuple[IntArray, IntArray] | None:
    """Walk up a spine from its most regular stretch, one graduation after another.

    Parameters
    ----------
    y : ndarray, shape (N,)
        Positions, descending (upward in the picture).

    Returns
    -------
    index, chosen
        Consecutive numbers and the rows they belong to, or None.
    """
    if len(y) < MIN_GRADUATIONS:
        return None
    steps = -np.diff(y)
    usable = steps[(steps > MIN_PITCH_PX) & (steps < MAX_PITCH_PX)]
    if len(usable) < MIN_GRADUATIONS // 2:
        return None
    logs = np.log(usable)
    # The commonest step: the middle of the fullest window of +-12 %.
    ranked = np.sort(logs)
    counts = ranked.searchsorted(logs + 0.12) - ranked.searchsorted(logs - 0.12, "right")
    usual = np.abs(logs - logs[int(np.argmax(counts))]) < 0.12
    pitch = float(np.exp(median_of_row(logs[usual])))
    regular = np.abs(steps / pitch - 1) < 0.2
    run = np.convolve(regular.astype(float), np.ones(2 * WALK_WINDOW), mode="same")
    start = int(np.argmax(run))
    order = np.argsort(y)
    ascending = y[order].tolist()
    begin = int(np.flatnonzero(order == start)[0])
    up = _walk_one_way(ascending, begin, pitch, +1)
    down = _walk_one_way(ascending, begin, pitch, -1)
    pairs = sorted({(index, int(order[place])) for index, place in (*up, *down)})
    index = np.array([p[0] for p in pairs], np.int64)
    chosen = np.array([p[1] for p in pairs], np.int64)
    if len(index) < MIN_GRADUATIONS:
        return None
    return index, chosen


def _walk_one_way(
    ascending: list[float], start: int, pitch: float, way: Literal[1, -1]
) -> list[tuple[int, int]]:
    found = [(0, start)]
    position, index, step = ascending[start], 0, pitch
    misses = 0
    recent = deque([True] * WALK_WINDOW, maxlen=WALK_WINDOW)
    hits = WALK_WINDOW
    while misses < WALK_WINDOW and hits >= MIN_FILLING * WALK_WINDOW:
        expected = position - way * step * (misses + 1)
        near = _nearest(ascending, expected)
        # The error of a prediction grows with the distance it is carried.
        tolerance = WALK_TOLERANCE_PX + 0.02 * step * (misses + 1)
        hit = abs(ascending[near] - expected) < min(tolerance, PHASE_TOLERANCE * step)
        hits += hit - recent[0]
        recent.append(hit)
        if hit:
            index += way * (misses + 1)
            seen = abs(ascending[near] - position) / (misses + 1)
            step = 0.85 * step + 0.15 * seen
            position = ascending[near]
            found.append((index, near))
            misses = 0
        else:
            misses += 1
    return found


def _nearest(ascending: list[float], value: float) -> int:
    after = min(bisect_left(ascending, value), len(ascending) - 1)
    before = max(after - 1, 0)
    return before if value - ascending[before] < ascending[after] - value else after
