"""Liquids in tubes: how they bend, colour and rise. Values from memory, rounded.

They make pictures look right; no test of the product takes them for reference data.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sample_images.generator.meniscus import GRAVITY_M_S2
from sample_images.path_tracer.draws import Rng, chance, log_uniform

Absorption = tuple[float, ...]
"""Napierian absorption coefficient for red, green, blue [1/mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A liquid as it may be; one of a photograph is drawn from the ranges.

    Attributes
    ----------
    index : float
        Refractive index.
    density_kg_m3 : float
        Density at 20 degC.
    tension_n_m : float
        Tension of its surface under air.
    contact_deg : tuple of float or None
        Range of its contact angle on glass under air; None for gases.
    absorption_per_mm : tuple of float or None
        At dye strength 1; None where nothing is seen through it or it has no colour.
    strength : tuple of float or None
        Range of the strength of its dye.
    """

    index: float
    density_kg_m3: float
    tension_n_m: float
    contact_deg: tuple[float, float] | None = None
    absorption_per_mm: Absorption | None = None
    strength: tuple[float, float] | None = None


def _watery(tension: float, absorption: Absorption, least: float, most: float) -> Kind:
    return Kind(
        index=1.333,
        density_kg_m3=1000,
        tension_n_m=tension,
        contact_deg=(8, 38),
        absorption_per_mm=absorption,
        strength=(least, most),
    )


MERCURY, AIR, WATER, KEROSENE, SEAL = "mercury", "air", "water", "kerosene", "oil_amber"
GREEN, YELLOW_GREEN = "water_green", "water_yellowgreen"

KINDS = {
    WATER: Kind(
        index=1.333,
        density_kg_m3=998,
        tension_n_m=0.070,
        contact_deg=(4, 38),
        absorption_per_mm=(2e-4, 1e-4, 1e-4),
        strength=(1, 1),
    ),
    "water_blue": _watery(0.062, (0.55, 0.17, 0.025), 0.25, 1.3),
    GREEN: _watery(0.060, (0.45, 0.035, 0.30), 0.2, 1.2),
    YELLOW_GREEN: _watery(0.060, (0.055, 0.006, 0.75), 0.3, 1.4),
    "water_pink": _watery(0.060, (0.02, 0.62, 0.38), 0.2, 1.3),
    "water_teal": _watery(0.060, (0.55, 0.09, 0.10), 0.25, 1.1),
    "oil_red": Kind(
        index=1.47,
        density_kg_m3=826,
        tension_n_m=0.026,
        contact_deg=(3, 18),
        absorption_per_mm=(0.012, 0.62, 0.60),
        strength=(0.3, 1.5),
    ),
    SEAL: Kind(
        index=1.47,
        density_kg_m3=870,
        tension_n_m=0.030,
        contact_deg=(3, 20),
        absorption_per_mm=(0.012, 0.07, 0.42),
        strength=(0.4, 1.6),
    ),
    "oil_dark": Kind(
        index=1.47,
        density_kg_m3=880,
        tension_n_m=0.031,
        contact_deg=(4, 22),
        absorption_per_mm=(0.10, 0.34, 0.85),
        strength=(0.5, 1.8),
    ),
    KEROSENE: Kind(
        index=1.44,
        density_kg_m3=810,
        tension_n_m=0.026,
        contact_deg=(3, 14),
        absorption_per_mm=(0.0006, 0.0012, 0.007),
        strength=(0.5, 2),
    ),
    "glycol": Kind(
        index=1.43,
        density_kg_m3=1110,
        tension_n_m=0.047,
        contact_deg=(10, 35),
        absorption_per_mm=(0.12, 0.03, 0.09),
        strength=(0.2, 1.4),
    ),
    MERCURY: Kind(index=0, density_kg_m3=13546, tension_n_m=0.485, contact_deg=(130, 142)),
    AIR: Kind(index=1.0, density_kg_m3=1.2, tension_n_m=0),
}
"""By the name that the truth file gives; yellowish green water is called green."""

UNDYED = (WATER, KEROSENE)
WIDE_BORE_MM = 4.5
MOST_STRENGTHENED = 1.3
"""Dyed water in narrow tubes is stronger, so that it shows: as the ratio of a bore radius of
``WIDE_BORE_MM`` to theirs, and at most this. Our own choice."""

MERCURY_UNDER_OIL_N_M, MERCURY_UNDER_WATER_N_M = 0.375, 0.415
WATER_UNDER_OIL_N_M, OTHERS_N_M = 0.035, 0.02
CONTACT_MERCURY_DEG, CONTACT_LIQUIDS_DEG = (132, 142), (35, 75)
"""Of two liquids, through the lower one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Liquid:
    """A liquid of one photograph."""

    index: float
    density_kg_m3: float
    tension_n_m: float
    contact_deg: float
    absorption_per_mm: Absorption | None


class Liquids:
    """The liquids of one photograph, each drawn when it is first asked for."""

    def __init__(self, rng: Rng, bore_radius_mm: float) -> None:
        self._rng, self._bore = rng, bore_radius_mm
        self._drawn: dict[str, Liquid] = {}
        self._interfaces: dict[tuple[str, str], tuple[float, float]] = {}

    @property
    def absorptions(self) -> dict[str, Absorption]:
        """Of all liquids drawn that have a colour."""
        found = {name: liquid.absorption_per_mm for name, liquid in self._drawn.items()}
        return {name: a for name, a in found.items() if a is not None}

    @property
    def interfaces(self) -> dict[tuple[str, str], tuple[float, float]]:
        """Capillary area [mm^2] and contact angle [deg] of all interfaces drawn."""
        return dict(self._interfaces)

    def __getitem__(self, name: str) -> Liquid:
        if name not in self._drawn:
            self._drawn[name] = self._draw(name)
        return self._drawn[name]

    def _draw(self, name: str) -> Liquid:
        rng, look = self._rng, name
        if name == GREEN and chance(rng, 0.45):
            look = YELLOW_GREEN
        kind = KINDS[look]
        strength = log_uniform(rng, *kind.strength) if kind.strength else 0.0
        dye = kind.absorption_per_mm
        if dye and look not in UNDYED:
            dye = tuple(a * math.exp(rng.normal(0, 0.18)) for a in dye)
            if look.startswith(WATER):
                strength *= min(MOST_STRENGTHENED, WIDE_BORE_MM / self._bore)
        return Liquid(
            index=kind.index,
            density_kg_m3=kind.density_kg_m3,
            tension_n_m=kind.tension_n_m,
            contact_deg=float(rng.uniform(*kind.contact_deg)) if kind.contact_deg else 0.0,
            absorption_per_mm=dye and tuple(float(a * strength) for a in dye),
        )

    def interface(self, lower: str, upper: str) -> tuple[float, float]:
        """Capillary area [mm^2] and contact angle [deg] between two fluids."""
        below, above = self[lower], self[upper]
        if (lower, upper) not in self._interfaces:
            tension, contact = self._wetting(lower, upper)
            weight = (below.density_kg_m3 - above.density_kg_m3) * GRAVITY_M_S2
            self._interfaces[lower, upper] = (tension / weight * 1e6, contact)
        return self._interfaces[lower, upper]

    def _wetting(self, lower: str, upper: str) -> tuple[float, float]:
        if upper == AIR:
            return self[lower].tension_n_m, self[lower].contact_deg
        if lower == MERCURY:
            oily = upper.startswith("oil")
            tension = MERCURY_UNDER_OIL_N_M if oily else MERCURY_UNDER_WATER_N_M
            return tension, float(self._rng.uniform(*CONTACT_MERCURY_DEG))
        watery = lower.startswith(WATER)
        tension = WATER_UNDER_OIL_N_M if watery else OTHERS_N_M
        return tension, float(self._rng.uniform(*CONTACT_LIQUIDS_DEG))
