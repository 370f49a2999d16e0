"""Lines cut into short pieces, in upright columns of a board."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.comb import MAX_PITCH_PX, MIN_PITCH_PX
from limbsight.vision.segments import (
    MAX_RESIDUAL_PX,
    MAX_SLOPE,
    Ridges,
    Segments,
    fit_lines,
    ridges_of,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

COLUMN_PX = 12.0
"""Width of a column: the narrowest gaps between tubes that are worth looking into (18 px on
renders of banks) hold a whole one; a piece so short has its height within 0.2 px."""
MIN_PIECE_PX = 6
LEAN_STEP = 0.01
LEAN_STEPS = 5
"""Classes of slopes, and how many together hold the lines of one board: perspective turns
them by 0.05 at most over the part that is seen."""
LONGEST_VOTE_PX = 200.0
"""Longer lines have no more say than this in the common slope: the rim of a board is one."""
MAX_LEAN_DEPARTURE = 0.12
"""How much lines turn over a picture by perspective, and what the slope of a piece errs."""
STEP_BIN = 0.08
"""Width of the classes of steps, in their logarithm; three together span +-12 %."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pieces:
    """Short pieces of lines.

    Attributes
    ----------
    lines : Segments
        N pieces.
    column : ndarray, shape (N,)
        Which upright tile of the board each lies in.
    down : ndarray, shape (N,)
        Distance across the lines' common direction, downward [px].
    part : ndarray, shape (P,)
        For every crest of the ridges, its piece; -1 for none.
    """

    lines: Segments
    column: IntArray
    down: FloatArray
    part: IntArray


def common_lean(segments: Segments) -> float:
    """Return the slope that most of the lines' length has."""
    edges = np.arange(-MAX_SLOPE, MAX_SLOPE + LEAN_STEP, LEAN_STEP)
    weight = np.minimum(segments.length, LONGEST_VOTE_PX)
    counts, _ = np.histogram(segments.slope, edges, weights=weight)
    smooth = np.convolve(counts, np.ones(LEAN_STEPS), mode="same")
    top = edges[int(np.argmax(smooth))] + 0.5 * LEAN_STEP
    near = np.abs(segments.slope - top) < 0.5 * LEAN_STEPS * LEAN_STEP
    return float(np.average(segments.slope[near], weights=weight[near]))


def cut_pieces(ridges: Ridges, across: FloatArray, lean: float) -> Pieces:
    """Cut ridges at the borders of upright columns.

    Parameters
    ----------
    across : ndarray, shape (P,)
        Distance of every crest across the board [px].
    lean
        Common slope of the lines.
    """
    tile = np.floor(across / COLUMN_PX).astype(np.int64)
    first = np.full(ridges.count, np.iinfo(np.int64).max)
    last = np.full(ridges.count, np.iinfo(np.int64).min)
    np.minimum.at(first, ridges.label, tile)
    np.maximum.at(last, ridges.label, tile)
    offset = np.concatenate([[0], np.cumsum(last - first + 1)])
    label = offset[ridges.label] + tile - first[ridges.label]
    count = int(offset[-1])
    cut = ridges_of(ridges.x, ridges.y, ridges.strength, label, count)
    lines, residual = fit_lines(cut, np.zeros(count))
    pixels = np.bincount(label, minlength=count)
    good = (
        (pixels >= MIN_PIECE_PX)
        & (residual < MAX_RESIDUAL_PX)
        & (np.abs(lines.slope - lean) < MAX_LEAN_DEPARTURE)
    )
    number = np.full(count, -1)
    number[good] = np.arange(int(good.sum()))
    column = np.zeros(count, np.int64)
    column[label] = tile
    lines = lines.take(good)
    return Pieces(
        lines=lines,
        column=column[good] - int(tile.min()),
        down=(lines.y - lean * lines.x) / np.hypot(1.0, lean),
        part=number[label],
    )


def even_columns(pieces: Pieces) -> tuple[FloatArray, FloatArray]:
    """For each column, how many steps from piece to piece are alike, and that step [px]."""
    order = np.lexsort((pieces.down, pieces.column))
    down, column = pieces.down[order], pieces.column[order]
    count = int(column[-1]) + 1
    step = np.diff(down)
    usable = (np.diff(column) == 0) & (step > MIN_PITCH_PX) & (step < MAX_PITCH_PX)
    bins = np.floor(np.log(step[usable] / MIN_PITCH_PX) / STEP_BIN).astype(np.int64)
    size = int(np.log(MAX_PITCH_PX / MIN_PITCH_PX) / STEP_BIN) + 3
    table = np.zeros((count, size))
    np.add.at(table, (column[:-1][usable], bins + 1), 1.0)
    near = table[:, :-2] + table[:, 1:-1] + table[:, 2:]
    top = np.argmax(near, axis=1)
    return near.max(axis=1).astype(np.float64), MIN_PITCH_PX * np.exp(STEP_BIN * (top + 0.5))
