"""Parts of the photo, enlarged."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.overlay import draw_overlay
from limbsight.overlay_frame import VIEW_LONG_SIDE, Frame
from limbsight.overlay_strokes import DARK
from tests.helpers.overlays import plain_picture, share_of


def test_frame_keeps_sub_pixel_places():
    """Closed form: enlarged k times, pixel centre c lies at (c + 1/2) k - 1/2."""
    frame = Frame(left=10, top=20, width=50, height=40, zoom=3.0)
    assert frame.place((10.0, 20.0)) == (1.0, 1.0)
    assert frame.place((12.5, 21.0)) == (8.5, 4.0)
    picture = np.zeros((200, 200, 3), np.uint8)
    picture[25, 17] = 255
    cut = frame.cut(picture).astype(float)[..., 0]
    ys, xs = np.mgrid[: cut.shape[0], : cut.shape[1]]
    centre = (cut * xs).sum() / cut.sum(), (cut * ys).sum() / cut.sum()
    assert centre == pytest.approx(frame.place((17.0, 25.0)), abs=0.05)


def test_frame_beyond_the_photo_is_dark():
    frame = Frame(left=-30, top=0, width=60, height=30, zoom=1.0)
    cut = frame.cut(np.full((30, 30, 3), 255, np.uint8))
    assert share_of(cut[:, :30], DARK) == 1.0
    assert cut[:, 30:].min() == 255


def test_an_axis_drawn_out_too_far_does_not_fill_the_memory(make, reading):
    limbs = tuple(
        replace(limb, axis_px=((limb.axis_px[0][0], 1e6), (0.0, -1e6)))
        for limb in reading.limbs
    )
    drawn = draw_overlay(plain_picture(), replace(reading, limbs=limbs))
    assert drawn.size < 4 * VIEW_LONG_SIDE**2 * 3
