"""Fluids: densities with their validity and honest uncertainty.

Every fluid has ``density(t_k, p_pa, relative_humidity)``; liquids ignore the last two.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import import_module
from typing import Any

from limbsight.errors import InputError
from limbsight.reduce.air import moist_air_density
from limbsight.reduce.constants import (
    CELSIUS_ZERO_K,
    constants,
    convention,
    default,
    entry_of,
)
from limbsight.reduce.elementary import Number


@dataclass(frozen=True, slots=True, kw_only=True)
class Liquid:
    """A liquid: density law, range, uncertainty, and its surface.

    Notes
    -----
    ``density_kg_m3 / (1 + b1 dt + b2 dt^2)`` with dt from ``at_c``, or Tanaka's formula for
    water where ``tanaka`` holds its five coefficients (Metrologia 38 (2001) 301, eq. 1):
    ``a5 (1 - (t + a1)^2 (t + a2) / (a3 (t + a4)))``.
    Compressibility is left out: 46 ppm per atmosphere for water, 4 ppm for mercury.
    """

    name: str
    density_kg_m3: float
    at_c: float
    expansion: tuple[float, ...]
    tanaka: tuple[float, ...] | None
    relative_standard_uncertainty: float
    expansion_standard_uncertainty_per_k: float
    lowest_c: float
    highest_c: float
    surface_tension_n_m: float
    surface_tension_standard_uncertainty_n_m: float
    contact_angle_rad: float
    contact_angle_standard_uncertainty_rad: float
    contact_angle_limb_standard_uncertainty_rad: float
    """Of each level by itself."""
    vapour_pressure_pa: float
    source: str

    is_gas = False

    def density(
        self,
        t_k: Number,
        p_pa: Number = 0.0,
        relative_humidity: Number = 0.0,
        extra_expansion: Number = 0.0,
    ) -> Number:
        """Density [kg/m3] at a temperature [K]; ``extra_expansion`` adds to b1 [1/K]."""
        t = t_k - CELSIUS_ZERO_K
        if self.tanaka is not None:
            a1, a2, a3, a4, a5 = self.tanaka
            return a5 * (1 - (t + a1) * (t + a1) * (t + a2) / (a3 * (t + a4)))
        dt = t - self.at_c
        series = 1 + (self.expansion[0] + extra_expansion) * dt
        for power, coefficient in enumerate(self.expansion[1:], start=2):
            series = series + coefficient * dt**power
        return self.density_kg_m3 / series

    def check_temperature(self, t_k: float) -> None:
        """Fail outside the range in which the density is known.

        Raises
        ------
        InputError
            Naming the liquid and its range.
        """
        t = t_k - CELSIUS_ZERO_K
        if not self.lowest_c <= t <= self.highest_c:
            raise InputError(
                f"{self.name}: density is known from {self.lowest_c:g} to {self.highest_c:g} "
                f"degC, not at {t:.6g} degC; give its density at that temperature as "
                "{ name = ..., density = ..., at = ... }"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Gas:
    """A gas: density p M / (Z R T) with the second virial coefficient, Z = 1 + B p / (R T)."""

    name: str
    molar_mass_kg_mol: float
    second_virial_m3_mol: float
    relative_standard_uncertainty: float
    source: str

    is_gas = True

    def density(self, t_k: Number, p_pa: Number, relative_humidity: Number = 0.0) -> Number:
        """Density [kg/m3] at temperature [K] and absolute pressure [Pa]."""
        r_t = convention("gas_constant_j_mol_k") * t_k
        z = 1 + self.second_virial_m3_mol * p_pa / r_t
        return p_pa * self.molar_mass_kg_mol / (z * r_t)

    def check_temperature(self, t_k: float) -> None:
        """Gases are taken as known wherever a manometer stands."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MoistAir:
    """Air of the surroundings, CIPM-2007, also inside the line at its pressure."""

    name: str
    relative_standard_uncertainty: float
    source: str

    is_gas = True

    def density(self, t_k: Number, p_pa: Number, relative_humidity: Number) -> Number:
        """Density [kg/m3] at temperature [K], absolute pressure [Pa], humidity 0 to 1."""
        return moist_air_density(t_k, p_pa, relative_humidity)

    def check_temperature(self, t_k: float) -> None:
        """Fail where not even the wider uncertainty holds.

        Raises
        ------
        InputError
            Naming the range.
        """
        low, high = constants()["air"]["usable_temperature_c"]
        if not low <= t_k - CELSIUS_ZERO_K <= high:
            raise InputError(
                f"air: density is known from {low:g} to {high:g} degC, "
                f"not at {t_k - CELSIUS_ZERO_K:.6g} degC"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Vacuum:
    """Nothing: the space over a barometer's column."""

    name: str = "vacuum"
    relative_standard_uncertainty: float = 0.0
    source: str = "by definition"

    is_gas = True

    def density(self, t_k: Number, p_pa: Number, relative_humidity: Number) -> Number:
        """No density."""
        return 0.0

    def check_temperature(self, t_k: float) -> None:
        """Always."""


Fluid = Liquid | Gas | MoistAir | Vacuum


def known_fluids() -> tuple[str, ...]:
    """Names the program knows, liquids and gases."""
    data = constants()
    return ("air", *data["liquid"], *data["gas"])


@lru_cache(maxsize=128)
def fluid(name: str) -> Fluid:
    """Return a fluid by name or alias, whatever the case of its letters.

    Raises
    ------
    InputError
        If the name is not known; the message lists those that are.
    """
    wanted = " ".join(name.lower().split())
    if wanted == "air":
        return moist_air()
    if wanted == "vacuum":
        return Vacuum()
    key, entry = entry_of("liquid", wanted)
    if entry is not None:
        return _liquid(key, entry)
    key, entry = entry_of("gas", wanted)
    if entry is not None:
        return Gas(
            name=key,
            molar_mass_kg_mol=entry["molar_mass_kg_mol"],
            second_virial_m3_mol=entry["second_virial_m3_mol"],
            relative_standard_uncertainty=entry["relative_standard_uncertainty"],
            source="gas law with second virial coefficient",
        )
    raise InputError(
        f"{name!r} is not a fluid the program knows ({', '.join(known_fluids())}); "
        "give its density: { name = ..., density = ..., at = ... }"
    )


def liquid(name: str) -> Liquid:
    """Return a liquid by name or alias.

    Raises
    ------
    InputError
        If the name is not known, or is that of a gas.
    """
    found = fluid(name)
    if not isinstance(found, Liquid):
        raise InputError(f"{name!r} is a gas; name a liquid")
    return found


def own_liquid(
    name: str,
    *,
    density_kg_m3: float | None = None,
    specific_gravity: float | None = None,
    at_k: float | None = None,
    expansion_per_k: float | None = None,
    standard_uncertainty_kg_m3: float | None = None,
) -> Liquid:
    """Return a liquid by its density or specific gravity at a stated temperature.

    Notes
    -----
    Specific gravity is relative to water at 4 degC. What is left out takes the defaults of
    ``constants.toml``; a stated standard uncertainty covers the density alone.

    Raises
    ------
    InputError
        If neither or both of density and specific gravity are given.
    """
    if (density_kg_m3 is None) == (specific_gravity is None):
        raise InputError(f"{name}: give either density or specific_gravity")
    if density_kg_m3 is None:
        assert specific_gravity is not None
        density_kg_m3 = specific_gravity * convention("water_density_4c_kg_m3")
        relative = default("specific_gravity_relative_standard_uncertainty")
        source = "own specific gravity"
    else:
        relative = default("own_density_relative_standard_uncertainty")
        source = "own density"
    if standard_uncertainty_kg_m3 is not None:
        relative = standard_uncertainty_kg_m3 / density_kg_m3
    else:
        source += ", uncertainty by default"
    spread = default("own_expansion_standard_uncertainty_per_k")
    return Liquid(
        name=name,
        density_kg_m3=density_kg_m3,
        at_c=default("own_at_c") if at_k is None else at_k - CELSIUS_ZERO_K,
        expansion=(
            default("own_expansion_per_k") if expansion_per_k is None else expansion_per_k,
        ),
        tanaka=None,
        relative_standard_uncertainty=relative,
        expansion_standard_uncertainty_per_k=spread if expansion_per_k is None else 0.0,
        # the owner vouches for the value; far from it the expansion is in the budget
        lowest_c=-60.0,
        highest_c=150.0,
        source=source,
        **_surface(entry_of("liquid", name)[1] or {}),
    )


def moist_air() -> MoistAir:
    """Return the air of the surroundings."""
    entry = constants()["air"]
    return MoistAir(
        name="air",
        relative_standard_uncertainty=entry["relative_standard_uncertainty"],
        source=entry["source"],
    )


def _liquid(name: str, entry: Mapping[str, Any]) -> Liquid:
    law: dict[str, Any]
    if entry["law"] == "teos10":
        law = _seawater(entry["absolute_salinity_g_kg"])
    elif entry["law"] == "tanaka":
        coefficients = tuple(entry["coefficients"])
        law = {
            "density_kg_m3": coefficients[-1],
            "at_c": -coefficients[0],
            "expansion": (0.0,),
            "tanaka": coefficients,
        }
    else:
        law = {
            "density_kg_m3": entry["density_kg_m3"],
            "at_c": entry["at_c"],
            "expansion": tuple(entry["expansion"]),
            "tanaka": None,
        }
    lowest_c, highest_c = entry["valid_c"]
    return Liquid(
        name=name,
        relative_standard_uncertainty=entry["relative_standard_uncertainty"],
        expansion_standard_uncertainty_per_k=0.0,
        lowest_c=lowest_c,
        highest_c=highest_c,
        source=entry["source"],
        **law,
        **_surface(entry),
    )


def _surface(entry: Mapping[str, Any]) -> dict[str, Any]:
    """Surface of a liquid; an organic liquid that wets glass where nothing is known."""

    def value(key: str) -> float:
        return float(entry.get(key, default(f"own_{key}")))

    return {
        "surface_tension_n_m": value("surface_tension_n_m"),
        "surface_tension_standard_uncertainty_n_m": value(
            "surface_tension_standard_uncertainty_n_m"
        ),
        "contact_angle_rad": math.radians(value("contact_angle_deg")),
        "contact_angle_standard_uncertainty_rad": math.radians(
            value("contact_angle_standard_uncertainty_deg")
        ),
        "contact_angle_limb_standard_uncertainty_rad": math.radians(
            default("contact_angle_limb_standard_uncertainty_deg")
        ),
        "vapour_pressure_pa": float(entry.get("vapour_pressure_pa", 0.0)),
    }


def _seawater(absolute_salinity_g_kg: float) -> dict[str, Any]:
    """TEOS-10 density as a series about 20 degC, fitted to gsw between 0 and 40 degC."""
    try:
        gsw = import_module("gsw")
    except ImportError as error:
        raise InputError(
            "seawater needs the package gsw (pip install gsw); or give its density: "
            '{ name = "seawater", density = "1025 kg/m^3", at = "15 degC" }'
        ) from error
    import numpy as np

    at_c, powers = 20.0, 5
    t = np.linspace(0.0, 40.0, 81)
    density = gsw.rho_t_exact(absolute_salinity_g_kg, t, 0.0)
    centre = float(gsw.rho_t_exact(absolute_salinity_g_kg, at_c, 0.0))
    dt = t - at_c
    design = np.stack([dt**power for power in range(1, powers + 1)], axis=1)
    series = np.linalg.lstsq(design, centre / density - 1, rcond=None)[0]
    return {
        "density_kg_m3": centre,
        "at_c": at_c,
        "expansion": tuple(float(c) for c in series),
        "tanaka": None,
    }
