"""A zero reading taken off: values, what cancels, and where it is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.errors import InputError
from limbsight.reduce.fluids import fluid
from limbsight.reduce.manometer import Component, Level
from limbsight.reduce.montecarlo import monte_carlo
from limbsight.reduce.prepare import prepare
from limbsight.reduce.uncertainty import propagate
from limbsight.reduce.zero import subtract_zero, zero_pressure

HEIGHTS = st.floats(0.0, 0.5)
SMALL = st.floats(-3e-4, 3e-4)
"""Lean of a zero's levels [m] that tilt and capillarity can make under mercury."""


def value(reduction):
    return float(reduction.difference({i.key: float(i.value) for i in reduction.inputs}))


def part(key, coefficient_m):
    return Component(key=key, name=key, coefficient_m=coefficient_m)


@settings(max_examples=60, deadline=None)
@given(left=HEIGHTS, right=HEIGHTS, middle=HEIGHTS, lean=SMALL)
def test_the_zero_comes_off_whole_whatever_the_filling(
    ideal, levels, left, right, middle, lean
):
    """In a U-tube only the zero's difference counts, not the height at which it stood."""
    m = ideal("u-tube", "left")
    reading = prepare(m, levels({"left": left, "right": right}))
    zero = prepare(m, levels({"left": middle - lean, "right": middle + lean}))
    found = subtract_zero(reading, zero)
    # Closed form: (liquid less gas) g times what the zero's levels are apart.
    gas = fluid("air").density(293.15, 101325.0, 0.5)
    wanted = value(reading) - (13600.0 - gas) * 9.81 * 2 * lean
    assert value(found) == pytest.approx(wanted, abs=0.02)  # of 80 Pa that come off


@settings(max_examples=30, deadline=None)
@given(middle=HEIGHTS, lean=SMALL)
def test_a_zero_taken_off_itself_leaves_nothing(ideal, levels, middle, lean):
    m = ideal("u-tube", "left")
    zero = prepare(m, levels({"left": middle, "right": middle + lean}))
    # The gas in the line is denser by the zero's own pressure over 0.5 m: 5e-3 Pa.
    assert value(subtract_zero(zero, zero)) == pytest.approx(0.0, abs=0.01)


@settings(max_examples=30, deadline=None)
@given(left=HEIGHTS, right=HEIGHTS, first=SMALL, second=SMALL)
def test_two_readings_against_one_zero_differ_as_without(
    ideal, levels, left, right, first, second
):
    m = ideal("u-tube", "left")
    one = prepare(m, levels({"left": left, "right": right}))
    other = prepare(m, levels({"left": right, "right": left + first}))
    zero = prepare(m, levels({"left": 0.2, "right": 0.2 + second}))
    with_zero = value(subtract_zero(one, zero)) - value(subtract_zero(other, zero))
    assert with_zero == pytest.approx(value(one) - value(other), rel=1e-9, abs=1e-6)


