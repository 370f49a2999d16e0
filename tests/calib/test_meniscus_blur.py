"""Blurred straight lines are a sum of integrals of the normal distribution; their derivatives
are differences."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr

from limbsight.calib.meniscus_blur import Spread, canvas

ROWS, FIRST = 70, -31.0
BOUNDS = np.array([0, 5, 7])
HEIGHT = np.array([-40.0, -9.3, -2.1, -2.0, 3.7, -50.0, 4.4])
"""Of the first picture and of the second, above the apex [px]; one jump among them."""
VALUE = np.array([0.9, 0.9, 0.1, 0.5, 0.6, 0.3, 0.8])


def exact(shift, blur, halo):
    """Closed form for the first picture, (rows,)."""
    rows = FIRST + np.arange(ROWS) - shift
    height, value = HEIGHT[:5], VALUE[:5]
    bends = np.diff(np.diff(value) / np.diff(height), prepend=0.0, append=0.0)

    def seen(variance):
        s = math.sqrt(variance + 1 / 12)
        t = (rows[:, None] - height) / s
        hinge = s * (t * ndtr(t) + np.exp(-0.5 * t**2) / math.sqrt(2 * math.pi))
        return value[0] + hinge @ bends

    return (1 + halo) * seen(blur**2) - halo * seen(blur**2 + 1.5**2)


def seen(shift, blur, halo):
    ground = canvas(FIRST, ROWS, 0.0)
    columns = ground.binned(BOUNDS, HEIGHT, VALUE[:, None])[0]
    optics = Spread(log_blur=math.log(blur), halo=halo)
    lens = ground.lens(shift, optics)
    return lens.blurred(columns), lens.derivatives(columns)


@given(st.floats(-3, 3), st.floats(0.4, 2.5), st.floats(-0.2, 0.8))
def test_like_the_closed_form(shift, blur, halo):
    # 0.5 % of a step at the sharpest, and the cut at 4.5 standard deviations.
    assert seen(shift, blur, halo)[0][:, 0] == pytest.approx(
        exact(shift, blur, halo), abs=6e-3
    )


@given(st.floats(-3, 3), st.floats(0.5, 2.0), st.floats(0.0, 0.6))
def test_derivatives_are_slopes(shift, blur, halo):
    by_shift, by_blur, by_halo = seen(shift, blur, halo)[1][:, :, 0]
    d = 1e-3
    slope = (exact(shift + d, blur, halo) - exact(shift - d, blur, halo)) / (2 * d)
    assert by_shift == pytest.approx(slope, abs=2e-2)
    wider, narrower = blur * math.exp(d), blur * math.exp(-d)
    slope = (exact(shift, wider, halo) - exact(shift, narrower, halo)) / (2 * d)
    assert by_blur == pytest.approx(slope, abs=2e-2)
    slope = (exact(shift, blur, halo + d) - exact(shift, blur, halo - d)) / (2 * d)
    assert by_halo == pytest.approx(slope, abs=8e-3)


def test_pictures_do_not_mix():
    ground = canvas(FIRST, ROWS, 0.0)
    both = ground.binned(BOUNDS, HEIGHT, VALUE[:, None])
    second = ground.binned(np.array([0, 2]), HEIGHT[5:], VALUE[5:, None])
    assert both[1] == pytest.approx(second[0], abs=1e-12)


def test_beyond_the_last_ray_nothing_changes():
    shown, _ = seen(0.0, 1.0, 0.2)
    assert shown[-1, 0] == pytest.approx(VALUE[4], abs=1e-9)
    assert shown[0, 0] == pytest.approx(VALUE[0], abs=1e-9)
