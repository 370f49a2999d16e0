"""A zero reading: what an instrument shows with both ends at one pressure, taken off.

Two readings of one instrument are the same model with two sets of heights. Inputs that both
have (gravity, densities, tilt, bores, what levels share by their key) are one variable in the
difference, so they cancel as far as they act alike; each meniscus and each place on the scale
is its own variable in each of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from limbsight.errors import InputError
from limbsight.reduce.constants import default
from limbsight.reduce.fluids import Liquid
from limbsight.reduce.manometer import Component, Manometer
from limbsight.reduce.reduction import BEYOND, PROCESS, Reduction
from limbsight.reduce.uncertainty import Input, propagate
from limbsight.units import format_number

PER_READING = ("level ", "mark ", "own angle ", "own interface ")
"""First words of the keys of inputs that differ from reading to reading. A length between any
two places of the scale has its stated uncertainty: so has the one from a level to its zero."""
PER_SETTING = "cistern level"
"""An adjusted cistern is set to its mark anew for every reading."""
TILT_SEEN_RAD = math.radians(3.0)
"""A board that leans farther is seen to lean (common practice, no source)."""
COVERAGE = 3.0
"""Standard uncertainties that a zero may lie beyond what tilt and capillarity make."""


def subtract_zero(reading: Reduction, zero: Reduction) -> Reduction:
    """Take off what a reading with both ends at one pressure says.

    Parameters
    ----------
    reading, zero
        Prepared from the same manometer, each from its own levels.

    Returns
    -------
    Reduction
        Its budget has a line ``zero: ...`` for each input that is the zero reading's own.

    Raises
    ------
    InputError
        If a zero makes no sense for the arrangement (code ``bad_zero``), or the zero's levels
        differ by more than tilt, capillarity and their uncertainty can make (``not_a_zero``).
    """
    _check_arrangement(reading.manometer)
    _check_fillings(reading, zero)
    zero = _vented(zero)
    _check_size(zero)
    mine = {i.key: i for i in reading.inputs}
    own = [i for i in zero.inputs if not _is_common(i, mine, reading.manometer)]
    renamed = (replace(i, key=f"zero: {i.key}", name=f"zero: {i.name}") for i in own)
    return replace(
        reading,
        inputs=(*reading.inputs, *renamed),
        zero=_in_units_of(zero, mine, frozenset(i.key for i in own)),
        zero_keys=frozenset(i.key for i in own),
    )


def zero_pressure(zero: Reduction) -> float:
    """Pressure that a zero reading would be taken for [Pa], lines to the tappings left out."""
    return float(_vented(zero).difference({i.key: float(i.value) for i in zero.inputs}))


def _is_common(i: Input, mine: dict[str, Input], m: Manometer) -> bool:
    if i.key not in mine or i.key.startswith(PER_READING):
        return False
    if i.key == PER_SETTING and m.cistern_scale == "adjusted":
        return False
    # What is certain in one reading has no variable there that the other could share.
    return mine[i.key].standard_uncertainty > 0 or i.standard_uncertainty == 0


def _in_units_of(zero: Reduction, mine: dict[str, Input], own: frozenset[str]) -> Reduction:
    """Express the zero's shared components in the variables of the reading.

    A component is a coefficient times a variable whose uncertainty is the largest that any
    level of its reading has of it; that largest differs between the two.
    """
    theirs = {i.key: i for i in zero.inputs}

    def carried(c: Component) -> Component:
        if c.key in own or mine[c.key].standard_uncertainty == 0:
            return c
        ratio = theirs[c.key].standard_uncertainty / mine[c.key].standard_uncertainty
        return replace(c, coefficient_m=ratio * c.coefficient_m)

    levels = {
        point: replace(level, components=tuple(carried(c) for c in level.components))
        for point, level in zero.levels.items()
    }
    return replace(zero, levels=levels)


def _vented(zero: Reduction) -> Reduction:
    """Both ends at one pressure: one fluid over all limbs, and no line to a tapping."""
    legs = tuple(
        replace(leg, fluid=BEYOND) if leg.fluid == PROCESS else leg for leg in zero.legs
    )
    return replace(zero, legs=legs, vented=True)


def _check_arrangement(m: Manometer) -> None:
    if m.open_to == "vacuum":
        raise _bad(
            "a zero reading can't be subtracted from an absolute pressure: its vacuum side is "
            "never at the pressure of the other; leave the zero out"
        )
    if m.open_to == "tapping":
        beyond = m.reference_process or m.process
        if beyond.name != m.process.name:
            raise _bad(
                f"a zero reading can't be subtracted where one line holds {m.process.name} "
                f"and the other {beyond.name}: the ends are at one pressure only with one "
                "fluid in both; leave the zero out"
            )
    elif not m.process.is_gas:
        raise _bad(
            "a zero reading can't be subtracted where the process fluid is a liquid: its leg "
            "would go with it; read the zero with the line empty and mend the scale's zero"
        )


def _check_fillings(reading: Reduction, zero: Reduction) -> None:
    if reading.levels.keys() != zero.levels.keys():
        raise _bad(
            f"the zero reading has levels {_listed(list(zero.levels))}, the reading "
            f"{_listed(list(reading.levels))}; both must be of one instrument"
        )


def _check_size(zero: Reduction) -> None:
    found = propagate(zero.difference, zero.inputs)
    limit = _most_pa(zero) + COVERAGE * found.standard_uncertainty
    if abs(found.value) > limit:
        raise InputError(
            f"the zero reading shows {format_number(found.value, 1)} Pa; tilt and capillarity "
            f"make {format_number(limit, 1)} Pa at most, so it is not of both ends at one "
            "pressure; take it again with both open",
            code="not_a_zero",
        )


def _most_pa(zero: Reduction) -> float:
    """Pressure that a visible tilt and one wetted, one unwetted limb make [Pa]."""
    m = zero.manometer
    q = {i.key: float(i.value) for i in zero.inputs}
    bores = [*m.bores_m.values()] or [default("bore_m") if m.bore_m is None else m.bore_m]
    tensions = [f.surface_tension_n_m for f in zero.fluids.values() if isinstance(f, Liquid)]
    capillary = 4 * max(tensions) / min(bores)
    density = max(float(rho) for rho in zero.densities(q).values())
    across = max(zero.offsets.values()) - min(zero.offsets.values())
    rise_m = across * q["spacing"] * math.sin(TILT_SEEN_RAD)
    return capillary + q["gravity"] * density * rise_m


def _listed(words: Sequence[str]) -> str:
    return " and ".join(words)


def _bad(message: str) -> InputError:
    return InputError(message, code="bad_zero")
