"""Optical and capillary data of liquids by name."""

from __future__ import annotations

import math

import pytest

from limbsight.liquid_optics import (
    UNKNOWN_ORGANIC,
    fluid_optics,
    interface_physics,
    is_gas,
    liquid_optics,
)


def test_water_against_handbook():
    """n(589 nm, 20 degC) = 1.33336 (IAPWS R9-97); sqrt(sigma/(rho g)) of pure water 2.73 mm
    (sigma 72.74 mN/m, IAPWS R1-76)."""
    assert fluid_optics("water").refractive_index == pytest.approx(1.33336, abs=2e-4)
    physics = interface_physics("water", "air")
    clean = math.sqrt(0.07274 / (997.0 * 9.80665))
    assert abs(physics.capillary_length_m - clean) < physics.u_capillary_length_m


def test_mercury_is_a_convex_mirror():
    assert fluid_optics("mercury").opaque_mirror
    for above in ("air", "water", "oil_amber"):
        assert interface_physics("mercury", above).contact_angle_rad > math.radians(120)


@pytest.mark.parametrize(
    ("name", "index"),
    [
        ("water_blue", 1.333),
        ("Kerosene", 1.442),
        ("red gauge oil", 1.455),
        ("ethylene glycol", 1.42),
        ("ethanol", 1.361),
    ],
)
def test_names_are_read_by_their_words(name, index):
    assert fluid_optics(name).refractive_index == pytest.approx(index, abs=1e-3)


def test_unknown_liquid_gets_a_wide_default():
    assert liquid_optics("fluid x") is UNKNOWN_ORGANIC
    assert fluid_optics("fluid x").u_refractive_index >= 0.04


@pytest.mark.parametrize("name", ["air", "Nitrogen", "natural gas", ""])
def test_gases(name):
    assert is_gas(name)
    assert fluid_optics(name).refractive_index < 1.01


def test_given_density_counts():
    light = interface_physics("oil", "air", density_below_kg_m3=700.0)
    heavy = interface_physics("oil", "air", density_below_kg_m3=1400.0)
    ratio = light.capillary_length_m / heavy.capillary_length_m
    assert ratio == pytest.approx(math.sqrt(2), rel=2e-3)


def test_two_liquids_of_nearly_one_density_stay_finite():
    physics = interface_physics("water_blue", "water")
    assert 0.0 < physics.capillary_length_m < 0.02
    assert physics.u_contact_angle_rad > math.radians(10)
