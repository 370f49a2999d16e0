"""What the size of a picture and its EXIF focal length make of a camera."""

from __future__ import annotations

import pytest

from limbsight.calib.camera import FOCAL_GUESS_MM, FULL_FRAME_DIAGONAL_MM, Frame


def test_frame():
    known = Frame.of_picture(4000, 3000, 26.0)
    assert known.focal_px == pytest.approx(26.0 / FULL_FRAME_DIAGONAL_MM * 5000)
    assert known.centre_px == (1999.5, 1499.5)
    assert known.half_diagonal_px == 2500.0
    guess = Frame.of_picture(4000, 3000, None)
    assert guess.focal_px == pytest.approx(FOCAL_GUESS_MM / FULL_FRAME_DIAGONAL_MM * 5000)
    assert guess.focal_relative_uncertainty > 5 * known.focal_relative_uncertainty
