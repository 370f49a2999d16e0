"""Longer lines numbered as graduations of the whole scale."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib import coarse_scale
from limbsight.calib.camera import Frame
from limbsight.calib.coarse_scale import longer_divisions, name_longer_lines
from limbsight.calib.numbering import NamedScale
from limbsight.calib.scale_fit import fit_scale_map
from limbsight.errors import NotMeasurable
from tests.helpers.boards import Camera, Column
from tests.helpers.scales import millimetres

CAMERA = Camera()
FRAME = Frame.of_picture(1500, 2000, None, whole=True)
SCALE = millimetres(0.0, 80.0)
EVERY_FIFTH = Column(first=0, last=16).comb(CAMERA, start=7)


def test_as_many_lines_as_the_scale_has_of_every_fifth():
    assert [apart for apart, _ in longer_divisions((EVERY_FIFTH,), SCALE)] == [5]
    (_, longer), *_ = longer_divisions((EVERY_FIFTH,), SCALE)
    assert longer.division == pytest.approx(5.0)
    assert (longer.lowest, longer.highest) == (SCALE.lowest, SCALE.highest)


def test_neither_half_seen_nor_more_than_the_scale_has():
    few = replace(
        EVERY_FIFTH, index=EVERY_FIFTH.index[:6], lines=EVERY_FIFTH.lines.take(np.arange(6))
    )
    assert 5 not in [apart for apart, _ in longer_divisions((few,), SCALE)]
    assert not list(longer_divisions((Column(first=0, last=80).comb(CAMERA),), SCALE))


def test_of_a_long_scale_as_many_as_the_picture_has_room_for():
    long = millimetres(0.0, 400.0)
    height_px = 20 * EVERY_FIFTH.pitch_px
    assert not list(longer_divisions((EVERY_FIFTH,), long))
    assert 5 in [apart for apart, _ in longer_divisions((EVERY_FIFTH,), long, height_px)]


def test_ends_that_are_no_longer_lines_leave_it_open():
    assert not list(longer_divisions((EVERY_FIFTH,), millimetres(1.0, 81.0)))


def named_as(monkeypatch, **what) -> None:
    """Let the figures name the lines: the lowest is graduation 0 of the longer scale."""

    def named(grey, factor, combs, scale, frame, *, by_numbers):
        assert by_numbers
        heights = scale.lowest + (combs[0].index - 7) * scale.division
        return NamedScale(
            combs=combs,
            shifts=(-7,) * len(combs),
            map=fit_scale_map(combs[:1], (heights,), frame),
            numbers_read=True,
            **what,
        )

    monkeypatch.setattr(coarse_scale, "name_graduations", named)


def test_indices_count_the_divisions_of_the_scale(monkeypatch):
    named_as(monkeypatch, ink_read=True, place_read=True)
    picture = np.zeros((9, 9), np.uint8)
    named = name_longer_lines(picture, 1.0, (EVERY_FIFTH,), SCALE, FRAME)
    assert named.apart == 5
    np.testing.assert_array_equal(named.combs[0].index + named.shifts[0], 5 * np.arange(17))
    lines = named.combs[0].lines
    read = named.map.value_at(lines.x, lines.y)
    np.testing.assert_allclose(read, 5.0 * np.arange(17), atol=0.05)


@pytest.mark.parametrize("unread", ["ink_read", "place_read"])
def test_ink_and_place_of_the_figures_must_be_seen(monkeypatch, unread):
    named_as(monkeypatch, **({"ink_read": True, "place_read": True} | {unread: False}))
    with pytest.raises(NotMeasurable) as refused:
        name_longer_lines(np.zeros((9, 9), np.uint8), 1.0, (EVERY_FIFTH,), SCALE, FRAME)
    assert refused.value.code == "scale_ambiguous"


@pytest.mark.parametrize(("offset", "kept"), [(0.01, True), (0.14, False)])
def test_columns_must_keep_step_to_a_part_of_a_short_division(monkeypatch, offset, kept):
    named_as(monkeypatch, ink_read=True, place_read=True)
    beside = replace(EVERY_FIFTH, index_offset=offset, index_error=0.1)
    combs, picture = (EVERY_FIFTH, beside), np.zeros((9, 9), np.uint8)
    if kept:
        assert name_longer_lines(picture, 1.0, combs, SCALE, FRAME).apart == 5
        return
    with pytest.raises(NotMeasurable):
        name_longer_lines(picture, 1.0, combs, SCALE, FRAME)
