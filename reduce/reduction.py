"""The model of one reading: heights, densities and pressure as functions of the inputs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from limbsight.reduce.arrangements import ARRANGEMENTS, DATUM, RESERVOIR, TAPPING, Limb
from limbsight.reduce.constants import default
from limbsight.reduce.elementary import Number, cos, settled, sin
from limbsight.reduce.fluids import Fluid, Liquid
from limbsight.reduce.legs import Leg, pressure_difference
from limbsight.reduce.manometer import Level, Manometer
from limbsight.reduce.uncertainty import Input
from limbsight.units import PressureKind

MANOMETRIC, PROCESS, BEYOND, WANTED, BEND = "manometric", "process", "beyond", "wanted", "bend"
"""What fills a leg: the liquid whose levels are read, the line, the reference side; and the
points of a chain that not every chain has."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rise:
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
    rises: Mapping[str, Rise]
    offsets: Mapping[str, float]
    """Sideways place of each level's limb, as a share of the limb spacing."""
    zero: Reduction | None = None
    """A reading with both ends at one pressure, to be subtracted."""
    zero_keys: frozenset[str] = frozenset()
    """Inputs of ``zero`` that are its own, known here with ``zero:`` in front."""
    vented: bool = False
    """Both ends at one pressure: they meet at the height of the tapping."""

    @property
    def kind(self) -> PressureKind:
        """Kind of the pressure ``difference`` returns."""
        return self.manometer.kind

    def heights(self, q: Mapping[str, Number]) -> dict[str, Number]:
        """Heights of all points of the chain [m], upward, from the inputs' values."""
        growth = 1 + q["expansion"] * (q["temperature"] - q["true at"])
        lengths = {p: self._length(level, q, growth) for p, level in self.levels.items()}
        z: dict[str, Number] = {
            point: settled(
                self._upright(length, q) + self._aside(point, q) - self._rise(point, q)
            )
            for point, length in lengths.items()
        }
        arrangement = ARRANGEMENTS[self.manometer.arrangement]
        z |= arrangement.derived(self.limbs, lengths, q, lambda x: self._upright(x, q))
        # a barometer without a stated height gives the pressure at its cistern's surface
        z[TAPPING] = q["tapping"] * growth if "tapping" in q else z[RESERVOIR]
        start = z[TAPPING]
        if "wanted" in q:
            start = z[WANTED] = q["wanted"] * growth
        apart = "reference tapping" in q and not self.vented
        z[DATUM] = q["reference tapping"] * growth if apart else start
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
        return settled(p if self.kind == "absolute" else q["barometer"] + p)

    def _walk(
        self, z: Mapping[str, Number], q: Mapping[str, Number], line_pa: Number
    ) -> Number:
        p = pressure_difference(self.legs, z, self._densities(q, line_pa), q["gravity"])
        return p + q["vapour"] if "vapour" in q else p

    def _densities(
        self, q: Mapping[str, Number], line_pa: Number
    ) -> dict[tuple[str, str], Number]:
        return {
            (leg.fluid, leg.limb): settled(self._density(leg, q, line_pa)) for leg in self.legs
        }

    def _density(self, leg: Leg, q: Mapping[str, Number], line_pa: Number) -> Number:
        filling = self.fluids[leg.fluid]
        t = q[temperature_key(self.manometer, leg)]
        factor = 1 + q[density_key(leg.fluid, filling)]
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


def temperature_key(m: Manometer, leg: Leg) -> str:
    """A limb's own temperature, or the common one, which a reservoir always has."""
    return f"temperature {leg.limb}" if leg.limb in m.limb_temperatures_k else "temperature"


def density_key(role: str, filling: Fluid) -> str:
    """Liquids share one input per name; a gas in the line is not that of the surroundings."""
    if filling.is_gas and role != BEYOND:
        return f"density of {filling.name} in the line"
    return f"density of {filling.name}"
