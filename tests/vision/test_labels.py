"""Printed labels, drawn by the library's own generator and seen through a homography."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.vision.labels import find_labels
from limbsight.vision.working import WorkingImage, full_size
from tests.helpers.labels import SQUARE, label_picture, pasted


def seen(picture) -> dict[int, np.ndarray]:
    return {label.number: label.corners_px for label in find_labels(full_size(picture))}


def turned(angle_deg: float, edge: float, centre=(300.0, 240.0)) -> np.ndarray:
    """Corners of a square, those of the label's upper left one first."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    return np.asarray(0.5 * edge * SQUARE @ np.array([[c, s], [-s, c]]) + centre)


@pytest.mark.parametrize("angle_deg", [0.0, 12.0, 90.0, 200.0])
@pytest.mark.parametrize("number", [0, 17, 586])
def test_number_and_corners_whatever_the_turn(number, angle_deg):
    corners = turned(angle_deg, 90.0)
    found = seen(pasted(np.full((480, 640, 3), 140, np.uint8), number, corners))
    assert list(found) == [number]
    apart = np.hypot(*(found[number][:, None] - corners).transpose(2, 0, 1))
    assert apart.min(axis=1).max() < 0.15


def test_corners_are_those_of_the_full_picture():
    corners = turned(5.0, 120.0)
    picture = pasted(np.full((480, 640, 3), 140, np.uint8), 3, corners)
    half = cv2.resize(picture, (320, 240), interpolation=cv2.INTER_AREA)
    (label,) = find_labels(WorkingImage(bgr=half, factor=2.0, full_size_px=(640, 480)))
    apart = np.hypot(*(label.corners_px[:, None] - corners).transpose(2, 0, 1))
    assert apart.min(axis=1).max() < 0.3


def test_two_labels_and_none():
    board = np.full((480, 640, 3), 140, np.uint8)
    assert seen(board) == {}
    both = pasted(board, 3, turned(0.0, 80.0, (150.0, 200.0)))
    both = pasted(both, 4, turned(30.0, 80.0, (450.0, 250.0)))
    assert sorted(seen(both)) == [3, 4]


def test_a_word_misread_by_three_bits_is_no_label():
    broken = label_picture(17)
    cell = len(broken) // 10
    for column in (3, 4, 5):
        at = np.s_[3 * cell : 4 * cell, column * cell : (column + 1) * cell]
        broken[at] = 255 - broken[at]
    assert seen(np.repeat(broken[..., None], 3, axis=2)) == {}
    assert seen(np.repeat(label_picture(17)[..., None], 3, axis=2)).keys() == {17}
