"""From a manometer and its levels to the model of the reading: chain and inputs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from limbsight.errors import InputError
from limbsight.reduce.arrangements import (
    ARRANGEMENTS,
    RESERVOIR,
    TAPPING,
    Arrangement,
    Limb,
    Plan,
    chain,
)
from limbsight.reduce.constants import default
from limbsight.reduce.fluids import Fluid, Liquid, fluid
from limbsight.reduce.inputs import Inputs, scale, surroundings
from limbsight.reduce.legs import Leg
from limbsight.reduce.manometer import Component, Level, Manometer
from limbsight.reduce.menisci import rise_of
from limbsight.reduce.reduction import (
    BEND,
    BEYOND,
    MANOMETRIC,
    PROCESS,
    WANTED,
    Reduction,
    density_key,
    temperature_key,
)
from limbsight.reduce.uncertainty import Input
from limbsight.units import Given


def prepare(manometer: Manometer, levels: Mapping[str, Sequence[Level]]) -> Reduction:
    """Lay the chain for one reading and collect every input, defaults applied.

    Parameters
    ----------
    manometer
        What is known.
    levels
        Levels of each limb, bottom to top: "left" and "right", or "tube", or "limb 1",
        "limb 2" and so on.

    Returns
    -------
    Reduction

    Raises
    ------
    InputError
        If levels and liquids do not fit, a temperature is outside a fluid's range, a lighter
        liquid lies under a heavier one, or something without a sensible default is missing.
    """
    arrangement = ARRANGEMENTS[manometer.arrangement]
    names = tuple(levels)
    plan = Plan(
        tapped=manometer.tapped_limb,
        reference=_reference_limb(manometer, names),
        levels={name: len(limb) for name, limb in levels.items()},
        seals=tuple(f"seal {i}" for i in range(1, len(manometer.seals) + 1)),
        process=PROCESS,
        beyond=BEYOND,
    )
    limbs = arrangement.limbs(plan)
    q = Inputs()
    fluids = _fluids(manometer)
    surroundings(q, manometer)
    scale(q, manometer)
    by_point = _levels(q, manometer, arrangement, levels, limbs)
    _places(q, manometer, fluids, limbs)
    legs = _legs(manometer, limbs, q)
    _fillings(q, manometer, fluids, legs)
    rises = {
        point: rise_of(q, manometer, arrangement, fluids, limb, i)
        for limb in limbs
        for i, point in enumerate(limb.points)
        if point in by_point
    }
    return Reduction(
        manometer=manometer,
        inputs=tuple(q.values()),
        legs=legs,
        fluids=fluids,
        limbs=limbs,
        levels=by_point,
        rises=rises,
        offsets=_offsets(names, limbs),
    )


def _reference_limb(m: Manometer, names: tuple[str, ...]) -> str:
    if m.reference_limb is not None:
        return m.reference_limb
    others = [name for name in names if name != m.tapped_limb]
    # a bank has to say which of its tubes is open, however few it has
    return others[0] if len(others) == 1 and m.arrangement != "bank" else RESERVOIR


def _fluids(m: Manometer) -> dict[str, Fluid]:
    if m.open_to == "tapping":
        beyond = m.reference_process or m.process
    else:
        beyond = fluid(m.open_to)
        if not beyond.is_gas:
            raise InputError(
                f"the reference is open to {m.open_to!r}, which is no gas; "
                "write open_to = 'air', 'vacuum' or 'tapping'"
            )
    roles: dict[str, Fluid] = {MANOMETRIC: m.manometric, PROCESS: m.process, BEYOND: beyond}
    roles |= {f"seal {i}": liquid for i, liquid in enumerate(m.seals, start=1)}
    return roles


def _levels(
    q: Inputs,
    m: Manometer,
    arrangement: Arrangement,
    levels: Mapping[str, Sequence[Level]],
    limbs: tuple[Limb, Limb],
) -> dict[str, Level]:
    """Levels by point, counted from the bend, each with its share of the scale's error."""
    stated = m.scale.standard_uncertainty_m
    length_u = default("length_standard_uncertainty_m") if stated is None else stated
    by_point: dict[str, Level] = {}
    for limb in limbs:
        seen = list(levels.get(limb.name, ()))
        if arrangement.from_top:
            seen.reverse()
        for point, level in zip(limb.points, seen, strict=False):
            # a length between two marks has the stated uncertainty: each end half its square
            mark = Component(
                key=f"mark {point}",
                name=f"scale at {point}",
                coefficient_m=length_u / math.sqrt(2),
                source="default: scale not stated" if stated is None else "given",
            )
            by_point[point] = Level(
                value_m=level.value_m, components=(*level.components, mark)
            )
    sizes = _component_sizes(by_point)
    for level in by_point.values():
        for c in level.components:
            q.setdefault(
                c.key,
                Input(
                    key=c.key,
                    name=c.name,
                    value=0.0,
                    unit="m",
                    standard_uncertainty=sizes[c.key],
                    kind=c.kind,
                    degrees_of_freedom=c.degrees_of_freedom,
                    source=c.source,
                ),
            )
    return {
        point: Level(
            value_m=level.value_m,
            components=tuple(
                replace(c, coefficient_m=c.coefficient_m / sizes[c.key])
                for c in level.components
                if sizes[c.key] > 0
            ),
        )
        for point, level in by_point.items()
    }


