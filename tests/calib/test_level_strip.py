"""How the camera sees a tube whose level slants."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.rectify import make_grid
from tests.helpers.levels import level_strip, map_of

ROW = 30.0


def strip_at(across_mm: float, slope: float):
    scale_map = map_of()
    grid = make_grid(
        scale_map.plane(),
        values=(-45.0, 5.0),
        across=(across_mm - 5.0, across_mm + 5.0),
        step=0.25,
        in_front=6.0,
    )
    picture = np.zeros((len(grid.values), len(grid.across), 3), dtype=np.float32)
    return level_strip(picture, grid, scale_map, slope=slope)


@pytest.mark.parametrize("across_mm", [-90.0, 0.0, 60.0])
@pytest.mark.parametrize("slope", [-0.8, 0.0, 0.5])
def test_a_slanting_level_is_seen_in_the_plane_square_to_it(across_mm, slope):
    here = strip_at(across_mm, slope)
    plane = here.scale_map.plane()
    # From the level to the camera: right, up, out of the board.
    sight = np.array(
        [
            -here.across,
            plane.opposite_value - here.grid.value_at(ROW),
            plane.distance - here.tube.axis_to_scale_m / here.unit_m,
        ]
    )
    # The level falls to the right, so its normal leans there.
    normal = np.array([slope, 1.0, 0.0]) / math.hypot(1.0, slope)
    view = here.view(ROW)
    if slope == 0.0:
        # The whole way to the axis, which is seen from the side, too.
        sight[2] = math.hypot(sight[0], sight[2])
    assert math.tan(view.elevation_rad) == pytest.approx(
        (normal @ sight) / sight[2], abs=0.03 * abs(sight[0] / sight[2]) + 1e-9
    )
    heights = 1.0 / math.hypot(1.0, slope)
    assert view.px_per_m * heights * here.grid.step * here.unit_m == pytest.approx(1.0)


def test_where_the_principal_point_is_unknown_so_is_the_elevation():
    """By as much as it differs for a camera whose axis meets the picture elsewhere."""
    known = strip_at(0.0, 0.0)
    frame = replace(known.scale_map.frame, u_offset_px=250.0)
    cut = replace(known, scale_map=replace(known.scale_map, frame=frame))
    elsewhere = known.view(ROW, known.scale_map.with_centre(0.0, 250.0))
    here = known.view(ROW)
    moved = elsewhere.elevation_rad - here.elevation_rad
    assert cut.view(ROW).u_elevation_rad == pytest.approx(
        math.hypot(moved, here.u_elevation_rad), rel=0.1
    )


def test_the_surface_is_longer_than_the_tube_is_wide():
    here = strip_at(0.0, 0.75)
    assert here.longer == pytest.approx(1.25)
