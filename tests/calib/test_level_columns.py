"""Columns of a strip in which a level is fitted."""

from __future__ import annotations

import numpy as np
import pytest

from limbsight.calib.level_columns import clear_band


@pytest.mark.parametrize(
    ("burnt", "columns"),
    [
        (range(18, 22), [16, 17, 22, 23, 24]),
        (range(14, 23), [23, 24, 25, 26, 27]),
        (range(14, 29), [12, 13, 29]),
        (range(10, 31), None),
    ],
)
def test_columns_nearest_to_the_axis_that_are_not_burnt_out(burnt, columns):
    band = clear_band(np.isin(np.arange(41), burnt), 20.1, 20.0, 0.9)
    assert (None if band is None else band.columns.tolist()) == columns
