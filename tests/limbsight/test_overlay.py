"""The picture for a person: of one size, whatever was found, and the photo left as it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from limbsight.overlay import draw_overlay
from tests.helpers.overlays import PLAIN, plain_picture


def test_view_has_one_size_whatever_the_photo(make, reading):
    small = draw_overlay(plain_picture(), reading)
    big_reading = replace(
        reading,
        graduations=tuple(
            replace(m, start_px=scaled(m.start_px), end_px=scaled(m.end_px))
            for m in reading.graduations
        ),
        limbs=tuple(scaled_limb(limb) for limb in reading.limbs),
    )
    big = draw_overlay(plain_picture(3000, 4000), big_reading)
    assert np.abs(np.subtract(big.shape, small.shape)).max() <= 4


def scaled(point, by=5.0):
    return point[0] * by, point[1] * by


def scaled_limb(limb):
    levels = tuple(
        replace(
            level,
            x_px=level.x_px * 5,
            y_px=level.y_px * 5,
            interval_px=tuple(map(scaled, level.interval_px)),
        )
        for level in limb.levels
    )
    axis = tuple(map(scaled, limb.axis_px))
    return replace(limb, levels=levels, axis_px=axis, width_px=limb.width_px * 5)


def test_photo_is_left_as_it_is(reading):
    picture = plain_picture()
    draw_overlay(picture, reading)
    assert (picture.bgr == PLAIN).all()


def test_partial_findings_are_drawn(make, reading):
    for part in (
        replace(reading, limbs=()),
        replace(reading, graduations=()),
        replace(reading, graduations=reading.graduations[:1]),
        replace(reading, pressure=None, instrument=None, taken_at=None),
        replace(reading, limbs=tuple(replace(limb, levels=()) for limb in reading.limbs)),
    ):
        assert draw_overlay(plain_picture(), part).shape[2] == 3
