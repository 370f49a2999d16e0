"""Clips no wider than the tube, and the dark line of a meniscus."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.narrow_covers import dark_rows
from tests.helpers.layers import SEARCH_ROWS, TUBE, layers_of, near
from tests.helpers.tubes import Cover


@pytest.mark.parametrize("rows", [(95.0, 125.0), (300.0, 330.0)])
def test_a_clip_as_narrow_as_the_tube_is_no_level(rows):
    layers = layers_of(replace(TUBE, covers=(Cover(rows=rows, reach=1.0),)))
    assert near(layers, 210.3, within=SEARCH_ROWS)
    assert layers.rival is None
    assert layers.hidden_change is None


def test_a_stretch_that_is_burnt_out_all_over_has_no_dark_rows_of_its_own():
    assert dark_rows(np.full((40, 7, 3), 255.0), 5, 20) == (5, 20)
