"""Directions of scales on drawn boards, turned to any angle."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.vision.directions import scale_directions
from tests.helpers.boards import Camera, Column, photograph, print_of

TOLERANCE_DEG = 3.5
"""Perspective turns the lines along the scale by 3 degrees.  Of 1336 angles, most of them near
1.4 degrees off an axis, where lines of six pixels show one step or none, the worst is 3.2."""


def board(camera: Camera, *columns: Column, ink: float = 0.03, light: float = 0.7):
    picture = photograph(camera, print_of(*columns, ink=ink, board=light))
    return np.ascontiguousarray(picture[:, :, 1])


def true_direction(camera: Camera) -> float:
    """From the picture's upward direction towards the right [deg], the upper end's."""
    x, y = camera.project([0.0, 0.0], [-20.0, 20.0])
    return float(np.degrees(np.arctan2(np.diff(x), -np.diff(y))[0]))


def apart(one: float, other: float) -> float:
    """Of two lines without sense [deg]."""
    return abs((one - other + 90.0) % 180.0 - 90.0)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.0, 360.0), st.floats(-6.0, 6.0), st.booleans())
def test_any_angle_is_found(roll, yaw, light_print):
    camera = Camera(width=480, height=480, roll=roll, yaw=yaw)
    ink, paper = (0.7, 0.05) if light_print else (0.03, 0.7)
    found = scale_directions(board(camera, Column(), ink=ink, light=paper))
    assert found
    assert apart(np.degrees(found[0]), true_direction(camera)) < TOLERANCE_DEG
    assert -np.pi / 2 < found[0] <= np.pi / 2


def test_fine_graduations_of_one_length():
    """Eighty lines 4 px apart."""
    camera = Camera(width=400, height=400, roll=37.0, distance=375.0)
    column = Column(lengths=(4.0, 4.0, 4.0))
    found = scale_directions(board(camera, column))
    assert apart(np.degrees(found[0]), true_direction(camera)) < TOLERANCE_DEG


@pytest.mark.parametrize("roll", [20.0, 68.0, 110.0, 151.0])
def test_graduations_joined_by_a_line_along_their_scale(roll):
    camera = Camera(width=480, height=480, roll=roll)
    picture = board(camera, Column())
    ends = np.stack(camera.project([0.0, 0.0], [-40.0, 40.0]), axis=1)
    first, last = np.round(ends).astype(int).tolist()
    cv2.line(picture, first, last, int(picture.min()), 1, cv2.LINE_AA)
    found = scale_directions(picture)
    assert apart(np.degrees(found[0]), true_direction(camera)) < TOLERANCE_DEG


def test_the_fuller_of_two_scales_comes_first():
    camera = Camera(width=560, height=560, roll=0.0)
    upright = board(camera, Column(first=-8, last=8))
    lying = board(Camera(width=560, height=560, roll=90.0), Column())
    both = np.minimum(upright, np.roll(lying, 150, axis=0))
    found = scale_directions(both)
    assert apart(np.degrees(found[0]), 90.0) < TOLERANCE_DEG


@pytest.mark.parametrize("seed", [1, 2])
def test_nothing_is_seen_in_noise_or_in_an_empty_picture(seed):
    noise = np.random.default_rng(seed).normal(128, 12, (500, 500))
    assert scale_directions(np.clip(noise, 0, 255).astype(np.uint8)) == ()
    assert scale_directions(np.full((300, 300), 90, np.uint8)) == ()
