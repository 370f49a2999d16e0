"""Levels at which the axis is burnt out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.level_glare import _next_to_burnt
from limbsight.calib.level_strip import FoundApex, LevelStrip
from limbsight.calib.meniscus import AMBIGUOUS, NOT_SEEN, UNLIKE_MODEL
from limbsight.calib.meniscus_outcome import MISFIT_LIMIT
from tests.helpers.levels import AIR, WATER, lone, mercury

OTHERS = [
    (UNLIKE_MODEL, 1.5 * MISFIT_LIMIT, True),
    (NOT_SEEN, 1.5 * MISFIT_LIMIT, True),
    (NOT_SEEN, 2.5 * MISFIT_LIMIT, False),
    ("apex_outside_search", 0.5 * MISFIT_LIMIT, False),
]


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


def test_a_fit_that_finds_two_places_is_borne_out_as_well(monkeypatch):
    """Its interval holds both."""
    here = replace(mercury(0), below=WATER, above=AIR)
    here.strip[:] = 0.6
    here.strip[72:75] = 0.1
    monkeypatch.setattr(LevelStrip, "fit", lambda *_: lone(0.3))
    either = lone(0.0, ok=False, reason=AMBIGUOUS)
    assert _next_to_burnt(
        here, FoundApex(row=73.0, fit=either, band=here.on_axis)
    ).clear_of_glare


@pytest.mark.parametrize(("why", "misfit", "borne_out"), OTHERS)
def test_a_fit_next_to_glare_may_be_spoilt_but_no_other_place(
    monkeypatch, why, misfit, borne_out
):
    here = replace(mercury(0), below=WATER, above=AIR)
    here.strip[:] = 0.6
    here.strip[72:75] = 0.1
    other = lone(0.3, ok=False, reason=why, misfit=misfit)
    monkeypatch.setattr(LevelStrip, "fit", lambda *_: other)
    found = _next_to_burnt(here, FoundApex(row=73.0, fit=lone(0.0), band=here.on_axis))
    assert found.clear_of_glare is borne_out


@pytest.mark.parametrize(
    ("above", "line", "below", "clear"),
    [
        (1.0, 0.1, 0.5, True),
        (0.5, 0.1, 1.0, True),
        (1.0, 0.45, 0.5, False),
        (0.5, 0.45, 1.0, False),
        (1.0, 0.1, 1.0, False),
    ],
    ids=["gas", "liquid", "no line below gas", "none above liquid", "both"],
)
def test_an_overexposed_board_is_no_glare(above, line, below, clear):
    """All columns are burnt out on one side of a level whose dark line shows in all."""
    here = replace(mercury(0), below=WATER, above=AIR)
    here.strip[:72] = above
    here.strip[72:76] = line
    here.strip[76:] = below
    here.burnt[:] = True
    found = _next_to_burnt(here, FoundApex(row=75.0, fit=lone(0.0), band=here.on_axis))
    assert found.clear_of_glare is clear
