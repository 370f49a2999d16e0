"""One formula for floats, arrays, complex steps and uncertain numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from limbsight.reduce.elementary import cos, exp, settled, sin

WITH_DERIVATIVE = [(sin, math.sin, math.cos), (cos, math.cos, lambda x: -math.sin(x)),
                   (exp, math.exp, math.exp)]  # fmt: skip


@pytest.mark.parametrize(("function", "value", "derivative"), WITH_DERIVATIVE)
@given(x=st.floats(-5.0, 5.0))
def test_all_kinds_of_numbers_agree(function, value, derivative, x):
    assert function(x) == pytest.approx(value(x), rel=1e-15)
    assert list(function(np.array([x, 2 * x]))) == pytest.approx([value(x), value(2 * x)])
    stepped = function(x + 1e-150j)
    assert stepped.imag / 1e-150 == pytest.approx(derivative(x), rel=1e-12)
    uncertain = ufloat(x, 0.1)
    found = function(uncertain)
    assert found.nominal_value == pytest.approx(value(x), rel=1e-15)
    assert found.derivatives[uncertain] == pytest.approx(derivative(x), rel=1e-12)


def test_settling_changes_nothing():
    a = ufloat(2.0, 0.1)
    product = a * a * a
    assert settled(product) is product
    assert settled(product).derivatives[a] == pytest.approx(12.0)
    assert settled(3.0) == 3.0
