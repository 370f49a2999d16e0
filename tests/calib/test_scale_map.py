"""The scale map against a pinhole camera that was written apart from it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.calib.camera import Frame
from limbsight.calib.scale_map import _value, value_slopes
from tests.helpers.scale_maps import POSES, WIDE, fitted, grid_mm


@settings(max_examples=20, deadline=None)
@given(camera=POSES)
def test_values_are_those_of_the_camera(camera):
    """Between the columns, where the tubes stand, to a hundredth of a division."""
    found = fitted(camera)
    x, y = grid_mm()
    np.testing.assert_allclose(found.value_at(*camera.project(x, y)), y, atol=0.01)


@settings(max_examples=20, deadline=None)
@given(camera=POSES, depth=st.floats(0.0, 12.0), value=st.floats(-38, 38), x=st.floats(-8, 8))
def test_a_point_in_front_has_its_true_value(camera, depth, value, x):
    """Uncorrected it is off by depth (value - opposite) / distance: up to 4 divisions."""
    at = camera.project(np.array(x), np.array(value), depth)
    found = fitted(camera).true_value_at(float(at[0]), float(at[1]), depth)
    assert found == pytest.approx(value, abs=0.03)


def test_parallax_is_what_the_correction_takes_away():
    x, y = WIDE.project(np.array(2.0), np.array(30.0), 10.0)
    found = fitted(WIDE)
    seen = float(found.value_at(x, y))
    assert seen - 30.0 == pytest.approx(
        10.0 * (30.0 - WIDE.y) / (WIDE.distance - 10.0), abs=0.02
    )
    assert found.true_value_at(float(x), float(y), 0.0) == seen


def test_a_wrong_focal_length_moves_a_point_in_front():
    """10 % in the focal length moves it by what a wrong camera would."""
    found = fitted(WIDE)
    x, y = (float(v) for v in WIDE.project(np.array(0.0), np.array(35.0), 10.0))
    _, by_focal = found.true_sensitivity(x, y, 10.0)
    longer = replace(found, frame=replace(found.frame, focal_px=1.1 * WIDE.focal_px))
    change = longer.true_value_at(x, y, 10.0) - found.true_value_at(x, y, 10.0)
    assert 0.1 * by_focal == pytest.approx(change, rel=0.15)


@settings(max_examples=20, deadline=None)
@given(step=st.floats(0.1, 5.0), start=st.floats(-100, 100), way=st.sampled_from([-1, 1]))
def test_other_numbers_are_the_same_lines(step, start, way):
    found = fitted(WIDE, noise_px=0.1)
    other = found.renumbered(way * step, start)
    x, y = WIDE.project(np.array([0.0, 3.0]), np.array([-20.0, 31.0]))
    np.testing.assert_allclose(other.value_at(x, y), start + way * step * found.value_at(x, y))
    before, after = found.pose(), other.pose()
    assert after.distance == pytest.approx(step * before.distance)
    assert after.opposite_value == pytest.approx(start + way * step * before.opposite_value)
    u = [m.sensitivity(float(x[0]), float(y[0])) for m in (found, other)]
    spread = [np.sqrt(s @ m.covariance @ s) for s, m in zip(u, (found, other), strict=True)]
    assert spread[1] == pytest.approx(step * spread[0], rel=1e-3)


def test_gradient_is_along_the_scale():
    found = fitted(replace(WIDE, roll=10.0))
    dx, dy = found.gradient(180.0, 320.0)
    pixels_mm = WIDE.distance / WIDE.focal_px
    assert np.hypot(dx, dy) == pytest.approx(pixels_mm, rel=0.02)
    assert abs(np.degrees(np.arctan2(dx, -dy))) == pytest.approx(10.0, abs=0.5)


def test_slopes_of_the_map_are_those_of_its_values():
    """Central differences of the closed form, at a map with every term in it."""
    frame = Frame.of_picture(1500, 2000, 28.0)
    p = np.array([12.0, -150.0, 30.0, 0.04, -0.07, 0.02])
    random = np.random.default_rng(4)
    x, y = random.uniform(0, 1500, 50), random.uniform(0, 2000, 50)
    _, by_parameter, by_y = value_slopes(p, frame, x, y)
    for k in range(6):
        step = np.zeros(6)
        step[k] = 1e-6 * max(abs(p[k]), 0.1)
        wanted = (_value(p + step, frame, x, y) - _value(p - step, frame, x, y)) / (
            2 * step[k]
        )
        np.testing.assert_allclose(by_parameter[:, k], wanted, rtol=1e-6, atol=1e-6)
    wanted = (_value(p, frame, x, y + 1e-3) - _value(p, frame, x, y - 1e-3)) / 2e-3
    np.testing.assert_allclose(by_y, wanted, rtol=1e-6, atol=1e-8)
