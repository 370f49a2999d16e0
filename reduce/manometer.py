"""One manometer and its levels in plain SI numbers, with ``None`` for what is not known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from limbsight.reduce.elementary import Number
from limbsight.reduce.fluids import Fluid, Liquid, moist_air
from limbsight.units import Given, PressureKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One part of a level's uncertainty: a coefficient times a standard variable.

    Components of one ``key`` share that variable, in whichever levels they stand; the
    coefficient carries the sign [m].
    """

    key: str
    name: str
    coefficient_m: Number
    kind: Literal["A", "B"] = "B"
    degrees_of_freedom: float = math.inf
    source: str = "reading"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Level:
    """A level on the scale [m, upward from the scale's zero], and what is uncertain in it."""

    value_m: Number
    components: tuple[Component, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """The scale's material and how far its lengths can be trusted."""

    expansion_per_k: Given | None = None
    true_at_k: float | None = None
    standard_uncertainty_m: float | None = None
    bottom_m: float = 0.0
    top_m: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Manometer:
    """Everything known about one manometer and its surroundings, SI units."""

    arrangement: str
    tapped_limb: str
    manometric: Fluid
    """A liquid; on top of an inverted U-tube also a gas."""
    process: Fluid = field(default_factory=moist_air)
    seals: tuple[Liquid, ...] = ()
    open_to: str = "air"
    reference_process: Fluid | None = None
    reference_limb: str | None = None
    scale: Scale = field(default_factory=Scale)
    tapping_m: Given | None = None
    reference_tapping_m: Given | None = None
    wanted_m: Given | None = None
    temperature_k: Given | None = None
    limb_temperatures_k: Mapping[str, Given] = field(default_factory=dict)
    latitude_rad: float | None = None
    elevation_m: float | None = None
    gravity_m_s2: Given | None = None
    barometer_pa: Given | None = None
    relative_humidity: Given | None = None
    plumb_rad: Given | None = None
    incline_rad: Given | None = None
    limb_spacing_m: float | None = None
    bore_m: float | None = None
    meniscus_height_m: Given | None = None
    bores_m: Mapping[str, float] = field(default_factory=dict)
    area_ratio: Given | None = None
    cistern_scale: str = "true"
    cistern_level_m: Given | None = None
    zero_m: Given | None = None

    @property
    def kind(self) -> PressureKind:
        """What the chain's difference is: against air, a vacuum, or another tapping."""
        if self.open_to == "vacuum":
            return "absolute"
        return "differential" if self.open_to == "tapping" else "gauge"
