"""Colours of fillings next to a row."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.vision.fillings import change_at
from limbsight.vision.tube_strip import TubeStrip

ROWS, BORE = 200, 12.0


def strip_with(*fillings: tuple[int, int]) -> TubeStrip:
    """Fillings of one grey level each, from their first rows downward."""
    bgr = np.zeros((ROWS, 30, 3), np.uint8)
    for first, grey in fillings:
        bgr[first:] = grey
    return TubeStrip(
        bgr=bgr,
        bore_columns=BORE,
        width_columns=18.0,
        inside_picture=np.ones(ROWS, bool),
    )


@pytest.mark.parametrize(("row", "change"), [(80.0, 180.0), (140.0, 0.0), (2.0, 0.0)])
def test_change_of_colours(row, change):
    strip = strip_with((0, 200), (80, 140))
    assert change_at(strip, np.ones(ROWS, bool), row) == pytest.approx(change)


def test_a_cover_is_left_out():
    """What a clip hides is the same above and below it."""
    strip = strip_with((0, 140), (90, 30), (110, 140))
    usable = np.ones(ROWS, bool)
    assert change_at(strip, usable, 90.0) == pytest.approx(330.0)
    usable[88:112] = False
    assert change_at(strip, usable, 90.0) == 0.0
