"""The map of a board, grown from one even column of pieces.

It grows cell by cell, as long as the pieces of a cell lie on whole numbers.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter

from limbsight.vision.board_fit import (
    CELL_ROWS,
    MAX_CELL_SCATTER,
    MAX_INDEX,
    MIN_CELL_FILLING,
    BoardFit,
    phases_of,
)
from limbsight.vision.board_map import BoardMap
from limbsight.vision.board_pieces import Pieces
from limbsight.vision.comb import MIN_GRADUATIONS, PHASE_TOLERANCE
from limbsight.vision.walk import walk

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

SEEDS, ENOUGH_SHARE = 4, 0.6
"""Columns that a map is grown from, until one takes up this share of all pieces: a wrong map
takes up a quarter (PHASE_TOLERANCE both ways, and empty cells)."""
SEED_ARM_PX = 36.0
"""How far to both sides a seed is carried along the common slope of the lines: as far as it
holds the map until the neighbouring columns do."""
GROWTH_STEPS = 40
GROWTH_SHARES = (3, 4)
"""A map is trusted a third of its width and a fourth of its height beyond its cells."""
MAX_STUCK = 3
"""Where nothing follows, the next columns are looked at beyond a tube: two more a step."""
SOFT_PHASE = 0.1
"""Deviation [divisions] at which a piece counts half while the map grows."""


def best_fit(
    pieces: Pieces, columns: IntArray, lean: float, size_px: tuple[int, int]
) -> BoardFit | None:
    """Grow from several columns; the map that takes up most pieces."""
    best: BoardFit | None = None
    count = int(pieces.column.max()) + 1
    for column in columns.tolist():
        seed = _seed_map(pieces, column, lean, size_px)
        if seed is None:
            continue
        fit = _grow(pieces, *seed, column, count)
        if best is None or fit.used.sum() > best.used.sum():
            best = fit
        if best.used.sum() > ENOUGH_SHARE * len(pieces.lines):
            break
    return best if best is not None and best.used.sum() >= MIN_GRADUATIONS else None


def _seed_map(
    pieces: Pieces, column: int, lean: float, size_px: tuple[int, int]
) -> tuple[BoardMap, IntArray] | None:
    """Map of one column of pieces: even steps down it, the common lean across."""
    rows = np.flatnonzero(pieces.column == column)
    rows = rows[np.argsort(-pieces.lines.y[rows])]
    walked = walk(pieces.down[rows])
    if walked is None:
        return None
    index, chosen = walked
    members = rows[chosen]
    x, y = pieces.lines.x[members], pieces.lines.y[members]
    flat = BoardMap(parameters=np.zeros(6), size_px=size_px)
    per_px = float(np.polyfit(pieces.down[members], index * 1.0, 1)[0])
    upright = per_px * flat.half_diagonal_px / float(np.hypot(1.0, lean))
    start = flat.moved(np.array([-lean * upright, upright, 0.0, 0.0, 0.0, 0.0]))
    offset = float(np.mean(index - start.index_at(x, y)))
    start = start.moved(np.array([0.0, 0.0, offset, 0.0, 0.0, 0.0]))
    # Two points a piece, along the common lean: one column alone says nothing across.
    both = np.array([[-SEED_ARM_PX], [SEED_ARM_PX]])
    twice = np.tile(index * 1.0, 2)
    found = start.fitted((x + both).ravel(), (y + lean * both).ravel(), twice, SOFT_PHASE, 5)
    return found, index


def _good_cells(
    pieces: Pieces, nearest: IntArray, phase: FloatArray, shape: tuple[int, int]
) -> Mask:
    """Which cells hold a line at most of their whole numbers and little else."""
    columns, blocks = shape
    within = np.abs(nearest) < MAX_INDEX
    row = nearest + MAX_INDEX
    cell = pieces.column * blocks + row // CELL_ROWS
    close = within & (np.abs(phase) < PHASE_TOLERANCE)
    filled = np.zeros((columns, blocks * CELL_ROWS), bool)
    filled[pieces.column[close], row[close]] = True
    share = filled.reshape(columns, blocks, CELL_ROWS).mean(axis=2)
    size = columns * blocks

    def total(which: Mask, values: FloatArray | None = None) -> FloatArray:
        weights = None if values is None else values[which]
        counts = np.bincount(cell[which], weights, minlength=size)
        return counts.astype(np.float64).reshape(shape)

    n, every = total(close), total(within)
    m = np.maximum(n, 1)
    mean = total(close, phase) / m
    scatter = np.sqrt(np.maximum(total(close, phase**2) / m - mean**2, 0.0))
    return np.asarray(
        (share >= MIN_CELL_FILLING) & (scatter < MAX_CELL_SCATTER) & (n > 0.6 * every)
    )


def _grow(
    pieces: Pieces, seed: BoardMap, index: IntArray, column: int, columns: int
) -> BoardFit:
    """Let the map grow from its seed over the board."""
    blocks = 2 * MAX_INDEX // CELL_ROWS
    lines = pieces.lines
    now = seed
    cells = np.zeros((columns, blocks), bool)
    low, high = (int(i) + MAX_INDEX for i in (index[0], index[-1]))
    cells[column, max(low // CELL_ROWS, 0) : high // CELL_ROWS + 1] = True
    stuck = 0
    used = np.zeros(len(lines), bool)
    nearest = np.zeros(len(lines), np.int64)
    for _ in range(GROWTH_STEPS):
        nearest, phase = phases_of(lines, now)
        wide = int(cells.any(axis=1).sum())
        tall = int(cells.any(axis=0).sum())
        reach = (1 + wide // GROWTH_SHARES[0] + 2 * stuck, 1 + tall // GROWTH_SHARES[1])
        frontier = maximum_filter(cells, size=(2 * reach[0] + 1, 2 * reach[1] + 1))
        good = frontier & _good_cells(pieces, nearest, phase, cells.shape)
        if not good.any():
            break
        stuck = stuck + 1 if (good == cells).all() else 0
        cells = good
        block = (nearest + MAX_INDEX) // CELL_ROWS
        used = cells[pieces.column, block] & (np.abs(phase) < PHASE_TOLERANCE)
        now = now.fitted(lines.x[used], lines.y[used], nearest[used] * 1.0, SOFT_PHASE)
        if stuck == MAX_STUCK:
            break
    return BoardFit(map=now, cells=cells, used=used, index=nearest)
