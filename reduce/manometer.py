"""One manometer in plain numbers, and the model of one reading: inputs and a function.

``Manometer`` holds what is known, with ``None`` for what is not; ``prepare`` applies the
defaults, lays the chain and returns a ``Reduction``. Whatever was left out is an input with
its own uncertainty, and so a line of the budget.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from limbsight.errors import InputError
from limbsight.reduce.air import standard_atmosphere_pa
from limbsight.reduce.arrangements import (
    ARRANGEMENTS,
    DATUM,
    RESERVOIR,
    TAPPING,
    Arrangement,
    Limb,
    Plan,
    chain,
)
from limbsight.reduce.capillarity import Meniscus, meniscus
from limbsight.reduce.constants import CELSIUS_ZERO_K, constants, convention, default
from limbsight.reduce.elementary import Number, cos, sin
from limbsight.reduce.fluids import Fluid, Liquid, fluid, moist_air
from limbsight.reduce.gravity import normal_gravity, unknown_gravity
from limbsight.reduce.legs import Leg, pressure_difference
from limbsight.reduce.uncertainty import Input
from limbsight.units import Given

Kind = Literal["gauge", "absolute", "differential"]
PER_MENISCUS = ("level ", "mark ", "own angle ", "own interface ")
"""First words of the keys of inputs that differ from reading to reading."""
MANOMETRIC, PROCESS, BEYOND, WANTED, BEND = "manometric", "process", "beyond", "wanted", "bend"


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
    manometric: Liquid
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
    bores_m: Mapping[str, float] = field(default_factory=dict)
    area_ratio: Given | None = None
    cistern_scale: str = "true"
    cistern_level_m: Given | None = None
    zero_m: Given | None = None

    @property
    def kind(self) -> Kind:
        """What the chain's difference is: against air, a vacuum, or another tapping."""
        if self.open_to == "vacuum":
            return "absolute"
        return "differential" if self.open_to == "tapping" else "gauge"


