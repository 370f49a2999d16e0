"""Sampling: where a picture is asked, and in which light."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.vision.light import to_linear
from limbsight.vision.strip import sample, sample_linear

PICTURE = np.random.default_rng(5).integers(0, 256, (40, 30, 3)).astype(np.uint8)


def grid(x, y):
    columns, rows = np.meshgrid(np.asarray(x, np.float32), np.asarray(y, np.float32))
    return columns, rows


def test_pixel_centres_are_whole_numbers():
    np.testing.assert_array_equal(sample(PICTURE, *grid(range(30), range(40))), PICTURE)


def test_half_way_is_the_mean():
    found = sample(PICTURE, *grid([4.5], [7.0])).astype(float)
    mean = PICTURE[7, 4:6].astype(float).mean(axis=0)
    np.testing.assert_allclose(found[0, 0], mean, atol=0.51)


def test_beyond_the_rim_the_rim_goes_on():
    found = sample(PICTURE, *grid([-8.0, 50.0], [-3.0, 90.0]))
    np.testing.assert_array_equal(found[0, 0], PICTURE[0, 0])
    np.testing.assert_array_equal(found[1, 1], PICTURE[-1, -1])


def test_linear_light_is_red_first():
    found = sample_linear(PICTURE, *grid(range(30), range(40)))
    assert found.dtype == np.float32
    np.testing.assert_allclose(found[:, :, ::-1], to_linear(PICTURE), atol=1e-6)
    assert 0.0 <= found.min() <= found.max() <= 1.0


@pytest.mark.parametrize(
    ("x", "y"),
    [((3.2, 9.7), (5.1, 30.4)), ((-4.0, 2.0), (38.0, 44.0)), ((28.5, 33.0), (0, 1))],
)
def test_linearising_a_part_changes_nothing(x, y):
    """Averages of light, not of codes: black and white half way give half the light."""
    columns, rows = grid(np.linspace(x[0], x[1], 7), np.linspace(y[0], y[1], 9))
    at = (columns, rows)
    light = to_linear(PICTURE)
    whole = cv2.remap(light, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    np.testing.assert_allclose(sample_linear(PICTURE, *at), whole[:, :, ::-1], atol=2e-3)


def test_half_way_between_black_and_white_is_half_the_light():
    picture = np.zeros((3, 2, 3), np.uint8)
    picture[:, 1] = 255
    assert sample_linear(picture, *grid([0.5], [1.0]))[0, 0] == pytest.approx(0.5, abs=1e-3)
