"""What goes into a fit of a meniscus and what comes back."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.calib.meniscus import GLASS_REFRACTIVE_INDEX, U_GLASS_REFRACTIVE_INDEX
from tests.helpers.levels import apex

UNCERTAINTY_PX = st.floats(0.0, 10.0)


@given(UNCERTAINTY_PX, UNCERTAINTY_PX)
def test_noise_and_model_add_as_squares(noise, model):
    fit = replace(apex(0.0), u_statistical_px=noise, u_model_px=model)
    assert fit.u_px == pytest.approx(math.hypot(noise, model), abs=1e-12)


def test_tubes_of_either_common_glass_are_within_the_index():
    """Borosilicate 3.3 is 1.473, soda-lime glass 1.52 (data sheets, from memory)."""
    for index in (1.473, 1.52):
        off = abs(index - GLASS_REFRACTIVE_INDEX)
        assert off <= 2 * U_GLASS_REFRACTIVE_INDEX
