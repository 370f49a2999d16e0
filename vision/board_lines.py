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

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter

from limbsight.vision.board_emphasis import emphasis, ink_of
from limbsight.vision.board_map import KEPT_REGULAR, PRIOR_WEIGHT, BoardMap
from limbsight.vision.board_pieces import (
    COLUMN_PX,
    MIN_PIECE_PX,
    Pieces,
    common_lean,
    cut_pieces,
    even_columns,
)
from limbsight.vision.comb import MIN_GRADUATIONS, PHASE_TOLERANCE, Comb
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
from limbsight.vision.walk import walk

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Mask = NDArray[np.bool_]

MIN_WIDTH = 18.0
"""Divisions over which lines must be even: ticks beside tubes are 3 to 12 divisions long."""
SEEDS, ENOUGH_SHARE = 4, 0.6
"""Columns that a map is grown from, until one takes up this share of all pieces: a wrong map
takes up a quarter (PHASE_TOLERANCE both ways, and empty cells)."""
SEED_ARM_PX = 36.0
"""How far to both sides a seed is carried along the common slope of the lines: as far as it
holds the map until the neighbouring columns do."""
CELL_ROWS = 16
"""Indices of a cell: chance hardly fills MIN_CELL_FILLING of as many."""
MIN_CELL_FILLING = 0.6
MAX_CELL_SCATTER = 0.12
"""Standard deviation of the pieces of a cell about its mean [divisions]; by chance 0.144, a
uniform spread over +-PHASE_TOLERANCE."""
MAX_INDEX = 1024
"""Lines up and down from the seed that are kept apart: longer scales are not read."""
GROWTH_STEPS = 40
GROWTH_SHARES = (3, 4)
"""A map is trusted a third of its width and a fourth of its height beyond its cells."""
MAX_STUCK = 3
"""Where nothing follows, the next columns are looked at beyond a tube: two more a step."""
SOFT_PHASE = 0.1
"""Deviation [divisions] at which a piece counts half while the map grows."""
REFINEMENTS = 3
CELL_ERROR_PX = 0.12
"""Of the mean of a cell: what print, lens and pixels leave of 16 pieces, seen beside tubes."""
MIN_COLUMN_SHARE = 0.5
"""Of the cells of the tallest column, for a column to count."""
MIN_CELL_SHARE, MIN_HEIGHT_SHARE = 0.6, 0.75
"""Of a column's cells, and of the cells of the tallest column: what must lie on the map for
the column to be beside the tubes; clips, shadows and numerals take the rest."""
MIN_ON_MAP, WITHIN_SCALE = 0.9, (0.02, 0.98)
"""Of the pieces of the columns beside the tubes, between their ends: a map that runs across
the lines has its pieces spread (0.85 seen), a right one 0.93 to 1 (photos and renders)."""
MIN_LINE_SHARE = 0.2
"""Of the usual number of columns, for a line to be one: numerals and clips cover half of
them, strays come in less than a tenth (renders and photos of banks)."""
WHOLE_COLUMNS = 6
"""Power of the share of a column's cells that agree: above and below a level two thirds of
the columns behind tubes may agree, which must not outvote the few beside them."""
MIN_APART_COLUMNS, MAX_PAIRS = 4, 300
MAX_REACH_COLUMNS = 4
"""Lines that go on for longer than this (48 px) from the last column go on behind a tube."""
BAND_COLUMNS = 10
"""Width of a part: over 120 px a lens of 4 % distortion bends a line by 0.06 px."""


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
    fit = _best_fit(pieces, best, lean, (grey.shape[1], grey.shape[0]))
    if fit is None:
        return None
    pieces, fit = _recut(ridges, pieces, fit, lean)
    fit, share = _refined(pieces, fit)
    return _comb(grey, ridges, pieces, fit) if share >= MIN_ON_MAP else None


def board_width(board: Comb) -> float:
    """Width of what is seen between the tubes, in divisions."""
    width = sum(float(np.median(part.lines.length)) for part in board.parts)
    return width / board.pitch_px


def _best_fit(
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
        nearest, phase = _phases(lines, now)
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


def _recut(
    ridges: Ridges, pieces: Pieces, fit: BoardFit, lean: float
) -> tuple[Pieces, BoardFit]:
    """Cut the lines anew, into columns that follow the perspective as tubes do."""
    across = fit.map.across(ridges.x, ridges.y)
    # Part -1, no piece, takes the last place.
    used = np.append(fit.used, False)[pieces.part]
    low, high = across[used].min(), across[used].max()
    top, bottom = ridges.y[used].min(), ridges.y[used].max()
    slack = CELL_ROWS * _pitch_px(pieces.lines.take(fit.used), fit.map)
    near = (np.abs(across - 0.5 * (low + high)) < 0.5 * (high - low) + 2 * COLUMN_PX) & (
        np.abs(ridges.y - 0.5 * (top + bottom)) < 0.5 * (bottom - top) + slack
    )
    # Crests elsewhere go to one column in which nothing is looked for.
    again = cut_pieces(ridges, np.where(near, across - low + 3 * COLUMN_PX, 0.0), lean)
    index, phase = _phases(again.lines, fit.map)
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


def _refined(pieces: Pieces, fit: BoardFit) -> tuple[BoardFit, float]:
    """Find the map that most columns agree on, and what share of their pieces lies on it.

    A column beside the tubes keeps to the map from end to end. One behind a tube stands off
    in proportion to its distance from the foot of the perpendicular, by another share above
    and below the level. So any two columns beside the tubes give the map, and it is the one
    to which most columns agree.
    """
    design, miss, column = _cell_means(pieces, fit)
    if not len(column) or not fit.used.any():
        return fit, 0.0
    error = CELL_ERROR_PX / _pitch_px(pieces.lines.take(fit.used), fit.map)
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
        index, phase = _phases(lines, board)
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


def _phases(lines: Segments, board: BoardMap) -> tuple[IntArray, FloatArray]:
    """Nearest whole index of lines, and what they are off."""
    value = np.clip(board.index_at(lines.x, lines.y), 1 - MAX_INDEX, MAX_INDEX - 1)
    index = np.rint(value).astype(np.int64)
    return index, value - index


def _pitch_px(lines: Segments, board: BoardMap) -> float:
    """Median distance of neighbouring lines [px]."""
    return 1.0 / float(np.median(np.abs(board.per_px(lines.x, lines.y))))


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


def _comb(grey: ImageArray, ridges: Ridges, pieces: Pieces, fit: BoardFit) -> Comb | None:
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
        grey, pieces.lines.take(used), _pitch_px(pieces.lines.take(used), fit.map)
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
