"""The graduated scale as an instrument file states it, and heights given on it."""

from __future__ import annotations

from collections.abc import Callable
from typing import cast, get_args

from limbsight.calib.instrument import Numbers, ScaleSpec
from limbsight.calib.instrument_table import Table
from limbsight.errors import InputError
from limbsight.units import Given, unit_factor

HeightReader = Callable[[Table, str], Given | None]
"""Takes a key of a table for a height on the scale; None where it is left out."""

STEPS_ACROSS_SCALE = 1e-6
"""Relative slack when a range is checked to be a whole number of divisions: the rounding of
the decimal numbers in the file, nothing physical."""


def scale_of(table: Table) -> ScaleSpec:
    """Read the graduated scale."""
    unit = table.text("unit", required=True)
    unit_m, unit_pa = _unit_in_si(table, unit)
    scale = ScaleSpec(
        unit=unit,
        division=table.number("division", required=True, above=0.0),
        numbered_every=table.number("numbered_every", required=True, above=0.0),
        lowest=table.number("lowest", required=True),
        highest=table.number("highest", required=True),
        numbers=cast(
            Numbers, table.choice("numbers", get_args(Numbers), default="upward") or "upward"
        ),
        material=table.text("material"),
        true_at_k=table.quantity("true_at", "temperature"),
        standard_uncertainty_m=table.quantity("standard_uncertainty", "length", lowest=0.0),
        unit_m=unit_m,
        unit_pa=unit_pa,
    )
    _check_graduation(table, scale)
    table.finish()
    return scale


def _unit_in_si(table: Table, unit: str) -> tuple[float | None, float | None]:
    """Metres, or else pascals, per unit of the scale."""
    try:
        return unit_factor(unit, "length"), None
    except InputError:
        try:
            return None, unit_factor(unit, "pressure")
        except InputError:
            table.fail("unit", f"{unit!r} is no length or pressure", "'mm' or 'mmHg'")


def _check_graduation(table: Table, scale: ScaleSpec) -> None:
    if scale.highest <= scale.lowest:
        table.fail(
            "highest",
            f"{scale.highest:g} is not above lowest = {scale.lowest:g}",
            "the largest signed value; a scale that counts downward says so in numbers",
        )
    if scale.numbers == "away-from-zero" and not scale.lowest < 0 < scale.highest:
        table.fail(
            "numbers",
            "away-from-zero needs a zero inside the scale",
            "a negative lowest and a positive highest, or 'upward'",
        )
    for key, long, short in (
        ("numbered_every", scale.numbered_every, scale.division),
        ("highest", scale.highest - scale.lowest, scale.division),
    ):
        steps = long / short
        if steps < 1 or abs(steps - round(steps)) > STEPS_ACROSS_SCALE * steps:
            table.fail(
                key,
                f"is not a whole number of divisions of {scale.division:g}",
                "a multiple of division (for highest: counted from lowest)",
            )


def height_reader(scale: ScaleSpec) -> HeightReader:
    """Return the reader of heights on the scale: a length, or a value in the scale's unit."""

    def read(table: Table, key: str) -> Given | None:
        given = table.given(key, "length", difference="length")
        if given is None:
            return None
        return Given(
            value=scale.upward * given.value, standard_uncertainty=given.standard_uncertainty
        )

    return read
