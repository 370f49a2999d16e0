"""Where the apex is, by all that shows it."""

from __future__ import annotations

import pytest

from limbsight.calib.level_apex import find_apex
from tests.helpers.levels import level_at, map_of, mercury

DOME_ROWS = 5.0


@pytest.mark.parametrize(("dome_rows", "clear"), [(6, True), (0, False)])
def test_beside_glare_the_rim_of_a_dome_shows_the_level_and_an_edge_does_not(dome_rows, clear):
    here = mercury(dome_rows, burnt=slice(18, 22))
    here.strip[:, here.burnt] = 1.0
    found = find_apex(here, 75.0)
    assert found.clear_of_glare is clear
    if clear:
        assert found.apex_row == pytest.approx(75.0 - DOME_ROWS, abs=2.5)


def test_in_few_pixels_the_interval_holds_what_colours_may_move():
    """20 pixels across the bore, and 35."""
    scale_map = map_of()
    few, many = (
        level_at(10.0, scale_map, step_mm=7.0 / bore_px).apex.u_components_px
        for bore_px in (20.0, 35.0)
    )
    assert 0.0 < few["colours"] < 1.0
    assert "colours" not in many
