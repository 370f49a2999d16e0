"""Liquids: refraction, absorption, capillarity. Values from memory, rounded.

They make pictures look right; no test of the product takes them for reference data.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fluid:
    """One filling of a tube.

    Attributes
    ----------
    name : str
        Name written to the truth file.
    index : float
        Refractive index for green light.
    absorption_per_mm : tuple of float
        Napierian absorption coefficient for red, green, blue, at dye strength 1.
    density_kg_m3 : float
        Density at 20 degC.
    mirror : tuple of float or None
        Normal reflectance for red, green, blue if the liquid is an opaque mirror.
    """

    name: str
    index: float
    absorption_per_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    density_kg_m3: float
    mirror: tuple[float, float, float] | None = None


AIR = Fluid(name="air", index=1.0003, density_kg_m3=1.2)
CLEAR = (0.0006, 0.0002, 0.0003)

FLUIDS: dict[str, Fluid] = {
    f.name: f
    for f in (
        AIR,
        Fluid(name="water", index=1.333, absorption_per_mm=CLEAR, density_kg_m3=998.0),
        Fluid(
            name="water_blue",
            index=1.334,
            absorption_per_mm=(0.62, 0.20, 0.035),
            density_kg_m3=998.0,
        ),
        Fluid(
            name="water_green",
            index=1.334,
            absorption_per_mm=(0.50, 0.055, 0.34),
            density_kg_m3=998.0,
        ),
        Fluid(
            name="water_pink",
            index=1.334,
            absorption_per_mm=(0.025, 0.46, 0.17),
            density_kg_m3=998.0,
        ),
        Fluid(
            name="water_teal",
            index=1.334,
            absorption_per_mm=(0.55, 0.085, 0.13),
            density_kg_m3=998.0,
        ),
        Fluid(
            name="water_brown",
            index=1.334,
            absorption_per_mm=(0.10, 0.26, 0.55),
            density_kg_m3=998.0,
        ),
        Fluid(
            name="water_yellow",
            index=1.334,
            absorption_per_mm=(0.01, 0.05, 0.50),
            density_kg_m3=998.0,
        ),
        Fluid(
            name="oil_red",
            index=1.465,
            absorption_per_mm=(0.02, 0.60, 0.55),
            density_kg_m3=826.0,
        ),
        Fluid(
            name="oil_amber",
            index=1.47,
            absorption_per_mm=(0.015, 0.12, 0.55),
            density_kg_m3=870.0,
        ),
        Fluid(
            name="oil_dark",
            index=1.48,
            absorption_per_mm=(0.22, 0.42, 0.80),
            density_kg_m3=880.0,
        ),
        Fluid(
            name="kerosene",
            index=1.44,
            absorption_per_mm=(0.0008, 0.0015, 0.012),
            density_kg_m3=810.0,
        ),
        Fluid(
            name="glycol",
            index=1.40,
            absorption_per_mm=(0.001, 0.0007, 0.0012),
            density_kg_m3=1110.0,
        ),
        Fluid(name="mercury", index=1.0, density_kg_m3=13546.0, mirror=(0.74, 0.73, 0.72)),
    )
}

WATERY = ("water", "glycol")


def _kind(name: str) -> str:
    if name.startswith("water") or name == "glycol":
        return "water"
    return {"mercury": "mercury", "air": "air"}.get(name, "oil")


TENSION_N_M = {
    frozenset(("water", "air")): 0.066,  # dyed and wetted water, below clean 0.0728
    frozenset(("oil", "air")): 0.028,
    frozenset(("mercury", "air")): 0.485,
    frozenset(("mercury", "water")): 0.415,
    frozenset(("mercury", "oil")): 0.36,
    frozenset(("water", "oil")): 0.04,
}

CONTACT_DEG = {
    frozenset(("water", "air")): (8.0, 35.0),
    frozenset(("oil", "air")): (6.0, 20.0),
    frozenset(("mercury", "air")): (125.0, 142.0),
    frozenset(("mercury", "water")): (135.0, 145.0),
    frozenset(("mercury", "oil")): (130.0, 145.0),
    frozenset(("water", "oil")): (25.0, 60.0),
}
"""Range of the contact angle measured through the lower, heavier liquid, on glass."""

CONTACT_PLASTIC_DEG = CONTACT_DEG | {
    frozenset(("water", "air")): (55.0, 84.0),
    frozenset(("water", "oil")): (120.0, 155.0),
}
"""The same on acrylic and polyvinyl chloride, which oil wets and water does not: water at rest
stands between receding (55 on acrylic) and advancing (84 on chloride) angles, from memory."""


def tension_n_m(below: str, above: str) -> float:
    """Interfacial tension of two fluids in N/m."""
    return TENSION_N_M[frozenset((_kind(below), _kind(above)))]


def contact_range_deg(below: str, above: str, *, plastic: bool = False) -> tuple[float, float]:
    """Range from which a contact angle is drawn, degrees, through the lower liquid."""
    ranges = CONTACT_PLASTIC_DEG if plastic else CONTACT_DEG
    return ranges[frozenset((_kind(below), _kind(above)))]
