"""The map of a board on which most of its columns lie as wholes.

What is seen through glass stands off by parts of a division, differently from place to place:
no majority of pieces tells it from the board, but whole columns do.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.board_fit import (
    CELL_ROWS,
    MAX_INDEX,
    MIN_COLUMN_SHARE,
    BoardFit,
    phases_of,
    pitch_px,
)
from limbsight.vision.board_map import KEPT_REGULAR, PRIOR_WEIGHT, BoardMap
from limbsight.vision.board_pieces import Pieces
from limbsight.vision.comb import MIN_GRADUATIONS, PHASE_TOLERANCE

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

REFINEMENTS = 3
CELL_ERROR_PX = 0.12
"""Of the mean of a cell: what print, lens and pixels leave of 16 pieces, seen beside tubes."""
MIN_CELL_SHARE, MIN_HEIGHT_SHARE = 0.6, 0.75
"""Of a column's cells, and of the cells of the tallest column: what must lie on the map for
the column to be beside the tubes; clips, shadows and numerals take the rest."""
MIN_ON_MAP, WITHIN_SCALE = 0.9, (0.02, 0.98)
"""Of the pieces of the columns beside the tubes, between their ends: a map that runs across
the lines has its pieces spread (0.85 seen), a right one 0.93 to 1 (photos and renders)."""
WHOLE_COLUMNS = 6
"""Power of the share of a column's cells that agree: above and below a level two thirds of
the columns behind tubes may agree, which must not outvote the few beside them."""
MIN_APART_COLUMNS, MAX_PAIRS = 4, 300


def refined(pieces: Pieces, fit: BoardFit) -> tuple[BoardFit, float]:
    """Find the map that most columns agree on, and what share of their pieces lies on it.

    A column beside the tubes keeps to the map from end to end. One behind a tube stands off
    in proportion to its distance from the foot of the perpendicular, by another share above
    and below the level. So any two columns beside the tubes give the map, and it is the one
    to which most columns agree.
    """
    design, miss, column = _cell_means(pieces, fit)
    if not len(column) or not fit.used.any():
        return fit, 0.0
    error = CELL_ERROR_PX / pitch_px(pieces.lines.take(fit.used), fit.map)
    change = _consensus(design, miss, column, error)
    beside = np.ones(fit.cells.shape[0], bool)
    prior = np.diag(PRIOR_WEIGHT + KEPT_REGULAR)
    for step in range(2 * REFINEMENTS):
        off = miss - change @ design
        weight = beside[column] / (1.0 + (off / (2 * error)) ** 2) ** 2 / error**2
        target = (design * weight) @ miss - PRIOR_WEIGHT * fit.map.parameters
        change = np.asarray(np.linalg.solve((design * weight) @ design.T + prior, target))
        # First every column has its say, then those on the map.
        if step >= REFINEMENTS - 1:
            near = np.abs(miss - change @ design) < 3 * error
            beside = _columns_beside(near, column, len(beside))
    return _refitted(pieces, fit, fit.map.moved(change), beside[pieces.column], error)


def _columns_beside(near: Mask, column: IntArray, columns: int) -> Mask:
    """Which columns lie on the map with most of their cells, from end to end."""
    height = np.bincount(column, near, minlength=columns)
    share = height / np.maximum(np.bincount(column, minlength=columns), 1)
    return np.asarray((share >= MIN_CELL_SHARE) & (height >= MIN_HEIGHT_SHARE * height.max()))


def _refitted(
    pieces: Pieces, fit: BoardFit, board: BoardMap, beside: Mask, error: float
) -> tuple[BoardFit, float]:
    """Fit the map to all pieces of the columns beside the tubes; what share lies on it.

    Parameters
    ----------
    beside : ndarray, shape (N,)
        Pieces of those columns.
    error
        Least deviation that is borne [divisions].
    """
    lines, index, used = pieces.lines, fit.index, fit.used
    # Cells end where the scale does not: their neighbours up and down come in.
    low, high = index[used].min() - CELL_ROWS, index[used].max() + CELL_ROWS
    for _ in range(REFINEMENTS):
        index, phase = phases_of(lines, board)
        inside = beside & (index > low) & (index < high) & (np.abs(phase) < PHASE_TOLERANCE)
        if inside.sum() < MIN_GRADUATIONS:
            return replace(fit, used=inside, index=index), 0.0
        spread = max(1.4826 * float(np.median(np.abs(phase[inside]))), 0.5 * error)
        used = inside & (np.abs(phase) < 4 * spread)
        board = board.fitted(lines.x[used], lines.y[used], index[used] * 1.0, 2 * spread)
    low, high = np.quantile(index[used], WITHIN_SCALE)
    share = float(np.mean(used[beside & (index >= low) & (index <= high)]))
    return BoardFit(map=board, cells=fit.cells, used=used, index=index), share


def _cell_means(pieces: Pieces, fit: BoardFit) -> tuple[FloatArray, FloatArray, IntArray]:
    """Mean design, shape (6, cells), mean of what the map misses, and column of each cell."""
    blocks = fit.cells.shape[1]
    block = (fit.index + MAX_INDEX) // CELL_ROWS
    taking = fit.cells[pieces.column, block]
    name, cell = np.unique((pieces.column * blocks + block)[taking], return_inverse=True)
    value, design = fit.map.design(pieces.lines.x[taking], pieces.lines.y[taking])
    # Behind glass lines are off by up to half a division: means on the circle.
    turn = np.exp(2j * np.pi * (fit.index[taking] - value))
    turned = np.bincount(cell, turn.real) + 1j * np.bincount(cell, turn.imag)
    mean = np.stack([np.bincount(cell, part) for part in design]) / np.bincount(cell)
    return mean, np.angle(turned) / (2 * np.pi), name // blocks


def _consensus(
    design: FloatArray, miss: FloatArray, column: IntArray, error: float
) -> FloatArray:
    """Change of the map, from two columns each, to which most cells agree."""
    names, of_cell = np.unique(column, return_inverse=True)
    normal = np.zeros((len(names), 6, 6))
    target = np.zeros((len(names), 6))
    np.add.at(normal, of_cell, np.einsum("ic,jc->cij", design, design))
    np.add.at(target, of_cell, (design * miss).T)
    height = np.bincount(of_cell)
    tall = np.flatnonzero(height >= MIN_COLUMN_SHARE * height.max())
    one, other = np.triu_indices(len(tall), 1)
    apart = names[tall[other]] - names[tall[one]]
    far = apart >= min(MIN_APART_COLUMNS, apart.max(initial=0))
    one, other = tall[one[far]], tall[other[far]]
    step = max(1, len(one) // MAX_PAIRS)
    one, other = one[::step], other[::step]
    if not len(one):
        return np.zeros(6)
    ridge = np.diag(PRIOR_WEIGHT) * error**2 + 1e-12 * np.eye(6)
    change = np.linalg.solve(
        normal[one] + normal[other] + ridge, (target[one] + target[other])[..., None]
    )[..., 0]
    agree = np.exp(-0.5 * ((miss - change @ design) / error) ** 2)
    # Columns from end to end: above and below a level, a part of many columns agrees.
    share = (
        np.add.reduceat(agree, np.flatnonzero(np.diff(of_cell, prepend=-1)), axis=1) / height
    )
    agree = (share**WHOLE_COLUMNS * height).sum(axis=1)
    return np.asarray(change[int(np.argmax(agree))])
