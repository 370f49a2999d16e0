"""From heights on the scale of one instrument to a pressure with its budget."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from limbsight.calib.instrument import Instrument, LiquidSpec, SiteSpec, load_instrument
from limbsight.errors import InputError, InstrumentError
from limbsight.records import BudgetLine, PressureReading
from limbsight.units import Given, PressureKind, parse_quantity

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PressureSeries:
    """Many pressures of one instrument [Pa], arrays of shape (N,)."""

    kind: PressureKind
    value_pa: NDArray[np.float64]
    standard_uncertainty_pa: NDArray[np.float64]


Height = str | float
Heights = Height | Sequence[Height]
"""One level, or several of one limb, bottom to top."""

SERIES_BLOCK = 16_384
"""Readings at a time: complex arrays of this length (256 kB) stay in the processor's cache."""

BY_EYE_DIVISIONS = 0.25
"""Half-width of a reading by eye, in divisions; common practice, no source."""


def pressure_from_levels(
    instrument: Instrument,
    limbs: Sequence[Sequence[LevelHeight]],
    *,
    covariance: Any = None,
    zero: Sequence[Sequence[LevelHeight]] | None = None,
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
    zero
        Levels with both ends at one pressure, to be subtracted; what they share with
        ``limbs`` (scale, tilt, capillarity, components of one shared key) cancels.
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
        instrument,
        limbs,
        covariance=covariance,
        zero=zero,
        site=site,
        tapped_limb=tapped_limb,
    )
    return reading_of(reduction, probability=probability)


def reduce_heights(
    instrument: Instrument | str | Path,
    *,
    left: Heights | None = None,
    right: Heights | None = None,
    tube: Heights | None = None,
    limbs: Sequence[Heights] | None = None,
    zero: Sequence[Heights] | None = None,
    standard_uncertainty: str | float | None = None,
    site: SiteSpec | None = None,
    tapped_limb: str | None = None,
    probability: float | None = None,
) -> PressureReading:
    """Pressure from heights read by eye or typed in, no photo needed.

    Parameters
    ----------
    instrument
        The instrument's description, or the path of its file.
    left, right, tube
        Level of each limb: text with a unit (``"120.5 mm"``) or a number in the scale's
        unit; a sequence of them, bottom to top, where a limb has several.
    limbs
        All limbs, left to right, in place of the three above; needed for a bank.
    zero
        Levels of the same limbs with both ends at one pressure, to be subtracted.
    standard_uncertainty
        Of each level; by default that of a reading by eye to a quarter of a division.
    site, tapped_limb, probability
        As for :func:`pressure_from_levels`.

    Returns
    -------
    PressureReading

    Raises
    ------
    InputError, InstrumentError
        If heights, or the instrument file, are wrong.

    Examples
    --------
    >>> import limbsight
    >>> reading = limbsight.reduce_heights("fan.toml", left="-50.2 mm", right="51 mm")
    ... # doctest: +SKIP
    """
    found = instrument if isinstance(instrument, Instrument) else load_instrument(instrument)
    given = limbs_given(found, left=left, right=right, tube=tube, limbs=limbs)
    return pressure_from_levels(
        found,
        read_heights(found, given, standard_uncertainty),
        zero=None if zero is None else read_heights(found, zero, standard_uncertainty),
        site=site,
        tapped_limb=tapped_limb,
        probability=probability,
    )


def reduce_series(
    instrument: Instrument | str | Path,
    limbs: Sequence[Sequence[NDArray[np.float64]]],
    *,
    standard_uncertainty: str | float | None = None,
    site: SiteSpec | None = None,
    tapped_limb: str | None = None,
) -> PressureSeries:
    """Pressures of many readings of one instrument in one call.

    Parameters
    ----------
    instrument, standard_uncertainty, site, tapped_limb
        As for :func:`reduce_heights`.
    limbs : sequence of sequences of ndarray, shape (N,)
        For each limb, left to right, its levels, bottom to top: signed scale values.

    Returns
    -------
    PressureSeries
        The same values, to the last bit, as one reading at a time.

    Raises
    ------
    InputError, InstrumentError
        As for :func:`reduce_heights`; also if the arrays differ in shape.
    """
    import numpy as np

    from limbsight.reduce.uncertainty import array_uncertainty

    found = instrument if isinstance(instrument, Instrument) else load_instrument(instrument)
    arrays = [[np.asarray(level, dtype=np.float64) for level in limb] for limb in limbs]
    shapes = {level.shape for limb in arrays for level in limb}
    if len(shapes) != 1 or len(next(iter(shapes))) != 1:
        raise InputError("limbs: give one-dimensional arrays of one length")
    count = next(iter(shapes))[0]
    value, standard = np.empty(count), np.empty(count)
    u = _reading_uncertainty(found, standard_uncertainty)
    for start in range(0, count, SERIES_BLOCK):
        block = slice(start, start + SERIES_BLOCK)
        levels = [[_by_eye(found, level[block], u) for level in limb] for limb in arrays]
        reduction = reduction_of(found, levels, site=site, tapped_limb=tapped_limb)
        q = {i.key: i.value for i in reduction.inputs}
        value[block] = reduction.difference(q)
        standard[block] = array_uncertainty(reduction.difference, reduction.inputs)
    return PressureSeries(
        kind=reduction.kind, value_pa=value, standard_uncertainty_pa=standard
    )


