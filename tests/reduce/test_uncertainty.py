"""Linear and drawn uncertainty of manometer readings, and when they part."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.reduce.fluids import liquid
from limbsight.reduce.manometer import Manometer
from limbsight.reduce.montecarlo import compare, monte_carlo, shortest_interval
from limbsight.reduce.prepare import prepare
from limbsight.reduce.uncertainty import (
    Input,
    array_uncertainty,
    coverage_factor,
    propagate,
    welch_satterthwaite,
)
from limbsight.units import Given


def one(key, value, u, **more):
    return Input(key=key, name=key, value=value, unit="1", standard_uncertainty=u, **more)


@given(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2), st.sampled_from(["water", "mercury"]))
@settings(max_examples=8, deadline=None)
def test_monte_carlo_agrees_with_linear_for_a_u_tube(levels, left, right, name):
    m = Manometer(arrangement="u-tube", tapped_limb="left", manometric=liquid(name))
    reduction = prepare(m, levels({"left": left, "right": right}))
    linear = propagate(reduction.difference, reduction.inputs)
    drawn = monte_carlo(reduction.difference, reduction.inputs, draws=40_000)
    assert drawn.standard_uncertainty == pytest.approx(linear.standard_uncertainty, rel=0.03)
    assert compare(linear, drawn).agrees


def test_the_report_says_when_they_part(levels):
    """An inclined tube almost flat, its angle known to a degree: far from linear."""
    m = Manometer(
        arrangement="inclined",
        tapped_limb="cistern",
        manometric=liquid("water"),
        incline_rad=Given(value=math.radians(80), standard_uncertainty=math.radians(8)),
        area_ratio=Given(value=0.0, standard_uncertainty=0.0),
    )
    reduction = prepare(m, levels({"tube": 0.3}))
    linear = propagate(reduction.difference, reduction.inputs)
    drawn = monte_carlo(reduction.difference, reduction.inputs, draws=100_000)
    agreement = compare(linear, drawn)
    assert not agreement.agrees
    assert "use the Monte Carlo" in agreement.advice


def test_same_seed_same_result():
    inputs = [one("a", 1.0, 0.1)]
    first, second = (monte_carlo(lambda q: q["a"], inputs, draws=10_000, seed=3) for _ in "ab")
    assert first == second


def test_t_distribution_for_few_degrees_of_freedom():
    inputs = [one("a", 0.0, 1.0, degrees_of_freedom=4)]
    linear = propagate(lambda q: q["a"], inputs, probability=0.95)
    drawn = monte_carlo(lambda q: q["a"], inputs, draws=200_000, probability=0.95)
    # t_0.95(4) = 2.78, GUM table G.2
    assert linear.coverage_factor == pytest.approx(2.776, abs=0.001)
    assert drawn.symmetric_high == pytest.approx(2.776, abs=0.05)


def test_shortest_interval_of_a_skewed_sample():
    values = np.sort(np.random.default_rng(0).exponential(size=100_000))
    low, high = shortest_interval(values, 0.95)
    assert low == pytest.approx(0.0, abs=1e-3)
    assert high == pytest.approx(-math.log(0.05), abs=0.05)


def test_unsettled_draws_are_not_compared():
    inputs = [one("a", 0.0, 1.0)]
    drawn = monte_carlo(lambda q: q["a"] ** 9, inputs, significant=4)
    assert not drawn.converged
    assert "not settled" in compare(propagate(lambda q: q["a"], inputs), drawn).advice


def test_coverage_factors():
    assert coverage_factor(math.inf, 0.9545) == pytest.approx(2.0, abs=1e-4)
    assert coverage_factor(math.inf, 0.95) == pytest.approx(1.960, abs=5e-4)
    # truncated to 16, GUM G.4.1; t_0.99(16) = 2.92, GUM table G.2
    assert coverage_factor(16.7, 0.99) == pytest.approx(2.92, abs=0.005)


def test_certain_inputs():
    assert propagate(lambda q: 2.0 * q["a"], [one("a", 1.0, 0.0)]).standard_uncertainty == 0
    assert welch_satterthwaite(0.0, [(0.0, 3.0)]) == math.inf
    assert propagate(lambda q: 5.0, [one("a", 1.0, 0.1)]).standard_uncertainty == 0


@given(st.floats(0.1, 10), st.floats(0.1, 10), st.floats(-1, 1))
def test_correlation_of_a_difference(u1, u2, r):
    found = propagate(
        lambda q: q["a"] - q["b"],
        [one("a", 0.0, u1), one("b", 0.0, u2)],
        correlations={("a", "b"): r},
    )
    variance = u1 * u1 + u2 * u2 - 2 * r * u1 * u2
    assert found.standard_uncertainty**2 == pytest.approx(variance, abs=1e-9)


@given(st.floats(0.5, 2), st.floats(0.5, 2))
def test_arrays_and_single_values_have_one_uncertainty(a, b):
    inputs = [one("a", a, 0.1), one("b", b, 0.2)]

    def model(q):
        return q["a"] * q["a"] / q["b"]

    single = propagate(model, inputs).standard_uncertainty
    many = array_uncertainty(model, [one("a", np.array([a, a]), 0.1), one("b", b, 0.2)])
    assert many == pytest.approx(single, rel=1e-12)