class _Inputs(dict[str, Input]):
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rise:
    """How far the apex of one meniscus stands off the flat level, linear in its causes."""

    value_m: float = 0.0
    terms: tuple[tuple[str, float], ...] = ()
    """Input key and derivative."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reduction:
    """The model of one reading: its inputs, and pressure as a function of them."""

    manometer: Manometer
    inputs: tuple[Input, ...]
    legs: tuple[Leg, ...]
    fluids: Mapping[str, Fluid]
    limbs: tuple[Limb, Limb]
    levels: Mapping[str, Level]
    rises: Mapping[str, _Rise]
    offsets: Mapping[str, float]
    """Sideways place of each level's limb, as a share of the limb spacing."""
    zero: Reduction | None = None
    """A reading with both ends at one pressure, to be subtracted."""
    zero_keys: frozenset[str] = frozenset()
    """Inputs of ``zero`` that are its own, known here with ``zero:`` in front."""

    @property
    def kind(self) -> Kind:
        """Kind of the pressure ``difference`` returns."""
        return self.manometer.kind

    def heights(self, q: Mapping[str, Number]) -> dict[str, Number]:
        """Heights of all points of the chain [m], upward, from the inputs' values."""
        growth = 1 + q["expansion"] * (q["temperature"] - q["true at"])
        lengths = {p: self._length(level, q, growth) for p, level in self.levels.items()}
        z: dict[str, Number] = {
            point: self._upright(length, q) + self._aside(point, q) - self._rise(point, q)
            for point, length in lengths.items()
        }
        arrangement = ARRANGEMENTS[self.manometer.arrangement]
        z |= arrangement.derived(self.limbs, lengths, q, lambda x: self._upright(x, q))
        # a barometer without a stated height gives the pressure at its cistern's surface
        z[TAPPING] = q["tapping"] * growth if "tapping" in q else z[RESERVOIR]
        start = z[TAPPING]
        if "wanted" in q:
            start = z[WANTED] = q["wanted"] * growth
        z[DATUM] = q["reference tapping"] * growth if "reference tapping" in q else start
        if "bend" in q:
            z[BEND] = q["bend"] * growth
        return z

    def difference(self, q: Mapping[str, Number]) -> Number:
        """Pressure at the tapping less that at the reference [Pa]."""
        z = self.heights(q)
        p = self._walk(z, q, self._line_pressure(z, q))
        if self.zero is None:
            return p
        return p - self.zero.difference({**q, **{k: q[f"zero: {k}"] for k in self.zero_keys}})

    def densities(self, q: Mapping[str, Number]) -> dict[tuple[str, str], Number]:
        """Density of each filling, by role and limb [kg/m3]."""
        return self._densities(q, self._line_pressure(self.heights(q), q))

    def absolute(self, q: Mapping[str, Number]) -> Number:
        """Absolute pressure at the tapping [Pa]; not for a difference of two tappings."""
        p = self.difference(q)
        return p if self.kind == "absolute" else p + q["barometer"]

    def gauge(self, q: Mapping[str, Number]) -> Number:
        """Pressure against the surroundings [Pa]."""
        p = self.difference(q)
        return p - q["barometer"] if self.kind == "absolute" else p

    def _line_pressure(self, z: Mapping[str, Number], q: Mapping[str, Number]) -> Number:
        """Absolute pressure of the gas in the line, if there is one [Pa].

        The chain is walked once with that gas at the pressure of the surroundings. One pass
        settles it: each changes the next by rho g z / p, less than 1e-3 of a small leg.
        """
        if not any(self.fluids[leg.fluid].is_gas for leg in self.legs if leg.fluid != BEYOND):
            return q["barometer"]
        p = self._walk(z, q, q["barometer"])
        return p if self.kind == "absolute" else q["barometer"] + p

    def _walk(
        self, z: Mapping[str, Number], q: Mapping[str, Number], line_pa: Number
    ) -> Number:
        p = pressure_difference(self.legs, z, self._densities(q, line_pa), q["gravity"])
        return p + q["vapour"] if "vapour" in q else p

    def _densities(
        self, q: Mapping[str, Number], line_pa: Number
    ) -> dict[tuple[str, str], Number]:
        return {(leg.fluid, leg.limb): self._density(leg, q, line_pa) for leg in self.legs}

    def _density(self, leg: Leg, q: Mapping[str, Number], line_pa: Number) -> Number:
        filling = self.fluids[leg.fluid]
        t = q[_temperature_key(self.manometer, leg)]
        factor = 1 + q[_density_key(leg.fluid, filling)]
        if isinstance(filling, Liquid):
            extra = q.get(f"expansion of {filling.name}", 0.0)
            return filling.density(t, extra_expansion=extra) * factor
        p = q["barometer"] if leg.fluid == BEYOND else line_pa
        return filling.density(t, p, q["humidity"]) * factor

    def _length(self, level: Level, q: Mapping[str, Number], growth: Number) -> Number:
        """Along the tube, from the scale's zero."""
        length = level.value_m
        for c in level.components:
            length = length + c.coefficient_m * q[c.key]
        length = length * growth
        if "zero" in q:
            length = q["zero"] + (length - q["zero"]) * self._stretch()
        return length

    def _rise(self, point: str, q: Mapping[str, Number]) -> Number:
        rise = self.rises[point]
        total: Number = rise.value_m
        for key, derivative in rise.terms:
            total = total + derivative * q[key]
        return total

    def _upright(self, length: Number, q: Mapping[str, Number]) -> Number:
        if "incline" in q:
            return length * sin(q["incline"] + q["plumb"])
        return length * cos(q["plumb"])

    def _aside(self, point: str, q: Mapping[str, Number]) -> Number:
        """Height a limb gains by its place across the tilted board."""
        return self.offsets[point] * q["spacing"] * sin(q["plumb"])

    def _stretch(self) -> float:
        """Length of tube per length on the scale."""
        m = self.manometer
        if m.cistern_scale != "compensated":
            return 1.0
        gain = math.sin(m.incline_rad.value) if m.incline_rad else 1.0
        ratio = m.area_ratio.value if m.area_ratio else default("area_ratio")
        return 1 / (gain + ratio)


