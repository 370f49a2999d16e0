"""From an instrument file to the plain numbers of the reduction, liquids looked up."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from limbsight.calib.instrument import Instrument, LiquidSpec, SiteSpec
from limbsight.errors import InputError, InstrumentError
from limbsight.liquid_optics import is_watery
from limbsight.reduce.arrangements import RESERVOIR
from limbsight.reduce.constants import (
    CELSIUS_ZERO_K,
    constants,
    convention,
    default,
    entry_of,
)
from limbsight.reduce.fluids import Fluid, Liquid, fluid, own_liquid
from limbsight.reduce.manometer import Manometer, Scale
from limbsight.units import Given, unit_factor
from limbsight.walls import Wetting, wetting_of

TWO_LIQUIDS = ("inverted-u-tube", "micromanometer")
"""Arrangements whose pressure is that of a difference of densities."""


def manometer_of(
    instrument: Instrument,
    names: tuple[str, ...],
    *,
    tapped_limb: str | None,
    site: SiteSpec | None = None,
) -> Manometer:
    """Carry an instrument file, and the surroundings of a reading, to plain numbers.

    Raises
    ------
    InstrumentError
        If a liquid or material is not known, or something needed is missing.
    """
    i = instrument
    here = merged_site(i.site, site)
    manometric = _manometric(i)
    reference = None if i.reference.limb is None else f"limb {i.reference.limb}"
    tube, cistern = i.tube, i.cistern
    return Manometer(
        arrangement=i.arrangement,
        tapped_limb=_tapped(i, tapped_limb, names),
        manometric=manometric,
        process=_fluid(i, "process", i.liquids.process),
        seals=tuple(_liquid(i, "seal", seal) for seal in i.liquids.seals),
        open_to=_open_to(i),
        reference_process=(
            None
            if i.reference.process is None
            else _fluid(i, "reference.process", i.reference.process)
        ),
        reference_limb=reference,
        scale=_scale(i, manometric),
        tapping_m=i.tapping.height,
        reference_tapping_m=i.reference.height,
        wanted_m=i.tapping.wanted_at,
        temperature_k=here.temperature_k,
        limb_temperatures_k=_by_limb(i, "limb_temperatures", names, here.limb_temperatures_k),
        latitude_rad=here.latitude_rad,
        elevation_m=here.elevation_m,
        gravity_m_s2=here.gravity_m_s2,
        barometer_pa=here.barometer_pa,
        relative_humidity=here.relative_humidity,
        plumb_rad=here.plumb_rad,
        incline_rad=(
            Given(
                value=tube.incline_rad,
                standard_uncertainty=tube.incline_standard_uncertainty_rad,
            )
            if i.arrangement == "inclined" and tube.incline_rad is not None
            else None
        ),
        limb_spacing_m=tube.limb_spacing_m,
        bore_m=tube.bore_m,
        meniscus_height_m=tube.meniscus_height,
        bores_m=_by_limb(i, "tube.bores", names, tube.bores_m),
        area_ratio=cistern.area_ratio,
        # a scale that counts a pressure is drawn for the instrument as a whole
        cistern_scale="compensated" if i.scale.unit_pa is not None else cistern.scale,
        cistern_level_m=cistern.level,
        zero_m=cistern.zero,
    )


def check_names(instrument: Instrument) -> None:
    """Look every liquid, gas and material of an instrument file up, before any reading.

    Raises
    ------
    InstrumentError
        Naming file and key, if one is not known.
    """
    i = instrument
    for seal in i.liquids.seals:
        _liquid(i, "seal", seal)
    _fluid(i, "process", i.liquids.process)
    if i.reference.process is not None:
        _fluid(i, "reference.process", i.reference.process)
    if i.reference.open_to != "tapping":
        _fluid(i, "reference.open_to", LiquidSpec(name=i.reference.open_to))
    _scale(i, _manometric(i))
    wetting_of(i)


def merged_site(base: SiteSpec, over: SiteSpec | None) -> SiteSpec:
    """Surroundings of one reading over those of the instrument file."""
    if over is None:
        return base
    given = {f.name: getattr(over, f.name) for f in fields(SiteSpec)}
    if over.latitude_rad is not None and over.gravity_m_s2 is None:
        base = replace(base, gravity_m_s2=None)
    return replace(base, **{key: value for key, value in given.items() if value is not None})


def _tapped(i: Instrument, tapped_limb: str | None, names: tuple[str, ...]) -> str:
    if i.arrangement == "single-limb":
        return RESERVOIR
    limbs = names
    if i.arrangement in ("cistern", "inclined", "barometer"):
        tapped_limb = tapped_limb or RESERVOIR
        limbs = (RESERVOIR,) if i.arrangement == "barometer" else (RESERVOIR, *names)
    if i.arrangement == "bank" and tapped_limb is not None and tapped_limb.isdigit():
        tapped_limb = f"limb {tapped_limb}"
    if tapped_limb is None or tapped_limb not in limbs:
        raise InstrumentError(
            f"{i.path}: tapped_limb: {tapped_limb!r} is not one of its limbs "
            f"({', '.join(limbs)}); name the limb the process acts on"
        )
    return tapped_limb


def _open_to(i: Instrument) -> str:
    if i.arrangement == "barometer":
        return "vacuum"
    return i.reference.open_to


def _by_limb(
    i: Instrument, key: str, names: tuple[str, ...], values: tuple[Any, ...] | None
) -> Mapping[str, Any]:
    if values is None:
        return {}
    if len(values) != len(names):
        raise InstrumentError(
            f"{i.path}: {key}: {len(values)} value(s) for {len(names)} limb(s); "
            "write one per limb, left to right"
        )
    return dict(zip(names, values, strict=True))


def _scale(i: Instrument, manometric: Fluid) -> Scale:
    metres = metres_per_unit(i, manometric)
    ends = sorted(i.scale.upward * v * metres for v in (i.scale.lowest, i.scale.highest))
    return Scale(
        expansion_per_k=_expansion(i),
        true_at_k=i.scale.true_at_k,
        standard_uncertainty_m=i.scale.standard_uncertainty_m,
        bottom_m=ends[0],
        top_m=ends[1],
    )


def _expansion(i: Instrument) -> Given | None:
    if i.scale.material is None:
        return None
    _, entry = entry_of("material", i.scale.material)
    if entry is None:
        raise InstrumentError(
            f"{i.path}: scale.material: {i.scale.material!r} is not known; "
            f"write one of: {', '.join(constants()['material'])}"
        )
    return Given(
        value=entry["expansion_per_k"],
        standard_uncertainty=entry["half_width_per_k"] / math.sqrt(3),
    )


def unit_length_m(instrument: Instrument) -> float:
    """Length of one unit of the scale, for the picture as for the pressure.

    Raises
    ------
    InstrumentError
        As of ``metres_per_unit``, and if the manometric liquid is not known.
    """
    if instrument.scale.unit_m is not None:
        return instrument.scale.unit_m
    return metres_per_unit(instrument, _manometric(instrument))


def metres_per_unit(i: Instrument, manometric: Fluid) -> float:
    """Length of tube or height that one unit of the scale stands for.

    A scale in mmHg over mercury, or in inH2O over water, has graduations as far apart as the
    name says. Over mercury any other unit is drawn for conventional mercury (0 degC), over
    another liquid for that liquid at 20 degC, both under standard gravity.

    Raises
    ------
    InstrumentError
        If the scale counts a pressure that its arrangement does not make of one liquid.
    """
    if i.scale.unit_m is not None:
        return i.scale.unit_m
    assert i.scale.unit_pa is not None
    if not isinstance(manometric, Liquid) or i.arrangement in TWO_LIQUIDS:
        raise InstrumentError(
            f"{i.path}: scale.unit: a {i.arrangement} balances two fluids, so its scale can't "
            f"count {i.scale.unit!r}; write the length of its graduations, 'mm'"
        )
    for word, name in (("Hg", "mercury"), ("H2O", "water")):
        length, found, _ = i.scale.unit.partition(word)
        if found and name in manometric.name:
            return unit_factor(length, "length")
    density = convention("mercury_density_kg_m3")
    if manometric.name != "mercury":
        density = float(manometric.density(default("own_at_c") + CELSIUS_ZERO_K))
    return i.scale.unit_pa / (density * convention("standard_gravity_m_s2"))


def _fluid(i: Instrument, key: str, spec: LiquidSpec) -> Fluid:
    try:
        if spec.density_kg_m3 is None and spec.specific_gravity is None:
            found = fluid(spec.name)
        else:
            found = own_liquid(
                spec.name,
                density_kg_m3=spec.density_kg_m3,
                specific_gravity=spec.specific_gravity,
                at_k=spec.at_k,
                expansion_per_k=spec.expansion_per_k,
                standard_uncertainty_kg_m3=spec.standard_uncertainty_kg_m3,
            )
    except InputError as error:
        raise InstrumentError(f"{i.path}: {_where(key)}: {error}") from error
    if not isinstance(found, Liquid):
        return found
    own = spec.standard_uncertainty_kg_m3
    if own is not None:
        found = replace(found, relative_standard_uncertainty=own / found.density_kg_m3)
    if spec.surface_tension_n_m is not None:
        found = replace(found, surface_tension_n_m=spec.surface_tension_n_m)
    if spec.contact_angle_rad is not None:
        return replace(found, contact_angle_rad=spec.contact_angle_rad)
    return _on_wall(found, wetting_of(i))


def _on_wall(liquid: Liquid, wetting: Wetting | None) -> Liquid:
    """A liquid as it meets the tube's wall."""
    if wetting is None or not is_watery(liquid.name):
        return liquid
    return replace(
        liquid,
        contact_angle_rad=wetting.contact_angle_rad,
        contact_angle_standard_uncertainty_rad=wetting.u_rad,
        contact_angle_limb_standard_uncertainty_rad=wetting.u_limb_rad,
    )


def _where(key: str) -> str:
    """A key of [liquids], or one that says its own table."""
    return key if "." in key else f"liquids.{key}"


def _manometric(i: Instrument) -> Fluid:
    """A liquid; over an inverted U-tube a gas may stand."""
    if i.arrangement == "inverted-u-tube":
        return _fluid(i, "manometric", i.liquids.manometric)
    return _liquid(i, "manometric", i.liquids.manometric)


def _liquid(i: Instrument, key: str, spec: LiquidSpec) -> Liquid:
    found = _fluid(i, key, spec)
    if not isinstance(found, Liquid):
        raise InstrumentError(
            f"{i.path}: {_where(key)}: {spec.name!r} is a gas; name a liquid"
        )
    return found
