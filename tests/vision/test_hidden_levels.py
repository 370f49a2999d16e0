"""Levels behind clips are missed and said so."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.helpers.layers import TUBE, layers_of
from tests.helpers.tubes import AMBER, BLUE_WATER, GLASS, Cover


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
