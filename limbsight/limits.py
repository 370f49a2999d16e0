"""Where a pressure stands to the alarm limits of its instrument file.

A value beyond a limit by less than its uncertainty is still given as beyond: the alarm errs
towards a look at the plant. The words for people say how sure it is (simple
acceptance with shared risk, JCGM 106:2012, 8.2: from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from limbsight.units import convert_pressure

if TYPE_CHECKING:
    from limbsight.calib.instrument import LimitsSpec
    from limbsight.records import PressureReading

LimitsState = Literal["below low", "within", "above high"]


def limits_state(pressure: PressureReading, limits: LimitsSpec | None) -> LimitsState | None:
    """Say whether a pressure is outside its limits.

    Parameters
    ----------
    pressure
        Gauge, differential or, of a barometer, absolute: as the limits are.
    limits
        From the instrument file.

    Returns
    -------
    str or None
        None where the file states no limits. A value that equals a limit is within.
    """
    if limits is None or (limits.low_pa is None and limits.high_pa is None):
        return None
    if limits.low_pa is not None and pressure.value_pa < limits.low_pa:
        return "below low"
    if limits.high_pa is not None and pressure.value_pa > limits.high_pa:
        return "above high"
    return "within"


def limits_text(pressure: PressureReading, limits: LimitsSpec | None, unit: str) -> str | None:
    """Write the same for people, with the limit and whether U leaves it in doubt.

    Returns
    -------
    str or None
        Such as ``above high limit 1.2 kPa, by less than U``; None without limits.
    """
    state = limits_state(pressure, limits)
    if state is None or limits is None:
        return None
    sides = [(side, at) for side, at in (("low", limits.low_pa), ("high", limits.high_pa))]
    near = {
        side: at
        for side, at in sides
        if at is not None and abs(pressure.value_pa - at) < pressure.expanded_uncertainty_pa
    }
    if state == "within":
        doubts = (f"{side} limit {_limit_text(near[side], unit)}" for side in near)
        doubt = " and ".join(doubts)
        return f"within limits, but less than U from {doubt}" if doubt else "within limits"
    side = "low" if state == "below low" else "high"
    limit = limits.low_pa if side == "low" else limits.high_pa
    assert limit is not None  # else there would be no such state
    doubt = ", by less than U" if side in near else ""
    return f"{state} limit {_limit_text(limit, unit)}{doubt}"


def _limit_text(limit_pa: float, unit: str) -> str:
    """A limit with the digits that somebody wrote; what conversion adds is cut off."""
    return f"{convert_pressure(limit_pa, unit):.6g} {unit}"
