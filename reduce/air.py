"""Density of moist air and pressure of the standard atmosphere."""

from __future__ import annotations

from limbsight.reduce.constants import CELSIUS_ZERO_K, constants, convention
from limbsight.reduce.elementary import Number, exp


def moist_air_density(t_k: Number, p_pa: Number, relative_humidity: Number) -> Number:
    """Density of moist air.

    Parameters
    ----------
    t_k : float or ndarray, [K]
    p_pa : float or ndarray, [Pa]
        Absolute pressure.
    relative_humidity : float or ndarray
        0 to 1.

    Returns
    -------
    float or ndarray, [kg/m3]

    Notes
    -----
    CIPM-2007 with 400 umol/mol of carbon dioxide; Picard, Davis, Glaser and Fujii,
    Metrologia 45 (2008) 149, for 15 to 27 degC and 600 to 1100 hPa.
    """
    c = constants()["air"]
    t = t_k - CELSIUS_ZERO_K
    s, f = c["saturation"], c["enhancement"]
    saturation_pa = exp(s[0] * t_k * t_k + s[1] * t_k + s[2] + s[3] / t_k)
    enhancement = f[0] + f[1] * p_pa + f[2] * t * t
    x = relative_humidity * enhancement * saturation_pa / p_pa
    a, b, virial_c = c["a"], c["b"], c["c"]
    z = (
        1
        - p_pa
        / t_k
        * (
            a[0]
            + a[1] * t
            + a[2] * t * t
            + (b[0] + b[1] * t) * x
            + (virial_c[0] + virial_c[1] * t) * x * x
        )
        + p_pa / t_k * (p_pa / t_k) * (c["d"] + c["e"] * x * x)
    )
    dry, water = c["molar_mass_dry_kg_mol"], c["molar_mass_water_kg_mol"]
    return p_pa * dry / (z * c["gas_constant_j_mol_k"] * t_k) * (1 - x * (1 - water / dry))


def standard_atmosphere_pa(elevation_m: float) -> float:
    """Pressure of the standard atmosphere at a height, ISO 2533:1975, up to 11 km."""
    lapse_k_m, sea_level_k, exponent = 0.0065, 288.15, 5.255876
    ratio = 1 - lapse_k_m * elevation_m / sea_level_k
    return convention("standard_atmosphere_pa") * float(ratio**exponent)
