"""Lamps that a level or the wall reflects, and what is seen beside them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.calib.level_columns import BESIDE_SHARE
from limbsight.calib.level_reflections import (
    _shows_lamp,
    clear_of_streaks,
    in_stead_of_axis,
    with_reflection,
)
from limbsight.calib.level_strip import FoundApex, LevelStrip
from limbsight.calib.meniscus import NOT_SEEN
from limbsight.calib.rectify import make_grid
from tests.helpers.levels import AIR, WATER, apex, level_strip, lone, map_of, mercury


def bore_with_streak(column: float | None, rows: tuple[int, int] = (0, 80)):
    """An even bore, 20 columns wide about column 20, with one bright stripe."""
    strip = np.full((80, 41, 3), 0.4, dtype=np.float32)
    if column is not None:
        at = int(20 + column)
        strip[rows[0] : rows[1], at - 1 : at + 2] = 0.9
    return strip


@pytest.mark.parametrize(
    ("column", "rows", "aside"),
    [
        (None, (0, 80), False),
        (0, (0, 80), True),
        (0, (0, 40), True),
        (0, (40, 44), False),
        (6, (0, 80), False),
    ],
)
def test_a_lamp_on_the_axis_makes_it_look_aside(column, rows, aside):
    found = clear_of_streaks(bore_with_streak(column, rows), 20.0, 40.0, 20.0)
    assert (found != 0.0) is aside
    assert abs(found) in (0.0, pytest.approx(4.0))


def test_beside_a_reflection_the_difference_is_a_rectangle():
    fit = with_reflection(apex(4.0), apex(0.9))
    assert fit.position_px == 4.0
    assert fit.u_components_px["reflection"] == pytest.approx(0.9 / np.sqrt(3))
    assert fit.u_model_px == pytest.approx(np.hypot(0.2, 0.9 / np.sqrt(3)))


def test_nothing_beside_a_reflection_is_a_doubt():
    fit = with_reflection(apex(4.0), apex(0.9, ok=False))
    assert (fit.ok, fit.reason) == (False, "meniscus_not_seen")


@pytest.mark.parametrize(
    ("left", "right", "taken"),
    [
        (lone(0.4), lone(0.1), True),
        (lone(0.4), lone(-2.0), False),
        (lone(0.4), apex(0.4, ok=False), False),
    ],
)
def test_where_the_axis_shows_nothing_two_sides_at_one_height_do(
    monkeypatch, left, right, taken
):
    here = replace(mercury(0), below=WATER)
    monkeypatch.setattr(LevelStrip, "side_fits", lambda *_: [left, right])
    wandered = FoundApex(row=60.0, fit=apex(5.0, ok=False), band=here.on_axis)
    found = in_stead_of_axis(here, wandered, 73.0)
    if not taken:
        assert found is wandered
        return
    assert found.fit.ok
    assert found.apex_row == pytest.approx(73.0 - 0.25)
    beside = BESIDE_SHARE * here.bore_rows
    assert found.fit.u_components_px["beside the axis"] == pytest.approx(beside)


def between_liquids(lamp_rows, above_index=1.44, light=1.0):
    """Yellow over green, lit white over some rows of the level; the bore is 14 rows wide."""
    strip = np.empty((120, 31, 3), dtype=np.float32)
    strip[:60], strip[60:] = (0.8, 0.6, 0.1), (0.05, 0.4, 0.05)
    strip[60 - lamp_rows : 60] = np.maximum(strip[60 - lamp_rows : 60], light)
    scale_map = map_of()
    grid = make_grid(
        scale_map.plane(), values=(0.0, 60.0), across=(-5.0, 5.0), step=0.5, in_front=6.0
    )
    above = replace(WATER, refractive_index=above_index)
    here = level_strip(strip, grid, scale_map, above=above)
    return here, FoundApex(row=60.0, fit=lone(0.0), band=here.on_axis)


@pytest.mark.parametrize(
    ("seen", "lamp"),
    [
        (between_liquids(4), True),
        (between_liquids(0), False),
        (between_liquids(4, light=0.15), False),
        (between_liquids(4, above_index=1.0003), False),
    ],
)
def test_a_level_brighter_than_both_its_liquids_shows_a_lamp(seen, lamp):
    assert _shows_lamp(*seen) is lamp


@pytest.mark.parametrize(
    ("above", "axis", "misfit", "taken"),
    [
        (WATER, 0.3, 0.15, True),
        (AIR, 0.3, 0.15, False),
        (WATER, 3.0, 0.15, False),
        (WATER, 0.3, 0.25, False),
    ],
    ids=["between liquids", "under gas", "elsewhere", "too far off"],
)
def test_three_spoilt_fits_at_one_place_show_a_level_between_liquids(
    monkeypatch, above, axis, misfit, taken
):
    spoilt = {"ok": False, "reason": NOT_SEEN, "misfit": misfit}
    here = replace(mercury(0), below=WATER, above=above)
    sides = [lone(0.2, **spoilt), lone(0.4, **spoilt)]
    monkeypatch.setattr(LevelStrip, "side_fits", lambda *_: sides)
    wandered = FoundApex(row=60.0, fit=lone(axis - 13.0, **spoilt), band=here.on_axis)
    found = in_stead_of_axis(here, wandered, 73.0)
    assert found.fit.ok is taken
    if taken:
        assert found.apex_row == pytest.approx(73.0 - 0.3)
        assert found.fit.u_px > max(side.u_px for side in sides)