def _component_sizes(by_point: Mapping[str, Level]) -> dict[str, float]:
    """Largest coefficient of each component [m]: it becomes the input's uncertainty."""
    sizes: dict[str, float] = {}
    for level in by_point.values():
        for c in level.components:
            largest = float(np.max(np.abs(c.coefficient_m)))
            sizes[c.key] = max(sizes.get(c.key, 0.0), largest)
    return sizes


def _places(
    q: Inputs, m: Manometer, fluids: Mapping[str, Fluid], limbs: tuple[Limb, Limb]
) -> None:
    """Heights that are not read: tapping, second tapping, reservoir, bend."""
    known, unknown = (
        default("tapping_standard_uncertainty_m"),
        default("tapping_unknown_standard_uncertainty_m"),
    )

    def place(
        key: str, name: str, given: Given | None, filling: Fluid, anywhere: float
    ) -> None:
        if given is None and not filling.is_gas:
            raise InputError(
                f"{name}: its height is needed, as {filling.name} stands above the "
                "manometric liquid; give it under [tapping] height (second tapping: "
                "[reference] height)"
            )
        q.given(key, name, given, "m", fallback=(anywhere, unknown), typical_u=known)

    direct = not limbs[0].points
    if direct and m.tapping_m is None:
        q.define("tapping", "height of the tapping", 0.0, "m", known, "default: scale zero")
    elif m.arrangement != "barometer" or m.tapping_m is not None:
        line = m.manometric if direct else m.process
        place("tapping", "height of the tapping", m.tapping_m, line, m.scale.top_m)
    if m.wanted_m is not None:
        q.given(
            "wanted", "height where the pressure is wanted", m.wanted_m, "m",
            fallback=(0.0, 0.0), typical_u=known,
        )  # fmt: skip
    if m.open_to == "tapping":
        place(
            "reference tapping", "height of the second tapping", m.reference_tapping_m,
            fluids[BEYOND], m.scale.top_m,
        )  # fmt: skip
    if m.limb_temperatures_k:
        u = default("bend_standard_uncertainty_m")
        q.define("bend", "height of the bend", m.scale.bottom_m, "m", u, "bottom of scale")
    if any(RESERVOIR in limb.points for limb in limbs) or m.arrangement == "micromanometer":
        _reservoir(q, m)