def bank_pressures(
    instrument: Instrument,
    limbs: Sequence[Sequence[LevelHeight]],
    *,
    site: SiteSpec | None = None,
    probability: float | None = None,
) -> dict[str, PressureReading]:
    """Pressure of every tube of a bank, by its number from the left.

    Raises
    ------
    InputError, InstrumentError
        As for :func:`pressure_from_levels`.
    """
    reference = instrument.reference.limb
    return {
        name: pressure_from_levels(
            instrument, limbs, site=site, tapped_limb=name, probability=probability
        )
        for name in limb_names(instrument, len(limbs))
        if name != f"limb {reference}"
    }


def limbs_given(
    instrument: Instrument,
    *,
    left: Heights | None = None,
    right: Heights | None = None,
    tube: Heights | None = None,
    limbs: Sequence[Heights] | None = None,
) -> tuple[Heights, ...]:
    """Put limbs given by name into order, left to right.

    Raises
    ------
    InputError
        If a limb is missing, or one is given that the instrument does not have.
    """
    if limbs is not None:
        if left is not None or right is not None or tube is not None:
            raise InputError("give limbs either by name or as one sequence")
        return tuple(limbs)
    named = {"left": left, "right": right, "tube": tube}
    if instrument.arrangement == "bank":
        raise InputError(
            f"{instrument.name}: a bank's limbs are given as limbs, left to right"
        )
    wanted = _names_of(instrument)
    for name, heights in named.items():
        if (heights is not None) != (name in wanted):
            # one interface is enough for a two-liquid micromanometer
            if name in wanted and instrument.arrangement == "micromanometer":
                continue
            what = "is missing" if name in wanted else "does not exist"
            raise InputError(
                f"limb {name} {what}: a {instrument.arrangement} has {' and '.join(wanted)}"
            )
    return tuple(() if (heights := named[name]) is None else heights for name in wanted)


def read_heights(
    instrument: Instrument,
    limbs: Sequence[Heights],
    standard_uncertainty: str | float | None = None,
) -> tuple[tuple[LevelHeight, ...], ...]:
    """Turn heights as people give them into levels on the instrument's scale.

    Raises
    ------
    InputError
        If one is no height, or lies off the scale.
    """
    u = _reading_uncertainty(instrument, standard_uncertainty)
    return tuple(
        tuple(
            _by_eye(instrument, _on_scale(instrument, height), u) for height in _listed(limb)
        )
        for limb in limbs
    )


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
    zero: Sequence[Sequence[LevelHeight]] | None = None,
    site: SiteSpec | None = None,
    tapped_limb: str | None = None,
) -> Reduction:
    """Prepare the model of one reading; arguments as for :func:`pressure_from_levels`."""
    from limbsight.reduce.manometer import prepare, subtract_zero

    names = limb_names(instrument, len(limbs))
    tapped = tapped_limb or instrument.tapped_limb
    manometer = manometer_of(instrument, names, tapped_limb=tapped, site=site)
    if covariance is not None:
        limbs = _with_covariance(limbs, covariance)
    metres = _metres_per_unit(instrument, manometer.manometric)
    reading = prepare(manometer, _levels(instrument, metres, names, limbs))
    if zero is None:
        return reading
    limb_names(instrument, len(zero))
    return subtract_zero(reading, prepare(manometer, _levels(instrument, metres, names, zero)))


def _reading_uncertainty(
    instrument: Instrument, standard_uncertainty: str | float | None
) -> tuple[float, str]:
    """Standard uncertainty of one level in the scale's unit, and what it is called."""
    if standard_uncertainty is None:
        u = BY_EYE_DIVISIONS * instrument.scale.division / math.sqrt(3)
        return u, "by eye to 1/4 division"
    u = _on_scale(instrument, standard_uncertainty, check=False)
    if u < 0:
        raise InputError(f"the uncertainty of a level, {standard_uncertainty!r}, is negative")
    return u, "reading"


