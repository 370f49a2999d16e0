"""How the liquids of a manometer look: refractive index, capillary length, contact angle.

Values at 20 degC and the sodium line (589 nm) or helium line (588 nm); uncertainties are
standard ones and cover dyes, wetting agents, temperature and the width of the visible
spectrum.  Capillary length ``sqrt(sigma / (delta rho g))`` with ``g`` = 9.80665 m/s^2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from limbsight.calib.meniscus import FluidOptics, MeniscusPhysics

STANDARD_GRAVITY_M_S2 = 9.80665
"""Third General Conference on Weights and Measures, 1901."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquidOptics:
    """One liquid against air; SI units, angles in degrees through the liquid."""

    refractive_index: float
    u_refractive_index: float
    density_kg_m3: float
    surface_tension_n_m: float
    u_surface_tension_n_m: float
    contact_angle_deg: float
    u_contact_angle_deg: float
    opaque_mirror: bool = False
    kind: str = "organic"


WATER = LiquidOptics(
    refractive_index=1.3333,  # IAPWS R9-97, 20 degC, 589.26 nm
    u_refractive_index=0.004,  # 1.331 (red) to 1.340 (violet), dye, 10 to 40 degC
    density_kg_m3=998.2,  # IAPWS-95
    surface_tension_n_m=0.0715,  # IAPWS R1-76(2014): 0.0727; dyes and wetting agents lower it
    u_surface_tension_n_m=0.005,
    contact_angle_deg=15.0,  # clean glass 0, in use 0 to 40 (common practice, no source)
    u_contact_angle_deg=12.0,
    kind="aqueous",
)
OIL = LiquidOptics(
    refractive_index=1.455,  # mineral gauge oils 1.44 to 1.48 (from memory)
    u_refractive_index=0.015,
    density_kg_m3=830.0,
    surface_tension_n_m=0.028,  # mineral oils 0.026 to 0.031 (from memory)
    u_surface_tension_n_m=0.003,
    contact_angle_deg=10.0,  # oils spread on glass (common practice, no source)
    u_contact_angle_deg=8.0,
)
KEROSENE = LiquidOptics(
    refractive_index=1.442,  # 1.435 to 1.45 (from memory)
    u_refractive_index=0.008,
    density_kg_m3=805.0,
    surface_tension_n_m=0.0265,  # 0.025 to 0.029 (from memory)
    u_surface_tension_n_m=0.0015,
    contact_angle_deg=8.0,
    u_contact_angle_deg=7.0,
)
ALCOHOL = LiquidOptics(
    refractive_index=1.3614,  # ethanol, CRC Handbook of Chemistry and Physics (from memory)
    u_refractive_index=0.008,
    density_kg_m3=800.0,
    surface_tension_n_m=0.0224,  # ethanol, CRC Handbook (from memory)
    u_surface_tension_n_m=0.003,
    contact_angle_deg=5.0,
    u_contact_angle_deg=5.0,
    kind="aqueous",
)
GLYCOL = LiquidOptics(
    refractive_index=1.42,  # 1.4318 pure ethylene glycol (CRC), 1.38 half water
    u_refractive_index=0.015,
    density_kg_m3=1105.0,
    surface_tension_n_m=0.049,  # 0.0480 pure (CRC), 0.056 half water
    u_surface_tension_n_m=0.004,
    contact_angle_deg=15.0,
    u_contact_angle_deg=12.0,
    kind="aqueous",
)
GLYCERINE = LiquidOptics(
    refractive_index=1.470,  # CRC: 1.4746 pure
    u_refractive_index=0.015,
    density_kg_m3=1250.0,
    surface_tension_n_m=0.0635,  # CRC: 0.0634
    u_surface_tension_n_m=0.003,
    contact_angle_deg=20.0,
    u_contact_angle_deg=12.0,
    kind="aqueous",
)
HEAVY_HALOGENATED = LiquidOptics(
    refractive_index=1.50,  # carbon tetrachloride 1.460, bromoform 1.60, tetrabromoethane 1.63
    u_refractive_index=0.05,
    density_kg_m3=1900.0,
    surface_tension_n_m=0.033,
    u_surface_tension_n_m=0.007,
    contact_angle_deg=12.0,
    u_contact_angle_deg=10.0,
)
SILICONE_OIL = LiquidOptics(
    refractive_index=1.400,  # polydimethylsiloxane 1.39 to 1.404 (from memory)
    u_refractive_index=0.008,
    density_kg_m3=950.0,
    surface_tension_n_m=0.0205,
    u_surface_tension_n_m=0.001,
    contact_angle_deg=5.0,
    u_contact_angle_deg=5.0,
)
MERCURY = LiquidOptics(
    refractive_index=1.0,  # opaque: not used
    u_refractive_index=0.0,
    density_kg_m3=13545.9,  # PTB-Mitteilungen; ISO 3529 neighbourhood, 20 degC
    surface_tension_n_m=0.455,  # 0.400 to 0.4855 in tubes in use (see the capillary tables)
    u_surface_tension_n_m=0.03,
    contact_angle_deg=137.0,  # T. Young 1805: 140; 130 to 140 usual, less where soiled
    u_contact_angle_deg=7.0,
    opaque_mirror=True,
    kind="mercury",
)
UNKNOWN_ORGANIC = LiquidOptics(
    refractive_index=1.43,  # organic liquids and solutions run from 1.33 to 1.55
    u_refractive_index=0.05,
    density_kg_m3=950.0,
    surface_tension_n_m=0.032,
    u_surface_tension_n_m=0.012,
    contact_angle_deg=15.0,
    u_contact_angle_deg=13.0,
)
GAS = FluidOptics(refractive_index=1.0003, u_refractive_index=0.0)
"""Air at 15 degC: 1.00028 (B. Edlen, Metrologia 2 (1966) 71)."""

