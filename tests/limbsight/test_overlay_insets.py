"""Levels enlarged."""

from __future__ import annotations

from dataclasses import replace

import pytest

from limbsight.overlay import draw_overlay
from limbsight.overlay_frame import VIEW_LONG_SIDE
from limbsight.overlay_geometry import number_levels
from limbsight.overlay_insets import PANEL_WIDTH, _frame_inset
from limbsight.overlay_strokes import YELLOW
from tests.helpers.overlays import plain_picture, share_of


def test_every_level_has_an_enlargement(make, reading):
    without = replace(reading, limbs=tuple(replace(limb, levels=()) for limb in reading.limbs))
    plain = draw_overlay(plain_picture(), without)
    drawn = draw_overlay(plain_picture(), reading)
    assert drawn.shape[1] == plain.shape[1] + PANEL_WIDTH
    panel = drawn[-VIEW_LONG_SIDE:, -PANEL_WIDTH:]
    assert share_of(panel, YELLOW) > 1e-3


def test_an_enlargement_holds_its_level_where_lines_run_over_the_whole_board(reading):
    wide = tuple(
        replace(mark, start_px=(20.0, mark.start_px[1]), end_px=(2400.0, mark.end_px[1]))
        for mark in reading.graduations
    )
    reading = replace(reading, graduations=wide)
    for numbered in number_levels(reading):
        frame = _frame_inset(reading, numbered, 300)
        x, y = frame.place((numbered.level.x_px, numbered.level.y_px))
        width, height = frame.size
        assert 0 < x < width
        assert 0 < y < height


@pytest.mark.parametrize("count", [1, 4, 9])
def test_many_levels_go_into_columns(make, count):
    levels = tuple(make.level(float(i), 200.0) for i in range(count))
    reading = make.reading(limbs=(make.limb("left", 200.0, *levels),))
    assert draw_overlay(plain_picture(), reading).shape[0] < 1.4 * VIEW_LONG_SIDE
