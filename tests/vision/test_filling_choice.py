"""Several levels in one tube: the right ones, and what is left over."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.helpers.layers import MERCURY, SEARCH_ROWS, TUBE, layers_of, near
from tests.helpers.tubes import AMBER, BLUE_WATER, GLASS, Cover, Tube


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
