"""The picture for a person: what is drawn where, checked as colours at places."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight import overlay
from limbsight.overlay import STATUS_COLOUR, YELLOW, draw_overlay
from limbsight.records import Reason
from limbsight.vision.picture import Picture

PLAIN = 128


def plain_picture(width=600, height=800) -> Picture:
    return Picture(
        size_px=(width, height),
        decode=lambda: np.full((height, width, 3), PLAIN, np.uint8),
        focal_35mm=None,
        taken_at=None,
        sha256="ab" * 32,
    )


def share_of(image, colour, tolerance=12) -> float:
    near = np.abs(image.astype(int) - np.array(colour)).max(axis=-1) <= tolerance
    return float(near.mean())


def changed(one, other):
    return np.abs(one.astype(int) - other.astype(int)).max(axis=-1) > 30


@pytest.mark.parametrize("status", ["read", "check", "refused"])
def test_banner_has_the_colour_of_the_status(make, status):
    drawn = draw_overlay(plain_picture(), make.reading(status=status))
    assert share_of(drawn[:4], STATUS_COLOUR[status]) == 1.0


def test_status_colours_differ_in_lightness_for_the_colour_blind():
    """Luma by ITU-R BT.601: 0.114 B + 0.587 G + 0.299 R."""
    luma = sorted(np.dot(c, (0.114, 0.587, 0.299)) for c in STATUS_COLOUR.values())
    assert min(np.diff(luma)) > 8


def test_level_is_drawn_where_it_is(make, reading):
    """Without its levels the view is the same but for the level: the difference is it."""
    at = reading.limbs[1].levels[0]
    frame = overlay._frame_instrument(plain_picture(), reading, overlay._place_labels(reading))
    x, y = frame.place((at.x_px, at.y_px))
    view = np.full((*frame.size[::-1], 3), PLAIN, np.uint8)
    blank = view.copy()
    numbered = overlay._number_levels(reading)[1]
    overlay._draw_level(view, frame, numbered, overlay._level_direction(reading, numbered))
    rows, columns = np.nonzero(changed(view, blank))
    # The line runs across the tube through the level; the tag lies in the same row.
    assert np.median(rows) == pytest.approx(y, abs=2)
    assert columns.min() < x - 32 < x + 32 < columns.max()


def test_frame_keeps_sub_pixel_places():
    """Closed form: enlarged k times, pixel centre c lies at (c + 1/2) k - 1/2."""
    frame = overlay._Frame(left=10, top=20, width=50, height=40, zoom=3.0)
    assert frame.place((10.0, 20.0)) == (1.0, 1.0)
    assert frame.place((12.5, 21.0)) == (8.5, 4.0)
    picture = np.zeros((200, 200, 3), np.uint8)
    picture[25, 17] = 255
    cut = frame.cut(picture).astype(float)[..., 0]
    ys, xs = np.mgrid[: cut.shape[0], : cut.shape[1]]
    centre = (cut * xs).sum() / cut.sum(), (cut * ys).sum() / cut.sum()
    assert centre == pytest.approx(frame.place((17.0, 25.0)), abs=0.05)


def test_frame_beyond_the_photo_is_dark():
    frame = overlay._Frame(left=-30, top=0, width=60, height=30, zoom=1.0)
    cut = frame.cut(np.full((30, 30, 3), 255, np.uint8))
    assert share_of(cut[:, :30], overlay.DARK) == 1.0
    assert cut[:, 30:].min() == 255


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


def test_every_level_has_an_enlargement(make, reading):
    without = replace(reading, limbs=tuple(replace(limb, levels=()) for limb in reading.limbs))
    plain = draw_overlay(plain_picture(), without)
    drawn = draw_overlay(plain_picture(), reading)
    assert drawn.shape[1] == plain.shape[1] + overlay.PANEL_WIDTH
    panel = drawn[-overlay.VIEW_LONG_SIDE :, -overlay.PANEL_WIDTH :]
    assert share_of(panel, YELLOW) > 1e-3


def test_an_enlargement_holds_its_level_where_lines_run_over_the_whole_board(reading):
    wide = tuple(
        replace(mark, start_px=(20.0, mark.start_px[1]), end_px=(2400.0, mark.end_px[1]))
        for mark in reading.graduations
    )
    reading = replace(reading, graduations=wide)
    for numbered in overlay._number_levels(reading):
        frame = overlay._frame_inset(reading, numbered, 300)
        x, y = frame.place((numbered.level.x_px, numbered.level.y_px))
        width, height = frame.size
        assert 0 < x < width
        assert 0 < y < height


@pytest.mark.parametrize("count", [1, 4, 9])
def test_many_levels_go_into_columns(make, count):
    levels = tuple(make.level(float(i), 200.0) for i in range(count))
    reading = make.reading(limbs=(make.limb("left", 200.0, *levels),))
    assert draw_overlay(plain_picture(), reading).shape[0] < 1.4 * overlay.VIEW_LONG_SIDE


def test_refused_photo_is_shown_whole_with_its_reasons(refused):
    one = draw_overlay(plain_picture(), refused)
    long_reason = Reason(code="x", text="a long reason " * 20)
    more = replace(refused, reasons=(*refused.reasons, long_reason))
    two = draw_overlay(plain_picture(), more)
    assert one.shape[1] == 1200  # 600 x 800 enlarged to 1600
    assert two.shape[0] > one.shape[0] + 2 * overlay.TEXT


def test_partial_findings_are_drawn(make, reading):
    for part in (
        replace(reading, limbs=()),
        replace(reading, graduations=()),
        replace(reading, graduations=reading.graduations[:1]),
        replace(reading, pressure=None, instrument=None, taken_at=None),
        replace(reading, limbs=tuple(replace(limb, levels=()) for limb in reading.limbs)),
    ):
        assert draw_overlay(plain_picture(), part).shape[2] == 3


def test_an_axis_drawn_out_too_far_does_not_fill_the_memory(make, reading):
    limbs = tuple(
        replace(limb, axis_px=((limb.axis_px[0][0], 1e6), (0.0, -1e6)))
        for limb in reading.limbs
    )
    drawn = draw_overlay(plain_picture(), replace(reading, limbs=limbs))
    assert drawn.size < 4 * overlay.VIEW_LONG_SIDE**2 * 3


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


def test_two_scales_have_their_numbers_on_their_own_side(make, reading):
    left = tuple(
        replace(mark, start_px=(120.0, mark.start_px[1]), end_px=(150.0, mark.end_px[1]))
        for mark in reading.graduations
    )
    right = tuple(
        replace(mark, start_px=(450.0, mark.start_px[1]), end_px=(480.0, mark.end_px[1]))
        for mark in reading.graduations
    )
    both = overlay._place_labels(replace(reading, graduations=left + right))
    for mark, (x, y) in both:
        assert y == pytest.approx(mark.start_px[1])
        assert x < 120 if mark.start_px[0] < 300 else x > 480
