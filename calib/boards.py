"""Which of the graduated columns stand on one board, where several instruments are in sight.

Columns of two instruments of one make keep step with each other as those of one board do, so
that only their distance tells them apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from limbsight.calib.instrument import ScaleSpec
from limbsight.vision.graduations import Comb

BOARD_GAP_M = 0.15
"""Widest gap between columns of one board: limbs 20 mm to 60 mm apart with a scale on either
side, and room to spare (common practice, no source). A bank may carry a scale at either end of
all its tubes, and is not split."""
RIVAL_SHARE = 0.5
"""Graduations of another board's fullest column, as a share of the chosen one's, from which on
it may be the one that was meant. Tiles and planks behind a board gave less on 140 renders."""
STEADY = 2.0
LEAST_RESIDUAL_PX = 0.15
"""Print scatters no more than this many times the chosen board's steadiest column: tiles,
and lines seen through glass, do."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Boards:
    """The columns of the board to read, and how many other boards might have been meant."""

    chosen: tuple[Comb, ...]
    rivals: int


def choose_board(
    groups: Sequence[tuple[Comb, ...]], scale: ScaleSpec, unit_m: float, *, bank: bool
) -> Boards:
    """Take the board with most graduations.

    Parameters
    ----------
    groups
        Columns with one index each, most graduations first; at least one.
    unit_m
        Metres per scale unit.
    bank
        Whether the columns of one board may stand any distance apart.

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
    return Boards(chosen=chosen, rivals=len(seen) - 1)


def _x(comb: Comb) -> float:
    return float(np.median(comb.lines.x))


def _split(combs: tuple[Comb, ...], reach_px: float) -> list[tuple[Comb, ...]]:
    """Columns in runs without a gap wider than ``reach_px``, each in the order given."""
    order = sorted(combs, key=_x)
    runs = [[order[0]]]
    for comb in order[1:]:
        if _x(comb) - _x(runs[-1][-1]) > reach_px:
            runs.append([])
        runs[-1].append(comb)
    return [tuple(comb for comb in combs if comb in run) for run in runs]


def _apart(board: tuple[Comb, ...], other: tuple[Comb, ...], reach_px: float) -> bool:
    return min(abs(_x(a) - _x(b)) for a in board for b in other) > reach_px


def _may_be_meant(board: tuple[Comb, ...], chosen: tuple[Comb, ...]) -> bool:
    fullest = max(len(comb.index) for comb in chosen)
    steadiest = min(comb.residual_px for comb in chosen)
    scatter = max(STEADY * steadiest, LEAST_RESIDUAL_PX)
    return any(
        len(comb.index) >= RIVAL_SHARE * fullest and comb.residual_px <= scatter
        for comb in board
    )
