"""Mercury shows the room; other liquids show the board; a doubtful bore is left open."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.mirror import is_mirror

BORE, ROW = 20, 60
BOARD = np.array([0.6, 0.58, 0.5])


def strip(below, *, above=BOARD, rows=120):
    """A tube with one filling above row 60 and one below; each (3,) or (61, 3)."""
    out = np.empty((rows, 61, 3), dtype=np.float32)
    out[:ROW], out[ROW:] = above, below
    return out


def streaks(depth):
    """Lamps and dark corners side by side, (61, 1)."""
    return 1.0 + depth * np.sin(np.arange(61) * 0.9)[:, None]


@pytest.mark.parametrize(
    ("below", "told"),
    [
        (BOARD * 0.95, False),  # clear water
        (BOARD * [0.1, 0.3, 0.8], False),  # blue water
        (BOARD * [0.9, 0.2, 0.05], False),  # red oil
        (0.55 * BOARD * streaks(0.3), True),  # mercury
        (np.full((61, 3), 0.7) * streaks(0.2), True),  # mercury brighter than the board
        (BOARD * [0.9, 0.3, 0.05] * streaks(0.3), None),  # red oil with reflections
        (0.1 * BOARD * streaks(0.3), None),  # nearly black
    ],
)
def test_told_by_look(below, told):
    assert is_mirror(strip(below), ROW, BORE) is told


def test_streaks_that_are_above_too_say_nothing():
    both = strip(0.9 * BOARD * streaks(0.3), above=BOARD * streaks(0.3))
    assert is_mirror(both, ROW, BORE) is None


def test_too_little_of_the_tube_says_nothing():
    assert is_mirror(strip(0.95 * BOARD, rows=ROW + 16), ROW, BORE) is None
