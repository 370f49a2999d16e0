"""Reads liquid-column manometers from photographs: heights and pressure, each with U.

``limbsight.read_photo(path, instrument=limbsight.load_instrument("fan.toml"))`` walks the
whole road. ``limbsight.reduce_heights("fan.toml", left="-50.2 mm", right="51 mm")`` walks its
end, from heights read by eye; ``reduce_series`` does so for arrays of them, and
``pressure_from_levels`` takes levels with their own uncertainties. The names below load their
modules when they are first used, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from limbsight.errors import InputError, InstrumentError, LimbsightError
from limbsight.records import Reading

if TYPE_CHECKING:
    from limbsight.calib.instrument_file import load_instrument, load_instruments
    from limbsight.level_heights import HeightComponent, LevelHeight
    from limbsight.limits import limits_state
    from limbsight.overlay import draw_overlay
    from limbsight.pressure import bank_pressures, pressure_from_levels, reduce_heights
    from limbsight.pressure_series import PressureSeries, reduce_series
    from limbsight.reading import read_photo, read_zero
    from limbsight.report import reading_to_dict
    from limbsight.vision.picture import load_picture

__version__ = "0.1.0"

__all__ = [
    "HeightComponent",
    "InputError",
    "InstrumentError",
    "LevelHeight",
    "LimbsightError",
    "PressureSeries",
    "Reading",
    "__version__",
    "bank_pressures",
    "draw_overlay",
    "limits_state",
    "load_instrument",
    "load_instruments",
    "load_picture",
    "pressure_from_levels",
    "read_photo",
    "read_zero",
    "reading_to_dict",
    "reduce_heights",
    "reduce_series",
]

_HOME = {
    "HeightComponent": "limbsight.level_heights:HeightComponent",
    "LevelHeight": "limbsight.level_heights:LevelHeight",
    "PressureSeries": "limbsight.pressure_series:PressureSeries",
    "bank_pressures": "limbsight.pressure:bank_pressures",
    "draw_overlay": "limbsight.overlay:draw_overlay",
    "limits_state": "limbsight.limits:limits_state",
    "load_instrument": "limbsight.calib.instrument_file:load_instrument",
    "load_instruments": "limbsight.calib.instrument_file:load_instruments",
    "load_picture": "limbsight.vision.picture:load_picture",
    "pressure_from_levels": "limbsight.pressure:pressure_from_levels",
    "read_photo": "limbsight.reading:read_photo",
    "read_zero": "limbsight.reading:read_zero",
    "reading_to_dict": "limbsight.report:reading_to_dict",
    "reduce_heights": "limbsight.pressure:reduce_heights",
    "reduce_series": "limbsight.pressure_series:reduce_series",
}
"""Where each public name that loads late comes from."""


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'limbsight' has no attribute {name!r}")
    module, _, attribute = _HOME[name].partition(":")
    return getattr(importlib.import_module(module), attribute)
