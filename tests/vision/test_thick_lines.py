"""Edges of thick lines are taken for one line, sides of thin ones of the other ink are not."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.vision.graduations import find_combs
from limbsight.vision.segments import find_segments
from limbsight.vision.thick_lines import Ink, with_edges_joined

BOARD, INK, PITCH_PX, EVERY, LINES = 200, 60, 40, 5, 31
THIN_PX, THICK_PX = 2, 8


def scale_with(thick_px: int, board: int = BOARD, ink: int = INK) -> np.ndarray:
    """A column of lines of which every fifth is so thick."""
    grey = np.full((PITCH_PX * (LINES + 1), 200), board, np.uint8)
    for number in range(LINES):
        middle = PITCH_PX * (number + 1)
        half = (thick_px if number % EVERY == 0 else THIN_PX) // 2
        grey[middle - half : middle + half, 60:120] = ink
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), 0.8))


def upward(grey: np.ndarray, *, dark: bool):
    lines = find_segments(grey, dark=dark)
    return lines.take(np.argsort(-lines.y))


@pytest.mark.parametrize("dark", [True, False])
def test_a_thick_line_is_one_line_in_its_middle(dark):
    grey = scale_with(THICK_PX, *((BOARD, INK) if dark else (INK, BOARD)))
    lines = upward(grey, dark=dark)
    assert len(lines) == LINES + len(range(0, LINES, EVERY))
    whole = with_edges_joined(lines, Ink(grey=grey, dark=dark))
    middles = PITCH_PX * np.arange(LINES, 0, -1) - 0.5
    assert whole.y == pytest.approx(middles, abs=0.3)


def test_thin_lines_stay_as_they_are():
    grey = scale_with(THIN_PX)
    lines = upward(grey, dark=True)
    assert with_edges_joined(lines, Ink(grey=grey, dark=True)) is lines


def test_the_sides_of_lines_of_the_other_ink_are_no_line():
    grey = scale_with(THICK_PX)
    sides = upward(grey, dark=False)
    assert len(sides) >= 2 * LINES
    assert with_edges_joined(sides, Ink(grey=grey, dark=False)) is sides


def test_thick_lines_do_not_break_the_sequence():
    grey = scale_with(THICK_PX)
    [comb] = find_combs(find_segments(grey, dark=True), Ink(grey=grey, dark=True))
    assert comb.index - comb.index[0] == pytest.approx(np.arange(LINES))
    assert comb.residual_px < 0.1
