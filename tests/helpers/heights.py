"""Levels with their uncertainty, and what example instruments make of heights."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from limbsight.level_heights import HeightComponent, LevelHeight

EXAMPLES = Path(__file__).resolve().parents[2] / "sample_images" / "instruments"
FAN = EXAMPLES / "open-u-tube.toml"


def level(value, *components, unit="mm"):
    return LevelHeight(value=value, unit=unit, components=components)


def part(u, key=None, sign=1.0, name="meniscus"):
    return HeightComponent(
        name=name, standard_uncertainty=u, shared_key=key, sensitivity_sign=sign
    )


WANTED_PA: dict[str, tuple[dict[str, Any], float, float]] = {
    # by hand from the legs, capillarity cancelling or as stated, to the tolerance beside
    "open-u-tube": ({"left": -50, "right": 50}, 978.0, 1.0),
    "process-leg-u-tube": ({"left": 100, "right": 250}, 17904.0, 30.0),
    "sealed-u-tube": ({"left": (2, 6), "right": (-2, 3)}, 13180.0, 30.0),
    "differential-u-tube": ({"left": 10, "right": 40}, 38445.0, 60.0),
    "inverted-u-tube": ({"left": 300, "right": 200}, 168.0, 2.0),
    "single-limb": ({"tube": 50}, 5365.0, 10.0),
    "cistern": ({"tube": 300}, 40243.0, 30.0),
    "cistern-compensated": ({"tube": 300}, 39840.0, 30.0),
    "inclined": ({"tube": 100}, 171.6, 0.5),
    "barometer": ({"tube": 760}, 101147.0, 20.0),
    "micromanometer": ({"left": 10}, 21.0, 0.3),
}
