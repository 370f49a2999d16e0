"""Figures drawn darker or lighter than their board, blurred and noisy."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from limbsight.vision.figure_ink import figures_are_dark
from limbsight.vision.numerals import LabelEvidence

BOARD, HEIGHT_PX = 120, 18
PLACES = ((20, 40), (20, 90), (20, 140), (20, 190))


def board_with(ink: int, *, thickness: int = 2, noise: float = 4.0) -> NDArray[np.uint8]:
    picture = np.full((220, 120), BOARD, np.uint8)
    for number, (x, y) in enumerate(PLACES):
        text = f"{10 * number}"
        cv2.putText(
            picture, text, (x, y), cv2.FONT_HERSHEY_SIMPLEX, 0.8, ink, thickness, cv2.LINE_AA
        )
    rng = np.random.default_rng(5)
    blurred = cv2.GaussianBlur(picture, (0, 0), 1.2)
    noisy = np.clip(blurred + rng.normal(0.0, noise, picture.shape), 0, 255)
    return np.asarray(noisy, np.uint8)


def labels(evidence: float = 6.0, beyond_px: int = 0) -> list[LabelEvidence]:
    corners = np.array([[0, -HEIGHT_PX], [40, -HEIGHT_PX], [40, 0], [0, 0]], float)
    return [
        LabelEvidence(
            index=k,
            expected="0",
            read="0",
            evidence=evidence,
            box_px=corners + place + [beyond_px, 0],
        )
        for k, place in enumerate(PLACES)
    ]


@pytest.mark.parametrize("thickness", [1, 2, 3])
@pytest.mark.parametrize(("ink", "dark"), [(30, True), (90, True), (160, False), (240, False)])
def test_ink_is_told_from_the_board(ink, dark, thickness):
    assert figures_are_dark(board_with(ink, thickness=thickness), labels()) is dark


def test_bare_board_and_labels_not_read_leave_it_open():
    assert figures_are_dark(np.full((220, 120), BOARD, np.uint8), labels()) is None
    assert figures_are_dark(board_with(30), labels(evidence=0.5)) is None
    assert figures_are_dark(board_with(30), labels(beyond_px=500)) is None
