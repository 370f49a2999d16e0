"""Heights: where the level is drawn, and where it is seen in the picture."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.scale_map import ScaleMap
from tests.helpers.levels import STEP_MM, TUBE, level_at, map_of


@pytest.fixture(scope="module")
def scale_map() -> ScaleMap:
    return map_of()


@pytest.mark.parametrize("value", [-30.0, 0.0, 29.5])
def test_height_is_where_the_edge_is_drawn(scale_map, value):
    """A plain edge is no meniscus, so only the neighbourhood is asked for: a bore."""
    assert level_at(value, scale_map).height == pytest.approx(value, abs=3.5)


def test_moved_by_whole_rows_it_moves_by_their_heights(scale_map):
    first, second = level_at(5.0, scale_map), level_at(5.0 + 4 * STEP_MM, scale_map)
    together = np.hypot(first.standard_uncertainty, second.standard_uncertainty)
    assert second.height - first.height == pytest.approx(4 * STEP_MM, abs=3 * together)


def test_position_is_that_of_the_height_in_front_of_the_scale(scale_map):
    fit = level_at(20.0, scale_map)
    seen = float(scale_map.value_at(fit.x_px, fit.y_px))
    depth = TUBE.axis_to_scale_m * 1e3
    assert scale_map.true_value_at(fit.x_px, fit.y_px, depth) == pytest.approx(
        fit.height, abs=0.01
    )
    pose = scale_map.pose()
    expected = depth * (fit.height - pose.opposite_value) / (pose.distance - depth)
    assert seen - fit.height == pytest.approx(expected, rel=1e-3)
