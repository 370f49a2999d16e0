"""Slanting levels: their slope found, and laid level."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.vision.slant import level_slope, levelled
from tests.helpers.tubes import AMBER, BLUE_WATER, GLASS, Tube


def strip_of(tube: Tube) -> np.ndarray:
    return tube.strip().bgr.astype(np.float32) / 255


@pytest.mark.parametrize("tilt", [-0.9, -0.4, 0.0, 0.25, 0.6, 1.1])
@pytest.mark.parametrize("filling", [BLUE_WATER, AMBER])
def test_the_slope_is_found(tilt, filling):
    strip = strip_of(Tube(fillings=(filling, GLASS), tilt=tilt))
    assert level_slope(strip, 45.0, 212.0, 21.0) == pytest.approx(tilt, abs=0.08)


@pytest.mark.parametrize("tilt", [-0.6, 0.35])
def test_what_slants_is_laid_level_about_the_axis(tilt):
    slanting, level = (strip_of(Tube(tilt=t)) for t in (tilt, 0.0))
    laid = levelled(slanting, 45.0, tilt)
    bore = slice(38, 53)
    assert np.allclose(laid[:, 45], slanting[:, 45], atol=1e-3)
    assert np.abs(laid[150:270, bore] - level[150:270, bore]).mean() < 0.02
