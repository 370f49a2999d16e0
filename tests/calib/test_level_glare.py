"""Levels at which the axis is burnt out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.level_glare import _next_to_burnt
from limbsight.calib.level_strip import FoundApex, LevelStrip
from tests.helpers.levels import AIR, WATER, lone, mercury


@pytest.mark.parametrize(
    ("line", "above", "borne_out"), [(0.1, AIR, True), (0.55, AIR, False), (0.1, WATER, False)]
)
def test_next_to_glare_a_dark_line_shows_a_level_under_gas(
    monkeypatch, line, above, borne_out
):
    here = replace(mercury(0), below=WATER, above=above)
    here.strip[:] = 0.6
    here.strip[72:75] = line
    here.strip[75:] = 0.5
    here.burnt[:] = np.abs(np.arange(here.strip.shape[1]) - here.axis) > 3.0
    here.strip[:75, here.burnt] = 1.0
    monkeypatch.setattr(LevelStrip, "fit", lambda *_: lone(0.3))
    found = _next_to_burnt(here, FoundApex(row=73.0, fit=lone(0.0), band=here.on_axis))
    assert found.clear_of_glare is borne_out
    assert ("reflection" in found.fit.u_components_px) is borne_out
