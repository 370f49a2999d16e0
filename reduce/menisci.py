"""What is to be taken off each level for capillarity, and how uncertain that is."""

from __future__ import annotations

import math
from collections.abc import Mapping

from limbsight.errors import InputError
from limbsight.reduce.arrangements import Arrangement, Limb
from limbsight.reduce.capillarity import Meniscus, contact_angle_from_height, meniscus
from limbsight.reduce.constants import default
from limbsight.reduce.fluids import Fluid, Liquid
from limbsight.reduce.inputs import Inputs
from limbsight.reduce.manometer import Manometer
from limbsight.reduce.reduction import MANOMETRIC, Rise
from limbsight.units import Given

MENISCUS_STEP_RAD = 1e-3
"""For the slope of meniscus height to contact angle, towards the flat meniscus, where there
is always room."""


def rise_of(
    q: Inputs,
    m: Manometer,
    arrangement: Arrangement,
    fluids: Mapping[str, Fluid],
    limb: Limb,
    i: int,
) -> Rise:
    """Capillary rise of the i-th meniscus from the bend, and what is uncertain in it."""
    inner, outer = (MANOMETRIC, *limb.layers)[i : i + 2]
    lower, upper = (outer, inner) if arrangement.from_top else (inner, outer)
    low, high = fluids[lower], fluids[upper]
    t, p = float(q["temperature"].value), float(q["barometer"].value)
    humidity = float(q["humidity"].value)
    difference = low.density(t, p, humidity) - high.density(t, p, humidity)
    if difference <= 0 or not isinstance(low, Liquid):
        raise InputError(
            f"limb {limb.name}: {low.name} lies under {high.name} but is not heavier; "
            "mend the order of [liquids]"
        )
    g = float(q["gravity"].value)
    bore, bore_u = _bore(m, limb.name)
    pair = low.name if high.is_gas else f"{low.name} and {high.name}"
    tension_n_m, angle_u = low.surface_tension_n_m, low.contact_angle_standard_uncertainty_rad
    if isinstance(high, Liquid):
        tension_n_m = _interface_tension(low, high)
        if low.contact_angle_rad <= math.pi / 2:
            rise = _rise_unknown(
                q, pair, limb.points[i], meniscus(bore / 2, 0.0, tension_n_m, difference, g)
            )
            return Rise(terms=rise.terms[1:]) if arrangement.zeroed else rise
        angle_u = math.radians(default("interface_angle_standard_uncertainty_deg"))
    angle_rad, source = low.contact_angle_rad, "liquid"
    if m.meniscus_height_m is not None and high.is_gas:
        angle_rad, angle_u = _measured_angle(
            m.meniscus_height_m, angle_rad, (bore / 2, tension_n_m, difference, g)
        )
        source = "meniscus height"
    shape = meniscus(bore / 2, angle_rad, tension_n_m, difference, g)
    own_angle = q.define(
        f"own angle {limb.points[i]}",
        f"contact angle, {limb.points[i]} alone",
        0.0,
        "rad",
        low.contact_angle_limb_standard_uncertainty_rad,
        "default: limbs differ",
    )
    if arrangement.zeroed:
        return Rise(terms=((own_angle, shape.rise_by_angle),))
    angle = q.define(
        f"angle {pair}",
        f"contact angle of {pair}",
        0.0,
        "rad",
        angle_u,
        source,
    )
    tension = q.define(
        f"tension {pair}",
        f"surface tension of {pair}",
        0.0,
        "N/m",
        low.surface_tension_standard_uncertainty_n_m,
        "liquid",
    )
    given = m.bore_m is not None or bool(m.bores_m)
    radius = q.define(
        "radius",
        "bore, all limbs",
        0.0,
        "m",
        bore_u / 2,
        "given, uncertainty by default" if given else "default: bore not given",
    )
    own_radius = q.define(
        f"radius {limb.points[i]}",
        f"bore, {limb.points[i]} alone",
        0.0,
        "m",
        default("bore_difference_relative_standard_uncertainty") * bore / 2,
        "default: bores differ",
    )
    return Rise(
        value_m=shape.rise_m,
        terms=(
            (angle, shape.rise_by_angle),
            (own_angle, shape.rise_by_angle),
            (tension, shape.rise_by_tension),
            (radius, shape.rise_by_radius),
            (own_radius, shape.rise_by_radius),
        ),
    )


def _measured_angle(
    height: Given, typical_rad: float, place: tuple[float, float, float, float]
) -> tuple[float, float]:
    """Contact angle and its uncertainty from a measured height; the liquid says which way up.

    Raises
    ------
    InputError
        If such a tube can't hold a meniscus of that height.
    """
    radius_m, tension_n_m, difference, g = place
    hollow = 1.0 if typical_rad <= math.pi / 2 else -1.0
    u = height.standard_uncertainty
    if u is None:
        u = default("meniscus_height_standard_uncertainty_m")
    try:
        angle = contact_angle_from_height(
            radius_m, hollow * height.value, tension_n_m, difference, g
        )
    except ValueError as error:
        raise InputError(f"meniscus_height: {error}; measure it again") from error
    step = MENISCUS_STEP_RAD if angle < math.pi / 2 else -MENISCUS_STEP_RAD
    here, there = (
        meniscus(radius_m, a, tension_n_m, difference, g).height_m
        for a in (angle, angle + step)
    )
    return angle, u * abs(step / (there - here))


def _interface_tension(low: Liquid, high: Liquid) -> float:
    """Tension between two liquids: the difference of theirs, Antonow's rule (1907)."""
    difference = abs(low.surface_tension_n_m - high.surface_tension_n_m)
    return max(difference, default("interface_tension_least_n_m"))


def _rise_unknown(q: Inputs, pair: str, point: str, full: Meniscus) -> Rise:
    """Between two liquids it is not known which wets the glass: no correction, full width.

    The rise lies anywhere between that of full wetting up and down, rectangular. Part of it
    is each interface's own, as it depends on which way that interface moved last.
    """
    share = default("interface_own_share")
    u = full.rise_m / math.sqrt(3)
    common = q.define(
        f"interface {pair}", f"capillarity between {pair}", 0.0, "1", 1.0, "default: unknown"
    )
    own = q.define(
        f"own interface {point}",
        f"capillarity, {point} alone",
        0.0,
        "1",
        1.0,
        "default: unknown",
    )
    return Rise(terms=((common, math.sqrt(1 - share * share) * u), (own, share * u)))


def _bore(m: Manometer, limb: str) -> tuple[float, float]:
    """Bore of a limb and its standard uncertainty [m]."""
    bore = m.bores_m.get(limb, m.bore_m)
    if bore is None:
        return default("bore_m"), default("bore_standard_uncertainty_m")
    return bore, default("bore_given_relative_standard_uncertainty") * bore
