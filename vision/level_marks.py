"""Where a level shows on the straightened board: a change that ends at the walls of one tube.

A level is as wide as the bore and stops there on both sides, whatever the liquid. A coloured
liquid makes a lasting step, a clear one hardly more than the thin dark or bright line of its
meniscus; both count, each against what the rest of the board shows of its kind. Edges that go
on across the board (graduations, clips, hands, shadows) cancel against the flanks of the band.
"""

from __future__ import annotations

from functools import partial

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.clipping import BURNT_OUT_GREY
from limbsight.vision.layers import Interface, Layers
from limbsight.vision.level_steps import LINE_BORES
from limbsight.vision.quantiles import least_of, median_of_row, quantile_of_few
from limbsight.vision.reducing import shrunk
from limbsight.vision.tube_strip import (
    BORE_SHARE,
    GAP_BORES,
    STEP_QUANTILE,
    WINDOW_BORES,
    TubeStrip,
    window_rows,
)

FloatArray = NDArray[np.float64]
Picture = NDArray[np.float32]

MARK_COLUMNS = 14.0
"""Columns across a tube to which the board is reduced: two for each group, rows alike, so that
the line of a meniscus, a tenth of a bore or more, still fills a row."""
GROUPS = 5
MAX_BESIDE = 0.7
"""A level throws up to a third of its light on the board beside; what changes the board nearly
as much as the tube goes on across it."""
UNSEEN_WEIGHT = 0.25
"""Weight of a band without a level against a tube with one: a limb whose level is hidden or
beyond the scale must still outdo an empty stretch of board."""
OFTEN = 0.75
"""A tube shows levels, clips and ends of reflections in less than a quarter of its blocks;
numbers show in all."""
SAMPLED_ROWS = 4
FLANK = (0.56, 0.76)
"""The board beside a tube, in widths from its axis."""


def level_evidence(
    bgr: NDArray[np.uint8],
    width_columns: float,
    bore_columns: float,
    line_rows: float,
    block_rows: int,
) -> FloatArray:
    """Return how clearly each column of the board is the axis of a tube that holds a level.

    Parameters
    ----------
    bgr : ndarray, shape (R, C, 3), uint8
        The straightened board, rows and columns alike in scale.
    width_columns, bore_columns
        Outside and inside width of the tubes.
    line_rows
        Distance of neighbouring graduations, which may run behind the tubes.

    Returns
    -------
    ndarray, shape (C,)
        Clearest step and line there, each over the usual size of its kind on this board.
    """
    share = min(1.0, MARK_COLUMNS / width_columns)
    size = (max(round(bgr.shape[1] * share), 1), max(round(bgr.shape[0] * share), 1))
    small = shrunk(bgr, size).astype(np.float32)
    width, bore = share * width_columns, share * bore_columns
    bounded = partial(_bounded, width=width, bore=bore, block_rows=round(share * block_rows))
    by_steps = bounded(_steps(small, bore, share * line_rows))
    by_lines = bounded(_lines(small, max(1, round(LINE_BORES * bore))))
    columns = (np.arange(bgr.shape[1]) + 0.5) * share - 0.5
    return np.asarray(np.interp(columns, np.arange(size[0]), by_steps + by_lines))


def _steps(picture: Picture, bore: float, line_rows: float) -> Picture:
    """Change from a window above to one below each row; ends that lack a window are 0."""
    window = WINDOW_BORES * bore
    # Windows of whole divisions hold as many lines above as below.
    if line_rows < window:
        window = round(window / line_rows) * line_rows
    height, gap = max(round(window), 2), max(round(GAP_BORES * bore), 1)
    means = cv2.blur(picture, (1, height), anchor=(0, 0))
    reach = height + gap
    steps = np.zeros_like(picture)
    if len(picture) > 2 * reach:
        rows = np.arange(reach, len(picture) - reach)
        steps[rows] = means[rows + gap] - means[rows - reach]
    return steps


def _lines(picture: Picture, height: int) -> Picture:
    """How a stretch of so many rows differs from those above and below it."""
    inner = cv2.blur(picture, (1, height), borderType=cv2.BORDER_REPLICATE)
    outer = cv2.blur(picture, (1, 5 * height), borderType=cv2.BORDER_REPLICATE)
    lines: Picture = inner - outer
    lines[: 3 * height] = lines[len(lines) - 3 * height :] = 0.0
    return lines


