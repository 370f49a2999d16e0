"""A reading in words and as JSON. Rounding happens here and nowhere before."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from rich.console import Console
from rich.text import Text

from limbsight.calib.meniscus import COVERAGE_FACTOR
from limbsight.limits import limits_state, limits_text
from limbsight.reasons import limb_text
from limbsight.records import (
    BudgetLine,
    LevelReading,
    PressureReading,
    Reading,
    Reason,
    ZeroUsed,
)
from limbsight.units import (
    convert_pressure,
    decimals_for,
    format_number,
    format_pressure,
    format_quantity,
)

if TYPE_CHECKING:
    from limbsight.calib.instrument import LimitsSpec

CONTRIBUTORS_SHOWN = 3
SHA256_SHOWN = 12
"""Digits of a hash for people: enough to find the file, one in 10^14 by chance."""

MIN_WIDTH = 40
"""Columns that lines are given even where the terminal says that it is narrower."""

LIMITS_STYLE = "bold red"
STATUS_STYLE = {"read": "bold blue", "check": "bold yellow", "refused": "bold red"}


def reading_to_dict(
    reading: Reading, *, unit: str = "kPa", limits: LimitsSpec | None = None
) -> dict[str, Any]:
    """Write a reading as plain data, ready for JSON.

    Parameters
    ----------
    reading
        Result of one photo.
    unit
        Unit of pressure.
    limits
        Alarm limits of the instrument; with them the pressure says where it stands.

    Returns
    -------
    dict
        Keys as documented in the README; numbers unrounded.

    Raises
    ------
    InputError
        If ``unit`` is not a unit of pressure.
    """
    written: dict[str, Any] = {
        "photo": reading.photo,
        "sha256": reading.sha256 or None,
        "taken_at": reading.taken_at,
        "status": reading.status,
        "reasons": [
            {"code": reason.code, "text": reason_text(reason)} for reason in reading.reasons
        ],
        "limbs": [
            {"limb": limb.limb, "levels": [_level_to_dict(level) for level in limb.levels]}
            for limb in reading.limbs
        ],
        "pressure": (
            pressure_to_dict(reading.pressure, unit=unit, limits=limits)
            if reading.pressure
            else None
        ),
        "zero": _zero_to_dict(reading.zero),
        "instrument": reading.instrument,
        "program": reading.program,
    }
    if reading.pressures:
        written["pressures"] = {
            limb: pressure_to_dict(pressure, unit=unit, limits=limits)
            for limb, pressure in reading.pressures
        }
    return written


def pressure_to_dict(
    pressure: PressureReading, *, unit: str = "kPa", limits: LimitsSpec | None = None
) -> dict[str, Any]:
    """Write a pressure as plain data; arguments and errors as for ``reading_to_dict``."""
    written: dict[str, Any] = {
        "value": convert_pressure(pressure.value_pa, unit),
        "expanded_uncertainty": convert_pressure(pressure.expanded_uncertainty_pa, unit),
        "coverage_factor": pressure.coverage_factor,
        "unit": unit,
        "kind": pressure.kind,
    }
    if pressure.zero_pa is not None:
        written["zero_subtracted"] = convert_pressure(pressure.zero_pa, unit)
    state = limits_state(pressure, limits)
    if state is not None:
        written["limits"] = state
    if pressure.absolute:
        written["absolute"] = pressure_to_dict(pressure.absolute, unit=unit)
    written["budget"] = [_budget_line_to_dict(line, unit) for line in pressure.budget]
    return written


def photo_text(reading: Reading) -> str:
    """Name of the photo, with what can't be written in Unicode replaced."""
    return reading.photo.encode("utf-8", "replace").decode("utf-8")


def reason_text(reason: Reason) -> str:
    """Text of a reason, with the limb it concerns."""
    if reason.limb is None:
        return reason.text
    name = limb_text(reason.limb).removeprefix("the ")
    named = name.removesuffix(" limb") in reason.text
    return reason.text if named else f"{name}: {reason.text}"


def level_text(level: LevelReading) -> str:
    """Level with its expanded uncertainty (k = 2), such as ``-13.51 ± 0.12 mm``."""
    expanded = COVERAGE_FACTOR * level.standard_uncertainty
    return format_quantity(level.value, expanded, level.unit)


def pressure_text(pressure: PressureReading, unit: str) -> str:
    """Pressure with its expanded uncertainty and kind, in ``unit``."""
    return format_pressure(
        pressure.value_pa, pressure.expanded_uncertainty_pa, unit, pressure.kind
    )


def zero_text(reading: Reading, pressure: PressureReading, unit: str) -> str | None:
    """Say which zero was subtracted and what it showed; None without one."""
    if reading.zero is None or pressure.zero_pa is None:
        return None
    places = decimals_for(convert_pressure(pressure.expanded_uncertainty_pa, unit))
    value = format_number(convert_pressure(pressure.zero_pa, unit), places)
    name = reading.zero.photo.encode("utf-8", "replace").decode("utf-8")
    stamp = f"sha256 {reading.zero.sha256[:SHA256_SHOWN]}"
    return f"zero subtracted: {value} {unit}, from {name} ({stamp})"


