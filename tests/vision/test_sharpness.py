"""Blur up and down, from drawn edges whose blur is known."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.vision.clipping import burnt_heights, burnt_rows
from limbsight.vision.sharpness import Sharpness, sharpness_of

HEIGHT, WIDTH = 600, 400
NOISE = 2.0


def board(step=120.0, *, tilt=0.03):
    """Plates of other brightness above each other, their edges leaning a little."""
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    plates = np.floor((y + tilt * x) / 97.3) % 2
    return 60.0 + step * plates


def grain(picture, *, noise=NOISE, quality=75):
    random = np.random.default_rng(3)
    noisy = picture + noise * random.standard_normal(picture.shape)
    whole = np.clip(np.round(noisy), 0, 255).astype(np.uint8)
    _, data = cv2.imencode(".jpg", whole, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.asarray(cv2.imdecode(data, cv2.IMREAD_GRAYSCALE), np.uint8)


def gaussian(picture, blur):
    return cv2.GaussianBlur(picture, (0, 0), blur, borderType=cv2.BORDER_REPLICATE)


def disc(picture, diameter):
    """Out of focus: each point spread over a disc; standard deviation diameter / 4."""
    size = int(np.ceil(diameter)) | 1
    y, x = np.mgrid[:size, :size] - size // 2
    kernel = np.clip(diameter / 2 + 0.5 - np.hypot(x, y), 0, 1)
    return cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)


def shaken(picture, length, *, upright):
    """Moved during exposure: spread over a line; standard deviation length / sqrt(12)."""
    shape = (length, 1) if upright else (1, length)
    kernel = np.full(shape, 1.0 / length)
    return cv2.filter2D(picture, -1, kernel, borderType=cv2.BORDER_REPLICATE)


@pytest.mark.parametrize("blur", [3.0, 5.0, 8.0, 12.0])
@pytest.mark.parametrize("step", [70.0, 150.0])
def test_a_gaussian_blur_is_measured(blur, step):
    found = sharpness_of(grain(gaussian(board(step), blur)))
    assert found is not None
    # The sharpest tenth of noisy edges is taken: on the low side.
    assert 0.65 * blur < found.blur_px < 1.15 * blur


@pytest.mark.parametrize(
    ("blurred", "deviation"),
    [
        (disc(board(), 20.0), 5.0),
        (shaken(board(), 41, upright=True), 41 / np.sqrt(12)),
    ],
)
def test_other_blurs_by_their_deviation(blurred, deviation):
    found = sharpness_of(grain(blurred))
    assert found is not None
    # Neither is a Gaussian, and the sharpest tenth of noisy ramps is taken: half, at worst.
    assert 0.4 * deviation < found.blur_px < 1.4 * deviation


@pytest.mark.parametrize("quality", [50, 75, 95])
@pytest.mark.parametrize("noise", [0.5, 3.0, 6.0])
def test_a_sharp_picture_stays_sharp(noise, quality):
    found = sharpness_of(grain(gaussian(board(), 1.0), noise=noise, quality=quality))
    assert found is not None
    assert found.blur_px < 2.0


def test_shake_along_the_lines_does_not_count():
    found = sharpness_of(grain(shaken(board(tilt=0.0), 41, upright=False)))
    assert found is not None
    assert found.blur_px < 2.0


def test_one_sharp_thing_before_a_soft_wall_is_sharp():
    picture = gaussian(board(), 12.0)
    picture[150:450, 100:300] = gaussian(board(150.0), 1.0)[150:450, 100:300]
    found = sharpness_of(grain(picture))
    assert found is not None
    assert found.blur_px < 2.0


def test_a_blank_picture_has_no_edges():
    blank = np.full((HEIGHT, WIDTH), 130, np.uint8)
    assert sharpness_of(blank) is None
    assert sharpness_of(np.zeros((5, 3), np.uint8)) is None


def test_lines_nearer_than_the_least_pitch_are_lost():
    """Closed form: contrast under blur against the noise left along a line."""
    for blur in (2.0, 5.0, 9.0):
        found = Sharpness(blur_px=blur, noise=2.0, contrast=150.0)
        pitch = found.least_pitch_px
        left = np.exp(-2 * (np.pi * blur / pitch) ** 2)
        assert left == pytest.approx(5.0 * 2.0 / np.sqrt(10.0) / 150.0, rel=1e-9)
        rows = np.arange(4000)
        lines = gaussian(75.0 * np.cos(2 * np.pi * rows / pitch)[:, None], blur)
        assert np.ptp(lines[500:-500]) / 150.0 == pytest.approx(left, rel=0.05)
    more = Sharpness(blur_px=5.0, noise=8.0, contrast=150.0)
    less = Sharpness(blur_px=5.0, noise=2.0, contrast=150.0)
    assert more.least_pitch_px > less.least_pitch_px


def test_rows_that_are_burnt_out():
    light = np.full((40, 20, 3), 0.4, np.float32)
    light[10:20, 5:15] = 1.0
    light[30:, :, 0] = 1.0  # one colour alone is colour, not glare
    assert burnt_rows(light, (0, 39), (5, 14)) == 10
    assert burnt_rows(light, (0, 39), (0, 19)) == 0  # half of a row
    assert burnt_heights(light, (0, 39)).tolist() == 5 * [0] + 10 * [10] + 5 * [0]
    assert burnt_rows(light, (10.4, 14.6), (2, 14)) == 6
    assert burnt_rows(light, (-9.0, -3.0), (5, 14)) == 0
    assert burnt_rows(light, (12, 60), (8, 11)) == 8
