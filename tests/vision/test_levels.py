"""Fillings of one tube: levels seen, feigned, out of range."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.levels import find_layers
from tests.helpers.layers import MERCURY, ROWS, SEARCH_ROWS, TUBE, layers_of, near
from tests.helpers.tubes import AMBER, BLUE_WATER, CLEAR, GLASS


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


@pytest.mark.parametrize("streak", [(60.0, 160.0), (230.0, 330.0), (150.0, 300.0)])
def test_glare_on_the_glass_is_no_level(streak):
    layers = layers_of(replace(TUBE, streak=streak))
    assert near(layers, 210.3, within=SEARCH_ROWS)
    assert layers.rival is None


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
