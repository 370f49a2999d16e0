"""Air: what must hold of its density at any weather, and the standard atmosphere.

Densities are compared in tests/reference.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.reduce.air import moist_air_density, standard_atmosphere_pa

ROOM_K = st.floats(288.15, 300.15)
PRESSURE_PA = st.floats(60e3, 110e3)
HUMIDITY = st.floats(0.0, 1.0)
GAS_CONSTANT = 8.314472
DRY_KG_MOL, WATER_KG_MOL = 28.96546e-3, 18.01528e-3
"""As printed with the formula, Metrologia 45 (2008) 149."""


@given(ROOM_K)
def test_thin_dry_air_is_an_ideal_gas(t):
    p = 1.0
    ideal = p * DRY_KG_MOL / (GAS_CONSTANT * t)
    assert moist_air_density(t, p, 0.0) == pytest.approx(ideal, rel=1e-8)


@given(ROOM_K, PRESSURE_PA)
def test_dry_air_is_compressed_a_little_more_than_that(t, p):
    """Second virial coefficient of air -9.6 to -7.4 cm3/mol at 15 to 27 degC (from memory)."""
    ideal = p * DRY_KG_MOL / (GAS_CONSTANT * t)
    more = moist_air_density(t, p, 0.0) / ideal - 1
    virial = -more * GAS_CONSTANT * t / p
    assert -10.6e-6 < virial < -6.4e-6


def magnus_pa(t_k):
    """Saturation pressure of water, Magnus' form of WMO-No. 8 (from memory)."""
    t = t_k - 273.15
    return 611.2 * math.exp(17.62 * t / (243.12 + t))


@given(ROOM_K, PRESSURE_PA, st.floats(0.1, 1.0))
def test_vapour_takes_the_place_of_heavier_air(t, p, humidity):
    """Dalton: a share x of vapour makes the mixture's molar mass 0.378 x lighter."""
    x = humidity * magnus_pa(t) / p
    lighter = 1 - moist_air_density(t, p, humidity) / moist_air_density(t, p, 0.0)
    # enhancement 0.4 %, compressibility of the vapour, Magnus' form itself
    assert lighter == pytest.approx(x * (1 - WATER_KG_MOL / DRY_KG_MOL), rel=0.03)


@given(ROOM_K, PRESSURE_PA, HUMIDITY, st.floats(0.1, 2.0))
def test_warmer_air_is_lighter_and_pressed_air_denser(t, p, humidity, step):
    here = moist_air_density(t, p, humidity)
    assert moist_air_density(t + step, p, humidity) < here
    assert moist_air_density(t, p + 1e3 * step, humidity) > here


@pytest.mark.parametrize(
    ("elevation_m", "pressure_pa"),
    [(0.0, 101325.0), (1000.0, 89874.6), (5000.0, 54019.9), (11000.0, 22632.1)],
)
def test_standard_atmosphere_as_printed(elevation_m, pressure_pa):
    """ISO 2533:1975, from memory; the balance below confirms it."""
    assert standard_atmosphere_pa(elevation_m) == pytest.approx(pressure_pa, abs=0.06)


@given(st.floats(-400.0, 10_900.0))
def test_standard_atmosphere_carries_itself(elevation_m):
    """dp = -rho g dh with rho = p / (R T), T falling by 6.5 K/km from 15 degC, standard
    gravity; R = 287.0529 J/(kg K) is 8.31432 over 28.96442e-3 (ISO 2533, from memory)."""
    step = 1.0
    below, above = (standard_atmosphere_pa(elevation_m + d) for d in (-step, step))
    t = 288.15 - 0.0065 * elevation_m
    density = standard_atmosphere_pa(elevation_m) / (287.0529 * t)
    assert (below - above) / (2 * step) == pytest.approx(density * 9.80665, rel=1e-5)
