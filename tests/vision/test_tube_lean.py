"""How far drawn tubes lean, sheared out of the upright."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from limbsight.vision.tube_lean import lean_of
from tests.helpers.tubes import AMBER, BLUE_WATER, BOARD, CLEAR, GLASS, Tube

TUBE = Tube(rows=480, columns=109, width=34.0, bore=24.0, levels=(230.3,))


def leaning(tube, degrees):
    """The strip of a tube that moves to the right as it goes up."""
    strip = tube.strip()
    slope = np.tan(np.radians(degrees))
    middle = 0.5 * (len(strip.bgr) - 1)
    matrix = np.array([[1.0, slope, -slope * middle], [0.0, 1.0, 0.0]])
    size = strip.bgr.shape[1::-1]
    sheared = cv2.warpAffine(
        strip.bgr,
        matrix,
        size,
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return replace(strip, bgr=np.asarray(sheared, np.uint8))


@pytest.mark.parametrize("filling", [BLUE_WATER, AMBER, CLEAR])
@pytest.mark.parametrize("degrees", [-2.0, -0.6, 1.3])
def test_a_lean_is_found(filling, degrees):
    tubes = [
        leaning(replace(TUBE, fillings=(filling, GLASS), levels=(row,)), degrees)
        for row in (120.0, 330.0)
    ]
    assert np.degrees(np.arctan(lean_of(tubes))) == pytest.approx(degrees, abs=0.15)


@pytest.mark.parametrize("filling", [BLUE_WATER, CLEAR])
def test_tubes_that_stand_do_not_lean(filling):
    tube = replace(TUBE, fillings=(filling, GLASS))
    assert lean_of([leaning(tube, 0.0)]) == 0.0
    assert lean_of([leaning(tube, 0.1)]) == 0.0


def test_tubes_that_lean_apart_tell_nothing():
    assert lean_of([leaning(TUBE, -1.8), leaning(TUBE, 1.8)]) == 0.0


def test_an_empty_board_tells_nothing():
    strip = TUBE.strip()
    noise = np.random.default_rng(3).normal(0.0, 3.0, strip.bgr.shape)
    bare = np.clip(255 * np.array(BOARD) ** (1 / 2.2) + noise, 0, 255).astype(np.uint8)
    assert lean_of([replace(strip, bgr=bare)]) == 0.0
