"""Heights, densities and pressures of one reading as functions of its inputs.

Each arrangement's formula is in test_arrangements; here is what they share.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.reduce.fluids import fluid, liquid
from limbsight.reduce.manometer import Component, Level, Scale
from limbsight.reduce.prepare import prepare

G = 9.81
ATMOSPHERE_PA = 101325.0
HEIGHT = st.floats(0.0, 1.0)
few = settings(max_examples=20, deadline=None)


def values(reduction, **changes):
    return {i.key: float(i.value) for i in reduction.inputs} | changes


@few
@given(HEIGHT, HEIGHT, st.floats(-0.1, 0.1), st.floats(0.02, 0.2))
def test_tilting_turns_the_board_as_a_whole(ideal, levels, left, right, tilt, spacing):
    """Turned about the middle of its zero line, (x, z) comes to x sin + z cos."""
    m = ideal("u-tube", "left", limb_spacing_m=spacing)
    reduction = prepare(m, levels({"left": left, "right": right}))
    z = reduction.heights(values(reduction, plumb=tilt))
    assert z["left"] == pytest.approx(
        -spacing / 2 * math.sin(tilt) + left * math.cos(tilt), abs=1e-12
    )
    assert z["right"] == pytest.approx(
        spacing / 2 * math.sin(tilt) + right * math.cos(tilt), abs=1e-12
    )


@few
@given(HEIGHT, st.floats(0.1, 1.5), st.floats(-0.05, 0.05))
def test_an_inclined_tube_climbs_by_the_sine_of_both_angles(
    ideal, levels, known, length, incline, tilt
):
    m = ideal(
        "inclined",
        "cistern",
        incline_rad=known(incline),
        area_ratio=known(0.0),
        zero_m=known(0.0),
    )
    reduction = prepare(m, levels({"tube": length}))
    z = reduction.heights(values(reduction, plumb=tilt))
    assert z["tube"] == pytest.approx(length * math.sin(incline + tilt), abs=1e-12)


@few
@given(HEIGHT, st.floats(0.05, 1.5), st.floats(0.0, 0.2), st.floats(0.0, 0.1))
def test_a_compensated_scale_counts_the_head(ideal, levels, known, head, incline, ratio, zero):
    """Drawn for its tube and cistern, figure less zero is the height between the levels."""
    m = ideal(
        "inclined",
        "cistern",
        incline_rad=known(incline),
        area_ratio=known(ratio),
        zero_m=known(zero),
        cistern_scale="compensated",
    )
    reduction = prepare(m, levels({"tube": zero + head}))
    z = reduction.heights(values(reduction))
    assert z["tube"] - z["cistern"] == pytest.approx(head, abs=1e-12)


@few
@given(st.floats(0.0, 0.6), st.floats(0.0, 0.3))
def test_what_the_tube_gains_the_cistern_loses(ideal, levels, known, height, ratio):
    m = ideal("cistern", "cistern", area_ratio=known(ratio), zero_m=known(0.1))
    reduction = prepare(m, levels({"tube": height}))
    z = reduction.heights(values(reduction))
    assert ratio * (z["tube"] - 0.1) == pytest.approx(0.1 - z["cistern"], abs=1e-12)


def test_a_level_moves_by_its_components_and_the_scale_grows_under_both(ideal):
    part = Component(key="glass", name="glass", coefficient_m=-2e-3)
    m = ideal("u-tube", "left", scale=Scale(true_at_k=283.15, top_m=1.0))
    reduction = prepare(
        m, {"left": (Level(value_m=0.2, components=(part,)),), "right": (Level(value_m=0.3),)}
    )
    growth = 1 + 2e-5 * 10
    z = reduction.heights(values(reduction, glass=2e-3, expansion=2e-5))
    assert z["left"] == pytest.approx((0.2 - 2e-3) * growth, abs=1e-12)
    assert z["right"] == pytest.approx(0.3 * growth, abs=1e-12)
    assert z["tapping"] == pytest.approx(1.0 * growth)


class TestKinds:
    def test_absolute_from_gauge(self, ideal, levels):
        reduction = prepare(ideal("u-tube", "left"), levels({"left": 0.1, "right": 0.4}))
        q = values(reduction)
        assert reduction.kind == "gauge"
        assert reduction.gauge(q) == reduction.difference(q)
        assert reduction.absolute(q) == pytest.approx(reduction.difference(q) + ATMOSPHERE_PA)

    def test_gauge_from_absolute(self, barometer, levels):
        reduction = prepare(barometer(), levels({"tube": 0.7}))
        q = values(reduction)
        assert reduction.kind == "absolute"
        assert reduction.absolute(q) == reduction.difference(q)
        assert reduction.gauge(q) == pytest.approx(13600 * G * 0.7 - ATMOSPHERE_PA)

    def test_vapour_pushes_the_column_down(self, barometer, levels):
        """The space over it holds vapour: the pressure is more than the column says."""
        m = barometer(manometric=liquid("mercury"))
        reduction = prepare(m, levels({"tube": 0.76}))
        q = values(reduction)
        dry = reduction.difference(q | {"vapour": 0.0})
        assert reduction.difference(q) - dry == pytest.approx(0.17)

    def test_between_tappings_neither_end_is_the_atmosphere(self, between_tappings, levels):
        reduction = prepare(between_tappings, levels({"left": 0.1, "right": 0.4}))
        assert reduction.kind == "differential"


class TestGasInTheLine:
    def line(self, ideal, levels, known, **changes):
        m = ideal(
            "u-tube",
            "left",
            process=fluid("sulfur hexafluoride"),
            tapping_m=known(5.0),
            **changes,
        )
        return prepare(m, levels({"left": 0.1, "right": 0.6}))

    def test_it_is_as_dense_as_its_own_pressure_makes_it(self, ideal, levels, known):
        reduction = self.line(ideal, levels, known)
        q = values(reduction)
        line_pa = ATMOSPHERE_PA + 13600 * G * 0.5
        dense = fluid("sulfur hexafluoride").density(293.15, line_pa, 0.5)
        found = reduction.densities(q)
        # pressure of a first walk, 5 m of thinner gas: 3e-3 off
        assert found["process", ""] == pytest.approx(dense, rel=5e-3)
        assert found["beyond", ""] == pytest.approx(
            fluid("air").density(293.15, ATMOSPHERE_PA, 0.5), rel=1e-12
        )

    def test_its_weight_and_that_of_the_air_outside_count(self, ideal, levels, known):
        reduction = self.line(ideal, levels, known)
        q = values(reduction)
        rho = reduction.densities(q)
        wanted = G * (
            13600 * 0.5 + rho["beyond", ""] * (5.0 - 0.6) - rho["process", ""] * (5.0 - 0.1)
        )
        assert reduction.difference(q) == pytest.approx(wanted, rel=1e-12)

    def test_one_pass_settles_it(self, ideal, levels, known):
        """Solved for: the gas at the pressure it makes."""
        reduction = self.line(ideal, levels, known)
        q = values(reduction)
        gas, air = (
            fluid("sulfur hexafluoride"),
            fluid("air").density(293.15, ATMOSPHERE_PA, 0.5),
        )
        p = 0.0
        for _ in range(20):
            p = G * (
                13600 * 0.5
                + air * (5.0 - 0.6)
                - gas.density(293.15, ATMOSPHERE_PA + p, 0.5) * (5.0 - 0.1)
            )
        # a pass changes 500 Pa of gas by its weight over the pressure, 3e-3, and so on
        assert reduction.difference(q) == pytest.approx(p, abs=0.5 * 500 * 3e-3)

    def test_over_a_vacuum_reference_pressures_are_absolute_already(
        self, ideal, levels, known
    ):
        reduction = self.line(ideal, levels, known, open_to="vacuum")
        q = values(reduction)
        # 13600 g 0.5 less the column of gas at that pressure, not at that and an atmosphere
        thin = fluid("sulfur hexafluoride").density(293.15, 13600 * G * 0.5, 0.5)
        assert reduction.densities(q)["process", ""] == pytest.approx(thin, rel=5e-3)
        assert reduction.densities(q)["beyond", ""] == 0.0


def test_a_liquid_line_does_not_care_about_the_barometer(ideal, levels, known):
    m = ideal("u-tube", "left", process=liquid("water"), tapping_m=known(0.6))
    reduction = prepare(m, levels({"left": 0.1, "right": 0.4}))
    q = values(reduction)
    # only the air over the open limb is left: 1.2 kg/m3 over 0.2 m, a tenth denser
    other = reduction.difference(q | {"barometer": 1.1 * ATMOSPHERE_PA})
    assert other == pytest.approx(reduction.difference(q), abs=0.3)


def test_a_limbs_own_temperature_is_that_of_its_leg(ideal, levels, known):
    m = ideal(
        "u-tube",
        "left",
        manometric=liquid("water"),
        limb_temperatures_k={"left": known(283.15), "right": known(303.15)},
    )
    reduction = prepare(m, levels({"left": 0.2, "right": 0.5}))
    found = reduction.densities(values(reduction))
    water = liquid("water")
    assert found["manometric", "left"] == water.density(283.15)
    assert found["manometric", "right"] == water.density(303.15)


def test_one_liquid_in_two_roles_is_wrong_in_both_alike(ideal, levels, known):
    """Under its own kind a liquid's density error moves both legs by the same share."""
    m = ideal("u-tube", "left", process=liquid("water"), tapping_m=known(0.6))
    reduction = prepare(m, levels({"left": 0.1, "right": 0.4}))
    q = values(reduction)
    keys = [i.key for i in reduction.inputs if i.key.startswith("density of")]
    assert sorted(keys) == ["density of air", "density of heavy", "density of water"]
    heavier = reduction.densities(q | {"density of water": 1e-3})
    plain = reduction.densities(q)
    assert heavier["process", ""] == pytest.approx(1.001 * plain["process", ""])
    assert heavier["manometric", ""] == plain["manometric", ""]


def test_air_outside_and_gas_in_the_line_are_two_things(ideal, levels):
    """Both moist air by name; the line has a humidity and temperature of its own."""
    reduction = prepare(ideal("u-tube", "left"), levels({"left": 0.1, "right": 0.4}))
    q = {i.key: i for i in reduction.inputs}
    inside, outside = q["density of air in the line"], q["density of air"]
    assert inside.standard_uncertainty > outside.standard_uncertainty > 0


@few
@given(st.floats(9.76, 9.84), HEIGHT, HEIGHT)
def test_pressure_goes_with_gravity(ideal, levels, g, left, right):
    m = ideal("u-tube", "left", process=fluid("vacuum"))
    reduction = prepare(m, levels({"left": left, "right": right}))
    q = values(reduction)
    here, there = reduction.difference(q), reduction.difference(q | {"gravity": g})
    assert there * G == pytest.approx(here * g, rel=1e-12, abs=1e-9)
