"""The graduated plane and the pose against a pinhole camera that was written apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings

from tests.helpers.scale_maps import POSES, WIDE, fitted, grid_mm


@settings(max_examples=20, deadline=None)
@given(camera=POSES)
def test_plane_projects_like_the_camera_and_back(camera):
    plane = fitted(camera).plane()
    x, y = grid_mm()
    for z in (0.0, 6.0):
        seen = camera.project(x, y, z)
        across, value = plane.from_pixel(seen[0], seen[1], in_front=z)
        back = plane.to_pixel(across, value, in_front=z)
        # Undoing k1 by fixed-point steps leaves k1 r^2 to the sixth power.
        np.testing.assert_allclose(back, seen, atol=1e-3)
    assert np.linalg.norm(plane.normal) == pytest.approx(1.0)
    assert plane.along @ plane.normal == pytest.approx(0.0, abs=1e-9)
    assert plane.across @ plane.along == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    "pose",
    [
        {},
        {"y": -22.0},
        {"pitch": 7.0, "y": -16.0},
        {"yaw": 5.0, "x": -10.0},
        {"roll": 10.0, "pitch": -4.0},
        {"pitch": 7.0, "k1": 0.02},
    ],
)
def test_pose(pose):
    """Exact lines give distance and foot to within what the weak priors pull."""
    camera = replace(WIDE, **pose)
    found = fitted(camera).pose()
    assert found.distance == pytest.approx(camera.distance, rel=0.01)
    assert found.opposite_value == pytest.approx(camera.y, abs=0.01 * camera.distance)
