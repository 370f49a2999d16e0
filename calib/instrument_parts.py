"""Tubes, tappings, cistern, surroundings, limits and label of an instrument file."""

from __future__ import annotations

import math
from typing import cast, get_args

from limbsight.calib.axis_to_scale import MOST_AXIS_TO_SCALE_M, MOST_SUNK_M
from limbsight.calib.instrument import (
    ArrangementName,
    CisternScale,
    CisternSpec,
    LabelSpec,
    LimitsSpec,
    ReferenceSpec,
    SiteSpec,
    TappingSpec,
    TubeSpec,
)
from limbsight.calib.instrument_liquids import liquid_in
from limbsight.calib.instrument_scale import HeightReader
from limbsight.calib.instrument_table import Table

LABEL_NUMBERS = 587
"""Of the family 36h11, from 0 on."""


def tapped_limb_of(top: Table, arrangement: ArrangementName) -> str | None:
    """Read which limb the process acts on: a side, or for a bank its number from the left."""
    choices: dict[str, tuple[str, ...]] = {
        "u-tube": ("left", "right"),
        "inverted-u-tube": ("left", "right"),
        "micromanometer": ("left", "right"),
        "single-limb": ("tube", "left", "right"),
        "cistern": ("cistern", "tube"),
        "inclined": ("cistern", "tube"),
        "barometer": ("cistern",),
    }
    if arrangement == "bank":
        number = top.integer("tapped_limb", lowest=1)
        return None if number is None else str(number)
    sided = choices[arrangement] == ("left", "right")
    return top.choice("tapped_limb", choices[arrangement], required=sided)


def tube_of(table: Table, arrangement: ArrangementName) -> TubeSpec:
    """Read the tubes."""
    incline = table.given("incline", "angle", difference="angle")
    if incline is not None and not 0 < incline.value <= math.pi / 2:
        table.fail("incline", "must lie above 0 and up to 90 deg", "'12 deg'")
    if arrangement == "inclined" and incline is None:
        table.fail("incline", "is missing for an inclined tube", "'12 deg' above horizontal")
    bores = table.quantities("bores", "length", above=0.0)
    spec = TubeSpec(
        material=table.text("material"),
        bore_m=table.quantity("bore", "length", above=0.0),
        bores_m=bores,
        outside_diameter_m=table.quantity("outside_diameter", "length", above=0.0),
        axis_to_scale_m=table.quantity("axis_to_scale", "length", lowest=-MOST_SUNK_M),
        incline_rad=None if incline is None else incline.value,
        incline_standard_uncertainty_rad=(
            None if incline is None else incline.standard_uncertainty
        ),
        meniscus_height=table.given("meniscus_height", "length", difference="length"),
        limb_spacing_m=table.quantity("limb_spacing", "length", lowest=0.0),
    )
    if (spec.axis_to_scale_m or 0.0) > MOST_AXIS_TO_SCALE_M:
        most_mm = 1e3 * MOST_AXIS_TO_SCALE_M
        table.fail("axis_to_scale", f"is above {most_mm:g} mm", "'6.5 mm' to the middle")
    if -(spec.axis_to_scale_m or 0.0) > 0.5 * (spec.outside_diameter_m or math.inf):
        table.fail(
            "axis_to_scale", "puts all of the tube behind the face", "'-1 mm' in a groove"
        )
    if spec.meniscus_height is not None and spec.meniscus_height.value <= 0:
        table.fail("meniscus_height", "must be above 0, hollow or domed", "'1.2 mm'")
    if bores and spec.bore_m is not None:
        table.fail("bores", "and bore are both given", "one of the two")
    widest = max(bores) if bores else spec.bore_m
    if widest and spec.outside_diameter_m and widest >= spec.outside_diameter_m:
        table.fail("bore", "is not smaller than outside_diameter", "the inside diameter")
    table.finish()
    return spec


def tapping_of(table: Table, length: HeightReader) -> TappingSpec:
    """Read where the process is tapped."""
    spec = TappingSpec(height=length(table, "height"), wanted_at=length(table, "wanted_at"))
    table.finish()
    return spec


