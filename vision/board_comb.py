"""The lines of a board put together from their pieces, whole and between the tubes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.board_emphasis import emphasis, ink_of
from limbsight.vision.board_fit import MIN_COLUMN_SHARE, BoardFit, pitch_px
from limbsight.vision.board_map import BoardMap
from limbsight.vision.board_pieces import COLUMN_PX, MIN_PIECE_PX, Pieces
from limbsight.vision.comb import MIN_GRADUATIONS, Comb
from limbsight.vision.comb_growth import MIN_RUN
from limbsight.vision.segments import (
    END_TRIM_PX,
    MAX_RESIDUAL_PX,
    ImageArray,
    Ridges,
    Segments,
    fit_lines,
    ridges_of,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

MIN_LINE_SHARE = 0.2
"""Of the usual number of columns, for a line to be one: numerals and clips cover half of
them, strays come in less than a tenth (renders and photos of banks)."""
MAX_REACH_COLUMNS = 4
"""Lines that go on for longer than this (48 px) from the last column go on behind a tube."""
BAND_COLUMNS = 10
"""Width of a part: over 120 px a lens of 4 % distortion bends a line by 0.06 px."""


def comb_of(grey: ImageArray, ridges: Ridges, pieces: Pieces, fit: BoardFit) -> Comb | None:
    """Put the pieces of each line together."""
    low, high = _ends(fit.index[fit.used], pieces.column[fit.used])
    rows = high - low + 1
    if rows < MIN_GRADUATIONS:
        return None
    used = fit.used & (fit.index >= low) & (fit.index <= high)
    count = np.bincount(pieces.column[used], minlength=fit.cells.shape[0])
    columns = np.flatnonzero(count >= MIN_COLUMN_SHARE * count.max())
    used &= np.isin(pieces.column, columns)
    gaps = np.split(columns, np.flatnonzero(np.diff(columns) > 1) + 1)
    bands = [
        part for gap in gaps for part in np.array_split(gap, -(-len(gap) // BAND_COLUMNS))
    ]
    band_of = np.zeros(len(count), np.int64)
    for number, band in enumerate(bands):
        band_of[band] = number
    row = np.where(used, fit.index - low, -1)
    label = np.where(used, band_of[pieces.column] * rows + row, -1)
    parts = _merged(ridges, pieces, label, len(bands) * rows, MAX_RESIDUAL_PX)
    combs = [
        _as_comb(parts, low, np.arange(k * rows, (k + 1) * rows), fit.map)
        for k in range(len(bands))
    ]
    # A lens bends the whole lines; only their order and their ends are used.
    whole = _as_comb(_merged(ridges, pieces, row, rows, np.inf), low, np.arange(rows), fit.map)
    if len(whole.index) < MIN_GRADUATIONS:
        return None
    standing = _emphasis(grey, ridges, pieces, replace(fit, used=used), gaps, row)
    return replace(
        whole,
        overhang=standing[whole.index - low],
        parts=tuple(comb for comb in combs if len(comb.index) > 1),
    )


def _emphasis(
    grey: ImageArray,
    ridges: Ridges,
    pieces: Pieces,
    fit: BoardFit,
    gaps: list[IntArray],
    row: IntArray,
) -> FloatArray:
    """How much each line stands out, shape (rows,)."""
    used, column = fit.used, pieces.column
    rows = int(row.max()) + 1
    ink = np.full((fit.cells.shape[0], rows), np.nan)
    ink[column[used], row[used]] = ink_of(
        grey, pieces.lines.take(used), pitch_px(pieces.lines.take(used), fit.map)
    )
    component = np.zeros(len(pieces.lines), np.int64)
    known = pieces.part >= 0
    component[pieces.part[known]] = ridges.label[known]

    def ends(way: int, at: np.int64) -> FloatArray:
        """How far lines reach to the left (-1) or right of a column; unknown behind tubes."""
        here = np.flatnonzero(used & (column == at))
        places = (ridges.left if way < 0 else ridges.right)[component[here]]
        short = np.abs(places - pieces.lines.x[here]) < MAX_REACH_COLUMNS * COLUMN_PX
        found = np.full(rows, np.nan)
        found[row[here[short]]] = way * places[short]
        return found

    return emphasis(
        ink[np.isfinite(ink).any(axis=1)],
        [ends(-1, gap[0]) for gap in gaps],
        [ends(+1, gap[-1]) for gap in gaps],
    )


def _ends(index: IntArray, column: IntArray) -> tuple[int, int]:
    """First and last index that is seen in a fair share of the columns."""
    first = int(index.min())
    pairs = np.unique(np.stack([index - first, column]), axis=1)
    seen = np.bincount(pairs[0])
    present = seen >= MIN_LINE_SHARE * np.median(seen)
    kernel = np.ones(MIN_RUN)
    ahead = np.convolve(present, kernel)[MIN_RUN - 1 :][: len(present)]
    behind = np.convolve(present, kernel)[: len(present)]
    low = np.flatnonzero(present & (ahead >= MIN_RUN - 1))
    high = np.flatnonzero(present & (behind >= MIN_RUN - 1))
    if not len(low) or not len(high):
        return 0, 0
    return first + int(low[0]), first + int(high[-1])


def _merged(
    ridges: Ridges, pieces: Pieces, label: IntArray, count: int, most_px: float
) -> tuple[Segments, Mask]:
    """Fit one line to all crests of the pieces of one label, and tell which lines are good."""
    known = pieces.part >= 0
    of_crest = np.full(len(pieces.part), -1)
    of_crest[known] = label[pieces.part[known]]
    trim = np.minimum(END_TRIM_PX, (ridges.right - ridges.left + 1) / 4)
    start, end = ridges.left + trim, ridges.right - trim
    clear = (ridges.x >= start[ridges.label]) & (ridges.x <= end[ridges.label])
    keep = (of_crest >= 0) & clear
    merged = ridges_of(
        ridges.x[keep], ridges.y[keep], ridges.strength[keep], of_crest[keep], count
    )
    lines, residual = fit_lines(merged, np.zeros(count))
    enough = np.bincount(of_crest[keep], minlength=count) >= MIN_PIECE_PX
    return lines, np.asarray(enough & (residual < most_px))


def _as_comb(
    merged: tuple[Segments, Mask], low: int, labels: IntArray, board: BoardMap
) -> Comb:
    """Make a comb of the good lines among labels that follow each other from ``low``."""
    every, good = merged
    row = np.flatnonzero(good[labels])
    lines = every.take(labels[row])
    index = row + low
    miss_px = (board.index_at(lines.x, lines.y) - index) / board.per_px(lines.x, lines.y)
    scatter = 1.4826 * float(np.median(np.abs(miss_px))) if len(row) else 0.0
    return Comb(side="left", index=index, lines=lines, residual_px=scatter)
