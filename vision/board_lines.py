"""Graduations that run over a whole board, with tubes, clips and numerals in front of them.

Tubes cut such lines to pieces whose ends say nothing, and bend what is seen through them. But
all pieces beside the tubes obey one map from place to index,

    v = (a x + b y + c) / (g x + h y + 1)

with radial distortion, because the board is flat and its lines are parallel and evenly spaced.
So lines are cut into short pieces; a column of pieces that follow each other evenly is the
seed; and the map grows from it over the board, cell by cell, as long as the pieces of a cell
lie on whole numbers. What is seen through glass stands off by parts of a division, differently
from place to place, and is left out by its neighbours' majority.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.board_comb import comb_of
from limbsight.vision.board_fit import (
    CELL_ROWS,
    MAX_CELL_SCATTER,
    MAX_INDEX,
    MIN_CELL_FILLING,
    BoardFit,
    phases_of,
    pitch_px,
)
from limbsight.vision.board_growth import SEEDS, best_fit
from limbsight.vision.board_pieces import (
    COLUMN_PX,
    Pieces,
    common_lean,
    cut_pieces,
    even_columns,
)
from limbsight.vision.board_refinement import MIN_ON_MAP, refined
from limbsight.vision.comb import MIN_GRADUATIONS, Comb
from limbsight.vision.segments import ImageArray, Ridges, Segments

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

MIN_WIDTH = 18.0
"""Divisions over which lines must be even: ticks beside tubes are 3 to 12 divisions long."""


def find_board(grey: ImageArray, ridges: Ridges, segments: Segments) -> Comb | None:
    """Find lines over a whole board.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8
    ridges, segments
        Found in it, of one polarity; the segments tell the common direction.

    Returns
    -------
    Comb or None
        The whole lines, with ``parts``: what is seen of them between the tubes. None where
        no lines are even over a width of MIN_WIDTH divisions.
    """
    if len(segments) < MIN_GRADUATIONS:
        return None
    lean = common_lean(segments)
    pieces = cut_pieces(ridges, ridges.x + lean * ridges.y, lean)
    if not len(pieces.lines):
        return None
    even, step = even_columns(pieces)
    best = np.argsort(-even)[:SEEDS]
    usual = float(np.median(step[best]))
    alike = (even >= 0.5 * even[best[0]]) & (np.abs(np.log(step / usual)) < 0.2)
    if even[best[0]] < MIN_GRADUATIONS or alike.sum() * COLUMN_PX < MIN_WIDTH * usual:
        return None
    fit = best_fit(pieces, best, lean, (grey.shape[1], grey.shape[0]))
    if fit is None:
        return None
    pieces, fit = _recut(ridges, pieces, fit, lean)
    fit, share = refined(pieces, fit)
    return comb_of(grey, ridges, pieces, fit) if share >= MIN_ON_MAP else None


def board_width(board: Comb) -> float:
    """Width of what is seen between the tubes, in divisions."""
    width = sum(float(np.median(part.lines.length)) for part in board.parts)
    return width / board.pitch_px


def _recut(
    ridges: Ridges, pieces: Pieces, fit: BoardFit, lean: float
) -> tuple[Pieces, BoardFit]:
    """Cut the lines anew, into columns that follow the perspective as tubes do."""
    across = fit.map.across(ridges.x, ridges.y)
    # Part -1, no piece, takes the last place.
    used = np.append(fit.used, False)[pieces.part]
    low, high = across[used].min(), across[used].max()
    top, bottom = ridges.y[used].min(), ridges.y[used].max()
    slack = CELL_ROWS * pitch_px(pieces.lines.take(fit.used), fit.map)
    near = (np.abs(across - 0.5 * (low + high)) < 0.5 * (high - low) + 2 * COLUMN_PX) & (
        np.abs(ridges.y - 0.5 * (top + bottom)) < 0.5 * (bottom - top) + slack
    )
    # Crests elsewhere go to one column in which nothing is looked for.
    again = cut_pieces(ridges, np.where(near, across - low + 3 * COLUMN_PX, 0.0), lean)
    index, phase = phases_of(again.lines, fit.map)
    block = (index + MAX_INDEX) // CELL_ROWS
    cells = _even_cells(again.column, block, phase, fit.cells.shape[1])
    cells[0] = False
    cells &= fit.cells.any(axis=0)
    taken = cells[again.column, block]
    return again, BoardFit(map=fit.map, cells=cells, used=taken, index=index)


def _even_cells(column: IntArray, block: IntArray, phase: FloatArray, blocks: int) -> Mask:
    """Which cells hold lines of one phase, whatever it is.

    A map that grew over tubes may miss the board beside them by more than it misses what is
    seen through them.
    """
    shape = (int(column.max()) + 1, blocks)
    cell = column * blocks + block
    turn = np.exp(2j * np.pi * phase)

    def total(weights: FloatArray | None = None) -> FloatArray:
        counts = np.bincount(cell, weights, minlength=shape[0] * shape[1])
        return counts.astype(np.float64).reshape(shape)

    n = total()
    together = np.hypot(total(turn.real), total(turn.imag))
    # Resultant of a normal spread on the circle.
    least = np.exp(-0.5 * (2 * np.pi * MAX_CELL_SCATTER) ** 2)
    return np.asarray((n >= MIN_CELL_FILLING * CELL_ROWS) & (together >= least * n))
