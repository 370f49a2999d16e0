"""The map of a flat board: exact for a pinhole, and found again from its lines."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.vision.board_map import LEAST_DENOMINATOR, BoardMap
from tests.helpers.boards import Camera

CAMERA = Camera(width=900, height=1200, focal_px=1900.0, distance=400.0)
SIZE = (CAMERA.width, CAMERA.height)
START = BoardMap(parameters=np.array([0.0, -150.0, 0.0, 0.0, 0.0, 0.0]), size_px=SIZE)
POSES = [
    {},
    {"pitch": 6.0},
    {"yaw": 5.0, "pitch": -6.0, "roll": 4.0},
    {"pitch": 3.0, "k1": -0.02},
]


def seen(camera):
    """Places of lines a unit apart, and their numbers."""
    x, y = (
        p.ravel() for p in np.meshgrid(np.linspace(-60, 60, 13), np.arange(-80.0, 81.0, 4))
    )
    across, down = (np.asarray(p, np.float64) for p in camera.project(x, y))
    return across, down, y


def fitted(camera, rounds=6):
    x, y, index = seen(camera)
    return START.fitted(x, y, index, scale=1.0, rounds=rounds)


@pytest.mark.parametrize("pose", POSES)
def test_lines_of_a_flat_board_are_even_in_it(pose):
    """Through a pinhole of its own, with radial distortion: the map has no other error."""
    camera = replace(CAMERA, **pose)
    x, y, index = seen(camera)
    found = fitted(camera)
    # priors on tilt and distortion pull by a few thousandths of a division
    assert np.abs(found.index_at(x, y) - index).max() < 0.03


@pytest.mark.parametrize("pose", POSES)
def test_between_the_lines_too(pose):
    camera = replace(CAMERA, **pose)
    x_mm, y_mm = np.array([-33.3, 0.0, 41.7]), np.array([-71.3, 0.25, 66.6])
    x, y = (np.asarray(p, np.float64) for p in camera.project(x_mm, y_mm))
    assert np.abs(fitted(camera).index_at(x, y) - y_mm).max() < 0.03


def test_pieces_seen_through_glass_do_not_move_it():
    """A fifth of the places, off by half a division."""
    x, y, index = seen(CAMERA)
    off = np.where(np.arange(len(index)) % 5 == 0, 0.5, 0.0)
    found = START.fitted(x, y, index + off, scale=0.05, rounds=12)
    assert np.abs(found.index_at(x, y) - index).max() < 0.03


def test_change_over_a_pixel_is_one_over_the_pitch():
    found = fitted(CAMERA)
    middle = np.array([0.5 * (SIZE[0] - 1)]), np.array([0.5 * (SIZE[1] - 1)])
    assert found.per_px(*middle)[0] == pytest.approx(
        CAMERA.distance / CAMERA.focal_px, rel=1e-3
    )


@settings(max_examples=20, deadline=None)
@given(
    st.lists(st.floats(-0.2, 0.2), min_size=4, max_size=4),
    st.floats(0.0, 899.0),
    st.floats(0.0, 1199.0),
)
def test_slopes_by_each_parameter_against_differences(change, x, y):
    lean, tilt_x, tilt_y, bend = change
    here = BoardMap(
        parameters=np.array([40 * lean, -150.0, 3.0, tilt_x, tilt_y, bend]), size_px=SIZE
    )
    place = np.array([x]), np.array([y])
    value, design = here.design(*place)
    assert value == pytest.approx(here.index_at(*place))
    for k, size in enumerate((1.0, 1.0, 1.0, 0.1, 0.1, 0.1)):
        step = np.zeros(6)
        step[k] = 1e-5 * size
        ends = [here.moved(way * step).index_at(*place)[0] for way in (-1, 1)]
        slope = (ends[1] - ends[0]) / (2e-5 * size)
        assert design[k, 0] == pytest.approx(slope, rel=1e-4, abs=1e-3)


def test_beyond_the_vanishing_line_it_stays_finite():
    tilted = BoardMap(parameters=np.array([0.0, -150.0, 0.0, 0.0, 3.0, 0.0]), size_px=SIZE)
    found = tilted.index_at(np.full(50, 450.0), np.linspace(0.0, 1199.0, 50))
    assert np.isfinite(found).all()
    assert np.abs(found).max() <= 150.0 / LEAST_DENOMINATOR


def test_no_places_make_a_poor_map_and_no_error():
    none = np.zeros(0)
    found = START.fitted(none, none, none, scale=0.1)
    assert found.parameters == pytest.approx(START.parameters)


class TestAcross:
    def test_seen_straight_it_is_pixels_to_the_right(self):
        x, y = np.array([400.0, 449.5, 520.0]), np.array([100.0, 300.0, 900.0])
        found = START.across(x, y)
        assert np.diff(found) == pytest.approx(np.diff(x))

    def test_it_grows_to_the_right_on_a_board_that_stands_on_its_head(self):
        turned = START.moved(np.array([0.0, 300.0, 0.0, 0.0, 0.0, 0.0]))
        assert (
            np.diff(turned.across(np.array([100.0, 800.0]), np.array([0.0, 0.0]))) > 0
        ).all()

    @pytest.mark.parametrize(
        "pose", [{"roll": 7.0}, {"pitch": 6.0}, {"yaw": 4.0, "pitch": 5.0}]
    )
    def test_uprights_of_the_board_stay_at_one_distance(self, pose):
        camera = replace(CAMERA, **pose)
        x_mm, y_mm = np.repeat([-40.0, 0.0, 40.0], 9), np.tile(np.linspace(-70, 70, 9), 3)
        x, y = (np.asarray(p, np.float64) for p in camera.project(x_mm, y_mm))
        focal = camera.focal_px / START.half_diagonal_px
        found = fitted(camera).across(x, y, focal).reshape(3, 9)
        assert np.ptp(found, axis=1).max() < 1.0
        # 40 mm apart, in pixels as in the middle
        assert np.diff(found.mean(axis=1)) == pytest.approx(40 * camera.px_per_mm, rel=0.06)
