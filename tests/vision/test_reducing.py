"""Averages over areas, against means of blocks and against OpenCV's own in one step."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.vision.reducing import averaged, shrunk

PICTURE = cv2.GaussianBlur(
    np.random.default_rng(3).integers(0, 256, (103, 77, 3), np.uint8), (0, 0), 1.5
)


def test_blocks_are_averaged_and_what_is_left_over_is_cut():
    small = averaged(PICTURE, 3)
    assert small.shape == (34, 25, 3)
    blocks = PICTURE[:102, :75].reshape(34, 3, 25, 3, 3)
    assert small == pytest.approx(blocks.mean(axis=(1, 3)), abs=0.5)


@pytest.mark.parametrize(
    ("size", "whole"), [((60, 80), (77, 103)), ((31, 41), (76, 102)), ((20, 27), (75, 102))]
)
def test_shading_is_as_in_one_step_of_what_is_not_cut(size, whole):
    columns, rows = whole
    ramp = np.add.outer(1.3 * np.arange(103), 0.9 * np.arange(77)).round().astype(np.uint8)
    at_once = cv2.resize(ramp[:rows, :columns], size, interpolation=cv2.INTER_AREA)
    assert shrunk(ramp, size) == pytest.approx(at_once.astype(float), abs=1.5)
