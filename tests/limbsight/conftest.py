"""A reading made by hand, as the road would hand it on."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from limbsight.records import (
    BudgetLine,
    GraduationMark,
    LevelReading,
    LimbReading,
    PressureReading,
    Reading,
    Reason,
)

MM_PX = 4.0
ZERO_Y_PX = 400.0


def make_level(value: float, x_px: float, **changes: Any) -> LevelReading:
    y_px = ZERO_Y_PX - MM_PX * value
    level = LevelReading(
        value=value,
        standard_uncertainty=0.061,
        unit="mm",
        x_px=x_px,
        y_px=y_px,
        below="water",
        above="air",
        interval_px=((x_px, y_px + 0.5), (x_px, y_px - 0.5)),
    )
    return replace(level, **changes)


def make_limb(name: str, x_px: float, *levels: LevelReading) -> LimbReading:
    return LimbReading(
        limb=name, levels=levels, axis_px=((x_px, 780.0), (x_px, 20.0)), width_px=32.0
    )


def make_budget_line(name: str, contribution_pa: float, **changes: Any) -> BudgetLine:
    line = BudgetLine(
        name=name,
        value=1.0,
        unit="mm",
        standard_uncertainty=0.1,
        sensitivity=contribution_pa / 0.1,
        contribution_pa=contribution_pa,
        kind="B",
        degrees_of_freedom=math.inf,
        source="made up for this test",
    )
    return replace(line, **changes)


def make_pressure(value_pa: float, u_pa: float = 6.0, **changes: Any) -> PressureReading:
    pressure = PressureReading(
        kind="gauge",
        value_pa=value_pa,
        standard_uncertainty_pa=u_pa,
        coverage_factor=2.0,
        coverage_probability=0.9545,
        effective_degrees_of_freedom=80.0,
        budget=(
            make_budget_line("plumb", 1.0),
            make_budget_line("left level", -4.0, kind="A", degrees_of_freedom=12.0),
            make_budget_line("right level", 4.2),
            make_budget_line("density of water", 0.5),
        ),
    )
    return replace(pressure, **changes)


def make_reading(**changes: Any) -> Reading:
    """U-tube, scale from -80 to 80 mm between limbs at x = 200 and x = 400."""
    absolute = make_pressure(102_570.0, 101.0, kind="absolute")
    reading = Reading(
        photo="fan.jpg",
        sha256="ab" * 32,
        taken_at="2026-05-04T08:12:31",
        status="read",
        reasons=(),
        limbs=(
            make_limb("left", 200.0, make_level(-13.514, 200.0)),
            make_limb("right", 400.0, make_level(41.273, 400.0)),
        ),
        graduations=tuple(
            GraduationMark(
                start_px=(280.0, ZERO_Y_PX - MM_PX * value),
                end_px=(300.0, ZERO_Y_PX - MM_PX * value),
                value=float(value),
                numbered=value % 20 == 0,
            )
            for value in range(-80, 81)
        ),
        pressure=make_pressure(-1243.4, absolute=absolute),
        instrument="fan-inlet",
        program="limbsight 0.1.0",
        size_px=(600, 800),
    )
    return replace(reading, **changes)


@pytest.fixture
def reading() -> Reading:
    return make_reading()


@pytest.fixture
def refused() -> Reading:
    reason = Reason(code="no_scale", text="no scale found; retake closer", limb="left")
    return make_reading(
        status="refused", reasons=(reason,), limbs=(), graduations=(), pressure=None
    )


@pytest.fixture
def make() -> Any:
    """Makers of readings and their parts, for tests that need other ones."""

    class Makers:
        level = staticmethod(make_level)
        limb = staticmethod(make_limb)
        pressure = staticmethod(make_pressure)
        reading = staticmethod(make_reading)
        budget_line = staticmethod(make_budget_line)

    return Makers
