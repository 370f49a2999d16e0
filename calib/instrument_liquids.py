"""The liquids of an instrument file, by name or by numbers of their own."""

from __future__ import annotations

import math
from typing import Any

from limbsight.calib.instrument import LiquidSpec, LiquidsSpec
from limbsight.calib.instrument_table import Table


def liquids_of(table: Table) -> LiquidsSpec:
    """Read what fills the instrument."""
    manometric = liquid_in(table, "manometric")
    if manometric is None:
        table.fail("manometric", "is missing", "a liquid such as 'water'")
    seals = _several_in(table, "seal")
    spec = LiquidsSpec(
        manometric=manometric,
        process=liquid_in(table, "process") or LiquidSpec(name="air"),
        seals=seals,
    )
    table.finish()
    return spec


def liquid_in(table: Table, key: str) -> LiquidSpec | None:
    """Read one liquid, if the table has it."""
    value = table.as_written(key)
    return None if value is None else _liquid(table, key, value)


def _several_in(table: Table, key: str) -> tuple[LiquidSpec, ...]:
    value = table.as_written(key)
    if value is None:
        return ()
    items = value if isinstance(value, list) else [value]
    return tuple(_liquid(table, key, item) for item in items)


def _liquid(whole: Table, key: str, value: Any) -> LiquidSpec:
    if isinstance(value, str):
        value = {"name": value}
    if not isinstance(value, dict):
        whole.fail(key, f"{value!r} is no liquid", '"water" or { name = ..., density = ... }')
    table = whole.part(key, value)
    spec = LiquidSpec(
        name=table.text("name", required=True),
        density_kg_m3=table.quantity("density", "density", above=0.0),
        specific_gravity=table.number("specific_gravity", above=0.0),
        at_k=table.quantity("at", "temperature", above=0.0),
        expansion_per_k=table.quantity("expansion", "expansion"),
        standard_uncertainty_kg_m3=table.quantity(
            "standard_uncertainty", "density", lowest=0.0
        ),
        surface_tension_n_m=table.quantity("surface_tension", "surface tension", above=0.0),
        contact_angle_rad=table.quantity("contact_angle", "angle", lowest=0.0),
    )
    _check_density(table, spec)
    if spec.contact_angle_rad is not None and spec.contact_angle_rad > math.pi:
        table.fail("contact_angle", "is above 180 deg", '"20 deg"')
    table.finish()
    return spec


def _check_density(table: Table, spec: LiquidSpec) -> None:
    if spec.density_kg_m3 is not None and spec.specific_gravity is not None:
        table.fail("specific_gravity", "and density are both given", "one of the two")
    own = spec.density_kg_m3 is not None or spec.specific_gravity is not None
    if not own and (spec.at_k is not None or spec.expansion_per_k is not None):
        table.fail("at", "belongs to a density, and none is given", 'density = "826 kg/m^3"')
    # liquids from liquefied gases at room temperature to heavier than any element
    if spec.density_kg_m3 is not None and not 300 <= spec.density_kg_m3 <= 25000:
        table.fail("density", "is no density of a liquid", '"826 kg/m^3"')
    if spec.specific_gravity is not None and not 0.3 <= spec.specific_gravity <= 25:
        table.fail("specific_gravity", "is not that of a liquid", "0.827")
