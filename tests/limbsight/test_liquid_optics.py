"""How liquids look, beside what the reduction knows of them.

Names and single values are in tests/calib/test_meniscus_liquids.py.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.liquid_optics import (
    GAS,
    fluid_optics,
    interface_physics,
    is_gas,
    liquid_optics,
)
from limbsight.reduce.constants import constants
from limbsight.reduce.fluids import liquid

SHARED = ["water", "distilled water", "mercury", "ethanol", "methanol", "glycerol", "kerosene"]
"""Liquids that both know by name."""
G = 9.80665


@pytest.mark.parametrize("name", SHARED)
def test_both_mean_the_same_liquid(name):
    """Density, tension and angle of the reduction, which have sources, lie within what is
    said here of a whole kind of liquids."""
    seen, reduced = liquid_optics(name), liquid(name)
    assert seen.density_kg_m3 == pytest.approx(reduced.density(293.15), rel=0.02)
    tension, u_tension = seen.surface_tension_n_m, seen.u_surface_tension_n_m
    assert abs(tension - reduced.surface_tension_n_m) <= 2 * u_tension
    angle = math.degrees(reduced.contact_angle_rad)
    assert abs(seen.contact_angle_deg - angle) <= 2 * seen.u_contact_angle_deg


@pytest.mark.parametrize(
    "name",
    ["oxygen", "steam", "Argon", "helium gas", "methane", "CO2", "sulfur hexafluoride",
     "carbon dioxide", "natural gas", "water vapour", "dry air"],
)  # fmt: skip
def test_gases_bend_no_light(name):
    assert is_gas(name)
    assert fluid_optics(name) == GAS


@pytest.mark.parametrize(
    "name", ["gasoline", "gauge oil", "Hg", "gas oil", "air-free water", "steam condensate"]
)
def test_liquids_are_no_gases(name):
    assert not is_gas(name)


def test_every_gas_of_the_reduction_is_seen_as_one():
    for name, entry in constants()["gas"].items():
        assert all(is_gas(each) for each in (name, *entry["aliases"]))


@pytest.mark.parametrize(
    ("name", "index"),
    [
        ("silicone oil", 1.400),  # not any oil
        ("paraffin oil", 1.442),  # kerosene, by its old name
        ("glycerine-water", 1.470),  # the first of two that are named
        ("sea/water", 1.3333),
        ("red-oil_2", 1.455),
    ],
)
def test_the_more_special_word_tells(name, index):
    assert fluid_optics(name).refractive_index == pytest.approx(index, abs=1e-9)


class TestInterface:
    @given(st.floats(700.0, 2000.0), st.floats(0.0, 600.0))
    def test_capillary_length_of_its_definition(self, below, above):
        found = interface_physics(
            "oil", "air", density_below_kg_m3=below, density_above_kg_m3=above or None
        )
        tension = liquid_optics("oil").surface_tension_n_m
        difference = below - (above or 1.2)
        assert found.capillary_length_m == pytest.approx(math.sqrt(tension / (difference * G)))

    @given(st.floats(100.0, 14000.0))
    def test_its_uncertainty_is_that_of_tension_and_density(self, below):
        """a goes with the root of both: half their relative uncertainties, as squares."""
        found = interface_physics("water", "air", density_below_kg_m3=below)
        water, difference = liquid_optics("water"), below - 1.2
        relative = math.hypot(
            0.5 * water.u_surface_tension_n_m / water.surface_tension_n_m,
            0.5 * 10.0 / difference,
        )
        assert found.u_capillary_length_m / found.capillary_length_m == pytest.approx(relative)

    def test_under_gas_the_angle_is_the_liquids_own(self):
        found = interface_physics("mercury", "nitrogen")
        assert found.contact_angle_rad == pytest.approx(math.radians(137.0))
        assert found.u_contact_angle_rad == pytest.approx(math.radians(7.0))

    @pytest.mark.parametrize(
        ("above", "low", "high"), [("water", 0.415, 0.426), ("kerosene", 0.357, 0.378)]
    )
    def test_mercury_under_water_and_oil(self, above, low, high):
        """Tensions of Adamson's book, from memory."""
        found = interface_physics("mercury", above)
        difference = 13545.9 - liquid_optics(above).density_kg_m3
        tension = found.capillary_length_m**2 * difference * G
        assert low <= tension <= high

    def test_water_under_oil_wets_less_surely_than_under_air(self):
        under_oil, under_air = (interface_physics("water", above) for above in ("oil", "air"))
        assert under_oil.u_contact_angle_rad > under_air.u_contact_angle_rad
        assert under_oil.capillary_length_m > under_air.capillary_length_m

    @pytest.mark.parametrize(("below", "above"), [("oil", "water"), ("water", "water")])
    def test_upside_down_by_mistake_it_is_no_error(self, below, above):
        found = interface_physics(below, above)
        assert 0.0 < found.capillary_length_m < 0.03
        assert math.isfinite(found.u_capillary_length_m)
