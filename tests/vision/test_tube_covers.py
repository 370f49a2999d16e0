"""Clips before a tube and the board beside it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.helpers.layers import SEARCH_ROWS, TUBE, layers_of, near
from tests.helpers.tubes import Cover


@pytest.mark.parametrize("rows", [(90.0, 130.0), (290.0, 340.0)])
@pytest.mark.parametrize("reach", [1.6, 1.25])
def test_a_clip_wider_than_the_tube_is_hidden_and_no_level(rows, reach):
    layers = layers_of(replace(TUBE, covers=(Cover(rows=rows, reach=reach),)))
    assert near(layers, 210.3, within=SEARCH_ROWS)
    assert layers.hidden_change is None
    [(first, last)] = layers.hidden
    assert first == pytest.approx(rows[0], abs=6)
    assert last == pytest.approx(rows[1], abs=6)