def _by_eye(instrument: Instrument, value: Any, u: tuple[float, str]) -> LevelHeight:
    return LevelHeight(
        value=value,
        unit=instrument.scale.unit,
        components=(HeightComponent(name=u[1], standard_uncertainty=u[0]),),
    )


def _listed(heights: Heights) -> tuple[Height, ...]:
    return (heights,) if isinstance(heights, str | int | float) else tuple(heights)


def _on_scale(instrument: Instrument, height: Height, *, check: bool = True) -> float:
    """Scale value of a height given as text or number."""
    scale = instrument.scale
    if isinstance(height, str) and not _is_number(height):
        dimension, size = (
            ("length", scale.unit_m)
            if scale.unit_m is not None
            else ("pressure", scale.unit_pa)
        )
        assert size is not None
        value = parse_quantity(height, dimension) / size
    else:
        value = float(height)
    slack = scale.division
    if check and not scale.lowest - slack <= value <= scale.highest + slack:
        raise InputError(
            f"{height!r} is off the scale of {instrument.name} "
            f"({scale.lowest:g} to {scale.highest:g} {scale.unit}); read it again"
        )
    return value


def _is_number(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def limb_names(instrument: Instrument, count: int) -> tuple[str, ...]:
    """Names of the limbs, left to right.

    Raises
    ------
    InputError
        If the arrangement does not have that many limbs.
    """
    if instrument.arrangement == "bank":
        return tuple(f"limb {i}" for i in range(1, count + 1))
    names = _names_of(instrument)
    if count != len(names):
        raise InputError(
            f"{instrument.name}: {count} limb(s) given, a {instrument.arrangement} has "
            f"{len(names)}"
        )
    return names


def _names_of(instrument: Instrument) -> tuple[str, ...]:
    two = instrument.arrangement in ("u-tube", "inverted-u-tube", "micromanometer")
    return ("left", "right") if two else ("tube",)


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
        bores_m=_by_limb(i, "tube.bores", names, tube.bores_m),
        area_ratio=cistern.area_ratio,
        # a scale that counts a pressure is drawn for the instrument as a whole
        cistern_scale="compensated" if i.scale.unit_pa is not None else cistern.scale,
        cistern_level_m=cistern.level,
        zero_m=cistern.zero,
    )


def merged_site(base: SiteSpec, over: SiteSpec | None) -> SiteSpec:
    """Surroundings of one reading over those of the instrument file."""
    if over is None:
        return base
    given = {f.name: getattr(over, f.name) for f in fields(SiteSpec)}
    if over.latitude_rad is not None and over.gravity_m_s2 is None:
        base = replace(base, gravity_m_s2=None)
    return replace(base, **{key: value for key, value in given.items() if value is not None})


def _tapped(i: Instrument, tapped_limb: str | None, names: tuple[str, ...]) -> str:
    if i.arrangement in ("cistern", "inclined", "barometer"):
        return tapped_limb or "cistern"
    if i.arrangement == "single-limb":
        return "cistern"
    if i.arrangement == "bank" and tapped_limb is not None and tapped_limb.isdigit():
        tapped_limb = f"limb {tapped_limb}"
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


def _levels(
    i: Instrument,
    metres: float,
    names: tuple[str, ...],
    limbs: Sequence[Sequence[LevelHeight]],
) -> dict[str, tuple[Level, ...]]:
    from limbsight.reduce.arrangements import point_name

    return {
        name: tuple(
            _level(i, metres, name, point_name(name, n, len(limb)), level)
            for n, level in enumerate(limb, 1)
        )
        for name, limb in zip(names, limbs, strict=True)
    }


def _level(i: Instrument, metres: float, limb: str, point: str, level: LevelHeight) -> Level:
    from limbsight.reduce.manometer import Component, Level

    if level.unit != i.scale.unit:
        raise InputError(
            f"limb {limb}: a level in {level.unit!r}, but the scale of {i.name} counts "
            f"{i.scale.unit!r}; give levels in the scale's unit"
        )
    factor = i.scale.upward * metres
    return Level(
        value_m=factor * level.value,
        components=tuple(
            Component(
                key=f"shared {c.shared_key}"
                if c.shared_key
                else f"level {point} {c.name} {n}",
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
