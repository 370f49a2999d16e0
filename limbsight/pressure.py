"""From heights on the scale of one instrument to a pressure with its budget."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from limbsight.calib.instrument import Instrument, LiquidSpec, SiteSpec, load_instrument
from limbsight.errors import InputError, InstrumentError
from limbsight.records import BudgetLine, PressureReading
from limbsight.units import Given, parse_quantity

if TYPE_CHECKING:
    from limbsight.reduce.fluids import Fluid, Liquid
    from limbsight.reduce.manometer import Level, Manometer, Reduction
    from limbsight.reduce.uncertainty import Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightComponent:
    """One part of a level's uncertainty, in the unit of the scale.

    Components with the same ``shared_key`` are fully correlated, in one limb or across
    limbs: each level moves by ``sensitivity_sign * standard_uncertainty`` times the same
    standard variable, so what is common cancels in a difference of levels.
    """

    name: str
    standard_uncertainty: float
    shared_key: str | None = None
    kind: Literal["A", "B"] = "B"
    degrees_of_freedom: float = math.inf
    sensitivity_sign: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelHeight:
    """A level as a signed scale value, with its uncertainty broken down.

    ``unit`` is that of the scale. What a length on the scale is uncertain by (scale
    ``standard_uncertainty``) is added here, so it does not belong into ``components``.
    """

    value: float
    unit: str
    components: tuple[HeightComponent, ...] = ()


def pressure_from_levels(
    instrument: Instrument,
    limbs: Sequence[Sequence[LevelHeight]],
    *,
    covariance: Any = None,
    site: SiteSpec | None = None,
    tapped_limb: str | None = None,
    probability: float | None = None,
) -> PressureReading:
    """Pressure at the tapping from the levels in each limb.

    Parameters
    ----------
    instrument
        The instrument's description.
    limbs
        Levels of each limb: limbs left to right, levels bottom to top.
    covariance : array_like, shape (N, N), optional
        Covariance of all N levels in the square of the scale's unit, limb by limb; it takes
        the place of the levels' components.
    site
        Surroundings of this reading; what it leaves out comes from the instrument file.
    tapped_limb
        Overrides the instrument file's; for a bank the limb wanted, counted from "1".
    probability
        Coverage probability, by default 95.45 % (k = 2 for many degrees of freedom).

    Returns
    -------
    PressureReading
        Gauge (with ``absolute`` beside it), absolute, or differential.

    Raises
    ------
    InputError
        If the levels do not fit the instrument.
    InstrumentError
        If the instrument file lacks something the pressure needs.
    """
    reduction = reduction_of(
        instrument, limbs, covariance=covariance, site=site, tapped_limb=tapped_limb
    )
    return reading_of(reduction, probability=probability)


def reading_of(reduction: Reduction, *, probability: float | None = None) -> PressureReading:
    """Evaluate a prepared reduction with its linear budget."""
    from limbsight.reduce.uncertainty import COVERAGE_PROBABILITY, propagate

    p = COVERAGE_PROBABILITY if probability is None else probability
    if reduction.kind == "gauge":
        absolute = _record(propagate(reduction.absolute, reduction.inputs, probability=p))
        gauge = _record(propagate(reduction.difference, reduction.inputs, probability=p))
        return replace(gauge, kind="gauge", absolute=replace(absolute, kind="absolute"))
    found = _record(propagate(reduction.difference, reduction.inputs, probability=p))
    return replace(found, kind=reduction.kind)


def reduction_of(
    instrument: Instrument,
    limbs: Sequence[Sequence[LevelHeight]],
    *,
    covariance: Any = None,
    site: SiteSpec | None = None,
    tapped_limb: str | None = None,
) -> Reduction:
    """Prepare the model of one reading; arguments as for :func:`pressure_from_levels`."""
    from limbsight.reduce.manometer import prepare

    names = limb_names(instrument, len(limbs))
    tapped = tapped_limb or instrument.tapped_limb
    manometer = manometer_of(instrument, names, tapped_limb=tapped, site=site)
    if covariance is not None:
        limbs = _with_covariance(limbs, covariance)
    metres = _metres_per_unit(instrument, manometer.manometric)
    levels = {
        name: tuple(
            _level(instrument, metres, name, i, level) for i, level in enumerate(limb, 1)
        )
        for name, limb in zip(names, limbs, strict=True)
    }
    return prepare(manometer, levels)


def limb_names(instrument: Instrument, count: int) -> tuple[str, ...]:
    """Names of the limbs, left to right.

    Raises
    ------
    InputError
        If the arrangement does not have that many limbs.
    """
    if instrument.arrangement == "bank":
        return tuple(str(i) for i in range(1, count + 1))
    two = instrument.arrangement in ("u-tube", "inverted-u-tube", "micromanometer")
    names = ("left", "right") if two else ("tube",)
    if count != len(names):
        raise InputError(
            f"{instrument.name}: {count} limb(s) given, a {instrument.arrangement} has "
            f"{len(names)}"
        )
    return names


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
    from limbsight.reduce.manometer import Manometer

    i = instrument
    here = merged_site(i.site, site)
    manometric = _liquid(i, "manometric", i.liquids.manometric)
    reference = None if i.reference.limb is None else str(i.reference.limb)
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
        bores_m=_by_limb(i, "tube.bores", names, tube.bores_m),
        area_ratio=None if cistern.area_ratio is None else Given(value=cistern.area_ratio),
        # a scale that counts a pressure is drawn for the instrument as a whole
        cistern_scale="compensated" if i.scale.unit_pa is not None else cistern.scale,
        cistern_level_m=cistern.level,
        zero_m=cistern.zero,
    )


def merged_site(base: SiteSpec, over: SiteSpec | None) -> SiteSpec:
    """Surroundings of one reading over those of the instrument file."""
    if over is None:
        return base
    from dataclasses import fields

    given = {f.name: getattr(over, f.name) for f in fields(SiteSpec)}
    if over.latitude_rad is not None and over.gravity_m_s2 is None:
        base = replace(base, gravity_m_s2=None)
    return replace(base, **{key: value for key, value in given.items() if value is not None})


def _tapped(i: Instrument, tapped_limb: str | None, names: tuple[str, ...]) -> str:
    if i.arrangement in ("cistern", "inclined", "barometer"):
        return tapped_limb or "cistern"
    if i.arrangement == "single-limb":
        return "cistern"
    if tapped_limb is None or tapped_limb not in names:
        raise InstrumentError(
            f"{i.path}: tapped_limb: {tapped_limb!r} is not one of the limbs read "
            f"({', '.join(names)}); name the limb the process acts on"
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


def _scale(i: Instrument, manometric: Liquid) -> Any:
    from limbsight.reduce.manometer import Scale

    metres = _metres_per_unit(i, manometric)
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
    from limbsight.reduce.constants import constants

    wanted = i.scale.material.lower()
    materials = constants()["material"]
    for name, entry in materials.items():
        if wanted == name.lower() or wanted in (a.lower() for a in entry["aliases"]):
            return Given(
                value=entry["expansion_per_k"],
                standard_uncertainty=entry["half_width_per_k"] / math.sqrt(3),
            )
    raise InstrumentError(
        f"{i.path}: scale.material: {i.scale.material!r} is not known; "
        f"write one of: {', '.join(materials)}"
    )


def _metres_per_unit(i: Instrument, manometric: Liquid) -> float:
    """Length of tube or height that one unit of the scale stands for.

    A scale in mmHg over mercury, or in inH2O over water, has graduations as far apart as the
    name says under conventional density and gravity; over another liquid, or in pascals, it
    is drawn for that liquid at 20 degC and standard gravity.
    """
    if i.scale.unit_m is not None:
        return i.scale.unit_m
    from limbsight.reduce.constants import CELSIUS_ZERO_K, convention, default

    assert i.scale.unit_pa is not None
    density = float(manometric.density(default("own_at_c") + CELSIUS_ZERO_K))
    if "Hg" in i.scale.unit and manometric.name == "mercury":
        density = convention("mercury_density_kg_m3")
    elif "H2O" in i.scale.unit and "water" in manometric.name and "_" not in i.scale.unit:
        density = 1000.0
    return i.scale.unit_pa / (density * convention("standard_gravity_m_s2"))


def _level(i: Instrument, metres: float, limb: str, number: int, level: LevelHeight) -> Level:
    from limbsight.reduce.manometer import Component, Level

    if level.unit != i.scale.unit:
        raise InputError(
            f"limb {limb}: a level in {level.unit!r}, but the scale of {i.name} counts "
            f"{i.scale.unit!r}; give levels in the scale's unit"
        )
    factor = i.scale.upward * metres
    point = f"{limb} {number}"
    return Level(
        value_m=factor * level.value,
        components=tuple(
            Component(
                key=f"shared {c.shared_key}" if c.shared_key else f"{point}: {c.name} {n}",
                name=c.name if c.shared_key else f"{c.name}, {point}",
                coefficient_m=factor * c.sensitivity_sign * c.standard_uncertainty,
                kind=c.kind,
                degrees_of_freedom=c.degrees_of_freedom,
            )
            for n, c in enumerate(level.components, 1)
        ),
    )


def _with_covariance(
    limbs: Sequence[Sequence[LevelHeight]], covariance: Any
) -> tuple[tuple[LevelHeight, ...], ...]:
    """Levels whose components are the principal parts of their covariance."""
    import numpy as np

    matrix = np.asarray(covariance, dtype=float)
    count = sum(len(limb) for limb in limbs)
    if matrix.shape != (count, count) or not np.allclose(matrix, matrix.T):
        raise InputError(f"covariance: needs a symmetric {count} x {count} matrix")
    variances, vectors = np.linalg.eigh(matrix)
    if variances.min() < -1e-9 * max(variances.max(), 0.0):
        raise InputError("covariance: has a negative variance; no set of errors makes it")
    parts = vectors * np.sqrt(np.clip(variances, 0.0, None))
    rows = iter(parts)
    return tuple(
        tuple(
            replace(
                level,
                components=tuple(
                    HeightComponent(
                        name=f"levels, part {k}",
                        standard_uncertainty=abs(float(part)),
                        shared_key=f"covariance {k}",
                        sensitivity_sign=math.copysign(1.0, part),
                    )
                    for k, part in enumerate(next(rows), 1)
                ),
            )
            for level in limb
        )
        for limb in limbs
    )


def _fluid(i: Instrument, key: str, spec: LiquidSpec) -> Fluid:
    from limbsight.reduce.fluids import Liquid, fluid, own_liquid

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
        raise InstrumentError(f"{i.path}: liquids.{key}: {error}") from error
    if not isinstance(found, Liquid):
        return found
    if spec.surface_tension_n_m is not None:
        found = replace(found, surface_tension_n_m=spec.surface_tension_n_m)
    if spec.contact_angle_rad is not None:
        found = replace(found, contact_angle_rad=spec.contact_angle_rad)
    return found


def _liquid(i: Instrument, key: str, spec: LiquidSpec) -> Liquid:
    from limbsight.reduce.fluids import Liquid

    found = _fluid(i, key, spec)
    if not isinstance(found, Liquid):
        raise InstrumentError(
            f"{i.path}: liquids.{key}: {spec.name!r} is a gas; name a liquid"
        )
    return found


def _record(estimate: Estimate) -> PressureReading:
    """Estimate as the plain record; the caller sets the kind."""
    return PressureReading(
        kind="gauge",
        value_pa=estimate.value,
        standard_uncertainty_pa=estimate.standard_uncertainty,
        coverage_factor=estimate.coverage_factor,
        coverage_probability=estimate.coverage_probability,
        effective_degrees_of_freedom=estimate.effective_degrees_of_freedom,
        budget=tuple(
            BudgetLine(
                name=c.input.name,
                value=float(c.input.value),
                unit=c.input.unit,
                standard_uncertainty=c.input.standard_uncertainty,
                sensitivity=c.sensitivity,
                contribution_pa=c.contribution,
                kind=c.input.kind,
                degrees_of_freedom=c.input.degrees_of_freedom,
                source=c.input.source,
            )
            for c in estimate.contributions
            if c.contribution != 0
        ),
    )