def _bounded(change: Picture, width: float, bore: float, block_rows: int) -> FloatArray:
    """Greatest change of each column's band that stops at its walls, over the usual one."""
    group = max(round(BORE_SHARE * bore / GROUPS), 1)
    grouped = _size(cv2.blur(change, (group, 1)))
    offsets = np.round(BORE_SHARE * bore * ((np.arange(GROUPS) + 0.5) / GROUPS - 0.5))
    across = [_moved(grouped, int(o)) for o in offsets]
    inside = least_of(across, int(STEP_QUANTILE * (GROUPS - 1) + 0.5))
    flank = max(round((FLANK[1] - FLANK[0]) * width), 1)
    beside = _size(cv2.blur(change, (flank, 1)))
    away = round(0.5 * (FLANK[0] + FLANK[1]) * width)
    beside = np.maximum(_moved(beside, -away), _moved(beside, away))
    bounded = (inside - beside) * (beside < MAX_BESIDE * inside)
    # Sampled: a median needs thousands of values, not a hundred thousand.
    usual = 1.0 + median_of_row(
        np.abs(inside[::SAMPLED_ROWS] - beside[::SAMPLED_ROWS]).ravel()
    )
    blocks = max(len(bounded) // block_rows, 1)
    tallest = np.array([part.max(axis=0) for part in np.array_split(bounded, blocks)])
    most = np.maximum(tallest.max(axis=0), 0.0)
    often = np.maximum(quantile_of_few(tallest, OFTEN, axis=0), 0.0)
    return np.asarray(most / usual * (1.0 - often / np.maximum(most, 1e-6)) ** 2)


def _size(change: Picture) -> Picture:
    """Sum of the three colours' changes, whatever their signs."""
    blue, green, red = (cv2.absdiff(colour, 0.0) for colour in cv2.split(change))
    return np.asarray(blue + green + red)


def _moved(values: NDArray[np.float32], columns: int) -> NDArray[np.float32]:
    """Return the values so many columns to the right of each place; 0 beyond the ends."""
    moved = np.zeros_like(values)
    if columns >= 0:
        moved[:, : values.shape[1] - columns] = values[:, columns:]
    else:
        moved[:, -columns:] = values[:, :columns]
    return moved


def tube_weight(strip: TubeStrip, layers: Layers, count: int) -> float:
    """Weigh by the levels in it whether a band is a tube with so many levels.

    A tube's levels explain how its colour changes, and end at its walls; a band that covers a
    part of a tube, a clip or a number does not. Without all of its levels a band keeps
    ``UNSEEN_WEIGHT``, because a level may be hidden or beyond the scale.
    """
    if len(layers.interfaces) < count or layers.hidden_change is not None:
        return UNSEEN_WEIGHT
    steps = steps_across(strip, layers.interfaces)
    lines = lines_across(strip, layers.interfaces)
    ends = [
        max(map(_share_within, both, [strip] * 2)) for both in zip(steps, lines, strict=False)
    ]
    return (1.5 - layers.unexplained) * (UNSEEN_WEIGHT + min(ends, default=0.0))


def _share_within(change: FloatArray, strip: TubeStrip) -> float:
    """Share of a change across the bore that the board beside the tube lacks, 0 to 1."""
    column = np.arange(len(change)) - 0.5 * (len(change) - 1)
    bore = change[np.abs(column) < 0.5 * BORE_SHARE * strip.bore_columns]
    inside = float(np.quantile(bore, STEP_QUANTILE))
    near, far = (edge * strip.width_columns for edge in FLANK)
    beside = max(
        float(np.median(change[(way * column > near) & (way * column < far)]))
        for way in (-1, 1)
    )
    return max(1.0 - beside / max(inside, 1e-6), 0.0)


def steps_across(strip: TubeStrip, interfaces: tuple[Interface, ...]) -> list[FloatArray]:
    """Return the step of each column's colour across each interface.

    Returns
    -------
    list of ndarray, shape (C,)
        Without those at an end of the strip.
    """
    found = []
    for interface in interfaces:
        above, below = _beside(strip, interface)
        if len(above) and len(below):
            above, below = np.median(above, axis=0), np.median(below, axis=0)
            step = np.abs(above - below).sum(axis=1)
            found.append(_over_glare(step, above, below))
    return found


def lines_across(strip: TubeStrip, interfaces: tuple[Interface, ...]) -> list[FloatArray]:
    """Return the clearest thin line of each column near each interface.

    Returns
    -------
    list of ndarray, shape (C,)
        Without those at an end of the strip.
    """
    height, gap = window_rows(strip)
    thick = max(1, round(LINE_BORES * strip.bore_columns))
    found = []
    for interface in interfaces:
        row, reach = round(interface.row), gap + height // 2
        margin = reach + 3 * thick
        part = strip.bgr[max(row - margin, 0) : row + margin + 1].astype(np.float32)
        if len(part) <= 6 * thick:
            continue
        thin, wide = cv2.blur(part, (1, thick)), cv2.blur(part, (1, 5 * thick))
        line = np.abs(thin - wide).sum(axis=2)[3 * thick : -3 * thick].max(axis=0)
        above, below = _beside(strip, interface)
        if len(above) and len(below):
            line = _over_glare(line, np.median(above, axis=0), np.median(below, axis=0))
        found.append(np.asarray(line, np.float64))
    return found


def _beside(
    strip: TubeStrip, interface: Interface
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """The strip above and below an interface."""
    height, gap = window_rows(strip)
    row = round(interface.row)
    above = strip.bgr[max(row - gap - height, 0) : max(row - gap, 0)]
    return above, strip.bgr[row + gap : row + gap + height]


def _over_glare(change: FloatArray, above: FloatArray, below: FloatArray) -> FloatArray:
    """A change of each column, (C,), carried on over those burnt out above and below, (C, 3).

    They show no change whatever the tube holds, and made its wall of the edge of a streak.
    """
    burnt = np.minimum(above, below).min(axis=1) >= BURNT_OUT_GREY
    if burnt.all():
        return change
    columns = np.arange(len(change))
    return np.asarray(np.interp(columns, columns[~burnt], change[~burnt]))
