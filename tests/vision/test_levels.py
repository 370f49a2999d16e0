"""Fillings of one tube: levels seen, hidden, doubled, feigned."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.levels import Layers, _dark_rows, find_layers
from tests.helpers.tubes import AMBER, BLUE_WATER, CLEAR, GLASS, Cover, Tube

ROWS = (20, 380)
TUBE = Tube()
MERCURY = (0.30, 0.31, 0.32)


def layers_of(tube: Tube, count: int = 1, rows: tuple[int, int] = ROWS, **options) -> Layers:
    return find_layers(tube.strip(**options), count, rows)


def near(layers: Layers, *levels: float, within: float) -> bool:
    found = [interface.row for interface in layers.interfaces]
    return len(found) == len(levels) and bool(
        np.all(np.abs(np.subtract(found, levels)) < within)
    )


SEARCH_ROWS = 0.7 * TUBE.bore
"""The fit that follows searches nine tenths of a bore about this row."""


@pytest.mark.parametrize("level", [60.2, 150.7, 210.3, 330.9])
@pytest.mark.parametrize("filling", [BLUE_WATER, AMBER, MERCURY, CLEAR])
@pytest.mark.parametrize("options", [{}, {"blur_px": 2.0}, {"noise": 4.0}, {"gamma": 1.0}])
def test_one_level(level, filling, options):
    tube = replace(TUBE, fillings=(filling, GLASS), levels=(level,))
    layers = layers_of(tube, **options)
    assert near(layers, level, within=SEARCH_ROWS)
    assert layers.rival is None
    assert layers.hidden_change is None
    assert layers.hidden == ()


@pytest.mark.parametrize("tilt", [-0.25, 0.25])
def test_a_level_that_leans(tilt):
    assert near(layers_of(replace(TUBE, tilt=tilt)), 210.3, within=SEARCH_ROWS)


@pytest.mark.parametrize("shade", [-0.4, 0.4])
def test_shade_along_the_tube_is_no_level(shade):
    layers = layers_of(TUBE, shade=shade)
    assert near(layers, 210.3, within=SEARCH_ROWS)
    assert layers.rival is None


def test_an_even_tube_has_no_level():
    for filling in (BLUE_WATER, GLASS):
        layers = layers_of(replace(TUBE, fillings=(filling,), levels=()))
        assert layers.interfaces == ()


@pytest.mark.parametrize("rows", [(90.0, 130.0), (290.0, 340.0)])
@pytest.mark.parametrize("reach", [1.6, 1.25])
def test_a_clip_wider_than_the_tube_is_hidden_and_no_level(rows, reach):
    layers = layers_of(replace(TUBE, covers=(Cover(rows=rows, reach=reach),)))
    assert near(layers, 210.3, within=SEARCH_ROWS)
    assert layers.hidden_change is None
    [(first, last)] = layers.hidden
    assert first == pytest.approx(rows[0], abs=6)
    assert last == pytest.approx(rows[1], abs=6)


@pytest.mark.parametrize("rows", [(95.0, 125.0), (300.0, 330.0)])
def test_a_clip_as_narrow_as_the_tube_is_no_level(rows):
    layers = layers_of(replace(TUBE, covers=(Cover(rows=rows, reach=1.0),)))
    assert near(layers, 210.3, within=SEARCH_ROWS)
    assert layers.rival is None
    assert layers.hidden_change is None


@pytest.mark.parametrize("filling", [BLUE_WATER, AMBER])
@pytest.mark.parametrize("reach", [1.6, 1.25])
def test_a_level_behind_a_clip_is_missed_and_said_so(filling, reach):
    tube = replace(
        TUBE, fillings=(filling, GLASS), covers=(Cover(rows=(185.0, 235.0), reach=reach),)
    )
    layers = layers_of(tube)
    assert layers.hidden_change is not None
    first, last = layers.hidden_change
    assert first < 210.3 < last


@pytest.mark.parametrize("streak", [(60.0, 160.0), (230.0, 330.0), (150.0, 300.0)])
def test_glare_on_the_glass_is_no_level(streak):
    layers = layers_of(replace(TUBE, streak=streak))
    assert near(layers, 210.3, within=SEARCH_ROWS)
    assert layers.rival is None


class TestTwoLevels:
    TUBE = Tube(fillings=(BLUE_WATER, AMBER, GLASS), levels=(250.6, 130.2))

    def test_are_found_from_the_bottom_up(self):
        assert near(layers_of(self.TUBE, 2), 250.6, 130.2, within=SEARCH_ROWS)

    def test_one_asked_for_leaves_a_rival(self):
        layers = layers_of(self.TUBE, 1)
        assert len(layers.interfaces) == 1
        assert layers.rival is not None
        other = {250.6, 130.2} - {
            min((250.6, 130.2), key=lambda row: abs(row - layers.interfaces[0].row))
        }
        assert abs(layers.rival.row - other.pop()) < SEARCH_ROWS

    def test_noise_leaves_the_rival_of_a_plug_over_mercury(self):
        plug = Tube(fillings=(MERCURY, AMBER, GLASS), levels=(250.6, 170.2))
        assert layers_of(plug, 1, noise=16.0).rival is not None

    @pytest.mark.parametrize("filling", [BLUE_WATER, AMBER])
    def test_noise_is_no_rival(self, filling):
        tube = replace(TUBE, fillings=(filling, GLASS))
        assert layers_of(tube, 1, noise=16.0).rival is None

    def test_one_seen_of_two_asked_for_is_one(self):
        layers = layers_of(TUBE, 2)
        assert near(layers, 210.3, within=SEARCH_ROWS)

    def test_one_of_them_hidden_is_said(self):
        covered = replace(self.TUBE, covers=(Cover(rows=(105.0, 155.0)),))
        assert layers_of(covered, 2).hidden_change is not None


def test_a_level_beyond_the_range_is_not_taken():
    assert layers_of(TUBE, rows=(20, 160)).interfaces == ()
    assert layers_of(TUBE, rows=(250, 380)).interfaces == ()


def test_rows_outside_the_picture_are_not_looked_at():
    strip = TUBE.strip()
    outside = np.ones(400, bool)
    outside[:120] = False
    black = strip.bgr.copy()
    black[:120] = 0
    layers = find_layers(replace(strip, bgr=black, inside_picture=outside), 1, ROWS)
    assert near(layers, 210.3, within=SEARCH_ROWS)
    assert layers.visible[0] >= 120


def test_a_stretch_that_is_burnt_out_all_over_has_no_dark_rows_of_its_own():
    assert _dark_rows(np.full((40, 7, 3), 255.0), 5, 20) == (5, 20)
