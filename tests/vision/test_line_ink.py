"""Ink of drawn lines."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.calib.indexing import hierarchy_gain
from limbsight.vision.line_ink import with_ink
from limbsight.vision.working import enlarged
from tests.helpers.boards import Camera, Column

CAMERA = Camera()
COLUMN = Column(first=0, last=60).comb(CAMERA)
THICK = np.arange(len(COLUMN.index)) % 10 == 3


def board(usual_px: float, thick_px: float, ink: float) -> np.ndarray:
    """Every tenth line thicker; drawn eightfold, averaged down."""
    lines, times = COLUMN.lines, 8
    size = [int(np.ceil(v.max())) + 40 for v in (lines.right, lines.y)]
    large = np.full((size[1] * times, size[0] * times), 200.0, np.float32)
    for k, thick in enumerate(THICK):
        ends = [
            ((x + 0.5) * times, (lines.y[k] + lines.slope[k] * (x - lines.x[k]) + 0.5) * times)
            for x in (lines.left[k], lines.right[k])
        ]
        (x0, y0), (x1, y1) = [(round(x), round(y)) for x, y in ends]
        cv2.line(
            large, (x0, y0), (x1, y1), ink, round((thick_px if thick else usual_px) * times)
        )
    small = cv2.resize(large, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.uint8)


@pytest.mark.parametrize("ink", [60.0, 250.0])
def test_thicker_lines_have_more_ink(ink):
    (found,) = with_ink(board(1.5, 2.5, ink), 1.0, (COLUMN,))
    strength = np.abs(found.lines.strength)
    assert np.sign(found.lines.strength[0]) == np.sign(200.0 - ink)
    ratio = np.median(strength[THICK]) / np.median(strength[~THICK])
    assert ratio == pytest.approx(2.5 / 1.5, rel=0.15)


def test_numbered_lines_of_another_pen_tell_their_place():
    (found,) = with_ink(board(1.5, 2.2, 60.0), 1.0, (COLUMN,))
    places = np.arange(len(COLUMN.index)) % 10
    gains = [hierarchy_gain(found, places == k, 10) for k in range(10)]
    assert int(np.argmax(gains)) == 3
    assert gains[3] > 6.9


def test_in_a_reduced_picture_lines_are_where_they_are_in_the_full_one():
    grey = board(1.5, 2.5, 60.0)
    (small,) = with_ink(grey, 2.0, (enlarged(COLUMN, 2.0),))
    (full,) = with_ink(grey, 1.0, (COLUMN,))
    np.testing.assert_allclose(small.lines.strength, full.lines.strength)
