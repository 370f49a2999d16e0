"""Where the apex is, by all that shows it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.level_apex import find_apex
from limbsight.calib.rectify import make_grid
from tests.helpers.levels import level_at, level_strip, map_of, mercury
from tests.helpers.menisci import physics_of

DOME_ROWS = 5.0
FLAT = physics_of(2.7e-3, 1e-4, 72, 12)
"""Water in a tube of plastic."""


@pytest.mark.parametrize(("dome_rows", "clear"), [(6, True), (0, False)])
def test_beside_glare_the_rim_of_a_dome_shows_the_level_and_an_edge_does_not(dome_rows, clear):
    here = mercury(dome_rows, burnt=slice(18, 22))
    here.strip[:, here.burnt] = 1.0
    found = find_apex(here, 75.0)
    assert found.clear_of_glare is clear
    if clear:
        assert found.apex_row == pytest.approx(75.0 - DOME_ROWS, abs=2.5)


@pytest.mark.parametrize(("line", "said"), [(0.05, math.inf), (0.5, None)])
def test_a_line_that_is_dark_enough_says_that_the_wall_is_wetted(line, said):
    """Another line leaves it to the fits, which make no meniscus of a plain bar."""
    scale_map = map_of()
    grid = make_grid(
        scale_map.plane(), values=(-18.0, 18.0), across=(-5.0, 5.0), step=0.25, in_front=6.0
    )
    strip = np.full((len(grid.values), len(grid.across), 3), 0.6, dtype=np.float32)
    strip[75:] *= np.array([0.5, 0.7, 0.9], dtype=np.float32)
    strip[70:75] = line
    here = level_strip(strip, grid, scale_map, unwetted=FLAT)
    assert find_apex(here, 75.0).for_wetting == said
    lined = find_apex(replace(here, line_pitch_m=1e-3), 75.0)
    assert lined.for_wetting != math.inf


def test_in_few_pixels_the_interval_holds_what_colours_may_move():
    """20 pixels across the bore, and 35."""
    scale_map = map_of()
    few, many = (
        level_at(10.0, scale_map, step_mm=7.0 / bore_px).apex.u_components_px
        for bore_px in (20.0, 35.0)
    )
    assert 0.0 < few["colours"] < 1.0
    assert "colours" not in many
