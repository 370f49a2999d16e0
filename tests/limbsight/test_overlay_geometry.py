"""Where the numbers of graduations go."""

from __future__ import annotations

from dataclasses import replace

import pytest

from limbsight.overlay_geometry import place_labels


def test_two_scales_have_their_numbers_on_their_own_side(make, reading):
    left = tuple(
        replace(mark, start_px=(120.0, mark.start_px[1]), end_px=(150.0, mark.end_px[1]))
        for mark in reading.graduations
    )
    right = tuple(
        replace(mark, start_px=(450.0, mark.start_px[1]), end_px=(480.0, mark.end_px[1]))
        for mark in reading.graduations
    )
    both = place_labels(replace(reading, graduations=left + right))
    for mark, (x, y) in both:
        assert y == pytest.approx(mark.start_px[1])
        assert x < 120 if mark.start_px[0] < 300 else x > 480
