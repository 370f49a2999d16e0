"""Reads liquid-column manometers from photographs: heights and pressure, each with U.

``limbsight.read_photo(path, instrument=limbsight.load_instrument("fan.toml"))`` walks the
whole road. The names below load their modules when they are first used, so that importing
the package costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from limbsight.errors import InputError, InstrumentError, LimbsightError
from limbsight.records import Reading

if TYPE_CHECKING:
    from limbsight.calib.instrument import load_instrument
    from limbsight.overlay import draw_overlay
    from limbsight.reading import read_photo
    from limbsight.report import reading_to_dict

__version__ = "0.1.0"

__all__ = [
    "InputError",
    "InstrumentError",
    "LimbsightError",
    "Reading",
    "__version__",
    "draw_overlay",
    "load_instrument",
    "read_photo",
    "reading_to_dict",
]

_MODULE_OF = {
    "draw_overlay": "limbsight.overlay",
    "load_instrument": "limbsight.calib.instrument",
    "read_photo": "limbsight.reading",
    "reading_to_dict": "limbsight.report",
}


def __getattr__(name: str) -> Any:
    if name not in _MODULE_OF:
        raise AttributeError(f"module 'limbsight' has no attribute {name!r}")
    return getattr(importlib.import_module(_MODULE_OF[name]), name)
