"""Drawing: every distribution has the shape it names, and summaries say what the draws say.

Published examples are in tests/reference, readings in test_uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.reduce.montecarlo import (
    compare,
    monte_carlo,
    numerical_tolerance,
    shortest_interval,
)
from limbsight.reduce.uncertainty import Input, propagate

DRAWS = 40_000
P = 0.95


def given_(key="x", value=3.0, u=0.2, **more):
    return Input(key=key, name=key, value=value, unit="1", standard_uncertainty=u, **more)


def drawn(*inputs, model=None, draws=DRAWS, probability=P, **more):
    model = model or (lambda q: q["x"])
    return monte_carlo(model, inputs, draws=draws, probability=probability, **more)


def noting(blocks):
    """The model x, which keeps every block of draws it is given."""

    def model(q):
        blocks.append(q["x"])
        return q["x"]

    return model


@pytest.mark.parametrize(
    ("distribution", "half"),
    [
        ("normal", 1.95996),
        ("rectangular", math.sqrt(3) * P),
        ("triangular", math.sqrt(6) * (1 - math.sqrt(1 - P))),
        ("arcsine", math.sqrt(2) * math.sin(math.pi * P / 2)),
    ],
)
def test_shapes(distribution, half):
    """Half-widths that hold 95 percent, in standard deviations, by each quantile function."""
    found = drawn(given_(distribution=distribution))
    assert found.mean == pytest.approx(3.0, abs=0.004)
    assert found.standard_uncertainty == pytest.approx(0.2, rel=0.015)
    assert found.symmetric_low == pytest.approx(3.0 - 0.2 * half, abs=0.006)
    assert found.symmetric_high == pytest.approx(3.0 + 0.2 * half, abs=0.006)


@pytest.mark.parametrize(
    ("distribution", "reach"),
    [
        ("rectangular", math.sqrt(3)),
        ("triangular", math.sqrt(6)),
        ("arcsine", math.sqrt(2)),
    ],
)
def test_bounded_ones_stay_within_their_bounds(distribution, reach):
    seen: list[Any] = []
    monte_carlo(
        noting(seen),
        [given_(value=0.0, u=1.0, distribution=distribution)],
        draws=10_000,
    )
    farthest = max(float(np.abs(block).max()) for block in seen)
    assert 0.9 * reach < farthest <= reach * (1 + 1e-12)


def test_few_degrees_of_freedom_scatter_more():
    """Student: variance nu / (nu - 2) times the square of u, JCGM 101:2008, 6.4.9.7."""
    found = drawn(given_(degrees_of_freedom=10.0))
    assert found.standard_uncertainty == pytest.approx(0.2 * math.sqrt(10 / 8), rel=0.03)


@pytest.mark.parametrize("r", [-1.0, -0.5, 0.0, 0.8, 1.0])
def test_correlated_ones(r):
    """Variance of x - 2 y: u1^2 + 4 u2^2 - 4 r u1 u2, JCGM 100:2008, eq. 16."""
    found = drawn(
        given_("x", u=0.2),
        given_("y", value=1.0, u=0.1),
        given_("aside", u=5.0),
        model=lambda q: q["x"] - 2 * q["y"],
        correlations={("x", "y"): r},
    )
    wanted = math.sqrt(0.2**2 + 4 * 0.1**2 - 4 * r * 0.2 * 0.1)
    assert found.mean == pytest.approx(1.0, abs=0.01)
    assert found.standard_uncertainty == pytest.approx(wanted, rel=0.02, abs=1e-6)


def test_a_model_that_no_input_moves():
    found = drawn(given_(u=0.0), model=lambda q: 2 * q["x"], draws=1000)
    assert (found.mean, found.standard_uncertainty) == (6.0, 0.0)
    assert found.low == found.high == found.symmetric_low == 6.0


@pytest.mark.parametrize("draws", [1000, 10_001, 10_150, 25_000])
def test_as_many_draws_as_asked(draws):
    blocks: list[Any] = []
    found = monte_carlo(noting(blocks), [given_()], draws=draws)
    assert found.draws == sum(map(len, blocks)) == draws
    assert len(blocks) >= 20  # blocks enough to see the scatter between them
    assert max(map(len, blocks)) - min(map(len, blocks)) <= 1  # which counts each alike
    assert found.converged


def test_adaptive_blocks_hold_enough_of_the_tails():
    """JCGM 101:2008, 7.9.4 b: at least 100 / (1 - p) draws in a block, and ten thousand."""
    blocks: list[Any] = []
    monte_carlo(
        noting(blocks),
        [given_()],
        probability=0.999,
        significant=1,
    )
    assert set(map(len, blocks)) == {100_000}


def test_another_seed_is_another_sample_of_the_same():
    one, other = (drawn(given_(), seed=seed) for seed in (1, 2))
    assert one.mean != other.mean
    # ends of a normal's 95 percent: sqrt(p q / n) over their density is 0.013 u here
    assert one.symmetric_high == pytest.approx(other.symmetric_high, abs=0.01)
    assert 0.0 < one.end_standard_error < 0.01


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"),
    [(0.00035, 2, 0.000005), (0.35, 1, 0.05), (2.0, 1, 0.5), (9.9, 2, 0.05), (10.0, 2, 0.5)],
)
def test_numerical_tolerance(u, digits, tolerance):
    """JCGM 101:2008, 7.9.2: half a unit in the last digit of u written with so many (the
    first after its example there, from memory)."""
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance, rel=1e-12)


def test_nothing_uncertain_has_no_tolerance():
    assert numerical_tolerance(0.0) == 0.0


@given(
    st.lists(st.floats(-1e3, 1e3), min_size=3, max_size=40),
    st.floats(0.3, 0.97),
)
def test_no_interval_with_as_many_values_is_shorter(values, probability):
    values = np.sort(values)
    low, high = shortest_interval(values, probability)
    # JCGM 101:2008, 7.7.2: an interval spans round(p M) steps from value to value
    steps = min(round(probability * len(values)), len(values) - 1)
    every = [values[k + steps] - values[k] for k in range(len(values) - steps)]
    assert high - low == min(every)
    assert np.sum((values >= low) & (values <= high)) >= steps + 1


def test_shortest_of_one_sided_draws_begins_at_the_bound():
    found = drawn(given_(value=0.0, u=1.0), model=lambda q: np.abs(q["x"]))
    # half-normal: 95 percent below 1.960, the symmetric interval from 0.031 to 2.241
    assert found.low == pytest.approx(0.0, abs=0.01)
    assert found.high == pytest.approx(1.960, abs=0.04)
    assert found.symmetric_low == pytest.approx(0.031, abs=0.01)
    assert found.symmetric_high == pytest.approx(2.241, abs=0.04)


class TestComparison:
    inputs = (given_(value=0.0, u=1.0),)

    def linear(self):
        return propagate(lambda q: q["x"], self.inputs, probability=P)

    def test_the_same_model_agrees(self):
        found = compare(self.linear(), drawn(*self.inputs))
        assert found.agrees
        assert "agree: either" in found.advice

    @pytest.mark.parametrize("end", ["symmetric_low", "symmetric_high"])
    def test_one_end_that_is_off_is_enough(self, end):
        right = drawn(*self.inputs)
        # 8.1.2: half a unit in the second digit of u = 1.0 is 0.05; noise adds three of 0.007
        off = replace(right, **{end: getattr(right, end) + 0.2})
        found = compare(self.linear(), off)
        assert not found.agrees
        assert "use the Monte Carlo" in found.advice

    def test_noise_of_a_short_run_is_no_disagreement(self):
        right = drawn(*self.inputs)
        off = replace(right, symmetric_high=right.symmetric_high + 0.2, end_standard_error=0.1)
        assert compare(self.linear(), off).agrees

    def test_unsettled_draws_say_so_first(self):
        found = compare(self.linear(), replace(drawn(*self.inputs), converged=False))
        assert "not settled" in found.advice
