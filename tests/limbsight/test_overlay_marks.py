"""Levels, marks and intervals, drawn where they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.overlay import draw_overlay
from limbsight.overlay_frame import frame_instrument
from limbsight.overlay_geometry import level_direction, number_levels, place_labels
from limbsight.overlay_marks import draw_level
from limbsight.overlay_strokes import YELLOW
from tests.helpers.overlays import PLAIN, plain_picture, share_of


def changed(one, other):
    return np.abs(one.astype(int) - other.astype(int)).max(axis=-1) > 30


def test_level_is_drawn_where_it_is(make, reading):
    """Without its levels the view is the same but for the level: the difference is it."""
    at = reading.limbs[1].levels[0]
    frame = frame_instrument(plain_picture(), reading, place_labels(reading))
    x, y = frame.place((at.x_px, at.y_px))
    view = np.full((*frame.size[::-1], 3), PLAIN, np.uint8)
    blank = view.copy()
    numbered = number_levels(reading)[1]
    draw_level(view, frame, numbered, level_direction(reading, numbered))
    rows, columns = np.nonzero(changed(view, blank))
    # The line runs across the tube through the level; the tag lies in the same row.
    assert np.median(rows) == pytest.approx(y, abs=2)
    assert columns.min() < x - 32 < x + 32 < columns.max()


def test_point_like_marks_and_intervals_are_drawn(reading):
    marks = tuple(replace(mark, end_px=mark.start_px) for mark in reading.graduations)
    limbs = tuple(
        replace(
            limb,
            levels=tuple(
                replace(lv, interval_px=((lv.x_px, lv.y_px),) * 2) for lv in limb.levels
            ),
        )
        for limb in reading.limbs
    )
    drawn = draw_overlay(plain_picture(), replace(reading, graduations=marks, limbs=limbs))
    assert share_of(drawn, YELLOW) > 0
