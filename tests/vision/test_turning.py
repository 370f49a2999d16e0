"""Turning about the middle: positions carried both ways, pixels where they belong."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.vision.turning import Turn, turned_copy
from limbsight.vision.working import WorkingImage, full_size, working_image

ANGLES = st.floats(-2 * np.pi, 2 * np.pi)
SIZES = st.tuples(st.integers(2, 5000), st.integers(2, 5000))
PLACES = st.tuples(st.floats(-1e3, 6e3), st.floats(-1e3, 6e3))


def smooth_picture(width: int, height: int) -> np.ndarray:
    """Brightness that bends slowly, so that every place has its own colour."""
    y, x = np.mgrid[:height, :width].astype(float)
    colours = [
        127 + 100 * np.sin(x / 47 + y / 91),
        127 + 100 * np.cos(x / 71 - y / 53),
        127 + 100 * np.sin(x / 97) * np.cos(y / 83),
    ]
    return np.round(np.stack(colours, axis=-1)).astype(np.uint8)


@given(ANGLES, SIZES, PLACES)
def test_there_and_back(angle, size, place):
    turn = Turn(angle_rad=angle, size_px=size)
    back = turn.from_picture(*turn.to_picture(*place))
    assert np.allclose(back, place, atol=1e-8)


@given(ANGLES, SIZES, PLACES, PLACES)
def test_distances_and_the_middle_are_kept(angle, size, one, other):
    turn = Turn(angle_rad=angle, size_px=size)
    a, b = np.array(turn.to_picture(*one)), np.array(turn.to_picture(*other))
    assert np.hypot(*(a - b)) == pytest.approx(np.hypot(*np.subtract(one, other)), abs=1e-8)
    middle = turn.to_picture(*(0.5 * (np.array(turn.canvas_px) - 1)))
    assert np.allclose(middle, 0.5 * (np.array(size) - 1))


@given(ANGLES, SIZES)
def test_the_canvas_holds_the_picture_and_its_up_points_to_the_angle(angle, size):
    turn = Turn(angle_rad=angle, size_px=size)
    width, height = size
    x = np.array([-0.5, width - 0.5, -0.5, width - 0.5])
    y = np.array([-0.5, -0.5, height - 0.5, height - 0.5])
    corners = np.array(turn.from_picture(x, y))
    assert (corners > -0.51).all()
    assert (corners < np.array(turn.canvas_px)[:, None] - 0.49).all()
    up = np.array(turn.to_picture(0.0, -1.0)) - np.array(turn.to_picture(0.0, 0.0))
    assert np.allclose(up, [np.sin(angle), -np.cos(angle)], atol=1e-8)


@pytest.mark.parametrize(("quarters", "turns"), [(1, 1), (2, 2), (3, 3), (-1, 3)])
def test_a_quarter_turn_moves_whole_pixels(quarters, turns):
    picture = smooth_picture(90, 131)
    turn = Turn.towards(quarters * np.pi / 2 + 0.1, (90, 131))
    copy = turned_copy(full_size(picture), turn)
    # What points right in the picture points up in the copy: anticlockwise.
    assert np.array_equal(copy.bgr, np.rot90(picture, turns))
    assert copy.full_size_px == turn.canvas_px


def test_nothing_to_turn_is_the_same_picture():
    working = full_size(smooth_picture(60, 40))
    turn = Turn.towards(0.05, (60, 40))
    assert turn.is_none
    assert turned_copy(working, turn) is working
    assert not Turn.towards(0.2, (60, 40)).is_none


@pytest.mark.parametrize("angle", [0.4, -1.1, 2.6])
@pytest.mark.parametrize("size", [(300, 220), (601, 503)])
def test_pixels_are_where_the_turn_says(angle, size, monkeypatch):
    """Also in a reduced copy, whose picture was cut to whole blocks."""
    monkeypatch.setattr("limbsight.vision.search_size.SEARCH_PIXELS", 8e4)
    picture = smooth_picture(*size)
    working = working_image(picture)
    turn = Turn(angle_rad=angle, size_px=size)
    copy = turned_copy(working, turn)
    assert copy.factor == working.factor == (1.0 if size == (300, 220) else 2.0)
    rows, columns = (np.linspace(40, n - 40, 23).round() for n in copy.bgr.shape[:2])
    x, y = np.meshgrid(columns, rows)
    at = turn.to_picture(*((v + 0.5) * copy.factor - 0.5 for v in (x, y)))
    inside = np.logical_and.reduce(
        [(v > 4) & (v < extent - 8) for v, extent in zip(at, size, strict=True)]
    )
    at_x, at_y = (v.astype(np.float32) for v in at)
    expected = cv2.remap(picture, at_x, at_y, cv2.INTER_LINEAR)
    shown = copy.bgr[y.astype(int), x.astype(int)]
    assert inside.sum() > 100
    assert np.abs(shown[inside].astype(float) - expected[inside]).max() < 4


def test_empty_corners_have_the_colour_of_the_picture():
    picture = np.full((100, 100, 3), (30, 90, 150), np.uint8)
    working = WorkingImage(bgr=picture, factor=1.0, full_size_px=(100, 100))
    copy = turned_copy(working, Turn(angle_rad=0.7, size_px=(100, 100)))
    assert np.abs(copy.bgr.astype(int) - (30, 90, 150)).max() <= 1
