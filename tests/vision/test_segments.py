"""Thin lines, drawn with their truth between pixels."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.vision.segments import (
    MAX_SLOPE,
    Segments,
    find_ridges,
    find_segments,
    segments_of,
)
from tests.helpers.boards import Camera, Column, photograph, print_of

COLUMN = Column(first=-20, last=20, division=2.0)
FOCAL_PX = 1517.0  # no whole number of pixels a line, so that every phase occurs
WITHIN_PX = 0.6
"""A found line belongs to the drawn one that it passes this close to; they are 10 px apart."""


def matched(found: Segments, camera: Camera) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Height error, slope error and excess length of each drawn line that was found."""
    truth = COLUMN.comb(camera).lines
    height, slope, excess = [], [], []
    for x, y, lean, length in zip(truth.x, truth.y, truth.slope, truth.length, strict=True):
        miss = found.y_at(np.full(len(found), x)) - y
        over = (found.left < x) & (found.right > x)
        near = np.flatnonzero((np.abs(miss) < WITHIN_PX) & over)
        if len(near):
            i = near[0]
            height.append(miss[i])
            slope.append(found.slope[i] - lean)
            excess.append(found.length[i] - length)
    return np.array(height), np.array(slope), np.array(excess)


def grey_of(picture):
    return np.ascontiguousarray(picture[:, :, 1])


@pytest.mark.parametrize(
    ("pose", "options"),
    [
        ({}, {}),
        ({"roll": 12.0}, {}),
        ({"roll": -15.0, "pitch": 1.0}, {}),
        ({"yaw": 2.0, "pitch": -2.0, "roll": 3.0, "k1": 0.02}, {}),
        ({"roll": 2.0}, {"blur_px": 1.6}),
        ({"roll": 2.0}, {"blur_px": 0.4}),
        ({"roll": -3.0}, {"noise": 5.0}),
        ({"roll": -3.0}, {"gamma": 1.0}),
        ({"roll": -3.0}, {"gamma": 3.0}),
    ],
)
def test_lines_are_found_where_they_are(pose, options):
    camera = Camera(focal_px=FOCAL_PX, **pose)
    picture = photograph(camera, print_of(COLUMN), **options)
    height, slope, excess = matched(find_segments(grey_of(picture), dark=True), camera)
    assert len(height) >= 0.95 * len(COLUMN.numbers)
    # Tone and blur leave a symmetric line where it is.
    assert abs(height.mean()) < 0.02
    assert height.std() < 0.08
    # The smoothed ends of these 15 px lines lie flatter: 1/20 of the slope, as seen here; the
    # scale map has a parameter for it.
    lean = abs(np.tan(np.radians(camera.roll)))
    assert abs(slope.mean()) < 0.05 * lean + 0.005
    assert slope.std() < 0.02
    # Smoothing and blur leave half of the answer where a line ends.
    assert abs(np.median(excess)) < 1.0


def test_light_lines_are_the_same_as_dark_ones():
    camera = Camera(roll=4.0)
    grey = grey_of(photograph(camera, print_of(COLUMN)))
    dark, light = find_segments(grey, dark=True), find_segments(255 - grey, dark=False)
    assert len(dark) == len(light)
    np.testing.assert_allclose(dark.y, light.y, atol=1e-3)
    np.testing.assert_allclose(dark.left, light.left)


def test_lines_of_the_other_polarity_are_left_out():
    camera = Camera()
    wide = Column(first=-8, last=8, division=5.0)  # gaps too wide to be lines themselves
    grey = grey_of(photograph(camera, print_of(wide), noise=0.5))
    found = find_segments(grey, dark=False)
    strong = found.strength > 0.3 * find_segments(grey, dark=True).strength.max()
    _, y = camera.project(np.full(17, 1.0), 5.0 * wide.numbers)
    miss = np.abs(found.y[strong][:, None] - y[None, :]).min(axis=1, initial=np.inf)
    assert (miss > 1.0).all()


def test_upright_edges_and_steep_lines_are_none():
    grey = np.full((200, 200), 200, np.uint8)
    grey[:, 100:] = 60
    assert len(find_segments(grey, dark=True)) == 0
    steep = Camera(roll=35.0)  # tan 35 degrees = 0.7
    found = find_segments(grey_of(photograph(steep, print_of(COLUMN), noise=0.0)), dark=True)
    assert (np.abs(found.slope) < MAX_SLOPE).all()
    assert len(matched(found, steep)[0]) < 0.1 * len(COLUMN.numbers)


