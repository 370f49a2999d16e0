"""Steps within bounds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.calib.meniscus_step import bounded_step, squared_length


def problem(seed, size=7):
    random = np.random.default_rng(seed)
    jacobian = random.normal(size=(3 * size, size))
    return jacobian.T @ jacobian + 0.1 * np.eye(size), 20.0 * random.normal(size=size)


@given(st.integers(0, 10**6), st.floats(0.0, 2.0))
@settings(max_examples=50, deadline=None)
def test_held_at_a_bound_or_without_a_slope(seed, reach):
    normal, right = problem(seed)
    low, high = np.full(4, -reach), np.full(4, 0.5 * reach)
    step = bounded_step(normal, right, low, high)
    assert (step[:4] >= low - 1e-12).all()
    assert (step[:4] <= high + 1e-12).all()
    slope = right - normal @ step
    held = np.zeros(7, dtype=bool)
    held[:4] = (step[:4] <= low + 1e-12) | (step[:4] >= high - 1e-12)
    assert np.abs(slope[~held]).max(initial=0.0) < 1e-8


def test_the_best_point_where_one_bound_holds():
    normal = np.array([[2.0, 1.0], [1.0, 2.0]])
    step = bounded_step(normal, np.array([3.0, 3.0]), np.array([-0.4]), np.array([0.4]))
    # Free, both would be 1; with the first at 0.4 the second is (3 - 0.4) / 2.
    assert step == pytest.approx([0.4, 1.3])


def test_length_counts_marginal_standard_deviations():
    normal, _ = problem(3)
    u = np.sqrt(np.linalg.inv(normal)[0, 0])
    assert squared_length(np.array([2.0 * u]), normal) == pytest.approx(4.0)
    whole = np.linalg.inv(normal)[0]
    assert squared_length(whole, normal) == pytest.approx(whole @ normal @ whole)
