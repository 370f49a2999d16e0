"""Inputs of a model: what was given, or the default with what it costs.

Every function here adds inputs of one kind. What was left out of the instrument file becomes
an input too, with an uncertainty of its own, and so a line of the budget.
"""

from __future__ import annotations

import math

from limbsight.reduce.air import standard_atmosphere_pa
from limbsight.reduce.constants import CELSIUS_ZERO_K, constants, convention, default
from limbsight.reduce.elementary import Number
from limbsight.reduce.gravity import normal_gravity, unknown_gravity
from limbsight.reduce.manometer import Manometer
from limbsight.reduce.uncertainty import Input
from limbsight.units import Given


class Inputs(dict[str, Input]):
    """The inputs of a model by key; the first to name one defines it."""

    def define(
        self, key: str, name: str, value: Number, unit: str, u: float, source: str
    ) -> str:
        self.setdefault(
            key,
            Input(
                key=key,
                name=name,
                value=value,
                unit=unit,
                standard_uncertainty=u,
                source=source,
            ),
        )
        return key

    def given(
        self,
        key: str,
        name: str,
        given: Given | None,
        unit: str,
        *,
        fallback: tuple[float, float],
        typical_u: float,
        why: str = "",
    ) -> str:
        """Define from what was given, else from ``fallback`` (value, u); say which."""
        if given is None:
            value, u = fallback
            return self.define(key, name, value, unit, u, f"default{why}: not given")
        if given.standard_uncertainty is None:
            return self.define(
                key, name, given.value, unit, typical_u, "given, uncertainty by default"
            )
        return self.define(key, name, given.value, unit, given.standard_uncertainty, "given")


def surroundings(q: Inputs, m: Manometer) -> None:
    """Temperature, gravity, barometer, humidity and tilt."""
    q.given(
        "temperature",
        "temperature",
        m.temperature_k,
        "K",
        fallback=(
            default("temperature_c") + CELSIUS_ZERO_K,
            default("temperature_standard_uncertainty_k"),
        ),
        typical_u=default("temperature_given_standard_uncertainty_k"),
    )
    for limb, given in m.limb_temperatures_k.items():
        typical = default("temperature_given_standard_uncertainty_k")
        q.given(
            f"temperature {limb}",
            f"temperature, {limb} limb",
            given,
            "K",
            fallback=(0.0, 0.0),
            typical_u=typical,
        )
    _gravity(q, m)
    _barometer(q, m)
    q.given(
        "humidity",
        "relative humidity",
        m.relative_humidity,
        "1",
        fallback=(
            default("relative_humidity"),
            default("relative_humidity_standard_uncertainty"),
        ),
        typical_u=default("relative_humidity_given_standard_uncertainty"),
    )
    inclined = m.incline_rad is not None
    tilt = math.radians(
        default(f"plumb{'_inclined' if inclined else ''}_standard_uncertainty_deg")
    )
    q.given(
        "plumb", "tilt from plumb", m.plumb_rad, "rad", fallback=(0.0, tilt), typical_u=tilt
    )

    spacing = m.limb_spacing_m
    q.define(
        "spacing",
        "distance between the limbs",
        default("limb_spacing_m") if spacing is None else spacing,
        "m",
        0.0,
        "default" if spacing is None else "given",
    )


def _gravity(q: Inputs, m: Manometer) -> None:
    relative = float(constants()["gravity"]["relative_standard_uncertainty"])
    if m.gravity_m_s2 is None and m.latitude_rad is not None:
        g = float(normal_gravity(m.latitude_rad, m.elevation_m or 0.0))
        source = "WGS84 from latitude and elevation"
        if m.elevation_m is None:
            height = default("elevation_unknown_standard_uncertainty_m")
            lower = float(normal_gravity(m.latitude_rad, height))
            relative = math.hypot(relative, 1 - lower / g)
            source = "WGS84 from latitude; default: elevation not given"
        q.define("gravity", "gravity", g, "m/s^2", relative * g, source)
        return
    q.given(
        "gravity",
        "gravity",
        m.gravity_m_s2,
        "m/s^2",
        fallback=unknown_gravity(),
        typical_u=relative * convention("standard_gravity_m_s2"),
        why=" (any latitude)",
    )


def _barometer(q: Inputs, m: Manometer) -> None:
    weather = default("barometer_standard_uncertainty_pa")
    if m.elevation_m is None:
        weather = math.hypot(
            weather, default("barometer_unknown_height_standard_uncertainty_pa")
        )
    q.given(
        "barometer",
        "barometer",
        m.barometer_pa,
        "Pa",
        fallback=(standard_atmosphere_pa(m.elevation_m or 0.0), weather),
        typical_u=default("barometer_given_standard_uncertainty_pa"),
        why=" (standard atmosphere)",
    )


def scale(q: Inputs, m: Manometer) -> None:
    """Expansion of the scale and the temperature at which it is true."""
    q.given(
        "expansion",
        "expansion of the scale",
        m.scale.expansion_per_k,
        "1/K",
        fallback=(
            default("scale_expansion_per_k"),
            default("scale_expansion_standard_uncertainty_per_k"),
        ),
        typical_u=default("scale_expansion_given_standard_uncertainty_per_k"),
        why=" (brass to acrylic)",
    )
    true_at = m.scale.true_at_k
    q.define(
        "true at",
        "temperature at which the scale is true",
        default("true_at_c") + CELSIUS_ZERO_K if true_at is None else true_at,
        "K",
        0.0,
        "default" if true_at is None else "given",
    )
