"""The dark line of a meniscus, in strips drawn with it and without."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.vision.dark_line import (
    AWAY_BORES,
    DarkLine,
    dark_line,
    line_in_strip,
    stands_out,
)
from limbsight.vision.tube_strip import TubeStrip

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


def darkness(picture, **known) -> float:
    found = dark_line(picture, ROW, BORE, **known)
    assert found is not None
    return found.darkness


@pytest.mark.parametrize("bow", [0.0, 0.3])
@pytest.mark.parametrize("share", [0.3, 0.6])
def test_a_line_is_as_dark_as_drawn(share, bow):
    assert darkness(strip(share, bow=bow)) == pytest.approx(share, abs=0.1)


@pytest.mark.parametrize(("above", "below"), [(0.6, 0.3), (0.1, 0.5)])
def test_the_darker_side_is_compared_with_the_lighter_one(above, below):
    found = dark_line(strip(0.4, above=above, below=below), ROW, BORE)
    assert found is not None
    assert found.shine == pytest.approx(min(above, below) / max(above, below), abs=0.02)


@pytest.mark.parametrize(("above", "below"), [(0.6, 0.3), (0.2, 0.7), (0.5, 0.45)])
def test_an_edge_has_none(above, below):
    assert abs(darkness(strip(above=above, below=below))) < 0.07


def test_a_slanted_line_is_found_within_its_slant():
    picture = strip(0.5, slope=2.0)
    assert darkness(picture, slanted_rows=0.8 * BORE) == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize("share", [0.0, 0.5])
def test_of_a_long_strip_what_is_about_the_row_counts(share):
    picture = np.clip(255 * (strip(share) ** (1 / 2.2)), 0, 255).astype(np.uint8)
    long = np.concatenate([picture[:1].repeat(300, axis=0), picture, picture[-1:]])
    tube = TubeStrip(
        bgr=long,
        bore_columns=BORE,
        width_columns=1.5 * BORE,
        inside_picture=np.ones(len(long), bool),
    )
    found = line_in_strip(tube, 300 + ROW)
    assert found is not None
    assert found.darkness == pytest.approx(darkness(strip(share)), abs=0.05)
    assert line_in_strip(tube, float(len(long))) is None


def test_burnt_columns_say_nothing():
    picture = strip(0.5)
    burnt = np.arange(COLUMNS) < COLUMNS / 2 + 4
    picture[:, burnt] = 1.0
    assert darkness(picture) == pytest.approx(0.0, abs=0.05)
    assert darkness(picture, burnt=burnt) == pytest.approx(0.5, abs=0.12)


def test_too_little_to_see_says_nothing():
    assert dark_line(strip(0.5), 0.5 * BORE, BORE) is None
    assert dark_line(strip(0.5), ROW, BORE, burnt=np.ones(COLUMNS, bool)) is None
    assert dark_line(0.005 * strip(0.5), ROW, BORE) is None


@pytest.mark.parametrize("above_bores", [-0.3, 0.0, 0.2])
def test_where_the_line_is_darkest(above_bores):
    found = dark_line(strip(0.6), ROW + above_bores * BORE, BORE)
    assert found is not None
    assert found.above_bores == pytest.approx(above_bores, abs=0.05)


def line_seen(line, away, above_bores=0.1):
    """What is seen at a level and away from it: how dark a line is, None for nothing."""
    darkness_at = {0.0: line, **dict(zip(AWAY_BORES, away, strict=False))}

    def line_at(bores):
        darkness = darkness_at.get(bores)
        if darkness is None:
            return None
        return DarkLine(darkness=darkness, shine=0.5, above_bores=above_bores)

    return line_at


@pytest.mark.parametrize(
    ("line", "away", "meniscus"),
    [
        (0.8, [0.1, 0.2, 0.1, 0.2, None, None], True),
        (0.8, [0.1, 0.2, 0.1, None, None, None], False),
        (0.5, [0.1, 0.4, 0.1, 0.2], False),
        (0.3, [0.0, 0.0, 0.0, 0.0], False),
        (0.4, [-0.5, 0.0, 0.0, 0.26], True),
        (None, [0.1, 0.1, 0.1, 0.1], False),
    ],
)
def test_a_dark_line_unlike_all_others_is_a_meniscus(line, away, meniscus):
    assert stands_out(line_seen(line, away)) is meniscus


@pytest.mark.parametrize(
    ("above_bores", "meniscus"), [(0.0, True), (0.25, True), (-0.2, False), (0.45, False)]
)
def test_the_line_of_a_meniscus_is_above_its_apex(above_bores, meniscus):
    assert stands_out(line_seen(0.8, [0.1] * 6, above_bores)) is meniscus