class TestShared:
    """Components of one key: one variable, whatever its coefficient in either reading."""

    def u_of(self, ideal, reading_parts, zero_parts):
        m = ideal("u-tube", "left")
        left, right = reading_parts
        reading = prepare(
            m,
            {
                "left": (Level(value_m=0.1, components=left),),
                "right": (Level(value_m=0.3, components=right),),
            },
        )
        left, right = zero_parts
        zero = prepare(
            m,
            {
                "left": (Level(value_m=0.2, components=left),),
                "right": (Level(value_m=0.2, components=right),),
            },
        )
        found = subtract_zero(reading, zero)
        lines = [c for c in propagate(found.difference, found.inputs).contributions]
        mine = [c.contribution for c in lines if "depth" in c.input.key]
        return math.hypot(*mine) / (13600.0 * 9.81)

    @pytest.mark.parametrize(
        ("reading", "zero", "wanted"),
        [
            ((2e-4, -1e-4), (2e-4, -1e-4), 0.0),
            # right less left moves by -3e-4 in one and -1e-4 in the other, together
            ((2e-4, -1e-4), (0.5e-4, -0.5e-4), 2e-4),
            ((0.5e-4, -0.5e-4), (2e-4, -1e-4), 2e-4),
            ((2e-4, -1e-4), (-2e-4, 1e-4), 6e-4),
            ((2e-4, -1e-4), (0.0, 0.0), 3e-4),
            ((0.0, 0.0), (2e-4, -1e-4), 3e-4),
        ],
    )
    def test_cancel_by_their_coefficients(self, ideal, reading, zero, wanted):
        parts = [
            tuple((part("shared depth", c),) if c else () for c in pair)
            for pair in (reading, zero)
        ]
        assert self.u_of(ideal, *parts) == pytest.approx(wanted, rel=1e-3, abs=1e-7)

    def test_what_is_each_photos_own_adds_up(self, ideal):
        own = ((part("shared depth", 1e-4),), ())
        other = ((part("shared other depth", 1e-4),), ())
        assert self.u_of(ideal, own, other) == pytest.approx(math.sqrt(2) * 1e-4, rel=1e-3)

    def test_the_linear_budget_agrees_with_draws(self, ideal, known):
        m = ideal("u-tube", "left", bore_m=6e-3)
        parts = (part("shared depth", 3e-4),), (part("shared depth", -1e-4),)
        reading, zero = (
            prepare(
                m,
                {
                    "left": (Level(value_m=low, components=parts[0]),),
                    "right": (Level(value_m=high, components=parts[1]),),
                },
            )
            for low, high in ((0.1, 0.4), (0.25, 0.2502))
        )
        found = subtract_zero(reading, zero)
        linear = propagate(found.difference, found.inputs)
        drawn = monte_carlo(found.difference, found.inputs, draws=40_000, seed=3)
        # Scatter of a standard deviation from 40 000 draws: 0.35 %.
        assert drawn.standard_uncertainty == pytest.approx(
            linear.standard_uncertainty, rel=0.02
        )
        assert drawn.mean == pytest.approx(linear.value, abs=linear.standard_uncertainty / 20)


class TestLines:
    def test_gas_in_the_line_is_not_taken_off(self, ideal, levels, known):
        """A heavy gas over one limb: the zero was taken with air over both."""
        m = ideal("u-tube", "left", process=fluid("sulfur hexafluoride"), tapping_m=known(2.0))
        reading = prepare(m, levels({"left": 0.1, "right": 0.4}))
        zero = prepare(m, levels({"left": 0.2, "right": 0.2}))
        assert value(subtract_zero(reading, zero)) == pytest.approx(value(reading), abs=1e-6)

    def test_between_two_tappings_the_legs_stay(self, ideal, levels, known, filling):
        """Equal levels with both lines full and at one pressure: nothing to take off."""
        m = ideal(
            "u-tube",
            "left",
            process=filling("oil", 800.0),
            open_to="tapping",
            tapping_m=known(0.5),
            reference_tapping_m=known(0.9),
        )
        reading = prepare(m, levels({"left": 0.1, "right": 0.4}))
        level = prepare(m, levels({"left": 0.2, "right": 0.2}))
        leaning = prepare(m, levels({"left": 0.2, "right": 0.2002}))
        assert value(subtract_zero(reading, level)) == pytest.approx(value(reading), abs=1e-6)
        assert zero_pressure(leaning) == pytest.approx(
            (13600.0 - 800.0) * 9.81 * 2e-4, rel=1e-6
        )

    @pytest.mark.parametrize(
        ("changes", "message"),
        [
            ({"open_to": "vacuum"}, "absolute pressure"),
            ({"process": "oil"}, "process fluid is a liquid"),
            ({"open_to": "tapping", "reference_process": "oil"}, "one line holds air"),
        ],
    )
    def test_where_a_zero_makes_no_sense(
        self, ideal, levels, known, filling, changes, message
    ):
        oil = filling("oil", 800.0)
        given_ = {k: oil if v == "oil" else v for k, v in changes.items()}
        m = ideal(
            "u-tube",
            "left",
            tapping_m=known(0.5),
            reference_tapping_m=known(0.5),
            **given_,
        )
        one = prepare(m, levels({"left": 0.2, "right": 0.2}))
        with pytest.raises(InputError, match=message) as caught:
            subtract_zero(one, one)
        assert caught.value.code == "bad_zero"