def _reservoir(q: Inputs, m: Manometer) -> None:
    level_u = default("cistern_level_standard_uncertainty_m")
    fixed = m.cistern_scale == "adjusted" and m.arrangement != "micromanometer"
    if fixed or m.arrangement == "bank":
        # its level is read or set on the scale, whatever the tube does
        if m.cistern_level_m is None:
            raise InputError(
                "the level of the reservoir on the scale is needed; give it under "
                "[cistern] level, or for a bank the open limb under [reference] limb"
            )
        q.given(
            "cistern level", "level in the reservoir", m.cistern_level_m, "m",
            fallback=(0.0, level_u), typical_u=level_u,
        )  # fmt: skip
        return
    q.given(
        "zero", "zero of the tube", m.zero_m or m.cistern_level_m, "m",
        fallback=(0.0, level_u), typical_u=level_u,
    )  # fmt: skip
    ratio = m.area_ratio.value if m.area_ratio else 0.0
    q.given(
        "ratio", "tube over reservoir area", m.area_ratio, "1",
        fallback=(default("area_ratio"), default("area_ratio_standard_uncertainty")),
        typical_u=default("area_ratio_relative_standard_uncertainty") * ratio,
    )  # fmt: skip


def _legs(m: Manometer, limbs: tuple[Limb, Limb], q: Inputs) -> tuple[Leg, ...]:
    legs: list[Leg] = []
    for leg in chain(*limbs, MANOMETRIC):
        if leg.fluid == MANOMETRIC and m.limb_temperatures_k:
            legs += [
                Leg(fluid=MANOMETRIC, start=leg.start, end=BEND, limb=limbs[0].name),
                Leg(fluid=MANOMETRIC, start=BEND, end=leg.end, limb=limbs[1].name),
            ]
        elif leg.fluid == MANOMETRIC:
            legs.append(Leg(fluid=MANOMETRIC, start=leg.start, end=leg.end))
        else:
            limb = leg.limb if m.limb_temperatures_k else ""
            legs.append(Leg(fluid=leg.fluid, start=leg.start, end=leg.end, limb=limb))
    if "wanted" in q:
        first = legs[0]
        legs.insert(0, Leg(fluid=first.fluid, start=WANTED, end=TAPPING, limb=first.limb))
    if m.incline_rad is not None:
        tilt = math.radians(default("incline_standard_uncertainty_deg"))
        q.given(
            "incline", "angle of the tube", m.incline_rad, "rad",
            fallback=(0.0, 0.0), typical_u=tilt,
        )  # fmt: skip
    return tuple(legs)


def _fillings(
    q: Inputs, m: Manometer, fluids: Mapping[str, Fluid], legs: Sequence[Leg]
) -> None:
    """Density inputs, ranges, and the order of weights."""
    for leg in legs:
        filling = fluids[leg.fluid]
        filling.check_temperature(float(q[temperature_key(m, leg)].value))
        relative = filling.relative_standard_uncertainty
        name = f"density of {filling.name}"
        if filling.is_gas and leg.fluid != BEYOND:
            relative = math.hypot(
                relative, default("process_gas_relative_standard_uncertainty")
            )
            name += " in the line"
        q.define(density_key(leg.fluid, filling), name, 0.0, "1", relative, filling.source)
        if isinstance(filling, Liquid) and filling.expansion_standard_uncertainty_per_k > 0:
            q.define(
                f"expansion of {filling.name}",
                f"expansion of {filling.name}",
                0.0,
                "1/K",
                filling.expansion_standard_uncertainty_per_k,
                "default: expansion not given",
            )
    if m.open_to == "vacuum" and isinstance(m.manometric, Liquid):
        relative = default("vapour_pressure_relative_standard_uncertainty")
        value = m.manometric.vapour_pressure_pa
        q.define("vapour", "vapour over the column", value, "Pa", relative * value, "20 degC")


def _offsets(names: tuple[str, ...], limbs: tuple[Limb, Limb]) -> dict[str, float]:
    """Place of each point across the board, -0.5 for the first limb to 0.5 for the last."""
    last = len(names) - 1
    across = {name: i / last - 0.5 if last else 0.0 for i, name in enumerate(names)}
    return {point: across.get(limb.name, 0.0) for limb in limbs for point in limb.points}
