"""Columns beside each other that count the same graduations."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.comb import MIN_GRADUATIONS, PHASE_TOLERANCE, Comb
from limbsight.vision.quantiles import median_of_row
from limbsight.vision.segments import Segments

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SLOPE_ERROR = 0.01
"""Systematic error of the slope of short lines: a third of a pixel of motion blur left over
a third of the shortest lines (17 px), as seen on motion-blurred scales."""
LEAST_JOINT_ERROR = 0.1
"""Of a division, by which print may be off from column to column."""
GHOST_SCATTER = 2.0
GHOST_LENGTH = 0.6
GHOST_WEIGHT = 0.3
MAX_TURN = 0.1
"""Lines bent by a tube's wall scatter two to eight times as much as the print beside it and
show over the width of the wall only. MAX_TURN [rad]: what the slopes along a scale may miss
of its perspective (sample photos)."""


def join_combs(combs: tuple[Comb, ...]) -> tuple[tuple[Comb, ...], ...]:
    """Group combs that count the same graduations and give each group one index.

    Two columns belong together when the lines of one, carried on straight, keep step with the
    lines of the other over their common range. How many divisions apart they are follows from
    the slope of the lines; where that leaves room for doubt, ``index_error`` says so.
    The group with most graduations comes first.
    """
    groups: list[list[Comb]] = []
    for comb in combs:
        for group in groups:
            step = _step_between(group[0], comb)
            if step is not None:
                shift = round(step[0])
                group.append(
                    replace(
                        comb,
                        index=comb.index + shift,
                        index_offset=step[0] - shift,
                        index_error=step[1],
                    )
                )
                break
        else:
            groups.append([comb])
    solid = [_without_ghosts(group) for group in groups]
    solid.sort(key=lambda g: sum(len(c.index) for c in g), reverse=True)
    return tuple(solid)


def _weight(comb: Comb) -> float:
    """How much print a column shows: its lines times their strength."""
    return len(comb.index) * median_of_row(comb.lines.strength)


def _without_ghosts(group: list[Comb]) -> tuple[Comb, ...]:
    """Drop columns seen through the wall of a tube: bent, and shorter than the print."""
    fullest = max(group, key=_weight)
    usual = median_of_row(fullest.lines.length)
    return tuple(
        comb
        for comb in group
        if comb is fullest
        or (
            comb.residual_px <= max(GHOST_SCATTER * fullest.residual_px, 0.15)
            and median_of_row(comb.lines.length) >= GHOST_LENGTH * usual
            and _weight(comb) >= GHOST_WEIGHT * _weight(fullest)
        )
    )


def _carried(lines: Segments, x: float) -> FloatArray:
    """y of every line at ``x``, by slopes smoothed along the scale [px]."""
    slope = np.polyval(np.polyfit(lines.y, lines.slope, 1), lines.y)
    return np.asarray(lines.y + slope * (x - lines.x))


def _step_between(one: Comb, other: Comb) -> tuple[float, float] | None:
    """Return how much the other's index is behind, fractional, and its standard error."""
    x_other = median_of_row(other.lines.x)
    # Both are carried to one upright line: in a turned picture the columns lean.
    y_there, y_own = _carried(one.lines, x_other), _carried(other.lines, x_other)
    # np.interp would hold the end values outside the range: compare the common part only.
    common = (y_own >= y_there.min()) & (y_own <= y_there.max())
    if common.sum() < MIN_GRADUATIONS:
        return None
    order = np.argsort(y_there)
    y = y_own[common]
    expected = np.interp(y, y_there[order], one.index[order].astype(float))
    behind = expected - other.index[common]
    # Perspective turns the lines steadily along the scale; slopes of lines miss part of it.
    middle = float(np.mean(y))
    trend = np.polyfit(y - middle, behind, 2)
    scatter = 1.4826 * median_of_row(np.abs(behind - np.polyval(trend, y - middle)))
    error = joint_error(one, other)
    turn = abs(trend[1]) * float(np.ptp(y)) / (1 + error / SLOPE_ERROR)
    in_step = scatter < PHASE_TOLERANCE and turn < MAX_TURN
    return (median_of_row(behind), max(error, LEAST_JOINT_ERROR)) if in_step else None


def joint_error(one: Comb, other: Comb) -> float:
    """Divisions by which lines carried from one column to another may miss, by their slope."""
    apart_px = np.abs(median_of_row(other.lines.x) - one.lines.x)
    return SLOPE_ERROR * median_of_row(apart_px) / one.pitch_px
