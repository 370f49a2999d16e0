"""The chain itself: its rule, and that cutting it differently changes nothing."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.reduce.legs import Leg, pressure_difference

HEIGHT = st.floats(-10, 10)
DENSITY = st.floats(0.1, 14000)


def walk(stations, densities, gravity=9.81):
    """Difference over a chain of legs between stations, bottom line of the whole package."""
    legs = [Leg(fluid=str(i), start=str(i), end=str(i + 1)) for i in range(len(stations) - 1)]
    heights = {str(i): z for i, z in enumerate(stations)}
    return pressure_difference(
        legs, heights, {(str(i), ""): rho for i, rho in enumerate(densities)}, gravity
    )


def test_down_through_a_liquid_pressure_grows():
    assert walk([2.0, 0.0], [1000.0]) == pytest.approx(-2 * 9810.0)


def test_a_broken_chain_is_refused():
    legs = [Leg(fluid="w", start="a", end="b"), Leg(fluid="w", start="c", end="d")]
    with pytest.raises(ValueError, match="broken between 'b' and 'c'"):
        pressure_difference(legs, {}, {}, 9.81)


@given(st.lists(HEIGHT, min_size=2, max_size=8), st.data())
def test_splitting_a_leg_changes_nothing(stations, data):
    densities = [data.draw(DENSITY) for _ in stations[1:]]
    where = data.draw(st.integers(0, len(stations) - 2))
    between = data.draw(HEIGHT)
    split = [*stations[: where + 1], between, *stations[where + 1 :]]
    doubled = [*densities[: where + 1], *densities[where:]]
    assert walk(split, doubled) == pytest.approx(walk(stations, densities), abs=1e-6)


@given(st.lists(HEIGHT, min_size=2, max_size=8), st.data())
def test_walking_back_changes_the_sign(stations, data):
    densities = [data.draw(DENSITY) for _ in stations[1:]]
    there = walk(stations, densities)
    assert walk(stations[::-1], densities[::-1]) == pytest.approx(-there, abs=1e-6)


@given(st.lists(HEIGHT, min_size=2, max_size=8), DENSITY)
def test_in_one_fluid_only_the_ends_count(stations, density):
    direct = walk([stations[0], stations[-1]], [density])
    assert walk(stations, [density] * (len(stations) - 1)) == pytest.approx(direct, abs=1e-5)
