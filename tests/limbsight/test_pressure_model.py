"""Components of heights, and a covariance in their place."""

from __future__ import annotations

import math

import numpy as np
import pytest

from limbsight.calib.instrument_file import load_instrument
from limbsight.errors import InputError
from limbsight.pressure import pressure_from_levels
from tests.helpers.heights import FAN, level, part


@pytest.fixture
def fan():
    return load_instrument(FAN)


def u_of(fan, left, right):
    reading = pressure_from_levels(fan, [[level(-50.0, *left)], [level(50.0, *right)]])
    lines = [b for b in reading.budget if b.name.startswith(("meniscus", "gain"))]
    return math.hypot(*(b.contribution_pa for b in lines))


def test_components(fan):
    alone = u_of(fan, [part(0.1)], [part(0.1)])
    assert u_of(fan, [part(0.1, "x")], [part(0.1, "x")]) < 0.002 * alone
    opposed = u_of(fan, [part(0.1, "x", -1.0)], [part(0.1, "x")])
    assert opposed == pytest.approx(math.sqrt(2) * alone, rel=1e-3)
    gain = u_of(fan, [part(0.2, "g", -1.0, "gain")], [part(0.1, "g", 1.0, "gain")])
    assert gain == pytest.approx(math.sqrt(2) * alone * 1.5, rel=1e-3)


def test_covariance_says_the_same_as_components(fan):
    matrix = np.array([[0.02, 0.015], [0.015, 0.02]])
    by_matrix = pressure_from_levels(fan, [[level(-50.0)], [level(50.0)]], covariance=matrix)
    common, own = math.sqrt(0.015), math.sqrt(0.005)
    parts = (part(common, "x", name="common"), part(own))
    by_parts = pressure_from_levels(fan, [[level(-50.0, *parts)], [level(50.0, *parts)]])
    assert by_matrix.standard_uncertainty_pa == pytest.approx(
        by_parts.standard_uncertainty_pa, rel=1e-9
    )


@pytest.mark.parametrize("matrix", [np.eye(3), np.array([[1, 2], [0, 1]]), -np.eye(2)])
def test_wrong_covariances(fan, matrix):
    with pytest.raises(InputError, match="covariance"):
        pressure_from_levels(fan, [[level(-50.0)], [level(50.0)]], covariance=matrix)


def test_levels_in_another_unit_are_refused(fan):
    with pytest.raises(InputError, match="give levels in the scale's unit"):
        pressure_from_levels(fan, [[level(1.0, unit="cm")], [level(2.0, unit="cm")]])
