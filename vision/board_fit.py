"""A map of a board and the cells of pieces that bear it out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.board_map import BoardMap
from limbsight.vision.segments import Segments

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

CELL_ROWS = 16
"""Indices of a cell: chance hardly fills MIN_CELL_FILLING of as many."""
MIN_CELL_FILLING = 0.6
MAX_CELL_SCATTER = 0.12
"""Standard deviation of the pieces of a cell about its mean [divisions]; by chance 0.144, a
uniform spread over +-PHASE_TOLERANCE."""
MAX_INDEX = 1024
"""Lines up and down from the seed that are kept apart: longer scales are not read."""
MIN_COLUMN_SHARE = 0.5
"""Of the cells of the tallest column, for a column to count."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoardFit:
    """A map and what bears it out.

    Attributes
    ----------
    cells : ndarray, shape (columns, blocks), bool
        Cells whose pieces lie on whole numbers.
    used : ndarray, shape (N,), bool
        Pieces that the map rests on.
    index : ndarray, shape (N,)
        Nearest whole number of each piece.
    """

    map: BoardMap
    cells: Mask
    used: Mask
    index: IntArray


def phases_of(lines: Segments, board: BoardMap) -> tuple[IntArray, FloatArray]:
    """Nearest whole index of lines, and what they are off."""
    value = np.clip(board.index_at(lines.x, lines.y), 1 - MAX_INDEX, MAX_INDEX - 1)
    index = np.rint(value).astype(np.int64)
    return index, value - index


def pitch_px(lines: Segments, board: BoardMap) -> float:
    """Median distance of neighbouring lines [px]."""
    return 1.0 / float(np.median(np.abs(board.per_px(lines.x, lines.y))))