def subtract_zero(reading: Reduction, zero: Reduction) -> Reduction:
    """Take off what a reading with both ends at one pressure says.

    Tilt, capillarity and the zero of the scale cancel where they are common, and so do the
    levels' components of one shared key; what belongs to a single meniscus does not.

    Raises
    ------
    InputError
        If the line holds a liquid, whose leg would be taken off with the zero.
    """
    if not reading.manometer.process.is_gas:
        raise InputError(
            "a zero reading can't be subtracted where the process fluid is a liquid: its leg "
            "would go with it; read the zero with the line empty and mend the scale's zero"
        )
    common = {i.key for i in reading.inputs}
    shared = {key for key in common if not key.startswith(PER_MENISCUS)}
    own = [i for i in zero.inputs if i.key not in shared]
    renamed = (replace(i, key=f"zero: {i.key}", name=f"zero: {i.name}") for i in own)
    return replace(
        reading,
        inputs=(*reading.inputs, *renamed),
        zero=zero,
        zero_keys=frozenset(i.key for i in own),
    )


def prepare(manometer: Manometer, levels: Mapping[str, Sequence[Level]]) -> Reduction:
    """Lay the chain for one reading and collect every input, defaults applied.

    Parameters
    ----------
    manometer
        What is known.
    levels
        Levels of each limb, bottom to top: "left" and "right", "tube", or "1", "2", ...

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
    q = _Inputs()
    fluids = _fluids(manometer)
    _surroundings(q, manometer)
    _scale(q, manometer)
    by_point = _levels(q, manometer, arrangement, levels, limbs)
    _places(q, manometer, fluids, limbs)
    legs = _legs(manometer, limbs, q)
    _fillings(q, manometer, fluids, legs)
    rises = {
        point: _rise(q, manometer, arrangement, fluids, limb, i)
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


def _surroundings(q: _Inputs, m: Manometer) -> None:
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
        typical_u=0.05,
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


def _gravity(q: _Inputs, m: Manometer) -> None:
    relative = float(constants()["gravity"]["relative_standard_uncertainty"])
    if m.gravity_m_s2 is None and m.latitude_rad is not None:
        g = float(normal_gravity(m.latitude_rad, m.elevation_m or 0.0))
        q.define(
            "gravity", "gravity", g, "m/s^2", relative * g, "latitude and elevation, WGS84"
        )
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


def _barometer(q: _Inputs, m: Manometer) -> None:
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


def _scale(q: _Inputs, m: Manometer) -> None:
    q.given(
        "expansion",
        "expansion of the scale",
        m.scale.expansion_per_k,
        "1/K",
        fallback=(
            default("scale_expansion_per_k"),
            default("scale_expansion_standard_uncertainty_per_k"),
        ),
        typical_u=1e-6,
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


def _levels(
    q: _Inputs,
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
    q: _Inputs, m: Manometer, fluids: Mapping[str, Fluid], limbs: tuple[Limb, Limb]
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
        q.define("bend", "height of the bend", m.scale.bottom_m, "m", 0.02, "bottom of scale")
    if any(RESERVOIR in limb.points for limb in limbs) or m.arrangement == "micromanometer":
        _reservoir(q, m)


def _reservoir(q: _Inputs, m: Manometer) -> None:
    level_u = default("cistern_level_standard_uncertainty_m")
    if m.cistern_scale == "adjusted" or m.arrangement == "bank":
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


def _legs(m: Manometer, limbs: tuple[Limb, Limb], q: _Inputs) -> tuple[Leg, ...]:
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
        legs.insert(0, Leg(fluid=PROCESS, start=WANTED, end=TAPPING, limb=legs[0].limb))
    if m.incline_rad is not None:
        tilt = math.radians(default("incline_standard_uncertainty_deg"))
        q.given(
            "incline", "angle of the tube", m.incline_rad, "rad",
            fallback=(0.0, 0.0), typical_u=tilt,
        )  # fmt: skip
    return tuple(legs)


def _fillings(
    q: _Inputs, m: Manometer, fluids: Mapping[str, Fluid], legs: Sequence[Leg]
) -> None:
    """Density inputs, ranges, and the order of weights."""
    for leg in legs:
        filling = fluids[leg.fluid]
        filling.check_temperature(float(q[_temperature_key(m, leg)].value))
        relative = filling.relative_standard_uncertainty
        name = f"density of {filling.name}"
        if filling.is_gas and leg.fluid != BEYOND:
            relative = math.hypot(
                relative, default("process_gas_relative_standard_uncertainty")
            )
            name += " in the line"
        q.define(_density_key(leg.fluid, filling), name, 0.0, "1", relative, filling.source)
        if isinstance(filling, Liquid) and filling.expansion_standard_uncertainty_per_k > 0:
            q.define(
                f"expansion of {filling.name}",
                f"expansion of {filling.name}",
                0.0,
                "1/K",
                filling.expansion_standard_uncertainty_per_k,
                "default: expansion not given",
            )
    if m.open_to == "vacuum" and m.manometric.vapour_pressure_pa > 0:
        relative = default("vapour_pressure_relative_standard_uncertainty")
        value = m.manometric.vapour_pressure_pa
        q.define("vapour", "vapour over the column", value, "Pa", relative * value, "20 degC")


def _temperature_key(m: Manometer, leg: Leg) -> str:
    """A limb's own temperature, or the common one, which a reservoir always has."""
    return f"temperature {leg.limb}" if leg.limb in m.limb_temperatures_k else "temperature"


