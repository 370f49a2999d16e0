"""The model of a reading: instrument and heights in its limbs, made ready for reduction."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from limbsight.calib.instrument import Instrument, SiteSpec
from limbsight.errors import InputError
from limbsight.level_heights import HeightComponent, LevelHeight
from limbsight.limb_names import limb_names

if TYPE_CHECKING:
    from limbsight.reduce.manometer import Level
    from limbsight.reduce.reduction import Reduction


def reduction_of(
    instrument: Instrument,
    limbs: Sequence[Sequence[LevelHeight]],
    *,
    covariance: Any = None,
    zero: Sequence[Sequence[LevelHeight]] | None = None,
    site: SiteSpec | None = None,
    tapped_limb: str | None = None,
) -> Reduction:
    """Prepare the model of one reading.

    Arguments as for :func:`limbsight.pressure.pressure_from_levels`.
    """
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
