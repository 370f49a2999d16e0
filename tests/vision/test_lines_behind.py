"""Graduations behind a tube, taken out without the level."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.levels import find_layers
from limbsight.vision.lines_behind import are_too_fine, without_lines
from tests.helpers.tubes import BLUE_WATER, CLEAR, GLASS, Tube

FIRST, LAST = 40.0, 360.0


def lined(tube, pitch, depth=0.45, **options):
    strip = tube.strip(**options)
    rows = np.arange(len(strip.bgr))
    away = np.abs((rows - FIRST + pitch / 2) % pitch - pitch / 2)
    inside = (rows > FIRST - 1) & (rows < LAST + 1)
    shade = 1 - depth * np.where(inside, np.clip(0.15 * pitch + 0.5 - away, 0, 1), 0)
    bgr = np.clip(strip.bgr * shade[:, None, None], 0, 255).astype(np.uint8)
    return strip, bgr


@pytest.mark.parametrize("pitch", [3.2, 5.0, 8.0, 20.0])
@pytest.mark.parametrize("filling", [BLUE_WATER, CLEAR])
def test_lines_go_and_fillings_stay(pitch, filling):
    tube = Tube(fillings=(filling, GLASS))
    strip, bgr = lined(tube, pitch)
    count = round((LAST - FIRST) / pitch) + 1
    last = FIRST + pitch * (count - 1)
    clean = without_lines(bgr, FIRST, last, count, tube.width, tube.bore)
    assert clean is not None
    middle = slice(round(FIRST) + 2 * round(pitch), round(last) - 2 * round(pitch))
    column = bgr.shape[1] // 2
    ripple = clean[middle, column].astype(float)
    plain = strip.bgr[middle, column].astype(float)
    far = np.abs(np.arange(middle.start, middle.stop) - tube.levels[0]) > 2 * tube.bore
    # What is left of the lines is an even shade.
    clean_share = (ripple / plain)[far].mean(axis=1)
    lined_share = (bgr[middle, column] / plain)[far].mean(axis=1)
    assert np.std(clean_share) < 0.04
    assert np.std(clean_share) < 0.4 * np.std(lined_share)


def test_the_level_is_found_behind_lines():
    tube = Tube()
    strip, bgr = lined(tube, 5.0)
    clean = without_lines(bgr, FIRST, LAST, 65, tube.width, tube.bore)
    assert clean is not None
    layers = find_layers(replace(strip, bgr=clean), 1, (40, 360))
    assert layers.hidden == ()
    assert layers.interfaces[0].row == pytest.approx(tube.levels[0], abs=0.5 * tube.bore)


@pytest.mark.parametrize("off", [0.98, 1.02])
def test_lines_seen_closer_or_farther_apart_than_supposed_go_as_well(off):
    """A liquid moves what is seen through it, the more the farther from eye level."""
    tube = Tube()
    _, bgr = lined(tube, 4.0)
    clean = without_lines(bgr, FIRST, LAST, round(80 / off) + 1, tube.width, tube.bore)
    assert clean is not None


def test_lines_finer_than_the_strip_are_called():
    assert are_too_fine(FIRST, FIRST + 1.9 * 100, 101)
    assert not are_too_fine(FIRST, FIRST + 2.1 * 100, 101)


def test_a_plain_board_is_left_alone():
    tube = Tube()
    assert without_lines(tube.strip().bgr, FIRST, LAST, 65, tube.width, tube.bore) is None


def test_lines_closer_than_rows_are_left_alone():
    tube = Tube()
    assert without_lines(tube.strip().bgr, FIRST, LAST, 400, tube.width, tube.bore) is None
