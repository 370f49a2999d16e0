"""What counts as burnt out; how windows are cut is tested with the sharpness of pictures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.vision.clipping import (
    BURNT_OUT,
    BURNT_OUT_GREY,
    MOSTLY,
    burnt_heights,
    burnt_rows,
)


def test_linear_light_and_grey_level_are_one_limit():
    """Tone curve of IEC 61966-2-1: ((v + 0.055) / 1.055) ** 2.4."""
    light = [((grey / 255 + 0.055) / 1.055) ** 2.4 for grey in (243, 244)]
    assert light[0] < BURNT_OUT <= light[1] + 5e-3
    assert BURNT_OUT_GREY == 244


@given(st.integers(0, 40))
def test_a_row_is_burnt_out_where_most_of_it_is(count):
    light = np.full((1, 40, 3), 0.5, np.float32)
    light[0, :count] = 1.0
    assert burnt_rows(light, (0, 0), (0, 39)) == (count / 40 >= MOSTLY)


@pytest.mark.parametrize(("light", "burnt"), [(0.899, 0), (0.91, 1)])
def test_the_darkest_channel_decides(light, burnt):
    pixel = np.array([[[1.0, light, 1.0]]], np.float32)
    assert burnt_rows(pixel, (0, 0), (0, 0)) == burnt
    assert burnt_heights(pixel, (0, 0)).tolist() == [burnt]


@given(st.floats(-50, 50), st.floats(-50, 50))
def test_windows_may_lie_anywhere(first, last):
    """Half rows go to the even one; what is beyond the picture is not there."""
    light = np.ones((10, 4, 3), np.float32)
    rows = [r for r in range(10) if round(first) <= r <= round(last)]
    assert burnt_rows(light, (first, last), (0, 3)) == len(rows)
    assert burnt_heights(light, (first, last)).tolist() == [len(rows)] * 4