@pytest.mark.parametrize(
    "grey", [np.full((90, 120), 128, np.uint8), np.zeros((6, 6), np.uint8)]
)
def test_nothing_in_an_empty_picture(grey):
    assert len(find_segments(grey, dark=True)) == 0


def test_noise_alone_gives_few_and_faint_lines():
    noise = np.random.default_rng(3).normal(128, 6, (400, 400))
    found = find_segments(np.clip(noise, 0, 255).astype(np.uint8), dark=True)
    assert len(found) < 400 * 400 / 100


@settings(max_examples=25, deadline=None)
@given(
    slope=st.floats(-0.3, 0.3),
    y=st.floats(15.0, 25.0),
    contrast=st.floats(25.0, 180.0),
)
def test_one_line_at_any_slope_and_height(slope, y, contrast):
    """A Gaussian line, written down by formula: y at x = 30 is known to any digit."""
    rows, columns = np.mgrid[0:40, 0:61]
    away = rows - (y + slope * (columns - 30))
    inside = (columns >= 10) & (columns <= 50)
    grey = np.round(200 - contrast * np.exp(-0.5 * (away / 1.1) ** 2) * inside)
    found = find_segments(grey.astype(np.uint8), dark=True)
    longest = found.take(np.array([int(np.argmax(found.length))]))
    assert longest.y_at(np.array([30.0]))[0] == pytest.approx(y, abs=0.08)
    assert longest.slope[0] == pytest.approx(slope, abs=0.01)
    assert longest.left[0] == pytest.approx(10, abs=3.5)
    assert longest.right[0] == pytest.approx(50, abs=3.5)


def test_what_goes_on_faintly_in_the_wall_of_a_tube_is_cut_off():
    """The line is level at 20; its reflection in the wall is at 20.6, a sixth as strong."""
    rows, columns = np.mgrid[0:40, 0:71]
    line = np.exp(-0.5 * ((rows - 20) / 1.1) ** 2) * ((columns >= 25) & (columns <= 60))
    ghost = np.exp(-0.5 * ((rows - 20.6) / 1.1) ** 2) * ((columns >= 8) & (columns < 25))
    grey = np.round(200 - 120 * line - 20 * ghost).astype(np.uint8)
    found = find_segments(grey, dark=True)
    strongest = found.take(np.array([int(np.argmax(found.strength))]))
    assert strongest.left[0] == pytest.approx(25, abs=3)
    assert strongest.right[0] == pytest.approx(60, abs=3)
    assert abs(strongest.slope[0]) < 0.002
    assert strongest.y_at(np.array([40.0]))[0] == pytest.approx(20, abs=0.02)


@pytest.mark.parametrize(("gap", "count"), [(1, 1), (6, 2)])
def test_a_line_ends_where_the_wall_of_a_tube_breaks_it(gap, count):
    """Beyond the break it stands a pixel lower; a faint reflection bridges it."""
    rows, columns = np.mgrid[0:40, 0:71]
    broken = (columns > 30) & (columns <= 30 + gap)
    y = np.where(columns <= 30, 20.0, 21.0 if gap > 1 else 20.0)
    line = np.exp(-0.5 * ((rows - y) / 1.1) ** 2) * ((columns >= 10) & (columns <= 60))
    grey = np.round(200 - 120 * np.where(broken, 0.15, 1.0) * line).astype(np.uint8)
    found = find_segments(grey, dark=True)
    assert len(found) == count
    assert found.left.min() == pytest.approx(10, abs=3)
    assert found.right.max() == pytest.approx(60, abs=3)
    if count == 2:
        assert np.sort(found.y) == pytest.approx([20.0, 21.0], abs=0.05)
        assert np.abs(found.slope).max() < 0.01


def test_faint_lines_on_a_quiet_board_in_a_picture_of_strong_ones():
    """Graph paper all round raises the noise of the picture, not that of the board."""
    camera = Camera(focal_px=FOCAL_PX)
    drawn = grey_of(photograph(camera, print_of(COLUMN), noise=0.5)).astype(float)
    middle = slice(120, 240)  # a third of the picture: the graduations and their board
    picture = np.tile(np.where(np.arange(len(drawn)) % 6 < 2, 90.0, 200.0)[:, None], 360)
    picture[:, middle] = drawn.max() + 0.15 * (drawn[:, middle] - drawn.max())
    grey = np.round(picture).astype(np.uint8)
    found = [
        matched(segments_of(find_ridges(grey, dark=True, local=local)), camera)[0]
        for local in (False, True)
    ]
    assert len(found[0]) < 0.2 * len(COLUMN.numbers)
    assert len(found[1]) > 0.9 * len(COLUMN.numbers)