def reference_of(table: Table, length: HeightReader) -> ReferenceSpec:
    """Read the other end."""
    spec = ReferenceSpec(
        open_to=table.text("open_to") or "air",
        process=liquid_in(table, "process"),
        height=length(table, "height"),
        limb=table.integer("limb", lowest=1),
    )
    if spec.open_to != "tapping" and (spec.process or spec.height):
        table.fail("open_to", "must be 'tapping' with process or height", "'tapping'")
    table.finish()
    return spec


def cistern_of(table: Table, length: HeightReader) -> CisternSpec:
    """Read the reservoir."""
    ratio = table.given_number("area_ratio")
    if ratio is not None and not 0 <= ratio.value < 1:
        table.fail("area_ratio", "is tube over cistern and lies between 0 and 1", "0.01")
    spec = CisternSpec(
        area_ratio=ratio,
        scale=cast(
            CisternScale, table.choice("scale", get_args(CisternScale), default="true")
        ),
        level=length(table, "level"),
        zero=length(table, "zero"),
    )
    table.finish()
    return spec


def site_of(table: Table) -> SiteSpec:
    """Read the surroundings."""
    latitude = table.quantity("latitude", "angle")
    if latitude is not None and abs(latitude) > math.pi / 2:
        table.fail("latitude", "must lie between -90 and 90 deg", "'52 deg'")
    barometer = table.given("barometer", "pressure", difference="pressure")
    # lowest and highest pressure at which anybody works outdoors, with a wide margin
    if barometer is not None and not 3e4 <= barometer.value <= 1.2e5:
        table.fail("barometer", "must lie between 300 and 1200 hPa", "'1009 hPa', not reduced")
    humidity = table.given("humidity", "ratio", difference="ratio")
    if humidity is not None and not 0 <= humidity.value <= 1:
        table.fail("humidity", "must lie between 0 % and 100 %", "'50 %'")
    gravity = table.given("gravity", "acceleration", difference="acceleration")
    # outside the range of gravity on Earth's surface (9.76 to 9.84) by a wide margin
    if gravity is not None and not 9.7 <= gravity.value <= 9.9:
        table.fail("gravity", "must lie between 9.7 and 9.9 m/s^2", "'9.8126 m/s^2'")
    limb_temperatures = table.givens("limb_temperatures", "temperature")
    spec = SiteSpec(
        temperature_k=table.given("temperature", "temperature"),
        limb_temperatures_k=limb_temperatures,
        latitude_rad=latitude,
        elevation_m=table.quantity("elevation", "length"),
        gravity_m_s2=gravity,
        barometer_pa=barometer,
        relative_humidity=humidity,
        plumb_rad=table.given("plumb", "angle", difference="angle"),
    )
    if spec.elevation_m is not None and not -500 <= spec.elevation_m <= 9000:
        table.fail("elevation", "must lie between -500 and 9000 m", "'40 m'")
    table.finish()
    return spec


def limits_of(table: Table, arrangement: ArrangementName) -> LimitsSpec:
    """Read the alarm limits."""
    kinds = ("absolute",) if arrangement == "barometer" else ("gauge", "differential")
    spec = LimitsSpec(
        low_pa=table.pressure("low", kinds), high_pa=table.pressure("high", kinds)
    )
    if spec.low_pa is not None and spec.high_pa is not None and spec.low_pa >= spec.high_pa:
        table.fail("low", "is not below high", "a lower limit under the upper one")
    table.finish()
    return spec


def label_of(table: Table) -> LabelSpec | None:
    """Read the printed label; None where there is none."""
    number = table.integer("number", lowest=0)
    size_m = table.quantity("size", "length", above=0.0)
    table.finish()
    if number is None:
        if size_m is not None:
            table.fail("number", "is missing", "the number of the printed label, number = 17")
        return None
    if number >= LABEL_NUMBERS:
        table.fail(
            "number", f"{number} is not in the family 36h11", f"0 to {LABEL_NUMBERS - 1}"
        )
    return LabelSpec(number=number, size_m=size_m)