class TestSize:
    @pytest.mark.parametrize("lean_m", [2e-3, -2e-3])
    def test_what_tilt_can_make_is_taken_off(self, ideal, levels, lean_m):
        m = ideal("u-tube", "left", limb_spacing_m=0.04, bore_m=7e-3)
        zero = prepare(m, levels({"left": 0.2, "right": 0.2 + lean_m}))
        subtract_zero(zero, zero)

    @pytest.mark.parametrize("apart_m", [0.01, -0.05, 0.3])
    def test_more_is_no_zero(self, ideal, levels, apart_m):
        m = ideal("u-tube", "left", limb_spacing_m=0.04, bore_m=7e-3)
        zero = prepare(m, levels({"left": 0.2, "right": 0.2 + apart_m}))
        with pytest.raises(InputError, match="tilt and capillarity make") as caught:
            subtract_zero(zero, zero)
        assert caught.value.code == "not_a_zero"

    def test_a_zero_read_less_surely_may_be_farther_off(self, ideal):
        m = ideal("u-tube", "left", limb_spacing_m=0.04, bore_m=7e-3)
        unsure = (part("level a", 3e-3),)
        zero = prepare(
            m,
            {
                "left": (Level(value_m=0.2, components=unsure),),
                "right": (Level(value_m=0.21),),
            },
        )
        subtract_zero(zero, zero)


class TestReservoirs:
    def test_the_setting_of_the_scale_cancels(self, ideal, levels, known):
        def moved(zero_m):
            m = ideal(
                "cistern", "cistern", bore_m=7e-3, area_ratio=known(0.01), zero_m=known(zero_m)
            )
            reading = prepare(m, levels({"tube": 0.3}))
            return value(subtract_zero(reading, prepare(m, levels({"tube": 0.0001}))))

        assert moved(0.0) == pytest.approx(moved(0.0002), rel=1e-6)
        assert moved(0.0) == pytest.approx(13600.0 * 9.81 * 0.2999 * 1.01, rel=1e-3)

    @pytest.mark.parametrize(("scale", "own"), [("adjusted", True), ("true", False)])
    def test_an_adjusted_cistern_is_set_anew(self, ideal, levels, known, scale, own):
        m = ideal(
            "cistern",
            "cistern",
            cistern_scale=scale,
            area_ratio=known(0.01),
            cistern_level_m=replace(known(0.0), standard_uncertainty=5e-4),
        )
        reading = prepare(m, levels({"tube": 0.3}))
        found = subtract_zero(reading, prepare(m, levels({"tube": 0.0})))
        u = propagate(found.difference, found.inputs).standard_uncertainty
        assert ("zero: cistern level" in {i.key for i in found.inputs}) is own
        assert (u > 13600.0 * 9.81 * 5e-4) is own

    def test_an_inclined_tube(self, ideal, levels, known):
        m = ideal(
            "inclined",
            "cistern",
            area_ratio=known(0.0),
            zero_m=known(0.0),
            incline_rad=known(math.radians(20.0)),
            manometric=fluid("water"),
            bore_m=5e-3,
        )
        reading = prepare(m, levels({"tube": 0.2}))
        found = subtract_zero(reading, prepare(m, levels({"tube": 0.003})))
        wanted = 997.0 * 9.81 * 0.197 * math.sin(math.radians(20.0))
        assert value(found) == pytest.approx(wanted, rel=2e-3)


def test_other_levels_are_another_instruments(ideal, levels):
    two = ideal("u-tube", "left")
    one = ideal("single-limb", "cistern")
    with pytest.raises(InputError, match="both must be of one instrument"):
        subtract_zero(
            prepare(two, levels({"left": 0.1, "right": 0.3})),
            prepare(one, levels({"tube": 0.0})),
        )
