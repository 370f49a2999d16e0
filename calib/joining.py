"""Columns of graduations joined beside each other before their numbers are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from limbsight.calib.camera import Frame
from limbsight.calib.scale_fit import fit_scale_map
from limbsight.calib.scale_map import ScaleMap
from limbsight.vision.comb import Comb

MIN_JOIN_LEAD = 6.9
"""Log-odds of a column's place beside the others over the next division: ln 1000."""
MISFIT_ERRORS = 3.0
"""Standard errors off the nearest whole division from which on a column fits no place and is
not joined: one in 370 normal errors (usual limit, no source). No other division is tried."""
LEAST_JOIN_ERROR = 0.05
"""Standard uncertainty of a column's place beside a map at least [divisions]: print."""


def join_columns(combs: tuple[Comb, ...], frame: Frame) -> tuple[tuple[Comb, ...], ScaleMap]:
    """Return the columns whose place beside each other is sure, and the map of their indices.

    Each map tells the slope of the lines better than a column alone, so farther columns can
    be joined to it.
    """
    sure = tuple(
        comb
        for comb in combs
        if comb is combs[0] or _lead(comb.index_offset, comb.index_error) >= MIN_JOIN_LEAD
    )
    left = [comb for comb in combs if comb not in sure]
    by_index = _map_of(sure, frame)
    while left:
        placed = [_placed(comb, by_index) for comb in left]
        found = tuple(comb for comb in placed if comb is not None)
        if not found:
            break
        left = [comb for comb, new in zip(left, placed, strict=True) if new is None]
        sure += found
        by_index = _map_of(sure, frame)
    return sure, by_index


def _map_of(combs: tuple[Comb, ...], frame: Frame) -> ScaleMap:
    parts = tuple(part for comb in combs for part in comb.straight)
    return fit_scale_map(parts, tuple(p.index.astype(float) for p in parts), frame)


def _placed(comb: Comb, by_index: ScaleMap) -> Comb | None:
    """Give a column its index by the map, or None where that leaves room for doubt."""
    x, y = comb.lines.x, comb.lines.y
    behind = float(np.median(by_index.value_at(x, y) - comb.index))
    by_each = by_index.sensitivity(float(np.median(x)), float(np.median(y)))
    error = float(np.hypot(np.sqrt(by_each @ by_index.covariance @ by_each), LEAST_JOIN_ERROR))
    shift = round(behind)
    if _lead(behind - shift, error) < MIN_JOIN_LEAD:
        return None
    return replace(
        comb, index=comb.index + shift, index_offset=behind - shift, index_error=error
    )


def _lead(offset: float, error: float) -> float:
    """Log-odds of a place over the next one, a division away; none if it fits neither."""
    if abs(offset) > MISFIT_ERRORS * error:
        return 0.0
    return 0.5 * (1 - 2 * abs(offset)) / max(error, 1e-9) ** 2
