"""The dark line of a meniscus, in strips drawn with it and without."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.vision.dark_line import darkness_of_line

BORE = 40
ROWS, COLUMNS = 6 * BORE, round(1.4 * BORE)
ROW = 2.8 * BORE
ABOVE, BELOW = 0.6, 0.3


def strip(line=0.0, *, bow=0.0, slope=0.0, noise=0.01, above=ABOVE, below=BELOW):
    """Two fillings, and a line darker than the darker by ``line``, bent by ``bow`` bores."""
    y, x = np.mgrid[:ROWS, :COLUMNS].astype(np.float32)
    x -= 0.5 * (COLUMNS - 1)
    edge = ROW - slope * x - bow * BORE * (2 * x / BORE) ** 2
    light = np.where(y < edge, above, below)
    half = 0.06 * BORE * np.hypot(1.0, slope)
    light = np.where(np.abs(y - edge) < half, (1 - line) * min(above, below), light)
    random = np.random.default_rng(5)
    light = cv2.GaussianBlur(light, (0, 0), 1.0) + noise * random.standard_normal(light.shape)
    return np.repeat(light[..., None], 3, axis=2).astype(np.float32)


@pytest.mark.parametrize("bow", [0.0, 0.3])
@pytest.mark.parametrize("share", [0.3, 0.6])
def test_a_line_is_as_dark_as_drawn(share, bow):
    found = darkness_of_line(strip(share, bow=bow), ROW, BORE)
    assert found == pytest.approx(share, abs=0.1)


@pytest.mark.parametrize(("above", "below"), [(0.6, 0.3), (0.2, 0.7), (0.5, 0.45)])
def test_an_edge_has_none(above, below):
    found = darkness_of_line(strip(above=above, below=below), ROW, BORE)
    assert found is not None
    assert abs(found) < 0.07


def test_a_slanted_line_is_found_within_its_slant():
    picture = strip(0.5, slope=2.0)
    found = darkness_of_line(picture, ROW, BORE, slanted_rows=0.8 * BORE)
    assert found == pytest.approx(0.5, abs=0.1)


def test_burnt_columns_say_nothing():
    picture = strip(0.5)
    burnt = np.arange(COLUMNS) < COLUMNS / 2 + 4
    picture[:, burnt] = 1.0
    assert darkness_of_line(picture, ROW, BORE) == pytest.approx(0.0, abs=0.05)
    found = darkness_of_line(picture, ROW, BORE, burnt=burnt)
    assert found == pytest.approx(0.5, abs=0.12)


def test_too_little_to_see_says_nothing():
    assert darkness_of_line(strip(0.5), 0.5 * BORE, BORE) is None
    assert darkness_of_line(strip(0.5), ROW, BORE, burnt=np.ones(COLUMNS, bool)) is None
    assert darkness_of_line(0.005 * strip(0.5), ROW, BORE) is None