_BY_WORD: tuple[tuple[tuple[str, ...], LiquidOptics], ...] = (
    (("mercury", "hg", "quicksilver"), MERCURY),
    (("glycerine", "glycerin", "glycerol"), GLYCERINE),
    (("glycol",), GLYCOL),
    (("kerosene", "kerosine", "paraffin", "petroleum"), KEROSENE),
    (("ethanol", "alcohol", "methanol", "isopropanol", "spirit"), ALCOHOL),
    (("silicone",), SILICONE_OIL),
    (("bromoform", "tetrabromoethane", "tetrachloride", "halogenated"), HEAVY_HALOGENATED),
    (("oil",), OIL),
    (("water", "brine", "seawater", "condensate"), WATER),
)
_GASES = frozenset(
    {
        *("air", "argon", "ar", "dioxide", "co2", "gas", "helium", "he", "hexafluoride"),
        *("sf6", "hydrogen", "h2", "methane", "ch4", "nitrogen", "n2", "oxygen", "propane"),
        *("steam", "vacuum", "vapour", "vapor"),
    }
)


def is_gas(name: str) -> bool:
    """Whether a fluid's name is that of a gas (or none at all).

    The last word says what it is: gas oil and air-free water are liquids, water vapour is
    none.
    """
    words = _words(name)
    if not words or words[-1] in _GASES:
        return True
    return not _known_liquid(words) and not _GASES.isdisjoint(words)


def liquid_optics(name: str) -> LiquidOptics:
    """What is known about a liquid by its name; a wide default for an unknown one."""
    return _known_liquid(_words(name)) or UNKNOWN_ORGANIC


def _known_liquid(words: Sequence[str]) -> LiquidOptics | None:
    for keys, liquid in _BY_WORD:
        if not set(keys).isdisjoint(words):
            return liquid
    return None


def is_watery(name: str) -> bool:
    """Whether a liquid is mostly water, or wets walls like it."""
    return not is_gas(name) and liquid_optics(name).kind == "aqueous"


def fluid_optics(name: str) -> FluidOptics:
    """Refractive index of a gas or liquid by name."""
    if is_gas(name):
        return GAS
    liquid = liquid_optics(name)
    return FluidOptics(
        refractive_index=liquid.refractive_index,
        u_refractive_index=liquid.u_refractive_index,
        opaque_mirror=liquid.opaque_mirror,
    )


def interface_physics(
    below: str,
    above: str,
    *,
    density_below_kg_m3: float | None = None,
    density_above_kg_m3: float | None = None,
) -> MeniscusPhysics:
    """Capillary length and contact angle of the interface between two fluids.

    Densities, where the caller knows them better, replace those kept here.
    """
    lower = liquid_optics(below)
    rho_below = density_below_kg_m3 or lower.density_kg_m3
    if is_gas(above):
        rho_above = density_above_kg_m3 or 1.2
        tension, u_tension = lower.surface_tension_n_m, lower.u_surface_tension_n_m
        angle, u_angle = lower.contact_angle_deg, lower.u_contact_angle_deg
    else:
        upper = liquid_optics(above)
        rho_above = density_above_kg_m3 or upper.density_kg_m3
        tension, u_tension, angle, u_angle = _between_liquids(lower, upper)
    difference = max(rho_below - rho_above, 20.0)
    length = math.sqrt(tension / (difference * STANDARD_GRAVITY_M_S2))
    # 10 kg/m^3: the densities of commercial liquids, as far as their difference goes.
    relative = math.hypot(0.5 * u_tension / tension, 0.5 * 10.0 / difference)
    return MeniscusPhysics(
        capillary_length_m=length,
        u_capillary_length_m=length * relative,
        contact_angle_rad=math.radians(angle),
        u_contact_angle_rad=math.radians(u_angle),
    )


def _between_liquids(
    lower: LiquidOptics, upper: LiquidOptics
) -> tuple[float, float, float, float]:
    """Interfacial tension and contact angle, each with its standard uncertainty."""
    if lower.kind == "mercury":
        # Mercury/water 0.415 to 0.426, mercury/hydrocarbons 0.357 to 0.378 N/m (from memory:
        # A. W. Adamson, Physical Chemistry of Surfaces).
        tension = 0.42 if upper.kind == "aqueous" else 0.37
        return tension, 0.02, 139.0, 7.0
    if lower.kind != upper.kind:
        # Water/hydrocarbon 0.035 to 0.052 N/m clean, less with dyes (Adamson, from memory).
        return 0.038, 0.010, 32.0, 18.0
    # Liquids of one kind mix in time: the boundary's tension is small and unknown.
    return 0.020, 0.012, 30.0, 18.0


def _words(name: str) -> list[str]:
    text = "".join(c if c.isalnum() else " " for c in name.lower())
    return text.split()
