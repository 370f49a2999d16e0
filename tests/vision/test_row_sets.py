"""Sets of rows."""

from __future__ import annotations

import numpy as np

from limbsight.vision.row_sets import dilate, erode, runs_of


def rows(text: str) -> np.ndarray:
    return np.array([mark == "#" for mark in text])


def test_stretches_are_given_by_their_first_and_last_row():
    assert runs_of(rows("##..#.###")) == [(0, 1), (4, 4), (6, 8)]
    assert runs_of(rows("....")) == []


def test_rows_are_added_and_left_off_about_each_stretch():
    np.testing.assert_array_equal(dilate(rows("...#....#."), 1), rows("..###..###"))
    np.testing.assert_array_equal(erode(rows(".#####.##."), 1), rows("..###....."))