def largest_contributors(
    pressure: PressureReading, count: int = CONTRIBUTORS_SHOWN
) -> list[tuple[BudgetLine, float]]:
    """Lines of the budget that matter most, with their share of the variance.

    Returns
    -------
    list of (BudgetLine, float)
        Largest first; share in 0..1. Correlated lines need not add up to 1.
    """
    variance = pressure.standard_uncertainty_pa**2
    if variance == 0:
        return []
    lines = sorted(pressure.budget, key=lambda line: -abs(line.contribution_pa))
    return [(line, line.contribution_pa**2 / variance) for line in lines[:count]]


def print_reading(
    console: Console,
    reading: Reading,
    *,
    unit: str = "kPa",
    limits: LimitsSpec | None = None,
) -> None:
    """Print one reading for a person, in a few lines."""
    head_word = f"{reading.status.upper():<8}"
    head = Text.assemble(
        (head_word, STATUS_STYLE[reading.status]), (photo_text(reading), "bold")
    )
    about = ", ".join(part for part in (reading.instrument, reading.taken_at) if part)
    if about:
        head.append(f"   {about}", "dim")
    console.print(head, soft_wrap=True)  # a path stays in one piece
    body = _level_lines(reading)
    if reading.pressure:
        zero = zero_text(reading, reading.pressure, unit)
        body += _pressure_lines(reading.pressure, unit, limits, zero)
    for limb, pressure in reading.pressures:
        first, *more = _pressure_lines(
            pressure, unit, limits, zero_text(reading, pressure, unit)
        )
        body += [Text(f"{limb_text(limb)}: ") + first, *more]
    body += [Text(f"- {reason_text(reason)} [{reason.code}]") for reason in reading.reasons]
    indent = " " * len(head_word)
    for paragraph in body:
        for line in paragraph.wrap(console, max(console.width - len(indent), MIN_WIDTH)):
            line.rstrip()
            console.print(Text(indent) + line, soft_wrap=True)


def print_totals(console: Console, readings: Sequence[Reading]) -> None:
    """Print one line that counts the readings by status."""
    count = {
        status: sum(reading.status == status for reading in readings)
        for status in STATUS_STYLE
    }
    parts = ", ".join(f"{number} {status}" for status, number in count.items())
    console.print(Text(f"{len(readings)} photos: {parts}", "dim"))


def _zero_to_dict(zero: ZeroUsed | None) -> dict[str, Any] | None:
    if zero is None:
        return None
    return {"photo": zero.photo, "sha256": zero.sha256, "taken_at": zero.taken_at}


def _level_to_dict(level: LevelReading) -> dict[str, Any]:
    return {
        "value": level.value,
        "standard_uncertainty": level.standard_uncertainty,
        "unit": level.unit,
        "x_px": level.x_px,
        "y_px": level.y_px,
        "below": level.below,
        "above": level.above,
    }


def _budget_line_to_dict(line: BudgetLine, unit: str) -> dict[str, Any]:
    finite = math.isfinite(line.degrees_of_freedom)
    return {
        "name": line.name,
        "value": line.value,
        "unit": line.unit,
        "standard_uncertainty": line.standard_uncertainty,
        "sensitivity": convert_pressure(line.sensitivity, unit),
        "contribution": convert_pressure(line.contribution_pa, unit),
        "kind": line.kind,
        # JSON has no infinity
        "degrees_of_freedom": line.degrees_of_freedom if finite else None,
        "source": line.source,
    }


def _level_lines(reading: Reading) -> list[Text]:
    """Levels in three columns: limb, value ± U, what lies below and above."""
    rows = [
        (limb.limb, level_text(level), f"{level.below} below {level.above}")
        for limb in reading.limbs
        for level in limb.levels
    ]
    name_width = max((len(name) for name, _, _ in rows), default=0)
    value_width = max((len(value) for _, value, _ in rows), default=0)
    return [
        Text.assemble(f"{name:<{name_width}}  {value:>{value_width}}  ", (liquids, "dim"))
        for name, value, liquids in rows
    ]


def _pressure_lines(
    pressure: PressureReading, unit: str, limits: LimitsSpec | None, zero: str | None
) -> list[Text]:
    coverage = (
        f"{100 * pressure.coverage_probability:.0f} %, k = {pressure.coverage_factor:.2f}"
    )
    lines = [
        Text.assemble((pressure_text(pressure, unit), "bold"), (f"   ({coverage})", "dim"))
    ]
    standing = limits_text(pressure, limits, unit)
    if standing:
        outside = limits_state(pressure, limits) != "within"
        lines.append(Text(standing, LIMITS_STYLE if outside else "dim"))
    if pressure.absolute:
        lines.append(Text(pressure_text(pressure.absolute, unit)))
    if zero:
        lines.append(Text(zero))
    contributors = "; ".join(
        f"{line.name} {share:.0%}" for line, share in largest_contributors(pressure)
    )
    if contributors:
        lines.append(Text(f"± mostly from: {contributors}", "dim"))
    return lines
