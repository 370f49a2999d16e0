"""Linear light of encoded pixels, and its brightness alone."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.vision.light import brightness_alone, to_linear


def test_brightness_alone_is_that_of_the_grey_which_a_jpeg_keeps():
    """OpenCV's grey has the same weights (Rec. ITU-R BT.601), rounded to a whole level."""
    pixels = np.random.default_rng(4).integers(0, 256, (40, 30, 3), dtype=np.uint8)
    grey = cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY)
    found = brightness_alone(to_linear(pixels)[..., ::-1].astype(float))
    lower, upper = (
        to_linear(np.clip(grey.astype(int) + k, 0, 255).astype(np.uint8)) for k in (-1, 1)
    )
    assert (found[..., 0] >= lower).all()
    assert (found[..., 0] <= upper).all()
    assert (found == found[..., :1]).all()
    assert (brightness_alone(np.full((2, 3), -0.1)) == 0.0).all()


class TestToLinear:
    def test_ends_and_dtype(self):
        linear = to_linear(np.array([[[0, 255, 10]]], np.uint8))
        assert linear.dtype == np.float32
        assert linear.shape == (1, 1, 3)
        np.testing.assert_allclose(linear[0, 0, :2], (0.0, 1.0), atol=1e-7)
        # 10/255 lies just under the knee at 0.04045: the straight part applies.
        assert linear[0, 0, 2] == pytest.approx(10 / 255 / 12.92, rel=1e-6)

    def test_encoding_it_again_gives_the_values_back(self):
        """Closed form: the forward encoding of IEC 61966-2-1:1999, 5.2, knee at 0.0031308."""
        values = np.arange(256, dtype=np.uint8)[np.newaxis]
        linear = to_linear(values).astype(float)
        encoded = np.where(
            linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055
        )
        np.testing.assert_allclose(255 * encoded, values, atol=1e-3)

    def test_grey_pictures(self):
        assert to_linear(np.zeros((5, 7), np.uint8)).shape == (5, 7)

    def test_monotonic(self):
        assert (np.diff(to_linear(np.arange(256, dtype=np.uint8)[np.newaxis])[0]) > 0).all()
