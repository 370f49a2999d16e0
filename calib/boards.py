"""Which of the graduated columns stand on one board, where several instruments are in sight.

Columns of two instruments of one make keep step with each other as those of one board do, so
that only their distance tells them apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from limbsight.calib.instrument import ScaleSpec
from limbsight.vision.comb import Comb
from limbsight.vision.quantiles import median_of_row

BOARD_GAP_M = 0.15
"""Widest gap between columns of one board: limbs 20 mm to 60 mm apart with a scale on either
side, and room to spare (common practice, no source). A bank may carry a scale at either end of
all its tubes, and is not split."""
RIVAL_SHARE = 0.5
"""Graduations of another board's fullest column, as a share of the chosen one's, from which on
it may be the one that was meant. Tiles and planks behind a board gave less on 140 renders."""
SAME_BOARD_M = 25e-3
"""Columns nearer to each other than this carry one set of numbers between them, or are the
ends of one column's lines: numerals take 20 mm at most on the sample photos."""
SAME_ENDS, SAME_DIVISION = 0.05, 0.02
"""Share of a scale's length by which the ends of a second scale in another unit may stand off;
ratio by which divisions of one unit differ at most through perspective, over a board."""
STEADY = 2.0
LEAST_RESIDUAL_PX = 0.15
"""Print scatters no more than this many times the chosen board's steadiest column: tiles,
and lines seen through glass, do."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Boards:
    """The board to read, and the others.

    Attributes
    ----------
    chosen
        Its columns.
    rivals
        Other boards that might have been meant.
    others
        Columns of what else may be a board of its own: the halves of the chosen one about its
        widest gap, then all other boards, most graduations first.
    """

    chosen: tuple[Comb, ...]
    rivals: tuple[tuple[Comb, ...], ...] = ()
    others: tuple[tuple[Comb, ...], ...] = ()


def choose_board(
    groups: Sequence[tuple[Comb, ...]],
    scale: ScaleSpec,
    unit_m: float,
    *,
    bank: bool,
    stated: bool = True,
) -> Boards:
    """Take the board with most graduations.

    A file says how many limbs there are and finds them all, but for a bank, whose limbs are
    counted where they stand. Without one, and beside a bank's board, columns that do not keep
    step are of another instrument however near they stand, but for a second scale in another
    unit between the same ends.

    Parameters
    ----------
    groups
        Columns with one index each, most graduations first; at least one.
    unit_m
        Metres per scale unit.
    bank
        Whether the columns of one board may stand any distance apart.
    stated
        Whether an instrument file states the scale.

    Returns
    -------
    Boards
    """
    m_per_px = scale.division * unit_m / groups[0][0].pitch_px
    reach_px = np.inf if bank else BOARD_GAP_M / m_per_px
    boards = _split(groups[0], reach_px)
    boards.sort(key=lambda board: -sum(len(comb.index) for comb in board))
    chosen = boards[0]
    elsewhere = [*boards[1:], *(b for g in groups[1:] for b in _split(g, reach_px))]
    seen = [chosen]
    for board in elsewhere:
        if _may_be_meant(board, chosen) and all(_apart(board, s, reach_px) for s in seen):
            seen.append(board)
    if bank or not stated:
        near_px = SAME_BOARD_M / m_per_px
        for board in groups[1:]:
            out_of_step = _may_be_meant(board, chosen) and not _is_second_scale(board, chosen)
            within = stated and _reaches_into(board, chosen)
            if out_of_step and not within and all(_apart(board, s, near_px) for s in seen):
                seen.append(board)
    elsewhere.sort(key=lambda board: -max(len(comb.index) for comb in board))
    others = (*_halves(chosen), *elsewhere)
    return Boards(chosen=chosen, rivals=tuple(seen[1:]), others=others)


def _x(comb: Comb) -> float:
    return median_of_row(comb.lines.x)


def _split(combs: tuple[Comb, ...], reach_px: float) -> list[tuple[Comb, ...]]:
    """Columns in runs without a gap wider than ``reach_px``, each in the order given."""
    order = sorted(combs, key=_x)
    runs = [[order[0]]]
    for comb in order[1:]:
        if _x(comb) - _x(runs[-1][-1]) > reach_px:
            runs.append([])
        runs[-1].append(comb)
    return [tuple(comb for comb in combs if comb in run) for run in runs]


def _halves(board: tuple[Comb, ...]) -> tuple[tuple[Comb, ...], ...]:
    """Columns left and right of the widest gap, the fuller half first."""
    if len(board) < 2:
        return ()
    order = sorted(board, key=_x)
    widest = int(np.argmax(np.diff([_x(comb) for comb in order]))) + 1
    halves = [
        tuple(c for c in board if c in part) for part in (order[:widest], order[widest:])
    ]
    return tuple(sorted(halves, key=lambda half: -max(len(comb.index) for comb in half)))


def _apart(board: tuple[Comb, ...], other: tuple[Comb, ...], reach_px: float) -> bool:
    return min(abs(_x(a) - _x(b)) for a in board for b in other) > reach_px


def _reaches_into(board: tuple[Comb, ...], other: tuple[Comb, ...]) -> bool:
    """Whether a column stands between those of another board, where tubes bend its lines."""
    ends = [_x(comb) for comb in other]
    return any(min(ends) < _x(comb) < max(ends) for comb in board)


def _is_second_scale(board: tuple[Comb, ...], chosen: tuple[Comb, ...]) -> bool:
    """Whether it may be the same instrument's scale in another unit: between the same ends."""
    one, other = (max(b, key=lambda comb: len(comb.index)) for b in (chosen, board))
    length = float(np.ptp(one.lines.y))
    ends = np.abs(np.array([f(one.lines.y) - f(other.lines.y) for f in (np.min, np.max)]))
    alike = abs(np.log(one.pitch_px / other.pitch_px)) < SAME_DIVISION
    return bool(ends.max() < SAME_ENDS * length and not alike)


def _may_be_meant(board: tuple[Comb, ...], chosen: tuple[Comb, ...]) -> bool:
    fullest = max(len(comb.index) for comb in chosen)
    steadiest = min(comb.residual_px for comb in chosen)
    scatter = max(STEADY * steadiest, LEAST_RESIDUAL_PX)
    return any(
        len(comb.index) >= RIVAL_SHARE * fullest and comb.residual_px <= scatter
        for comb in board
    )