def _density_key(role: str, filling: Fluid) -> str:
    """Liquids share one input per name; a gas in the line is not that of the surroundings."""
    if filling.is_gas and role != BEYOND:
        return f"density of {filling.name} in the line"
    return f"density of {filling.name}"


def _rise(
    q: _Inputs,
    m: Manometer,
    arrangement: Arrangement,
    fluids: Mapping[str, Fluid],
    limb: Limb,
    i: int,
) -> _Rise:
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
            return _Rise(terms=rise.terms[1:]) if arrangement.zeroed else rise
        angle_u = math.radians(default("interface_angle_standard_uncertainty_deg"))
    shape = meniscus(bore / 2, low.contact_angle_rad, tension_n_m, difference, g)
    own_angle = q.define(
        f"own angle {limb.points[i]}",
        f"contact angle, {limb.points[i]} alone",
        0.0,
        "rad",
        math.radians(default("contact_angle_limb_standard_uncertainty_deg")),
        "default: limbs differ",
    )
    if arrangement.zeroed:
        return _Rise(terms=((own_angle, shape.rise_by_angle),))
    angle = q.define(
        f"angle {pair}",
        f"contact angle of {pair}",
        0.0,
        "rad",
        angle_u,
        "liquid",
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
    return _Rise(
        value_m=shape.rise_m,
        terms=(
            (angle, shape.rise_by_angle),
            (own_angle, shape.rise_by_angle),
            (tension, shape.rise_by_tension),
            (radius, shape.rise_by_radius),
            (own_radius, shape.rise_by_radius),
        ),
    )


def _interface_tension(low: Liquid, high: Liquid) -> float:
    """Tension between two liquids: the difference of theirs, Antonow's rule (1907)."""
    difference = abs(low.surface_tension_n_m - high.surface_tension_n_m)
    return max(difference, default("interface_tension_least_n_m"))


def _rise_unknown(q: _Inputs, pair: str, point: str, full: Meniscus) -> _Rise:
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
    return _Rise(terms=((common, math.sqrt(1 - share * share) * u), (own, share * u)))


def _bore(m: Manometer, limb: str) -> tuple[float, float]:
    """Bore of a limb and its standard uncertainty [m]."""
    bore = m.bores_m.get(limb, m.bore_m)
    if bore is None:
        return default("bore_m"), default("bore_standard_uncertainty_m")
    return bore, default("bore_given_relative_standard_uncertainty") * bore


def _offsets(names: tuple[str, ...], limbs: tuple[Limb, Limb]) -> dict[str, float]:
    """Place of each point across the board, -0.5 for the first limb to 0.5 for the last."""
    last = len(names) - 1
    across = {name: i / last - 0.5 if last else 0.0 for i, name in enumerate(names)}
    return {point: across.get(limb.name, 0.0) for limb in limbs for point in limb.points}
