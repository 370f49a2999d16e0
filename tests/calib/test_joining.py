"""Columns put together before their numbers are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from limbsight.calib.camera import Frame
from limbsight.calib.joining import join_columns
from tests.helpers.boards import Camera, Column

CAMERA = Camera(width=900, height=700, focal_px=1500.0, yaw=3.0, roll=-4.0)
FRAME = Frame(width_px=900, height_px=700, focal_px=1500.0, focal_relative_uncertainty=0.02)


def test_far_columns_are_joined_by_the_map_of_the_near_ones():
    """Their indices were three and two divisions off, which slopes alone did not tell."""
    first, near, far, farther = (
        Column(spine=x).comb(CAMERA, noise_px=0.05, seed=n)
        for n, x in enumerate((-60.0, -45.0, 20.0, 60.0))
    )
    near = replace(near, index_error=0.2, index_offset=0.05)
    far = replace(far, index=far.index + 3, index_error=1.5, index_offset=0.3)
    farther = replace(farther, index=farther.index - 2, index_error=2.0)
    combs, by_index = join_columns((first, near, far, farther), FRAME)
    assert len(combs) == 4
    for comb, true in zip(combs, (first, near, far, farther), strict=True):
        assert comb.index[0] == first.index[0], true.index[0]
    _, height = CAMERA.on_plane(farther.lines.x, farther.lines.y)
    value = by_index.value_at(farther.lines.x, farther.lines.y)
    np.testing.assert_allclose(value - value[0], height - height[0], atol=0.05)


def test_a_column_half_way_between_is_left_out():
    first = Column(spine=-20.0).comb(CAMERA, noise_px=0.05)
    moved = Column(spine=20.0).comb(CAMERA, noise_px=0.05, seed=1)
    between = replace(
        moved,
        lines=replace(moved.lines, y=moved.lines.y + 0.5 * CAMERA.px_per_mm),
        index_error=1.0,
    )
    combs, _ = join_columns((first, between), FRAME)
    assert len(combs) == 1
    assert combs[0] is first
