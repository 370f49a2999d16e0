"""From heights on the scale of one instrument to a pressure with its budget."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from limbsight.calib.instrument import Instrument, SiteSpec
from limbsight.calib.instrument_file import load_instrument
from limbsight.errors import InputError
from limbsight.records import BudgetLine, PressureReading
from limbsight.units import PressureKind, parse_quantity

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from limbsight.reduce.manometer import Level
    from limbsight.reduce.reduction import Reduction
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

SERIES_BLOCK = 8_192
"""Readings at a time: complex arrays of this length (128 kB) stay in the processor's cache."""

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
        ``limbs`` (tilt, bores, densities, components of one shared key) cancels as far as it
        acts alike on both.
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
    zero: Sequence[Sequence[LevelHeight]] | None = None,
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
            instrument,
            limbs,
            zero=zero,
            site=site,
            tapped_limb=name,
            probability=probability,
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
    from limbsight.reduce.zero import zero_pressure

    p = COVERAGE_PROBABILITY if probability is None else probability
    zero_pa = None if reduction.zero is None else zero_pressure(reduction.zero)
    if reduction.kind == "gauge":
        absolute = _record(propagate(reduction.absolute, reduction.inputs, probability=p))
        gauge = _record(propagate(reduction.difference, reduction.inputs, probability=p))
        absolute = replace(absolute, kind="absolute")
        return replace(gauge, kind="gauge", absolute=absolute, zero_pa=zero_pa)
    found = _record(propagate(reduction.difference, reduction.inputs, probability=p))
    return replace(found, kind=reduction.kind, zero_pa=zero_pa)


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
    from limbsight.plain_numbers import manometer_of, metres_per_unit
    from limbsight.reduce.prepare import prepare
    from limbsight.reduce.zero import subtract_zero

    names = limb_names(instrument, len(limbs))
    tapped = tapped_limb or instrument.tapped_limb
    manometer = manometer_of(instrument, names, tapped_limb=tapped, site=site)
    if covariance is not None:
        limbs = _with_covariance(limbs, covariance)
    metres = metres_per_unit(instrument, manometer.manometric)
    reading = prepare(manometer, _levels(instrument, metres, names, limbs))
    if zero is None:
        return reading
    if len(zero) != len(limbs):
        raise InputError(
            f"{instrument.name}: the zero has {len(zero)} limb(s), the reading {len(limbs)}; "
            "both must be of one instrument",
            code="bad_zero",
        )
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
